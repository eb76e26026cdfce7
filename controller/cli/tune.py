"""`bottomheat tune LOG`: settings for the next season, from this one's log."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.cli.extras import ExtraMissingError, have, how_to_get, need
from controller.cli.first_settings import (
    FirstError,
    add_arguments,
    check_alone,
    is_asked,
    run_first,
)
from controller.cli.terms import SEED, add_terms

if TYPE_CHECKING:
    from controller.cli.modelled import Modelled
    from controller.cli.prices import Price
    from controller.cli.tune_write import Configured
    from controller.cli.tuned import Tuned
    from controller.core.plan import MatPlan
    from sim.tuning.figures import Rooting
    from sim.tuning.wishes import Wish

CANDIDATES = 1_024
WITHOUT_NUMBA = 12
"""Chosen: plain Python takes some half a second for each candidate, model and week
of the log."""

MOST_CANDIDATES = 100_000
FORECAST = "forecast"
"""What is written after --rooting for the sum that is foretold."""

HALF_KELVINS = tuple(range(-8_000, 4_001, 500))
_FAHRENHEITS = tuple(range(-14, 8))


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    from sim.tuning.wishes import GRAMMAR

    parser = commands.add_parser(
        "tune",
        help="search settings for the next season in the model of a log",
        description=(
            "Fits a thermal model to a mat's season log, runs other ways of keeping"
            " it in a closed loop with that model, and recommends one for a wish:"
            f" {GRAMMAR}. Every figure is of the model and comes with the model's"
            " error; nothing is recommended far outside of what the log covers. Exit"
            " 0: done; 1: the wish cannot be had; 2: it cannot be done."
        ),
    )
    parser.add_argument(
        "log",
        metavar="LOG",
        type=Path,
        nargs="?",
        help="the season log, or a configuration (.toml) before there is one",
    )
    parser.add_argument("--mat", metavar="MAT", help="which mat, if there are several")
    parser.add_argument("--wish", metavar="WISH", help="what the next season shall be")
    parser.add_argument(
        "--rooting",
        metavar="SUM",
        help='what stands for rooted, such as "3200 K·h above 10 °C", or "forecast":'
        " what is foretold of the mat's open batches, which is taken, too, where the"
        " wish needs it and nothing is said",
    )
    add_terms(parser)
    parser.add_argument(
        "--candidates",
        metavar="N",
        type=int,
        help=f"how many to try ({CANDIDATES}; without numba {WITHOUT_NUMBA})",
    )
    parser.add_argument(
        "--seed",
        metavar="N",
        type=int,
        default=SEED,
        help=f"candidates are drawn from ({SEED})",
    )
    parser.add_argument(
        "--config", metavar="FILE", type=Path, help="the configuration to change"
    )
    parser.add_argument(
        "--write",
        metavar="FILE",
        type=Path,
        help="write it, with nothing but the recommended settings changed",
    )
    parser.add_argument(
        "--overwrite", action="store_true", help="replace a file that is there"
    )
    parser.add_argument(
        "--pictures", metavar="FOLDER", type=Path, help="draw what was found into it"
    )
    parser.add_argument(
        "--exact",
        action="store_true",
        help="run the recommended on the core for all days: minutes for each week",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    add_arguments(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        check_alone(args)
        if is_asked(args):
            need("demo", "a simulated bench", "numpy")
            return run_first(args)
        need("replay", "a thermal model", "numpy", "scipy")
        if args.pictures:
            need("pictures", "--pictures", "matplotlib")
        return _run(args)
    except (ExtraMissingError, FirstError) as error:
        print(f"bottomheat tune: {error}", file=sys.stderr)
        return 2


def _run(args: argparse.Namespace) -> int:
    from controller.cli import next_days
    from controller.cli.prices import AskedError
    from controller.cli.tune_json import as_json
    from controller.cli.tune_words import in_words
    from sim.tuning.wishes import WishError

    try:
        found, configuration = _found(args)
        foretold = next_days.next_days(args.next_days, found.of, _kept(found))
        written = _written(args, found, configuration)
    except (AskedError, WishError) as error:
        print(f"bottomheat tune: {error}", file=sys.stderr)
        return 2
    if args.json:
        record = {**as_json(found), "settings": written}
        if foretold is not None:
            record["next_days"] = next_days.as_json(foretold)
        print(json.dumps(record, ensure_ascii=False, indent=2))
    else:
        print("\n".join(in_words(found)))
        if foretold is not None:
            print("\n" + "\n".join(next_days.in_words(foretold)))
        if written:
            print("\n" + "\n".join(written))
    if args.pictures:
        _draw(args, found)
    return 1 if found.wish is not None and found.chosen is None else 0


def _kept(found: "Tuned") -> "list[tuple[str, MatPlan]]":
    """Return the present way, and the recommended one if there is one."""
    plans = found.figures.plans
    ways = [("as now", found.of.asked)]
    if found.chosen is not None and plans[found.chosen] != found.of.asked:
        ways.append(("recommended", plans[found.chosen]))
    return ways


def _found(args: argparse.Namespace) -> "tuple[Tuned, Configured | None]":
    """Return what a search found, and the configuration that was named."""
    from controller.cli.modelled import modelled, planned
    from controller.cli.tune_write import configured

    asked = _asked(args)
    _, own = planned(args.log, args.mat)
    configuration = configured(args.config, own.name) if args.config else None
    of = modelled(args.log, args.mat, args.next_days)
    fahrenheit = configuration is not None and configuration.fahrenheit
    return _searched(args, of, asked, fahrenheit=fahrenheit), configuration


class _Asked(NamedTuple):
    """What was asked for, read."""

    wish: "Wish | None"
    rooting: "Rooting | None"
    price: "Price | None"
    notes: tuple[str, ...] = ()


def _asked(args: argparse.Namespace) -> _Asked:
    from controller.cli import asked, prices
    from sim.tuning.wishes import ROOTING_ASK, WishError, read_wish

    _sensible(args)
    wish = None if args.wish is None else read_wish(args.wish)
    price = None if args.price is None else prices.price(args.price)
    if args.rooting not in (None, FORECAST):
        return _Asked(wish, asked.rooting(args.rooting), price)
    if args.rooting is None and not (wish is not None and wish.needs_rooting):
        return _Asked(wish, None, price)
    from controller.cli.rooting_foretold import rooting_foretold

    found = rooting_foretold(args.log, args.mat)
    if found is None:
        raise WishError(f"{ROOTING_ASK}; no open batch on the mat has a forecast")
    return _Asked(wish, found.rooting, price, (found.note,))


def _searched(
    args: argparse.Namespace, of: "Modelled", asked: _Asked, *, fahrenheit: bool
) -> "Tuned":
    """Return what a search found, its finalists run again."""
    from controller.cli.modelled import progress
    from controller.cli.tuned import Terms, Tuned, held_back
    from sim.fitting.evening import evening
    from sim.tuning.candidates import candidates, knobs_of
    from sim.tuning.coverage import coverage
    from sim.tuning.granting import OWN, grant
    from sim.tuning.searching import proof, search

    count = args.candidates or (CANDIDATES if have("numba") else WITHOUT_NUMBA)
    grid = _grid(of.own, fahrenheit=fahrenheit)
    plans = candidates(knobs_of(of.asked, of.worlds[0].model, grid), count, args.seed)
    tell = progress("candidates")
    result = search(of.record, of.worlds, plans, of.season, asked.rooting, tell)
    wish, figures = asked.wish, result.figures
    narrow = coverage(of.record, of.asked).narrow
    found = Tuned(
        log=str(args.log),
        of=of,
        search=result,
        tried=len(plans),
        seed=args.seed,
        wish=wish,
        answer=None if wish is None else grant(wish, figures, result.allowed),
        proofs={},
        notes=(
            *of.notes,
            *asked.notes,
            *_notes(of, dated=asked.rooting),
            *held_back(figures),
        ),
        evening=evening(of.record, of.own, of.fits).steps if narrow else (),
        terms=Terms(price=asked.price, rated=args.rated, fahrenheit=fahrenheit),
    )
    if found.chosen is not None:
        for index in dict.fromkeys((OWN, found.chosen)):
            plan = figures.plans[index]
            found.proofs[index] = proof(of.worlds[0], plan, of.scan_s, exact=args.exact)
    return found


def _sensible(args: argparse.Namespace) -> None:
    from controller.adapters.exchange.whole_file import check_free
    from controller.cli.next_days import check_days
    from controller.cli.prices import AskedError

    if args.candidates is not None and not 1 <= args.candidates <= MOST_CANDIDATES:
        raise AskedError(
            f"--candidates {args.candidates}: from 1 to {MOST_CANDIDATES:,}"
        )
    if args.seed < 0:
        raise AskedError(f"--seed {args.seed}: 0 or more")
    check_days(args.next_days)
    if args.rated < 1:
        raise AskedError(f"--rated {args.rated}: at least 1")
    if args.pictures and args.pictures.exists() and not args.pictures.is_dir():
        raise AskedError(f"--pictures {args.pictures}: is a file; name a folder")
    if args.write:
        if not args.config or not args.wish:
            raise AskedError(
                "--write needs --config, the file to change, and --wish, what for"
            )
        check_free(args.write, overwrite=args.overwrite)


def _grid(own: "MatPlan", *, fahrenheit: bool) -> tuple[int, ...]:
    """Return steps around the present setpoint that its writer would write [mK]."""
    if not fahrenheit:
        return HALF_KELVINS
    present_mc = own.programme[0].setpoint_mc
    present_f = round(present_mc * 9 / 5_000 + 32)
    around = (round((present_f + step - 32) * 5_000 / 9) for step in _FAHRENHEITS)
    return tuple(mc - present_mc for mc in around)


def _notes(of: "Modelled", *, dated: "Rooting | None") -> list[str]:
    notes = []
    if not have("numba"):
        notes.append(
            "numba is not installed, so that fewer candidates are tried, in plain"
            f" Python: {how_to_get('replay')}"
        )
    if len(of.own.programme) > 1:
        notes.append(
            "the mat has a programme of steps: its setpoints stay, the rest is tried"
        )
    if dated:
        notes.append(
            "dates count from the first hour of the log and go on at its mean rate,"
            " as if all days were like those of the log"
        )
    return notes


def _written(
    args: argparse.Namespace, found: "Tuned", configuration: "Configured | None"
) -> list[str]:
    """Return the recommended settings as lines; write them where asked for."""
    from controller.cli.tune_write import changed_text, lines_of, patch, write

    if found.chosen is None:
        return []
    wanted = found.figures.plans[found.chosen]
    if configuration is None:
        return lines_of(found.of.own, wanted, fahrenheit=False)
    text = changed_text(configuration, wanted)
    lines = patch(configuration, text, args.write)
    if args.write:
        write(configuration, text, wanted, args.write, overwrite=args.overwrite)
    return lines


def _draw(args: argparse.Namespace, found: "Tuned") -> None:
    from controller.cli.tune_pictures import draw

    for path in draw(found, args.pictures):
        print(path, file=sys.stderr)
