"""A comparison of arms in words: shares, times, tests side by side, and the verdict.

What may live here: text.
"""

import math
from collections.abc import Iterator
from dataclasses import asdict
from textwrap import wrap

from controller.cli.output import table
from controller.cli.trial_indices import arm_indices
from controller.cli.trial_seen import Found
from controller.records.evidence import HELD_IF_NOT, HELD_IF_ROOTED
from controller.trials.censored import Estimate
from controller.trials.comparison import Arm, Between, Comparison, Faster
from controller.trials.observed import arms_of, of_arms
from controller.trials.proportions import Interval
from controller.trials.verdict import (
    APART_K,
    BASE_OFF_K,
    Answer,
    Chosen,
    Pair,
    Reason,
    Rule,
)

_WIDTH = 88


def in_words(
    found: Comparison,
    own: Found,
    rule: Rule,
    names: tuple[str, str],
    *,
    indices: bool,
) -> Iterator[str]:
    """Yield a comparison, line by line.

    Args:
        found: The comparison.
        own: The units, and what should be known beside them.
        rule: How verdicts came about.
        names: What the trial is called, and its end-point.
        indices: Whether to tell germination indices, too.
    """
    title, end_point = names
    yield title
    yield ""
    yield table(*_arm_rows(found, end_point))
    yield from _shares_words(found, rule)
    for one in found.pairs:
        yield ""
        yield from _pair_words(one, rule)
    if own.tugs:
        yield ""
        yield from _tug_words(own)
    if indices:
        yield ""
        yield table(*_index_rows(own))
    for note in own.notes:
        yield from _wrapped(note)
    for one in found.pairs:
        yield ""
        yield from _wrapped(verdict_text(one, rule))


def _wrapped(text: str) -> Iterator[str]:
    """Yield lines that are not too long; further ones stand further in."""
    depth = len(text) - len(text.lstrip())
    inwards = " " * (depth + 2) if depth else ""
    yield from wrap(text, _WIDTH, subsequent_indent=inwards, break_on_hyphens=False)


# ------------------------------------------------------------------------ arm by arm


def _arm_rows(found: Comparison, end_point: str) -> tuple[list[str], list[list[str]]]:
    head = ["", "units", "cuttings", end_point, "share", "95 %", "half by day"]
    warm = any(arm.thermal is not None for arm in found.arms)
    known = any(arm.mean_c is not None for arm in found.arms)
    head += ["half by K·h"] * warm + ["mean"] * known
    return head, [_arm_row(arm, warm=warm, known=known) for arm in found.arms]


def _arm_row(arm: Arm, *, warm: bool, known: bool) -> list[str]:
    row = [
        arm.name,
        f"{arm.units}",
        f"{arm.n}",
        f"{arm.rooted}",
        f"{100 * arm.share:.0f} %",
        _percents(arm.interval),
        _half(arm.calendar),
    ]
    row += [_half(arm.thermal)] * warm
    row += ["-" if arm.mean_c is None else f"{arm.mean_c:.2f} °C"] * known
    return row


def _percents(interval: Interval) -> str:
    return f"{100 * interval.low:.0f} to {100 * interval.high:.0f} %"


def _half(estimate: Estimate | None) -> str:
    when = None if estimate is None else estimate.by_when(0.5)
    return "-" if when is None else f"{when[0]:.4g} to {when[1]:.4g}"


def _shares_words(found: Comparison, rule: Rule) -> Iterator[str]:
    by = "" if math.isinf(rule.by) else f" by day {rule.by:g}"
    if found.trays is None:
        yield f"Shares{by}, every cutting for itself: intervals of Wilson. Exact ones:"
        exacts = [
            f"{arm.name} {_percents(arm.exact)}" for arm in found.arms if arm.exact
        ]
        yield f"{', '.join(exacts)}."
        return
    yield from _wrapped(
        f"Shares{by} by units, beta-binomial: two cuttings of one unit are correlated"
        f" by {found.trays.rho:.2g}."
    )
    spread = found.spread
    if spread.factor is not None and spread.p is not None:
        yield from _wrapped(
            f"Units of an arm differ {spread.factor:.1f} times as much as chance alone"
            f" would make them (p {_p(spread.p)})."
        )


def _p(p: float) -> str:
    return f"{p:.2g}" if p >= 0.0001 else "< 0.0001"  # noqa: PLR2004


# -------------------------------------------------------------------------- in pairs


def _pair_words(one: Between, rule: Rule) -> Iterator[str]:
    first, second = one.pair.arms
    yield f"{first} against {second}"
    low, high = 100 * one.interval.low, 100 * one.interval.high
    more = ""
    if one.chance is not None and one.believed is not None:
        believed = one.believed
        more = (
            f"; from flat priors {100 * believed.low:+.0f} to"
            f" {100 * believed.high:+.0f}, and {first} has the greater share with a"
            f" chance of {100 * one.chance:.0f} %"
        )
    yield from _wrapped(
        f"  Share: {100 * one.difference:+.0f} points ({low:+.0f} to"
        f" {high:+.0f}){more}."
    )
    yield from _wrapped(f"  Speed: by the calendar {_faster(one.calendar)}.")
    if one.thermal is not None:
        yield from _wrapped(f"         in thermal time {_faster(one.thermal)}.")
    if one.level is not None:
        same = _faster(one.level)
        yield from _wrapped(f"         by the calendar at the same warmth {same}.")
    yield from _test_lines(one.pair, rule)


