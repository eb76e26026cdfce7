"""A running bench asked over HTTP, with a token where it wants one.

A token comes from a file or the environment, never from the command line, which
every process of the machine can read. What may live here: requests and what goes
wrong with them. No command.
"""

import argparse
import http.client
import os
import urllib.error
import urllib.request
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Protocol, cast

URL = "http://127.0.0.1:8000"
"""Where the API of this machine's own bench listens unless told otherwise."""

VARIABLE = "BOTTOMHEAT_TOKEN"

JSON = "application/json"

LARGEST = 16 * 1024 * 1024
"""Bytes of an answer that are read."""

_WITHIN_S = 15
_ADVICE = "is the daemon running there? Start it with: bottomheat run"
_LONGEST_FILE = 4_096


class AskError(Exception):
    """It was not done; the message says where, what was found, what is right.

    Attributes:
        faults: Single places that are at fault: pointer and sentence.
    """

    def __init__(self, message: str, faults: Sequence[tuple[str, str]] = ()) -> None:
        super().__init__(message)
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    body: bytes


class Stream(Protocol):
    """An answer that goes on."""

    status: int

    def readline(self, limit: int) -> bytes:
        """Return the next line, or an empty one at the end."""
        ...

    def close(self) -> None:
        """Hang up."""
        ...


def add_url_options(parser: argparse.ArgumentParser) -> None:
    """Add what every command takes that asks over HTTP."""
    parser.add_argument(
        "--url", default=URL, help="address of the bench's API (default: %(default)s)"
    )
    parser.add_argument(
        "--token-file",
        type=Path,
        metavar="FILE",
        help="file with the token for it, where the bench asks for one; else the"
        f" environment's {VARIABLE}",
    )


def exchange(
    args: argparse.Namespace,
    method: str,
    path: str,
    text: bytes | None,
    media_type: str = JSON,
) -> Answer:
    """Return what a bench answers, whatever it is.

    Args:
        args: With url and token_file, as add_url_options leaves them.
        method: "GET", "POST" or "PATCH".
        path: Such as "/v1/events".
        text: A body, if any.
        media_type: What the body is.

    Raises:
        AskError: Nobody answered, or there is no such address or token.
    """
    try:
        about = {} if text is None else {"Content-Type": media_type}
        with _opened(args, method, path, text, about, _WITHIN_S) as found:
            return Answer(found.status, found.read(LARGEST))
    except urllib.error.HTTPError as error:
        with error:
            return Answer(error.code, error.read(LARGEST))
    except OSError as error:
        raise _no_answer(args, path, error) from None
    except (ValueError, http.client.HTTPException) as error:
        raise _no_answer(args, path, error) from None


def stream(
    args: argparse.Namespace, path: str, headers: Mapping[str, str], silent_s: float
) -> Stream | Answer:
    """Return an answer that goes on; or what was answered instead.

    Args:
        args: With url and token_file.
        path: Such as "/v1/live".
        headers: What else is said.
        silent_s: A silence of this length is taken for a lost connection [s].

    Raises:
        AskError: Nobody answered, or there is no such address or token.
    """
    try:
        return cast("Stream", _opened(args, "GET", path, None, headers, silent_s))
    except urllib.error.HTTPError as error:
        with error:
            return Answer(error.code, error.read(LARGEST))
    except (OSError, ValueError, http.client.HTTPException) as error:
        raise _no_answer(args, path, error) from None


def _no_answer(args: argparse.Namespace, path: str, error: Exception) -> AskError:
    address = args.url.rstrip("/") + path
    why = error.reason if isinstance(error, urllib.error.URLError) else error
    return AskError(f"{address}: no answer ({why}); {_ADVICE}")


def _opened(
    args: argparse.Namespace,
    method: str,
    path: str,
    text: bytes | None,
    headers: Mapping[str, str],
    within_s: float,
) -> http.client.HTTPResponse:
    if not args.url.startswith(("http://", "https://")):
        msg = f"--url {args.url}: must begin with http:// or https://, such as {URL}"
        raise AskError(msg)
    request = urllib.request.Request(  # noqa: S310 - http or https, as was checked
        args.url.rstrip("/") + path, data=text, method=method
    )
    token = token_of(args)
    if token is not None:
        request.add_header("Authorization", f"Bearer {token}")
    for name, value in headers.items():
        request.add_header(name, value)
    # A proxy of the household's has no business between us and the bench; and a
    # token is not carried on to wherever an answer may point.
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), _NoRedirect)
    found: http.client.HTTPResponse = opener.open(request, timeout=within_s)
    return found


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(
        self,
        req: urllib.request.Request,
        fp: IO[bytes],
        code: int,
        msg: str,
        headers: http.client.HTTPMessage,
        newurl: str,
    ) -> None:
        """Go nowhere else: the redirection itself is the answer."""


def token_of(args: argparse.Namespace) -> str | None:
    """Return the token for a bench; None: there is none.

    Raises:
        AskError: The file cannot be read, or has no token.
    """
    path: Path | None = args.token_file
    if path is None:
        return _checked(os.environ.get(VARIABLE, ""), VARIABLE) or None
    return token_in(path)


def token_in(path: Path) -> str:
    """Return the token in a file.

    Raises:
        AskError: The file cannot be read, or has no token.
    """
    try:
        with path.open(encoding="utf-8") as file:
            text = file.read(_LONGEST_FILE)
    except OSError as error:
        raise AskError(f"--token-file {path}: {error.strerror}") from None
    except ValueError:
        raise AskError(f"--token-file {path}: this is not text") from None
    token = _checked(text, f"--token-file {path}")
    if not token:
        raise AskError(f"--token-file {path}: there is nothing in it")
    return token


def _checked(text: str, where: str) -> str:
    token = text.strip()
    if not token.isascii() or not all("!" <= c <= "~" for c in token):
        raise AskError(f"{where}: a token is one word of ASCII on one line")
    return token
