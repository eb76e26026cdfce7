"""Does one arm beat another? The rule, fixed before anything is seen.

One p decides, of the test that the plan chose. "No conclusion" is an answer like any
other. Where one arm stood warmer, its lead must also stand in thermal time, above
the base and above bases on both sides of it, since no base is known exactly: so that
the warm end of a mat does not pass for a good medium. These guards only ever take a
verdict back. What may live here: the rule. How often it errs is counted by
`./dev false-verdicts`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from controller.trials.exact import boschloo, smallest_boschloo
from controller.trials.observed import (
    Observed,
    arms_of,
    bases_of,
    by_shares,
    by_times,
    mean_temp_c,
    of_arms,
)
from controller.trials.permutation import Randomised, Unit, by_randomisation

ALPHA = 0.05
"""Chosen, as is usual: at this p, and below, a difference is said to be one."""

APART_K = 0.3
"""Chosen: arms whose units differ more in mean temperature did not stand alike."""

BASE_OFF_K = 2.0
"""Chosen: so far off a crop's base may well be (facts of one crop differ by more)."""


class Chosen(StrEnum):
    """The test that a plan chooses, before anything is seen."""

    BOSCHLOO = "boschloo"
    SHARES = "permutation-shares"
    TIMES = "permutation-times"


class Answer(StrEnum):
    """What can be said of two arms."""

    BEATS = "beats"
    NO_CONCLUSION = "no-conclusion"
    CANNOT = "cannot-answer"


class Reason(StrEnum):
    """Why it can be said, or cannot."""

    ONE_UNIT = "one-unit"
    SMALLEST_P = "smallest-p"
    P_LARGE = "p-large"
    P_SMALL = "p-small"
    WARMER_UNTOLD = "warmer-untold"
    WARMER_EXPLAINS = "warmer-explains"
    BASE_MATTERS = "base-matters"


@dataclass(frozen=True, slots=True)
class Pair:
    """What is said of two arms.

    Attributes:
        arms: The two, in the order of the plan.
        answer: What can be said.
        better: The better one; empty without a conclusion.
        reason: Why.
        p: Of the chosen test, made larger where several pairs are tested.
        test: The chosen test: as it came out, what it can give at all.
        shares: Of the shares, by the chosen test or by randomisation.
        calendar: Of the times in days, by randomisation.
        thermal: Of the times in K·h, by base, by randomisation; empty: not known.
        warmer_k: By how much the first was warmer [K]; None: not known.
    """

    arms: tuple[str, str]
    answer: Answer
    better: str
    reason: Reason
    p: float
    test: Randomised
    shares: Randomised
    calendar: Randomised
    thermal: dict[float, Randomised]
    warmer_k: float | None


@dataclass(frozen=True, slots=True)
class Rule:
    """How verdicts come about.

    Attributes:
        chosen: The test that decides.
        base_c: The crop's base [°C]; None: thermal time is not known.
        by: Shares are counted up to then [days].
        alpha: The p at which a difference is said to be one.
        seed: Where labellings must be drawn.
    """

    chosen: Chosen = Chosen.TIMES
    base_c: float | None = None
    by: float = math.inf
    alpha: float = ALPHA
    seed: int = 0


@dataclass(frozen=True, slots=True)
class _Tests:
    arms: tuple[str, str]
    shares: Randomised
    calendar: Randomised
    thermal: dict[float, Randomised]
    leads: dict[str, float]
    warmer_k: float | None
    least_units: int


def verdicts(units: Sequence[Observed], rule: Rule) -> list[Pair]:
    """Return what can be said of each two arms.

    Args:
        units: The units of a trial; arms in the order of the plan.
        rule: How.

    Raises:
        ValueError: The chosen test is for single cuttings, and a unit has more.
    """
    if rule.chosen is Chosen.BOSCHLOO and any(unit.n != 1 for unit in units):
        raise ValueError(
            "Boschloo's test takes every cutting for itself, and here some share a"
            " pot or tray: take a test by the trial's own randomisation"
        )
    tested = [
        _tests(of_arms(units, *pair), pair, rule)
        for pair in combinations(arms_of(units), 2)
    ]
    ps = _holm([_primary(one, rule).p for one in tested])
    return [_pair(one, p, rule) for one, p in zip(tested, ps, strict=True)]


