"""`bottomheat batch`: batches told, listed, looked at, moved and closed."""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias
from urllib.parse import quote, urlencode

from controller.cli.advice_words import advice_in_words, due_in_words
from controller.cli.asking import Json, add_options, ask
from controller.cli.batch_options import add_batch_options, add_kind, batch_said
from controller.cli.batch_plants import (
    add_plants,
    counts_said,
    tell_plants,
    tell_round,
    when_said,
)
from controller.cli.batch_words import batch_in_words, list_in_words
from controller.cli.log_words import A_TIME
from controller.cli.over_http import AskError
from controller.cli.photos import A_PHOTO, photo_kept
from controller.cli.record_words import local_words
from controller.records.looks import How
from controller.records.places import Outcome

_Parsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001

_COUNTS = (
    ("base", ("none", "callus", "roots"), "bases of those looked at, such as roots=3"),
    ("tops", ("dormant", "swelling", "leafed", "wilted"), "tops, such as leafed=8"),
    ("tug", ("held", "gave"), "a gentle tug, such as held=4 gave=2"),
    (
        "dead",
        ("rotted_base", "shrivelled", "mould", "missing"),
        "found dead since the look before, such as mould=1",
    ),
    ("sentinels", ("lifted", "rooted"), "spare ones, such as lifted=2 rooted=1"),
)


def add_parser(commands: _Parsers) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "batch",
        help="batches of cuttings or seed: add, list, look, move, close",
        description=(
            "Tells a running bench of batches and shows them. Each batch has a short"
            " label code, which may be written carelessly. Exit 0: done, and on the"
            " disk; 1: rows of a file were refused, and nothing was taken; 2: not"
            " done."
        ),
    )
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    _add_telling(what)
    _add_happening(what)
    add_plants(what)
    _add_files(what)
    parser.set_defaults(run=run)


def _add_telling(what: _Parsers) -> None:
    add = what.add_parser("add", help="tell of a batch; prints its code")
    add.add_argument("crop", metavar="CROP", help="such as gooseberry")
    add_kind(add, required=True)
    add.add_argument("--code", help="a label that it has already")
    correct = what.add_parser("correct", help="put right what was told of a batch")
    correct.add_argument("code", metavar="CODE")
    correct.add_argument("--crop")
    add_kind(correct, required=False)
    correct.add_argument(
        "--withdraw", action="store_true", help="it was told by mistake"
    )
    for parser in (add, correct):
        add_batch_options(parser)
        add_options(parser)
    listed = what.add_parser("list", help="list batches")
    listed.add_argument("--tray", help="that stand in it now")
    listed.add_argument("--crop")
    listed.add_argument("--open", action="store_true", help="that are not closed")
    add_options(listed)
    advice = what.add_parser(
        "advice", help="what to do next, with one batch or with all, and why"
    )
    advice.add_argument("code", metavar="CODE", nargs="?")
    add_options(advice)
    due = what.add_parser("due", help="what is to be done and when")
    add_options(due)
    show = what.add_parser("show", help="show all that is known of a batch")
    show.add_argument("code", metavar="CODE")
    add_options(show)


def _add_happening(what: _Parsers) -> None:
    look = what.add_parser("look", help="tell what was seen of a batch")
    look.add_argument("code", metavar="CODE")
    look.add_argument("--how", required=True, choices=[how.value for how in How])
    look.add_argument(
        "--at-n", required=True, type=int, metavar="N", help="at how many one looked"
    )
    for name, keys, words in _COUNTS:
        look.add_argument(
            f"--{name}", nargs="+", metavar="KEY=N", help=f"{words}: {', '.join(keys)}"
        )
    move = what.add_parser("move", help="tell that a batch went elsewhere")
    move.add_argument("code", metavar="CODE")
    move.add_argument("tray", metavar="TRAY", help="or off: off the bench and the heat")
    move.add_argument("--place", help="where in the tray, or where else")
    close = what.add_parser("close", help="tell how a batch ended")
    close.add_argument("code", metavar="CODE")
    close.add_argument("outcome", choices=[one.value for one in Outcome])
    close.add_argument("--rooted", type=int, help="how many of the count")
    close.add_argument("--undo", action="store_true", help="it is open still")
    look.add_argument(
        "--fine",
        action="store_true",
        help="tops looked through at a glance: nothing wrong, none counted",
    )
    look.add_argument("--photo", type=Path, metavar="FILE", help=A_PHOTO)
    for parser in (look, move, close):
        parser.add_argument("--at", metavar="TIME", help=f"when: {A_TIME}; else now")
        parser.add_argument("--who", metavar="NAME")
        parser.add_argument("--text", help="whatever else")
        add_options(parser)


def _add_files(what: _Parsers) -> None:
    out = what.add_parser(
        "export",
        help="write batches, looks, moves, ends, plants and events as CSV files",
    )
    out.add_argument("folder", metavar="FOLDER", type=Path)
    out.add_argument(
        "--log",
        metavar="FILE",
        type=Path,
        required=True,
        help="the season log; a daemon may write it meanwhile",
    )
    out.add_argument("--overwrite", action="store_true")
    out.add_argument("--json", action="store_true", help="print JSON")
    taken = what.add_parser(
        "import",
        help="take batches, or looks, from a CSV file, all of them or none",
    )
    taken.add_argument("file", metavar="FILE.csv", type=Path)
    add_options(taken)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        return _WORK[args.what](args)
    except AskError as error:
        print(f"bottomheat batch: {error}", file=sys.stderr)
        return 2


