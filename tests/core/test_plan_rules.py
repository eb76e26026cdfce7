"""A plan that breaks a rule is told so: place, what is there, what is allowed."""

# Plain numbers stand for the core's units here.
# pyright: reportArgumentType=false

from dataclasses import replace

import pytest

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Night,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    Quantity,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.plan_rules import (
    RESET_BELOW_MK,
    PlanError,
    problems,
    setpoint_problem,
)

PROBE = ProbePlan(name="P1")
TRAY = TrayPlan(name="N1", probes=(PROBE,))
MAT = MatPlan(
    name="north",
    power_mw=100_000,
    length_mm=1_200,
    width_mm=530,
    policy=OnOff(),
    programme=(StepPlan(21_000),),
    relay=RelayKind.LEASE,
    trays=(TRAY,),
    surface=(ProbePlan(name="S1"),),
)
PLAN = Plan(bench="bench", mats=(MAT,), room=(ProbePlan(name="R1"),))
NAME_ASK = 'from 1 to 32 letters a-z, digits, "-" and "_"'
HEAT_ASK = "a mat with a relay needs a temperature probe in one of its trays"


def _told(plan: Plan) -> list[str]:
    return [str(problem) for problem in problems(plan)]


def _of_mat(**changes: object) -> list[str]:
    return _told(replace(PLAN, mats=(replace(MAT, **changes),)))


def _of_tray(**changes: object) -> list[str]:
    return _of_mat(trays=(replace(TRAY, **changes),))


def _of_probe(**changes: object) -> list[str]:
    return _of_tray(probes=(replace(PROBE, **changes),))


def test_a_plan_that_keeps_all_rules_has_no_problem():
    assert _told(PLAN) == []


def test_a_problem_keeps_its_parts_and_is_a_value_error():
    problem = PlanError("mat north: cutout", "40 °C", "less")
    assert isinstance(problem, ValueError)
    assert (problem.where, problem.found, problem.allowed) == (
        "mat north: cutout",
        "40 °C",
        "less",
    )
    assert str(problem) == "mat north: cutout = 40 °C: less"


@pytest.mark.parametrize("name", ["", "a b", "a/b", "é", "²", "n" * 33, "a\n"])
def test_a_name_that_cannot_stand_in_a_topic_is_refused(name):
    assert _told(replace(PLAN, bench=name)) == [f"[bench] name = {name}: {NAME_ASK}"]
    assert _of_mat(name=name) == [f"mat {name}: name = {name}: {NAME_ASK}"]
    assert _of_tray(name=name) == [f"tray {name}: name = {name}: {NAME_ASK}"]
    assert _of_probe(name=name) == [f"probe {name}: name = {name}: {NAME_ASK}"]


@pytest.mark.parametrize("name", ["a", "n" * 32, "A-z_09", "-", "_"])
def test_a_plain_name_is_taken(name):
    assert _told(replace(PLAN, bench=name)) == []


def test_names_are_each_their_own_among_their_kind():
    twice = replace(MAT, trays=(), surface=(), relay=None)
    twins = replace(TRAY, probes=(replace(PROBE, name="P2"),))
    assert _told(replace(PLAN, mats=(MAT, twice))) == [
        "mat north: name = north: 2 mats have this name; each needs its own"
    ]
    assert _told(replace(PLAN, trays=(twins,))) == [
        "tray N1: name = N1: 2 trays have this name; each needs its own"
    ]
    assert _told(replace(PLAN, room=(PROBE,))) == [
        "probe P1: name = P1: 2 probes have this name; each needs its own"
    ]


def test_a_mat_a_tray_and_a_probe_may_share_a_name():
    assert (
        _told(
            replace(
                PLAN,
                mats=(
                    replace(
                        MAT,
                        name="x",
                        trays=(
                            replace(TRAY, name="x", probes=(replace(PROBE, name="x"),)),
                        ),
                    ),
                ),
            )
        )
        == []
    )


@pytest.mark.parametrize("name", ["median", "mean", "coolest", "warmest"])
def test_a_tray_is_not_called_like_a_way_of_driving(name):
    assert _of_tray(name=name) == [
        f"tray {name}: name = {name}: not a tray's name: it is a way of driving a mat"
    ]