def _tests(units: Sequence[Observed], arms: tuple[str, str], rule: Rule) -> _Tests:
    bases = bases_of(units) if rule.base_c is not None else []
    values = {"shares": by_shares(units, rule.by), "calendar": by_times(units)}
    values |= {str(base): by_times(units, base) for base in bases}
    shares = _single(units, arms, rule) or by_randomisation(values["shares"], rule.seed)
    temps = [mean_temp_c(of_arms(units, arm)) for arm in arms]
    first, second = temps
    return _Tests(
        arms,
        shares,
        by_randomisation(values["calendar"], rule.seed),
        {base: by_randomisation(values[str(base)], rule.seed) for base in bases},
        {name: _lead(own, arms[0]) for name, own in values.items()},
        None if first is None or second is None else first - second,
        min(len(of_arms(units, arm)) for arm in arms),
    )


def _single(
    units: Sequence[Observed], arms: tuple[str, str], rule: Rule
) -> Randomised | None:
    """Return Boschloo's test if it was chosen."""
    if rule.chosen is not Chosen.BOSCHLOO:
        return None
    (x, n), (y, m) = (
        (sum(unit.rooted(rule.by) for unit in own), len(own))
        for own in (of_arms(units, arm) for arm in arms)
    )
    return Randomised(boschloo(x, n, y, m), smallest_boschloo(n, m), 0, exact=True)


def _lead(units: Sequence[Unit], arm: str) -> float:
    """Return by how much the units of an arm lie above the others'."""
    own = [unit.value for unit in units if unit.arm == arm]
    others = [unit.value for unit in units if unit.arm != arm]
    return sum(own) / len(own) - sum(others) / len(others)


def _primary(tests: _Tests, rule: Rule) -> Randomised:
    """Return the test that decides: times in thermal time wherever that is known."""
    if rule.chosen is not Chosen.TIMES:
        return tests.shares
    if rule.base_c is not None and rule.base_c in tests.thermal:
        return tests.thermal[rule.base_c]
    return tests.calendar


def _holm(ps: Sequence[float]) -> list[float]:
    """Return p of several tests, so that any error at all stays as rare (Holm 1979)."""
    order = sorted(range(len(ps)), key=lambda n: ps[n])
    found, most = [0.0] * len(ps), 0.0
    for rank, n in enumerate(order):
        most = max(most, min(1.0, ps[n] * (len(ps) - rank)))
        found[n] = most
    return found


def _pair(tests: _Tests, p: float, rule: Rule) -> Pair:
    answer, reason = _judged(tests, p, rule)
    name = "shares"
    if rule.chosen is Chosen.TIMES:
        known = rule.base_c is not None and rule.base_c in tests.thermal
        name = str(rule.base_c) if known else "calendar"
    better = ""
    if answer is Answer.BEATS:
        better = tests.arms[0] if tests.leads[name] > 0 else tests.arms[1]
    return Pair(
        tests.arms,
        answer,
        better,
        reason,
        p,
        _primary(tests, rule),
        tests.shares,
        tests.calendar,
        tests.thermal,
        tests.warmer_k,
    )


def _judged(tests: _Tests, p: float, rule: Rule) -> tuple[Answer, Reason]:
    if tests.least_units < 2:  # noqa: PLR2004
        return Answer.CANNOT, Reason.ONE_UNIT
    if _primary(tests, rule).smallest > rule.alpha:
        return Answer.CANNOT, Reason.SMALLEST_P
    if p > rule.alpha:
        return Answer.NO_CONCLUSION, Reason.P_LARGE
    doubt = _doubt(tests, rule)
    if doubt is not None:
        return Answer.NO_CONCLUSION, doubt
    return Answer.BEATS, Reason.P_SMALL


def _doubt(tests: _Tests, rule: Rule) -> Reason | None:
    """Return what speaks against a small p: that warmth may be behind it."""
    warmer_k = tests.warmer_k
    if warmer_k is None or abs(warmer_k) <= APART_K:
        return None
    if rule.base_c is None or rule.base_c not in tests.thermal:
        return Reason.WARMER_UNTOLD
    names = ["shares" if rule.chosen is not Chosen.TIMES else str(rule.base_c)]
    names += map(str, tests.thermal)
    same = len({tests.leads[name] > 0 for name in names}) == 1
    if tests.thermal[rule.base_c].p > rule.alpha:
        return Reason.WARMER_EXPLAINS
    if not same or any(one.p > rule.alpha for one in tests.thermal.values()):
        return Reason.BASE_MATTERS
    return None
