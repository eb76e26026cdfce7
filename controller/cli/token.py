"""`bottomheat token`: who may use the API. A secret is shown once, and kept nowhere."""

import argparse
import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.access import Token, TokenFile
    from controller.adapters.settings import ApiSettings

_ONCE = "It is shown this once. Keep it like a key: whoever has it comes in."


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "token",
        help="who may use the API: make, list and revoke tokens",
        description=(
            "Makes, lists and revokes tokens of a bench's API; its daemon may run, and"
            " knows of it within seconds. From the first one on the API asks for a"
            " token, also on this machine. Tokens are kept beside the season log, by"
            " their hashes."
        ),
        epilog=(
            "bottomheat token add phone --may operate --qr prints a link and its QR"
            " code: scan it, and the phone is let in for a season. revoke ends all"
            " that the token opened."
        ),
    )
    parser.add_argument("what", metavar="WHAT", choices=["add", "list", "revoke"])
    parser.add_argument("name", metavar="NAME", nargs="?", help="the token's name")
    parser.add_argument(
        "--may",
        choices=["read", "operate"],
        help="read: look at everything; operate: change setpoints and records, too",
    )
    parser.add_argument(
        "--qr", action="store_true", help="the link as a QR code, too, for a phone"
    )
    parser.add_argument(
        "--url",
        help="address of the page as the one who is let in reaches it, such as"
        " https://bench.home.arpa (default: from the configuration)",
    )
    parser.add_argument(
        "--config",
        type=Path,
        default=Path("config/bench.toml"),
        help="the bench's configuration (default: %(default)s)",
    )
    parser.add_argument(
        "--list",
        type=Path,
        metavar="FILE",
        help="for the page of many benches instead: the list that bottomheat benches"
        " --serve has",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status.

    Raises:
        AccessError: The tokens cannot be read or written.
        SettingsError: The configuration is wrong.
    """
    from controller.adapters.access import TokenFile, tokens_beside
    from controller.cli.bench_list import ListError

    problem = _problem(args)
    if problem:
        print(f"bottomheat token: {problem}", file=sys.stderr)
        return 2
    try:
        beside, api = _place(args)
    except ListError as error:
        print(f"bottomheat token: {error}", file=sys.stderr)
        return 2
    file = TokenFile(tokens_beside(beside))
    if args.what == "add":
        return _add(args, api, file)
    if args.what == "revoke":
        return _revoke(args, file)
    return _list(args, file)


def _place(args: argparse.Namespace) -> "tuple[Path, ApiSettings]":
    """Return beside what the tokens are kept, and where what they open listens."""
    from controller.adapters.settings import api_of, load
    from controller.cli.bench_list import PORT, api_in

    if args.list is not None:
        return args.list, api_of(api_in(args.list), str(args.list), PORT)
    settings = load(args.config, os.environ)
    return settings.log.path, settings.api


def _problem(args: argparse.Namespace) -> str | None:
    if args.what == "list":
        return "list takes no name" if args.name else None
    if not args.name:
        return f"{args.what} needs the token's name"
    if args.what == "add" and not args.may:
        return "say --may read or --may operate"
    return None


def _add(args: argparse.Namespace, api: "ApiSettings", file: "TokenFile") -> int:
    from api.formats import utc_text
    from controller.adapters.clocks import SystemClock
    from controller.cli.entrance import address_of
    from controller.ports import May

    first = file.load() is None
    now = SystemClock("UTC").now()
    secret = file.add(args.name, May(args.may), utc_text(now.utc_ms))
    url = (args.url or address_of(api, api.port)).rstrip("/")
    # What follows # stays in the browser: no server's or proxy's log has it.
    link = f"{url}/#token={secret}"
    if args.json:
        told = {"name": args.name, "may": args.may, "token": secret, "link": link}
        print(json.dumps(told, indent=2))
        return 0
    print(f"Token {args.name}, may {args.may}. {_ONCE}\n\n  {secret}\n\n  {link}\n")
    if args.qr:
        _print_qr(link)
    print(f"Its hash is kept in {file.path.absolute()}.")
    if first and args.list is not None:
        print(
            "This is the first token: from now on their page asks for one, also on this"
            " machine."
        )
    elif first:
        print(
            "This is the first token: from now on this bench asks for one, also on"
            " this machine. Give it to commands as --token-file FILE or in the"
            " environment as BOTTOMHEAT_TOKEN."
        )
    return 0


def _print_qr(link: str) -> None:
    """Print a QR code (ISO/IEC 18004) for a terminal of dark or light colours."""
    import segno

    segno.make_qr(link, error="m").terminal(sys.stdout, border=4, compact=True)


def _revoke(args: argparse.Namespace, file: "TokenFile") -> int:
    file.revoke(args.name)
    if args.json:
        print(json.dumps({"revoked": args.name}))
        return 0
    print(f"Token {args.name} is revoked; what it opened is closed within seconds.")
    if not file.load():
        print(
            "There is no token left: nobody can use the API. To open it to this"
            f" machine again, stop the daemon, delete {file.path} and start it."
        )
    return 0


def _list(args: argparse.Namespace, file: "TokenFile") -> int:
    tokens = file.load()
    if args.json:
        rows = [_row(token) for token in tokens or ()]
        print(json.dumps({"asked_for": tokens is not None, "tokens": rows}, indent=2))
    else:
        print("\n".join(_lines(tokens)))
    return 0


def _row(token: "Token") -> dict[str, str]:
    return {"name": token.name, "may": token.may.value, "made_at": token.made_at}


def _lines(tokens: "tuple[Token, ...] | None") -> Iterator[str]:
    from controller.cli.output import table

    if tokens is None:
        yield "No tokens: whoever is on this machine may use the API, nobody else."
    elif not tokens:
        yield "Every token was revoked: nobody may use the API."
    else:
        rows = [list(_row(token).values()) for token in tokens]
        yield table(["token", "may", "made at"], rows)
