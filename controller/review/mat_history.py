"""What a season log tells of a mat: heat, temperatures, and what happened to it.

What may live here: collecting that from scans and readings, in plain columns.
No model and no grid.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from controller.core.plan import MatPlan, ProbePlan
from controller.core.scan import Hold
from controller.ports import (
    IMPORTED,
    Columns,
    RecordedScan,
    RecordReader,
    RunHeader,
    SeasonReader,
)
from controller.review.disturbances import disturbances
from controller.review.heating import Heating
from controller.review.recounted import Span

EVER_MS = 2**61

_SKEW_MS = 1_000
"""Chosen: a wall clock that is off by less has not been set."""

Scans = Callable[[RunHeader], Iterable[RecordedScan]]


@dataclass(frozen=True, slots=True)
class ClockStretch:
    """A stretch in which the wall clock ran beside the bench clock.

    Attributes:
        run_ms: Where it begins, bench clock [ms].
        utc_less_run_ms: Wall clock less bench clock [ms].
        zone_min: Local time less UTC [min].
    """

    run_ms: int
    utc_less_run_ms: int
    zone_min: int


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that was done to the bench.

    Attributes:
        run_ms: When, bench clock [ms].
        why: What, in words.
        tray: To which tray; empty: to all of the mat.
    """

    run_ms: int
    why: str
    tray: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MatHistory:
    """What a log tells of one mat.

    Attributes:
        mat: Its name.
        from_run_ms: Where it begins, bench clock [ms].
        to_run_ms: Where it ends [ms].
        switchings: When the mat is believed to have gone on or off [ms], in
            order; before the first it was off.
        clock: What the wall clock showed, in order, at least one.
        happenings: What was done, in order.
        trays: Readings of each tray's probes, by its name.
        surface: Readings of each surface probe, by its name.
        room: Readings of each probe in the room's air.
    """

    mat: str
    from_run_ms: int
    to_run_ms: int
    switchings: tuple[tuple[int, bool], ...]
    clock: tuple[ClockStretch, ...]
    happenings: tuple[Happening, ...]
    trays: tuple[tuple[str, tuple[Columns, ...]], ...]
    surface: tuple[tuple[str, Columns], ...]
    room: tuple[Columns, ...]


class _Reader(SeasonReader, RecordReader, Protocol):
    """A season log with what people told of the bench."""


def mat_histories(
    reader: _Reader, mats: Sequence[str], span: Span, scans: Scans
) -> tuple[MatHistory, ...]:
    """Return what a log tells of some mats; those without a scan are left out.

    Only runs count that have the trays and probes of the last one.

    Args:
        reader: The log.
        mats: Their names.
        span: Which time.
        scans: Returns the scans of a run; each run is gone through once.
    """
    headers = reader.runs()
    from_ms = -EVER_MS if span.from_utc_ms is None else span.from_utc_ms
    to_ms = EVER_MS if span.to_utc_ms is None else span.to_utc_ms
    every = [_Told(mat, _alike(headers, mat)) for mat in mats]
    for header in headers:
        concerned = [told for told in every if header in told.headers]
        for told in concerned:
            told.begin(header)
        for recorded in scans(header) if concerned else ():
            if from_ms <= recorded.scan.utc_ms < to_ms:
                for told in concerned:
                    told.take(recorded)
    found = (_history(reader, told, (from_ms, to_ms)) for told in every)
    return tuple(one for one in found if one is not None)


def _history(
    reader: _Reader, told: "_Told", within_ms: tuple[int, int]
) -> MatHistory | None:
    """Return what was told of a mat, with its readings; None: nothing was."""
    if told.first_ms is None or told.last_ms is None:
        return None
    last = told.headers[-1].plan
    plan = next(one for one in last.mats if one.name == told.mat)

    by_people = (
        Happening(one.run_ms, one.why, one.tray)
        for one in disturbances(reader, told.mat)
    )
    happenings = [*told.happenings, *by_people]

    def readings(probe: ProbePlan) -> Columns:
        return reader.samples(probe.name, *within_ms)

    return MatHistory(
        mat=told.mat,
        from_run_ms=told.first_ms,
        to_run_ms=told.last_ms,
        switchings=tuple(told.switchings()),
        clock=tuple(told.clock),
        happenings=tuple(sorted(happenings, key=lambda one: one.run_ms)),
        trays=tuple(
            (tray.name, tuple(readings(probe) for probe in tray.probes))
            for tray in plan.trays
            if tray.probes
        ),
        surface=tuple((probe.name, readings(probe)) for probe in plan.surface),
        room=tuple(readings(probe) for probe in last.room),
    )


