"""Invented models, spans and plans for the what-if, drawn at random.

Not like benches but like trouble: mats too strong and too weak, trays that dry
out, rooms that freeze and bake, limits within reach.
"""

import random
from dataclasses import dataclass, replace

import numpy as np

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Night,
    OnOff,
    Pid,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from sim.whatif.span import Span
from sim.zone_model import MatModel, Zone

SCANS_S = [2.0, 5.0, 5.0, 7.0, 30.0, 60.0, 60.0, 60.0, 60.0, 90.0, 300.0]


@dataclass(frozen=True)
class Question:
    """A model, a span, and plans to run in it."""

    model: MatModel
    span: Span
    plans: list[MatPlan]


def a_zone(name: str, rng: random.Random, *, at_mat: bool = False) -> Zone:
    quick = rng.choice([1.0, 1.0, 0.3, 0.1])
    return Zone(
        name=name,
        gain_k=rng.uniform(3, 40),
        mat_s=rng.uniform(100, 1500) * quick,
        medium_s=rng.uniform(2000, 15_000) * quick,
        coupling=rng.uniform(0.05, 1.0),
        offset_k=rng.uniform(-1, 1),
        at_mat=at_mat,
    )


def a_model(rng: random.Random) -> MatModel:
    trays = rng.choice([1, 1, 2, 2, 3, 3, 4, 5, 8, 9])
    zones = [a_zone(f"T{number}", rng) for number in range(trays)]
    surfaces = rng.choice([0, 0, 1, 1, 2])
    zones += [a_zone(f"s{number}", rng, at_mat=True) for number in range(surfaces)]
    return MatModel("north", tuple(zones))


