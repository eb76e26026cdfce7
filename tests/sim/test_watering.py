"""When trays are watered, and what then stands in a world's list."""

from dataclasses import replace

import pytest

from sim.watering import Watered, Watering, Waterings, moments, read
from sim.world import World, WorldOptions, full_world
from tests.sim.lean_to import BOTH_OFF, BOTH_ON, DAY, HOUR, MINUTE, PLAN, a_world


def minutes_of(watering, *, start_minute=540, days=9):
    made, found = Waterings([watering], ["a"], start_minute), []
    while made.next_minute < days * 1440:
        minute = made.next_minute
        found += [minute for _ in made.due(minute)]
    return found


def test_it_comes_every_so_many_days_at_its_hour_from_its_first_day():
    daily = Watering(mm=6, temp_c=12, at_minute=600)
    assert minutes_of(daily, days=3) == [60, 1500, 2940]
    third = Watering(mm=6, temp_c=12, at_minute=600, every_days=3, first_day=1)
    assert minutes_of(third) == [1500, 1500 + 4320, 1500 + 8640]


def test_an_hour_that_was_over_at_the_beginning_waits_for_its_next_day():
    early = Watering(mm=6, temp_c=12, at_minute=480, every_days=2)
    assert minutes_of(early, days=5) == [1440 * 2 - 60, 1440 * 4 - 60]


def test_it_may_come_at_the_very_beginning():
    now = Watering(mm=6, temp_c=12, at_minute=540)
    assert minutes_of(now, days=2)[0] == 0


def test_a_world_lists_what_was_done_to_which_tray():
    schedule = (
        Watering(mm=4, temp_c=11, at_minute=600, every_days=2),
        Watering(mm=1, temp_c=30, at_minute=600, trays=("S1",)),
    )
    world = a_world(waterings=schedule)
    world.advance(2 * DAY + 2 * HOUR, BOTH_OFF)
    done = [(w.at_ms, w.tray, w.mm, w.temp_c) for w in world.watered]
    at = [HOUR, HOUR + DAY, HOUR + 2 * DAY]
    every = [(at[0], name, 4, 11) for name in ("N1", "N2", "N3", "S1", "S2")]
    assert done[:6] == [*every, (at[0], "S1", 1, 30)]
    assert done[6:7] == [(at[1], "S1", 1, 30)]
    assert len(done) == 13
    assert done[-1] == (at[2], "S1", 1, 30)


def test_a_schedule_says_its_moments_beforehand():
    schedule = (
        Watering(mm=4, temp_c=11, at_minute=600, every_days=2),
        Watering(mm=1, temp_c=30, at_minute=480),
    )
    found = moments(schedule, 3 * 1440, 540)
    assert [minute for minute, _ in found] == [60, 1380, 2820, 2940, 4260]
    assert [watering.mm for _, watering in found] == [4, 1, 1, 4, 1]
    world = a_world(waterings=schedule)
    world.advance(3 * DAY - MINUTE, BOTH_OFF)
    assert {w.at_ms // MINUTE for w in world.watered} == {m for m, _ in found}


def test_what_somebody_pours_by_hand_is_listed_too():
    world = a_world()
    world.advance(HOUR, BOTH_OFF)
    out_c = world.pour("N1", 6.0, 12.0)
    assert world.watered == [Watered(HOUR, "N1", 6.0, 12.0, 0.0, out_c)]


@pytest.mark.parametrize(
    ("options", "within_k"),
    [(WorldOptions(unmeasured_w=1), 1e-9), (full_world(waterings=()), 0.02)],
    ids=["linear", "full"],
)
def test_all_trays_at_once_are_watered_as_by_hand_in_any_order(options, within_k):
    """By hand media are taken up anew in between, in the full world."""
    early = Watering(mm=6, temp_c=12, at_minute=483)
    scheduled = World(PLAN, replace(options, waterings=(early,)))
    by_hand = World(PLAN, options)
    at_ms = 23 * HOUR + 3 * MINUTE
    for world in (scheduled, by_hand):
        world.advance(at_ms, BOTH_ON)
    for tray in ("S2", "N1", "S1", "N3", "N2"):
        by_hand.pour(tray, 6.0, 12.0)
    for world in (scheduled, by_hand):
        world.advance(30 * HOUR, BOTH_ON)
    same = {watered.tray: watered for watered in by_hand.watered}
    assert len(scheduled.watered) == len(same) == 5
    for watered in scheduled.watered:
        tray, other = watered.tray, same[watered.tray]
        assert watered.at_ms == other.at_ms == at_ms
        assert 0.5 < watered.kept_mm == pytest.approx(other.kept_mm, abs=1e-9)
        assert watered.out_c == pytest.approx(other.out_c, abs=within_k)
        assert scheduled.truth(tray) == pytest.approx(by_hand.truth(tray), abs=within_k)


def test_a_medium_keeps_what_it_lacks_and_the_rest_runs_out():
    options = full_world(
        waterings=(Watering(mm=6, temp_c=12),), unmeasured_w=0, sun_w_m2=0
    )
    world = a_world(**{n: getattr(options, n) for n in WorldOptions.__slots__})
    world.advance(23 * HOUR - MINUTE, BOTH_OFF)
    lacking = world.gone_mm("N1")
    world.advance(23 * HOUR, BOTH_OFF)
    first = world.watered[0]
    assert 0.3 < lacking < 6
    assert first.kept_mm == pytest.approx(lacking, rel=0.01)
    assert world.gone_mm("N1") == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("every 3 days 08:00 6 mm 12 °C", Watering(6, 12, 480, 3)),
        ("every day 7:30 4.5mm 15.5C", Watering(4.5, 15.5, 450, 1)),
        (
            " N1, N 2:  every 2 days 18:05 1 mm 20 °C ",
            Watering(1, 20, 1085, 2, trays=("N1", "N 2")),
        ),
    ],
)
def test_a_schedule_is_read_as_a_person_writes_it(text, expected):
    assert read(text) == expected


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "must be such as"),
        ("daily 6 mm", "must be such as"),
        ("every 3 days 8 6 mm 12 °C", "must be such as"),
        ("every 3 days 25:00 6 mm 12 °C", "time of the day"),
        ("every 3 days 12:60 6 mm 12 °C", "time of the day"),
        ("every 0 days 08:00 6 mm 12 °C", "every 0 days: must be at least 1"),
        ("every day 08:00 0 mm 12 °C", "0 mm: must be above 0"),
        ("every day 08:00 500 mm 12 °C", "500 mm: must be above 0, at most 100"),
        ("every day 08:00 5 mm 90 °C", "90 °C: must be from 0 to 60"),
    ],
)
def test_what_cannot_be_read_is_refused_with_what_would_be_right(text, says):
    with pytest.raises(ValueError, match=says):
        read(text)


@pytest.mark.parametrize(
    ("wrong", "says"), [({"at_minute": 1440}, "1439"), ({"first_day": -1}, "day -1")]
)
def test_a_watering_out_of_time_is_refused(wrong, says):
    with pytest.raises(ValueError, match=says):
        Watering(mm=5, temp_c=12, **wrong)


def test_a_tray_that_is_not_there_cannot_be_watered():
    with pytest.raises(ValueError, match="N9"):
        a_world(waterings=(Watering(mm=5, temp_c=12, trays=("N9",)),))
