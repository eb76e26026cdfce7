"""Routes of plants after they rooted, and of whole containers looked through.

An answer of 201 means that it is on the disk. What may live here: from bodies to
changes.
"""

from collections.abc import Sequence

from api.batch_shapes import BatchesView, BatchFileView
from api.batches import Desk
from api.context import no_query
from api.plant_bodies import RoundBody, StageBody, StageFields
from api.record_values import corrected, new_value
from api.routing import Router
from api.wants import Depends
from controller.record_wire import look_of, stage_of
from controller.records.book import Book, batch_in, check_owner, stage_in
from controller.records.changes import Change
from controller.records.looks import How, Look
from controller.records.stage_desk import add_stage, look_through, revise_stage

router = Router(dependencies=[Depends(no_query)])


@router.post("/batches/{code}/stages", status_code=201)
async def post_stage(desk: Desk, code: str, body: StageBody) -> BatchFileView:
    """Tell how far plants of a batch came: potted, hardened, …, given, dead."""
    desk.check_time(body.at)

    def decide(book: Book) -> Sequence[Change]:
        own = batch_in(book, code).code
        stage = new_value(stage_of, body, batch=own, utc_ms=desk.stamp.utc_ms)
        return add_stage(book, stage, desk.stamp)

    return await desk.created(decide, code)


@router.patch("/batches/{code}/stages/{number}")
async def patch_stage(
    desk: Desk, code: str, number: int, body: StageFields
) -> BatchFileView:
    """Correct a stage, or take it back."""

    def decide(book: Book) -> Sequence[Change]:
        before = stage_in(book, str(number))
        check_owner(book, code, before.batch)
        return revise_stage(
            book, str(number), corrected(stage_of, before, body), desk.stamp
        )

    return await desk.corrected(decide, code)


@router.post("/trays/{tray}/looks", status_code=201)
async def post_round(desk: Desk, tray: str, body: RoundBody) -> BatchesView:
    """Tell of a container looked through: tops fine, but for some batches.

    All of it is taken, or nothing; the answer has every batch that got a look.
    """
    desk.check_time(body.at)
    now_ms = desk.stamp.utc_ms
    glance = new_value(_glance, body, utc_ms=now_ms)

    def decide(book: Book) -> Sequence[Change]:
        others = [
            new_value(look_of, one, utc_ms=glance.utc_ms, batch=one.batch)
            for one in body.others
        ]
        return look_through(book, tray, glance, others, desk.stamp)

    return await desk.about(decide)


def _glance(fields: object) -> Look:
    told = dict(fields) if isinstance(fields, dict) else {}
    told.pop("others", None)
    return look_of({**told, "batch": "", "how": How.TOPS_ONLY, "looked_at": 0})
