"""Photos as files in a folder: each is there whole or not at all.

A file is named by the SHA-256 of what is in it, so that the same picture told twice
is one file, and a name never stands for another picture. What may live here: taking
pictures in, and finding them. What is kept of one is told in stripping.
"""

import asyncio
import errno
import hashlib
import mmap
import os
import secrets
import shutil
from collections.abc import AsyncIterator, Callable
from functools import partial
from pathlib import Path
from typing import BinaryIO, TypeVar

from controller.adapters.photos.pieces import Data, Piece, broken
from controller.adapters.photos.stripping import ending_of, stripped
from controller.adapters.season_log.files import sync_directory
from controller.ports import PHOTO_NAME, NoRoomError, NotKeptError

MOST_BYTES = 2_000_000_000
"""Chosen: all photos of a season; some thousand as the page sends them."""

SPARE_BYTES = 256_000_000
"""Chosen: room on the disk that is left to the season log, whose daemon must write."""

MOST_AT_ONCE = 4
"""Chosen: photos that are taken in at once."""

_AT_ONCE = 1 << 18
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_UNFINISHED = ".part"

T = TypeVar("T")


def photos_beside(log: Path) -> Path:
    """Return the folder of the photos of a bench whose season log is there."""
    return log.with_name(f"{log.stem}.photos")


class PhotoFolder:
    """Implements ports.Photos.

    Args:
        folder: Where they lie; it is made when the first one comes.
        most_bytes: How large all of them may become.
        spare_bytes: How much of the disk must stay free.
    """

    def __init__(
        self,
        folder: Path,
        *,
        most_bytes: int = MOST_BYTES,
        spare_bytes: int = SPARE_BYTES,
    ) -> None:
        self._folder = folder
        self._most_bytes, self._spare_bytes = most_bytes, spare_bytes
        self._coming: set[Path] = set()

    def find(self, name: str) -> Path | None:
        """Return where a photo lies; None: there is none of this name."""
        if PHOTO_NAME.fullmatch(name) is None:
            return None
        path = self._folder / name
        return path if path.is_file() and not path.is_symlink() else None

    async def keep(self, media_type: str, pieces: AsyncIterator[bytes]) -> str:
        """Take a picture in; return its name when it is on the disk.

        Raises:
            PhotoRefusedError: It is not taken.
            NoRoomError: There is no room for it.
            NotKeptError: It cannot be written, or too many come at once.
        """
        if len(self._coming) >= MOST_AT_ONCE:
            raise NotKeptError("other photos are just being taken in")
        part = self._folder / f"{secrets.token_hex(8)}{_UNFINISHED}"
        self._coming.add(part)
        try:
            file = await _in_thread(lambda: self._begun(part))
            with file:
                await self._received(file, pieces)
            return await _in_thread(lambda: self._finished(part, media_type))
        finally:
            # Where the daemon ends in the middle, the next photo clears it away.
            await _in_thread(lambda: part.unlink(missing_ok=True))
            self._coming.discard(part)

    async def _received(self, file: BinaryIO, pieces: AsyncIterator[bytes]) -> None:
        waiting = bytearray()
        async for piece in pieces:
            waiting += piece
            if len(waiting) >= _AT_ONCE:
                await _in_thread(partial(self._written, file, bytes(waiting)))
                waiting.clear()
        await _in_thread(partial(self._written, file, bytes(waiting)))

    # ----------------------------------------------------------- called in threads

    def _begun(self, part: Path) -> BinaryIO:
        self._folder.mkdir(exist_ok=True)
        for left in self._folder.glob(f"*{_UNFINISHED}"):
            if left not in self._coming:
                left.unlink(missing_ok=True)
        self._check_room(0)
        return part.open("xb", buffering=0)

    def _check_room(self, more: int) -> None:
        free = shutil.disk_usage(self._folder).free
        if free < self._spare_bytes:
            raise NoRoomError(
                f"the disk has {free / 1e6:.0f} MB left, which the season log needs;"
                " nothing was kept"
            )
        kept = [p for p in self._folder.iterdir() if PHOTO_NAME.fullmatch(p.name)]
        held = sum(path.stat().st_size for path in kept)
        if held + more > self._most_bytes:
            raise NoRoomError(
                f"{self._folder.name} holds {held / 1e6:.0f} MB of at most"
                f" {self._most_bytes / 1e6:.0f} MB; nothing was kept: move old photos"
                " elsewhere"
            )

    def _written(self, file: BinaryIO, text: bytes) -> None:
        view = memoryview(text)
        while view:
            view = view[file.write(view) :]

    def _finished(self, part: Path, media_type: str) -> str:
        """Keep what is needed of what came, under its name."""
        clean = part.with_name(f"{secrets.token_hex(8)}{_UNFINISHED}")
        self._coming.add(clean)
        try:
            found = _copied(part, clean, media_type)
            name = f"{found}.{ending_of(media_type)}"
            if self.find(name) is None:
                self._check_room(clean.stat().st_size)
            os.replace(clean, self._folder / name)  # noqa: PTH105
            sync_directory(self._folder)
            return name
        finally:
            self._coming.discard(clean)
            clean.unlink(missing_ok=True)


def _copied(source: Path, target: Path, media_type: str) -> str:
    """Copy what is kept of a picture to the disk; return its SHA-256."""
    if not source.stat().st_size:
        raise broken("it is empty")
    with source.open("rb") as file, target.open("xb") as copy:
        found = hashlib.sha256()
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            for piece in stripped(data, media_type):
                _add(data, piece, found.update, copy)
        copy.flush()
        os.fsync(copy.fileno())
    return found.hexdigest()


def _add(
    data: Data, piece: Piece, also: Callable[[bytes], None], copy: BinaryIO
) -> None:
    if isinstance(piece, bytes):
        also(piece)
        copy.write(piece)
        return
    for at in range(piece.start, piece.stop, _AT_ONCE):
        part = data[at : min(piece.stop, at + _AT_ONCE)]
        also(part)
        copy.write(part)


async def _in_thread(do: Callable[[], T]) -> T:
    """Do something with the disk; raise NoRoomError or NotKeptError where it fails."""
    doing = asyncio.ensure_future(asyncio.to_thread(do))
    try:
        return await asyncio.shield(doing)
    except asyncio.CancelledError:
        await asyncio.wait({doing})  # a file is not closed while it is written
        raise
    except OSError as error:
        if error.errno in _FULL:
            raise NoRoomError("the disk is full; nothing was kept") from error
        why = error.strerror or str(error)
        raise NotKeptError(f"the photo cannot be written: {why}") from error
