"""Scans and decisions as rows of the season log's tables.

What may live here: which row a thing becomes. No database.
"""

import zlib
from collections.abc import Container, Mapping
from typing import Any, NamedTuple

from controller.adapters.season_log.tables import READINGS_PER_SCAN
from controller.core.decisions import Decisions, Doubt
from controller.core.plan import Plan, all_probes, all_trays
from controller.core.scan import Quality, Reading, RelayReport, Scan
from controller.core.state import State
from controller.ports import RunHeader
from controller.wire import (
    decode_plan,
    decode_state,
    encode_numbers,
    encode_plan,
    encode_state,
    encode_wish,
    from_text,
    to_text,
)

Cell = int | str | bytes | None
Row = tuple[Cell, ...]
Rows = dict[str, list[Row]]
"""Rows to insert, by table."""

FoundRow = Any  # type: ignore[explicit-any]
"""A row as SQLite gives it: its cells have the types of its table."""

FoundRows = dict[str, list[FoundRow]]
"""Rows as SQLite gives them, by table."""

Offsets = Mapping[str, int]
"""What is added to the readings of each probe [mK]."""

QUALITIES = (Quality.GOOD, Quality.UNCERTAIN, Quality.BAD)
"""In the order of their numbers in the file."""

COMMANDED = "command"
"""The usual reason of a relay report; NULL in the file."""


class NameBook(dict[str, int]):
    """Small numbers for names; a new name is given the next number.

    Attributes:
        new: Rows of names that are not in the file yet.
    """

    def __init__(self, known: Mapping[str, int]) -> None:
        super().__init__(known)
        self.new: list[Row] = []

    def __missing__(self, name: str) -> int:
        self[name] = number = len(self)
        self.new.append((number, name))
        return number


class Ending(NamedTuple):
    """How a run ended.

    Attributes:
        run_ms: When, by the bench clock [ms].
        utc_ms: When, by the wall clock [ms].
        cause: Why, in words.
    """

    run_ms: int
    utc_ms: int
    cause: str


class HeaderRow(NamedTuple):
    """A run's header as it goes into the file, and what its rows need of it.

    Attributes:
        cells: All but its id and its sum.
        run: Identity of the run.
        started_run_ms: Bench clock at its start [ms].
        plan: The plan.
        notes: Sentences about its beginning.
    """

    cells: Row
    run: str
    started_run_ms: int
    plan: Plan
    notes: tuple[str, ...] = ()


def header_row(header: RunHeader) -> HeaderRow:
    """Return the row of a run's header, all but its id."""
    cells: Row = (
        header.run,
        header.origin,
        header.started_run_ms,
        header.started_utc_ms,
        header.timezone,
        header.decisions_version,
        to_text(dict(header.versions)),
        to_text(encode_plan(header.plan)),
        to_text(encode_state(header.state)),
    )
    notes = tuple(map(printable, header.notes))
    return HeaderRow(cells, header.run, header.started_run_ms, header.plan, notes)


def offsets_of(plan: Plan) -> Offsets:
    """Return what is added to the readings of each probe [mK]."""
    return {probe.name: probe.offset_mk for probe in all_probes(plan)}


def plan_of(text: str) -> Plan:
    """Return the plan of a header; raise WireError if it is damaged."""
    return decode_plan(from_text(text))


def state_of(text: str | bytes) -> State:
    """Return the state of a header; raise WireError if it is damaged."""
    return decode_state(from_text(text))


def check_together(plan: Plan, state: State) -> None:
    """Raise ValueError where a state is not one of a plan: one of them is damaged.

    What they agree on is what the core goes by without asking.
    """
    told = (
        ("probes", {probe.name for probe in all_probes(plan)}, set(state.probes)),
        ("trays", {tray.name for tray in all_trays(plan)}, set(state.accounts)),
        ("mats", {mat.name for mat in plan.mats}, set(state.mats)),
    )
    for what, planned, known in told:
        if planned != known:
            raise ValueError(f"{what}: {sorted(planned ^ known)} in plan or state only")
    for mat in plan.mats:
        if not 0 <= state.mats[mat.name].step < max(1, len(mat.programme)):
            raise ValueError(f"mat {mat.name} is in a step that its plan has not")


def packed_state(state: State) -> bytes:
    """Return a state as deflated JSON."""
    return zlib.compress(to_text(encode_state(state)).encode())


def unpacked_state(blob: bytes) -> State:
    """Return the state of a snapshot.

    Raises:
        zlib.error: The bytes are damaged.
        WireError: What they hold is no state.
    """
    return state_of(zlib.decompress(blob))


