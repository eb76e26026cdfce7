"""Protection: whether a mat may be energised at all.

Limits act on every probe that guards a mat, whatever drives it. Any doubt is
off. What may live here: reasons to refuse, the strongest first, each with its
numbers. Nothing here asks for heat.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from controller.core.decisions import Cause, Numbers
from controller.core.judge import SECOND, silent
from controller.core.plan import MatPlan, OnLogFailure, Plan, RelayKind
from controller.core.plan_rules import RESET_BELOW_MK
from controller.core.relays import heats_unasked, unheated_ms
from controller.core.root_zone import Heard, Observed
from controller.core.scan import LogHealth, Quality, Scan
from controller.core.setpoints import LIMIT_FALL_MK_PER_H, on_ramp
from controller.core.state import Condition, MatState, Mode, State, Trip
from controller.core.units import MilliC, Millis

_RUNNING = (Mode.REGULATING, Mode.INHIBITED)
"""Modes whose probes were all heard already."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What protect says of a mat.

    Attributes:
        condition: The strongest thing that is true of it.
        cause: Why heat is refused; None where the condition is CLEAR.
        numbers: The numbers that decided.
        trip: The trip, where the condition is TRIP.
    """

    condition: Condition
    cause: Cause | None = None
    numbers: Numbers = ()
    trip: Trip | None = None


CLEAR = Verdict(Condition.CLEAR)


class Facts(NamedTuple):
    """What protect judges by, all of one scan.

    Attributes:
        plan: The whole bench's plan.
        mat: The mat.
        mat_state: Its state, with relay, setpoint and warmest of this scan.
        observed: What its probes say.
        root_mc: The temperature to regulate by [m°C]; None: there is none.
        state: The bench's state, with the link of this scan.
        scan: The scan.
        now_ms: Run clock [ms].
    """

    plan: Plan
    mat: MatPlan
    mat_state: MatState
    observed: Observed
    root_mc: MilliC | None
    state: State
    scan: Scan
    now_ms: Millis


def verdict(facts: Facts) -> Verdict:
    """Return the strongest reason to refuse heat, or CLEAR."""
    if facts.mat.relay is None:
        # Nothing to refuse, and nothing to lock off; its alarms ring all the same.
        return over_limits(facts) or Verdict(Condition.INHIBIT, Cause.WATCH_ONLY)
    return (
        _tripped(facts)
        or _by_hand(facts.mat_state, facts.now_ms)
        or _unready(facts)
        or over_limits(facts)
        or _blind(facts)
        or _by_response(facts)
        or _cut_off(facts)
        or CLEAR
    )


def reset_refusal(mat: MatPlan, trip: Trip, observed: Observed) -> str | None:
    """Return why a tripped mat may not be reset yet; None if it may.

    Every probe that ever spoke must have been well below its cut-out when it
    last did. The one that tripped the mat, if it still has it, and at least one
    root-zone probe must be heard now.
    """
    if not any(fresh for _, _, fresh in observed.roots):
        return "no root-zone probe of this mat gives a good reading"
    for (plan, known, fresh), cutout_mc, _ in _guards(mat, observed):
        below_mc = cutout_mc - RESET_BELOW_MK
        if known.good_at_ms is not None and known.good_mc >= below_mc:
            return (
                f"probe {plan.name} last read {known.good_mc / 1000:.2f} °C; "
                f"wait until it is below {below_mc / 1000:.2f} °C"
            )
        if plan.name == trip.probe and not fresh:
            return f"probe {plan.name}, which locked it off, gives no good reading"
    return None


def _guards(mat: MatPlan, observed: Observed) -> Iterator[tuple[Heard, MilliC, Cause]]:
    """Yield every probe with the cut-out that it guards."""
    for heard in observed.roots:
        yield heard, mat.cutout_mc, Cause.OVER_CUTOUT
    for heard in observed.surface:
        yield heard, mat.surface_cutout_mc, Cause.OVER_SURFACE_CUTOUT


def _tripped(facts: Facts) -> Verdict | None:
    if facts.mat_state.trip is not None:
        return _trip_verdict(facts.mat_state.trip)
    for heard, limit_mc, cause in _guards(facts.mat, facts.observed):
        known = heard.known
        if not known.over_cutout:
            continue
        if known.over_cutout < SECOND and not _lost(heard, facts.now_ms):
            continue
        if _from_above(facts):
            return None
        at_ms, utc_ms = facts.now_ms, facts.scan.utc_ms
        return _trip_verdict(
            Trip(cause, heard.plan.name, known.good_mc, limit_mc, at_ms, utc_ms)
        )
    return _not_felt(facts)


def _not_felt(facts: Facts) -> Verdict | None:
    """Lock off a mat whose heat does not show where it should."""
    uptake = facts.mat_state.guard.uptake
    if uptake is None or uptake.missed_mc is None or facts.root_mc is None:
        return None
    probe = facts.observed.roots[0].plan.name
    for heard in facts.observed.roots:
        if heard.usable and heard.known.good_mc == facts.root_mc:
            probe = heard.plan.name
    at_ms, utc_ms = facts.now_ms, facts.scan.utc_ms
    return _trip_verdict(
        Trip(Cause.HEAT_NOT_FELT, probe, facts.root_mc, uptake.missed_mc, at_ms, utc_ms)
    )


def _lost(heard: Heard, now_ms: Millis) -> bool:
    """Whether a probe fell silent or broke; an uncertain reading is neither."""
    broken = heard.known.doubt_quality is Quality.BAD
    return broken or silent(heard.plan, heard.known, now_ms)


def _trip_verdict(trip: Trip) -> Verdict:
    numbers = (("temp_mc", trip.temp_mc), ("limit_mc", trip.limit_mc))
    unfelt = trip.cause is Cause.HEAT_NOT_FELT
    cause = Cause.HEAT_NOT_FELT if unfelt else Cause.TRIPPED
    return Verdict(Condition.TRIP, cause, numbers, trip)


def _from_above(facts: Facts) -> bool:
    """Whether the mat is known to be off so long that sun or lamp must heat it."""
    if facts.mat.relay is None or heats_unasked(facts.mat_state, facts.now_ms):
        return False
    if facts.mat.relay is RelayKind.PLAIN and facts.state.link_down_ms is not None:
        return False  # it may not have heard that it should be off
    return unheated_ms(facts.mat_state.relay, facts.now_ms) > facts.mat.settle_ms


def _by_hand(mat_state: MatState, now_ms: Millis) -> Verdict | None:
    if not mat_state.enabled:
        return Verdict(Condition.DISABLED, Cause.DISABLED)
    until_ms = mat_state.hold_until_ms
    if until_ms is not None and now_ms < until_ms:
        return Verdict(Condition.HOLD, Cause.HELD, (("left_ms", until_ms - now_ms),))
    return None


def _unready(facts: Facts) -> Verdict | None:
    """Hold a start back until the log and the root-zone probes are there."""
    if not facts.state.log_ready:
        return Verdict(Condition.UNREADY, Cause.LOG_NOT_READY)
    mat_state, now_ms = facts.mat_state, facts.now_ms
    if mat_state.mode in _RUNNING:
        return None
    starting = mat_state.mode is Mode.STARTING
    since_ms = mat_state.mode_since_ms if starting else now_ms
    heard = waiting = 0
    for plan, known, _ in facts.observed.roots:
        if known.good_at_ms is not None and known.good_at_ms >= since_ms:
            heard += 1
        elif now_ms - since_ms <= plan.stale_after_ms:
            waiting += 1
    numbers = (("heard", heard), ("waited_ms", now_ms - since_ms))
    if waiting or not heard:
        return Verdict(Condition.UNREADY, Cause.AWAITING_READINGS, numbers)
    if facts.root_mc is None:
        return Verdict(Condition.UNREADY, Cause.NO_DRIVING_READING, numbers)
    return None


def tray_limit_mc(mat: MatPlan, mat_state: MatState, now_ms: Millis) -> MilliC:
    """Return from which root-zone temperature on heat is inhibited [m°C]."""
    ramp = mat_state.limit_ramp
    if ramp is None:
        return mat.cutout_mc
    reference_mc = on_ramp(ramp, LIMIT_FALL_MK_PER_H, now_ms)
    return MilliC(min(mat.cutout_mc, reference_mc + mat.tray_limit_mk))


def over_limits(facts: Facts) -> Verdict | None:
    """Return that something is too hot, or None.

    It is told whatever else holds: a person must know of a hot mat that is
    held or switched off, too.
    """
    mat, observed = facts.mat, facts.observed
    limit_mc = tray_limit_mc(mat, facts.mat_state, facts.now_ms)
    found = _over(observed.roots, limit_mc)
    if found is not None:
        cause = Cause.OVER_TRAY_LIMIT
        if found.temp_mc >= mat.cutout_mc:
            cause = Cause.OVER_CUTOUT
        return _limit_verdict(facts, cause, found, limit_mc)
    found = _over(observed.surface, mat.surface_limit_mc)
    if found is None:
        return None
    cause = Cause.OVER_SURFACE_LIMIT
    if found.temp_mc >= mat.surface_cutout_mc:
        cause = Cause.OVER_SURFACE_CUTOUT
    return _limit_verdict(facts, cause, found, mat.surface_limit_mc)


class _Over(NamedTuple):
    temp_mc: MilliC
    sure: bool


def _over(probes: tuple[Heard, ...], limit_mc: MilliC) -> _Over | None:
    """Return the hottest temperature at or above a limit, if there is one.

    The last good reading of a probe counts until a good one below the limit
    clears it, even if the probe has fallen silent. So do the readings that were
    doubted since: they inhibit, and they never clear.
    """
    sure = [
        known.good_mc
        for _, known, _ in probes
        if known.good_mc >= limit_mc and known.good_at_ms is not None
    ]
    if sure:
        return _Over(max(sure), sure=True)
    doubted = [
        known.doubt_hottest_mc
        for _, known, _ in probes
        if known.doubt_hottest_mc is not None and known.doubt_hottest_mc >= limit_mc
    ]
    return _Over(max(doubted), sure=False) if doubted else None


def _limit_verdict(
    facts: Facts, cause: Cause, found: _Over, limit_mc: MilliC
) -> Verdict:
    numbers: Numbers = (("temp_mc", found.temp_mc), ("limit_mc", limit_mc))
    if not found.sure:
        return Verdict(Condition.INHIBIT, Cause.DOUBTFUL_HOT, numbers)
    if not _from_above(facts):
        return Verdict(Condition.INHIBIT, cause, numbers)
    off_ms = unheated_ms(facts.mat_state.relay, facts.now_ms)
    numbers += (("unheated_ms", off_ms),)
    return Verdict(Condition.INHIBIT, Cause.HEAT_FROM_ABOVE, numbers)


def _blind(facts: Facts) -> Verdict | None:
    """Refuse to heat without a driving reading or past a lost warmest probe."""
    if facts.root_mc is None:
        return Verdict(Condition.INHIBIT, Cause.NO_DRIVING_READING)
    for plan, known, fresh in facts.observed.roots:
        if fresh or plan.name != facts.mat_state.warmest:
            continue
        if any(surface.usable for surface in facts.observed.surface):
            return None
        numbers: Numbers = ()
        if known.good_at_ms is not None:
            silent_ms = facts.now_ms - known.good_at_ms
            numbers = (("last_mc", known.good_mc), ("silent_ms", silent_ms))
        return Verdict(Condition.INHIBIT, Cause.WARMEST_LOST, numbers)
    return None


def _by_response(facts: Facts) -> Verdict | None:
    """Refuse to heat what warms too fast, or has been heated for too long."""
    guard, now_ms = facts.mat_state.guard, facts.now_ms
    if guard.climb is not None and guard.climb.until_ms is not None:
        numbers: Numbers = (
            ("from_mc", guard.climb.temp_mc),
            ("limit_mk", facts.mat.rise_limit_mk),
        )
        return Verdict(Condition.INHIBIT, Cause.RISES_TOO_FAST, numbers)
    if guard.rest_until_ms is not None and now_ms < guard.rest_until_ms:
        left_ms = guard.rest_until_ms - now_ms
        numbers = (("longest_ms", facts.mat.longest_on_ms), ("left_ms", left_ms))
        return Verdict(Condition.INHIBIT, Cause.HEATED_TOO_LONG, numbers)
    if guard.spent:
        numbers = (("daily_ms", facts.mat.daily_on_ms),)
        return Verdict(Condition.INHIBIT, Cause.DAILY_HEAT_SPENT, numbers)
    return None


def _cut_off(facts: Facts) -> Verdict | None:
    failed = facts.scan.log_health is not LogHealth.OK
    if failed and facts.plan.on_log_failure is OnLogFailure.HEAT_OFF:
        return Verdict(Condition.INHIBIT, Cause.LOG_FAILED)
    down_since_ms = facts.state.link_down_ms
    if facts.mat.relay is RelayKind.PIN or down_since_ms is None:
        return None
    down_ms = facts.now_ms - down_since_ms
    if down_ms <= facts.plan.valid_for_ms:
        return None
    return Verdict(Condition.INHIBIT, Cause.LINK_DOWN, (("down_ms", down_ms),))