BOUNDS = [
    # changes, the line; the last value allowed on that side
    (_of_mat, "power_mw", 999, 1_000, "mat north: power = 0.999 W: from 1 W to 3000 W"),
    (
        _of_mat,
        "power_mw",
        3_000_001,
        3_000_000,
        "mat north: power = 3000.001 W: from 1 W to 3000 W",
    ),
    (_of_mat, "min_on_ms", -1, 0, "mat north: min_on = -1 ms: from 0 ms to 1 h"),
    (
        _of_mat,
        "min_on_ms",
        3_600_001,
        3_600_000,
        "mat north: min_on = 3600001 ms: from 0 ms to 1 h",
    ),
    (_of_mat, "min_off_ms", -1, 0, "mat north: min_off = -1 ms: from 0 ms to 1 h"),
    (
        _of_mat,
        "min_off_ms",
        3_601_000,
        3_600_000,
        "mat north: min_off = 3601 s: from 0 ms to 1 h",
    ),
    (
        _of_mat,
        "settle_ms",
        59_999,
        60_000,
        "mat north: settle = 59999 ms: from 1 min to 6 h",
    ),
    (
        _of_mat,
        "settle_ms",
        21_600_001,
        21_600_000,
        "mat north: settle = 21600001 ms: from 1 min to 6 h",
    ),
    (
        _of_mat,
        "heat_allowance_mk",
        2_499,
        2_500,
        "mat north: heat_allowance = 2.499 K: from 2.5 K to 6 K",
    ),
    (
        _of_mat,
        "heat_allowance_mk",
        6_001,
        6_000,
        "mat north: heat_allowance = 6.001 K: from 2.5 K to 6 K",
    ),
    (
        _of_mat,
        "rise_limit_mk",
        1_499,
        1_500,
        "mat north: rise_limit = 1.499 K: from 1.5 K to 10 K",
    ),
    (
        _of_mat,
        "rise_limit_mk",
        10_001,
        10_000,
        "mat north: rise_limit = 10.001 K: from 1.5 K to 10 K",
    ),
    (
        _of_mat,
        "stray_heat_mk",
        999,
        1_000,
        "mat north: stray_heat = 0.999 K: from 1 K to 5 K",
    ),
    (
        _of_mat,
        "stray_heat_mk",
        5_001,
        5_000,
        "mat north: stray_heat = 5.001 K: from 1 K to 5 K",
    ),
    (
        _of_mat,
        "disagreement_mk",
        1_499,
        1_500,
        "mat north: disagreement = 1.499 K: from 1.5 K to 10 K",
    ),
    (
        _of_mat,
        "disagreement_mk",
        10_001,
        10_000,
        "mat north: disagreement = 10.001 K: from 1.5 K to 10 K",
    ),
    (
        _of_mat,
        "longest_on_ms",
        3_599_999,
        3_600_000,
        "mat north: longest_on = 3599999 ms: from 1 h to 48 h",
    ),
    (
        _of_mat,
        "longest_on_ms",
        172_800_001,
        172_800_000,
        "mat north: longest_on = 172800001 ms: from 1 h to 48 h",
    ),
    (
        _of_mat,
        "daily_on_ms",
        3_599_999,
        3_600_000,
        "mat north: daily_on = 3599999 ms: from 1 h to 24 h",
    ),
    (
        _of_mat,
        "daily_on_ms",
        86_400_001,
        86_400_000,
        "mat north: daily_on = 86400001 ms: from 1 h to 24 h",
    ),
    (
        _of_mat,
        "ramp_mk_per_h",
        0,
        1,
        'mat north: ramp = 0 K/h: above 0, up to 60 K/h, or "none"',
    ),
    (
        _of_mat,
        "ramp_mk_per_h",
        60_001,
        60_000,
        'mat north: ramp = 60.001 K/h: above 0, up to 60 K/h, or "none"',
    ),
    (
        _of_mat,
        "tray_limit_mk",
        999,
        1_000,
        "mat north: tray_limit = 0.999 K: from 1 K to 10 K",
    ),
    (
        _of_mat,
        "tray_limit_mk",
        10_001,
        10_000,
        "mat north: tray_limit = 10.001 K: from 1 K to 10 K",
    ),
    (
        _of_mat,
        "cutout_mc",
        35_001,
        35_000,
        "mat north: cutout = 35.001 °C: from 10 °C to 35 °C: warmer harms roots",
    ),
    (
        _of_mat,
        "surface_cutout_mc",
        60_001,
        60_000,
        "mat north: surface_cutout = 60.001 °C: at most 60 °C",
    ),
    (
        _of_mat,
        "surface_limit_mc",
        50_000,
        49_999,
        "mat north: surface_limit = 50 °C: below the surface_cutout of 50 °C",
    ),
    (
        _of_mat,
        "surface_limit_mc",
        21_000,
        21_001,
        "mat north: surface_limit = 21 °C: above the highest setpoint of 21 °C",
    ),
    (
        _of_mat,
        "warn_mc",
        33_000,
        32_999,
        "mat north: warn = 33 °C: below the cutout of 33 °C",
    ),
    (
        _of_mat,
        "warn_mc",
        21_999,
        22_000,
        "mat north: warn = 21.999 °C: at least 1 K above the highest setpoint of 21 °C",
    ),
    (
        _of_mat,
        "policy",
        OnOff(0),
        OnOff(1),
        "mat north: differential = 0 K: above 0, up to 5 K",
    ),
    (
        _of_mat,
        "policy",
        OnOff(5_001),
        OnOff(5_000),
        "mat north: differential = 5.001 K: above 0, up to 5 K",
    ),
    (
        _of_mat,
        "policy",
        Pid(cycle_ms=239_999),
        Pid(cycle_ms=240_000),
        "mat north: cycle = 239999 ms: at least twice min_on (2 min), up to 2 h",
    ),
    (
        _of_mat,
        "policy",
        Pid(cycle_ms=7_200_001),
        Pid(cycle_ms=7_200_000),
        "mat north: cycle = 7200001 ms: at least twice min_on (2 min), up to 2 h",
    ),
    (
        _of_mat,
        "policy",
        Pid(gain_per_k=0.0),
        Pid(gain_per_k=1e-9),
        "mat north: pid.gain_per_k = 0: above 0, up to 10",
    ),
    (
        _of_mat,
        "policy",
        Pid(gain_per_k=10.5),
        Pid(gain_per_k=10.0),
        "mat north: pid.gain_per_k = 10.5: above 0, up to 10",
    ),
    (
        _of_mat,
        "policy",
        Pid(integral_s=0.0),
        Pid(integral_s=1.0),
        "mat north: pid.integral_time = 0 s: above 0, up to 7 days",
    ),
    (
        _of_mat,
        "policy",
        Pid(integral_s=604_801.0),
        Pid(integral_s=604_800.0),
        "mat north: pid.integral_time = 604801 s: above 0, up to 7 days",
    ),
    (
        _of_mat,
        "policy",
        Pid(derivative_s=-1.0),
        Pid(derivative_s=0.0),
        "mat north: pid.derivative_time = -1 s: from 0 to 1 day",
    ),
    (
        _of_mat,
        "policy",
        Pid(derivative_s=86_401.0),
        Pid(derivative_s=86_400.0),
        "mat north: pid.derivative_time = 86401 s: from 0 to 1 day",
    ),
    (
        _of_mat,
        "width_mm",
        9,
        10,
        "mat north: area = 1200 mm x 9 mm: sides from 10 mm to 10 m, longer first",
    ),
    (
        _of_mat,
        "width_mm",
        1_201,
        1_200,
        "mat north: area = 1200 mm x 1201 mm: sides from 10 mm to 10 m, longer first",
    ),
    (
        _of_mat,
        "length_mm",
        10_001,
        10_000,
        "mat north: area = 10001 mm x 530 mm: sides from 10 mm to 10 m, longer first",
    ),
    (
        _of_mat,
        "night",
        Night(1_440, 0),
        Night(1_439, 0),
        "mat north: night = 1440: minutes from 0 to 1439",
    ),
    (
        _of_mat,
        "night",
        Night(0, -1),
        Night(1, 0),
        "mat north: night = -1: minutes from 0 to 1439",
    ),
    (
        _of_mat,
        "night",
        Night(60, 60),
        Night(60, 61),
        "mat north: night = no time: two different times of day",
    ),
    (_of_tray, "depth_mm", 4, 5, "tray N1: depth = 4 mm: from 5 mm to 1000 mm"),
    (
        _of_tray,
        "depth_mm",
        1_001,
        1_000,
        "tray N1: depth = 1001 mm: from 5 mm to 1000 mm",
    ),
    (_of_tray, "row", 0, 1, "tray N1: place = 0: from 1 to 100"),
    (_of_tray, "column", 101, 100, "tray N1: place = 101: from 1 to 100"),
    (_of_tray, "base_mc", -1, 0, "tray N1: base = -0.001 °C: from 0 °C to 30 °C"),
    (
        _of_tray,
        "base_mc",
        30_001,
        30_000,
        "tray N1: base = 30.001 °C: from 0 °C to 30 °C",
    ),
    (
        _of_tray,
        "upper_mc",
        10_000,
        10_001,
        "tray N1: upper = 10 °C: above the base of 10 °C, up to 50 °C",
    ),
    (
        _of_tray,
        "upper_mc",
        50_001,
        50_000,
        "tray N1: upper = 50.001 °C: above the base of 10 °C, up to 50 °C",
    ),
    (
        _of_probe,
        "offset_mk",
        -5_001,
        -5_000,
        "probe P1: offset = -5.001 K: from -5 K to 5 K",
    ),
    (
        _of_probe,
        "offset_mk",
        5_001,
        5_000,
        "probe P1: offset = 5.001 K: from -5 K to 5 K",
    ),
    (_of_probe, "every_ms", 99, 100, "probe P1: every = 99 ms: from 100 ms to 24 h"),
    (
        _of_probe,
        "every_ms",
        48_001,
        48_000,
        "probe P1: stale_after = 2 min: at least 2.5 times every (48001 ms)",
    ),
    (
        _of_probe,
        "stale_after_ms",
        74_999,
        75_000,
        "probe P1: stale_after = 74999 ms: at least 2.5 times every (30 s)",
    ),
    (
        _of_probe,
        "stale_after_ms",
        1_800_001,
        1_800_000,
        "probe P1: stale_after = 1800001 ms: at most 30 min where a mat heats",
    ),
    (
        _of_probe,
        "stuck_after_ms",
        3_599_999,
        3_600_000,
        "probe P1: stuck_after = 3599999 ms: from 1 h to 168 h",
    ),
    (
        _of_probe,
        "stuck_after_ms",
        604_800_001,
        604_800_000,
        "probe P1: stuck_after = 604800001 ms: from 1 h to 168 h",
    ),
    (_of_probe, "depth_mm", -1, 0, "probe P1: depth = -1 mm: 0 or more"),
    (
        _of_probe,
        "depth_mm",
        61,
        60,
        "probe P1: depth = 61 mm: at most the tray's 60 mm",
    ),
]


