"""What if: the compiled twin against the core, and what is told of candidates."""

import subprocess
import sys
from dataclasses import fields, replace
from math import ceil

import numpy as np
import pytest

from controller.core.decisions import Cause
from controller.core.judge import RATE_MK_PER_S, STEP_MK
from controller.core.mat_rules import mat_problems
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
from controller.core.response import CLIMB_MS, LOOK_MS
from controller.core.uptake import allowance_ms, lag_ms
from sim.whatif import rows
from sim.whatif.bounds import reach
from sim.whatif.candidate import heard
from sim.whatif.cycles import MANY
from sim.whatif.engine import _Loop, run, trace
from sim.whatif.heat import Zones, coefficients
from sim.whatif.reference import core_outcomes, core_trace
from sim.whatif.rows import LANES
from sim.whatif.search import search
from sim.whatif.span import REFUSALS, Span
from sim.whatif.table import tabulate
from sim.zone_model import MatModel, Zone, steps
from tests.sim.whatif_plans import a_question

pytestmark = pytest.mark.timeout(120)
"""The first to run compiles: some seconds, on a slow machine more."""

GROUPS, SEEDS, PLANS, SCANS = 20, 25, 2, 80
"""A thousand plans in all."""

TRAY = Zone(name="N1", gain_k=14.0, mat_s=700.0, medium_s=9000.0, coupling=0.15)
MODEL = MatModel("north", (TRAY,))


def a_mat(**changes) -> MatPlan:
    made = MatPlan(
        name="north",
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=OnOff(500),
        programme=(StepPlan(22_000),),
        driven_by=DrivenBy.MEAN,
        relay=RelayKind.LEASE,
        trays=(TrayPlan(name="N1", probes=(ProbePlan(name="n1"),)),),
    )
    return replace(made, **changes)


