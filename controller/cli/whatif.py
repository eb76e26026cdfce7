"""`bottomheat whatif LOG --set KEY=VALUE`: one other way of keeping a mat."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.extras import ExtraMissingError, need
from controller.cli.terms import add_terms

if TYPE_CHECKING:
    from controller.cli.next_days import NextDays
    from controller.cli.tuned import Tuned
    from controller.core.plan import MatPlan, Plan


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "whatif",
        help="what another setting would have done, in the model of a log",
        description=(
            "Fits a thermal model to a mat's season log and runs one other way of"
            " keeping it beside the log's own, both in a closed loop with that model"
            " and under the same weather. Exit 0: done; 1: the log does not cover"
            " what was asked; 2: it cannot be done."
        ),
        epilog=(
            "Limits, alarms and degree-hours are told by the readings themselves and"
            " need no model: `bottomheat degree-hours` counts them with another base."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the season log")
    parser.add_argument("--mat", metavar="MAT", help="which mat, if there are several")
    parser.add_argument(
        "--set",
        action="append",
        required=True,
        metavar="KEY=VALUE",
        help='as in the configuration, such as setpoint=22°C or differential="0.5 K";'
        " may be repeated",
    )
    add_terms(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        need("replay", "a thermal model", "numpy", "scipy")
    except ExtraMissingError as error:
        print(f"bottomheat whatif: {error}", file=sys.stderr)
        return 2
    from controller.cli.next_days import next_days
    from controller.cli.prices import AskedError

    try:
        found = _found(args)
        ways = zip(("as now", "asked"), found.figures.plans, strict=True)
        foretold = next_days(args.next_days, found.of, list(ways))
    except AskedError as error:
        print(f"bottomheat whatif: {error}", file=sys.stderr)
        return 2
    _print(found, foretold, as_json=args.json)
    return 1 if found.search.reasons[-1] else 0


def _found(args: argparse.Namespace) -> "Tuned":
    from controller.cli import asked, prices
    from controller.cli.modelled import modelled, planned, progress
    from controller.cli.next_days import check_days
    from controller.cli.tuned import Terms, Tuned, held_back
    from sim.tuning.searching import proof, search

    price = None if args.price is None else prices.price(args.price)
    if args.rated < 1:
        raise prices.AskedError(f"--rated {args.rated}: at least 1")
    check_days(args.next_days)
    header, own = planned(args.log, args.mat)
    _refuse_broken(header.plan, asked.mat_with(own, args.set))
    of = modelled(args.log, args.mat, args.next_days)
    other = asked.mat_with(of.asked, args.set)
    result = search(
        of.record,
        of.worlds,
        (of.asked, other),
        of.season,
        None,
        progress("what if"),
        everyone=True,
    )
    plans = enumerate(result.figures.plans)
    return Tuned(
        log=str(args.log),
        of=of,
        search=result,
        tried=len(result.figures.plans),
        seed=0,
        wish=None,
        answer=None,
        proofs={n: proof(of.worlds[0], plan, of.scan_s) for n, plan in plans},
        notes=(*of.notes, *held_back(result.figures)),
        evening=(),
        terms=Terms(
            price=price,
            rated=args.rated,
            fahrenheit=any("F" in pair.rpartition("=")[2] for pair in args.set),
        ),
    )


def _refuse_broken(plan: "Plan", other: "MatPlan") -> None:
    """Refuse a mat that breaks a rule of a plan, as `check` does."""
    from dataclasses import replace

    from controller.cli.prices import AskedError
    from controller.core.plan_rules import problems

    mats = tuple(other if mat.name == other.name else mat for mat in plan.mats)
    broken = problems(replace(plan, mats=mats))
    if broken:
        raise AskedError("\n".join(str(problem) for problem in broken))


def _print(found: "Tuned", foretold: "NextDays | None", *, as_json: bool) -> None:
    from controller.cli import next_days
    from controller.cli.tune_json import about, way
    from controller.cli.tune_words import beside

    if as_json:
        figures = found.figures
        record = {
            **about(found.log, found.of),
            "as_now": way(figures, 0, found),
            "other": way(figures, 1, found),
            "notes": list(found.notes),
        }
        if foretold is not None:
            record["next_days"] = next_days.as_json(foretold)
        print(json.dumps(record, ensure_ascii=False, indent=2))
    else:
        print("\n".join(beside(found)))
        if foretold is not None:
            print("\n" + "\n".join(next_days.in_words(foretold)))
