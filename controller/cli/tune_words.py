"""What `tune` and `whatif` found, in words and tables.

What may live here: what a person reads of it. Every figure says that it is of a
closed loop in the fitted model.
"""

import textwrap
from collections.abc import Iterator, Mapping

from controller.cli.figure_table import ranged, side_by_side
from controller.cli.modelled import IN_THE_MODEL, Modelled
from controller.cli.tuned import (
    Scale,
    Tuned,
    apart,
    difference,
    way_text,
)
from sim.tuning.coverage import DUTY_MARGIN, MARGIN_K, coverage
from sim.tuning.figures import Figures
from sim.tuning.granting import OWN, Granted, Impossible, Shortfall
from sim.tuning.jackknifed import LEVEL
from sim.tuning.wishes import Goal, RootedBy, SumBy

WIDE = 88
SHOWN_TIES = 4
SHOWN_FRONT = 8

GOALS = {
    Goal.ENERGY: ("energy", " kWh", 2),
    Goal.OPERATIONS: ("relay operations", "", 0),
    Goal.DEVIATION: ("deviation", " K", 3),
    Goal.UNEVEN: ("trays apart", " K", 3),
}
"""Figure, unit and digits by goal."""


def in_words(found: Tuned) -> Iterator[str]:
    """Yield what a search found, for people."""
    yield from heading(found.of)
    yield from _wrapped(against_the_log(found.of, found.figures), "")
    yield from _wrapped(_tried(found), "")
    yield from _wrapped(covers(found.of, found.terms.scale), "")
    for note in found.notes:
        yield from _wrapped(f"Note: {note}", "")
    yield ""
    yield from _answer(found)
    yield ""
    ways = found.ways()
    yield from side_by_side(found.figures, ways, found.terms)
    yield from _proved(found, {index: name for name, index in ways})
    if found.wish is None:
        yield ""
        yield from _front(found)
    if found.evening:
        yield ""
        yield "To let the next log cover more:"
        for sentence in found.evening:
            yield from _wrapped(f"- {sentence}", "  ")


def beside(found: Tuned) -> Iterator[str]:
    """Yield the present way and one other beside it, for people."""
    figures, last = found.figures, len(found.figures.plans) - 1
    yield from heading(found.of)
    yield from _wrapped(against_the_log(found.of, figures), "")
    yield from _wrapped(covers(found.of, found.terms.scale), "")
    for note in found.notes:
        yield from _wrapped(f"Note: {note}", "")
    if found.search.reasons[last]:
        yield from _wrapped(
            f"BEYOND THE LOG: {found.search.reasons[last]}. Take it for a guess.", ""
        )
    yield ""
    yield from side_by_side(figures, [("as now", OWN), ("asked", last)], found.terms)
    yield from _wrapped(_against(figures, last), "")
    names = {OWN: "as now", last: "asked"}
    yield from _proved(found, names)


def heading(of: Modelled) -> Iterator[str]:
    """Yield what is spoken of, and how sure it is."""
    starts = of.season.starts
    days = of.season.hours / 24
    yield (
        f"Mat {of.own.name}, {days:.1f} days from {starts:%Y-%m-%d %H:%M}:"
        f" every figure is of a {IN_THE_MODEL}"
    )
    yield from _wrapped(sure(of), "")


def sure(of: Modelled) -> str:
    """Return how sure figures are, in words."""
    count = len(of.worlds) - 1
    rms = [fit.residuals.rms_k for fit in of.fits if fit.residuals is not None]
    steps = f"one step ahead it errs by {max(rms):.3f} K (rms) at most" if rms else ""
    if count < 2:  # noqa: PLR2004 (two make a difference)
        return (
            f"No intervals: the zones were not fitted without the same days; {steps}."
        )
    return (
        f"± is {LEVEL:.0%}, by jackknife: everything again in {count} models, each"
        f" fitted without some days and led some way to where heat that nobody measures"
        " lasts for hours, (n-1)/n of the sum of squares, Student's t. It says how sure"
        " the fit is, not how well such a model stands for a tray;"
        f" {steps}."
    )


def against_the_log(of: Modelled, figures: Figures) -> str:
    """Return what the model makes of the days that were, beside the log."""
    if not of.one_plan:
        return (
            "The mat was kept otherwise in parts of the log: as now means as in its"
            " last run, and the log's own figures cannot stand beside it."
        )
    operations = float(figures.operations[OWN, 0])
    return (
        "Kept as it was, the model has heat on for"
        f" {figures.duty[OWN, 0]:.1%} of the time (the log: {of.recorded_duty:.1%})"
        f" and {operations:.0f} relay operations (the log: {of.recorded_operations})."
    )


def covers(of: Modelled, scale: Scale) -> str:
    """Return what the log covers, in words."""
    seen = coverage(of.record, of.asked)
    kept, rooms = (
        f"{scale.shown(low_c):.1f} to {scale.shown(high_c):.1f} {scale.unit}"
        for low_c, high_c in ((seen.low_c, seen.high_c), seen.room_c)
    )
    text = (
        f"The log covers {kept} where it drives (and {MARGIN_K:g} K beyond is allowed),"
        f" heat for {seen.duty[0]:.0%} to {seen.duty[1]:.0%} of six hours (and"
        f" {DUTY_MARGIN:.0%}), rooms of {rooms}; of other rooms nothing is said."
    )
    if seen.narrow:
        text += (
            " That is one setpoint and little else: an evening's setback of 3 K would"
            " let it say more."
        )
    return text


