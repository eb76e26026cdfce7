"""Degree-hours of a batch for an answer: counted from the log, little at a time.

A piece that has ended is counted once and remembered; one that goes on is counted
to a full ten minutes some time ago, and then not again until the next. What may
live here: what is counted, and the view.
"""

from api.batch_shapes import BatchThermalView
from api.formats import utc_text
from api.hours_memory import HoursMemory
from api.moment import Moment
from api.season import Log, UnreadableError
from api.tray_views import degree_hours_view, find_tray
from controller.core.plan import TrayPlan
from controller.core.state import ThermalAccount
from controller.core.units import HOUR_MS, MINUTE_MS, MilliC
from controller.records.book import BatchFile
from controller.records.places import Stay
from controller.review.batch_hours import Hours, Piece, pieces
from controller.review.recounted import Thresholds

GRAIN_MS = 10 * MINUTE_MS
"""Chosen: an answer may be so old; thermal time grows by some K·h in it."""

SETTLED_MS = 5 * MINUTE_MS
"""Chosen: what is younger may not be in the log yet."""


def settled_ms(now_utc_ms: int) -> int:
    """Return up to when thermal time is counted in an answer of now [ms]."""
    until_ms = now_utc_ms - SETTLED_MS
    return until_ms - until_ms % GRAIN_MS


def thresholds_of(look: Moment, file: BatchFile) -> Thresholds:
    """Return base and upper of a batch: its own, else of the tray it began in."""
    batch = file.batch
    if batch.base_mc is not None:
        return Thresholds(batch.base_mc, batch.upper_mc)
    tray = _first_tray(look, file.stays)
    return Thresholds(tray.base_mc, tray.upper_mc)


def _first_tray(look: Moment, stays: tuple[Stay, ...]) -> TrayPlan:
    found = (find_tray(look, stay.tray) for stay in stays)
    return next((tray for tray in found if tray), TrayPlan(name="none"))


def count_batch(
    log: Log,
    memory: HoursMemory,
    stays: tuple[Stay, ...],
    thresholds: Thresholds,
    until_utc_ms: int,
) -> Hours:
    """Return the thermal time of a batch, summed over its stays."""
    total = Hours()
    for stay in stays:
        for piece in pieces(stay, thresholds, until_utc_ms):
            total = total.plus(_hours(log, memory, piece))
    return total


def _hours(log: Log, memory: HoursMemory, piece: Piece) -> Hours:
    try:
        return memory.hours(log, piece)
    except ValueError as error:
        raise UnreadableError from error


def thermal_view(
    look: Moment,
    file: BatchFile,
    hours: Hours,
    thresholds: Thresholds,
    until_utc_ms: int,
) -> BatchThermalView:
    """Return the thermal time of a batch, with all that it was counted from."""
    upper_mc = thresholds.upper_mc
    account = ThermalAccount(
        MilliC(thresholds.base_mc),
        None if upper_mc is None else MilliC(upper_mc),
        heat_mk_ms=hours.heat_mk_ms,
        warmth_mk_ms=hours.warmth_mk_ms,
        measured_ms=hours.measured_ms,
        gap_ms=hours.gap_ms,
    )
    last = file.stays[-1]
    tray = find_tray(look, last.tray) or TrayPlan(name="none")
    told = degree_hours_view(look, tray, account)
    end_ms = until_utc_ms if last.to_utc_ms is None else last.to_utc_ms
    return BatchThermalView(
        degree_hours_k_h=told["degree_hours_k_h"],
        base_c=told["base_c"],
        upper_c=told["upper_c"],
        base_from="tray" if file.batch.base_mc is None else "batch",
        hours_measured=told["hours_measured"],
        gap_hours=told["gap_hours"],
        hours_off_bench=round(_off_ms(file.stays, end_ms) / HOUR_MS, 4),
        mean_c=told["mean_c"],
        equal_to=told["equal_to"],
        reference_c=told["reference_c"],
        until=utc_text(min(end_ms, until_utc_ms)),
    )


def _off_ms(stays: tuple[Stay, ...], end_ms: int) -> int:
    return sum(
        max(
            0, (end_ms if stay.to_utc_ms is None else stay.to_utc_ms) - stay.from_utc_ms
        )
        for stay in stays
        if not stay.tray
    )
