"""The desk: what a person tells becomes a change, or is refused with a sentence.

Whoever stores changes asks here first; nothing is written that the book would
not take. What may live here: from an event and a book to changes, and what the
desk for batches shares.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from controller.records.book import Book, event_in
from controller.records.changes import Change, Value
from controller.records.events import BenchEvent, check_event
from controller.records.faults import Fault, fault, refuse

AHEAD_MS = 5 * 60_000
"""Chosen: so much may the clock of a telephone go fast."""


@dataclass(frozen=True, slots=True)
class Bench:
    """The names that there are; None: nobody knows, and any will do."""

    trays: frozenset[str] | None = None
    mats: frozenset[str] | None = None
    probes: frozenset[str] | None = None


ANY_BENCH = Bench()


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who writes, and when.

    Attributes:
        utc_ms: The present [ms].
        who: Who writes, or by what way it comes.
        bench: What there is to write about.
        clock_ok: Whether the present is known; else no time is in the future.
    """

    utc_ms: int
    who: str
    bench: Bench = ANY_BENCH
    clock_ok: bool = True


# -------------------------------------------------------------------------- events


def add_event(book: Book, event: BenchEvent, stamp: Stamp) -> tuple[Change, ...]:
    """Return the change by which an event comes into the book.

    Raises:
        RecordError: It does not keep the rules.
    """
    _check_event(event, stamp)
    return (change_of(book, str(book.newest + 1), event, stamp),)


def revise_event(
    book: Book, number: str, event: BenchEvent, stamp: Stamp
) -> tuple[Change, ...]:
    """Return the change that corrects an event; none if it is as it was.

    Raises:
        NoSuchRecordError: There is no such event.
        RecordError: What it would be does not keep the rules.
    """
    before = event_in(book, number)
    _check_event(event, stamp)
    return () if event == before else (change_of(book, number, event, stamp),)


def _check_event(event: BenchEvent, stamp: Stamp) -> None:
    check_event(event)
    bench = stamp.bench
    refuse(
        (
            *future_faults("utc_ms", event.utc_ms, stamp),
            *unknown_faults("trays", "tray", event.trays, bench.trays),
            *unknown_faults("mats", "mat", event.mats, bench.mats),
            *unknown_faults("probes", "probe", event.probes, bench.probes),
        )
    )


# -------------------------------------------------------------------------- shared


def change_of(book: Book, subject: str, value: Value, stamp: Stamp) -> Change:
    """Return the next change of a book, about a record."""
    return Change(book.newest + 1, stamp.utc_ms, stamp.who, subject, value)


def future_faults(field: str, utc_ms: int, stamp: Stamp) -> Iterator[Fault]:
    """Yield what is wrong with a time that has not come yet."""
    if stamp.clock_ok and utc_ms > stamp.utc_ms + AHEAD_MS:
        yield fault(field, utc_ms, "must not lie in the future")


def unknown_faults(
    field: str, what: str, names: tuple[str, ...], known: frozenset[str] | None
) -> Iterator[Fault]:
    """Yield which names the bench does not have.

    Args:
        field: Where they stand.
        what: What they name, in a word.
        names: The names.
        known: Those that there are; None: nobody knows.
    """
    for name in names:
        if known is not None and name not in known:
            there = ", ".join(sorted(known)) or "none"
            yield fault(field, name, f"there is no such {what}; there are: {there}")
