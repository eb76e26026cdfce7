"""Rows of the season log back into scans and decisions."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple, TypeVar

from controller.adapters.season_log.clock import Moment, Stretch, moment
from controller.adapters.season_log.rows import (
    COMMANDED,
    QUALITIES,
    FoundRow,
    FoundRows,
)
from controller.adapters.season_log.segments import Segment
from controller.adapters.season_log.tables import READINGS_PER_SCAN
from controller.core.decisions import (
    AlarmChange,
    AlarmKind,
    AlarmTurn,
    Answer,
    Cause,
    Command,
    Decisions,
    Doubt,
    Doubted,
)
from controller.core.scan import (
    LogHealth,
    PowerReport,
    Reading,
    Refusal,
    RelayReport,
    Request,
    Scan,
)
from controller.core.units import Millis, UtcMillis
from controller.ports import RecordedScan
from controller.wire import decode_numbers, decode_wish, from_text

T = TypeVar("T")

_NOTHING = Decisions(commands=())


class Part(NamedTuple):
    """Some neighbouring scans of one run.

    Attributes:
        rows: By table: the rows about them.
        stretches: By number of the scan: the stretch it lies in.
        moments: By number of the scan: its times.
        names: Of probes and mats, by their numbers.
    """

    rows: FoundRows
    stretches: dict[int, Stretch]
    moments: dict[int, Moment]
    names: dict[int, str]


def part_of(
    segment: Segment, known: Sequence[Stretch], names: dict[int, str], after: int
) -> Part:
    """Return the scans of a segment that come after a scan.

    Args:
        segment: Whole scans of one run.
        known: All stretches, oldest first.
        names: Of probes and mats, by their numbers.
        after: Number of the scan.

    Raises:
        LookupError: A scan lies in no stretch.
    """
    part = Part(segment.rows, {}, {}, names)
    at = max(0, bisect_right([row.scan for row in known], segment.first) - 1)
    for scan_id, late_ms, skew_ms in segment.rows["scan"]:
        while at + 1 < len(known) and known[at + 1].scan <= scan_id:
            at += 1
        stretch = known[at]
        if stretch.scan > scan_id:
            raise LookupError(f"scan {scan_id} lies in no stretch")
        if scan_id > after:
            part.stretches[scan_id] = stretch
            part.moments[scan_id] = moment(stretch, scan_id, late_ms, skew_ms)
    return part


def assembled(
    part: Part, run_id: int, unsound: frozenset[int]
) -> Iterator[RecordedScan]:
    """Yield the scans of a part, in order.

    Args:
        part: The part.
        run_id: Number of the run.
        unsound: Numbers of scans that are not as they were written.

    Raises:
        LookupError: A row belongs to no scan, or names nothing that is known.
        ValueError: A row holds a word or a number that means nothing.
    """
    readings = _grouped(_readings(part))
    refusals = _grouped(_refusals(part))
    reports = _grouped(_relay_reports(part))
    powers = _grouped(_power_reports(part))
    requests = _grouped(_requests(part))
    commands = _grouped(_commands(part))
    findings = _findings(part)
    for scan_id, when in part.moments.items():
        stretch = part.stretches[scan_id]
        scan = Scan(
            seq=scan_id - run_id,
            run_ms=Millis(when.run_ms),
            utc_ms=UtcMillis(when.utc_ms),
            clock_ok=bool(stretch.clock_ok),
            local_day=when.local_day,
            local_minute=when.local_minute,
            readings=readings.get(scan_id, ()),
            refusals=refusals.get(scan_id, ()),
            relay_reports=reports.get(scan_id, ()),
            power_reports=powers.get(scan_id, ()),
            link_up=bool(stretch.link_up),
            log_health=LogHealth.OK if stretch.log_ok else LogHealth.FAILED,
            requests=requests.get(scan_id, ()),
        )
        found = findings.get(scan_id, _NOTHING)
        yield RecordedScan(
            scan, commands.get(scan_id, ()), found, sound=scan_id not in unsound
        )


def _grouped(pairs: Iterable[tuple[int, T]]) -> dict[int, tuple[T, ...]]:
    groups: dict[int, list[T]] = defaultdict(list)
    for scan_id, item in pairs:
        groups[scan_id].append(item)
    return {scan_id: tuple(items) for scan_id, items in groups.items()}


def _rows(part: Part, table: str) -> Iterator[tuple[int, FoundRow]]:
    """Yield rows of a table: the number of the scan, and the cells after n."""
    for scan_id, _, *cells in part.rows.get(table, ()):
        if scan_id in part.moments:
            yield scan_id, cells


def _at(part: Part, scan_id: int, age_ms: int) -> Millis:
    return Millis(part.moments[scan_id].run_ms - age_ms)


def _readings(part: Part) -> Iterator[tuple[int, Reading]]:
    notes: dict[int, str] = dict(part.rows["remark"])
    names, moments = part.names, part.moments
    for key, probe, age_ms, milli, code in part.rows["reading"]:
        scan_id = key // READINGS_PER_SCAN
        if scan_id in moments:
            at_ms = Millis(moments[scan_id].run_ms - age_ms)
            note = notes.get(key, "") if notes else ""
            yield scan_id, Reading(names[probe], at_ms, milli, QUALITIES[code], note)


def _refusals(part: Part) -> Iterator[tuple[int, Refusal]]:
    for scan_id, (source, age_ms, reason, raw) in _rows(part, "refusal"):
        at_ms = _at(part, scan_id, age_ms)
        yield scan_id, Refusal(source, at_ms, reason, raw)


def _relay_reports(part: Part) -> Iterator[tuple[int, RelayReport]]:
    for scan_id, (mat, age_ms, on, seq, said, kept) in _rows(part, "relay_report"):
        at_ms = _at(part, scan_id, age_ms)
        reason = COMMANDED if said is None else said
        name = part.names[mat]
        yield scan_id, RelayReport(name, at_ms, bool(on), seq, reason, bool(kept))


def _power_reports(part: Part) -> Iterator[tuple[int, PowerReport]]:
    for scan_id, (mat, age_ms, power_mw) in _rows(part, "power_report"):
        at_ms = _at(part, scan_id, age_ms)
        yield scan_id, PowerReport(part.names[mat], at_ms, power_mw)


def _requests(part: Part) -> Iterator[tuple[int, Request]]:
    for scan_id, (number, who, wish) in _rows(part, "request"):
        yield scan_id, Request(number, who, decode_wish(from_text(wish)))


def _commands(part: Part) -> Iterator[tuple[int, Command]]:
    for scan_id, (mat, on, cause, numbers) in _rows(part, "command"):
        decided = decode_numbers(from_text(numbers))
        yield scan_id, Command(part.names[mat], bool(on), Cause(cause), decided)


def _findings(part: Part) -> dict[int, Decisions]:
    """Return what was decided apart from commands, where there is something."""
    doubts = _grouped(_doubts(part))
    changes = _grouped(_alarm_changes(part))
    answers = _grouped(_answers(part))
    return {
        scan_id: Decisions(
            commands=(),
            doubts=doubts.get(scan_id, ()),
            alarm_changes=changes.get(scan_id, ()),
            answers=answers.get(scan_id, ()),
        )
        for scan_id in {*doubts, *changes, *answers}
    }


def _doubts(part: Part) -> Iterator[tuple[int, Doubt]]:
    for scan_id, (probe, age_ms, temp_mc, code, why, _) in _rows(part, "doubt"):
        at_ms, quality = _at(part, scan_id, age_ms), QUALITIES[code]
        name = part.names[probe]
        yield scan_id, Doubt(name, at_ms, temp_mc, quality, Doubted(why))


def _alarm_changes(part: Part) -> Iterator[tuple[int, AlarmChange]]:
    for scan_id, (kind, subject, turn, numbers, who) in _rows(part, "alarm_change"):
        decided = decode_numbers(from_text(numbers))
        known = AlarmKind(kind), subject, AlarmTurn(turn)
        yield scan_id, AlarmChange(*known, decided, who)


def _answers(part: Part) -> Iterator[tuple[int, Answer]]:
    for scan_id, (number, accepted, sentence) in _rows(part, "answer"):
        yield scan_id, Answer(number, bool(accepted), sentence)