@pytest.mark.parametrize(
    ("made", "key", "wrong", "right", "line"),
    BOUNDS,
    ids=[f"{key} {wrong}" for _, key, wrong, _, _ in BOUNDS],
)
def test_a_bound_refuses_what_lies_beyond_and_takes_what_lies_on_it(
    made, key, wrong, right, line
):
    assert made(**{key: wrong}) == [line]
    assert made(**{key: right}) == []


@pytest.mark.parametrize(
    ("scan_ms", "lines"),
    [
        (999, ["[bench] scan = 999 ms: from 1 s to 30 s"]),
        (1_000, []),
        (30_000, []),
        (30_001, ["[bench] scan = 30001 ms: from 1 s to 30 s"]),
    ],
)
def test_the_bench_is_looked_at_every_second_to_every_half_minute(scan_ms, lines):
    assert _told(replace(PLAN, scan_ms=scan_ms)) == lines


@pytest.mark.parametrize("odd", [float("nan"), float("inf")])
def test_a_pid_of_numbers_that_are_none_breaks_every_rule_of_it(odd):
    told = _of_mat(policy=Pid(odd, odd, odd))
    assert [line.split(" = ")[0] for line in told] == [
        "mat north: pid.gain_per_k",
        "mat north: pid.integral_time",
        "mat north: pid.derivative_time",
    ]


