"""Heat not felt: heat is given, and the driving temperature must show it.

A probe that slipped out of the medium, a tray lifted off with its probe, a
probe that sticks, a dead mat: all look cold, and no limit sees what the mat
does meanwhile. What may live here: how much heat was given beyond the usual,
how much rise it is worth, and whether that came.
"""

from dataclasses import dataclass, replace

from controller.core.guard_state import GuardState, Uptake
from controller.core.plan import MatPlan
from controller.core.relays import mean_duty, on_time_ms
from controller.core.root_zone import Observed
from controller.core.state import RelayState
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, MilliC, Millis

MEDIUM_J_M3K = 2_500_000
"""Heat capacity of moist soilless media: water 4.18 and organic matter 2.47
MJ/m³K (after de Vries 1963), at half water by volume; rounded up, so that more
heat is waited for rather than less."""

DIFFUSIVITY_MM2_S = 0.13
"""Of the same media: 0.3 W/mK over 2.3 MJ/m³K, in mm²/s."""

LEAST_RISE_MK = 300
RISE_SHARE = 5
"""Chosen: for heat that would warm the trays by the allowance, the driving
temperature must rise by 0.3 K plus a fifth of what it lacks to the setpoint.
A bench that can hold its setpoint gains more the further it is below it."""

CLEAR_RISE_MK = 750
"""Chosen: a probe that hangs in the air wavers by less."""

MOST_RISE_SHARE = 0.4
"""Chosen: and by no more than this share of the allowance, since the first heat
after a cold start warms the mat and its edges too."""

NEAR_MK = 1_000
NEAR_PATIENCE = 1.5
"""Chosen: within this distance from the setpoint little rise can be asked for,
and more heat is waited for."""

COLD_DUTY = 0.3
"""Chosen: a mat that is on for more than this has a cold room."""

RELIEF_MS = 4 * MINUTE_MS
"""Chosen: each look at a setpoint that is reached takes off this much excess. A
bench that is held is above it half of the time; one whose probe hangs in a warm
room touches it now and then."""

FROZEN_MS = HOUR_MS
"""Chosen: a root zone that is heated shows a step of its probe within this time."""

FAST_FALL_MK = 400
FAST_FALL_MS = 20 * MINUTE_MS
"""Chosen: 1.2 K an hour. A tray taken off its mat falls by 2 to 4 K in the first
hour and a probe pulled out in minutes; a bench that its mat cannot hold against
a cold night loses well under 1 K an hour."""

SINKS_MK = 250
"""Chosen: clear of a probe's noise and resolution."""

ALIKE_MK = 1_000
"""Chosen: a probe this near to the room's temperature may hang in its air."""

COOLS_IN_MS = 8 * HOUR_MS
"""Chosen: a wet tray with no heat nears the room's temperature no slower than
with this time constant; trays of 50 to 60 mm do in 3 to 5 hours."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the guards are shown of a mat.

    Attributes:
        observed: What its probes say.
        root_mc: The driving temperature [m°C]; None: there is none.
        setpoint_mc: The setpoint in force [m°C].
        room_mc: The room's temperature [m°C]; None: not known.
        quiet: Hands are on the bench, or the mat is switched off: how it
            answers tells nothing.
        tripped: It is locked off.
        frozen: The probe that drives it has said the very same for long.
    """

    observed: Observed
    root_mc: MilliC | None
    setpoint_mc: MilliC
    room_mc: MilliC | None
    quiet: bool
    tripped: bool = False
    frozen: bool = False


def frozen(observed: Observed, root_mc: MilliC | None, now_ms: Millis) -> bool:
    """Whether a probe that reads the driving temperature has not moved for long."""
    return any(
        known.good_mc == root_mc
        and known.same_since_ms is not None
        and now_ms - known.same_since_ms >= FROZEN_MS
        for _, known, _ in observed.roots
    )


def allowance_ms(mat: MatPlan) -> int:
    """Return how long full heat takes for the heat allowance [ms].

    All of it goes into the medium of the trays that have probes, as deep as
    they are on average and as wide as the mat: no loss, so that the true time
    is longer and the trays are cooler.
    """
    depths = [tray.depth_mm for tray in mat.trays if tray.probes]
    if not depths:
        return DAY_MS
    depth_m = sum(depths) / len(depths) / 1_000
    area_m2 = mat.length_mm * mat.width_mm / 1e6
    heat_j = MEDIUM_J_M3K * depth_m * area_m2 * mat.heat_allowance_mk / 1_000
    return round(heat_j * 1e6 / mat.power_mw)


