"""A season of a simulated bench, world alone: how long it takes.

Eight trays on two mats, 120 days at 60 s, from a given series of duty: all at
once, as a fit takes it, and minute by minute through a world, a part of it.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from controller.core.plan import MatPlan, OnOff, Plan, ProbePlan, StepPlan, TrayPlan
from controller.core.units import HOUR_MS, MINUTE_MS, MilliC
from sim.options import WorldOptions, full_world
from sim.season import season
from sim.world import World

DAYS = 120
MINUTES = DAYS * 1440
WORLD_DAYS = 4
BEST_OF = 3

MEDIA = ("coir-perlite", "bark-sand", "peat-perlite", "peat")


def a_mat(name: str) -> MatPlan:
    """Return an invented mat of four trays, a probe in each."""
    trays = tuple(
        TrayPlan(
            name=f"{name}{column}",
            column=column,
            medium=medium,
            depth_mm=60,
            probes=(ProbePlan(name=f"{name}{column}", depth_mm=40),),
        )
        for column, medium in enumerate(MEDIA, start=1)
    )
    return MatPlan(
        name=name,
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=OnOff(),
        programme=(StepPlan(MilliC(21_000)),),
        trays=trays,
    )


PLAN = Plan(bench="invented", mats=(a_mat("A"), a_mat("B")))

WORLDS = {
    "linear": WorldOptions(),
    "linear, 5 layers, sun, noise, waterings": replace(
        WorldOptions(),
        layers=5,
        sun_w_m2=150.0,
        unmeasured_w=1.0,
        waterings=full_world().waterings,
    ),
    "full, held for an hour": full_world(hold_ms=HOUR_MS),
    "full, held for 10 minutes": full_world(hold_ms=10 * MINUTE_MS, off_k=0.0),
    "full, as it is by default": full_world(),
}


def main() -> int:
    """Measure and print; return 0."""
    rng = np.random.default_rng(1)
    blocks = rng.integers(0, 2, (MINUTES // 10, 2)).astype(float)
    series = np.repeat(blocks, 10, axis=0)
    duty = {mat.name: series[:, n] for n, mat in enumerate(PLAN.mats)}
    print(f"8 trays, {DAYS} days at 60 s, at once; best of {BEST_OF}:")
    for name, options in WORLDS.items():
        took_s = []
        for _ in range(BEST_OF):
            began = time.perf_counter()
            season(PLAN, options, duty)
            took_s.append(time.perf_counter() - began)
        print(
            f"  {name}: {min(took_s):.2f} s, {8 * MINUTES / min(took_s):,.0f} ", end=""
        )
        print("tray-steps/s")
    print(f"as a world that is asked every minute, {WORLD_DAYS} days of them:")
    for name, options in WORLDS.items():
        world = World(PLAN, options)
        began = time.perf_counter()
        for minute in range(WORLD_DAYS * 1440):
            on = {name: bool(shares[minute]) for name, shares in duty.items()}
            world.advance((minute + 1) * MINUTE_MS, on)
        took = (time.perf_counter() - began) * DAYS / WORLD_DAYS
        print(f"  {name}: {took:.1f} s for the {DAYS} days, with 8 probes' readings")
    return 0


if __name__ == "__main__":
    sys.exit(main())
