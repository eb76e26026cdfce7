"""What became of an imported file: taken, skipped and refused, and why.

What may live here: counting, and saying it in words or as JSON. No command.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from controller.adapters.exchange.about import utc_text

SHOWN = 5
"""Places named of each reason; all are counted."""

EMPTY = "empty"
"""The reason that is none to worry: another probe spoke at that time."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where something was refused, and what stands there."""

    line: int
    column: str
    found: str


@dataclass(slots=True)
class Reason:
    """What was refused for one reason: how often, and where first."""

    count: int = 0
    first: list[Place] = field(default_factory=list)


@dataclass(slots=True)
class Counts:
    """What was not taken.

    Attributes:
        refused: By reason.
        repeated: Readings that the file says more than once, alike.
        known: Readings that the log has already.
        unordered: Rows whose time lies before that of the row above.
    """

    refused: dict[str, Reason] = field(default_factory=dict)
    repeated: int = 0
    known: int = 0
    unordered: int = 0

    def refuse(self, reason: str, place: Place, count: int = 1) -> None:
        """Count what is refused, and keep the first places."""
        entry = self.refused.setdefault(reason, Reason())
        entry.count += count
        if len(entry.first) < SHOWN:
            entry.first.append(place)

    @property
    def findings(self) -> int:
        """How many refusals a person should look at."""
        return sum(
            entry.count for reason, entry in self.refused.items() if reason != EMPTY
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeReport:
    """What was taken of one probe.

    Attributes:
        column: The column in the file.
        probe: Its name.
        tray: Its tray, or "room".
        known: Whether the log has had it before.
        taken: How many readings.
        first_ms: Its first reading in the file [ms of UTC]; None: none.
        last_ms: Its last one.
        every_ms: Its usual interval [ms].
        gaps: From when to when readings are missing [ms of UTC].
    """

    column: str
    probe: str
    tray: str
    known: bool
    taken: int
    first_ms: int | None
    last_ms: int | None
    every_ms: int
    gaps: list[tuple[int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What became of a file.

    Attributes:
        file: The file.
        log: The log.
        run: Identity of the run that was made of it; empty: none was.
        dry: Whether nothing was to be written.
        counts: What was not taken.
        probes: What was, by column.
    """

    file: str
    log: str
    run: str
    dry: bool
    counts: Counts
    probes: list[ProbeReport]

    @property
    def taken(self) -> int:
        """How many readings were taken."""
        return sum(probe.taken for probe in self.probes)


# -------------------------------------------------------------------- in words


def in_words(report: Report) -> Iterator[str]:
    """Yield the report, line by line."""
    for probe in report.probes:
        yield from _probe_in_words(probe)
    counts = report.counts
    for reason, entry in sorted(counts.refused.items(), key=lambda one: -one[1].count):
        yield f"refused, {reason}: {entry.count:,}"
        for place in entry.first:
            column = f", {place.column}" if place.column else ""
            yield f"  line {place.line}{column}: {place.found}"
        if len(entry.first) == SHOWN < entry.count:
            yield f"  … {entry.count:,} in all"
    if counts.repeated:
        yield f"said more than once in the file, alike: {counts.repeated:,}"
    if counts.known:
        yield f"in the log already: {counts.known:,}"
    if counts.unordered:
        yield f"rows out of order, put in order: {counts.unordered:,}"
    yield _sum_in_words(report)


def _sum_in_words(report: Report) -> str:
    if report.dry:
        return f"{report.taken:,} readings could be taken; nothing was written"
    if not report.run:
        return f"{report.log}: nothing to take, nothing was written"
    return f"{report.log}: {report.taken:,} readings taken as run {report.run}"


def _probe_in_words(probe: ProbeReport) -> Iterator[str]:
    place = "the room" if probe.tray == "room" else f"tray {probe.tray}"
    new = "" if probe.known else ", new in this log"
    yield (
        f"{probe.column} is probe {probe.probe} in {place}{new}: {probe.taken:,}"
        f" readings{_span(probe)}"
    )
    longest = sorted(probe.gaps, key=lambda gap: gap[0] - gap[1])[:SHOWN]
    if probe.gaps:
        hours = sum(late - early for early, late in probe.gaps) / 3_600_000
        yield f"  {_gaps(len(probe.gaps))}, {hours:.1f} h in all; the longest:"
    for early, late in longest:
        yield f"  from {utc_text(early)} to {utc_text(late)}"


def _span(probe: ProbeReport) -> str:
    if probe.first_ms is None or probe.last_ms is None:
        return ""
    first, last = utc_text(probe.first_ms), utc_text(probe.last_ms)
    return (
        f"; in the file from {first} to {last}, one every {probe.every_ms / 1000:g} s"
    )


def _gaps(count: int) -> str:
    return "1 gap" if count == 1 else f"{count:,} gaps"


# --------------------------------------------------------------------- as JSON


def as_json(report: Report) -> dict[str, object]:
    """Return the report as it is printed with --json."""
    counts = report.counts
    return {
        "file": report.file,
        "log": report.log,
        "run": report.run or None,
        "dry_run": report.dry,
        "taken": report.taken,
        "repeated": counts.repeated,
        "in_the_log_already": counts.known,
        "rows_out_of_order": counts.unordered,
        "refused": [
            {
                "reason": reason,
                "count": entry.count,
                "first": [
                    {"line": one.line, "column": one.column, "found": one.found}
                    for one in entry.first
                ],
            }
            for reason, entry in counts.refused.items()
        ],
        "probes": [_probe_as_json(probe) for probe in report.probes],
    }


def _probe_as_json(probe: ProbeReport) -> dict[str, object]:
    first, last = probe.first_ms, probe.last_ms
    return {
        "column": probe.column,
        "probe": probe.probe,
        "tray": probe.tray,
        "known": probe.known,
        "taken": probe.taken,
        "first_utc": None if first is None else utc_text(first),
        "last_utc": None if last is None else utc_text(last),
        "every_s": probe.every_ms / 1000,
        "gaps": [
            {"from_utc": utc_text(early), "to_utc": utc_text(late)}
            for early, late in probe.gaps
        ],
    }
