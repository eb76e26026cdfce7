"""A trial laid out from the command line: places, blocks, arms, and what it can tell.

What may live here: from options and a bench's warmth to a plan.
"""

import argparse
import secrets
from collections.abc import Iterator
from dataclasses import dataclass, field
from textwrap import wrap
from urllib.parse import quote, urlencode

from controller.cli.asking import Json, ask
from controller.cli.over_http import AskError
from controller.cli.record_words import at_said
from controller.cli.trial_options import POT, TRAY
from controller.trials.foresight import Design, Difference, Foresight, foreseen
from controller.trials.layout import (
    Place,
    Placed,
    block_sizes,
    fitting_block,
    in_blocks,
    shuffled,
    sizes_in_blocks,
)
from controller.trials.verdict import Chosen

_ENOUGH = 0.8
_NUMBERS = {2: "two", 3: "three", 4: "four"}


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan, and what it can tell.

    Attributes:
        body: As the API takes it.
        foresight: What it can tell.
        stated: The difference that this is about.
        notes: What else should be known beforehand.
        refused: Why it cannot answer; empty: it can.
    """

    body: Json
    foresight: Foresight
    stated: Difference
    notes: list[str] = field(default_factory=list)
    refused: str = ""

    @property
    def can_answer(self) -> bool:
        """Whether any outcome could lead to a verdict."""
        return not self.refused

    def told(self) -> Json:
        """Return what it can tell, for programs."""
        seen = self.foresight
        return {
            "can_answer": self.can_answer,
            "why_not": self.refused or None,
            "smallest_p": seen.smallest,
            "alpha_of_a_pair": seen.alpha,
            "power": seen.power,
            "cuttings_of_an_arm": seen.cuttings,
            "cuttings_needed_if_independent": seen.needed,
            "design_effect": seen.effect,
            "notes": self.notes,
        }

    def words(self) -> Iterator[str]:
        """Yield what it can tell, for people."""
        for line in self._lines():
            yield from wrap(line, 88, subsequent_indent="    ") or [""]

    def _lines(self) -> Iterator[str]:
        seen, stated = self.foresight, self.stated
        yield ""
        yield "Before a single cutting is stuck:"
        yield f"  The smallest p that can come out is {seen.smallest:.2g}."
        if self.refused:
            yield f"  This trial cannot answer. {self.refused}"
        else:
            yield (
                f"  {_stated(self.body, stated)} would be found"
                f" {round(100 * seen.power)} times in 100."
            )
            yield from self._power_words()
        for note in self.notes:
            yield f"  {note}"

    def _power_words(self) -> Iterator[str]:
        seen = self.foresight
        if seen.power >= _ENOUGH:
            return
        yield "  No conclusion would not mean that there is no difference."
        if seen.needed is not None:
            need = seen.needed * seen.effect
            of = "cuttings, each for itself,"
            if seen.effect > 1:
                of = f"cuttings ({seen.needed} if each stood for itself)"
            yield f"  For 80 in 100, {need:.0f} {of} are needed in each arm."


def _stated(body: Json, stated: Difference) -> str:
    if body["test"] == Chosen.TIMES.value:
        return (
            f"{stated.faster:g} times as fast (half by day {stated.median_days:g}, a"
            f" look every {stated.every_days:g} days until day {stated.until_days:g})"
        )
    return f"{100 * stated.low:g} % against {100 * stated.high:g} %"


def planned(args: argparse.Namespace) -> Plan:
    """Return the plan that the options ask for.

    Raises:
        AskError: They do not fit together, or the bench does not answer.
    """
    _check(args)
    places = _warm(args, list(_places(args)))
    test, size = _test_and_block(args, len(places))
    seed = secrets.randbelow(2**32) if args.seed is None else args.seed
    cultivars = args.cultivars or [""]
    try:
        placed = shuffled(in_blocks(places, size, cultivars), args.arms, seed)
    except ValueError as error:
        raise AskError(f"{error}: give another number of units, or --block") from None
    stated = _difference(args)
    sizes = sizes_in_blocks(len(places), ("a", "b"), size)
    if len(args.arms) > 2:  # noqa: PLR2004
        each = size // len(args.arms)
        sizes = [{"a": each, "b": each} for _ in range(len(places) // size)]
    design = Design(sizes, args.cuttings, len(args.arms), test, seed)
    seen = foreseen(design, stated)
    notes = list(_notes(args, places, size))
    body = _body(args, placed, test, seed, seen)
    return Plan(body, seen, stated, notes, _refusal(args, seen))


def _check(args: argparse.Namespace) -> None:
    if bool(args.pots) == bool(args.trays):
        raise AskError("say either --pots TRAY=N or --trays TRAY ...: what is filled?")
    if len(set(args.arms)) < max(2, len(args.arms)):
        raise AskError("--arms: name two different ones at least")
    low, high = args.shares
    if not 0 <= low < high <= 100:  # noqa: PLR2004
        raise AskError(f"--shares {low:g} {high:g}: two per cents, the lower first")
    positive = ("cuttings", "median", "every", "until")
    for name in positive:
        if not getattr(args, name) > 0:
            raise AskError(f"--{name} {getattr(args, name)}: must be above 0")
    if not 0 <= args.alike < 1 or not args.faster > 1:
        raise AskError("--alike must be from 0 to below 1, --faster above 1")
    if args.seed is not None and not 0 <= args.seed < 2**53:
        raise AskError(f"--seed {args.seed}: must be from 0 to 9007199254740991")


def _places(args: argparse.Namespace) -> Iterator[Place]:
    if args.trays:
        for tray in args.trays:
            yield Place(tray, tray)
        return
    for said in args.pots:
        tray, _, count = said.rpartition("=")
        if not tray or not count.isdecimal() or not 0 < int(count) <= 400:  # noqa: PLR2004
            raise AskError(f"--pots {said}: write TRAY=N, such as N1=12")
        for n in range(1, int(count) + 1):
            yield Place(f"{tray}-{n}", tray, n)


# ------------------------------------------------------------------------- warmth


def _warm(args: argparse.Namespace, places: list[Place]) -> list[Place]:
    """Return places with how warm they are, as told or as the log shows."""
    names = [place.name for place in places]
    if len(set(names)) < len(names):
        raise AskError("a tray is named twice")
    temps = dict.fromkeys((place.tray for place in places), _nothing())
    if args.temps:
        temps |= _said_temps(args, list(temps))
    elif not args.as_listed:
        temps |= {tray: _asked_temp(args, tray) for tray in temps}
    return [
        Place(place.name, place.tray, place.position, temps[place.tray])
        for place in places
    ]


def _nothing() -> float | None:
    return None


def _said_temps(args: argparse.Namespace, trays: list[str]) -> dict[str, float]:
    found: dict[str, float] = {}
    for said in args.temps:
        tray, _, temp = said.rpartition("=")
        try:
            found[tray] = float(temp)
        except ValueError:
            raise AskError(f"--temps {said}: write TRAY=°C, such as N1=20.6") from None
    missing = [tray for tray in trays if tray not in found]
    if missing or set(found) - set(trays):
        raise AskError(f"--temps: must name {', '.join(trays)}, each once")
    return found


def _asked_temp(args: argparse.Namespace, tray: str) -> float | None:
    """Return a tray's mean temperature as the bench's log has it."""
    asked = {}
    for key, text in (("from", args.first), ("to", args.last)):
        if text is not None:
            asked[key] = at_said(args, f"--{key}", text)
    address = f"/v1/trays/{quote(tray, safe='')}/degree-hours?{urlencode(asked)}"
    try:
        mean = ask(args, "GET", address).get("mean_c")
    except AskError as error:
        hint = "without a bench, say --temps TRAY=°C or --as-listed"
        raise AskError(f"{error}; {hint}") from None
    return mean if isinstance(mean, float) else None


# ------------------------------------------------------------ blocks, test, notes


def _test_and_block(args: argparse.Namespace, units: int) -> tuple[Chosen, int]:
    arms = len(args.arms)
    if units % arms:
        raise AskError(
            f"{units} units cannot be shared evenly by {arms} arms: give a multiple"
        )
    usual = Chosen.SHARES if args.end_point == "established" else Chosen.TIMES
    test = Chosen(args.test or usual)
    if test is Chosen.BOSCHLOO:
        if args.cuttings > 1 or args.cultivars or args.block not in (None, units):
            raise AskError(
                "--test boschloo takes every cutting for itself: one cutting in each"
                " pot, no cultivars, no blocks; else take permutation-shares"
            )
        return test, units
    if args.block is not None:
        if args.block not in block_sizes(units, arms):
            may = ", ".join(map(str, block_sizes(units, arms)))
            raise AskError(f"--block {args.block}: blocks may have {may} units")
        return test, args.block
    return test, _fitting(args, units)


def _fitting(args: argparse.Namespace, units: int) -> int:
    """Return a size of blocks of which cultivars can share the number."""
    many = len(args.cultivars or ("",))
    size = fitting_block(units, args.arms)
    if (units // size) % many == 0:
        return size
    fit = [
        one for one in block_sizes(units, len(args.arms)) if (units // one) % many == 0
    ]
    if not fit:
        raise AskError(
            f"{units} units do not make blocks that {many} cultivars can share evenly"
        )
    return min(fit, key=lambda one: abs(one - size))


def _notes(args: argparse.Namespace, places: list[Place], size: int) -> Iterator[str]:
    temps = [place.temp_c for place in places if place.temp_c is not None]
    if len(temps) < len(places):
        yield (
            "How warm places are is not known: they stand in the order in which they"
            " were named, which should be from cold to warm."
        )
    elif max(temps) > min(temps):
        yield (
            f"Places differ by {max(temps) - min(temps):.1f} K; blocks of {size} are"
            " neighbours along that."
        )
    if args.cuttings > 1:
        yield (
            f"The {args.cuttings} cuttings of a unit count as one: they share its"
            f" place. With a correlation of {args.alike:g} they are worth"
            f" {args.cuttings / (1 + (args.cuttings - 1) * args.alike):.1f}."
        )
    if args.cultivars:
        yield "A block has one cultivar, so that cultivars are not mixed up with arms."


def _refusal(args: argparse.Namespace, seen: Foresight) -> str:
    if args.factor in ("setpoint", "temperature"):
        return (
            "All trays of a mat share its relay, so that a setpoint is given to the"
            " mat, not to trays. Only several runs of both setpoints on each mat, in"
            " turn, are replicates."
        )
    units = seen.cuttings // args.cuttings
    if units == 1:
        return (
            f"{_NUMBERS.get(len(args.arms), 'So few').capitalize()} containers cannot"
            f" tell {args.factor} from place: they differ in warmth and water whatever"
            " is in them. Use 12 + 12 single pots, alternated, or 4 + 4 trays at least."
        )
    if not seen.can_answer:
        return (
            f"Whatever comes out, p cannot fall to {seen.alpha:.3g}: use more units"
            " (4 + 4 in one block, or 6 pairs at least), or larger blocks."
        )
    return ""


def _difference(args: argparse.Namespace) -> Difference:
    low, high = args.shares
    return Difference(
        low / 100,
        high / 100,
        args.alike,
        args.faster,
        args.median,
        args.every,
        args.until,
    )


def _body(
    args: argparse.Namespace,
    placed: list[Placed],
    test: Chosen,
    seed: int,
    seen: Foresight,
) -> Json:
    low, high = args.shares
    body: Json = {
        "title": args.title or f"{args.factor}: {' against '.join(args.arms)}"[:120],
        "factor": args.factor,
        "arms": args.arms,
        "unit": POT if args.pots else TRAY,
        "cuttings": args.cuttings,
        "units": [_unit(one) for one in placed],
        "seed": seed,
        "test": test.value,
        "end_point": args.end_point,
        "smallest_p": seen.smallest,
        "power": seen.power,
        "stated": {
            "low": low / 100,
            "high": high / 100,
            "faster": args.faster,
            "alike": args.alike,
        },
    }
    said = {"days": args.days, "base_c": args.base, "upper_c": args.upper}
    return body | {key: value for key, value in said.items() if value is not None}


def _unit(one: Placed) -> Json:
    place = one.place
    unit: Json = {"name": place.name, "arm": one.arm, "block": one.block}
    unit |= {"tray": place.tray, "position": place.position}
    if one.cultivar:
        unit["cultivar"] = one.cultivar
    if place.temp_c is not None:
        unit["mean_c"] = round(place.temp_c, 3)
    return unit
