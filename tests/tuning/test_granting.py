"""Wishes granted, ties told, and what cannot be had."""

from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from controller.core.plan import OnOff
from controller.core.units import MilliK
from sim.tuning.figures import Figures, Rooting, Season
from sim.tuning.granting import Granted, Impossible, best_of_kind, grant
from sim.tuning.wishes import WishError, YearDay, read_wish
from tests.tuning.mats import NORTH, at

MODELS = np.array([0.0, 0.02, -0.01, 0.015, -0.02, 0.01, -0.015])
SEASON = Season(datetime(2027, 2, 1, 9, tzinfo=UTC), 240.0)


def spread(values, share=1.0):
    """Figures that move together from model to model."""
    return np.add.outer(np.asarray(values, float), share * MODELS)


def figures(energy, low=None, plans=None, **more):
    count = len(energy)
    same = spread(np.full(count, 1.0))
    low = spread(np.full(count, 20.0)) if low is None else low
    plans = plans or [replace(NORTH, settle_ms=60_000 + n) for n in range(count)]
    whole = {
        "plans": tuple(plans),
        "trays": ("N1", "N2"),
        "season": SEASON,
        "energy_kwh": energy,
        "operations": spread(np.arange(count) + 100.0),
        "duty": same,
        "in_band": same,
        "band_k": 0.5,
        "deviation_k": same,
        "uneven_k": same,
        "low_c": (low, low + 0.5),
        "high_c": (low + 2, low + 3),
        "heat_k_h": (spread(np.full(count, 2400.0)), spread(np.full(count, 2640.0))),
        "margin_k": same,
        "surface_margin_k": None,
        "refused_h": same,
    }
    return Figures(**{**whole, **more})


ALL = np.ones(3, dtype=bool)


def test_the_cheapest_is_found_and_what_is_not_allowed_is_not():
    found = figures(spread([5.0, 4.0, 3.0]))
    granted = grant(read_wish("least energy"), found, ALL)
    assert isinstance(granted, Granted)
    assert (granted.chosen, granted.best, granted.meeting) == (2, 2, 3)
    granted = grant(read_wish("least energy"), found, np.array([True, True, False]))
    assert granted.chosen == 1


def test_what_moves_with_the_model_is_no_tie_and_what_does_not_is():
    apart = figures(spread([4.01, 4.0, 5.0]))
    assert grant(read_wish("least energy"), apart, ALL).tied == (1,)
    energy = np.vstack([spread([4.01], 1.0), spread([4.0], -1.0), spread([5.0])])
    tied = grant(read_wish("least energy"), figures(energy), ALL)
    assert set(tied.tied) == {0, 1}
    assert tied.best == 1


def test_of_tied_ones_the_present_way_stays():
    energy = np.vstack([spread([4.01], 1.0), spread([4.0], -1.0), spread([5.0])])
    plans = [NORTH, at(20.0), at(22.0)]
    granted = grant(read_wish("least energy"), figures(energy, plans=plans), ALL)
    assert (granted.best, granted.chosen) == (1, 0)


def test_of_tied_ones_the_one_that_changes_least_is_taken():
    energy = np.vstack([spread([9.0]), spread([4.0], -1.0), spread([4.01], 1.0)])
    on_off = replace(at(20.0, 18.0), policy=OnOff(MilliK(500)))
    found = figures(energy, plans=[NORTH, on_off, at(20.0)])
    granted = grant(read_wish("least energy"), found, ALL)
    assert (granted.best, granted.chosen, set(granted.tied)) == (1, 2, {1, 2})


def test_what_may_be_no_better_than_now_is_not_taken_where_the_best_surely_is():
    """The third changes one key only, but nobody knows whether it saves anything."""
    energy = np.vstack([spread([5.0], 0.0), spread([4.6]), spread([4.9], 20.0)])
    on_off = replace(at(20.0, 18.0), policy=OnOff(MilliK(500)))
    found = figures(energy, plans=[NORTH, on_off, at(20.0)])
    granted = grant(read_wish("least energy"), found, ALL)
    assert isinstance(granted, Granted)
    assert set(granted.tied) == {1, 2}
    assert (granted.best, granted.chosen, granted.surely) == (1, 1, True)


@pytest.mark.parametrize(("own", "much", "chosen"), [(5.0, 6.0, 1), (3.0, 4.9, 2)])
def test_what_must_hold_is_not_had_at_any_price_that_is_tied(own, much, chosen):
    """The present way is too cold. Of two that are tied the one that changes less
    is taken only if it is expected no further from the other than the present way.
    """
    energy = np.vstack([spread([own], 30.0), spread([4.0]), spread([much], 40.0)])
    low = np.vstack([spread([18.0]), spread([21.0]), spread([21.0])])
    on_off = replace(at(20.0, 18.0), policy=OnOff(MilliK(500)))
    found = figures(energy, low, plans=[NORTH, on_off, at(22.0)])
    wish = read_wish("least energy, coolest tray never below 20 °C")
    granted = grant(wish, found, ALL)
    assert isinstance(granted, Granted)
    assert set(granted.tied) == {1, 2}
    assert (granted.chosen, granted.surely) == (chosen, False)


def test_a_constraint_holds_at_the_unfavourable_end_of_its_interval():
    low = np.vstack([spread([20.5]), spread([20.01]), spread([19.0])])
    found = figures(spread([5.0, 4.0, 3.0]), low)
    wish = read_wish("least energy, coolest tray never below 20 °C")
    granted = grant(wish, found, ALL)
    assert (granted.chosen, granted.meeting) == (0, 1)


