"""Candidates: other ways of keeping a mat, drawn from a seed.

What may live here: which settings are tried. Each is a plan that the rules of
a plan accept; what becomes of it is not known here.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from random import Random

from controller.core.mat_rules import mat_problems
from controller.core.plan import DrivenBy, MatPlan, OnOff, Pid, StepPlan
from controller.core.units import MINUTE_MS, SECOND_MS, MilliC, MilliK, Millis
from controller.review.simc import as_pid, half_rule, simc
from sim.zone_model import MatModel

DIFFERENTIALS_MK = (100, 150, 200, 250, 300, 400, 500, 750, 1_000, 1_500, 2_000)
"""Chosen: from narrower than a one-wire probe's noise allows to sparing."""

MINIMUMS_MIN = (1, 2, 3, 5, 10)
"""Chosen: shorter is hard on a relay, longer lets a dry tray swing."""

CYCLES_MIN = (5, 10, 15, 20)
"""Chosen: a longer cycle is a ripple that the roots feel."""

SLIDER = (1.0, 1.5, 2.0, 3.0)
"""Wanted time constant of the closed loop over the effective delay: from SIMC's
own choice, tight, to smooth."""

REACH_MK = 4_000
"""Chosen: setpoints are tried this far around the present one [mK]."""

DEEPEST_MK = 4_000
"""Chosen: a night is at most this much cooler than the day [mK]."""

_SEVERAL = (DrivenBy.MEDIAN, DrivenBy.MEAN, DrivenBy.WARMEST)
"""Not the coolest, unless a person chose it: that may be the tray whose probe
slipped out, and nobody should be led there by a search."""

_FIVE_MIN_S = 300.0


@dataclass(frozen=True, slots=True)
class Knobs:
    """What may be turned.

    Attributes:
        setpoints_mc: Setpoints by day [m°C].
        nights_mc: Setpoints by night [m°C].
        keep_programme: The programme has steps of its own, and stays.
        drivers: Ways of driving, each with its tray.
        own: The mat as it is kept now.
        model: What its zones answer; trays in the order of the plan.
    """

    setpoints_mc: tuple[MilliC, ...]
    nights_mc: tuple[MilliC, ...]
    keep_programme: bool
    drivers: tuple[tuple[DrivenBy, str | None], ...]
    own: MatPlan
    model: MatModel


def knobs_of(own: MatPlan, model: MatModel, grid_mk: Sequence[int]) -> Knobs:
    """Return what may be turned of a mat.

    Args:
        own: The mat as it is kept now.
        model: Its fitted zones.
        grid_mk: Steps around the present setpoint that are tried [mK]; by day as
            far as REACH_MK.
    """
    named = {zone.name for zone in model.zones if not zone.at_mat}
    trays = [tray.name for tray in own.trays if tray.probes and tray.name in named]
    ways: list[tuple[DrivenBy, str | None]] = [(DrivenBy.TRAY, name) for name in trays]
    if len(trays) > 1:
        ways += [(way, None) for way in _SEVERAL]
        if own.driven_by is DrivenBy.COOLEST:
            ways.append((DrivenBy.COOLEST, None))
    present = own.programme[0].setpoint_mc
    around = [MilliC(present + step) for step in grid_mk]
    nights = tuple(mc for mc in around if _accepted(_at(own, mc, None)))
    days = tuple(mc for mc in nights if abs(mc - present) <= REACH_MK)
    return Knobs(days, nights, len(own.programme) > 1, tuple(ways), own, model)


def candidates(knobs: Knobs, count: int, seed: int) -> tuple[MatPlan, ...]:
    """Return that many candidates, no two alike; fewer if there are no more.

    The mat as it is kept now comes first; then, at its setpoint, a narrow
    on-off and SIMC's PID; the rest by chance, on-off and PID in turn.

    Raises:
        ValueError: A count below 1.
    """
    if count < 1:
        raise ValueError(f"candidates = {count}: at least 1 is needed")
    found: dict[MatPlan, None] = {}
    for plan in _endless(knobs, Random(seed), 20 * count):
        if plan == knobs.own or _accepted(plan):
            found.setdefault(plan)
        if len(found) == count:
            break
    return tuple(found)


