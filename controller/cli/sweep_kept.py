"""What a sweep keeps of its answers: in a journal, from one call to the next.

What may live here: which answers stand, and keeping those that come. No
command.
"""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path

from pydantic import ValidationError

from controller.adapters.fleet import Journal, JournalError, Lost, begun, resumed
from controller.cli.sweep_rows import Row, stamp, untold
from controller.cli.swept import Item, Sweeping


@contextmanager
def kept_before(
    out: Path | None, *, resume: bool, mat: str | None, sweeping: Sweeping
) -> Iterator[tuple[Journal | None, list[Row]]]:
    """Keep the file of answers, and what it has from before."""
    if out is None:
        yield None, []
        return
    about = {
        "format": "bottomheat-sweep",
        "version": 1,
        "bottomheat": version("bottomheat"),
        "mat": mat,
        **asdict(sweeping),
    }
    if resume:
        journal, lines = resumed(out, about)
    else:
        journal, lines = begun(out, about), []
    with journal:
        yield journal, _rows(out, lines)


def _rows(path: Path, lines: Sequence[str]) -> list[Row]:
    rows = []
    for number, line in enumerate(lines, start=2):
        try:
            rows.append(Row.model_validate_json(line))
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            said = f"{where}: {first['msg']}" if where else first["msg"]
            message = f"{path}: line {number}: {said}"
            raise JournalError(message) from None
    return rows


def still_so(folder: Path, row: Row) -> bool:
    """Whether an answer from before still stands."""
    then = row.size, row.modified_ns
    return not row.why and stamp(folder / row.log) == then


class Keeper:
    """Keeps rows as they come, in the journal too, and tells how far it is."""

    def __init__(self, journal: Journal | None, total: int) -> None:
        self.rows: list[Row] = []
        self.total = total
        self._journal, self._done = journal, 0

    def keep(self, row: Row) -> None:
        """Keep a row."""
        if self._journal is not None:
            self._journal.append(row.model_dump_json())
        self.rows.append(row)

    def came(self, item: Item, row: Row | Lost) -> None:
        """Keep what came of an item."""
        if isinstance(row, Lost):
            row = untold(Path(item.log), item.mat, row.why)
        self.keep(row)
        self._done += 1
        if sys.stderr.isatty():
            end = "\r\033[K" if self._done == self.total else ""
            said = f"\r{self._done} of {self.total} mats{end}"
            print(said, end="", file=sys.stderr, flush=True)
