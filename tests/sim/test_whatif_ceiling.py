"""A ceiling that stands for heat felt: never too low, and nothing hangs on it."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from controller.core.decisions import Cause
from controller.core.plan import OnOff, Pid, StepPlan
from sim.whatif import rows
from sim.whatif.ceiling import ANEW, begin_sparing, lift
from sim.whatif.engine import _Loop, run
from sim.whatif.felt import begin, weigh
from sim.whatif.reference import core_outcomes
from sim.whatif.relay import switch
from sim.whatif.span import REFUSALS, Span
from sim.zone_model import MatModel, Zone
from tests.sim.test_whatif import MODEL, a_mat, days, same

pytestmark = pytest.mark.timeout(120)

STEP_MS = 60_000.0
LANES = 6
LOOKS = 2_000


class Rows:
    """A block's rows, filled for so many lanes."""

    def __init__(self, rng: random.Random) -> None:
        self.s, self.h = np.zeros(rows.ROWS), np.zeros(rows.HALVES, np.float32)
        self.r = np.zeros(rows.READ, np.float32)
        self.s[rows.SPARED] = -1.0
        for v in range(LANES):
            allowance_mk = rng.choice([500, 4_000, 12_000])
            self.s[rows.ALLOWANCE + v] = rng.uniform(0.5, 5) * 3.6e6
            self.h[rows.ALLOWED + v] = self.s[rows.ALLOWANCE + v]
            self.h[rows.MOST_DUE + v] = round(0.4 * allowance_mk)
            self.h[rows.HALF_DUE + v] = allowance_mk // 2
            self.h[rows.SETPOINT + v] = 22_000

    def of(self, row: int) -> np.ndarray:
        """A row of the mats."""
        return self.s[row : row + LANES]

    def half(self, row: int) -> np.ndarray:
        """A row of half the width."""
        return self.h[row : row + LANES]

    def reads(self, k: int, root: np.ndarray) -> None:
        """Take up driving temperatures, as a scan does."""
        self.half(rows.ROOT)[:] = root
        row = rows.OFF + (k & rows.LAST) * rows.LANES
        self.r[row : row + LANES] = root - self.half(rows.SETPOINT)


@dataclass
class Walk:
    """Room, driving temperatures and switchings that no bench need ever have."""

    room: np.ndarray
    root: np.ndarray
    on: list[bool]


