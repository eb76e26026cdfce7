"""Response guards: do the root zones answer to heat as root zones do?

A probe that slipped out of the medium, a tray lifted off with its probe, a dead
mat or a relay that sticks all show in what heat does, or does not, to the
driving temperature. What may live here: what is remembered of that, and which
of it is strange; heat not felt is in uptake, disagreement in offsets. Refusing
heat is protect's part, telling people is that of alarms.
"""

from dataclasses import replace

from controller.core.guard_state import Climb, GuardState, Idle
from controller.core.offsets import offsets_after
from controller.core.plan import MatPlan
from controller.core.relays import on_time_ms, unheated_ms
from controller.core.state import MatState, RelayState
from controller.core.units import HOUR_MS, MINUTE_MS, Millis
from controller.core.uptake import Look, lag_ms, uptake_after

LOOK_MS = MINUTE_MS
"""Chosen: root zones on a mat move in minutes."""

STORED_MS = 20 * MINUTE_MS
"""Chosen: heat stored in a mat still arrives for at least this long."""

CLIMB_MS = 10 * MINUTE_MS
ABOVE_SETPOINT_MK = 1_000
"""Chosen: a tray put back into place warms fast, but not past its setpoint."""


def due(guard: GuardState, now_ms: Millis) -> bool:
    """Whether the guards should look again."""
    return guard.at_ms is None or now_ms - guard.at_ms >= LOOK_MS


def looked(mat: MatPlan, known: MatState, look: Look, now_ms: Millis) -> GuardState:
    """Return what the guards remember after another look at a mat."""
    guard, relay = known.guard, known.relay
    marks, marked_ms = _marks(guard, relay, now_ms)
    spent = _spent(mat, guard, marks, relay, now_ms)
    return GuardState(
        at_ms=now_ms,
        uptake=uptake_after(mat, guard, relay, look, now_ms),
        idle=_idle(mat, guard, relay, look, now_ms),
        climb=_climb(mat, guard, look, now_ms),
        offsets=tuple(offsets_after(mat, guard, look, now_ms)),
        marks=marks,
        marked_ms=marked_ms,
        rest_until_ms=_rest(mat, guard, relay, now_ms),
        spent=spent,
    )


# ------------------------------------------------------ heat that nobody asked


def _idle(
    mat: MatPlan, guard: GuardState, relay: RelayState, look: Look, now_ms: Millis
) -> Idle | None:
    waiting_ms = max(STORED_MS, lag_ms(mat))
    if look.quiet or relay.energised or look.root_mc is None or mat.relay is None:
        return None
    if unheated_ms(relay, now_ms) < waiting_ms:
        return None
    before, root_mc = guard.idle, look.root_mc
    if before is None or root_mc < before.lowest_mc or _over(before, look, now_ms):
        return Idle(now_ms, root_mc, look.room_mc)
    risen_mk = root_mc - before.lowest_mc
    if look.room_mc is not None and before.room_mc is not None:
        risen_mk -= max(0, look.room_mc - before.room_mc)
    by_room = look.room_mc is not None and look.room_mc > root_mc
    warms = risen_mk >= mat.stray_heat_mk and not by_room
    return before if warms == before.warms else replace(before, warms=warms)


def _over(before: Idle, look: Look, now_ms: Millis) -> bool:
    """Whether to look anew: without a room probe, warming counts if it is fast."""
    slow = now_ms - before.since_ms >= HOUR_MS
    return slow and look.room_mc is None and not before.warms


# ------------------------------------------------------------- rises too fast


def _climb(mat: MatPlan, guard: GuardState, look: Look, now_ms: Millis) -> Climb | None:
    temps = [temp_mc for temp_mc, _ in look.observed.trays]
    if look.quiet or not temps:
        return None
    top_mc, before = max(temps), guard.climb
    if before is None:
        return Climb(now_ms, top_mc)
    until_ms = before.until_ms
    if until_ms is not None and now_ms >= until_ms:
        until_ms = None
    too_fast = top_mc - before.temp_mc >= mat.rise_limit_mk
    if too_fast and top_mc > look.setpoint_mc + ABOVE_SETPOINT_MK:
        until_ms = Millis(now_ms + CLIMB_MS)
    if now_ms - before.at_ms >= CLIMB_MS or top_mc < before.temp_mc:
        return Climb(now_ms, top_mc, until_ms)
    return replace(before, until_ms=until_ms)


# ---------------------------------------------------------------- energy budget


def _rest(
    mat: MatPlan, guard: GuardState, relay: RelayState, now_ms: Millis
) -> Millis | None:
    if relay.energised and now_ms - relay.since_ms >= mat.longest_on_ms:
        return Millis(now_ms + mat.settle_ms)
    until_ms = guard.rest_until_ms
    return None if until_ms is None or now_ms >= until_ms else until_ms


def _marks(
    guard: GuardState, relay: RelayState, now_ms: Millis
) -> tuple[tuple[int, ...], Millis]:
    """Keep the time on at each full hour of the last day."""
    if guard.marks and now_ms - guard.marked_ms < HOUR_MS:
        return guard.marks, guard.marked_ms
    return (*guard.marks, on_time_ms(relay, now_ms))[-25:], now_ms


def _spent(
    mat: MatPlan,
    guard: GuardState,
    marks: tuple[int, ...],
    relay: RelayState,
    now_ms: Millis,
) -> bool:
    """Whether the day's heat is used up; an hour of it must be free to go on."""
    used_ms = on_time_ms(relay, now_ms) - marks[0]
    free_ms = HOUR_MS if guard.spent else 0
    return used_ms > mat.daily_on_ms - free_ms
