"""Advice as the API shows it, from records and a look at the bench. Pure.

What may live here: from both to plain dicts. No requests.
"""

from collections.abc import Mapping, Sequence

from api.advice_shapes import (
    AdviceView,
    BatchAdviceView,
    MatDownView,
    OffTheHeatView,
    OneAdviceView,
    OtherView,
    WeanStepView,
)
from api.batch_views import tray_now
from api.formats import short_temp_text, utc_text
from api.moment import Moment
from api.tray_views import find_tray, mat_of
from controller.core.root_zone import room_temp_mc
from controller.core.setpoints import target
from controller.records.advice import Air, advise, watering
from controller.records.book import BatchFile, Book, batches, events
from controller.records.events import BenchEvent
from controller.records.tracks import tracks
from controller.records.weaning import (
    MatDown,
    OffTheHeat,
    Placed,
    containers_off,
    mat_down,
)

Units = Mapping[str, str]
"""Containers that are units of open trials, with the trial's name."""


def advice_view(look: Moment, book: Book, units: Units) -> AdviceView:
    """Return advice for every open batch, and for containers and mats."""
    files = _open(book)
    placed = [_placed(look, file) for file in files]
    mats = dict.fromkeys(one.mat for one in placed if one.mat)
    done = [event for _, event in events(book)]
    return AdviceView(
        batches=[_batch_view(look, done, file) for file in files],
        containers=[_container(one) for one in containers_off(placed, units)],
        mats=[_mat(look, mat, placed, units) for mat in mats],
    )


def one_advice_view(
    look: Moment, book: Book, file: BatchFile, units: Units
) -> OneAdviceView:
    """Return advice for one batch, its container and its mat."""
    files = _open(book)
    if file.code not in [one.code for one in files]:
        return OneAdviceView(code=file.code, advice=None, container=None, mat=None)
    placed = [_placed(look, one) for one in files]
    own = _placed(look, file)
    off = [one for one in containers_off(placed, units) if one.tray == own.tray]
    return OneAdviceView(
        code=file.code,
        advice=_batch_view(look, [event for _, event in events(book)], file),
        container=_container(off[0]) if off else None,
        mat=_mat(look, own.mat, placed, units) if own.mat else None,
    )


def _open(book: Book) -> list[BatchFile]:
    """Return the batches that are stuck and not closed."""
    return [file for file in batches(book) if file.stays and file.closing is None]


def _placed(look: Moment, file: BatchFile) -> Placed:
    tray = find_tray(look, tray_now(file) or "")
    mat = mat_of(look, tray) if tray else None
    return Placed(
        file.code,
        _name(file),
        tray_now(file) or "",
        mat.name if mat else "",
        file.batch.kind,
        tracks(told for _, told in file.looks),
        file.batch.cover,
    )


def _name(file: BatchFile) -> str:
    return " ".join(part for part in (file.batch.crop, file.batch.cultivar) if part)


def _batch_view(
    look: Moment, done: list[BenchEvent], file: BatchFile
) -> BatchAdviceView:
    placed = _placed(look, file)
    unit = look.snapshot.display_unit
    air = Air(room_mc(look), _setpoint_mc(look, placed.mat))
    found = advise(
        file.batch, placed.seen, air, lambda temp_mc: short_temp_text(temp_mc, unit)
    )
    last_ms = placed.seen.last_utc_ms
    return BatchAdviceView(
        code=file.code,
        href=f"/v1/batches/{file.code}",
        name=placed.name,
        tray=placed.tray or None,
        base=placed.seen.base.value,
        tops=placed.seen.tops.value,
        call=found.call.value,
        headline=found.headline,
        points=list(found.points),
        because=found.because,
        cautions=list(found.cautions),
        water=watering(done, placed.tray),
        last_look_at=None if last_ms is None else utc_text(last_ms),
    )


def room_mc(look: Moment) -> int | None:
    """Return the room's air now [m°C]; None: no probe tells it."""
    snapshot = look.snapshot
    return room_temp_mc(snapshot.plan.room, snapshot.state.probes, look.now_ms)


def _setpoint_mc(look: Moment, mat: str) -> int | None:
    plan = next((one for one in look.snapshot.plan.mats if one.name == mat), None)
    known = look.snapshot.state.mats.get(mat)
    if plan is None or known is None or plan.relay is None:
        return None
    return target(plan, known.step, known.override, look.snapshot.scan)


def _container(found: OffTheHeat) -> OffTheHeatView:
    return OffTheHeatView(
        tray=found.tray,
        mat=found.mat,
        rooted=list(found.rooted),
        others=[
            OtherView(code=code, tray=found.tray, known=known)
            for code, known in found.others
        ],
        sentence=found.sentence,
        warnings=list(found.warnings),
    )


def _mat(look: Moment, mat: str, placed: Sequence[Placed], units: Units) -> MatDownView:
    around = _setpoint_mc(look, mat), room_mc(look)
    return _mat_view(look, mat_down(mat, placed, around, units))


def _mat_view(look: Moment, found: MatDown) -> MatDownView:
    unit = look.snapshot.display_unit
    return MatDownView(
        mat=found.mat,
        allowed=found.allowed,
        affected=[
            OtherView(code=code, tray=tray, known=known)
            for code, tray, known in found.affected
        ],
        steps=[
            WeanStepView(
                after_days=step.after_days,
                setpoint_c=None
                if step.setpoint_mc is None
                else step.setpoint_mc / 1000,
                words=step.words
                if step.setpoint_mc is None
                else step.words.format(short_temp_text(step.setpoint_mc, unit)),
            )
            for step in found.steps
        ],
        sentence=found.sentence,
        warnings=list(found.warnings),
    )