def mats_of(headers: Sequence[RunHeader]) -> tuple[str, ...]:
    """Return the mats of the last run in which something was controlled."""
    runs = [one for one in headers if one.origin != IMPORTED]
    return tuple(mat.name for mat in runs[-1].plan.mats) if runs else ()


def _planned(header: RunHeader, mat: str) -> MatPlan | None:
    if header.origin == IMPORTED:
        return None
    return next((one for one in header.plan.mats if one.name == mat), None)


def _alike(headers: Sequence[RunHeader], mat: str) -> list[RunHeader]:
    """Return the last runs that have the same probes in the same places."""
    found: list[RunHeader] = []
    for header in reversed(headers):
        if _planned(header, mat) is None:
            continue
        if found and _places(header, mat) != _places(found[0], mat):
            break
        found.insert(0, header)
    return found


def _places(header: RunHeader, mat: str) -> object:
    plan = _planned(header, mat)
    if plan is None:
        return None
    trays = [(tray.name, [p.name for p in tray.probes]) for tray in plan.trays]
    surface = [probe.name for probe in plan.surface]
    return trays, surface, [probe.name for probe in header.plan.room]


class _Told:
    """What the scans of several runs tell of one mat."""

    def __init__(self, mat: str, headers: Sequence[RunHeader]) -> None:
        self.mat = mat
        self.headers = headers
        self._plan: MatPlan | None = None
        self._heating = Heating(mat)
        self.first_ms: int | None = None
        self.last_ms: int | None = None
        self.clock: list[ClockStretch] = []
        self.happenings: list[Happening] = []

    def begin(self, header: RunHeader) -> None:
        """Begin a run."""
        plan = _planned(header, self.mat)
        known = self._plan
        if known is not None and plan is not None and known.trays != plan.trays:
            why = "a new plan has something else in the trays"
            self.happenings.append(Happening(header.started_run_ms, why))
        self._plan = plan
        self._heating.begin(header.plan)

    def take(self, recorded: RecordedScan) -> None:
        """Take a scan."""
        scan = recorded.scan
        self.first_ms = scan.run_ms if self.first_ms is None else self.first_ms
        self.last_ms = scan.run_ms
        self._heating.take(recorded)
        minute = scan.local_day * 1440 + scan.local_minute
        zone_min = minute - scan.utc_ms // 60_000
        skew_ms = scan.utc_ms - scan.run_ms
        last = self.clock[-1] if self.clock else None
        if (
            last is None
            or abs(skew_ms - last.utc_less_run_ms) > _SKEW_MS
            or zone_min != last.zone_min
        ):
            self.clock.append(ClockStretch(scan.run_ms, skew_ms, zone_min))
        if scan.requests:
            self.happenings += self._holds(recorded)

    def switchings(self) -> list[tuple[int, bool]]:
        """Return when the mat went on or off."""
        return self._heating.ended()

    def _holds(self, recorded: RecordedScan) -> Iterator[Happening]:
        scan = recorded.scan
        granted = {
            answer.request_id
            for answer in recorded.decisions.answers
            if answer.accepted
        }
        for request in scan.requests:
            wish = request.wish
            if not isinstance(wish, Hold) or wish.mat != self.mat:
                continue
            if request.id in granted and wish.for_ms > 0:
                yield Happening(scan.run_ms, "hands on the bench (a hold)")
                end_ms = scan.run_ms + wish.for_ms
                yield Happening(end_ms, "the end of a hold")
