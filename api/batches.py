"""Routes of batches: told, corrected, looked at, moved, closed.

An answer of 201 means that it is on the disk. What may live here: from bodies to
changes.
"""

from collections.abc import Callable, Sequence
from typing import Annotated

from starlette.responses import Response

from api.batch_bodies import (
    BatchBody,
    BatchesBody,
    BatchesQuery,
    BatchFields,
    CloseBody,
    LookBody,
    LookFields,
    MoveBody,
    MoveFields,
    NewBatchBody,
)
from api.batch_shapes import BatchesView, BatchFileView, BatchHistoryView
from api.batch_thermal import count_batch, settled_ms, thermal_view, thresholds_of
from api.batch_views import (
    batch_file_view,
    batch_view,
    batches_view,
    history_view,
)
from api.context import Context, ContextHere, LookHere, kept_with_care, no_query
from api.problems import ProblemError, quoted
from api.record_values import corrected, new_value, refused_at
from api.record_writer import Writer
from api.routing import Router
from api.season import reading
from api.wants import Depends, Query
from controller.record_wire import batch_of, closing_of, look_of, move_of
from controller.records.batch_desk import (
    RowsError,
    add_batch,
    add_batches,
    add_look,
    add_move,
    close,
    revise_batch,
    revise_look,
    revise_move,
)
from controller.records.batches import Batch
from controller.records.book import (
    BatchFile,
    Book,
    NoSuchRecordError,
    batch_in,
    check_owner,
    look_in,
    move_in,
)
from controller.records.changes import Change
from controller.records.looks import Look

router = Router()
_told = Router(dependencies=[Depends(no_query)])


class _Desk:
    """Where one request tells something of batches, made anew for each."""

    def __init__(self, context: Context, writer: Writer, response: Response) -> None:
        self.stamp = writer.stamp
        self.check_time = writer.check_time
        self._records, self._response = writer.records, response
        self._clock = context.clock

    async def created(
        self, decide: Callable[[Book], Sequence[Change]], code: str = ""
    ) -> BatchFileView:
        """Write; answer 201 with the batch and its address.

        Args:
            decide: From the book to changes.
            code: The batch; empty: the one that the first change is about.
        """
        book, changes = await self._records.write(decide)
        view = self._view(book, code or changes[0].subject)
        self._response.headers["Location"] = view["href"]
        return view

    async def corrected(
        self, decide: Callable[[Book], Sequence[Change]], code: str
    ) -> BatchFileView:
        """Write; answer with the batch."""
        book, _ = await self._records.write(decide)
        return self._view(book, code)

    async def many(self, decide: Callable[[Book], Sequence[Change]]) -> BatchesView:
        """Write; answer with every batch that came, in order."""
        book, changes = await self._records.write(decide)
        return self._views(book, [change.subject for change in changes])

    async def about(self, decide: Callable[[Book], Sequence[Change]]) -> BatchesView:
        """Write; answer with every batch that something was told of, in order."""
        book, changes = await self._records.write(decide)
        values = [change.value for change in changes]
        return self._views(book, [v.batch for v in values if isinstance(v, Look)])

    def _views(self, book: Book, codes: Sequence[str]) -> BatchesView:
        now_ms = self._clock.now().utc_ms
        files = [batch_in(book, code) for code in codes]
        views = [batch_view(file, now_ms) for file in files]
        return BatchesView(batches=views, more=False)

    def _view(self, book: Book, code: str) -> BatchFileView:
        file = batch_in(book, code)
        return batch_file_view(book, file, self._clock.now().utc_ms)


async def _desk(context: ContextHere, writer: Writer, response: Response) -> _Desk:
    return _Desk(context, writer, response)


Desk = Annotated[_Desk, Depends(_desk)]


@router.get("/batches", dependencies=[Depends(kept_with_care)])
async def get_batches(
    context: ContextHere, _look: LookHere, asked: Annotated[BatchesQuery, Query()]
) -> BatchesView:
    """Batches, in the order in which they were told."""
    book = await context.records.book()
    return batches_view(book, asked, context.clock.now().utc_ms)


@_told.get("/batches/{code}", dependencies=[Depends(kept_with_care)])
async def get_batch(context: ContextHere, look: LookHere, code: str) -> BatchFileView:
    """All that is known of a batch, its degree-hours over its stays included.

    The code may be written carelessly. Thermal time is left out where the batch is
    not stuck, and in answers to what was told.
    """
    book = await context.records.book()
    file = _file(book, code)
    now_ms = context.clock.now().utc_ms
    view = batch_file_view(book, file, now_ms)
    if file.stays:
        until_ms, memory = settled_ms(now_ms), context.hours
        limits = thresholds_of(look, file)
        hours = await reading(
            context, lambda log: count_batch(log, memory, file.stays, limits, until_ms)
        )
        view["thermal"] = thermal_view(look, file, hours, limits, until_ms)
    return view