def test_a_cycle_of_no_time_is_refused_even_without_a_minimum():
    assert _of_mat(min_on_ms=0, policy=Pid(cycle_ms=0)) == [
        "mat north: cycle = 0 ms: at least twice min_on (0 ms), up to 2 h"
    ]
    assert _of_mat(min_on_ms=0, policy=Pid(cycle_ms=1)) == []


@pytest.mark.parametrize(
    ("setpoint_mc", "found"),
    [(4_999, "4.999 °C"), (30_001, "30.001 °C"), (95_000, "95 °C")],
)
def test_a_setpoint_stays_frost_free_and_below_the_cutout(setpoint_mc, found):
    line = (
        f"mat north: setpoint = {found}: from 5 °C to 30 °C, which is 3 K below the "
        "cutout"
    )
    assert str(setpoint_problem(MAT, setpoint_mc)) == line
    # A warning above a setpoint that harms would be no help: one line is enough.
    assert _of_mat(programme=(StepPlan(setpoint_mc),)) == [line]
    night = _of_mat(programme=(StepPlan(21_000, setpoint_mc),))
    assert night == [line.replace(": setpoint", ": night_setpoint")]


@pytest.mark.parametrize("setpoint_mc", [5_000, 21_000, 30_000])
def test_a_setpoint_within_its_bounds_is_taken(setpoint_mc):
    assert setpoint_problem(MAT, setpoint_mc) is None


