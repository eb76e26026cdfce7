"""The API asked by commands: a daemon's over HTTP, or our own on a log at rest.

On a file the very same routes answer, in this process, without a socket. A
daemon that runs holds the file, so that nothing is written past it; to read it while
it is written does no harm. What may live here: asking, and what goes wrong with it.
No command.
"""

import argparse
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.over_http import JSON, Answer, AskError, add_url_options, exchange

if TYPE_CHECKING:
    import asyncio

    from api.application import App

Json = dict[str, object]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what every command takes that asks."""
    add_url_options(parser)
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
        args: With url, token_file and perhaps log, as add_options leaves them.
        method: "GET", "POST" or "PATCH".
        path: Such as "/v1/events".
        body: What is told, if anything.

    Raises:
        AskError: Nobody answered, or it was refused.
        LogError: The log cannot be used.
    """
    text = None if body is None else json.dumps(body).encode()
    return _asked(args, method, path, text, JSON)


def send_photo(args: argparse.Namespace, picture: bytes, media_type: str) -> Json:
    """Return what the API answers to a photo; raise as ask does."""
    return _asked(args, "POST", "/v1/photos", picture, media_type)


def _asked(
    args: argparse.Namespace,
    method: str,
    path: str,
    text: bytes | None,
    media_type: str,
) -> Json:
    log: Path | None = getattr(args, "log", None)
    if log is None:
        answer = exchange(args, method, path, text, media_type)
        return told(args.url.rstrip("/"), answer)
    opened: _OpenLog | None = getattr(args, "opened", None)
    if opened is not None and method == "GET":
        return told(f"{log}", opened.answer(method, path, b"", media_type))
    with _opened(log, writing=method != "GET") as once:
        return told(f"{log}", once.answer(method, path, text or b"", media_type))


def told(where: str, answer: Answer) -> Json:
    """Return the JSON object of an answer.

    Raises:
        AskError: There is none, or it was refused.
    """
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


# ----------------------------------------------------------------------- on a file


class _OpenLog:
    """The API on a season log, for one question after the other."""

    def __init__(self, app: "App", loop: "asyncio.Runner") -> None:
        self._app, self._loop = app, loop

    def answer(self, method: str, path: str, text: bytes, media_type: str) -> Answer:
        """Return what the API answers."""
        asked = _in_process(self._app, method, path, text, media_type)
        return self._loop.run(asked)


@contextmanager
def _opened(log: Path, *, writing: bool) -> Iterator[_OpenLog]:
    import asyncio

    from api.app import create_app
    from api.record_book import Records
    from controller.adapters.photos import PhotoFolder, photos_beside
    from controller.adapters.season_log import DirectRecords, SeasonLogReader
    from controller.cli.log_bench import LogBench

    reader = SeasonLogReader(log)
    keeper = DirectRecords(log) if writing else None
    try:
        bench = LogBench(log, reader)
        photos = PhotoFolder(photos_beside(log))
        records = Records(keeper, lambda: reader, photos)
        app = create_app(bench, lambda: reader, bench, records)
        with asyncio.Runner() as loop:
            yield _OpenLog(app, loop)
    finally:
        if keeper is not None:
            keeper.close()


@contextmanager
def opened_once(args: argparse.Namespace) -> Iterator[None]:
    """Let all questions within be asked of a log that is opened once.

    Args:
        args: As ask takes them; without a log nothing is opened.

    Raises:
        LogError: The log cannot be used.
    """
    if getattr(args, "log", None) is None:
        yield
        return
    with _opened(args.log, writing=False) as opened:
        args.opened = opened
        try:
            yield
        finally:
            args.opened = None


async def _in_process(
    app: "App", method: str, path: str, text: bytes, media_type: str
) -> Answer:
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
            (b"content-type", media_type.encode()),
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
    return Answer(status, bytes(parts))
