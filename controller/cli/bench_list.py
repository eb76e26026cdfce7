"""Which benches are looked at: addresses, or a TOML list of them.

What may live here: reading and checking that. A secret that stands in the wrong
place is refused and not repeated.
"""

import os
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from controller.cli.asking import clean

MOST = 10_000

PORT = 8100
"""Chosen: where their page listens unless told otherwise; a bench's own takes 8000."""
_LONGEST_NAME = 60
_KEYS = frozenset({"name", "url", "page", "token_file"})


class ListError(Exception):
    """The list is of no use; the message names the place and what is right."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A bench that is asked.

    Attributes:
        name: As the list calls it; else the place in its address.
        url: Address of its API.
        token_file: File with a token for it, or None.
        page: Address of its page, as people reach it.
    """

    name: str
    url: str
    token_file: Path | None = None
    page: str = ""


def asked_for(urls: Sequence[str], path: Path | None) -> tuple[list[Asked], object]:
    """Return the benches, and what the list has as [api].

    Args:
        urls: Addresses of APIs.
        path: A TOML list of more, or None.

    Raises:
        ListError: Anything in it is wrong, or there is no bench.
    """
    found = [_one({"url": url}, None, "URL") for url in urls]
    api: object = {}
    if path is not None:
        content = _content(path)
        api = content.get("api", {})
        found += _listed(content, path)
    if not found:
        raise ListError("no bench: give addresses, or --list FILE")
    if len(found) > MOST:
        raise ListError(f"{len(found)} benches: {MOST} at most are looked at together")
    for one in found:
        _check_token_file(one.token_file)
    return found, api


def api_in(path: Path) -> object:
    """Return what a list has as [api].

    Raises:
        ListError: It cannot be read.
    """
    return _content(path).get("api", {})


def _content(path: Path) -> Mapping[str, object]:
    try:
        found: Mapping[str, object] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ListError(f"--list {path}: {error}") from None
    return found


def _listed(content: Mapping[str, object], path: Path) -> Iterator[Asked]:
    rows = content.get("bench")
    if not set(content) <= {"bench", "api"} or not isinstance(rows, list):
        raise ListError(
            f"--list {path}: must hold [[bench]] tables, and may hold one [api]"
        )
    for number, row in enumerate(rows, 1):
        where = f"--list {path}: bench {number}"
        if not isinstance(row, dict) or not set(row) <= _KEYS:
            known = "name, page and token_file"
            raise ListError(f"{where}: has url, and may have {known}")
        words = {key: value for key, value in row.items() if isinstance(value, str)}
        if "url" not in words or len(words) != len(row):
            raise ListError(f"{where}: url, name, page and token_file are texts")
        token = words.get("token_file")
        yield _one(words, None if token is None else path.parent / token, where)


def _one(words: Mapping[str, str], token_file: Path | None, where: str) -> Asked:
    url = _address(words["url"], where)
    page = _address(words["page"], f"{where}: page") if "page" in words else url
    name = clean(words.get("name") or urlsplit(url).netloc)
    if len(name) > _LONGEST_NAME:
        raise ListError(f"{where}: a name has {_LONGEST_NAME} characters at most")
    return Asked(name, url, token_file, page)


def _address(url: str, where: str) -> str:
    """Return an address that is one; what may be a secret is not repeated."""
    try:
        parts = urlsplit(url)
        plain = parts.scheme in {"http", "https"} and bool(parts.hostname)
        plain = plain and not (parts.username or parts.query or parts.fragment)
        plain = plain and url.isascii() and url.isprintable() and " " not in url
        _ = parts.port  # raises if it is none
    except ValueError:
        plain = False
    if not plain:
        raise ListError(
            f"{where}: must be http://HOST:PORT or https://…, without a name, a"
            " password or a token in it: a token stands in a file (token_file)"
        )
    return url.rstrip("/")


def _check_token_file(path: Path | None) -> None:
    if path is None:
        return
    try:
        mode = path.stat().st_mode
    except OSError as error:
        raise ListError(f"token_file {path}: {error.strerror}") from None
    if os.name == "posix" and mode & 0o077:
        raise ListError(f"token_file {path}: others can read it: chmod 600 {path}")
