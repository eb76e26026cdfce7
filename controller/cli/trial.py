"""`bottomheat trial`: trials planned, stored, stuck and compared."""

import argparse
import json
import sys
from collections.abc import Callable, Iterable
from typing import TypeAlias
from urllib.parse import quote

from controller.cli.asking import Json, add_options, ask, opened_once
from controller.cli.batch_options import add_batch_options, add_kind, batch_said
from controller.cli.over_http import AskError
from controller.cli.trial_options import add_compare, add_plan
from controller.cli.trial_words import list_in_words, plan_in_words, units_in_words

_Parsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001


def add_parser(commands: _Parsers) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "trial",
        help="trials of media or treatments: plan before sticking, compare after",
        description=(
            "Plans trials so that they can answer, keeps the plan in the season log,"
            " and compares arms by the plan's own randomisation. Exit 0: done; 1: the"
            " trial cannot answer what is asked; 2: not done."
        ),
    )
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    add_plan(what)
    add_compare(what)
    listed = what.add_parser("list", help="list trials and how their arms stand")
    add_options(listed)
    show = what.add_parser("show", help="show a plan, to be printed")
    show.add_argument("number", metavar="NUMBER")
    add_options(show)
    _add_sticking(what)
    parser.set_defaults(run=run)


def _add_sticking(what: _Parsers) -> None:
    stick = what.add_parser(
        "stick", help="tell of a batch for every unit of a trial at once"
    )
    stick.add_argument("number", metavar="NUMBER")
    stick.add_argument("crop", metavar="CROP", help="such as gooseberry")
    add_kind(stick, required=True)
    add_batch_options(stick)
    add_options(stick)
    link = what.add_parser("link", help="tell which batch stands in which unit")
    link.add_argument("number", metavar="NUMBER")
    link.add_argument("pairs", metavar="UNIT=CODE", nargs="+")
    add_options(link)
    withdraw = what.add_parser("withdraw", help="a trial was told by mistake")
    withdraw.add_argument("number", metavar="NUMBER")
    add_options(withdraw)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        return _WORK[args.what](args)
    except AskError as error:
        print(f"bottomheat trial: {error}", file=sys.stderr)
        return 2


def _plan(args: argparse.Namespace) -> int:
    from controller.cli.trial_plan import planned

    with opened_once(args):
        plan = planned(args)
    stored = ask(args, "POST", "/v1/trials", plan.body) if args.store else None
    if args.json:
        told = stored or {"trial": plan.body}
        print(json.dumps({**told, **plan.told()}, ensure_ascii=False, indent=2))
    else:
        print("\n".join(plan_in_words(plan.body, stored)))
        print("\n".join(plan.words()))
    return 0 if plan.can_answer else 1


def _compare(args: argparse.Namespace) -> int:
    from controller.cli.trial_compare import compare

    return compare(args)


def _list(args: argparse.Namespace) -> int:
    return _printed(args, ask(args, "GET", "/v1/trials"), list_in_words)


def _show(args: argparse.Namespace) -> int:
    return _printed(args, ask(args, "GET", _address(args)), units_in_words)


def _stick(args: argparse.Namespace) -> int:
    trial = ask(args, "GET", _address(args))
    plan, units = _plan_of(trial)
    free = [unit for unit in units if not unit.get("batch")]
    if not free:
        raise AskError(f"trial {args.number}: every unit has a batch already")
    bodies = [_batch(args, plan, unit) for unit in free]
    made = ask(args, "POST", "/v1/batches/import", {"batches": bodies})
    listed = made.get("batches")
    codes = [one.get("code") for one in listed] if isinstance(listed, list) else []
    for unit, code in zip(free, codes, strict=True):
        unit["batch"] = code
    found = ask(args, "PATCH", _address(args), {"units": units})
    return _printed(args, found, units_in_words)


def _batch(args: argparse.Namespace, plan: Json, unit: Json) -> Json:
    """Return the batch of a unit; what was said on the command line comes first."""
    said = batch_said(args)
    own: Json = {
        "count": plan.get("cuttings"),
        "tray": unit.get("tray"),
        "place": f"trial {args.number}, {unit.get('name')}",
        "cultivar": unit.get("cultivar"),
    }
    if plan.get("factor") == "medium":
        own["medium"] = unit.get("arm")
    else:
        own["text"] = f"{plan.get('factor')}: {unit.get('arm')}"
    own = {key: value for key, value in own.items() if value not in (None, "")}
    return {"crop": args.crop, "kind": args.kind, **own, **said}


def _link(args: argparse.Namespace) -> int:
    _, units = _plan_of(ask(args, "GET", _address(args)))
    by_name = {str(unit.get("name")): unit for unit in units}
    for pair in args.pairs:
        name, _, code = pair.rpartition("=")
        if name not in by_name or not code:
            there = ", ".join(by_name)
            raise AskError(f"{pair}: write UNIT=CODE; there are the units {there}")
        by_name[name]["batch"] = code.upper()
    found = ask(args, "PATCH", _address(args), {"units": units})
    return _printed(args, found, units_in_words)


def _withdraw(args: argparse.Namespace) -> int:
    found = ask(args, "PATCH", _address(args), {"withdrawn": True})
    return _printed(args, found, units_in_words)


def _plan_of(trial: Json) -> tuple[Json, list[Json]]:
    plan = trial.get("trial")
    units = plan.get("units") if isinstance(plan, dict) else None
    if not isinstance(plan, dict) or not isinstance(units, list):
        raise AskError("what answers there does not tell of a trial")
    return plan, [dict(unit) for unit in units if isinstance(unit, dict)]


def _address(args: argparse.Namespace) -> str:
    if not args.number.isdecimal():
        raise AskError(f"{args.number}: a trial has a number; see trial list")
    return f"/v1/trials/{quote(args.number, safe='')}"


def _printed(
    args: argparse.Namespace, found: Json, words: Callable[[Json], Iterable[str]]
) -> int:
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(words(found)))
    return 0


_WORK: dict[str, Callable[[argparse.Namespace], int]] = {
    "plan": _plan,
    "compare": _compare,
    "list": _list,
    "show": _show,
    "stick": _stick,
    "link": _link,
    "withdraw": _withdraw,
}