def _faster(one: Faster) -> str:
    if one.factor is None:
        return f"not known ({one.why})"
    if one.interval is None:
        return f"{one.factor:.2f} times as fast"
    return (
        f"{one.factor:.2f} times as fast ({one.interval.low:.2f} to"
        f" {one.interval.high:.2f})"
    )


def _test_lines(pair: Pair, rule: Rule) -> Iterator[str]:
    """Yield p by p, the calendar and thermal time side by side."""
    shares = "Boschloo" if rule.chosen is Chosen.BOSCHLOO else "randomisation"
    rows = [
        ["  shares", shares, _p(pair.shares.p), _p(pair.shares.smallest)],
        ["  times, calendar", "log-rank", _p(pair.calendar.p), ""],
    ]
    for base_c, one in sorted(pair.thermal.items()):
        rows.append([f"  times, K·h over {base_c:g} °C", "log-rank", _p(one.p), ""])
    for row in rows[1:]:
        row[3] = _p(pair.calendar.smallest)
    mark = _deciding(rule, pair)
    for row in rows:
        row.append("decides" if row[0].strip() == mark else "")
    yield table(["  test", "by", "p", "smallest", ""], rows)


def _deciding(rule: Rule, pair: Pair) -> str:
    if rule.chosen is not Chosen.TIMES:
        return "shares"
    if rule.base_c is not None and rule.base_c in pair.thermal:
        return f"times, K·h over {rule.base_c:g} °C"
    return "times, calendar"


def _tug_words(own: Found) -> Iterator[str]:
    """Yield what tugs suggest: they bound nothing, and decide nothing."""
    for arm, (held, gave) in own.tugs.items():
        total = held + gave
        if total:
            share = (held / total - HELD_IF_NOT) / (HELD_IF_ROOTED - HELD_IF_NOT)
            yield from _wrapped(
                f"A tug suggests {100 * min(1.0, max(0.0, share)):.0f} % of {arm}"
                f" ({held} of {total} held; a rooted one holds nine times in ten, one"
                " without roots one time in four). It decides nothing."
            )


def _index_rows(own: Found) -> tuple[list[str], list[list[str]]]:
    arms = arms_of(own.units)
    found = {arm: arm_indices(of_arms(own.units, arm)) for arm in arms}
    columns = {arm: {} if one is None else asdict(one) for arm, one in found.items()}
    names = list(dict.fromkeys(name for one in columns.values() for name in one))
    rows = [
        [name.replace("_", " "), *(_figure(columns[arm].get(name)) for arm in arms)]
        for name in names
    ]
    return ["index", *arms], rows


def _figure(value: object) -> str:
    return f"{value:.7g}" if isinstance(value, float | int) else "-"


# ------------------------------------------------------------------------ the verdict


def verdict_text(one: Between, rule: Rule) -> str:
    """Return what is said of two arms, in a sentence or two."""
    pair = one.pair
    first, second = pair.arms
    if pair.answer is Answer.BEATS:
        other = second if pair.better == first else first
        return f"Verdict: {pair.better} beats {other} (p {_p(pair.p)}).{_holds(pair)}"
    if pair.answer is Answer.CANNOT:
        return (
            f"Verdict: this trial cannot tell {first} from {second}. {_why(pair, rule)}"
        )
    return f"Verdict: no conclusion on {first} and {second}. {_why(pair, rule)}"


def _holds(pair: Pair) -> str:
    if pair.warmer_k is None:
        return " How warm units were is not known: it may be their place."
    apart = abs(pair.warmer_k)
    if apart <= APART_K:
        return f" Both stood as warm, to within {max(0.1, apart):.1f} K."
    return f" They stood {apart:.1f} K apart, for which thermal time allows."


def _why(pair: Pair, rule: Rule) -> str:
    apart = 0.0 if pair.warmer_k is None else pair.warmer_k
    warmer = pair.arms[0] if apart > 0 else pair.arms[1]
    words = {
        Reason.ONE_UNIT: (
            "With one unit an arm, whatever wins may be the place: two containers"
            " cannot tell one from the other. Use 12 + 12 single pots, alternated."
        ),
        Reason.SMALLEST_P: (
            f"Whatever had come out, p could not have fallen below"
            f" {_p(pair.test.smallest)}: there are too few units."
        ),
        Reason.P_LARGE: (
            f"Such a difference comes about by chance alone with p {_p(pair.p)}. That"
            " does not say that there is none: see the intervals."
        ),
        Reason.WARMER_UNTOLD: (
            f"{warmer} stood {abs(apart):.1f} K warmer, and thermal time is not known:"
            " the lead may be the warmth."
        ),
        Reason.WARMER_EXPLAINS: (
            f"{warmer} stood {abs(apart):.1f} K warmer; in thermal time the difference"
            f" is one of chance (p {_p(_thermal(pair, rule))}): warmth explains it."
        ),
        Reason.BASE_MATTERS: (
            f"{warmer} stood {abs(apart):.1f} K warmer, and whether there is a"
            f" difference depends on the base: it does not stand {BASE_OFF_K:g} K"
            " higher and lower."
        ),
        Reason.P_SMALL: "",
    }
    return words[pair.reason]


def _thermal(pair: Pair, rule: Rule) -> float:
    known = pair.thermal.get(rule.base_c) if rule.base_c is not None else None
    return 1.0 if known is None else known.p
