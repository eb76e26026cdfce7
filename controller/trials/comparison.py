"""All that a trial tells: shares, times and verdicts, by the calendar and by warmth.

What may live here: putting them together for whoever shows them.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from controller.trials import posterior
from controller.trials.censored import Estimate, Seen, turnbull
from controller.trials.dispersion import Dispersion, Together, dispersion, together
from controller.trials.observed import (
    Observed,
    arms_of,
    mean_temp_c,
    of_arms,
    seen_in,
)
from controller.trials.proportions import Interval, difference, exact, wilson
from controller.trials.special import student_quantile
from controller.trials.verdict import Pair, Rule, verdicts
from controller.trials.weibull import NoFitError, Row, fit

_About = Callable[[Observed], tuple[float, ...]]

_MOST_LEFT_OUT = 30
"""Chosen: more units than this are left out several at once."""


@dataclass(frozen=True, slots=True)
class Arm:
    """What came of one arm.

    Attributes:
        name: Its treatment.
        units: How many pots or trays.
        n: How many cuttings.
        rooted: How many were seen to reach the end-point in time.
        wilson: Of the share, every cutting for itself; None: they share units.
        exact: The same by Clopper and Pearson; None: the same.
        share: By the trays; None: every unit is one cutting.
        interval: Of that share; None: the same.
        mean_c: How warm its units were [°C]; None: not known.
        calendar: When they came [days].
        thermal: When they came [K·h]; None: not known.
    """

    name: str
    units: int
    n: int
    rooted: int
    wilson: Interval | None
    exact: Interval | None
    share: float
    interval: Interval
    mean_c: float | None
    calendar: Estimate
    thermal: Estimate | None


@dataclass(frozen=True, slots=True)
class Faster:
    """How many times faster the first arm was, by Weibull times.

    Attributes:
        factor: So many; None: there is no such fit.
        interval: Where it may lie, by leaving out units in turn; None: too few.
        why: Why there is none.
    """

    factor: float | None
    interval: Interval | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Between:
    """Two arms beside each other.

    Attributes:
        pair: What is said of them.
        difference: Share of the first less that of the second.
        interval: Where it may lie.
        believed: Its credible interval, every cutting for itself; None: they share
            units.
        chance: The chance that the first share is the greater one; None: the same.
        calendar: How many times faster the first was by the calendar.
        thermal: And in thermal time; None: not known.
        level: By the calendar, at the same mean temperature; None: not known.
    """

    pair: Pair
    difference: float
    interval: Interval
    believed: Interval | None
    chance: float | None
    calendar: Faster
    thermal: Faster | None
    level: Faster | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that a trial tells.

    Attributes:
        arms: Arm by arm.
        pairs: Each two of them.
        trays: Shares by trays, where any unit has several cuttings.
        spread: How much trays of an arm differ.
        blocks: How many blocks.
    """

    arms: list[Arm]
    pairs: list[Between]
    trays: Together | None
    spread: Dispersion
    blocks: int


def compared(units: Sequence[Observed], rule: Rule) -> Comparison:
    """Return all that a trial tells.

    Args:
        units: Its units, each with one cutting at least; arms as in the plan.
        rule: How verdicts come about.

    Raises:
        ValueError: There are fewer than two arms, or the test does not fit.
    """
    names = arms_of(units)
    if len(names) < 2:  # noqa: PLR2004
        raise ValueError(f"found the arms {names}: there must be two at least")
    single = all(unit.n == 1 for unit in units)
    counts = {
        name: [(one.rooted(rule.by), one.n) for one in of_arms(units, name)]
        for name in names
    }
    trays = None if single else together(counts)
    arms = [_arm(of_arms(units, name), rule, trays) for name in names]
    by_name = {arm.name: arm for arm in arms}
    pairs = [
        _between(of_arms(units, *one.arms), one, by_name, rule)
        for one in verdicts(units, rule)
    ]
    blocks = len({unit.block for unit in units})
    return Comparison(arms, pairs, trays, dispersion(counts), blocks)


def _arm(units: Sequence[Observed], rule: Rule, trays: Together | None) -> Arm:
    name = units[0].arm
    n, rooted = sum(one.n for one in units), sum(one.rooted(rule.by) for one in units)
    own = None if trays is None else trays.arms[name]
    return Arm(
        name,
        len(units),
        n,
        rooted,
        wilson(rooted, n) if own is None else None,
        exact(rooted, n) if own is None else None,
        rooted / n if own is None else own.share,
        wilson(rooted, n) if own is None else own.interval,
        mean_temp_c(units),
        turnbull(seen_in(units)),
        turnbull(seen_in(units, rule.base_c)) if _warm(units, rule) else None,
    )


def _warm(units: Sequence[Observed], rule: Rule) -> bool:
    return rule.base_c is not None and all(rule.base_c in one.warm for one in units)


