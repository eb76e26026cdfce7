"""`bottomheat prepare`: amounts of bleach, hormone and medium, and how to cut.

Asks no bench and writes nothing. What may live here: the command, its words and
its numbers as text.
"""

import argparse
import json
import re
import sys
import textwrap
from collections.abc import Callable, Iterator
from typing import NamedTuple, TypeAlias

from controller.records import preparing, sticking
from controller.records.light import Lamp, dli, light_words, ppfd_of_lux

_AMOUNT = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(%|ppm|ml|l)\s*", re.ASCII)
_WIDTH = 78
_ML = {"ml": 1.0, "l": 1000.0}
_PARTS = re.compile(r"\s*(?:([0-9]+(?:[.,][0-9]+)?)\s+)?([^\W\d][\w -]*?)\s*", re.ASCII)


class _Told(NamedTuple):
    """What a part of the command has to say."""

    body: dict[str, object]
    lines: list[str]


class _UsageError(Exception):
    """Something was written that cannot be; the message says what is right."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "prepare",
        help="amounts of bleach, hormone and medium, and how to cut, for printing",
        description=(
            "Works out amounts before sticking. Without a word: the whole sheet, with"
            " usual numbers. What labels and local rules say goes before all of it."
        ),
        epilog=(
            'bottomheat prepare medium "2 perlite + 1 coir" --litres 12 and bottomheat'
            ' prepare bleach --stock "4.5 %%" --want "0.5 %%" are examples.'
        ),
    )
    _add_json(parser, "all")
    what = parser.add_subparsers(dest="what", metavar="WHAT")
    _add_bleach(what)
    _add_others(what)
    parser.set_defaults(run=run)


def _add_json(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument("--json", action="store_true", help=f"print JSON of {what}")


_Parsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001


def _add_bleach(what: _Parsers) -> None:
    bleach = what.add_parser("bleach", help="to disinfect tools, pots and benches")
    bleach.add_argument(
        "--stock", default="5.25 %", help="its strength, on the label (%(default)s)"
    )
    bleach.add_argument("--want", default="0.5 %", help="(%(default)s)")
    bleach.add_argument("--volume", default="5 l", help="how much (%(default)s)")
    hormone = what.add_parser("hormone", help="to dilute a hormone concentrate")
    hormone.add_argument("--stock", default="10000 ppm", help="(%(default)s)")
    hormone.add_argument("--want", default="3000 ppm", help="(%(default)s)")
    hormone.add_argument("--volume", default="50 ml", help="(%(default)s)")
    hormone.add_argument(
        "--salt", action="store_true", help="it is a water-soluble salt, not in alcohol"
    )
    for parser in (bleach, hormone):
        _add_json(parser, "it")


def _add_others(what: _Parsers) -> None:
    medium = what.add_parser("medium", help="to mix and moisten a medium")
    medium.add_argument(
        "recipe",
        nargs="?",
        default="1 coir + 1 perlite",
        metavar="RECIPE",
        help='parts by volume, such as "2 perlite + 1 coir"',
    )
    medium.add_argument("--litres", type=float, help="how much of it (6)")
    medium.add_argument("--containers", type=int, help="or so many containers")
    medium.add_argument("--each", metavar="LITRES", type=float, help="of so much")
    cuts = what.add_parser("cuttings", help="how to cut and stick")
    stick = what.add_parser("stick", help="how many, so that enough plants come of it")
    stick.add_argument("--plants", type=int, required=True, help="that are wanted")
    stick.add_argument("--rate", help='that takes, such as "50 %%"')
    stick.add_argument("--seen", metavar="N/OF", help="or as counted, such as 9/20")
    stick.add_argument("--surety", default="90 %", help="(90 %%)")
    light = what.add_parser("light", help="light over a day, in mol/m²d")
    light.add_argument("--ppfd", type=float, help="photon flux density [µmol/m²s]")
    light.add_argument("--lux", type=float, help="or illuminance [lx], with --lamp")
    light.add_argument("--lamp", choices=[lamp.value for lamp in Lamp])
    light.add_argument("--hours", type=float, required=True, help="hours a day")
    for parser in (medium, cuts, stick, light):
        _add_json(parser, "it")


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        told = _sheet() if args.what is None else _WORK[args.what](args)
    except (_UsageError, ValueError) as error:
        print(f"bottomheat prepare: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(told.body, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_wrapped(told.lines)))
    return 0


def _wrapped(lines: list[str]) -> Iterator[str]:
    """Yield lines that fit on paper, what goes on set in below its beginning."""
    for line in lines:
        marked = 4 if line.startswith(("  -", "  !")) else 2
        yield from textwrap.wrap(line, _WIDTH, subsequent_indent=" " * marked) or [""]


def _sheet() -> _Told:
    """Return everything with the usual numbers, as one sheet."""
    parser = argparse.ArgumentParser()
    add_parser(parser.add_subparsers())
    body: dict[str, object] = {}
    lines = ["Before sticking", ""]
    for what in ("bleach", "medium", "hormone", "cuttings"):
        args = parser.parse_args(["prepare", what])
        told = _WORK[what](args)
        body[what] = told.body
        lines += [*told.lines, ""]
    return _Told(body, lines[:-1])


# ---------------------------------------------------------------------- its parts


def _bleach(args: argparse.Namespace) -> _Told:
    stock, wanted = _percent("--stock", args.stock), _percent("--want", args.want)
    if stock > preparing.MOST_PERCENT:
        raise _UsageError(
            f"--stock {args.stock}: household bleach has 5 to 9 %; see its label"
        )
    found = preparing.dilution(stock, wanted, _ml("--volume", args.volume))
    lines = [
        f"Bleach for tools, pots and benches: {_parts(found.parts)}",
        f"  {stock:g} % stock to {wanted:g} %: {_volume(found.stock_ml)} of bleach and"
        f" {_volume(found.other_ml)} of water",
        f"  {preparing.ambiguity(stock)}",
        *(f"  ! {caution}" for caution in preparing.BLEACH_CAUTIONS),
    ]
    body = {
        "stock_percent": stock,
        "wanted_percent": wanted,
        "parts_of_water": round(found.parts, 4),
        "bleach_ml": round(found.stock_ml, 2),
        "water_ml": round(found.other_ml, 2),
        "cautions": list(preparing.BLEACH_CAUTIONS),
    }
    return _Told(body, lines)


def _hormone(args: argparse.Namespace) -> _Told:
    stock, wanted = _ppm("--stock", args.stock), _ppm("--want", args.want)
    found = preparing.dilution(stock, wanted, _ml("--volume", args.volume))
    points = preparing.hormone_points(wanted, alcohol=not args.salt)
    other = "water" if args.salt else "half alcohol, half water"
    lines = [
        f"Hormone: {_parts(found.parts)}",
        f"  {stock:g} ppm stock to {wanted:g} ppm: {_volume(found.stock_ml)} of stock"
        f" and {_volume(found.other_ml)} of {other}",
        *(f"  - {point}" for point in points),
    ]
    body = {
        "stock_ppm": stock,
        "wanted_ppm": wanted,
        "parts_of_solvent": round(found.parts, 4),
        "stock_ml": round(found.stock_ml, 2),
        "solvent_ml": round(found.other_ml, 2),
        "solvent": other,
        "points": list(points),
    }
    return _Told(body, lines)


def _medium(args: argparse.Namespace) -> _Told:
    recipe, litres = _recipe(args.recipe), _litres(args)
    found = preparing.mix(recipe, litres)
    lines = [f"Medium, {litres:g} l of {args.recipe}:"]
    lines += [
        f"  {part.litres:.2f} l of {part.name} ({part.share:g} {_plural(part.share)})"
        for part in found.parts
    ]
    if len(found.parts) > 1:
        lines.append(f"  (a tenth more than {litres:g} l: fine parts fall between)")
    lines.append(
        f"  water to begin with if it is dry: about {_volume(found.water_ml)}, or"
        f" {found.water_ml_per_l:.0f} ml for each litre"
    )
    lines += [f"  - {point}" for point in preparing.MEDIUM_POINTS]
    body = {
        "litres": litres,
        "parts": [
            {
                "name": part.name,
                "parts": part.share,
                "litres": round(part.litres, 3),
                "water_ml": round(part.water_ml, 1),
            }
            for part in found.parts
        ],
        "water_ml": round(found.water_ml, 1),
        "water_ml_per_l": round(found.water_ml_per_l, 1),
        "points": list(preparing.MEDIUM_POINTS),
    }
    return _Told(body, lines)


def _cuttings(args: argparse.Namespace) -> _Told:
    del args
    lines = ["Cuttings:", *(f"  - {point}" for point in preparing.CUTS)]
    return _Told({"points": list(preparing.CUTS)}, lines)


def _stick(args: argparse.Namespace) -> _Told:
    if (args.rate is None) == (args.seen is None):
        raise _UsageError("give --rate, or --seen as counted, not both")
    surety = _percent("--surety", args.surety) / 100
    if args.rate is not None:
        rate = _percent("--rate", args.rate) / 100
        number = sticking.how_many(args.plants, surety, rate)
        basis = f"if {100 * rate:g} % take (exact binomial)"
    else:
        seen = _seen(args.seen)
        number = sticking.how_many_seen(args.plants, surety, seen)
        basis = (
            f"after {seen.good} of {seen.of} took: more than if that rate were certain,"
            " since it is not (beta-binomial, uniform prior)"
        )
    what = f"{args.plants} plants with {100 * surety:g} % surety, {basis}"
    words = "no number will do" if number is None else f"stick {number}"
    body = {"plants": args.plants, "surety": surety, "stick": number}
    return _Told(body, [f"{words} for {what}"])


def _seen(text: str) -> sticking.Counted:
    good, _, of = text.partition("/")
    if not (good.strip().isdecimal() and of.strip().isdecimal()):
        raise _UsageError(f"--seen {text!r}: write how many of how many, such as 9/20")
    return sticking.Counted(int(good), int(of))


def _light(args: argparse.Namespace) -> _Told:
    if (args.ppfd is None) == (args.lux is None):
        raise _UsageError("give --ppfd, or --lux with --lamp, not both")
    about = args.ppfd is None
    if about and args.lamp is None:
        lamps = ", ".join(Lamp)
        raise _UsageError(f"--lux says little without --lamp, one of: {lamps}")
    ppfd = ppfd_of_lux(args.lux, Lamp(args.lamp)) if about else args.ppfd
    mol = dli(ppfd, args.hours)
    lines = [
        f"{'about ' if about else ''}{mol:.2f} mol/m²d: {light_words(mol)}",
        "  = PPFD * 3600 * h / 1e6, for light that is even over those hours; one"
        " reading at noon must not stand for a day of sun",
    ]
    if about:
        lines.append(f"  {args.lux:g} lx are taken for {ppfd:.0f} µmol/m²s, to a fifth")
    body = {
        "mol_per_m2_day": round(mol, 4),
        "ppfd": round(ppfd, 2),
        "approximate": about,
        "words": light_words(mol),
    }
    return _Told(body, lines)


_WORK: dict[str, Callable[[argparse.Namespace], _Told]] = {
    "bleach": _bleach,
    "hormone": _hormone,
    "medium": _medium,
    "cuttings": _cuttings,
    "stick": _stick,
    "light": _light,
}


# ------------------------------------------------------------- numbers out and in


def _plural(share: float) -> str:
    return "part" if share == 1 else "parts"


def _parts(parts: float) -> str:
    return f"1 part + {parts:.1f} parts".replace(".0 parts", " parts")


def _volume(ml: float) -> str:
    if ml >= 1000:  # noqa: PLR2004
        return f"{ml / 1000:.2f} l"
    return f"{ml:.0f} ml" if ml >= 20 else f"{ml:.1f} ml"  # noqa: PLR2004


def _amount(option: str, text: str, units: tuple[str, ...]) -> tuple[float, str]:
    found = _AMOUNT.fullmatch(text)
    if found is None or found[2] not in units:
        right = " or ".join(units)
        raise _UsageError(f"{option} {text!r}: write a number and its unit, {right}")
    return float(found[1].replace(",", ".")), found[2]


def _percent(option: str, text: str) -> float:
    number, unit = _amount(option, text, ("%", "ppm"))
    return number if unit == "%" else number / preparing.PPM_PER_PERCENT


def _ppm(option: str, text: str) -> float:
    return _percent(option, text) * preparing.PPM_PER_PERCENT


def _ml(option: str, text: str) -> float:
    number, unit = _amount(option, text, ("ml", "l"))
    return number * _ML[unit]


def _recipe(text: str) -> list[tuple[str, float]]:
    return list(_recipe_parts(text))


def _recipe_parts(text: str) -> Iterator[tuple[str, float]]:
    for part in re.split(r"[+,]", text):
        found = _PARTS.fullmatch(part)
        if found is None:
            right = "such as 2 perlite + 1 coir"
            raise _UsageError(f"RECIPE {text!r}: {part.strip()!r}: write {right}")
        yield found[2], float((found[1] or "1").replace(",", "."))


def _litres(args: argparse.Namespace) -> float:
    if args.containers is None and args.each is None:
        return 6.0 if args.litres is None else float(args.litres)
    if args.litres is not None or args.containers is None or args.each is None:
        raise _UsageError("give --litres, or --containers with --each")
    return float(args.containers * args.each)
