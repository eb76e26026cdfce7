"""Where a batch stood, and when: moves, the end, and the stays between them.

Degree-hours follow the batch: they are counted tray by tray over its stays. What
may live here: moves, closings, and that arithmetic.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from controller.records.batches import MOST, Batch
from controller.records.events import time_faults
from controller.records.faults import (
    LONGEST_TEXT,
    Fault,
    name_faults,
    number_faults,
    refuse,
    text_faults,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A batch went somewhere else.

    Attributes:
        batch: Its code.
        utc_ms: When [ms].
        tray: Into which tray; empty: off the bench and off the heat.
        place: Where in the tray, or where else.
        who: Who did it.
        text: Whatever else.
        withdrawn: It was told by mistake and counts no longer.
    """

    batch: str
    utc_ms: int
    tray: str = ""
    place: str = ""
    who: str = ""
    text: str = ""
    withdrawn: bool = False


class Outcome(StrEnum):
    """How a batch ended here."""

    WEANED = "weaned"
    PLANTED_OUT = "planted-out"
    GIVEN_AWAY = "given-away"
    FAILED = "failed"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """A batch is at its end.

    Attributes:
        batch: Its code.
        utc_ms: When [ms].
        outcome: How it ended.
        rooted: How many of the count had rooted, or emerged; None: not counted.
        who: Who says so.
        text: Whatever else.
        withdrawn: It was told by mistake: the batch is open again.
    """

    batch: str
    utc_ms: int
    outcome: Outcome
    rooted: int | None = None
    who: str = ""
    text: str = ""
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Stay:
    """Some time in one place.

    Attributes:
        tray: The tray; empty: off the bench.
        from_utc_ms: Beginning [ms].
        to_utc_ms: End [ms]; None: it goes on.
    """

    tray: str
    from_utc_ms: int
    to_utc_ms: int | None


def check_move(move: Move) -> None:
    """Hold a move to its rules; raise RecordError with every fault."""
    refuse(_move_faults(move))


def _move_faults(move: Move) -> Iterator[Fault]:
    yield from time_faults("utc_ms", move.utc_ms)
    yield from name_faults("tray", [move.tray] if move.tray else [])
    yield from text_faults("place", move.place)
    yield from text_faults("who", move.who)
    yield from text_faults("text", move.text, LONGEST_TEXT)


def check_closing(closing: Closing) -> None:
    """Hold a closing to its rules; raise RecordError with every fault."""
    refuse(_closing_faults(closing))


def _closing_faults(closing: Closing) -> Iterator[Fault]:
    yield from time_faults("utc_ms", closing.utc_ms)
    yield from number_faults("rooted", closing.rooted, 0, MOST, "")
    yield from text_faults("who", closing.who)
    yield from text_faults("text", closing.text, LONGEST_TEXT)


def stays(
    batch: Batch, moves: Iterable[Move], closing: Closing | None = None
) -> tuple[Stay, ...]:
    """Return where a batch stood from when it was stuck, in order, without holes.

    Stays in the same tray one after the other are one. Of moves at the same
    moment the later one told holds. A batch that is not stuck stood nowhere.

    Args:
        batch: The batch.
        moves: Its moves, in the order in which they were told.
        closing: How it ended, if it did.
    """
    begin_ms = batch.stuck_utc_ms
    if begin_ms is None:
        return ()
    end_ms = closing.utc_ms if closing and not closing.withdrawn else None
    valid = [move for move in moves if not move.withdrawn]
    steps = [(begin_ms, batch.tray)]
    for move in sorted(valid, key=lambda move: move.utc_ms):
        if move.utc_ms >= begin_ms and (end_ms is None or move.utc_ms < end_ms):
            _enter(steps, move.utc_ms, move.tray)
    edges = [*(at for at, _ in steps[1:]), end_ms]
    return tuple(
        Stay(tray, from_ms, to_ms)
        for (from_ms, tray), to_ms in zip(steps, edges, strict=True)
        if to_ms is None or to_ms > from_ms
    )


def _enter(steps: list[tuple[int, str]], at_ms: int, tray: str) -> None:
    if steps[-1][0] == at_ms:
        steps.pop()
    if not steps or steps[-1][1] != tray:
        steps.append((at_ms, tray))
