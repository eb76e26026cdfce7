"""`bottomheat event`: what was done at the bench, told, listed and corrected."""

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from urllib.parse import quote, urlencode

from controller.cli.asking import Json, add_options, ask, clean
from controller.cli.log_words import A_TIME
from controller.cli.over_http import AskError
from controller.cli.photos import A_PHOTO, photo_kept
from controller.cli.record_words import at_said, local_words
from controller.records.events import EventKind

_OTHERS = ("list", "correct", "withdraw")


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "event",
        help="tell what was done at the bench: watered, turned, moved, …",
        description=(
            "Tells a running bench what was done, now or some time ago; list shows"
            " it, correct N and withdraw N put event N right, with what was told"
            " before kept. Exit 0: it is on the disk; 2: it is not."
        ),
        epilog=(
            "bottomheat event watered N1 N2 --ml 200 --at 2027-02-03T08:00 and"
            " bottomheat event correct 17 --ml 150 are examples."
        ),
    )
    kinds = [kind.value for kind in EventKind]
    parser.add_argument(
        "what",
        metavar="WHAT",
        choices=[*kinds, *_OTHERS],
        help=", ".join(kinds) + "; list, correct or withdraw",
    )
    parser.add_argument(
        "names",
        metavar="TRAY",
        nargs="*",
        help="trays; after correct and withdraw the event's number first",
    )
    parser.add_argument("--at", metavar="TIME", help=f"when: {A_TIME}; else now")
    parser.add_argument("--who", metavar="NAME", help="who did it")
    parser.add_argument("--mat", action="append", metavar="MAT", help="a whole mat")
    parser.add_argument("--probe", action="append", metavar="PROBE", help="a probe")
    parser.add_argument("--ml", type=float, help="water, to all of them together [ml]")
    parser.add_argument("--before", type=float, metavar="G", help="weight before [g]")
    parser.add_argument("--after", type=float, metavar="G", help="weight after [g]")
    parser.add_argument("--photo", type=Path, metavar="FILE", help=A_PHOTO)
    parser.add_argument("--text", help="whatever else")
    add_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        found = _listed(args) if args.what == "list" else _told(args)
    except AskError as error:
        print(f"bottomheat event: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(args, found)))
    return 0


def _listed(args: argparse.Namespace) -> Json:
    if len(args.names) > 1:
        raise AskError("list takes one tray, or none for all")
    asked = urlencode({"tray": args.names[0]}) if args.names else ""
    return ask(args, "GET", f"/v1/events?{asked}")


def _told(args: argparse.Namespace) -> Json:
    if args.what in ("correct", "withdraw"):
        if not args.names or not args.names[0].isdecimal():
            raise AskError(f"{args.what} needs the number of an event; see event list")
        number = quote(args.names.pop(0))
        body = _body(args)
        if args.what == "withdraw":
            body["withdrawn"] = True
        return ask(args, "PATCH", f"/v1/events/{number}", body)
    return ask(args, "POST", "/v1/events", {"kind": args.what, **_body(args)})


def _body(args: argparse.Namespace) -> Json:
    """Return what was said, and nothing else."""
    said: dict[str, object] = {
        "who": args.who,
        "trays": args.names or None,
        "mats": args.mat,
        "probes": args.probe,
        "water_ml": args.ml,
        "weight_before_g": args.before,
        "weight_after_g": args.after,
        "text": args.text,
    }
    if args.at is not None:
        said["at"] = at_said(args, "--at", args.at)
    said["photo"] = photo_kept(args)
    return {key: value for key, value in said.items() if value is not None}


# ----------------------------------------------------------------------- in words


def _in_words(args: argparse.Namespace, found: Json) -> Iterator[str]:
    if args.what != "list":
        yield _line(found, local_words(args))
        warnings = found.get("warnings")
        for warning in warnings if isinstance(warnings, list) else ():
            yield f"  ! {clean(warning)}"
        return
    listed = found.get("events")
    events = listed if isinstance(listed, list) else []
    words = local_words(args) if events else str
    for one in events:
        yield _line(one, words)
    if not events:
        yield "nothing was told yet"


def _line(event: Mapping[str, object], words: Callable[[str], str]) -> str:
    at = words(str(event.get("at")))
    parts = [str(event.get("id")), at, str(event.get("kind"))]
    for key in ("trays", "mats", "probes"):
        names = event.get(key)
        parts += [" ".join(map(str, names))] if isinstance(names, list) else []
    if event.get("given_ml") is not None:
        parts.append(f"{event.get('given_ml')} ml")
    parts += [str(event.get(key)) for key in ("photo", "text", "who")]
    if event.get("withdrawn"):
        parts.append("(withdrawn)")
    return "  ".join(clean(part) for part in parts if part)