def add_readings(rows: Rows, scan_id: int, scan: Scan, names: NameBook) -> None:
    """Add the rows of a scan's readings.

    Raises:
        ValueError: More of them than a scan has room for.
    """
    if len(scan.readings) > READINGS_PER_SCAN:
        raise ValueError(f"scan {scan.seq} has {len(scan.readings)} readings")
    first = scan_id * READINGS_PER_SCAN
    run_ms = scan.run_ms
    for key, reading in enumerate(scan.readings, first):
        quality = reading.quality
        code = 0 if quality is Quality.GOOD else QUALITIES.index(quality)
        age_ms = run_ms - reading.at_ms
        rows["reading"].append((key, names[reading.probe], age_ms, reading.milli, code))
        if reading.note:
            rows["remark"].append((key, printable(reading.note)))


def add_other_inputs(rows: Rows, scan_id: int, scan: Scan, names: NameBook) -> None:
    """Add the rows of refusals, relay and power reports, and requests."""
    for n, refusal in enumerate(scan.refusals):
        texts = map(printable, (refusal.source, refusal.reason, refusal.raw))
        source, reason, raw = texts
        age_ms = scan.run_ms - refusal.at_ms
        rows["refusal"].append((scan_id, n, source, age_ms, reason, raw))
    for n, report in enumerate(scan.relay_reports):
        cells = _relay_cells(report, scan.run_ms, names)
        rows["relay_report"].append((scan_id, n, *cells))
    for n, power in enumerate(scan.power_reports):
        where = (names[power.mat], scan.run_ms - power.at_ms, power.power_mw)
        rows["power_report"].append((scan_id, n, *where))
    for n, request in enumerate(scan.requests):
        wish = to_text(encode_wish(request.wish))
        rows["request"].append((scan_id, n, request.id, printable(request.who), wish))


def _relay_cells(report: RelayReport, run_ms: int, names: NameBook) -> Row:
    reason = None if report.reason == COMMANDED else printable(report.reason)
    return (
        names[report.mat],
        run_ms - report.at_ms,
        int(report.energised),
        report.seq,
        reason,
        int(report.retained),
    )


def add_findings(rows: Rows, scan_id: int, decisions: Decisions) -> None:
    """Add the rows of alarm changes and answers."""
    for n, change in enumerate(decisions.alarm_changes):
        numbers = to_text(encode_numbers(change.numbers))
        kind, subject = change.kind.value, printable(change.subject)
        rows["alarm_change"].append(
            (
                scan_id,
                n,
                kind,
                subject,
                change.turn.value,
                numbers,
                printable(change.who),
            )
        )
    for n, answer in enumerate(decisions.answers):
        sentence = printable(answer.sentence)
        rows["answer"].append(
            (scan_id, n, answer.request_id, int(answer.accepted), sentence)
        )


def add_doubts(
    rows: Rows,
    scan_id: int,
    scan: Scan,
    doubts: tuple[Doubt, ...],
    names: NameBook,
    offsets: Offsets,
) -> None:
    """Add the rows of doubts, each with the place of the reading it is about."""
    places: dict[int, int] = {}
    # From the last: of two readings alike, the later one is the doubted one.
    for n in reversed(range(len(doubts))):
        place = _place(scan.readings, doubts[n], offsets, places)
        if place is not None:
            places[place] = n
    found = {n: place for place, n in places.items()}
    for n, doubt in enumerate(doubts):
        quality = QUALITIES.index(doubt.quality)
        probe, age_ms = names[doubt.probe], scan.run_ms - doubt.at_ms
        cells = (probe, age_ms, doubt.temp_mc, quality, doubt.why.value, found.get(n))
        rows["doubt"].append((scan_id, n, *cells))


def _place(
    readings: tuple[Reading, ...], doubt: Doubt, offsets: Offsets, taken: Container[int]
) -> int | None:
    """Return which reading of the scan a doubt is about; None: none is left."""
    offset_mk = offsets.get(doubt.probe, 0)
    milli = None if doubt.temp_mc is None else doubt.temp_mc - offset_mk
    wanted = (doubt.probe, doubt.at_ms, milli)
    alike = [
        place
        for place, reading in enumerate(readings)
        if (reading.probe, reading.at_ms, reading.milli) == wanted
        and place not in taken
    ]
    # Of a kept message and the same one live, the kept one is the doubted one.
    not_good = [at for at in alike if readings[at].quality is not Quality.GOOD]
    found = not_good or alike
    return found[-1] if found else None


def printable(text: str) -> str:
    """Return a text that can be stored: half characters are spelled out."""
    if text.isascii():
        return text
    return text.encode("utf-8", "backslashreplace").decode()