def test_a_setpoint_may_go_higher_under_a_higher_cutout():
    assert setpoint_problem(replace(MAT, cutout_mc=35_000), 32_000) is None
    lower = setpoint_problem(replace(MAT, cutout_mc=30_000), 27_001)
    assert lower is not None
    assert lower.allowed == "from 5 °C to 27 °C, which is 3 K below the cutout"
    assert RESET_BELOW_MK == 3_000


def test_a_cutout_leaves_room_for_a_setpoint():
    told = _of_mat(
        cutout_mc=9_999,
        warn_mc=8_000,
        programme=(StepPlan(5_000),),
        tray_limit_mk=1_000,
    )
    assert told == [
        "mat north: cutout = 9.999 °C: from 10 °C to 35 °C: warmer harms roots"
    ]


def test_a_warning_looks_at_the_night_too():
    told = _of_mat(programme=(StepPlan(18_000, 29_500),))
    assert told == [
        "mat north: warn = 30 °C: at least 1 K above the highest setpoint of 29.5 °C"
    ]


def test_a_programme_has_at_least_one_step():
    assert _of_mat(programme=()) == ["mat north: step = nothing: at least one step"]


def test_the_lowest_cutout_is_allowed():
    changes = {"warn_mc": 9_000, "programme": (StepPlan(6_000),)}
    assert _of_mat(cutout_mc=10_000, **changes) == []


def test_a_step_may_last_as_long_as_any_crop():
    assert _of_mat(programme=(StepPlan(21_000, days=1_000), StepPlan(20_000))) == []


def test_limits_are_held_against_the_highest_setpoint_there_may_be():
    told = _of_mat(programme=(StepPlan(30_000),), warn_mc=30_500)
    assert told == [
        "mat north: warn = 30.5 °C: at least 1 K above the highest setpoint of 30 °C"
    ]


def test_no_night_setpoint_does_not_count_as_one():
    told = _of_mat(programme=(StepPlan(-5_000),), warn_mc=1_000)
    assert [line.split(" = ")[0] for line in told] == ["mat north: setpoint"]


@pytest.mark.parametrize("days", [0.0, -1.0, float("nan"), float("inf"), 1_000.5])
def test_a_step_lasts_longer_than_nothing_and_ends(days):
    told = _of_mat(programme=(StepPlan(21_000, days=days), StepPlan(20_000)))
    assert told == [
        f"mat north: step 1: until = {days:g} days: above 0, up to 1000 days"
    ]


def test_a_step_may_end_by_itself_or_by_hand():
    steps = (StepPlan(21_000, days=0.5), StepPlan(22_000), StepPlan(20_000))
    assert _of_mat(programme=steps) == []


