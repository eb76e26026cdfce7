"""What of a season log may go: whole runs, and what still needs them.

Only whole runs go, because a run can be audited only from its beginning. What
needs readings says so as a Need; whoever keeps something that counts on the
log adds its own. What may live here: which runs end early enough, and what
would miss them. Nothing is deleted here.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from controller.core.plan import all_trays
from controller.core.state import ThermalAccount
from controller.ports import RunHeader
from controller.records.book import Book, batches


@dataclass(frozen=True, slots=True)
class Need:
    """Something that counts on the readings of a tray.

    Attributes:
        what: What it is, in words that follow "needed by".
        tray: Name of the tray; empty: of every tray.
        from_utc_ms: Since when it needs them [ms].
    """

    what: str
    tray: str
    from_utc_ms: int


class Needs(Protocol):
    """Whoever keeps something that counts on the log."""

    def needs(self) -> Iterable[Need]:
        """Return what is still needed, and since when."""
        ...


@dataclass(frozen=True, slots=True)
class Span:
    """A run and when it was.

    Attributes:
        header: Its header.
        first_utc_ms: Its beginning [ms].
        last_utc_ms: Its last scan [ms].
        scans: How many scans it has.
        clock_ok: Whether its wall clock was known to be right at both ends.
    """

    header: RunHeader
    first_utc_ms: int
    last_utc_ms: int
    scans: int
    clock_ok: bool


@dataclass(frozen=True, slots=True)
class Stays:
    """A run that began before the day, and stays, and why."""

    span: Span
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """What goes and what stays.

    Attributes:
        go: Runs that may go, oldest first.
        stay: Runs that began before the day and stay nevertheless.
    """

    go: tuple[Span, ...]
    stay: tuple[Stays, ...]


@dataclass(frozen=True, slots=True)
class Missed:
    """A need, and the first run that it would miss."""

    need: Need
    run: str


def choose(
    spans: Sequence[Span], before_utc_ms: int, tripped_utc_ms: Iterable[int]
) -> Choice:
    """Choose the runs that ended before a time.

    The newest run, the newest live one, and those in which a mat tripped that
    is still locked off, never go.

    Args:
        spans: All runs of the log, oldest first.
        before_utc_ms: The time [ms].
        tripped_utc_ms: When mats tripped that are locked off now [ms].
    """
    tripped = tuple(tripped_utc_ms)
    live = [span for span in spans if span.header.origin == "live"]
    newest = {span.header.run for span in (*spans[-1:], *live[-1:])}
    go: list[Span] = []
    stay: list[Stays] = []
    for span in spans:
        if span.first_utc_ms < before_utc_ms:
            why = _why_it_stays(span, before_utc_ms, newest, tripped)
            if why:
                stay.append(Stays(span, why))
            else:
                go.append(span)
    return Choice(tuple(go), tuple(stay))


def _why_it_stays(
    span: Span, before_utc_ms: int, newest: set[str], tripped: Sequence[int]
) -> str:
    if span.header.run in newest:
        return "it is the newest one"
    if not span.clock_ok:
        return "its clock was not known to be right: when it was, nobody knows"
    if span.last_utc_ms >= before_utc_ms:
        return "it ended after that, and only whole runs go"
    if any(span.first_utc_ms <= at <= span.last_utc_ms for at in tripped):
        return "a mat tripped in it that is still locked off"
    return ""


def counters_need(headers: Sequence[RunHeader]) -> list[Need]:
    """Return what the degree-hours of the newest live run need, tray by tray.

    A counter is carried from run to run. It can be counted again from the log
    as long as the run is there in which it began; where that run is gone
    already, there is nothing left to keep for it.

    Args:
        headers: Headers of all runs, oldest first.
    """
    live = [header for header in headers if header.origin == "live"]
    if not live:
        return []
    needs = []
    for tray in all_trays(live[-1].plan):
        fresh = ThermalAccount(tray.base_mc, tray.upper_mc)
        began = _began(live, tray.name, fresh) if tray.probes else None
        if began is not None:
            what = f"the degree-hours of tray {tray.name}, to be counted again"
            needs.append(Need(what, tray.name, began.started_utc_ms))
    return needs


def _began(
    live: Sequence[RunHeader], tray: str, fresh: ThermalAccount
) -> RunHeader | None:
    """Return the run in which a tray's counter began; None: it is not there."""
    for header in reversed(live):
        account = header.state.accounts.get(tray)
        if account is None or account == fresh:
            return header
        if (account.base_mc, account.upper_mc) != (fresh.base_mc, fresh.upper_mc):
            return None
    return None


def batches_need(book: Book) -> list[Need]:
    """Return what the open batches need: their degree-hours are counted from the log.

    Of one that is closed nothing more is expected; what it had until then can be
    asked for as long as its readings are there.
    """
    return [
        Need(
            f"batch {file.code} ({file.batch.crop}), its degree-hours",
            stay.tray,
            stay.from_utc_ms,
        )
        for file in batches(book)
        if file.closing is None
        for stay in file.stays
        if stay.tray
    ]


def missed(needs: Iterable[Need], go: Sequence[Span]) -> list[Missed]:
    """Return which needs would miss something, and in which run first."""
    found = []
    for need in needs:
        span = next((span for span in go if _touches(need, span)), None)
        if span is not None:
            found.append(Missed(need, span.header.run))
    return found


def _touches(need: Need, span: Span) -> bool:
    if span.last_utc_ms < need.from_utc_ms:
        return False
    trays = {tray.name for tray in all_trays(span.header.plan) if tray.probes}
    return not need.tray or need.tray in trays
