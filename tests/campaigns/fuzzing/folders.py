"""Where inputs that are files lie for a moment."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_QUICK = Path("/dev/shm")  # noqa: S108


@contextmanager
def a_folder() -> Iterator[Path]:
    """Give an empty folder, in memory where there is such a disk."""
    place = _QUICK if _QUICK.is_dir() else None
    with tempfile.TemporaryDirectory(prefix="fuzz-", dir=place) as folder:
        yield Path(folder)
