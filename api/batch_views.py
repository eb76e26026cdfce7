"""Batches as the API shows them. Pure.

What may live here: from records to plain dicts. No requests.
"""

from typing import Literal

from api.batch_bodies import (
    BatchBody,
    BatchesQuery,
    CloseBody,
    LookBody,
    MoveBody,
)
from api.batch_shapes import (
    BatchChangeView,
    BatchesView,
    BatchFileView,
    BatchHistoryView,
    BatchRevisionView,
    BatchState,
    BatchView,
    DeadView,
    LookView,
    MoveView,
    PlantsView,
    RootedView,
    RootingView,
    StageView,
    StayView,
    TrayBatchView,
    TuggedView,
)
from api.formats import utc_text
from api.plant_bodies import StageBody
from api.record_values import as_body
from controller.core.units import DAY_MS
from controller.records.advice import Air, advise
from controller.records.book import BatchFile, Book, History, batches, changes_of
from controller.records.changes import Change, Kind
from controller.records.evidence import dead_in, rooted_in, rootings, tugged_in
from controller.records.looks import Look
from controller.records.places import Closing, Move, Stay
from controller.records.stages import Stage, alive_after_six_weeks, plants
from controller.records.tracks import tracks


def batch_view(file: BatchFile, now_utc_ms: int) -> BatchView:
    """Return one batch and how it stands."""
    last = file.history[-1]
    return BatchView(
        code=file.code,
        href=f"/v1/batches/{file.code}",
        state=_state(file),
        tray=tray_now(file),
        days_since_stuck=_days(file, now_utc_ms),
        advice=_advice(file),
        batch=BatchBody.model_validate(as_body(file.batch)),
        written_at=utc_text(last.utc_ms),
        written_by=last.who,
        revisions=len(file.history),
    )


def _state(file: BatchFile) -> BatchState:
    if file.closing is not None:
        return "closed"
    return "not stuck" if file.batch.stuck_utc_ms is None else "stuck"


def _advice(file: BatchFile) -> str | None:
    """Return the headline of its advice; None: not stuck, or closed."""
    if not file.stays or file.closing is not None:
        return None
    seen = tracks(look for _, look in file.looks)
    return advise(file.batch, seen, Air(), str).headline


def tray_now(file: BatchFile) -> str | None:
    """Return the tray that a batch stands in; None: in none."""
    last = file.stays[-1:]
    return (last[0].tray or None) if last and last[0].to_utc_ms is None else None


def _days(file: BatchFile, now_utc_ms: int) -> float | None:
    stuck_ms = file.batch.stuck_utc_ms
    if stuck_ms is None:
        return None
    end_ms = now_utc_ms if file.closing is None else file.closing.utc_ms
    return round(max(0, end_ms - stuck_ms) / DAY_MS, 3)


def batches_view(book: Book, asked: BatchesQuery, now_utc_ms: int) -> BatchesView:
    """Return the batches that were asked for."""
    found = [
        file
        for file in batches(book, withdrawn=asked.withdrawn)
        if (asked.tray is None or tray_now(file) == asked.tray)
        and (asked.crop is None or file.batch.crop == asked.crop)
        and not (asked.open and file.closing is not None)
    ]
    listed = found[-asked.limit :]
    return BatchesView(
        batches=[batch_view(file, now_utc_ms) for file in listed],
        more=len(found) > len(listed),
    )


def history_view(book: Book, file: BatchFile) -> BatchHistoryView:
    """Return everything that was ever told of a batch, withdrawn things included."""
    return BatchHistoryView(
        code=file.code,
        changes=[_change_view(change) for change in changes_of(book, file.code)],
    )


def _change_view(change: Change) -> BatchChangeView:
    told = as_body(change.value)
    body: BatchBody | LookBody | MoveBody | CloseBody | StageBody
    kind: Literal["batch", "look", "move", "closing", "stage"]
    if isinstance(change.value, Look):
        kind, body = "look", LookBody.model_validate(told)
    elif isinstance(change.value, Move):
        kind, body = "move", MoveBody.model_validate(told)
    elif isinstance(change.value, Closing):
        kind, body = "closing", CloseBody.model_validate(told)
    elif isinstance(change.value, Stage):
        kind, body = "stage", StageBody.model_validate(told)
    else:
        kind, body = "batch", BatchBody.model_validate(told)
    return BatchChangeView(
        id=change.id,
        kind=kind,
        subject=change.subject,
        written_at=utc_text(change.utc_ms),
        written_by=change.who,
        told=body,
    )