# --------------------------------------------------------------- told and corrected


def _add(args: argparse.Namespace) -> int:
    body = {"crop": args.crop, "kind": args.kind, **batch_said(args)}
    if args.code is not None:
        body["code"] = args.code
    return _printed(args, ask(args, "POST", "/v1/batches", body))


def _correct(args: argparse.Namespace) -> int:
    body = batch_said(args)
    said = {"crop": args.crop, "kind": args.kind}
    body |= {key: value for key, value in said.items() if value is not None}
    if args.withdraw:
        body["withdrawn"] = True
    return _printed(args, ask(args, "PATCH", _address(args), body))


def _list(args: argparse.Namespace) -> int:
    asked = {"tray": args.tray, "crop": args.crop, "open": "true" if args.open else ""}
    said = urlencode({key: value for key, value in asked.items() if value})
    return _listed(args, ask(args, "GET", f"/v1/batches?{said}"))


def _listed(args: argparse.Namespace, found: Json) -> int:
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(list_in_words(found)))
    return 0


def _show(args: argparse.Namespace) -> int:
    return _printed(args, ask(args, "GET", _address(args)))


# ------------------------------------------------------------ looked at, moved, ended


def _look(args: argparse.Namespace) -> int:
    body: Json = {"how": args.how, "looked_at": args.at_n, **when_said(args)}
    for name, keys, _ in _COUNTS:
        if getattr(args, name) is not None:
            body[name] = counts_said(name, getattr(args, name), keys)
    if args.fine:
        body["fine"] = True
    if args.photo is not None:
        body["photo"] = photo_kept(args)
    found = ask(args, "POST", f"{_address(args)}/looks", body)
    if args.json:
        return _printed(args, found)
    _printed(args, found)
    return _advice(args)


def _due(args: argparse.Namespace) -> int:
    found = ask(args, "GET", "/v1/reminders")
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(due_in_words(found, local_words(args))))
    return 0


def _advice(args: argparse.Namespace) -> int:
    """Print what to do next; after a look of the batch that was looked at."""
    path = "/v1" if args.code is None else _address(args)
    found = ask(args, "GET", f"{path}/advice")
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(advice_in_words(found)))
    return 0


def _move(args: argparse.Namespace) -> int:
    body: Json = {"tray": "" if args.tray == "off" else args.tray, **when_said(args)}
    if args.place is not None:
        body["place"] = args.place
    return _printed(args, ask(args, "POST", f"{_address(args)}/move", body))


def _close(args: argparse.Namespace) -> int:
    body: Json = {"outcome": args.outcome, **when_said(args)}
    if args.rooted is not None:
        body["rooted"] = args.rooted
    if args.undo:
        body["withdrawn"] = True
    return _printed(args, ask(args, "POST", f"{_address(args)}/close", body))


def _plants(args: argparse.Namespace) -> int:
    return _printed(args, tell_plants(args))


def _round(args: argparse.Namespace) -> int:
    return _listed(args, tell_round(args))


def _address(args: argparse.Namespace) -> str:
    return f"/v1/batches/{quote(args.code, safe='')}"


def _printed(args: argparse.Namespace, found: Json) -> int:
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(batch_in_words(found, local_words(args))))
    return 0


# --------------------------------------------------------------------------- files


def _export(args: argparse.Namespace) -> int:
    from controller.cli.record_csv import export

    counts = export(args.log, args.folder, overwrite=args.overwrite)
    if args.json:
        print(json.dumps(counts, indent=2))
    else:
        for name, rows in counts.items():
            print(f"{args.folder / name}: {rows} rows")
    return 0


def _import(args: argparse.Namespace) -> int:
    from controller.cli.record_import import taken
    from controller.cli.record_table import FileRefusedError

    try:
        found = taken(args, args.file)
    except FileRefusedError as error:
        for line in error.lines:
            print(f"{args.file}: {line}", file=sys.stderr)
        print("bottomheat batch: nothing was taken", file=sys.stderr)
        return 1
    if args.json:
        told = {"taken": found.what, "codes": found.codes, "already": found.already}
        print(json.dumps(told, indent=2))
        return 0
    named = f": {' '.join(dict.fromkeys(found.codes))}" if found.codes else ""
    print(f"{len(found.codes)} {found.what} were taken{named}")
    if found.already:
        print(f"{found.already} were told already, word for word, and are not again")
    return 0


_WORK: dict[str, Callable[[argparse.Namespace], int]] = {
    "add": _add,
    "correct": _correct,
    "list": _list,
    "show": _show,
    "look": _look,
    "move": _move,
    "close": _close,
    "advice": _advice,
    "due": _due,
    "plants": _plants,
    "round": _round,
    "export": _export,
    "import": _import,
}
