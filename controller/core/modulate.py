"""From demand to relay: time-proportioning, and minimum times on and off.

What may live here: when a relay that may be on shall be on. Minimum times bind
regulation only; what protect refuses is off at once.
"""

from controller.core.decisions import Cause
from controller.core.plan import MatPlan, Pid
from controller.core.state import Cycle, RelayState
from controller.core.units import Millis


def cycle_for(
    plan: MatPlan, policy: Pid, before: Cycle | None, duty: float, now_ms: Millis
) -> Cycle:
    """Return the time-proportioning cycle that holds now.

    The duty is latched at the start of a cycle. On-time too short to be worth
    a switch is carried to the next cycle, and so is time off. Where the minimum
    time off leaves only none or all of a cycle, the nearer one is taken.
    """
    if before is not None and now_ms - before.start_ms < policy.cycle_ms:
        return before
    carry_ms = 0 if before is None else before.carry_ms
    start_ms = now_ms
    if before is not None and now_ms - before.start_ms < 2 * policy.cycle_ms:
        start_ms = Millis(before.start_ms + policy.cycle_ms)
    asked_ms = round(duty * policy.cycle_ms) + (carry_ms if 0.0 < duty < 1.0 else 0)
    off_too_short = policy.cycle_ms - asked_ms < plan.min_off_ms
    if asked_ms < plan.min_on_ms or (off_too_short and 2 * asked_ms < policy.cycle_ms):
        return Cycle(start_ms, 0, asked_ms)
    if off_too_short:
        return Cycle(start_ms, policy.cycle_ms, asked_ms - policy.cycle_ms)
    return Cycle(start_ms, asked_ms, 0)


def cycle_demand(cycle: Cycle, now_ms: Millis) -> bool:
    """Whether a cycle has the relay on now: from its start, for on_ms."""
    return now_ms - cycle.start_ms < cycle.on_ms


def hold_back(
    plan: MatPlan, relay: RelayState, demand: bool, now_ms: Millis
) -> Cause | None:
    """Return the minimum time that forbids following the demand, if one does."""
    if demand == relay.energised:
        return None
    lasting_ms = now_ms - relay.since_ms
    if relay.energised:
        return Cause.MIN_ON if lasting_ms < plan.min_on_ms else None
    return Cause.MIN_OFF if lasting_ms < plan.min_off_ms else None