def days(count: float, step_s: float = 60.0, zones: int = 1, **changes) -> Span:
    time_s = np.arange(int(count * 86_400 / step_s)) * step_s
    room = 14 - 3 * np.cos(2 * np.pi * (time_s / 86_400 - 0.2))
    made = Span(
        step_s=step_s,
        room_c=room,
        push=np.random.default_rng(7).normal(0, 1e-5, (len(time_s), zones)),
        minutes=(time_s // 60).astype(np.int64) % 1440,
        start_c=np.full((zones, 3), 15.0),
    )
    return replace(made, **changes)


def same(one, other, number: int, *, by: int = 0) -> list[str]:
    """Fields in which a candidate of one differs from another of another."""
    told = [f.name for f in fields(one) if f.name not in {"band_mk", "by_core"}]
    return [
        name
        for name in told
        if not np.array_equal(getattr(one, name)[number], getattr(other, name)[by])
    ]


# ------------------------------------------------------- the twin and the core


@pytest.mark.slow
@pytest.mark.parametrize("group", range(GROUPS))
def test_a_thousand_plans_are_decided_as_the_core_decides_them(group: int) -> None:
    """Switch by switch, and all that is counted, too."""
    for seed in range(group * SEEDS, (group + 1) * SEEDS):
        asked = a_question(seed, SCANS, PLANS)
        outcomes = run(asked.model, asked.span, asked.plans)
        for number, plan in enumerate(asked.plans):
            core = core_outcomes(asked.model, asked.span, plan, band_mk=500)
            assert same(outcomes, core, number) == [], (seed, number)


def test_those_plans_follow_the_rules_and_meet_every_guard() -> None:
    met, tripped = np.zeros(len(REFUSALS)), np.zeros(2)
    twin = plans = leaking = 0
    kinds = dict.fromkeys([(False,), (True,), (False, True)], 0)
    for seed in range(GROUPS * SEEDS):
        asked = a_question(seed, SCANS, PLANS)
        outcomes = run(asked.model, asked.span, asked.plans)
        met += (outcomes.refused_s > 0).sum(axis=0)
        tripped += [(outcomes.trip == cause).sum() for cause in (0, 1)]
        twin, plans = twin + (~outcomes.by_core).sum(), plans + PLANS
        kinds[tuple(sorted({z.between_s is not None for z in asked.model.zones}))] += 1
        leaking += any(zone.leak for zone in asked.model.zones)
        for plan in asked.plans:
            assert list(mat_problems(plan)) == []
    names = {cause.value: int(n) for cause, n in zip(REFUSALS, met, strict=True)}
    assert plans == 1000
    assert twin > 950, "too many went to the core: nothing was compared"
    assert min(tripped) > 10
    assert leaking > 100, "mats that leak past some medium"
    assert min(kinds.values()) > 100, "media in one, in two halves, and both on a mat"
    for cause in REFUSALS[: REFUSALS.index(Cause.DOUBTFUL_HOT)]:
        assert names[cause.value] > 0, names


SEASONS = {
    "on-off": {},
    "pid by night and day": {
        "policy": Pid(gain_per_k=0.3, derivative_s=600.0),
        "programme": (StepPlan(24_000, 20_000, days=40.0), StepPlan(21_000, 19_500)),
        "ramp_mk_per_h": 1_500,
    },
}


@pytest.mark.slow
@pytest.mark.parametrize(
    "parts", [{}, {"between_s": 3_000.0}, {"between_s": 3_000.0, "leak": 0.2}]
)
@pytest.mark.parametrize("changes", SEASONS.values(), ids=SEASONS)
def test_a_season_has_the_cores_every_switch(changes, parts) -> None:
    span, plan = days(120, step_s=300.0), a_mat(**changes)
    model = MatModel("north", (replace(TRAY, **parts),))
    ours, core = trace(model, span, plan), core_trace(model, span, plan)
    assert len(core.switched_at) > 1000
    np.testing.assert_array_equal(ours.switched_at, core.switched_at)
    np.testing.assert_array_equal(ours.temps_mc, core.temps_mc)
    np.testing.assert_array_equal(ours.setpoint_mc, core.setpoint_mc)


@pytest.mark.parametrize("together", [True, False])
def test_many_lanes_that_act_at_once_do_what_each_does_alone(together) -> None:
    """Cycles that begin together are done for all lanes at once."""
    rng = np.random.default_rng(11)
    length_ms = [600_000] if together else [600_000, 660_001, 900_000, 1_500_000]
    plans = [
        a_mat(
            policy=Pid(
                gain_per_k=float(rng.uniform(0.02, 2.0)),
                integral_s=float(rng.uniform(600, 9000)),
                cycle_ms=int(rng.choice(length_ms)),
            ),
            programme=(StepPlan(int(rng.integers(15_000, 29_000)), 16_000),),
            min_on_ms=1000 * int(rng.choice([0, 60, 119, 300])),
            min_off_ms=1000 * int(rng.choice([0, 60, 119, 300])),
            tray_limit_mk=int(rng.choice([700, 3_000])),
        )
        for _ in range(LANES + 6)
    ]
    span = days(3)
    outcomes = run(MODEL, span, plans)
    limited = REFUSALS.index(Cause.OVER_TRAY_LIMIT)
    assert 3 < (outcomes.refused_s[:, limited] > 0).sum() < LANES
    for number, plan in enumerate(plans):
        assert same(outcomes, run(MODEL, span, [plan]), number) == []
    for number in (0, 20, 40, LANES - 1, LANES):
        core = core_outcomes(MODEL, span, plans[number], band_mk=500)
        assert same(outcomes, core, number) == []


def test_without_numba_the_numbers_are_the_same() -> None:
    for seed in range(30):
        asked = a_question(seed, 30, 2)
        quick = run(asked.model, asked.span, asked.plans)
        bare = run(asked.model, asked.span, asked.plans, bare=True)
        for number in range(2):
            assert same(quick, bare, number, by=number) == []


def test_a_day_without_numba_too() -> None:
    """Long enough for hours to be marked, days closed, probes to stand still."""
    span = days(26 / 24, step_s=300.0)
    still = replace(span, room_c=np.full(span.steps, 12.0), push=0 * span.push)
    plans = [a_mat(), a_mat(policy=Pid(), programme=(StepPlan(29_000),))]
    for where in (span, still):
        quick, bare = run(MODEL, where, plans), run(MODEL, where, plans, bare=True)
        assert [same(quick, bare, n, by=n) for n in (0, 1)] == [[], []]


def test_cycles_of_many_lanes_without_numba_too() -> None:
    plans = [
        a_mat(policy=Pid(0.02 * (1 + number)), programme=(StepPlan(15_000 + number),))
        for number in range(MANY + 4)
    ]
    span = days(0.1)
    quick, bare = run(MODEL, span, plans), run(MODEL, span, plans, bare=True)
    for number in range(len(plans)):
        assert same(quick, bare, number, by=number) == []


@pytest.mark.parametrize("band_mk", [-1, 100_001])
def test_a_band_that_is_none_is_refused(band_mk) -> None:
    with pytest.raises(ValueError, match=f"band_mk = {band_mk}: from 0 to 100000"):
        run(MODEL, days(0.1), [a_mat()], band_mk=band_mk)


@pytest.mark.parametrize("lag_s", [1.0, 1e9])
def test_zones_that_take_no_time_or_for_ever_are_decided_as_the_core_does(
    lag_s,
) -> None:
    """Of the one nothing is left after a step, of the other all."""
    zone = replace(TRAY, mat_s=lag_s / 2, medium_s=lag_s)
    step_s = 300.0 if lag_s < 2 else 60.0
    where = days(60 * step_s / 86_400, step_s=step_s)
    model, plan = MatModel("north", (zone,)), a_mat(programme=(StepPlan(20_000),))
    core = core_outcomes(model, where, plan, band_mk=500)
    assert (core.refused_s.sum() > 0) == (lag_s < 2)
    assert same(run(model, where, [plan]), core, 0) == []


@pytest.mark.parametrize("heard", [True, False])
@pytest.mark.parametrize("policy", [OnOff(500), Pid()])
def test_heat_that_lasts_for_days_is_budgeted_as_the_core_does(policy, heard) -> None:
    """The twin looks at an hour's end, and when the heat can have lasted too long."""
    span = days(3, step_s=300.0, room_heard=heard)
    hour_ms = 3_600_000
    plan = a_mat(
        policy=policy,
        programme=(StepPlan(27_000),),
        longest_on_ms=3 * hour_ms,
        daily_on_ms=9 * hour_ms,
        heat_allowance_mk=6_000,
    )
    core = core_outcomes(MODEL, span, plan, band_mk=500)
    for cause in (Cause.HEATED_TOO_LONG, Cause.DAILY_HEAT_SPENT):
        assert core.refused_s[0, REFUSALS.index(cause)] > 0
    assert same(run(MODEL, span, [plan]), core, 0) == []


@pytest.mark.parametrize("halved", [(), ("N0", "N1"), ("N4",)])
def test_trays_with_probes_on_the_mat_are_decided_as_the_core_decides_them(
    halved,
) -> None:
    """Five trays: four are stepped at once where none has its probe there."""
    names = [f"N{number}" for number in range(5)]
    zones = [
        replace(
            TRAY,
            name=n,
            at_mat=n in {"N1", "N4"},
            between_s=2_000.0 if n in halved else None,
        )
        for n in names
    ]
    model, span = MatModel("north", tuple(zones)), days(0.2, zones=5)
    trays = tuple(TrayPlan(name=n, probes=(ProbePlan(name=f"p{n}"),)) for n in names)
    plan = a_mat(trays=trays, programme=(StepPlan(17_000),))
    core = core_outcomes(model, span, plan, band_mk=500)
    assert core.switches[0] > 3
    assert same(run(model, span, [plan]), core, 0) == []


@pytest.mark.parametrize("scans", range(1, 18))
def test_a_span_of_any_length_is_counted_to_its_end(scans: int) -> None:
    """Readings are counted eight scans at a time."""
    whole = days(0.02)
    span = replace(
        whole,
        room_c=whole.room_c[:scans],
        push=whole.push[:scans],
        minutes=whole.minutes[:scans],
    )
    tray = replace(a_mat().trays[0], base_mc=15_001)
    plan = a_mat(trays=(tray,), programme=(StepPlan(15_000),))
    core = core_outcomes(MODEL, span, plan, band_mk=500)
    assert same(run(MODEL, span, [plan]), core, 0) == []


def test_where_numba_is_missing_it_runs_all_the_same() -> None:
    code = (
        "import sys; sys.modules['numba'] = None\n"
        "from tests.sim.test_whatif import MODEL, a_mat, days, run\n"
        "from sim.whatif import jit\n"
        "assert not jit.HAS_NUMBA\n"
        "print(run(MODEL, days(0.2), [a_mat()]).switches[0])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) == run(MODEL, days(0.2), [a_mat()]).switches[0] > 0


# ---------------------------------------------------- what only the core can do


def test_no_reading_leaves_the_band_within_which_none_is_doubted() -> None:
    """Never heated to always heated; and where none is doubted none jumps."""
    doubtless = 0
    for seed in range(80):
        asked = a_question(seed, 60, 1)
        loop = _Loop(asked.model, asked.span, asked.plans, 500, bare=False)
        far = reach(loop._heat, asked.span.step_ms)
        temps = core_trace(asked.model, asked.span, asked.plans[0]).temps_mc
        assert (temps >= far.low_mc).all() and (temps <= far.high_mc).all()
        most_mk = STEP_MK + RATE_MK_PER_S * asked.span.step_ms // 1000
        if loop._doubtless:
            assert abs(np.diff(temps, axis=0)).max() <= most_mk
            doubtless += any(zone.parts == 3 for zone in asked.model.zones)
    assert doubtless > 10


def test_no_tray_climbs_faster_than_is_said_and_a_strong_mat_is_watched() -> None:
    """Over the window in which the guard compares."""
    unwatched = 0
    for seed in range(120):
        asked = a_question(seed, 150, 1)
        loop = _Loop(asked.model, asked.span, asked.plans, 500, bare=False)
        far = reach(loop._heat, asked.span.step_ms)
        trays = len(heard(asked.plans[0]))
        temps = core_trace(asked.model, asked.span, asked.plans[0]).temps_mc[:, :trays]
        step_ms = asked.span.step_ms
        window = ceil(CLIMB_MS / step_ms) - 1 + ceil(LOOK_MS / step_ms)
        warmest = temps.max(axis=1)
        for back in range(1, min(window, len(temps) - 1) + 1):
            risen = (warmest[back:] - warmest[:-back]).max()
            assert risen <= far.climb_mk[:trays].max()
        unwatched += not loop._climbs
    assert 10 < unwatched < 110


def test_the_most_that_a_tray_can_climb_is_no_more_than_twice_what_one_does() -> None:
    """Cold for a week, then heated: a bound far above that would be of no use."""
    span = days(8, room_c=np.full(8 * 1440, 12.0), push=np.zeros((8 * 1440, 1)))
    zones, temps = Zones(coefficients(MODEL, span), span), []
    for number in range(span.steps):
        temps.append(zones.read_mc()[0])
        zones.advance(number, on=number >= 7 * 1440)
    loop = _Loop(MODEL, span, [a_mat()], 500, bare=False)
    most = reach(loop._heat, span.step_ms).climb_mk[0]
    risen = max(
        after - before for before, after in zip(temps, temps[10:], strict=False)
    )
    assert risen <= most < 2 * risen


# ------------------------------------------------------- the model's arithmetic


@pytest.mark.parametrize("parts", [{}, {"between_s": 3_000.0, "leak": 0.2}])
@pytest.mark.parametrize(("step_s", "count"), [(60.0, 30.0), (5.0, 3.0), (1.0, 1.0)])
@pytest.mark.parametrize("moves", [True, False])
def test_stepped_at_half_the_width_a_zone_stays_near_exact_steps(
    moves, step_s, count, parts
) -> None:
    """Where nothing moves, a mode stops when a step would be less than half a unit.

    Besides that a reading is rounded by half a millikelvin.
    """
    zone, span = replace(TRAY, **parts), days(count, step_s=step_s)
    if not moves:
        still = np.full(span.steps, 20.0)
        start_c = np.full((1, 3), 22.0)
        span = replace(span, room_c=still, push=0 * span.push, start_c=start_c)
    by = coefficients(MatModel("north", (zone,)), span)
    zones, exact = Zones(by, span), steps(zone, step_s)
    state, worst = 1000.0 * span.start_c[0, : zone.parts], 0.0
    rng, on = np.random.default_rng(3), False
    for number in range(span.steps):
        worst = max(worst, abs(zones.read_mc()[0] - state[1]))
        on = moves and on != (rng.random() < step_s / 1800)
        zones.advance(number, on=on)
        state = exact.carry @ state + 1000.0 * (
            exact.by_heat * on
            + exact.by_room * (span.room_c[number] + zone.offset_k)
            + exact.by_push * span.push[number, 0]
        )
    off_mk = 0.1 if step_s == 60.0 else 1.5
    assert worst < 0.5 + (off_mk if moves else 2**-9 / (1 - by.decay[0, 0]))


def test_a_probe_that_stands_still_is_left_to_the_core() -> None:
    """It is doubted after so long; the twin has no doubts."""
    span = days(1)
    still = replace(
        span,
        room_c=np.full(span.steps, 12.0),
        push=0 * span.push,
        start_c=12 + 0 * span.start_c,
    )
    probe = ProbePlan(name="n1", stuck_after_ms=2 * 3_600_000)
    plan = a_mat(
        programme=(StepPlan(10_000),), trays=(TrayPlan(name="N1", probes=(probe,)),)
    )
    outcomes = run(MODEL, still, [plan, a_mat()])
    assert outcomes.by_core.tolist() == [True, False]
    core = core_outcomes(MODEL, still, plan, band_mk=500)
    assert same(outcomes, core, 0) == []
    assert outcomes.refused_s[0, REFUSALS.index(Cause.NO_DRIVING_READING)] > 0
    assert (trace(MODEL, still, plan).temps_mc == 12_000).all()


@pytest.mark.parametrize(
    "parts", [{}, {"between_s": 3_000.0}, {"between_s": 3_000.0, "leak": 0.2}]
)
def test_a_reading_that_jumps_is_left_to_the_core(parts) -> None:
    span, model = days(0.2), MatModel("north", (replace(TRAY, **parts),))
    push = span.push.copy()
    push[100] = 0.4  # 24 K within a minute
    jumping = replace(span, push=push, sudden=push > 0.1)
    plan = a_mat()
    outcomes = run(model, jumping, [plan])
    assert outcomes.by_core.tolist() == [True]
    core = core_outcomes(model, jumping, plan, band_mk=500)
    assert same(outcomes, core, 0) == []


@pytest.mark.parametrize("step_s", [60.0, 300.0])
@pytest.mark.parametrize("start_c", [-30.4, 70.5])
def test_a_first_reading_that_is_doubted_is_left_to_the_core(start_c, step_s) -> None:
    span = days(0.5, step_s=step_s, start_c=np.full((1, 3), start_c))
    plan = a_mat()
    outcomes = run(MODEL, span, [plan])
    core = core_outcomes(MODEL, span, plan, band_mk=500)
    assert same(outcomes, core, 0) == []
    assert outcomes.by_core.tolist() == [True]


def test_water_on_an_outer_half_alone_shows_late() -> None:
    """The same push is a jump of the probe only where it is in both halves."""
    span, model = days(0.2), MatModel("north", (replace(TRAY, between_s=3_000.0),))
    push = span.push.copy()
    push[100] = 0.1  # 6 K within a minute
    cold = a_mat(programme=(StepPlan(5_000),))
    poured = replace(span, push=push, sudden=push > 0.05)
    outer, whole = (
        trace(model, one, cold).temps_mc[:, 0]
        for one in (replace(span, push=push), poured)
    )
    assert abs(outer[101] - outer[100]) < 100
    assert whole[101] - whole[100] == pytest.approx(6_000, abs=200)
    assert outer[150] - outer[100] > 1_500


# ------------------------------------------------------------------ the answers


def test_candidates_do_not_depend_on_their_neighbours() -> None:
    plans = [
        a_mat(programme=(StepPlan(setpoint),), policy=policy, driven_by=way)
        for setpoint in range(18_000, 26_000, 100)
        for policy, way in (
            (OnOff(500), DrivenBy.MEAN),
            (Pid(), DrivenBy.MEDIAN),
            (Pid(derivative_s=300.0), DrivenBy.MEAN),
        )
    ]
    span = days(0.5)
    outcomes = run(MODEL, span, plans)
    for number in (0, 1, 2, 100, len(plans) - 1):
        alone = run(MODEL, span, [plans[number]])
        assert same(outcomes, alone, number) == []


def test_mats_of_other_sizes_and_trays_are_told_apart() -> None:
    """What they have in common is looked up once."""
    tray, rng = a_mat().trays[0], np.random.default_rng(3)
    changes = [
        {"trays": (replace(tray, base_mc=12_000),)},
        {"trays": (replace(tray, upper_mc=19_000),)},
        {"trays": (replace(tray, depth_mm=120),)},
        {"heat_allowance_mk": 700},
        {"power_mw": 20_000},
        {"length_mm": 2_400, "width_mm": 1_060},
    ]
    usual = a_mat()
    kinds = [usual, *(replace(usual, **change) for change in changes)]
    plans = [kinds[n] for n in rng.permutation(3 * list(range(len(kinds))))]
    together, lone = run(MODEL, days(3), plans), {}
    for number, plan in enumerate(plans):
        alone = lone.setdefault(id(plan), run(MODEL, days(3), [plan]))
        assert same(together, alone, number) == []
    told = {one.degree_hours[0, 0] for one in lone.values()}
    assert len(told) == 3, "two bases and an upper cut-off"
    table = tabulate(days(3), plans).plans
    for at, expected in ((rows.ALLOWANCE, allowance_ms), (rows.LAG, lag_ms)):
        found = table[:, at // LANES].tolist()
        assert found == [expected(plan) for plan in plans]
        assert len(set(found)) == (5 if at == rows.ALLOWANCE else 2)


def test_a_bench_that_is_held_is_in_its_band() -> None:
    outcomes = run(MODEL, days(4), [a_mat()], band_mk=1_000)
    assert outcomes.driving_in_band_s[0] > 3 * 86_400
    assert outcomes.driving_in_band_s[0] == outcomes.in_band_s[0, 0]
    assert outcomes.daily_on_s.sum() == outcomes.on_s[0]
    assert outcomes.margin_mk[0, 0] == 33_000 - outcomes.peak_mc[0, 0]
    assert outcomes.margin_mk[0, 1] == np.iinfo(np.int64).max
    assert outcomes.operations[0] == -(-outcomes.switches[0] // 2)
    assert outcomes.degree_hours[0, 0] == pytest.approx(4 * 24 * 12, rel=0.05)


def test_a_setpoint_that_cannot_be_reached_trips_and_says_why() -> None:
    """A mat that cannot warm what stands on it: heat is not felt."""
    weak = MatModel("north", (replace(TRAY, gain_k=1.0),))
    outcomes = run(weak, days(2), [a_mat()])
    assert REFUSALS[outcomes.trip[0]] is Cause.HEAT_NOT_FELT
    refused_s = outcomes.refused_s[0, outcomes.trip[0]]
    assert outcomes.trip_s[0] + refused_s == 2 * 86_400


def test_nights_follow_the_minutes_of_the_span() -> None:
    plan = a_mat(programme=(StepPlan(22_000, 18_000),), night=Night(60, 120))
    setpoints = trace(MODEL, days(0.25), plan).setpoint_mc
    assert setpoints[59:61].tolist() == [22_000, 18_000]
    assert setpoints[119:121].tolist() == [18_000, 22_000]


def test_shorter_steps_hold_the_same_inputs() -> None:
    coarse = days(0.5)
    fine = coarse.at_step(5.0)
    cold = a_mat(programme=(StepPlan(5_000),))
    slow, quick = trace(MODEL, coarse, cold), trace(MODEL, fine, cold)
    assert (fine.minutes[:13] == [0] * 12 + [1]).all()
    assert abs(slow.temps_mc - quick.temps_mc[::12]).max() <= 1
    with pytest.raises(ValueError, match=r"7\.0 s does not divide .* 60\.0 s"):
        coarse.at_step(7.0)


def test_shorter_steps_and_some_of_them_hold_the_same_water() -> None:
    model = MatModel("north", (replace(TRAY, between_s=3_000.0),))
    dry = days(0.1)
    sudden = np.zeros(dry.push.shape, np.bool_)
    sudden[40] = True
    coarse = replace(dry, push=dry.push - 0.02 * sudden, sudden=sudden)
    cold = a_mat(programme=(StepPlan(5_000),))
    slow, quick = (
        trace(model, span, cold).temps_mc for span in (coarse, coarse.at_step(5.0))
    )
    assert slow[41] - slow[40] == pytest.approx(-1_200, abs=50)
    assert abs(slow - quick[::12]).max() <= 1
    part = trace(model, coarse.of(np.arange(60)), cold).temps_mc
    np.testing.assert_array_equal(part, slow[:60])


# ------------------------------------------------------------------- the search


def test_finalists_are_run_again_on_the_core_at_the_benchs_scan() -> None:
    plans = [a_mat(policy=OnOff(width)) for width in (250, 2_000, 500, 1_000)]
    span = days(0.15)
    outcomes, best = search(
        MODEL, span, plans, lambda found: -found.switches.astype(float), keep=2
    )
    assert outcomes.switches.shape == (4,)
    assert best[0].coarse.switches[0] == outcomes.switches.min()
    for finalist in best:
        plan = plans[finalist.number]
        exact = core_outcomes(MODEL, span.at_step(5.0), plan, band_mk=500)
        assert same(finalist.exact, exact, 0) == []
        assert finalist.exact.by_core.all()
        apart = exact.switches[0] - finalist.coarse.switches[0]
        assert f"({apart:+d}); on " in finalist.difference()
        assert "tray 1" in finalist.difference()


def test_who_is_ruled_out_is_no_finalist() -> None:
    plans = [a_mat(), a_mat()]
    _, best = search(MODEL, days(0.02), plans, lambda _: np.array([-np.inf, 1.0]))
    assert [finalist.number for finalist in best] == [1]
    with pytest.raises(ValueError, match=r"score gave shape \(1,\)"):
        search(MODEL, days(0.02), plans, lambda _: np.zeros(1))


# -------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"step_s": 0.5}, "step_s = 0.5: from 1 to 300 s"),
        ({"step_s": 301.0}, "step_s = 301.0: from 1 to 300 s"),
        ({"step_s": 60.001}, "whole, even ms"),
        ({"push": np.zeros((3, 1))}, r"push has shape \(3, 1\): \(1440, 1\)"),
        ({"room_c": np.full(1440, np.nan)}, "room_c has values that are no numbers"),
        ({"minutes": np.full(1440, 1440)}, "minutes: from 0 to 1439"),
        ({"sudden": np.zeros((3, 1))}, r"sudden has shape \(3, 1\): \(1440, 1\)"),
        ({"start_c": np.zeros((1, 2))}, r"start_c has shape \(1, 2\): \(1, 3\)"),
        (
            {"room_c": np.broadcast_to(14.0, 2**24 + 1)},
            "room_c has 16777217 steps: up to 16777216 can be run",
        ),
    ],
)
def test_what_is_no_span_is_refused(changes, said) -> None:
    with pytest.raises(ValueError, match=said):
        days(1, **changes)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"relay": None}, "mat north: relay = none"),
        ({"trays": ()}, "surface probes are none; the model has N1"),
        ({"surface": (ProbePlan(name="s"),)}, "are N1, s; the model has N1"),
    ],
)
def test_what_does_not_fit_the_model_is_refused(changes, said) -> None:
    with pytest.raises(ValueError, match=said):
        run(MODEL, days(0.01), [a_mat(**changes)])


def test_a_span_of_other_zones_and_no_plan_are_refused() -> None:
    with pytest.raises(ValueError, match="1 zones in the model, 2 in the span"):
        run(MODEL, days(0.01, zones=2), [a_mat()])
    with pytest.raises(ValueError, match="at least one candidate"):
        run(MODEL, days(0.01), [])
