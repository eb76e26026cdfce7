"""What a sweep answers: a row for each mat of each log, as its journal has it.

What may live here: these shapes, which check themselves when they are read back.
"""

from pathlib import Path

from pydantic import BaseModel, ConfigDict


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Figure(_Part):
    """A figure with its standard error; None: the log does not tell it."""

    value: float | None
    error: float | None


class ZoneRow(_Part):
    """A root zone, or a mat's surface, as it was fitted."""

    name: str
    at_mat: bool
    gain_k: Figure
    slow_s: Figure
    fast_s: Figure
    delay_s: Figure
    offset_k: Figure
    verdicts: tuple[str, ...]


class Ends(_Part):
    """A figure of the model with its interval of 90 %; None: nobody knows."""

    value: float
    low: float | None
    high: float | None


class Way(_Part):
    """A way of keeping a mat, in a closed loop in the fitted model."""

    way: str
    energy_kwh: Ends
    relay_operations: Ends


class Answer(_Part):
    """What came of a wish: a way that is recommended, or why there is none."""

    as_now: Way
    recommended: Way | None
    unchanged: bool
    meeting: int
    why_none: str


class Told(_Part):
    """What a log tells of a mat."""

    bench: str
    starts: str
    hours: float
    duty: float
    zones: tuple[ZoneRow, ...]
    notes: tuple[str, ...]
    answer: Answer | None


class Row(_Part):
    """One mat of one log: what it tells, or why it tells nothing.

    Attributes:
        log: Name of the file.
        mat: Name of the mat; empty: not even that could be read.
        size: Of the file [bytes].
        modified_ns: When the file was last written, as its disk has it [ns].
        told: What it tells; None: nothing.
        why: Why it tells nothing; empty where it does.
    """

    log: str
    mat: str
    size: int
    modified_ns: int
    told: Told | None
    why: str


class Heated(_Part):
    """Which mats a log has; none, and why, where it cannot be read."""

    mats: tuple[str, ...]
    why: str


def stamp(path: Path) -> tuple[int, int]:
    """Return by what a change of a file is seen: its size and when it was written."""
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_size, found.st_mtime_ns


def untold(path: Path, mat: str, why: str) -> Row:
    """Return the row of a mat of which nothing is told."""
    size, modified_ns = stamp(path)
    return Row(
        log=path.name,
        mat=mat,
        size=size,
        modified_ns=modified_ns,
        told=None,
        why=" ".join(why.split()),
    )
