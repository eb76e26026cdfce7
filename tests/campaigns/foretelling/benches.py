"""A bench, its weather and how it is kept, drawn from a seed. All invented.

One mat with two trays in the whole of the simulated physics: media that dry and
are watered, films by natural convection, evaporation that falls, sun, and heat
that nobody measures.
"""

from dataclasses import dataclass, replace

import numpy as np

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Night,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.units import MilliC, MilliK, Millis
from sim.media import MEDIA
from sim.options import WorldOptions, full_world
from sim.watering import Watering

MINUTE = 60_000
SCAN_MS = MINUTE
SETBACK_MK = 3_000
"""The setback that `fit --plan` asks for."""

SETBACK_HOUR, SETBACK_HOURS = 20, 8
FIRST_HOUR = 9
WEEK_DAYS = 7
TRAYS = ("driving", "other")


@dataclass(frozen=True)
class Case:
    """A bench, and how it is kept before and after.

    Attributes:
        seed: Of everything.
        options: The world.
        before: The plan of the days that are logged.
        after: The plan of the week that is predicted.
        log_days: How many days are logged.
        setback_day: On which of them the evening's setback begins.
    """

    seed: int
    options: WorldOptions
    before: Plan
    after: Plan
    log_days: int
    setback_day: int


def a_case(seed: int) -> Case:
    """Draw a case."""
    rng = np.random.default_rng([seed, 90])
    log_days = int(rng.integers(10, 13))
    setpoint_mc = 500 * int(rng.integers(40, 51))
    base_mc = int(rng.choice([10_000, 15_000, 18_000]))
    mat = _mat(rng, base_mc)
    before = _kept(mat, setpoint_mc, rng)
    # The log covers the setback, and a kelvin beyond what it covers is allowed.
    moved_mk = 500 * int(rng.integers(-6, 3))
    after = _kept(mat, setpoint_mc + moved_mk, rng)
    if after == before:
        after = _kept(mat, setpoint_mc - 1_000, rng)
    return Case(
        seed=seed,
        options=_world(seed, rng),
        before=_bench(before),
        after=_bench(after),
        log_days=log_days,
        setback_day=int(rng.integers(2, log_days - 2)),
    )


def _world(seed: int, rng: np.random.Generator) -> WorldOptions:
    watering = Watering(
        mm=round(rng.uniform(4, 8), 1),
        temp_c=round(rng.uniform(8, 16), 1),
        at_minute=60 * int(rng.integers(7, 12)),
        every_days=int(rng.integers(2, 5)),
    )
    return full_world(
        seed=seed,
        start_minute_of_day=60 * FIRST_HOUR,
        start_temp_c=round(rng.uniform(12, 20), 1),
        humidity=round(rng.uniform(0.55, 0.85), 2),
        sun_w_m2=round(rng.uniform(50, 250)),
        unmeasured_w=round(rng.uniform(0.3, 2.0), 1),
        unmeasured_h=round(rng.uniform(1, 6), 1),
        waterings=(watering,),
    )


def _mat(rng: np.random.Generator, base_mc: int) -> MatPlan:
    return MatPlan(
        name="north",
        power_mw=int(rng.integers(70, 121)) * 1000,
        length_mm=900,
        width_mm=450,
        policy=OnOff(),
        programme=(StepPlan(MilliC(20_000)),),
        driven_by=DrivenBy.TRAY,
        driving_tray=TRAYS[0],
        relay=RelayKind.LEASE,
        trays=_trays(rng, base_mc),
    )


def _trays(rng: np.random.Generator, base_mc: int) -> tuple[TrayPlan, ...]:
    """Return two trays of much the same depth, each with a medium of its own."""
    depth_mm = 10 * int(rng.integers(5, 9))
    depths_mm = depth_mm, depth_mm + 10 * int(rng.integers(-1, 2))
    return tuple(
        _tray(rng, name, column, base_mc, depths_mm[column - 1])
        for column, name in enumerate(TRAYS, start=1)
    )


def _tray(
    rng: np.random.Generator, name: str, column: int, base_mc: int, depth_mm: int
) -> TrayPlan:
    probe = ProbePlan(
        name=name,
        depth_mm=round(depth_mm * rng.uniform(0.45, 0.75)),
        every_ms=Millis(SCAN_MS),
        stale_after_ms=Millis(3 * SCAN_MS),
    )
    return TrayPlan(
        name=name,
        column=column,
        medium=str(rng.choice(sorted(MEDIA))),
        depth_mm=depth_mm,
        base_mc=MilliC(base_mc),
        probes=(probe,),
    )


def _kept(mat: MatPlan, setpoint_mc: int, rng: np.random.Generator) -> MatPlan:
    """Return a mat under a drawn policy, in one of three with cooler nights."""
    cooler_mk = (
        int(rng.choice([0, 0, 1_000, 2_000, 3_000])) if rng.random() < 0.5 else 0
    )
    night_mc = MilliC(setpoint_mc - cooler_mk) if cooler_mk else None
    policy: OnOff | Pid = OnOff(MilliK(int(rng.choice([200, 250, 500, 1_000]))))
    if rng.random() < 0.4:
        policy = Pid(
            gain_per_k=float(rng.choice([0.2, 0.4, 0.8])),
            integral_s=float(rng.choice([3_600, 7_200])),
            cycle_ms=Millis(int(rng.choice([10, 15, 20])) * MINUTE),
        )
    return replace(
        mat,
        policy=policy,
        programme=(StepPlan(MilliC(setpoint_mc), night_mc),),
        night=Night(22 * 60, 6 * 60),
    )


def _bench(mat: MatPlan) -> Plan:
    room = ProbePlan(
        name="room", every_ms=Millis(SCAN_MS), stale_after_ms=Millis(3 * SCAN_MS)
    )
    return Plan(bench="foretold", scan_ms=Millis(SCAN_MS), mats=(mat,), room=(room,))