def lag_ms(mat: MatPlan) -> int:
    """Return how long heat takes from the mat up to the furthest probe [ms].

    Diffusion over a distance d takes about d²/2D.
    """
    furthest_mm = max(
        (
            tray.depth_mm - (tray.depth_mm // 2 if p.depth_mm is None else p.depth_mm)
            for tray in mat.trays
            for p in tray.probes
        ),
        default=0,
    )
    return round(furthest_mm**2 / (2 * DIFFUSIVITY_MM2_S) * 1_000)


def uptake_after(
    mat: MatPlan, guard: GuardState, relay: RelayState, look: Look, now_ms: Millis
) -> Uptake | None:
    """Return what is remembered of heat given, and whether it was felt."""
    root_mc, before = look.root_mc, guard.uptake
    if look.quiet or look.tripped or mat.relay is None:
        return None
    if root_mc is None:
        return before  # heat is off, and what was given is not forgotten
    on_ms = on_time_ms(relay, now_ms)
    satisfied = root_mc >= look.setpoint_mc
    if before is None or guard.at_ms is None:
        return _begun(on_ms, 0, root_mc, look.room_mc, now_ms, proven=satisfied)
    passed_ms = now_ms - guard.at_ms
    usual = mean_duty(relay, now_ms)
    excess_ms = max(
        0, round(before.excess_ms + on_ms - before.on_ms - usual * passed_ms)
    )
    if satisfied:
        left_ms = max(0, excess_ms - RELIEF_MS)
        return _begun(on_ms, left_ms, root_mc, look.room_mc, now_ms, proven=True)
    cooled_mc = _left_alone(before.cooled_mc, look.room_mc, passed_ms)
    after = replace(
        before,
        on_ms=on_ms,
        excess_ms=excess_ms,
        lowest_mc=min(before.lowest_mc, root_mc),
        cooled_mc=min(cooled_mc, root_mc),
        fell=before.fell or before.mark_mc - root_mc >= FAST_FALL_MK,
    )
    if now_ms - before.mark_ms >= FAST_FALL_MS:
        after = replace(after, mark_ms=now_ms, mark_mc=root_mc)
    return _weighed(mat, after, root_mc, look, now_ms, usual)


def _begun(
    on_ms: int,
    excess_ms: int,
    root_mc: MilliC,
    room_mc: MilliC | None,
    now_ms: Millis,
    *,
    proven: bool,
) -> Uptake:
    return Uptake(
        since_ms=now_ms,
        from_mc=root_mc,
        proven=proven,
        on_ms=on_ms,
        excess_ms=excess_ms,
        lowest_mc=root_mc,
        cooled_mc=root_mc,
        room_mc=room_mc,
        mark_ms=now_ms,
        mark_mc=root_mc,
    )


def _weighed(
    mat: MatPlan,
    uptake: Uptake,
    root_mc: MilliC,
    look: Look,
    now_ms: Millis,
    usual: float,
) -> Uptake:
    """Say whether the heat was felt, or not, or whether it is too early."""
    # What does not change at all is no tray that is kept warm against the room.
    least_mc = uptake.lowest_mc if look.frozen else uptake.cooled_mc
    wanted_mc = MilliC(least_mc + _due_rise_mk(mat, uptake, root_mc, look))
    if root_mc >= wanted_mc:
        return _begun(uptake.on_ms, 0, root_mc, look.room_mc, now_ms, proven=True)
    wanted_ms = allowance_ms(mat) * _patience(root_mc, look, usual)
    if uptake.excess_ms < wanted_ms or now_ms - uptake.since_ms < lag_ms(mat):
        return uptake
    if _loses_to_the_cold(uptake, root_mc, look, usual):
        return uptake
    return replace(uptake, missed_mc=wanted_mc)


def _patience(root_mc: MilliC, look: Look, usual: float) -> float:
    """Return how many allowances of heat are waited for.

    Near the setpoint a cold evening takes more heat for hours with little to
    be seen. That is no excuse where little heat is usual: in a warm room, in
    which a probe may hang, or where the probe shows nothing at all.
    """
    excused = _near(root_mc, look) and usual >= COLD_DUTY and not look.frozen
    return NEAR_PATIENCE if excused else 1.0


def _near(root_mc: MilliC, look: Look) -> bool:
    return look.setpoint_mc - root_mc < NEAR_MK


def _loses_to_the_cold(
    uptake: Uptake, root_mc: MilliC, look: Look, usual: float
) -> bool:
    """Whether a mat that is too weak for the night may explain what is seen.

    A probe that was in heated medium leaves it with a fast fall, and so does
    its tray leave the mat; slow sinking at full heat is the room's doing. Where
    the room's temperature is known, no guess is needed.
    """
    if look.room_mc is not None or look.frozen or uptake.fell:
        return False
    if _near(root_mc, look) and usual < COLD_DUTY:
        return False
    return uptake.proven and uptake.from_mc - root_mc >= SINKS_MK


def _due_rise_mk(mat: MatPlan, uptake: Uptake, root_mc: MilliC, look: Look) -> int:
    """Return by how much the driving temperature must rise to show heat [mK].

    A probe that reads what the room does must show more than the room's own
    warming: it may hang in the air.
    """
    lacking_mk = look.setpoint_mc - uptake.lowest_mc
    most_mk = round(MOST_RISE_SHARE * mat.heat_allowance_mk)
    usual_mk = min(LEAST_RISE_MK + lacking_mk // RISE_SHARE, most_mk)
    usual_mk = max(usual_mk, CLEAR_RISE_MK)
    if look.room_mc is None or abs(root_mc - look.room_mc) > ALIKE_MK:
        return usual_mk
    warmed_mk = 0 if uptake.room_mc is None else look.room_mc - uptake.room_mc
    return max(usual_mk, mat.heat_allowance_mk // 2 + max(0, warmed_mk))


def _left_alone(temp_mc: MilliC, room_mc: MilliC | None, passed_ms: int) -> MilliC:
    """Return what a tray would have cooled to by itself [m°C]."""
    if room_mc is None or room_mc >= temp_mc:
        return temp_mc
    return MilliC(temp_mc - round((temp_mc - room_mc) * passed_ms / COOLS_IN_MS))
