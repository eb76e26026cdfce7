"""Routes that read the season log: temperatures, degree-hours, the journal.

What may live here: reading in threads, bounded in number and range. Readings
are taken a day at a time, so that a season does not have to fit into memory.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from typing import Annotated, TypeVar

import anyio.to_thread
from fastapi import APIRouter, Query

from api.context import WAITING_READERS, Context, ContextHere, LookHere, TrayHere
from api.formats import utc_text
from api.moment import Moment
from api.problems import Fault, ProblemError
from api.queries import (
    LONGEST_DAYS,
    DegreeHoursQuery,
    LogQuery,
    TemperaturesQuery,
    instant_ms,
)
from api.shapes import DegreeHoursView, LogView, TemperaturesView
from api.tray_views import Span, live_degree_hours, logged_degree_hours
from api.views import log_view, probe_temperatures_view
from controller.core.plan import TrayPlan
from controller.core.state import ThermalAccount
from controller.core.units import DAY_MS, MilliC
from controller.ports import Bucket, Columns, LogEntry, SeasonReader
from controller.review.degree_hours import Sample, counted
from controller.review.envelopes import bucket_width_ms

router = APIRouter()

T = TypeVar("T")

_logger = logging.getLogger("bottomheat.api")


@router.get("/trays/{tray}/temperatures")
async def get_temperatures(
    context: ContextHere,
    tray: TrayHere,
    asked: Annotated[TemperaturesQuery, Query()],
) -> TemperaturesView:
    """What a tray's probes read: least, mean and greatest in equal buckets."""
    from_ms, to_ms = _stretch(context, asked.from_, asked.to, DAY_MS)

    width_ms = bucket_width_ms(from_ms, to_ms, asked.points)

    def read(log: "_Log") -> TemperaturesView:
        return TemperaturesView(
            tray=tray.name,
            start=utc_text(from_ms),
            end=utc_text(to_ms),
            bucket_s=width_ms / 1000,
            empty_buckets="omitted",
            probes=[
                probe_temperatures_view(
                    probe.name, log.envelope(probe.name, from_ms, to_ms, asked.points)
                )
                for probe in tray.probes
            ],
        )

    return await _reading(context, read)


@router.get("/trays/{tray}/degree-hours")
async def get_degree_hours(
    context: ContextHere,
    look: LookHere,
    tray: TrayHere,
    asked: Annotated[DegreeHoursQuery, Query()],
) -> DegreeHoursView:
    """Thermal time of a tray, with its base; other bases come from the log."""
    account = _account(tray, asked)
    live = account == ThermalAccount(tray.base_mc, tray.upper_mc)
    if live and asked.from_ is None and asked.to is None:
        return live_degree_hours(look, tray)
    return await _counted_again(context, look, tray, account, asked)


@router.get("/log")
async def get_log(
    context: ContextHere, _look: LookHere, asked: Annotated[LogQuery, Query()]
) -> LogView:
    """Changes, alarms, answers and refusals, oldest first."""
    return await _reading(
        context,
        lambda reader: log_view(reader.journal(asked.after, asked.limit), asked.after),
    )


def _account(tray: TrayPlan, asked: DegreeHoursQuery) -> ThermalAccount:
    """Return the empty account that was asked for, which must count something."""
    base_mc, upper_mc = tray.base_mc, tray.upper_mc
    if asked.base is not None:
        base_mc = MilliC(round(asked.base * 1000))
    if asked.upper is not None:
        upper_mc = MilliC(round(asked.upper * 1000))
    if upper_mc is not None and upper_mc <= base_mc:
        detail = f"upper must lie above base, here {base_mc / 1000:g} °C"
        fault = Fault(detail=detail, parameter="upper", found=f"{upper_mc / 1000:g}")
        raise ProblemError(400, f"the query is not right: {detail}", faults=[fault])
    return ThermalAccount(base_mc, upper_mc)


async def _counted_again(
    context: Context,
    look: Moment,
    tray: TrayPlan,
    account: ThermalAccount,
    asked: DegreeHoursQuery,
) -> DegreeHoursView:
    longest_ms = LONGEST_DAYS * DAY_MS
    from_ms, to_ms = _stretch(context, asked.from_, asked.to, longest_ms)
    span = Span(utc_text(from_ms), utc_text(to_ms))
    stale_ms = {probe.name: int(probe.stale_after_ms) for probe in tray.probes}

    def read(log: "_Log") -> ThermalAccount:
        samples = {name: log.readings(name, from_ms, to_ms) for name in stale_ms}
        return counted(account, samples, stale_ms)

    return logged_degree_hours(look, tray, await _reading(context, read), span)


def _stretch(
    context: Context, from_: str | None, to: str | None, default_ms: int
) -> tuple[int, int]:
    """Return the stretch of time that was asked for [ms], bounded."""
    to_ms = context.clock.now().utc_ms if to is None else instant_ms(to)
    from_ms = to_ms - default_ms if from_ is None else instant_ms(from_)
    detail = None
    if from_ms >= to_ms:
        detail = f"must lie before to, here {utc_text(to_ms)}"
    elif to_ms - from_ms > LONGEST_DAYS * DAY_MS:
        detail = f"must lie at most {LONGEST_DAYS} days before to"
    if detail is not None:
        fault = Fault(detail=detail, parameter="from", found=str(from_))
        raise ProblemError(
            400, f"the query is not right: from: {detail}", faults=[fault]
        )
    return from_ms, to_ms


class _UnreadableError(Exception):
    """The season log cannot be read just now."""


class _Log:
    """The season log as routes read it.

    Whatever goes wrong below the port, a damaged row or a full disk, is one
    error here: it is the log's, never the asker's, and control does not care.
    """

    def __init__(self, make: Callable[[], SeasonReader]) -> None:
        self._reader = _below(make)

    def journal(self, after: int, limit: int) -> Sequence[LogEntry]:
        """Return entries with an id above after, oldest first."""
        return _below(lambda: self._reader.journal(after, limit))

    def envelope(
        self, probe: str, from_ms: int, to_ms: int, points: int
    ) -> Sequence[Bucket]:
        """Return a probe's readings in buckets."""
        return _below(lambda: self._reader.envelope(probe, from_ms, to_ms, points))

    def readings(self, probe: str, from_ms: int, to_ms: int) -> Iterator[Sample]:
        """Yield a probe's readings, fetched a day at a time."""
        for start_ms in range(from_ms, to_ms, DAY_MS):
            columns = self._day(probe, start_ms, min(start_ms + DAY_MS, to_ms))
            yield from zip(columns.utc_ms, columns.temp_mc, strict=True)

    def _day(self, probe: str, start_ms: int, end_ms: int) -> Columns:
        return _below(lambda: self._reader.samples(probe, start_ms, end_ms))


def _below(read: Callable[[], T]) -> T:
    try:
        return read()
    except Exception as error:
        raise _UnreadableError from error


async def _reading(context: Context, read: Callable[[_Log], T]) -> T:
    """Read the log in a thread; few at once, so that control keeps its time."""
    make = context.reader
    if make is None:
        raise ProblemError(503, "this bench keeps no season log to read")
    if context.limiter.statistics().tasks_waiting >= WAITING_READERS:
        raise ProblemError(
            503, "others are reading the season log", headers={"Retry-After": "2"}
        )
    try:
        return await anyio.to_thread.run_sync(
            lambda: read(_Log(make)), limiter=context.limiter
        )
    except _UnreadableError as error:
        _logger.warning("the season log cannot be read: %s", error.__cause__)
        raise ProblemError(
            503,
            "the season log cannot be read just now",
            headers={"Retry-After": "5"},
        ) from None
