"""Work for workers: it must be found by its name in other processes."""

import os
import signal
import sys
from dataclasses import dataclass
from pathlib import Path

from controller.adapters.fleet import begun, pool


@dataclass(frozen=True)
class Deadly:
    """A number to halve, and how many workers die of it.

    Attributes:
        number: The number.
        folder: Where deaths are counted.
        deaths: How many workers it kills.
    """

    number: int
    folder: str
    deaths: int = 0


@dataclass(frozen=True)
class Homebound:
    """A number that can be unpacked in one process alone.

    Attributes:
        number: The number.
        home: The process; None: any.
    """

    number: int
    home: int | None = None

    def __setstate__(self, state):
        """Unpack it."""
        number, home = state
        if home not in {None, os.getpid()}:
            raise ModuleNotFoundError("not installed here")
        object.__setattr__(self, "number", number)
        object.__setattr__(self, "home", home)

    def __getstate__(self):
        """Pack it."""
        return self.number, self.home


def number_of(item):
    """Return the number of an item."""
    return item.number


def halved(item):
    """Return half a number, unless its worker is to die of it."""
    died = Path(item.folder) / f"{item.number}.deaths"
    count = len(died.read_text()) if died.exists() else 0
    if count < item.deaths:
        died.write_text("x" * (count + 1))
        os.kill(os.getpid(), signal.SIGKILL)
    return item.number / 2


def inverse(number):
    """Return the inverse; of 0 there is none."""
    return 1 / number


def whereabouts(_item):
    """Return where a worker runs, how nicely, and on which cores."""
    return os.getpid(), os.nice(0), sorted(os.sched_getaffinity(0))


def main(path):
    """Invert ten numbers in two processes; be killed after the third result."""
    journal = begun(Path(path), {"of": "numbers"})
    seen = []

    def came(number, result):
        journal.append(f"[{number}, {result!r}]")
        seen.append(number)
        if len(seen) == 3:
            os.kill(os.getpid(), signal.SIGKILL)

    with pool(workers=2) as mapper:
        mapper.map(inverse, range(1, 11), came)


if __name__ == "__main__":
    main(sys.argv[1])
