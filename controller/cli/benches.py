"""`bottomheat benches`: many daemons at a glance, asked through their APIs."""

import argparse
import json
import os
import sys
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from controller.cli.bench_glance import Glance, Json, glanced, unknown
from controller.cli.output import table

AT_ONCE, WITHIN_S, STALE_S = 16, 5.0, 60.0
MOST = 10_000


class _ListError(Exception):
    """The list is of no use; the message names the place and what is right."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A bench that is asked.

    Attributes:
        name: As the list calls it; else the place in its address.
        url: Address of its API.
        token_file: File with a token for it, or None.
    """

    name: str
    url: str
    token_file: Path | None = None


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "benches",
        help="many benches at a glance, what needs somebody first",
        description=(
            "Asks the APIs of many benches, some at a time, and shows a line for each:"
            " what needs somebody first. One that does not answer, or whose last scan"
            " is old, is marked. Exit 0: all well; 1: somebody is needed somewhere; 2:"
            " usage."
        ),
        epilog=(
            "A list is a TOML file: for each bench [[bench]] with url, and name and"
            " token_file if it has them. A token is sent to the bench of its own file"
            " only; that of the environment to none."
        ),
    )
    parser.add_argument("urls", metavar="URL", nargs="*", help="addresses of APIs")
    parser.add_argument("--list", type=Path, metavar="FILE", help="a TOML list")
    parser.add_argument(
        "--at-once",
        type=int,
        default=AT_ONCE,
        metavar="N",
        help="so many are asked at a time (default: %(default)s)",
    )
    parser.add_argument(
        "--within",
        type=float,
        default=WITHIN_S,
        metavar="SECONDS",
        help="waited for each answer (default: %(default)s)",
    )
    parser.add_argument(
        "--stale",
        type=float,
        default=STALE_S,
        metavar="SECONDS",
        help="a last scan older than this is stale (default: %(default)s)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        asked = list(_asked(args))
        _check(args, asked)
    except _ListError as error:
        print(f"bottomheat benches: {error}", file=sys.stderr)
        return 2
    found = seen(asked, args.at_once, args.within, args.stale)
    found.sort(key=lambda one: (-one.rank, one.name))
    if args.json:
        rows = [one.record() for one in found]
        print(json.dumps({"benches": rows}, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(found)))
    return 1 if any(one.rank for one in found) else 0


def seen(
    asked: Sequence[Asked], at_once: int, within_s: float, stale_s: float
) -> list[Glance]:
    """Return a glance at each bench, in the order in which they were given.

    Args:
        asked: The benches.
        at_once: How many are asked at a time.
        within_s: How long each may take to answer [s].
        stale_s: From which age on a last scan is stale [s].
    """
    with ThreadPoolExecutor(at_once, thread_name_prefix="bench") as pool:
        return list(pool.map(lambda one: _glance(one, within_s, stale_s), asked))


def _glance(one: Asked, within_s: float, stale_s: float) -> Glance:
    from controller.cli.asking import told
    from controller.cli.over_http import AskError, exchange

    request = argparse.Namespace(
        url=one.url, token_file=one.token_file, of_many=True, within_s=within_s
    )
    try:
        answer = exchange(request, "GET", "/v1/bench", None)
        return glanced(one.name, one.url, told(one.url, answer), stale_s)
    except AskError as error:
        return unknown(one.name, one.url, str(error))


# -------------------------------------------------------------------- which ones


def _asked(args: argparse.Namespace) -> Iterator[Asked]:
    for url in args.urls:
        yield _one(url, urlsplit(url).netloc, None, "URL")
    if args.list is not None:
        yield from _listed(args.list)


def _listed(path: Path) -> Iterator[Asked]:
    try:
        found: Json = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _ListError(f"--list {path}: {error}") from None
    rows = found.get("bench")
    if set(found) != {"bench"} or not isinstance(rows, list):
        raise _ListError(f"--list {path}: must hold [[bench]] tables and nothing else")
    for number, row in enumerate(rows, 1):
        where = f"--list {path}: bench {number}"
        if not isinstance(row, dict) or not set(row) <= {"name", "url", "token_file"}:
            raise _ListError(f"{where}: has url, and may have name and token_file")
        words = {key: value for key, value in row.items() if isinstance(value, str)}
        if "url" not in words or len(words) != len(row):
            raise _ListError(f"{where}: url, name and token_file are texts")
        token = words.get("token_file")
        file = None if token is None else path.parent / token
        name = words.get("name") or urlsplit(words["url"]).netloc
        yield _one(words["url"], name, file, where)


def _one(url: str, name: str, token_file: Path | None, where: str) -> Asked:
    """Return a bench whose address is one; what may be a secret is not repeated."""
    try:
        parts = urlsplit(url)
        plain = parts.scheme in {"http", "https"} and bool(parts.hostname)
        plain = plain and not (parts.username or parts.query or parts.fragment)
        _ = parts.port  # raises if it is none
    except ValueError:
        plain = False
    if not plain:
        raise _ListError(
            f"{where}: must be http://HOST:PORT or https://…, without a name, a"
            " password or a token in it: a token stands in a file (token_file)"
        )
    return Asked(name, url.rstrip("/"), token_file)


def _check(args: argparse.Namespace, asked: Sequence[Asked]) -> None:
    if not asked:
        raise _ListError("no bench: give addresses, or --list FILE")
    if len(asked) > MOST:
        raise _ListError(f"{len(asked)} benches: {MOST} at most are looked at together")
    if not 1 <= args.at_once <= 256:  # noqa: PLR2004
        raise _ListError(f"--at-once {args.at_once}: from 1 to 256")
    if not 0 < args.within <= 60 or args.stale <= 0:  # noqa: PLR2004
        raise _ListError("--within: above 0, to 60 s; --stale: above 0")
    for one in asked:
        _check_token_file(one.token_file)


def _check_token_file(path: Path | None) -> None:
    if path is None:
        return
    try:
        mode = path.stat().st_mode
    except OSError as error:
        raise _ListError(f"token_file {path}: {error.strerror}") from None
    if os.name == "posix" and mode & 0o077:
        raise _ListError(f"token_file {path}: others can read it: chmod 600 {path}")


# ------------------------------------------------------------------------- words


def _in_words(found: Sequence[Glance]) -> Iterator[str]:
    needed = sum(1 for one in found if one.rank)
    yield f"{len(found)} benches; somebody is needed at {needed}."
    yield ""
    head = ("BENCH", "STATE", "COLDEST", "WARMEST", "HEATING", "WHAT")
    rows = [
        (
            one.name,
            one.state,
            _degrees(one.coldest_c),
            _degrees(one.warmest_c),
            f"{one.heating} of {one.mats}",
            one.what,
        )
        for one in found
    ]
    lines = table(head, rows).splitlines()
    yield from lines


def _degrees(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f} °C"
