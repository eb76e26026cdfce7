"""Sessions of browsers in a small file beside the season log, by their hashes.

They are kept so that a phone at the bench stays let in when the daemon is
started anew. What may live here: that file.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.access.private_file import (
    AccessError,
    replace_rows,
    rows_of,
    text_in,
)
from controller.wire import Json

_LIST = "sessions"
_HASH = re.compile(r"[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Session:
    """One browser that showed a token.

    Attributes:
        token: The hash of the token that it showed, in hex.
        made_utc_ms: When [ms since 1970-01-01T00:00:00Z].
    """

    token: str
    made_utc_ms: int


def load_sessions(path: Path) -> dict[str, Session]:
    """Return sessions by the hash of their secret; none where there is no file.

    Raises:
        AccessError: The file cannot be read or believed.
    """
    return dict(_session(row, path) for row in rows_of(path, _LIST) or ())


def _session(row: Json, path: Path) -> tuple[str, Session]:
    made_utc_ms = row.get("made_utc_ms")
    sha256, token = text_in(row, "sha256", path), text_in(row, "token", path)
    if not _HASH.fullmatch(sha256) or not _HASH.fullmatch(token):
        raise AccessError(f"{path} is damaged: a session's hash is none")
    if type(made_utc_ms) is not int:
        raise AccessError(f"{path} is damaged: made_utc_ms must be a whole number")
    return sha256, Session(token, made_utc_ms)


def save_sessions(path: Path, sessions: Mapping[str, Session]) -> None:
    """Replace the file.

    Raises:
        AccessError: The disk does not take it; the old file stands.
    """
    rows: list[Json] = [
        {"sha256": sha256, "token": found.token, "made_utc_ms": found.made_utc_ms}
        for sha256, found in sessions.items()
    ]
    replace_rows(path, _LIST, rows)