def _tried(found: Tuned) -> str:
    reasons = dict(found.search.unrun)
    for reason in found.search.reasons:
        if reason:
            reasons[reason] = reasons.get(reason, 0) + 1
    left = sum(reasons.values())
    why = "; ".join(f"{count:,} {reason}" for reason, count in reasons.items())
    text = f"{found.tried:,} candidates (seed {found.seed})"
    return f"{text}, {left:,} of them left out: {why}." if left else f"{text}."


# ---------------------------------------------------------------------- the answer


def _answer(found: Tuned) -> Iterator[str]:
    answer, wish = found.answer, found.wish
    if wish is None:
        yield (
            'Nothing was wished, so nothing is recommended; say --wish "least energy,'
        )
        yield 'coolest tray never below 20 °C" or the like.'
        return
    yield f"Wish: {wish.text}"
    if isinstance(answer, Granted):
        yield from _granted(found, answer)
    elif isinstance(answer, Impossible):
        yield from _wrapped(_impossible(found, answer), "")


def _granted(found: Tuned, answer: Granted) -> Iterator[str]:
    figures, fahrenheit = found.figures, found.terms.fahrenheit
    best = figures.plans[answer.chosen]
    others = len(answer.tied) - 1
    if answer.chosen == OWN:
        yield from _wrapped(
            "Leave it as it is: this log tells no better way from the present one.", ""
        )
    else:
        yield from _wrapped(f"Recommended: {way_text(best, fahrenheit=fahrenheit)}", "")
        yield from _wrapped(_against(figures, answer.chosen), "  ")
    yield from _wrapped(
        f"{answer.meeting:,} candidates meet what must hold (each at the unfavourable"
        " end of its interval).",
        "  ",
    )
    if not found.wish or not found.wish.constraints:
        yield from _wrapped(
            "Nothing in the wish asks for warmth: add what must hold, such as"
            ' "coolest tray never below 20 °C".',
            "  ",
        )
    if others:
        of_these = (
            "Of those that the log tells from the present way, as it does the best,"
            if answer.surely
            else "Of those that are expected no further from it than the present way"
        )
        yield from _wrapped(
            f"Tied with the best, their difference may be none: {others} more."
            f" {of_these} the one that changes the fewest settings is recommended.",
            "  ",
        )
        tied = [n for n in answer.tied if n != answer.chosen][:SHOWN_TIES]
        for index in tied:
            way = way_text(figures.plans[index], fahrenheit=fahrenheit)
            yield f"    = {way}"


def _against(figures: Figures, index: int) -> str:
    said = []
    for goal, (name, unit, digits) in GOALS.items():
        gone = difference(figures.costs(goal), index, OWN)
        if apart(gone):
            said.append(f"{name} {ranged(gone, digits, unit, signed=True)}")
        else:
            said.append(f"{name} not told apart")
    return f"Against the present way: {', '.join(said)}."


def _impossible(found: Tuned, answer: Impossible) -> str:
    if answer.nearest is None:
        return "Impossible: no candidate lies within what the log covers."
    text = "Impossible within what the log covers and these settings."
    for short in answer.shortfalls:
        if short.best_slack < 0:
            text += f" {_shortfall(short)}"
    if all(short.best_slack >= 0 for short in answer.shortfalls):
        text += " Each could be had alone, but not all of them together."
    way = way_text(
        found.figures.plans[answer.nearest], fahrenheit=found.terms.fahrenheit
    )
    missed = ", ".join(
        f'"{short.constraint}" by {missing(short.constraint, short.nearest_slack)}'
        for short in answer.shortfalls
        if short.nearest_slack < 0
    )
    return f"{text} The nearest is {way}; it misses {missed}."


def _shortfall(short: Shortfall) -> str:
    by = missing(short.constraint, short.best_slack)
    return f'"{short.constraint}" is missed by {by} at best.'


def missing(constraint: object, slack: float) -> str:
    """Return by how much a constraint is missed, with its unit."""
    short = -slack
    match constraint:
        case RootedBy() | SumBy():
            return f"{short / 24:.1f} days"
        case _:
            unit = {
                "AtMostEnergy": "kWh",
                "AtMostOperations": "operations",
            }.get(type(constraint).__name__, "K")
            return f"{short:.3g} {unit}"


def _proved(found: Tuned, names: Mapping[int, str]) -> Iterator[str]:
    for index, proof in found.proofs.items():
        fine_kwh = float(proof.fine.on_s[0]) * _power_w(found, index) / 3.6e6
        said = (
            f"{names[index]}, again at the controller's own scan: {fine_kwh:.2f} kWh,"
            f" {proof.fine.operations[0]} relay operations; on the core itself for"
            f" {proof.days:.0f} days"
        )
        said += (
            " the very same" if proof.same else " OTHERWISE: do not trust these figures"
        )
        yield from _wrapped(f"{said}.", "")


def _power_w(found: Tuned, index: int) -> float:
    return found.figures.plans[index].power_mw / 1000


def _front(found: Tuned) -> Iterator[str]:
    count = int(found.front.sum())
    indices = found.some_of_front(SHOWN_FRONT)
    yield from _wrapped(
        f"At the present setpoints {count:,} candidates are beaten by none in energy,"
        f" relay operations and deviation together; {len(indices)} of them, by energy:",
        "",
    )
    ways = [(str(place), index) for place, index in enumerate(indices, start=1)]
    yield from side_by_side(found.figures, ways, found.terms)


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDE, initial_indent=indent, subsequent_indent=indent + "  "
    )
