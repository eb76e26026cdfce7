"""A season log as tidy tables: one row is one thing that happened.

Readings, one row each, in the order in which they came:

=============  ============================================================
time_utc       when it was measured, by the wall clock of its scan: ISO 8601,
               UTC with "Z", milliseconds
run            identity of the run
scan           number of the scan in that run, from 1
probe          name of the probe
place          "tray", "mat surface", "room" or "witness"
tray           name of the tray, where the probe is in one
mat            name of the mat that the tray stands on or the probe lies on
quantity       "temperature", "humidity", "moisture" or "light"
temperature_c  the temperature [°C] with the probe's offset, in the whole
               thousandths that the log keeps; empty where there was no value
other_value    the value of another quantity, in the unit that its probe
               speaks in, to thousandths
taken          whether the controller took the reading as it came
quality        "good", "uncertain" or "bad"
doubt          why the controller did not take it; empty where it did
=============  ============================================================

Switchings, one row where a mat's command or its cause changed; the end of a
run switches every mat off, and has no row:

=============  ============================================================
time_utc, run, scan   as above, the scan's own time
mat            name of the mat
energised      whether it was commanded on
cause          why, in the word of the journal
=============  ============================================================

What may live here: which row a record becomes. No files.
"""

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from controller.core.decisions import Doubt
from controller.core.plan import Plan, Quantity, all_probes
from controller.core.scan import Quality, Reading
from controller.core.units import DAY_MS
from controller.ports import RecordedScan, RunHeader

LARGEST_PIECE = 200_000
"""Rows of a piece, at most: a day of sixty probes that speak every half minute."""

Kind = Literal["time", "text", "whole", "thousandths", "truth"]
"""What a column holds. A time is in ms of UTC, thousandths are whole numbers."""

Cell = int | str | bool | None
Row = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes:
        name: Its name, with the unit where there is one.
        kind: What it holds.
        about: What it means, in a sentence.
        unit: Its unit; empty where it has none.
        always: Whether every row has a value.
    """

    name: str
    kind: Kind
    about: str
    unit: str = ""
    always: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """A table that can be exported."""

    name: str
    columns: tuple[Column, ...]


_WHEN = (
    Column(
        "time_utc",
        "time",
        "When, by the wall clock of the scan; for a reading, when it was measured",
    ),
    Column("run", "text", "Identity of the run"),
    Column("scan", "whole", "Number of the scan in its run, from 1"),
)

READINGS = Table(
    "readings",
    (
        *_WHEN,
        Column("probe", "text", "Name of the probe"),
        Column("place", "text", "Where it is: tray, mat surface, room or witness"),
        Column("tray", "text", "The tray that the probe is in", always=False),
        Column("mat", "text", "The mat that tray or probe is on", always=False),
        Column("quantity", "text", "temperature, humidity, moisture or light"),
        Column(
            "temperature_c",
            "thousandths",
            "Temperature with the probe's offset, in the thousandths that were logged",
            "°C",
            always=False,
        ),
        Column(
            "other_value",
            "thousandths",
            "Value of another quantity, in the unit that its probe speaks in",
            always=False,
        ),
        Column("taken", "truth", "Whether the controller took it as it came"),
        Column("quality", "text", "good, uncertain or bad"),
        Column("doubt", "text", "Why it was not taken", always=False),
    ),
)

COMMANDS = Table(
    "commands",
    (
        *_WHEN,
        Column("mat", "text", "Name of the mat"),
        Column("energised", "truth", "Whether the mat was commanded on"),
        Column("cause", "text", "Why"),
    ),
)


@dataclass(frozen=True, slots=True)
class Source:
    """What is exported, and what stands beside it as metadata.

    Attributes:
        table: The table.
        headers: Headers of the runs that rows come from, oldest first.
        rows: The rows, in pieces of about a day.
        version: Version of the program that exports.
    """

    table: Table
    headers: Sequence[RunHeader]
    rows: Iterator[Sequence[Row]]
    version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Which readings are wanted.

    Attributes:
        from_utc_ms: Beginning of the stretch [ms].
        to_utc_ms: Its end, not part of it [ms].
        probes: Names of probes; None: all.
        untaken: Whether readings are wanted that the controller did not take.
    """

    from_utc_ms: int
    to_utc_ms: int
    probes: Container[str] | None = None
    untaken: bool = False


class _Place(NamedTuple):
    """The cells that are the same for every reading of a probe, and its offset."""

    cells: tuple[str, str, str | None, str | None, str]
    offset_mk: int