def side_by_side(
    looked: Rows, spared: Rows, walk: Walk, begins: int
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Each look's excess as the guard sums it up, and its ceiling, from a scan on.

    Between two looks in which they are lifted, ceilings hold with all heat that there
    can have been.
    """
    for k, room in enumerate(walk.room):
        now = k * STEP_MS
        looked.reads(k, walk.root[k])
        spared.reads(k, walk.root[k])
        if k == 0:
            begin(looked.s, looked.h, LANES, now, room)
        else:
            weigh(looked.s, looked.h, LANES, now, STEP_MS, room, heard=True)
        if k == begins:
            spared.of(rows.UP_EXCESS)[:] = looked.of(rows.UP_EXCESS)
            begin_sparing(spared.s, spared.h, LANES, k, now, STEP_MS)
        elif k > begins:
            lift(spared.s, spared.h, spared.r, walk.room, LANES, k, STEP_MS)
        if k >= begins:
            since = (k - begins) % ANEW * STEP_MS
            yield looked.of(rows.UP_EXCESS).copy(), spared.half(rows.CEILING) + since
        for v in range(LANES):
            if k % (v + 1) == 0:
                switch(looked.s, looked.h, v, float(walk.on[k]), now)
                switch(spared.s, spared.h, v, float(walk.on[k]), now)


def a_walk(rng: random.Random, looks: int) -> Walk:
    noise = np.random.default_rng(rng.randrange(2**32))
    base = rng.choice([15_000, 15_000, 21_200])
    room = base + np.cumsum(noise.normal(0, rng.choice([0.0, 5.0, 40.0]), looks))
    heaters = noise.random(looks // 20) < rng.choice([0.0, 0.4])
    room += 6_000 * np.repeat(heaters, 20)
    steps = noise.normal(0, rng.choice([0.0, 3.0, 30.0, 150.0]), (looks, LANES))
    pull, root = rng.choice([0.0, 0.01, 0.2]), np.empty((looks, LANES))
    root[0] = 21_500 + 100 * np.arange(LANES)
    for k in range(1, looks):
        goal = 22_000 + rng.choice([-900, -300, 0, 100])
        root[k] = root[k - 1] + steps[k] + pull * (goal - root[k - 1])
    duties = [rng.choice([0.02, 0.4, 0.6, 0.98]) for _ in range(0, looks, 250)]
    on = [rng.random() < duties[k // 250] for k in range(looks)]
    return Walk(np.rint(room), np.rint(root), on)


@pytest.mark.parametrize("seed", range(40))
def test_the_ceiling_is_never_below_what_the_guard_sums_up(seed: int) -> None:
    """Whatever the readings: the proof has no physics in it."""
    looked, spared = Rows(random.Random(seed)), Rows(random.Random(seed))
    walk, most, low = a_walk(random.Random(seed), LOOKS), 0.0, 0
    allowed, in_doubt = spared.half(rows.ALLOWED), spared.half(rows.DOUBTED)
    for excess, ceiling in side_by_side(looked, spared, walk, begins=100):
        assert (ceiling >= excess).all(), (ceiling, excess)
        assert ((excess < allowed) | (in_doubt > 0)).all(), "it was not foreseen"
        most = max(most, excess.max())
        low += int((ceiling < allowed).sum())
    assert most > 0, "no heat beyond the usual was ever given"
    assert low > 0, "a ceiling that tells nothing"


def test_a_room_that_gets_warm_cools_no_tray() -> None:
    """Of eight looks the first was in the cold: it is no measure of the rest."""
    looked, spared = Rows(random.Random(0)), Rows(random.Random(0))
    for block in (looked, spared):
        block.half(rows.SETPOINT)[:] = 25_000
        block.half(rows.MOST_DUE)[:] = block.half(rows.HALF_DUE)[:] = 0
    room, root = np.full(60, 20_400.0), np.full(60, 21_500)
    room[20:22], root[36:] = 5_000, 22_000  # seen to at 20, 28 and 36
    walk = Walk(room, root, [True] * 60)
    for excess, ceiling in side_by_side(looked, spared, walk, begins=20):
        assert (ceiling >= excess).all(), (ceiling, excess)
    assert excess.min() > 40 * STEP_MS, "it was felt"


def test_a_setpoint_that_is_reached_for_a_look_is_no_heat_felt() -> None:
    """It comes at once and between two looks in which ceilings are lifted."""
    looked, spared = Rows(random.Random(0)), Rows(random.Random(0))
    for block in (looked, spared):
        block.half(rows.MOST_DUE)[:] = block.half(rows.HALF_DUE)[:] = 2_500
    root = np.full(130, 19_000)
    root[104], root[105:] = 22_000, 21_900
    walk = Walk(np.full(130, 15_000.0), root, [True] * 130)
    for excess, ceiling in side_by_side(looked, spared, walk, begins=100):
        assert (ceiling >= excess).all(), (ceiling, excess)
    assert excess.min() > 30 * STEP_MS, "it was not felt"


# ------------------------------------------------------------------ whole runs


def a_bench(rng: random.Random) -> tuple[MatModel, Span]:
    """A bench that is held, until the nights get cold."""
    zone = Zone(
        name="N1",
        gain_k=rng.uniform(9, 16),
        mat_s=rng.uniform(300, 900),
        medium_s=rng.uniform(5_000, 12_000),
        coupling=rng.uniform(0.1, 0.3),
    )
    made = days(8, step_s=rng.choice([60.0, 90.0, 240.0]))
    cold = np.linspace(0, rng.choice([0.0, 4.0, 9.0]), made.steps)
    return MatModel("north", (zone,)), replace(made, room_c=made.room_c - cold)


def some_plans(rng: random.Random, count: int) -> list:
    policies = [OnOff(rng.choice([200, 800, 2_000])) for _ in range(count)]
    policies[::2] = [
        Pid(
            gain_per_k=rng.uniform(0.05, 0.6),
            integral_s=rng.uniform(2_000, 9_000),
            cycle_ms=1_000 * rng.choice([600, 900, 1_200]),
        )
        for _ in policies[::2]
    ]
    return [
        a_mat(
            policy=policy,
            programme=(StepPlan(rng.randint(18_000, 25_000)),),
            heat_allowance_mk=rng.choice([500, 1_000, 4_000, 12_000]),
        )
        for policy in policies
    ]


@pytest.fixture
def doubted(monkeypatch) -> list[int]:
    """How many lanes were in doubt in each run that had ceilings."""
    told: list[int] = []
    running = _Loop._run

    def noted(self, work, *parts) -> None:
        running(self, work, *parts)
        if parts[0].spares:
            told.append(int((work.result[:, 6] > 0).sum()))

    monkeypatch.setattr(_Loop, "_run", noted)
    return told


def test_what_is_told_does_not_hang_on_it(monkeypatch, doubted) -> None:
    """Of eight days of forty benches, on which some heat is not felt at last."""
    running, felt, late = _Loop._run, 0, 0
    for seed in range(40):
        rng = random.Random(seed)
        model, span = a_bench(rng)
        plans = some_plans(rng, 12)
        ours = run(model, span, plans)
        with monkeypatch.context() as patch:

            def looked_at(self, work, *parts) -> None:
                running(self, work, *(replace(part, spares=False) for part in parts))

            patch.setattr(_Loop, "_run", looked_at)
            theirs = run(model, span, plans)
        for number in range(len(plans)):
            assert same(ours, theirs, number, by=number) == [], (seed, number)
        trips = REFUSALS.index(Cause.HEAT_NOT_FELT)
        felt += int((ours.trip != trips).sum())
        late += int(((ours.trip == trips) & (ours.trip_s > 2 * 86_400)).sum())
    assert felt > 200, "most benches are held"
    assert late > 20, "mats that were calm for two days and tripped then"
    assert late < sum(doubted) < 2 * late, "a ceiling that tells little"


@pytest.mark.slow
def test_the_core_says_the_same_of_a_bench_that_gets_cold() -> None:
    rng = random.Random(3)
    model, span = a_bench(rng)
    plans = some_plans(rng, 6)
    ours = run(model, span, plans)
    for number, plan in enumerate(plans):
        core = core_outcomes(model, span, plan, band_mk=500)
        assert same(ours, core, number) == [], number


@pytest.mark.parametrize(
    ("step_s", "heard"), [(60.0, False), (30.0, True)], ids=["no room", "often"]
)
def test_where_its_proof_does_not_hold_every_look_is_taken(
    step_s, heard, monkeypatch
) -> None:
    """A bench without a room probe, and one that looks less often than it scans."""
    made: list[bool] = []
    through = _Loop._through

    def noted(self, work) -> None:
        made.append(bool(work.blocks[:, -1].any()))
        through(self, work)

    monkeypatch.setattr(_Loop, "_through", noted)
    run(MODEL, days(2, step_s=60.0), [a_mat()])
    run(MODEL, days(2, step_s=step_s, room_heard=heard), [a_mat()])
    assert made == [True, False]
