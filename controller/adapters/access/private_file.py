"""Small JSON files for this user's eyes alone, whole or not at all.

What may live here: reading and replacing them, and what is wrong with them.
"""

import json
import os
import stat
from collections.abc import Sequence
from pathlib import Path

from controller.adapters.season_log.files import sync_directory
from controller.wire import Json

_OWNER_ONLY = 0o600
_OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH
_LARGEST = 4 * 1024 * 1024


class AccessError(Exception):
    """A file of tokens or sessions is of no use; the message names it and says why."""


def rows_of(path: Path, key: str) -> list[Json] | None:
    """Return the objects that a file lists; None: there is no file.

    Args:
        path: The file.
        key: The name of its list.

    Raises:
        AccessError: It cannot be read or believed.
    """
    text = _text(path)
    if text is None:
        return None
    try:
        found: object = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise AccessError(f"{path} is damaged: it is not JSON ({error})") from None
    rows = found.get(key) if isinstance(found, dict) else None
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise AccessError(f"{path} is damaged: it has no list of {key}")
    return rows


def _text(path: Path) -> bytes | None:
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode
            if mode & _OTHERS_WRITE:
                raise AccessError(
                    f"{path}: others than its owner may write it, and with it let"
                    f" themselves in; say chmod 600 {path}"
                )
            return file.read(_LARGEST)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise AccessError(f"{path} cannot be read: {error.strerror}") from error


def replace_rows(path: Path, key: str, rows: Sequence[Json]) -> None:
    """Replace a file: after a power cut it is the old one or the new one.

    Raises:
        AccessError: The disk does not take it; the old file stands.
    """
    text = json.dumps({key: list(rows)}, indent=1) + "\n"
    building = path.with_name(path.name + ".new")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    try:
        building.unlink(missing_ok=True)
        handle = os.open(building, flags, _OWNER_ONLY)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            give_to_owner_of(path.parent, file.fileno())
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(building, path)  # noqa: PTH105
        sync_directory(path.parent)
    except OSError as error:
        raise AccessError(f"{path} cannot be written: {error.strerror}") from error


def give_to_owner_of(folder: Path, handle: int) -> None:
    """Let a file that root makes belong to whom its folder belongs to.

    Else the service could not read what an administrator made for it.
    """
    if os.geteuid() == 0:
        owner = folder.stat()
        os.fchown(handle, owner.st_uid, owner.st_gid)


def stamp_of(path: Path) -> tuple[int, int, int] | None:
    """Return what differs when a file was replaced or written; None: no file."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_mtime_ns, found.st_size


def text_in(row: Json, key: str, path: Path) -> str:
    """Return a text of a row.

    Raises:
        AccessError: It is not there, or none.
    """
    value = row.get(key)
    if not isinstance(value, str):
        raise AccessError(f"{path} is damaged: {key} must be text")
    return value