def rows_of(
    table: Table, header: RunHeader, scans: Iterable[RecordedScan], chosen: Chosen
) -> Iterator[Row]:
    """Yield a run's rows of a table, in the order in which they came.

    Args:
        table: READINGS or COMMANDS.
        header: The run's header.
        scans: Its scans, in order.
        chosen: Which rows are wanted; probes and untaken are for readings.
    """
    if table is COMMANDS:
        yield from _commands(header, scans, chosen)
    else:
        yield from _readings(header, scans, chosen)


def pieces(rows: Iterable[Row]) -> Iterator[Sequence[Row]]:
    """Yield rows in pieces of a day of UTC, none of them empty.

    A row that came late stays where it came, in the piece of the day after.
    """
    piece: list[Row] = []
    day = 0
    for row in rows:
        today = int(row[0] or 0) // DAY_MS
        if piece and (today > day or len(piece) >= LARGEST_PIECE):
            yield piece
            piece = []
        day = today if not piece else max(day, today)
        piece.append(row)
    if piece:
        yield piece


def _commands(
    header: RunHeader, scans: Iterable[RecordedScan], chosen: Chosen
) -> Iterator[Row]:
    for recorded in scans:
        scan = recorded.scan
        if recorded.commands and chosen.from_utc_ms <= scan.utc_ms < chosen.to_utc_ms:
            for command in recorded.commands:
                decided = (command.mat, command.energised, command.cause.value)
                yield (scan.utc_ms, header.run, scan.seq, *decided)


def _readings(
    header: RunHeader, scans: Iterable[RecordedScan], chosen: Chosen
) -> Iterator[Row]:
    places = _places(header.plan)
    for recorded in scans:
        scan, found = recorded.scan, recorded.decisions.doubts
        doubted = _doubted(scan.readings, found, places) if found else {}
        ahead_ms = scan.utc_ms - scan.run_ms
        for place, reading in enumerate(scan.readings):
            doubt = doubted.get(place)
            taken = _is_taken(reading, doubt)
            utc_ms = ahead_ms + reading.at_ms
            if (
                (taken or chosen.untaken)
                and chosen.from_utc_ms <= utc_ms < chosen.to_utc_ms
                and (chosen.probes is None or reading.probe in chosen.probes)
            ):
                where = places.get(reading.probe) or _unknown(reading.probe)
                said = _value(where, reading)
                quality = (doubt or reading).quality.value
                why = doubt.why.value if doubt else None
                when = (utc_ms, header.run, scan.seq)
                yield (*when, *where.cells, *said, taken, quality, why)


def _is_taken(reading: Reading, doubt: Doubt | None) -> bool:
    good = reading.quality is Quality.GOOD and reading.milli is not None
    return good and doubt is None


def _value(where: _Place, reading: Reading) -> tuple[int | None, int | None]:
    if reading.milli is None:
        return None, None
    if where.cells[-1] == Quantity.TEMPERATURE.value:
        return reading.milli + where.offset_mk, None
    return None, reading.milli + where.offset_mk


def _doubted(
    readings: Sequence[Reading], doubts: Sequence[Doubt], places: Mapping[str, _Place]
) -> dict[int, Doubt]:
    """Return doubts by the place of the reading that each is about.

    A doubt tells probe, time and value; of two readings alike, the later one
    is the doubted one.
    """
    found: dict[int, Doubt] = {}
    for doubt in reversed(doubts):
        offset_mk = places[doubt.probe].offset_mk if doubt.probe in places else 0
        milli = None if doubt.temp_mc is None else doubt.temp_mc - offset_mk
        wanted = (doubt.probe, doubt.at_ms, milli)
        for place in reversed(range(len(readings))):
            reading = readings[place]
            alike = (reading.probe, reading.at_ms, reading.milli) == wanted
            if alike and place not in found:
                found[place] = doubt
                break
    return found


def _unknown(probe: str) -> _Place:
    """Return the cells of a probe that its run's plan does not have."""
    return _Place((probe, "witness", None, None, Quantity.TEMPERATURE.value), 0)


def _places(plan: Plan) -> dict[str, _Place]:
    """Return the cells of every probe, by name."""
    where: dict[str, tuple[str, str | None, str | None]] = {}
    for mat in plan.mats:
        for tray in mat.trays:
            for probe in tray.probes:
                where[probe.name] = "tray", tray.name, mat.name
        for probe in mat.surface:
            where[probe.name] = "mat surface", None, mat.name
    for tray in plan.trays:
        for probe in tray.probes:
            where[probe.name] = "tray", tray.name, None
    for probe in plan.room:
        where[probe.name] = "room", None, None
    return {
        probe.name: _Place(
            (
                probe.name,
                *where.get(probe.name, ("witness", None, None)),
                probe.quantity.value,
            ),
            probe.offset_mk,
        )
        for probe in all_probes(plan)
    }
