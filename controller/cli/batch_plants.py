"""What `bottomheat batch` takes of plants after they rooted, and of whole containers.

What may live here: those two parsers and how they become bodies.
"""

import argparse
from collections.abc import Sequence
from urllib.parse import quote

from controller.cli.asking import Json, add_options, ask
from controller.cli.log_words import A_TIME
from controller.cli.over_http import AskError
from controller.cli.record_words import at_said
from controller.records.stages import StageKind

_TOPS = ("dormant", "swelling", "leafed", "wilted")
_DEAD = ("rotted_base", "shrivelled", "mould", "missing")


def add_plants(what: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `plants` and `round`."""
    plants = what.add_parser(
        "plants", help="tell what became of rooted plants: potted, …, given, dead"
    )
    plants.add_argument("code", metavar="CODE")
    plants.add_argument("stage", choices=[kind.value for kind in StageKind])
    plants.add_argument("count", metavar="N", type=int, help="how many of them")
    plants.add_argument("--roots", type=int, metavar="0-4", help="root score if potted")
    plants.add_argument("--reason", help="why they died, or where they went")
    through = what.add_parser(
        "round",
        help="with wet hands: a container looked through, tops fine but for some",
        description=(
            "Gives every open batch in a container the look 'tops fine', but for those"
            " named with --except, such as --except 334X wilted=2 mould=1."
        ),
    )
    through.add_argument("tray", metavar="TRAY")
    through.add_argument(
        "--except",
        dest="others",
        action="append",
        nargs="+",
        default=[],
        metavar="WORD",
        help=f"a code and what was seen: {', '.join((*_TOPS, *_DEAD))}=N",
    )
    for parser in (plants, through):
        parser.add_argument("--at", metavar="TIME", help=f"when: {A_TIME}; else now")
        parser.add_argument("--who", metavar="NAME")
        parser.add_argument("--text", help="whatever else")
        add_options(parser)


def tell_plants(args: argparse.Namespace) -> Json:
    """Tell how far plants came; return the batch."""
    said = {"root_score": args.roots, "reason": args.reason}
    body: Json = {"stage": args.stage, "count": args.count, **when_said(args)}
    body |= {key: value for key, value in said.items() if value is not None}
    return ask(args, "POST", f"/v1/batches/{quote(args.code, safe='')}/stages", body)


def tell_round(args: argparse.Namespace) -> Json:
    """Tell of a container looked through; return the batches in it."""
    others = [_other(args, words) for words in args.others]
    body = {"others": others, **when_said(args)}
    return ask(args, "POST", f"/v1/trays/{quote(args.tray, safe='')}/looks", body)


def _other(args: argparse.Namespace, words: Sequence[str]) -> Json:
    code, *parts = words
    if not parts:
        raise AskError(f"--except {code}: say what was seen, such as wilted=2")
    found = counts_said("except", parts, (*_TOPS, *_DEAD))
    tops = {key: n for key, n in found.items() if key in _TOPS}
    dead = {key: n for key, n in found.items() if key in _DEAD}
    count = _count_of(args, code)
    return {
        "batch": code,
        "how": "tops-only",
        "looked_at": count,
        **({"tops": tops} if tops else {}),
        **({"dead": dead} if dead else {}),
    }


def _count_of(args: argparse.Namespace, code: str) -> object:
    """Return how many were stuck: whoever looks a container through looks at all."""
    batch = ask(args, "GET", f"/v1/batches/{quote(code, safe='')}").get("batch")
    count = batch.get("count") if isinstance(batch, dict) else None
    if count is None:
        raise AskError(f"--except {code}: it is not told how many were stuck")
    return count


def when_said(args: argparse.Namespace) -> Json:
    """Return when, who and text, as far as they were said."""
    said: dict[str, object] = {"who": args.who, "text": args.text}
    if args.at is not None:
        said["at"] = at_said(args, "--at", args.at)
    return {key: value for key, value in said.items() if value is not None}


def counts_said(name: str, said: Sequence[str], keys: Sequence[str]) -> dict[str, int]:
    """Return counts as written, such as ["roots=3", "callus=2"].

    Raises:
        AskError: One is no count of these keys.
    """
    found: dict[str, int] = {}
    for part in said:
        key, _, number = part.partition("=")
        key = key.replace("-", "_")
        if key not in keys or not number.isdecimal():
            right = ", ".join(f"{one}=N" for one in keys)
            raise AskError(f"--{name} {part}: write {right}, as many as apply")
        found[key] = int(number)
    return found