def test_the_last_step_stays():
    told = _of_mat(programme=(StepPlan(21_000, days=3), StepPlan(20_000, days=10)))
    assert told == [
        'mat north: step 2: until = 10 days: the last step stays: "by hand"'
    ]


def test_every_step_has_its_own_place():
    told = _of_mat(programme=(StepPlan(4_000), StepPlan(20_000, 3_000)))
    assert [line.split(" = ")[0] for line in told] == [
        "mat north: step 1: setpoint",
        "mat north: step 2: night_setpoint",
    ]


@pytest.mark.parametrize("trays", [(), (replace(TRAY, probes=()),)])
def test_a_mat_with_a_relay_needs_a_root_zone_probe(trays):
    assert _of_mat(trays=trays) == [f"mat north: probes = none: {HEAT_ASK}"]
    assert _of_mat(trays=trays, relay=None) == []


def test_a_watched_mat_may_have_slow_probes():
    slow = replace(PROBE, every_ms=3_600_000, stale_after_ms=9_000_000)
    tray = replace(TRAY, probes=(slow,))
    assert _of_mat(trays=(tray,), relay=None) == []
    assert _of_mat(trays=(tray,)) == [
        "probe P1: stale_after = 150 min: at most 30 min where a mat heats"
    ]


def test_a_surface_probe_guards_as_quickly_as_one_in_a_tray():
    slow = ProbePlan(name="S1", stale_after_ms=3_600_000)
    assert _of_mat(surface=(slow,)) == [
        "probe S1: stale_after = 1 h: at most 30 min where a mat heats"
    ]


WAYS = "coolest, mean, median, warmest"


@pytest.mark.parametrize(
    ("tray", "found"), [("N2", "N2"), ("bare", "bare"), (None, "no tray")]
)
def test_a_driving_tray_stands_on_the_mat_and_has_a_probe(tray, found):
    trays = (TRAY, TrayPlan(name="bare"))
    assert _of_mat(trays=trays, driven_by=DrivenBy.TRAY, driving_tray=tray) == [
        f"mat north: driven_by = {found}: a tray on this mat with a temperature probe "
        f"in it, or {WAYS}"
    ]


def test_a_driving_tray_with_a_probe_is_taken():
    assert _of_mat(driven_by=DrivenBy.TRAY, driving_tray="N1") == []


def test_a_way_of_driving_has_no_driving_tray():
    assert _of_mat(driving_tray="N1") == [
        "mat north: driven_by = median: no tray of its own, but N1 is given"
    ]


def test_only_thermometers_stand_where_temperatures_are_kept():
    damp = replace(PROBE, quantity=Quantity.HUMIDITY)
    line = (
        "probe P1: quantity = humidity: a probe that guards a tray, mat or room "
        "measures temperature"
    )
    spare = replace(TRAY, probes=(ProbePlan(name="P2"),))
    mat = replace(MAT, trays=(spare,))
    plan = replace(PLAN, mats=(mat,))
    assert _of_probe(quantity=Quantity.HUMIDITY) == [line]
    assert _told(replace(plan, room=(damp,))) == [line]
    assert _told(replace(plan, mats=(replace(mat, surface=(damp,)),))) == [line]
    off = TrayPlan(name="sill", probes=(damp,))
    assert _told(replace(plan, trays=(off,))) == [line]
    assert _told(replace(plan, witnesses=(damp,))) == []


def test_trays_off_the_mats_and_witnesses_keep_the_rules_too():
    plan = replace(
        PLAN,
        trays=(TrayPlan(name="sill", depth_mm=1),),
        witnesses=(ProbePlan(name="W", quantity=Quantity.LIGHT, every_ms=1),),
    )
    assert [line.split(" = ")[0] for line in _told(plan)] == [
        "tray sill: depth",
        "probe W: every",
    ]


def test_all_broken_rules_are_found_at_once():
    mat = replace(MAT, power_mw=0, min_on_ms=-1, cutout_mc=50_000, warn_mc=60_000)
    plan = replace(PLAN, bench="?", scan_ms=0, mats=(mat,))
    assert [problem.where for problem in problems(plan)] == [
        "[bench] name",
        "[bench] scan",
        "mat north: power",
        "mat north: min_on",
        "mat north: cutout",
        "mat north: warn",
    ]