def batch_file_view(book: Book, file: BatchFile, now_utc_ms: int) -> BatchFileView:
    """Return all that is known of a batch, but for its degree-hours."""
    stuck_ms, count = file.batch.stuck_utc_ms, file.batch.count
    looks = [look for _, look in file.looks]
    known = stuck_ms is not None and count is not None
    rooted = rootings(count or 0, stuck_ms or 0, looks) if known else []
    view = batch_view(file, now_utc_ms)
    return BatchFileView(
        code=view["code"],
        href=view["href"],
        state=view["state"],
        tray=view["tray"],
        days_since_stuck=view["days_since_stuck"],
        advice=view["advice"],
        batch=view["batch"],
        written_at=view["written_at"],
        written_by=view["written_by"],
        revisions=view["revisions"],
        looks=[_look_view(book, file.code, *told) for told in file.looks],
        moves=[_move_view(book, file.code, *told) for told in file.moves],
        closing=_closing(file),
        stages=[_stage_view(book, file.code, *told) for told in file.stages],
        plants=_plants_view(file, now_utc_ms),
        stays=[_stay_view(stay) for stay in file.stays],
        rootings=[
            RootingView(
                count=one.count,
                after=utc_text(one.after_utc_ms),
                by=None if one.by_utc_ms is None else utc_text(one.by_utc_ms),
                agrees=one.agrees,
            )
            for one in rooted
        ],
        dead=_dead(looks),
        history=[
            BatchRevisionView(
                written_at=utc_text(change.utc_ms),
                written_by=change.who,
                batch=BatchBody.model_validate(as_body(change.value)),
            )
            for change in file.history
        ],
    )


def _dead(looks: list[Look]) -> DeadView:
    found = dead_in(looks)
    return DeadView(
        rotted_base=found["rotted_base"],
        shrivelled=found["shrivelled"],
        mould=found["mould"],
        missing=found["missing"],
    )


def _closing(file: BatchFile) -> CloseBody | None:
    if file.closing is None:
        return None
    return CloseBody.model_validate(as_body(file.closing))


def _stay_view(stay: Stay) -> StayView:
    return StayView(
        tray=stay.tray or None,
        since=utc_text(stay.from_utc_ms),
        until=None if stay.to_utc_ms is None else utc_text(stay.to_utc_ms),
    )


def _look_view(book: Book, code: str, number: str, look: Look) -> LookView:
    bounds, tugged = rooted_in(look), tugged_in(look)
    written_at, written_by, revisions = _written(book.history(Kind.LOOK, number))
    return LookView(
        id=int(number),
        href=f"/v1/batches/{code}/looks/{number}",
        look=LookBody.model_validate(as_body(look)),
        rooted=RootedView(
            at_least=bounds.at_least, at_most=bounds.at_most, of=bounds.of
        ),
        tugged=None
        if tugged is None
        else TuggedView(
            held=tugged.held,
            gave=tugged.gave,
            likely_share=tugged.share,
            held_if_rooted=tugged.held_if_rooted,
            held_if_not_rooted=tugged.held_if_not,
        ),
        written_at=written_at,
        written_by=written_by,
        revisions=revisions,
    )


def _move_view(book: Book, code: str, number: str, move: Move) -> MoveView:
    written_at, written_by, revisions = _written(book.history(Kind.MOVE, number))
    return MoveView(
        id=int(number),
        href=f"/v1/batches/{code}/moves/{number}",
        move=MoveBody.model_validate(as_body(move)),
        written_at=written_at,
        written_by=written_by,
        revisions=revisions,
    )


def _stage_view(book: Book, code: str, number: str, stage: Stage) -> StageView:
    written_at, written_by, revisions = _written(book.history(Kind.STAGE, number))
    return StageView(
        id=int(number),
        href=f"/v1/batches/{code}/stages/{number}",
        stage=StageBody.model_validate(as_body(stage)),
        written_at=written_at,
        written_by=written_by,
        revisions=revisions,
    )


def _plants_view(file: BatchFile, now_utc_ms: int) -> PlantsView:
    told = [stage for _, stage in file.stages]
    found = plants(told)
    score = found.mean_root_score
    return PlantsView(
        potted=found.potted,
        hardened=found.hardened,
        established=found.established,
        left=found.left,
        dead=found.dead,
        here=found.here,
        mean_root_score=None if score is None else round(score, 2),
        alive_after_six_weeks=alive_after_six_weeks(told, now_utc_ms),
    )


def _written(history: History) -> tuple[str, str, int]:
    last = history[-1]
    return utc_text(last.utc_ms), last.who, len(history)


def tray_batches(book: Book, tray: str, now_utc_ms: int) -> list[TrayBatchView]:
    """Return the batches that stand in a tray."""
    return [
        TrayBatchView(
            code=file.code,
            href=f"/v1/batches/{file.code}",
            crop=file.batch.crop,
            cultivar=file.batch.cultivar,
            count=file.batch.count,
            place=file.moves[-1][1].place if file.moves else file.batch.place,
            days_since_stuck=_days(file, now_utc_ms),
        )
        for file in batches(book)
        if tray_now(file) == tray
    ]
