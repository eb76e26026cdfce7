"""The API asked by commands: a daemon's over HTTP, or our own on a log at rest.

On a file the very same routes answer, in this process, without a socket. A
daemon that runs holds the file, so that nothing is written past it. What may live
here: asking, and what goes wrong with it. No command.
"""

import argparse
import http.client
import json
import urllib.error
import urllib.request
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fastapi import FastAPI

Json = dict[str, object]

URL = "http://127.0.0.1:8000"
"""Where the API of this machine's own bench listens unless told otherwise."""

_WITHIN_S = 15
_LARGEST = 16 * 1024 * 1024
_ADVICE = "is the daemon running there? Start it with: bottomheat run"


class AskError(Exception):
    """It was not done; the message says where, what was found, what is right.

    Attributes:
        faults: Single places that are at fault: pointer and sentence.
    """

    def __init__(self, message: str, faults: Sequence[tuple[str, str]] = ()) -> None:
        super().__init__(message)
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class _Answer:
    status: int
    body: bytes


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what every command takes that asks."""
    parser.add_argument(
        "--url", default=URL, help="address of the bench's API (default: %(default)s)"
    )
    parser.add_argument(
        "--log",
        type=Path,
        metavar="FILE",
        help="a season log instead, while no daemon writes it",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def ask(
    args: argparse.Namespace,
    method: str,
    path: str,
    body: Mapping[str, object] | None = None,
) -> Json:
    """Return what the API answers.

    Args:
        args: With url and log, as add_options leaves them.
        method: "GET", "POST" or "PATCH".
        path: Such as "/v1/events".
        body: What is told, if anything.

    Raises:
        AskError: Nobody answered, or it was refused.
        LogError: The log cannot be used.
    """
    text = None if body is None else json.dumps(body).encode()
    if args.log is None:
        answer = _asked_over_http(args.url, method, path, text)
        return _told(args.url.rstrip("/"), answer)
    return _told(f"{args.log}", _asked_of_file(args.log, method, path, text))


def get(url: str, path: str) -> Json:
    """Return what a running bench says.

    Raises:
        AskError: Nobody answered, or it was refused.
    """
    return _told(url.rstrip("/"), _asked_over_http(url, "GET", path, None))


def _told(where: str, answer: _Answer) -> Json:
    found = _json_object(where, answer.body)
    if not 200 <= answer.status < 300:  # noqa: PLR2004
        raise _refusal(where, answer.status, found)
    return found


def _refusal(where: str, status: int, found: Json) -> AskError:
    listed = found.get("errors")
    faults = [
        (str(one.get("pointer") or one.get("parameter")), str(one.get("detail")))
        for one in (listed if isinstance(listed, list) else ())
        if isinstance(one, dict)
    ]
    detail = clean(found.get("detail") or "no reason was given")
    return AskError(f"{where}: {status}: {detail}", faults)


def _json_object(where: str, body: bytes) -> Json:
    try:
        found: object = json.loads(body)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        msg = f"{where}: what answers there is no bottomheat: a JSON object is right"
        raise AskError(msg)
    return found


def clean(value: object) -> str:
    """Return text without control characters, which could repaint a terminal."""
    return "".join(c if c.isprintable() else "�" for c in str(value))


# ----------------------------------------------------------------------- over HTTP


def _asked_over_http(url: str, method: str, path: str, text: bytes | None) -> _Answer:
    if not url.startswith(("http://", "https://")):
        msg = f"--url {url}: must begin with http:// or https://, such as {URL}"
        raise AskError(msg)
    address = url.rstrip("/") + path
    try:
        return _exchange(address, method, text)
    except urllib.error.URLError as error:
        raise AskError(f"{address}: no answer ({error.reason}); {_ADVICE}") from None
    except (OSError, ValueError, http.client.HTTPException) as error:
        raise AskError(f"{address}: no answer ({error}); {_ADVICE}") from None


def _exchange(address: str, method: str, text: bytes | None) -> _Answer:
    request = urllib.request.Request(  # noqa: S310 - http or https, as was checked
        address, data=text, method=method
    )
    if text is not None:
        request.add_header("Content-Type", "application/json")
    # A proxy of the household's has no business between us and the bench.
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=_WITHIN_S) as answer:
            return _Answer(answer.status, answer.read(_LARGEST))
    except urllib.error.HTTPError as error:
        with error:
            return _Answer(error.code, error.read(_LARGEST))


# ----------------------------------------------------------------------- on a file


def _asked_of_file(log: Path, method: str, path: str, text: bytes | None) -> _Answer:
    import asyncio

    from api.app import create_app
    from api.record_book import Records
    from controller.adapters.season_log import DirectRecords, SeasonLogReader
    from controller.cli.log_bench import LogBench

    reader = SeasonLogReader(log)
    keeper = None if method == "GET" else DirectRecords(log)
    try:
        bench = LogBench(log, reader)
        records = Records(keeper, lambda: reader)
        app = create_app(bench, lambda: reader, bench, records)
        return asyncio.run(_in_process(app, method, path, text or b""))
    finally:
        if keeper is not None:
            keeper.close()


async def _in_process(app: "FastAPI", method: str, path: str, text: bytes) -> _Answer:
    """Let an app answer one request, as a server would (ASGI 3.0)."""
    place, _, query = path.partition("?")
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": place,
        "raw_path": place.encode(),
        "query_string": query.encode(),
        "headers": [
            (b"host", b"localhost"),
            (b"content-type", b"application/json"),
            (b"content-length", str(len(text)).encode()),
        ],
        "client": None,
        "server": ("localhost", 80),
    }
    status, parts = 0, bytearray()

    async def receive() -> Json:
        return {"type": "http.request", "body": text, "more_body": False}

    async def send(message: Mapping[str, object]) -> None:
        nonlocal status
        if message["type"] == "http.response.start":
            status = int(str(message["status"]))
        body = message.get("body", b"")
        parts.extend(body if isinstance(body, bytes) else b"")

    await app(scope, receive, send)
    return _Answer(status, bytes(parts))