def test_the_worst_tray_counts():
    found = figures(spread([5.0, 4.0, 3.0]))
    wish = read_wish("least energy, no tray above 22.5 °C")
    assert isinstance(grant(wish, found, ALL), Impossible)
    wish = read_wish("least energy, no tray above 23.2 °C")
    assert isinstance(grant(wish, found, ALL), Granted)


def test_an_impossible_wish_has_a_nearest_and_says_what_is_missed():
    low = np.vstack([spread([18.0]), spread([19.5]), spread([17.0])])
    found = figures(spread([5.0, 4.0, 3.0]), low)
    wish = read_wish("least energy, coolest tray never below 20 °C, at most 6 kWh")
    answer = grant(wish, found, ALL)
    assert isinstance(answer, Impossible)
    assert answer.nearest == 1
    below, energy = answer.shortfalls
    assert below.best_slack == pytest.approx(-0.5, abs=0.1)
    assert energy.best_slack > 0


def test_where_nothing_is_allowed_there_is_no_nearest():
    found = figures(spread([5.0, 4.0, 3.0]))
    wish = read_wish("least energy, at most 1 kWh")
    assert grant(wish, found, ~ALL) == Impossible(None, ())


def test_a_sum_by_a_day_counts_at_the_mean_rate_of_the_season():
    found = figures(spread([5.0, 4.0, 3.0]))
    # N2 gathers 11 K·h an hour: 5280 K·h take 20 days, to 21 February, 09:00.
    for day, possible in (("2027-02-21", True), ("2027-02-20", False)):
        wish = read_wish(f"least energy, N2 has 5280 K·h by {day}")
        assert isinstance(grant(wish, found, ALL), Granted) is possible


def test_a_day_without_a_year_is_the_first_one_from_the_beginning_on():
    found = figures(spread([5.0, 4.0, 3.0]))
    for day, possible in (("21 February", True), ("20 feb", False), ("1 feb", False)):
        wish = read_wish(f"N2 has 5280 K·h by {day} at least energy")
        assert isinstance(grant(wish, found, ALL), Granted) is possible
    assert SEASON.day_of(YearDay(1, 31)) == date(2028, 1, 31)
    assert SEASON.day_of(YearDay(2, 29)) == date(2028, 2, 29)


@pytest.mark.parametrize(
    ("day", "why"),
    [
        ("2027-01-31", "2027-01-31 is before the log begins, on 2027-02-01"),
        ("0001-01-01", "0001-01-01 is before the log begins"),
        ("9999-12-31", "9999-12-31 is more than ten years after the log begins"),
    ],
)
def test_a_day_that_no_log_answers_for_is_refused(day, why):
    found = figures(spread([5.0, 4.0, 3.0]))
    with pytest.raises(WishError, match=f"^N2 has 5280 K·h by {day}: {why}"):
        grant(read_wish(f"steadiest, N2 has 5280 K·h by {day}"), found, ALL)


def test_summer_time_takes_no_hour_from_what_is_gathered():
    zone = ZoneInfo("Europe/Berlin")
    season = Season(datetime(2027, 3, 27, 0, tzinfo=zone), 240.0)
    assert season.hours_to(date(2027, 3, 28)) == 47
    assert season.date_of(47.0) == datetime(2027, 3, 29, 0, tzinfo=zone)


def test_a_day_of_rooting_is_that_of_the_slowest_tray():
    heat = (spread(np.full(3, 2400.0)), spread(np.full(3, 2640.0)))
    found = figures(
        spread([5.0, 4.0, 3.0]), rooting=Rooting(4800.0, 10_000), rooting_k_h=heat
    )
    assert found.season.date_of(found.rooted_after_h(0)[0, 0]) == datetime(
        2027, 2, 21, 9, tzinfo=UTC
    )
    for day, possible in (("2027-02-21", True), ("2027-02-20", False)):
        wish = read_wish(f"rooted by {day} at least energy")
        assert isinstance(grant(wish, found, ALL), Granted) is possible


def test_what_never_comes_has_no_date():
    heat = (spread(np.zeros(3), 0.0), spread(np.full(3, 2640.0)))
    found = figures(
        spread([5.0, 4.0, 3.0]), rooting=Rooting(4800.0, 10_000), rooting_k_h=heat
    )
    assert found.season.date_of(found.rooted_after_h(0)[0, 0]) is None


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ("least energy, rooted by 2027-03-20", "^'rooted by' needs to know what stan"),
        ("least energy, X9 has 300 K·h by 2027-03-20", "^tray X9: there are N1, N2$"),
    ],
)
def test_what_is_not_there_cannot_be_wished(wish, says):
    with pytest.raises(WishError, match=says):
        grant(read_wish(wish), figures(spread([5.0, 4.0, 3.0])), ALL)


def test_each_policy_has_its_best():
    on_off = replace(NORTH, policy=OnOff(MilliK(500)))
    found = figures(spread([5.0, 4.0, 3.0]), plans=[NORTH, on_off, at(20.0)])
    wish = read_wish("least energy")
    assert best_of_kind(wish, found, ALL, "on-off") == 1
    assert best_of_kind(wish, found, ALL, "pid") == 2
    assert best_of_kind(wish, found, np.array([True, False, True]), "on-off") is None
