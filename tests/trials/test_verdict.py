"""Verdicts: what is said of arms, and that warmth does not pass for a good medium."""

import math
from dataclasses import replace

import pytest

from controller.trials.censored import Seen
from controller.trials.comparison import compared, faster
from controller.trials.observed import Observed, mean_temp_c
from controller.trials.shuffling import Shuffler
from controller.trials.simulated import Spot, Truth, grown
from controller.trials.verdict import (
    BASE_OFF_K,
    Answer,
    Chosen,
    Reason,
    Rule,
    verdicts,
)

INF = math.inf
BASE_C = 10.0
BASES = (BASE_C, BASE_C - BASE_OFF_K, BASE_C + BASE_OFF_K)


def tray(name, arm, by_day, temp_c=None, block="", n=12, bases=BASES):
    """Return a tray of which so many rooted by day 7, 14, 21, cumulatively."""
    seen, before, last = [], 0, 0.0
    for day, count in zip((7.0, 14.0, 21.0), by_day, strict=False):
        if count > before:
            seen.append(Seen(last, day, count - before))
        before, last = count, day
    if n > before:
        seen.append(Seen(last, INF, n - before))
    warm = {}
    if temp_c is not None:
        for base in bases:
            a_day = 24 * (temp_c - base)
            warm[base] = tuple(
                Seen(one.left * a_day, one.right * a_day, one.count) for one in seen
            )
    return Observed(name, arm, block, tuple(seen), warm, temp_c)


QUICK, SLOW = (2, 9, 12), (0, 3, 9)


def arms(first, second, count=4, temps=(20.0, 20.0)):
    return [
        tray(f"{arm}{n}", arm, by_day, temp)
        for arm, by_day, temp in (("A", first, temps[0]), ("B", second, temps[1]))
        for n in range(count)
    ]


def test_a_clear_lead_beats():
    (pair,) = verdicts(arms(QUICK, SLOW), Rule(base_c=BASE_C))
    assert (pair.answer, pair.better, pair.reason) == (
        Answer.BEATS,
        "A",
        Reason.P_SMALL,
    )
    assert pair.p == pytest.approx(2 / 70)
    assert pair.thermal.keys() == set(BASES)
    assert pair.warmer_k == 0


def test_the_better_one_is_found_whichever_comes_first():
    (pair,) = verdicts(arms(SLOW, QUICK), Rule())
    assert (pair.answer, pair.better) == (Answer.BEATS, "B")


def test_no_difference_is_no_conclusion():
    (pair,) = verdicts(arms(QUICK, QUICK), Rule(base_c=BASE_C))
    assert (pair.answer, pair.reason) == (Answer.NO_CONCLUSION, Reason.P_LARGE)
    assert pair.better == ""


def test_two_containers_tell_nothing_whatever_came_of_them():
    units = [tray("1", "A", (40, 40, 40), n=40), tray("2", "B", (0, 0, 0), n=40)]
    (pair,) = verdicts(units, Rule())
    assert (pair.answer, pair.reason) == (Answer.CANNOT, Reason.ONE_UNIT)


def test_three_trays_an_arm_cannot_reach_a_small_p():
    (pair,) = verdicts(arms((12, 12, 12), (0, 0, 0), 3), Rule())
    assert (pair.answer, pair.reason) == (Answer.CANNOT, Reason.SMALLEST_P)
    assert pair.test.smallest == pytest.approx(0.1)