@_told.get("/batches/{code}/history", dependencies=[Depends(kept_with_care)])
async def get_history(
    context: ContextHere, _look: LookHere, code: str
) -> BatchHistoryView:
    """Everything that was ever told of a batch, corrections and mistakes included."""
    book = await context.records.book()
    return history_view(book, _file(book, code))


@_told.post("/batches", status_code=201)
async def post_batch(desk: Desk, body: NewBatchBody) -> BatchFileView:
    """Tell of a batch; it gets the next free label code, or keeps its own."""
    batch = _batch(body)
    return await desk.created(
        lambda book: add_batch(book, batch, desk.stamp, body.code)
    )


@_told.post("/batches/import", status_code=201)
async def post_batches(desk: Desk, body: BatchesBody) -> BatchesView:
    """Tell of many batches, all at once or not at all; faults name their place."""
    told = [(_batch(one), one.code) for one in body.batches]

    def decide(book: Book) -> Sequence[Change]:
        try:
            return add_batches(book, told, desk.stamp)
        except RowsError as error:
            rows = [(f"/batches/{at}", wrong) for at, wrong in error.rows]
            raise refused_at(rows) from None

    return await desk.many(decide)


@_told.patch("/batches/{code}")
async def patch_batch(desk: Desk, code: str, body: BatchFields) -> BatchFileView:
    """Correct a batch: what is not told stays; what it was before is kept."""

    def decide(book: Book) -> Sequence[Change]:
        batch = corrected(batch_of, batch_in(book, code).batch, body)
        return revise_batch(book, code, batch, desk.stamp)

    return await desk.corrected(decide, code)


@_told.post("/batches/{code}/looks", status_code=201)
async def post_look(desk: Desk, code: str, body: LookBody) -> BatchFileView:
    """Tell what was seen of a batch: how, at how many, on which tracks."""
    desk.check_time(body.at)

    def decide(book: Book) -> Sequence[Change]:
        own = batch_in(book, code).code
        seen = new_value(look_of, body, batch=own, utc_ms=desk.stamp.utc_ms)
        return add_look(book, seen, desk.stamp)

    return await desk.created(decide, code)


@_told.patch("/batches/{code}/looks/{number}")
async def patch_look(
    desk: Desk, code: str, number: int, body: LookFields
) -> BatchFileView:
    """Correct a look, or take it back."""

    def decide(book: Book) -> Sequence[Change]:
        before = look_in(book, str(number))
        check_owner(book, code, before.batch)
        seen = corrected(look_of, before, body)
        return revise_look(book, str(number), seen, desk.stamp)

    return await desk.corrected(decide, code)


@_told.post("/batches/{code}/move", status_code=201)
async def post_move(desk: Desk, code: str, body: MoveBody) -> BatchFileView:
    """Tell that a batch went to another tray, or off the bench."""
    desk.check_time(body.at)

    def decide(book: Book) -> Sequence[Change]:
        own = batch_in(book, code).code
        move = new_value(move_of, body, batch=own, utc_ms=desk.stamp.utc_ms)
        return add_move(book, move, desk.stamp)

    return await desk.created(decide, code)


@_told.patch("/batches/{code}/moves/{number}")
async def patch_move(
    desk: Desk, code: str, number: int, body: MoveFields
) -> BatchFileView:
    """Correct a move, or take it back."""

    def decide(book: Book) -> Sequence[Change]:
        before = move_in(book, str(number))
        check_owner(book, code, before.batch)
        move = corrected(move_of, before, body)
        return revise_move(book, str(number), move, desk.stamp)

    return await desk.corrected(decide, code)


@_told.post("/batches/{code}/close", status_code=201)
async def post_close(desk: Desk, code: str, body: CloseBody) -> BatchFileView:
    """Tell how a batch ended; told again, the end is put right or taken back."""
    desk.check_time(body.at)

    def decide(book: Book) -> Sequence[Change]:
        file = batch_in(book, code)
        utc_ms = file.closing.utc_ms if file.closing else desk.stamp.utc_ms
        end = new_value(closing_of, body, batch=file.code, utc_ms=utc_ms)
        return close(book, end, desk.stamp)

    return await desk.created(decide, code)


router.include_router(_told)


def _batch(body: NewBatchBody) -> Batch:
    told = body.model_dump(exclude={"code"}, exclude_unset=True)
    return new_value(batch_of, BatchBody.model_validate(told))


def _file(book: Book, code: str) -> BatchFile:
    try:
        return batch_in(book, code)
    except NoSuchRecordError as error:
        raise ProblemError(404, quoted(str(error))) from None
