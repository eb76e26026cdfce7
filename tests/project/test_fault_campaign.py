"""The fault campaign: which runs it makes, and what its gates let through."""

from collections import Counter, defaultdict
from dataclasses import replace
from itertools import islice

import pytest

from controller.core.plan_rules import problems
from tests.campaigns import faults as campaign
from tests.campaigns.benches import BENCHES
from tests.campaigns.healthy import SEASONS, Season, _events
from tests.campaigns.scenarios import SCENARIOS
from tests.campaigns.tables import campaign_tables, failures
from tests.campaigns.watch import HOURS_OF_DAY, Result

EVERY = tuple(range(len(BENCHES)))
FOUND = Result("mat-dead", 1.0, "seed/pid", 3, "trip", 60.0, required=True, within_s=90)


@pytest.mark.parametrize("bench", BENCHES, ids=lambda bench: bench.name)
def test_every_bench_has_a_plan_to_be_followed(bench):
    assert problems(bench.plan) == ()


def test_sixteen_rounds_meet_every_bench_and_each_time_of_day_equally_often():
    benches, hours = defaultdict(Counter), defaultdict(Counter)
    for todo in islice(campaign.tasks(EVERY, 0), 16):
        for task in todo:
            key = task.scenario, task.severity
            benches[key][task.bench] += 1
            hours[key][task.hour] += 1
    for number, scenario in enumerate(SCENARIOS):
        fitting = {n for n in EVERY if scenario.fits(BENCHES[n])}
        for severity in scenario.severities:
            met = benches[number, severity]
            assert set(met) == fitting
            if len(fitting) == len(EVERY):
                assert set(met.values()) == {1}
            assert hours[number, severity] == dict.fromkeys(HOURS_OF_DAY, 4)


def test_a_slice_has_a_bench_for_every_scenario():
    (todo,) = islice(campaign.tasks(campaign.SLICE_BENCHES, 7), 1)
    assert len(todo) == sum(len(scenario.severities) for scenario in SCENARIOS)


def test_healthy_seasons_meet_every_plan_and_both_policies():
    chosen = [BENCHES[number].name.split("/") for number in SEASONS]
    assert {plan for plan, _ in chosen} == {b.name.split("/")[0] for b in BENCHES}
    assert Counter(policy for _, policy in chosen) == {"on-off": 5, "pid": 5}


def test_a_healthy_season_has_all_the_work_of_one():
    events = Counter(event.kind.value for event in _events(BENCHES[0], 120))
    assert events["tray-watered"] > 100
    assert events["tray-lifted"] > 50
    assert 0 < events["hold"] < events["tray-lifted"]
    assert events["room-shifts"] > 20
    assert all(
        event.lasts_ms <= 30 * 60_000
        for event in _events(BENCHES[0], 120)
        if event.kind.value == "tray-lifted"
    )


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"found_s": None}, "MISSED"),
        ({"found_s": 91.0}, "MISSED"),
        ({"hottest_c": 35.1}, "TOO HOT"),
        ({"false_trips": 1}, "FALSE TRIP"),
    ],
)
def test_a_gate_that_does_not_hold_is_named(change, word):
    (line,) = failures([replace(FOUND, **change)], [])
    assert line.startswith(word)
    assert "mat-dead 1 on seed/pid at 3 h" in line


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"found_s": 90.0},
        {"found_s": None, "required": False},
        {"hottest_c": 47.0, "acts": False},
        {"hottest_c": 35.0},
    ],
)
def test_what_holds_is_let_through(change):
    assert failures([replace(FOUND, **change)], []) == []


def test_a_healthy_season_must_be_left_in_peace():
    assert failures([], [Season("seed/pid", 120.0)]) == []
    (line,) = failures([], [Season("seed/pid", 120.0, trips=1)])
    assert "HEALTHY: seed/pid: 1 trips" in line
    held = Season("seed/pid", 120.0, inhibits=Counter({"heat-not-felt": 2}))
    assert len(failures([], [held])) == 1


def test_the_table_counts_what_was_found_and_how():
    missed = replace(FOUND, found_by="", found_s=None, hottest_c=36.0)
    text = campaign_tables([FOUND, missed], [Season("seed/pid", 120.0)])
    row = next(line for line in text.splitlines() if line.startswith("mat-dead"))
    assert row.split()[5:8] == ["2", "1", "2"]
    assert "60 s / 60 s" in row
    assert "36.0 °C" in row
    assert row.endswith("trip 1")
    assert "healthy seed/pid: 120 days" in text
