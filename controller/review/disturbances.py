"""When hands and water disturbed what the probes of a mat read.

Whoever fits a model to readings leaves out, or models, what lies shortly behind
these. What may live here: from events in a log to instants on its bench clock.
"""

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple, Protocol

from controller.core.plan import Plan, all_trays
from controller.ports import RecordReader, RunHeader
from controller.records.book import Book, events, fold
from controller.records.events import DISTURBING, BenchEvent


class Disturbance(NamedTuple):
    """Something other than heat that changed what is read.

    Attributes:
        run_ms: When, on the bench clock [ms], as exactly as the person told it;
            by the clocks at the start of the run that it fell into.
        utc_ms: The same on the wall clock [ms].
        why: The kind of event, such as "watered".
        tray: Which tray; empty: all of the mat's.
    """

    run_ms: int
    utc_ms: int
    why: str
    tray: str


class Log(RecordReader, Protocol):
    """A season log as this needs it."""

    def runs(self) -> Sequence[RunHeader]:
        """Return the headers of all runs, oldest first."""
        ...


def disturbances(log: Log, mat: str) -> list[Disturbance]:
    """Return what disturbed a mat's trays, in order of time.

    An event before the first run of the log is not among them. What was told by
    mistake is not, either.

    Args:
        log: A season log.
        mat: The mat's name.
    """
    headers = sorted(log.runs(), key=lambda header: header.started_utc_ms)
    begins = [header.started_utc_ms for header in headers]
    found: set[Disturbance] = set()
    for _, event in events(fold(Book(), log.changes(0))):
        at = bisect_right(begins, event.utc_ms) - 1
        if event.kind not in DISTURBING or at < 0:
            continue
        header = headers[at]
        run_ms = header.started_run_ms + event.utc_ms - header.started_utc_ms
        found |= {
            Disturbance(run_ms, event.utc_ms, event.kind.value, tray)
            for tray in _touched(event, header.plan, mat)
        }
    return sorted(found, key=lambda one: (one.utc_ms, one.tray, one.why))


def _touched(event: BenchEvent, plan: Plan, mat: str) -> set[str]:
    """Return which trays of a mat an event touched; "" stands for all of them."""
    on_mat = {tray.name for one in plan.mats if one.name == mat for tray in one.trays}
    by_probe = {
        tray.name
        for tray in all_trays(plan)
        for probe in tray.probes
        if probe.name in event.probes
    }
    touched = on_mat & ({*event.trays} | by_probe)
    return {""} if mat in event.mats else touched
