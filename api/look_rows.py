"""The route of looks that come as a table: all of them, or none.

An answer of 201 means that they are on the disk. What may live here: from bodies to
changes.
"""

from collections.abc import Sequence

from api.batch_bodies import LooksBody
from api.batch_shapes import LookRowsView, LookRowView
from api.context import no_query
from api.record_values import new_value, refused_at
from api.record_writer import Writer
from api.routing import Router
from api.wants import Depends
from controller.record_wire import look_of
from controller.records.batch_desk import RowsError
from controller.records.book import Book
from controller.records.changes import Change
from controller.records.look_rows import Row, add_looks

router = Router(dependencies=[Depends(no_query)])


@router.post("/looks/import", status_code=201)
async def post_looks(writer: Writer, body: LooksBody) -> LookRowsView:
    """Tell of many looks, all at once or not at all; faults name their place.

    A look that is told already, word for word, is not told again.
    """
    looks = [new_value(look_of, one, batch=one.batch) for one in body.looks]
    rows: tuple[Row, ...] = ()

    def decide(book: Book) -> Sequence[Change]:
        nonlocal rows
        try:
            changes, rows = add_looks(book, looks, writer.stamp)
        except RowsError as error:
            wrong = [(f"/looks/{at}", fault) for at, fault in error.rows]
            raise refused_at(wrong) from None
        return changes

    await writer.records.write(decide)
    return LookRowsView(looks=[_view(row) for row in rows])


def _view(row: Row) -> LookRowView:
    return LookRowView(
        batch=row.batch,
        id=int(row.number),
        href=f"/v1/batches/{row.batch}/looks/{row.number}",
        new=row.new,
    )
