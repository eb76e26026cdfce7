"""A season of many candidates: the compiled twin, and other ways to the same.

Eight trays, 120 days at 60 s, half on-off and half PID, from invented figures.
The others in the same run: pure Python on simple-pid (one candidate), numpy over
all candidates, and scipy's dlsim, which is an open loop and decides nothing.
Neither of them has a guard, a night or a carry. Run it on a quiet machine: both
times are told, that of the clock and that of the processors. First it compiles, in a
process of its own, as a first search does; the others fetch what that one made.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    OnOff,
    Pid,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from sim.whatif.engine import run
from sim.whatif.reference import core_outcomes
from sim.whatif.span import Span
from sim.zone_model import PARTS, MatModel, Zone, steps

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]

TRAYS, DAYS, STEP_S = 8, 120, 60.0

A_START, SEARCHES = "w.start(began)", "w.searches()"
"""What a process of its own does; it imports numpy and all else in its own time."""

CODE = (
    "import sys, time; began = time.perf_counter(); sys.path[:0] = {paths!r};"
    "import what_if as w; {what}"
)


def a_model() -> MatModel:
    rng = np.random.default_rng(3)

    def about(value: float) -> float:
        return value * float(np.exp(0.08 * rng.standard_normal()))

    zones = [
        Zone(
            name=f"N{number}",
            gain_k=about(14.0),
            mat_s=about(700.0),
            medium_s=about(9000.0),
            coupling=about(0.15),
            offset_k=-0.5,
        )
        for number in range(TRAYS)
    ]
    return MatModel("north", tuple(zones))


def halved(model: MatModel) -> MatModel:
    zones = tuple(replace(zone, between_s=3_000.0) for zone in model.zones)
    return replace(model, zones=zones)


def a_span(days: float, step_s: float = STEP_S) -> Span:
    time_s = np.arange(int(days * 86_400 / step_s)) * step_s
    rng = np.random.default_rng(1)
    room = 14 + 3 * np.sin(2 * np.pi * (time_s / 86_400 - 0.375))
    return Span(
        step_s=step_s,
        room_c=room,
        push=rng.normal(0, 1e-5, (len(time_s), TRAYS)),
        minutes=(time_s // 60).astype(np.int64) % 1440,
        start_c=np.full((TRAYS, 3), 15.0),
    )


def plans(count: int, seed: int, way: DrivenBy = DrivenBy.MEAN) -> list[MatPlan]:
    rng = np.random.default_rng(seed)
    trays = tuple(
        TrayPlan(name=f"N{n}", probes=(ProbePlan(name=f"n{n}"),)) for n in range(TRAYS)
    )
    base = MatPlan(
        name="north",
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=OnOff(),
        programme=(StepPlan(22_000),),
        driven_by=way,
        relay=RelayKind.LEASE,
        trays=trays,
    )
    made = []
    for number in range(count):
        policy = OnOff(int(rng.integers(200, 2001)))
        if number % 2:
            policy = Pid(
                gain_per_k=float(rng.uniform(0.05, 0.6)),
                integral_s=float(rng.uniform(2000, 9000)),
                cycle_ms=1000 * int(rng.choice([600, 900, 1200])),
            )
        made.append(
            replace(
                base,
                policy=policy,
                programme=(StepPlan(int(rng.integers(19_000, 24_001))),),
                min_on_ms=1000 * int(rng.choice([60, 120, 300])),
                min_off_ms=1000 * int(rng.choice([60, 120, 300])),
            )
        )
    return made


# --------------------------------------------------------------- other ways


def by_hand(model: MatModel, span: Span) -> int:
    """A bare loop in Python on simple-pid: no guard, no minimum times."""
    from simple_pid import PID  # noqa: PLC0415 - no part of the twin

    by = [steps(zone, span.step_s) for zone in model.zones]
    parts = [
        (*s.carry.ravel().tolist(), *s.by_heat.tolist(), *s.by_room.tolist())
        for s in by
    ]
    one = [(15.0, 15.0)] * len(parts)
    pid = PID(0.3, 0.3 / 5000, 0, setpoint=22, sample_time=None, output_limits=(0, 1))
    position, switches, on = 600.0, 0, 0.0
    on_s = degree_hours = 0.0
    for room in span.room_c.tolist():
        if position >= 600.0:
            on_s, position = (
                pid(sum(x2 for _, x2 in one) / len(one), dt=600.0) * 600,
                0.0,
            )
        now = 1.0 if position < on_s else 0.0
        switches, on, position = switches + (now != on), now, position + span.step_s
        one = [
            (
                a * x1 + b * x2 + e * on + g * room,
                c * x1 + d * x2 + f * on + h * room,
            )
            for (x1, x2), (a, b, c, d, e, f, g, h) in zip(one, parts, strict=True)
        ]
        degree_hours += sum(max(0.0, x2 - 10.0) for _, x2 in one)
    return switches


def by_numpy(model: MatModel, span: Span, count: int) -> np.ndarray:
    """On-off over all candidates at once, no guard, no minimum times."""
    by = [steps(zone, span.step_s) for zone in model.zones]
    carry = np.array([s.carry for s in by])[..., None]
    heat = np.array([s.by_heat for s in by])[..., None]
    room_by = np.array([s.by_room for s in by])[..., None]
    x = np.full((TRAYS, 2, count), 15.0)
    setpoint, on = np.linspace(19, 24, count), np.zeros(count)
    warmth, switches = np.zeros((TRAYS, count)), np.zeros(count)
    for room in span.room_c:
        root = x[:, 1].mean(axis=0)
        now = np.where(
            root < setpoint - 0.25, 1.0, np.where(root > setpoint + 0.25, 0.0, on)
        )
        switches += now != on
        on = now
        x = (
            carry[:, :, 0] * x[:, None, 0]
            + carry[:, :, 1] * x[:, None, 1]
            + heat * on
            + room_by * room
        )
        warmth += np.maximum(0.0, x[:, 1] - 10.0)
    return switches


def by_dlsim(model: MatModel, span: Span) -> None:
    """One tray's temperatures for a given heat: an open loop."""
    from scipy.signal import dlsim  # noqa: PLC0415 - no part of the twin

    by = steps(model.zones[0], span.step_s)
    inputs = np.column_stack([np.zeros(span.steps), span.room_c])
    b = np.column_stack([by.by_heat, by.by_room])
    dlsim((by.carry, b, np.eye(2), np.zeros((2, 2)), span.step_s), inputs)


