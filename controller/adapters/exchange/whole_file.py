"""Files that are there whole or not at all.

What may live here: how a file gets its name. It is built under another name
and renamed when it is on the disk, so that neither a full disk nor a power cut
leaves half of one under its own.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from controller.adapters.exchange.errors import ExchangeError


def check_free(path: Path, *, overwrite: bool) -> None:
    """Check that a file may be written under a name.

    Raises:
        ExchangeError: Its folder is missing, it is a directory, or it is there
            already and may not be overwritten.
    """
    if not path.parent.is_dir():
        raise ExchangeError(
            f"{path}: the folder {path.parent} does not exist; make it first"
        )
    if path.is_dir():
        raise ExchangeError(f"{path} is a directory; give the name of a file")
    if path.exists() and not overwrite:
        raise ExchangeError(
            f"{path} is there already; name another file, or say --overwrite"
        )


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Yield the name to build a file under; rename it when the block is done.

    Raises:
        ExchangeError: The disk does not take it; nothing is left, and what
            stood there before stands there still.
    """
    building = path.with_name(path.name + ".new")
    try:
        building.unlink(missing_ok=True)
        yield building
        _sync(building, os.O_RDONLY)
        os.replace(building, path)  # noqa: PTH105
        _sync(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    except OSError as error:
        building.unlink(missing_ok=True)
        why = error.strerror or str(error)
        raise ExchangeError(f"{path} cannot be written: {why}") from error
    except BaseException:
        building.unlink(missing_ok=True)
        raise


def _sync(path: Path, flags: int) -> None:
    handle = os.open(path, flags)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