def _between(
    units: Sequence[Observed], pair: Pair, arms: dict[str, Arm], rule: Rule
) -> Between:
    first, second = (arms[name] for name in pair.arms)
    apart = first.share - second.share
    interval = difference(first.share, first.interval, second.share, second.interval)
    believed = chance = None
    if first.wilson is not None:
        own = posterior.after(first.rooted, first.n)
        other = posterior.after(second.rooted, second.n)
        believed = posterior.difference(own, other)
        chance = posterior.chance_greater(own, other)
    return Between(
        pair,
        apart,
        interval,
        believed,
        chance,
        faster(units, pair.arms),
        faster(units, pair.arms, rule.base_c) if _warm(units, rule) else None,
        _level(units, pair),
    )


# ---------------------------------------------------------------- how much faster


def faster(
    units: Sequence[Observed], arms: tuple[str, str], base_c: float | None = None
) -> Faster:
    """Return how many times faster the first of two arms was.

    Args:
        units: Units of both.
        arms: The two.
        base_c: In thermal time above that base; None: in days.
    """
    return _faster(units, lambda unit: (float(unit.arm == arms[0]),), base_c)


def _level(units: Sequence[Observed], pair: Pair) -> Faster | None:
    """Return the same by the calendar, at the same mean temperature."""
    temps = [unit.mean_c for unit in units]
    known = [temp for temp in temps if temp is not None]
    if len(known) < len(units) or max(known) - min(known) < 0.05:  # noqa: PLR2004
        return None
    first = {unit.mean_c for unit in units if unit.arm == pair.arms[0]}
    second = {unit.mean_c for unit in units if unit.arm == pair.arms[1]}
    if _apart(first, second):
        why = "one arm was warmer throughout: warmth and arm cannot be told apart"
        return Faster(None, why=why)
    middle = sum(known) / len(known)
    return _faster(
        units,
        lambda unit: (float(unit.arm == pair.arms[0]), (unit.mean_c or 0.0) - middle),
    )


def _apart(first: set[float | None], second: set[float | None]) -> bool:
    ours = [temp for temp in first if temp is not None]
    theirs = [temp for temp in second if temp is not None]
    return max(ours) < min(theirs) or max(theirs) < min(ours)


def _faster(
    units: Sequence[Observed],
    about: _About,
    base_c: float | None = None,
) -> Faster:
    try:
        whole = _log_factor(units, about, base_c)
    except NoFitError as error:
        return Faster(None, why=str(error))
    spread = _left_out(units, about, base_c)
    if spread is None:
        return Faster(math.exp(whole))
    error_, freedom = spread
    half = student_quantile(0.975, freedom) * error_
    return Faster(
        math.exp(whole), Interval(math.exp(whole - half), math.exp(whole + half))
    )


def _log_factor(
    units: Sequence[Observed], about: _About, base_c: float | None
) -> float:
    rows: dict[tuple[float, float, tuple[float, ...]], float] = {}
    for unit in units:
        for one in unit.seen if base_c is None else unit.warm[base_c]:
            key = one.left, one.right, about(unit)
            rows[key] = rows.get(key, 0) + one.count
    told = [
        Row(Seen(left, right, count), x) for (left, right, x), count in rows.items()
    ]
    return -fit(told).coefficients[1]


def _left_out(
    units: Sequence[Observed], about: _About, base_c: float | None
) -> tuple[float, int] | None:
    """Return the error of a factor's logarithm, by leaving out parts, and freedom.

    Blocks where there are at least four, else units, are left out in turn (the
    jackknife; Efron and Tibshirani, "An Introduction to the Bootstrap", ch. 11;
    from memory). None: it cannot be told.
    """
    parts = _parts(units)
    if len(parts) < 4:  # noqa: PLR2004
        return None
    try:
        others = [
            _log_factor([one for one in units if one not in part], about, base_c)
            for part in parts
        ]
    except (NoFitError, IndexError):
        return None
    many = len(parts)
    mean = sum(others) / many
    square = (many - 1) / many * sum((other - mean) ** 2 for other in others)
    freedom = many - 1 if _blocked(units) else many - 2
    return math.sqrt(square), freedom


def _blocked(units: Sequence[Observed]) -> bool:
    return len({unit.block for unit in units}) >= 4  # noqa: PLR2004


def _parts(units: Sequence[Observed]) -> list[list[Observed]]:
    if _blocked(units):
        names = dict.fromkeys(unit.block for unit in units)
        return [[one for one in units if one.block == name] for name in names]
    arms = arms_of(units)
    ordered = [one for arm in arms for one in of_arms(units, arm)]
    many = min(len(ordered), _MOST_LEFT_OUT)
    return [ordered[n::many] for n in range(many)]