# -------------------------------------------------------------------- timings


def timed(what, *args, **keywords):
    """Return the wall and the processors' seconds."""
    wall, used = time.perf_counter(), time.process_time()
    what(*args, **keywords)
    return time.perf_counter() - wall, time.process_time() - used


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name, what in (
            ("first start", A_START),
            ("later start", A_START),
            ("", SEARCHES),
        ):
            print(name, end="", flush=True)
            code = CODE.format(paths=[str(ROOT), str(HERE)], what=what)
            subprocess.run(
                [sys.executable, "-c", code],
                env={**os.environ, "XDG_CACHE_HOME": folder},
                check=True,
            )


def start(began: float) -> None:
    """Compile, or fetch what was compiled, and run one candidate for two hours."""
    run(a_model(), a_span(0.1), plans(1, 1))
    wall, used = time.perf_counter() - began, time.process_time()
    print(f"{wall:32.2f} s {used:9.2f} s of processor {peak():21.0f} MB at the peak")


def searches() -> None:
    model, span = a_model(), a_span(DAYS)
    run(model, a_span(0.1), plans(1, 1))
    rates = {}
    for count, way, lags in (
        (1, DrivenBy.MEAN, 2),
        (64, DrivenBy.MEAN, 2),
        (1024, DrivenBy.MEAN, 2),
        (1024, DrivenBy.MEDIAN, 2),
        (1024, DrivenBy.MEAN, 3),
        (16_384, DrivenBy.MEAN, 2),
    ):
        asked, zones = plans(count, 2, way), model if lags < PARTS else halved(model)
        wall, used = min(
            timed(run, zones, span, asked) for _ in range(1 + (count < 2000))
        )
        what = way.value if lags < PARTS else "halves"
        name = f"twin, {count} candidates, {what}"
        rates[name] = told(name, count * TRAYS * span.steps, wall, used)
    searching, short = peak(), a_span(2)
    work = TRAYS * short.steps
    wall, used = timed(core_outcomes, model, short, plans(1, 2)[0], band_mk=500)
    others = [told("the core itself", work, wall, used)]
    wall, used = timed(by_hand, model, a_span(20))
    others.append(told("Python, simple-pid", 10 * work, wall, used))
    wall, used = timed(by_numpy, model, short, 1024)
    others.append(told("numpy, 1024 candidates", 1024 * work, wall, used))
    wall, used = timed(by_dlsim, model, a_span(20))
    others.append(told("scipy dlsim, open loop", 10 * work / TRAYS, wall, used))
    best = rates["twin, 1024 candidates, mean"]
    print("the twin with 1024 candidates, as often as each:")
    for name, rate in zip(
        ("the core", "Python", "numpy", "dlsim"), others, strict=True
    ):
        print(f"{name:34}{best / rate:9.0f}")
    print(f"{'memory at the peak':34}{searching:9.0f} MB")


def peak() -> float:
    """Return the most memory this process ever had [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def told(name: str, tray_steps: float, wall: float, used: float) -> float:
    rate = tray_steps / wall
    print(
        f"{name:34}{wall:9.2f} s {used:9.2f} s of processor {rate:10.2e} tray-steps/s",
        flush=True,
    )
    return rate


if __name__ == "__main__":
    main()