def a_span(model: MatModel, rng: random.Random, scans: int) -> Span:
    noise = np.random.default_rng(rng.randrange(2**32))
    zones, step_s = len(model.zones), rng.choice(SCANS_S)
    time_s = np.arange(scans) * step_s
    swing, period_s = rng.choice([0.0, 1.0, 8.0]), rng.choice([7200.0, 86_400.0])
    room = rng.uniform(2, 30) + swing * np.sin(2 * np.pi * time_s / period_s)
    push = np.zeros((scans, zones))
    if rng.random() < 0.6:
        push += noise.normal(0, rng.choice([1e-5, 1e-4]), (scans, zones))
    if rng.random() < 0.3:  # the sun on some trays
        begins, ends = sorted(rng.sample(range(scans), 2))
        push[begins:ends, : rng.randint(1, zones)] += rng.choice([3e-4, 1e-3, 3e-3])
    minute = rng.randrange(1440)
    spread = noise.normal(0, rng.choice([0.0, 0.5, 2.0]), (zones, 1))
    return Span(
        step_s=step_s,
        room_c=room,
        push=push,
        minutes=(minute + time_s // 60).astype(np.int64) % 1440,
        start_c=rng.uniform(5, 30) + spread + np.zeros((zones, 3)),
        room_heard=rng.random() < 0.6,
    )


def in_halves(model: MatModel, rng: random.Random) -> MatModel:
    """Return a model with none, some or all of its media in two halves.

    Of those some mats leak heat past the medium.
    """
    share = rng.choice([0.0, 0.5, 1.0])
    zones = []
    for zone in model.zones:
        between_s = zone.medium_s * rng.choice([0.03, 0.3, 1.0])
        halved, leak = rng.random() < share, rng.choice([0.0, 0.2, 1.0])
        if halved:
            zone = replace(zone, between_s=between_s, leak=leak)
        zones.append(zone)
    return replace(model, zones=tuple(zones))


def watered(span: Span, rng: random.Random) -> Span:
    """Return a span with outer halves of their own, and water on some zones."""
    start_c, push = span.start_c.copy(), span.push.copy()
    start_c[:, 2] += rng.choice([0.0, -2.0, 1.0])
    if rng.random() < 1 / 2:
        return replace(span, start_c=start_c)
    sudden = np.zeros(push.shape, np.bool_)
    for _ in range(rng.randint(1, 4)):
        poured = rng.randrange(span.steps), rng.randrange(push.shape[1])
        sudden[poured] = True
        push[poured] += rng.choice([-2.0, -0.3, 0.3]) / span.step_s
    return replace(span, start_c=start_c, push=push, sudden=sudden)


def a_policy(rng: random.Random, min_on_ms: int) -> OnOff | Pid:
    if rng.random() < 0.45:
        return OnOff(rng.choice([1, 50, 251, 500, 2000]))
    return Pid(
        gain_per_k=rng.choice([0.02, 0.1, 0.4, 2.0, 10.0]),
        integral_s=rng.choice([20.0, 600.0, 3600.0, 7200.0, 90_000.0]),
        derivative_s=rng.choice([0.0, 0.0, 60.0, 600.0]),
        cycle_ms=max(1, 2 * min_on_ms, rng.choice([10_000, 60_000, 300_001, 600_000])),
    )


def a_setpoint(rng: random.Random, start_mc: int) -> int:
    near = rng.choice([0, 1, -1, 500, -700, 3000, -3000, 8000])
    return max(5_000, min(29_000, start_mc + near))


def a_plan(model: MatModel, rng: random.Random, start_mc: int) -> MatPlan:
    names = [zone.name for zone in model.zones if not zone.at_mat]
    thin, min_on_ms = rng.choice([5, 20, 60]), rng.choice([0, 0, 30_000, 120_000])
    stuck_ms = rng.choice([3_600_000, 43_200_000])
    ramp, limits = rng.random() < 0.35, rng.random() < 0.4
    steps = [
        StepPlan(
            a_setpoint(rng, start_mc),
            a_setpoint(rng, start_mc) if rng.random() < 0.5 else None,
            rng.choice([None, 0.01, 0.03, 0.05, 1e-4]),
        )
        for _ in range(rng.choice([0, 0, 1, 2, 3]))
    ]
    night_mc = a_setpoint(rng, start_mc) if rng.random() < 0.4 else None
    steps.append(StepPlan(a_setpoint(rng, start_mc), night_mc))
    way = rng.choice(list(DrivenBy))
    minutes = rng.sample(range(1440), 2)
    top_mc = max(max(s.setpoint_mc, s.night_mc or 0) for s in steps)
    return MatPlan(
        name="north",
        power_mw=rng.choice([20_000, 100_000, 500_000]),
        length_mm=1_200,
        width_mm=530,
        policy=a_policy(rng, min_on_ms),
        programme=tuple(steps),
        night=Night(*minutes),
        driven_by=way,
        driving_tray=rng.choice(names) if way is DrivenBy.TRAY else None,
        relay=rng.choice(list(RelayKind)),
        min_on_ms=min_on_ms,
        min_off_ms=rng.choice([0, 0, 30_000, 120_000, 600_000]),
        ramp_mk_per_h=rng.choice([100, 999, 5000, 60_000]) if ramp else None,
        tray_limit_mk=rng.choice([1_000, 1_500, 4_000]),
        cutout_mc=max(10_000, top_mc + 3_000) if limits else 33_000,
        warn_mc=top_mc + 1_500 if limits else 32_500,
        surface_limit_mc=max(top_mc + 1, rng.choice([25_000, 35_000, 42_000])),
        surface_cutout_mc=rng.choice([43_000, 50_000]),
        settle_ms=rng.choice([60_000, 600_000, 3_600_000]),
        heat_allowance_mk=rng.choice([2_500, 4_000, 6_000]),
        rise_limit_mk=rng.choice([1_500, 3_000]),
        longest_on_ms=rng.choice([3_600_000, 57_600_000]),
        daily_on_ms=rng.choice([3_600_000, 5_400_000, 79_200_000]),
        trays=tuple(a_tray(name, rng, thin, stuck_ms) for name in names),
        surface=tuple(
            ProbePlan(name=zone.name, stuck_after_ms=stuck_ms)
            for zone in model.zones
            if zone.at_mat
        ),
    )


def a_tray(name: str, rng: random.Random, depth_mm: int, stuck_ms: int) -> TrayPlan:
    base_mc = rng.choice([0, 10_000, 17_000, 20_000])
    upper_mc = rng.choice([None, None, base_mc + 1, base_mc + 2_000, 33_000])
    probe = ProbePlan(name=f"p{name}", stuck_after_ms=stuck_ms)
    return TrayPlan(
        name=name,
        depth_mm=depth_mm,
        base_mc=base_mc,
        upper_mc=upper_mc,
        probes=(probe,),
    )


def a_question(seed: int, scans: int, plans: int) -> Question:
    rng = random.Random(seed)
    model = a_model(rng)
    span = a_span(model, rng, scans)
    start_mc = round(1000 * float(span.start_c.mean()))
    made = [a_plan(model, rng, start_mc) for _ in range(plans)]
    return Question(in_halves(model, rng), watered(span, rng), made)