def _endless(knobs: Knobs, rng: Random, tries: int) -> Iterator[MatPlan]:
    own = knobs.own
    yield own
    yield _kept_by(own, OnOff(MilliK(100)), 2 * MINUTE_MS)
    yield _kept_by(own, simc_pid(knobs, own, 1.0, 10 * MINUTE_MS), MINUTE_MS)
    for number in range(tries):
        plan = _driven(knobs, _warm(knobs, own, rng), rng)
        minimum_ms = rng.choice(MINIMUMS_MIN) * MINUTE_MS
        if number % 2:
            differential = MilliK(rng.choice(DIFFERENTIALS_MK))
            yield _kept_by(plan, OnOff(differential), minimum_ms)
        else:
            cycle_ms = rng.choice(CYCLES_MIN) * MINUTE_MS
            pid = simc_pid(knobs, plan, rng.choice(SLIDER), cycle_ms)
            if isinstance(own.policy, Pid) and rng.random() < 1 / 3:
                pid = replace(own.policy, cycle_ms=Millis(cycle_ms))
            half_ms = cycle_ms // (2 * MINUTE_MS) * MINUTE_MS
            yield _kept_by(plan, pid, min(minimum_ms, half_ms))


def simc_pid(knobs: Knobs, plan: MatPlan, slider: float, cycle_ms: int) -> Pid:
    """Return SIMC's PI for the zones that drive a mat.

    Their lags become one and a delay by the half rule; to it comes half of
    the relay's cycle, since a dose is on average given that much later. Gains
    are rounded to what a person would write.

    Args:
        knobs: With the fitted zones.
        plan: Says which of them drive.
        slider: Wanted time constant of the closed loop over that delay.
        cycle_ms: The relay's cycle [ms].
    """
    trays = [zone for zone in knobs.model.zones if not zone.at_mat]
    driving = [zone for zone in trays if zone.name == plan.driving_tray] or trays
    count = len(driving)
    gain_k = sum(zone.gain_k for zone in driving) / count
    ranks = zip_longest(*(zone.lags_s for zone in driving), fillvalue=0.0)
    lags_s = [sum(lags) / count for lags in ranks]
    reduced = half_rule(gain_k, lags_s, delay_s=cycle_ms / SECOND_MS / 2)
    pid = as_pid(simc(reduced, slider * reduced.delay_s))
    return Pid(
        gain_per_k=min(10.0, float(f"{pid.gain_per_k:.2g}")),
        integral_s=max(_FIVE_MIN_S, _FIVE_MIN_S * round(pid.integral_s / _FIVE_MIN_S)),
        derivative_s=0.0,
        cycle_ms=Millis(cycle_ms),
    )


def _warm(knobs: Knobs, own: MatPlan, rng: Random) -> MatPlan:
    """Return a mat with other setpoints, or in one of three with its own."""
    if knobs.keep_programme or not knobs.setpoints_mc or rng.random() < 1 / 3:
        return own
    setpoint_mc = rng.choice(knobs.setpoints_mc)
    nights = [mc for mc in knobs.nights_mc if 0 < setpoint_mc - mc <= DEEPEST_MK]
    if not nights or rng.random() < 1 / 3:
        return _at(own, setpoint_mc, None)
    return _at(own, setpoint_mc, rng.choice(nights))


def _at(own: MatPlan, setpoint_mc: MilliC, night_mc: MilliC | None) -> MatPlan:
    first = own.programme[0]
    if len(own.programme) > 1:
        return own
    step = StepPlan(setpoint_mc, night_mc, title=first.title)
    return replace(own, programme=(step,))


def _driven(knobs: Knobs, plan: MatPlan, rng: Random) -> MatPlan:
    """Return a mat driven another way, or in one of two as it is."""
    if rng.random() < 1 / 2:
        return plan
    way, tray = rng.choice(knobs.drivers)
    return replace(plan, driven_by=way, driving_tray=tray)


def _kept_by(plan: MatPlan, policy: OnOff | Pid, minimum_ms: int) -> MatPlan:
    """Return a mat under another policy; its ramp stays, so that all are alike."""
    short = Millis(minimum_ms)
    return replace(plan, policy=policy, min_on_ms=short, min_off_ms=short)


def _accepted(plan: MatPlan) -> bool:
    return next(mat_problems(plan), None) is None
