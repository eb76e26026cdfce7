"""Tokens in a small file beside the season log, by their hashes alone.

A secret is 192 random bits (RFC 4086 asks for no more than 128 of a key that is
to last). So SHA-256 is enough: slow hashes make guessing dear where secrets are
passwords, of which there are few; nobody guesses one of 2**192, and whoever reads
this file learns nothing to show. A slow hash would only let strangers keep a
small board busy. What may live here: that file. No requests.
"""

import fcntl
import hashlib
import hmac
import re
import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.access.private_file import (
    AccessError,
    give_to_owner_of,
    replace_rows,
    rows_of,
    text_in,
)
from controller.ports import Holder, May
from controller.wire import Json

SECRET_BYTES = 24
"""Random bytes of a secret: 192 bits, 32 characters."""

PREFIX = "bottomheat-"
"""What a secret begins with, so that one that went astray can be told."""

MOST_TOKENS = 200
"""Chosen: each is compared with what is shown."""

_NAME = re.compile(r"[A-Za-z0-9_-]{1,32}", re.ASCII)
_HASH = re.compile(r"[0-9a-f]{64}", re.ASCII)
_LIST = "tokens"


@dataclass(frozen=True, slots=True)
class Token:
    """One token.

    Attributes:
        name: Its name.
        may: What it is good for.
        sha256: The hash of its secret, in hex.
        made_at: When it was made (RFC 3339).
    """

    name: str
    may: May
    sha256: str
    made_at: str

    @property
    def holder(self) -> Holder:
        """Who holds it."""
        return Holder(self.name, self.may, self.sha256)


def tokens_beside(log: Path) -> Path:
    """Return where the tokens of a bench are kept whose season log is there."""
    return log.with_name(f"{log.stem}.tokens.json")


def sessions_beside(log: Path) -> Path:
    """Return where the sessions of a bench are kept whose season log is there."""
    return log.with_name(f"{log.stem}.sessions.json")


def hash_of(secret: str) -> str:
    """Return what is kept of a secret."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def found_in(tokens: Sequence[Token], secret: str) -> Token | None:
    """Return the token of a secret; as long is looked for it wherever it stands."""
    shown, found = hash_of(secret), None
    for token in tokens:
        if hmac.compare_digest(token.sha256, shown):
            found = token
    return found


class TokenFile:
    """The tokens of a bench. Once the file is there, tokens are asked for."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def load(self) -> tuple[Token, ...] | None:
        """Return the tokens in the order in which they were made; None: no file.

        Raises:
            AccessError: The file cannot be read or believed.
        """
        rows = rows_of(self.path, _LIST)
        return None if rows is None else tuple(self._token(row) for row in rows)

    def add(self, name: str, may: May, made_at: str) -> str:
        """Make a token; return its secret, which is kept nowhere.

        Raises:
            AccessError: The name is taken or no name, or the file is of no use.
        """
        if not _NAME.fullmatch(name):
            raise AccessError(
                f"{name!r} is no name for a token: 1 to 32 letters, digits, - or _"
            )
        secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
        with self._alone():
            tokens = self.load() or ()
            if any(token.name == name for token in tokens):
                raise AccessError(
                    f"there is a token {name} already: revoke it first, or choose"
                    " another name"
                )
            if len(tokens) >= MOST_TOKENS:
                raise AccessError(f"there are {MOST_TOKENS} tokens: revoke some first")
            self._save([*tokens, Token(name, may, hash_of(secret), made_at)])
        return secret

    def revoke(self, name: str) -> None:
        """Take a token away; what it opened is closed within seconds.

        Raises:
            AccessError: There is no such token, or the file is of no use.
        """
        with self._alone():
            tokens = self.load() or ()
            left = [token for token in tokens if token.name != name]
            if len(left) == len(tokens):
                known = ", ".join(token.name for token in tokens) or "none"
                raise AccessError(f"there is no token {name!r}; there are: {known}")
            self._save(left)

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Let one program at a time change the file."""
        lock = self.path.with_name(self.path.name + ".lock")
        try:
            with lock.open("a", encoding="ascii") as held:
                give_to_owner_of(lock.parent, held.fileno())
                fcntl.flock(held, fcntl.LOCK_EX)
                yield
        except OSError as error:
            raise AccessError(f"{lock} cannot be written: {error.strerror}") from error

    def _save(self, tokens: Sequence[Token]) -> None:
        rows: list[Json] = [
            {
                "name": token.name,
                "may": token.may.value,
                "sha256": token.sha256,
                "made_at": token.made_at,
            }
            for token in tokens
        ]
        replace_rows(self.path, _LIST, rows)

    def _token(self, row: Json) -> Token:
        name, may, sha256 = (text_in(row, k, self.path) for k in _TEXTS)
        if not _NAME.fullmatch(name) or not _HASH.fullmatch(sha256):
            raise AccessError(f"{self.path} is damaged: a token's name or hash is none")
        if may not in {one.value for one in May}:
            raise AccessError(f'{self.path}: "may" must be read or operate')
        return Token(name, May(may), sha256, text_in(row, "made_at", self.path))


_TEXTS = ("name", "may", "sha256")
