"""Judging readings: which may be used, and which are doubted and why.

The door has already refused what is no number. Here a number is held against
what its probe can say and what a root zone can do. What may live here: the
quality of single readings. Nothing about mats or heat.
"""

from dataclasses import replace

from controller.core.decisions import Doubt, Doubted
from controller.core.plan import ProbePlan, Quantity
from controller.core.scan import Quality, Reading
from controller.core.state import ProbeState
from controller.core.units import MilliC, Millis

LOWEST_MC = MilliC(-30_000)
HIGHEST_MC = MilliC(70_000)
"""Chosen: no root zone, mat surface or room of a bench is outside; every
cut-out that a plan may have is well inside."""

STEP_MK = 3_000
RATE_MK_PER_S = 200
"""Chosen: a jump of more than 3 K plus 12 K a minute is doubted until the next
reading confirms it. A steel probe lifted from warm medium into a cold room
falls about 9 K a minute; medium on a mat moves well under 1 K a minute."""

SECOND = 2
"""A cut-out trips at the second good reading in a row."""

_SENTINELS = {
    # Linux kernel, Documentation/ABI/testing/sysfs-driver-w1_therm: 85.00 °C is
    # the power-up value, 127.94 °C means insufficient power.
    85_000: Doubted.POWER_UP,
    127_937: Doubted.LOW_POWER,
    127_940: Doubted.LOW_POWER,
    # The "device disconnected" constant of microcontroller libraries.
    -127_000: Doubted.DISCONNECTED,
}

_NO_MEASUREMENT = {Doubted.NO_VALUE, *_SENTINELS.values()}
"""Doubts about what is not a temperature at all."""


def judge(
    plan: ProbePlan,
    cutout_mc: MilliC | None,
    before: ProbeState,
    reading: Reading,
    now_ms: Millis,
) -> tuple[ProbeState, Doubt | None]:
    """Take one reading of a probe, or doubt it.

    Args:
        plan: The probe.
        cutout_mc: The cut-out that it guards [m°C]; None: none.
        before: What was known of it.
        reading: What it says.
        now_ms: Run clock of the scan [ms].

    Returns:
        What is known now, and the doubt if the reading was not taken.
    """
    temp_mc = None if reading.milli is None else MilliC(reading.milli + plan.offset_mk)
    found = _doubt(plan, before, reading, temp_mc, now_ms)
    if found is None and temp_mc is not None:
        taken = _taken(before, reading.at_ms, temp_mc, cutout_mc)
        if not _stuck(plan, cutout_mc, taken):
            return taken, None
        found = Doubted.STUCK, Quality.UNCERTAIN
    why, quality = found or (Doubted.NO_VALUE, Quality.BAD)
    doubt = Doubt(plan.name, reading.at_ms, temp_mc, quality, why)
    if why is Doubted.OUT_OF_ORDER:
        return before, doubt  # what came later is known already
    return _doubted(before, doubt), doubt


def _stuck(plan: ProbePlan, cutout_mc: MilliC | None, taken: ProbeState) -> bool:
    """Whether a probe of a mat has said the very same value for too long."""
    if cutout_mc is None or taken.good_at_ms is None or taken.same_since_ms is None:
        return False
    return taken.good_at_ms - taken.same_since_ms > plan.stuck_after_ms


def usable(plan: ProbePlan, probe: ProbeState, now_ms: Millis) -> bool:
    """Whether a probe's last good reading may be used: fresh and undoubted."""
    return probe.doubt is None and not silent(plan, probe, now_ms)


def silent(plan: ProbePlan, probe: ProbeState, now_ms: Millis) -> bool:
    """Whether a probe's last good reading is older than its stale time."""
    good_at_ms = probe.good_at_ms
    return good_at_ms is None or now_ms - good_at_ms > plan.stale_after_ms