def test_a_lead_that_is_warmth_is_no_lead():
    """B stood 2 K warmer; in thermal time both are alike."""
    alike = Truth(18 * 264, base_c=BASE_C, every_days=3, until_days=36)
    spots = [Spot(f"{n}", "AB"[n // 4], "", 24, 20.0 + 2 * (n // 4)) for n in range(8)]
    seen = [
        verdicts(grown(spots, alike, Shuffler(n), BASES), Rule(base_c=BASE_C))[0]
        for n in range(12)
    ]
    assert sum(pair.calendar.p <= 0.05 for pair in seen) >= 6
    assert all(pair.answer is Answer.NO_CONCLUSION for pair in seen)


def test_a_lead_beyond_warmth_is_one():
    better = Truth(
        18 * 264, base_c=BASE_C, faster=(("A", 1.8),), every_days=3, until_days=36
    )
    spots = [Spot(f"{n}", "AB"[n // 4], "", 24, 20.0 + 2 * (n // 4)) for n in range(8)]
    (pair,) = verdicts(grown(spots, better, Shuffler(3), BASES), Rule(base_c=BASE_C))
    assert (pair.answer, pair.better) == (Answer.BEATS, "A")
    assert pair.warmer_k == pytest.approx(-2)


def test_a_lead_of_the_warmer_one_without_thermal_time_is_no_conclusion():
    units = arms(QUICK, SLOW, temps=(22.0, 20.0))
    (pair,) = verdicts(units, Rule())
    assert (pair.answer, pair.reason) == (Answer.NO_CONCLUSION, Reason.WARMER_UNTOLD)
    (pair,) = verdicts([replace(one, mean_c=None) for one in units], Rule())
    assert pair.answer is Answer.BEATS  # nobody knows of any warmth


def test_shares_of_the_warmer_one_must_stand_in_thermal_time():
    units = arms((0, 9, 12), (0, 0, 9), temps=(24.0, 20.0))
    rule = Rule(Chosen.SHARES, BASE_C, by=14.0)
    (pair,) = verdicts(units, rule)
    assert pair.shares.p == pytest.approx(2 / 70)
    assert (pair.answer, pair.reason) == (Answer.NO_CONCLUSION, Reason.WARMER_EXPLAINS)


def test_a_lead_that_hangs_on_the_base_is_no_conclusion():
    units = arms((0, 6, 12), (0, 3, 12), temps=(20.0, 21.5))
    one = verdicts(units, Rule(base_c=BASE_C))[0]
    assert one.answer is Answer.BEATS
    # Above a base 2 K higher the colder arm is far behind; told beforehand as such.
    far = [
        replace(
            unit,
            warm={
                **unit.warm,
                BASE_C + 2: tuple(Seen(0.0, 100.0, one.count) for one in unit.seen),
            },
        )
        for unit in units
    ]
    (pair,) = verdicts(far, Rule(base_c=BASE_C))
    assert (pair.answer, pair.reason) == (Answer.NO_CONCLUSION, Reason.BASE_MATTERS)


def single(arm, count, rooted):
    return [tray(f"{arm}{n}", arm, (0, int(n < rooted)), n=1) for n in range(count)]


def test_boschloo_decides_on_single_cuttings():
    units = single("A", 20, 12) + single("B", 20, 18)
    (pair,) = verdicts(units, Rule(Chosen.BOSCHLOO))
    assert pair.p == pytest.approx(0.0386, abs=6e-5)  # by scipy
    assert (pair.answer, pair.better) == (Answer.BEATS, "B")


def test_boschloo_is_refused_where_cuttings_share_a_tray():
    with pytest.raises(ValueError, match="takes every cutting for itself"):
        verdicts(arms(QUICK, SLOW), Rule(Chosen.BOSCHLOO))


def test_of_three_arms_pairs_are_held_together():
    """Holm: the smallest p of three times three, at most one."""
    units = [
        tray(f"{arm}{n}", arm, by_day)
        for arm, by_day in (("A", QUICK), ("B", SLOW), ("C", SLOW))
        for n in range(6)
    ]
    found = {pair.arms: pair for pair in verdicts(units, Rule())}
    raw = 2 / math.comb(12, 6)
    assert found["A", "B"].p == pytest.approx(3 * raw)
    assert found["A", "B"].answer is Answer.BEATS
    assert found["B", "C"].p == 1


# ------------------------------------------------------------------ put together


def test_a_comparison_of_trays_takes_trays_for_units():
    found = compared(arms((2, 6, 9), (1, 4, 5)), Rule())
    first, second = found.arms
    assert (first.n, first.rooted, first.units) == (48, 36, 4)
    assert first.wilson is None
    assert found.trays is not None
    assert first.share == pytest.approx(0.75)
    (pair,) = found.pairs
    assert pair.interval.low < pair.difference < pair.interval.high
    assert pair.believed is None
    assert second.calendar.not_yet(21)[0] == pytest.approx(7 / 12)


def test_a_comparison_of_single_pots_tells_both_intervals_and_what_is_believed():
    found = compared(single("A", 10, 9) + single("B", 10, 6), Rule(Chosen.BOSCHLOO))
    (pair,) = found.pairs
    assert pair.chance == pytest.approx(0.925697, abs=5e-7)
    first = found.arms[0]
    assert first.wilson is not None
    assert first.exact is not None
    assert first.exact.low < first.wilson.low < 0.9
    assert found.trays is None


def test_speed_is_told_in_days_and_in_thermal_time():
    """Twice as fast needs half the time: 2 where the truth is 2, both ways."""
    truth = Truth(18 * 240, base_c=BASE_C, faster=(("A", 2.0),), until_days=63)
    spots = [Spot(f"{n}", "AB"[n % 2], "", 40, 20.0) for n in range(8)]
    units = grown(spots, truth, Shuffler(5), BASES)
    for base in (None, BASE_C):
        found = faster(units, ("A", "B"), base)
        assert found.factor == pytest.approx(2.0, rel=0.12)
        assert found.interval is not None
        assert found.interval.low < found.factor < found.interval.high
        back = faster(units, ("B", "A"), base)
        assert back.factor == pytest.approx(1 / found.factor)


def test_warmth_and_arm_that_never_part_cannot_be_told_apart():
    found = compared(arms(QUICK, SLOW, temps=(22.0, 20.0)), Rule(base_c=BASE_C))
    level = found.pairs[0].level
    assert level is not None
    assert level.factor is None
    assert "cannot be told apart" in level.why


@pytest.mark.parametrize("by_day", [(0, 0, 0), (12, 12, 12)])
def test_none_and_all_are_compared_without_a_speed(by_day):
    found = compared(arms(by_day, by_day), Rule(base_c=BASE_C))
    (pair,) = found.pairs
    assert pair.pair.answer is Answer.NO_CONCLUSION
    assert pair.calendar.factor is None
    assert pair.calendar.why


def test_unequal_arms_and_one_of_a_single_unit():
    units = arms(QUICK, SLOW)[:5]
    found = compared(units, Rule())
    assert found.pairs[0].pair.reason is Reason.ONE_UNIT
    units = arms(QUICK, SLOW, 6)[:-2]
    assert compared(units, Rule()).pairs[0].pair.answer is Answer.BEATS


def test_a_comparison_needs_two_arms():
    with pytest.raises(ValueError, match="two at least"):
        compared(arms(QUICK, SLOW)[:4], Rule())


def test_mean_warmth_is_not_known_of_all_if_not_of_one():
    units = arms(QUICK, SLOW)
    assert mean_temp_c(units) == pytest.approx(20)
    assert mean_temp_c([*units, replace(units[0], mean_c=None)]) is None
    assert mean_temp_c([]) is None
