"""What is remembered of those who are told: shapes only, kept in the book.

Everything here can be written down and read again: a restart forgets nothing
that was to be told, and tells nothing twice that it knows to have been told.
"""

from dataclasses import dataclass, field, replace

from controller.core.decisions import AlarmKind
from controller.core.state import Alarm

Key = tuple[AlarmKind, str]


@dataclass(frozen=True, slots=True)
class Item:
    """One alarm that is to be told.

    Attributes:
        kind: What it is about.
        subject: Name of the probe or mat; empty for the bench.
        mat: Name of the mat; empty for the bench.
        sentence: The alarm in words.
        utc_ms: When it came; wall clock [ms].
        times: How often it came before anybody was told.
        over: This tells that it is over, not that it came.
        over_utc_ms: When it was over, if it is [ms].
        wakes: It does not wait for quiet hours to end.
        urgent: It does not wait for its turn.
    """

    kind: AlarmKind
    subject: str
    mat: str
    sentence: str
    utc_ms: int
    times: int = 1
    over: bool = False
    over_utc_ms: int | None = None
    wakes: bool = False
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """An alarm that was told, or is held to be told.

    Attributes:
        kind: What it is about.
        subject: Name of the probe or mat; empty for the bench.
        mat: Name of the mat; empty for the bench.
        sentence: The alarm in words.
        since_ms: When it was raised; run clock [ms]. None: in an earlier run.
        gone_ms: Since when it is not active [ms]; None: it is.
        over: It has been gone for long enough to be over.
        told_ms: When it was last told; run clock [ms]. None: not yet.
    """

    kind: AlarmKind
    subject: str
    mat: str
    sentence: str
    since_ms: int | None
    gone_ms: int | None = None
    over: bool = False
    told_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of one target.

    Attributes:
        told: Alarms that are not forgotten yet.
        held: What waits: for the morning, for its turn, for a connection.
        sent_ms: When messages were made of late; run clock [ms].
        well_day: Local day of the last daily word; None: none was given.
    """

    told: tuple[Told, ...] = ()
    held: tuple[Item, ...] = ()
    sent_ms: tuple[int, ...] = ()
    well_day: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """A message on its way.

    Attributes:
        id: Its own, so that a receiver can drop one that comes twice.
        target: Name of the target.
        title: The bench, in a few words.
        text: What a person reads.
        priority: "high", "medium" or "low".
        body: The whole as JSON.
        made_ms: Run clock [ms].
        tries: How often sending it has failed.
        next_ms: Not to be tried again before; run clock [ms].
    """

    id: str
    target: str
    title: str
    text: str
    priority: str
    body: str
    made_ms: int
    tries: int = 0
    next_ms: int = 0


@dataclass(frozen=True, slots=True)
class Book:
    """All that survives a restart.

    Attributes:
        targets: What is remembered of each target, by name.
        letters: Messages on their way, oldest first.
    """

    targets: dict[str, Memory] = field(default_factory=dict)
    letters: tuple[Letter, ...] = ()


def key_of(about: Alarm | Item | Told) -> Key:
    """Return what tells alarms apart."""
    return about.kind, about.subject


def resumed(book: Book, run_ms: int) -> Book:
    """Return the book of an earlier run as a new one takes it up.

    Args:
        book: The book.
        run_ms: Run clock at the start; what lies after it is of a clock that
            was set back, and counts as now [ms].
    """
    return Book(
        {name: _resumed(memory) for name, memory in book.targets.items()},
        tuple(
            replace(letter, made_ms=min(letter.made_ms, run_ms), next_ms=run_ms)
            for letter in book.letters
        ),
    )


def _resumed(memory: Memory) -> Memory:
    told = (replace(t, since_ms=None, gone_ms=None) for t in memory.told)
    return replace(memory, told=tuple(told))