def _taken(
    before: ProbeState, at_ms: Millis, temp_mc: MilliC, cutout_mc: MilliC | None
) -> ProbeState:
    over = cutout_mc is not None and temp_mc >= cutout_mc
    count = before.over_cutout + 1 if over else 0
    same = before.good_at_ms is not None and before.good_mc == temp_mc
    since_ms = before.same_since_ms if same else at_ms
    if before.doubt_at_ms is not None and at_ms < before.doubt_at_ms:
        # Older than what is doubted: it tells of then, and clears nothing.
        return replace(
            before,
            good_at_ms=at_ms,
            good_mc=temp_mc,
            over_cutout=count,
            same_since_ms=since_ms,
        )
    return ProbeState(at_ms, temp_mc, over_cutout=count, same_since_ms=since_ms)


def _doubted(before: ProbeState, doubt: Doubt) -> ProbeState:
    hottest_mc = before.doubt_hottest_mc
    if doubt.temp_mc is not None and doubt.why not in _NO_MEASUREMENT:
        known_mc = doubt.temp_mc if hottest_mc is None else hottest_mc
        hottest_mc = max(known_mc, doubt.temp_mc)
    return replace(
        before,
        doubt=doubt.why,
        doubt_at_ms=doubt.at_ms,
        doubt_mc=doubt.temp_mc,
        doubt_quality=doubt.quality,
        doubt_hottest_mc=hottest_mc,
    )


def _doubt(
    plan: ProbePlan,
    before: ProbeState,
    reading: Reading,
    temp_mc: MilliC | None,
    now_ms: Millis,
) -> tuple[Doubted, Quality] | None:
    if reading.at_ms > now_ms:
        return Doubted.OUT_OF_ORDER, Quality.UNCERTAIN
    if temp_mc is None or reading.milli is None or reading.quality is Quality.BAD:
        return Doubted.NO_VALUE, Quality.BAD
    if before.good_at_ms is not None and reading.at_ms <= before.good_at_ms:
        return Doubted.OUT_OF_ORDER, Quality.UNCERTAIN
    if plan.quantity is not Quantity.TEMPERATURE:
        return _uncertain(plan, reading, now_ms)
    return (
        _impossible(plan, reading.milli, temp_mc)
        or _uncertain(plan, reading, now_ms)
        or _rate(plan, before, reading.at_ms, temp_mc)
    )


def _impossible(
    plan: ProbePlan, milli: int, temp_mc: MilliC
) -> tuple[Doubted, Quality] | None:
    """Doubt what no root zone can be; a sentinel is one before the offset."""
    if plan.one_wire and milli in _SENTINELS:
        return _SENTINELS[milli], Quality.BAD
    if not LOWEST_MC <= temp_mc <= HIGHEST_MC:
        return Doubted.OUT_OF_RANGE, Quality.BAD
    return None


def _uncertain(
    plan: ProbePlan, reading: Reading, now_ms: Millis
) -> tuple[Doubted, Quality] | None:
    """Doubt what the door calls uncertain, and what comes too late to be used."""
    late = now_ms - reading.at_ms > plan.stale_after_ms
    if late or reading.quality is Quality.UNCERTAIN:
        return Doubted.UNCERTAIN, Quality.UNCERTAIN
    return None


def _rate(
    plan: ProbePlan, before: ProbeState, at_ms: Millis, temp_mc: MilliC
) -> tuple[Doubted, Quality] | None:
    """Doubt a jump from the last good reading, unless a second one confirms it."""
    good_at_ms = before.good_at_ms
    if good_at_ms is None or at_ms - good_at_ms > plan.stale_after_ms:
        return None
    if _reachable(before.good_mc, good_at_ms, temp_mc, at_ms):
        return None
    if (
        before.doubt is Doubted.IMPOSSIBLE_RATE
        and before.doubt_mc is not None
        and before.doubt_at_ms is not None
        and before.doubt_at_ms < at_ms
        and _reachable(before.doubt_mc, before.doubt_at_ms, temp_mc, at_ms)
    ):
        return None
    return Doubted.IMPOSSIBLE_RATE, Quality.UNCERTAIN


def _reachable(from_mc: int, from_ms: int, to_mc: int, to_ms: int) -> bool:
    allowed_mk = STEP_MK + RATE_MK_PER_S * (to_ms - from_ms) // 1000
    return abs(to_mc - from_mc) <= allowed_mk
