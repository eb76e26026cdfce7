"""All that a season log can be asked, and whether an answer is true.

An answer is right, or an error that says so, or a scan marked as altered. Where
the "-wal" was hit, the newest scans may be missing, as after a power cut: no
reader can know of them. Anything else is wrong data served silently.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from controller.adapters.season_log import LogError, SeasonLogReader
from controller.core.state import State
from controller.core.units import HOUR_MS
from controller.ports import Bucket, Columns, LogEntry, RecordedScan
from tests.builders import UTC_MS
from tests.campaigns.logs.season import PROBES, Season

ZOOMS = ((0, 60, 30), (0, 60, 1_000), (9, 16, 300))
"""Of envelopes: from hour, to hour, points."""

EVERYTHING = 10**9

SEASON_ENDS_MS = UTC_MS + 90 * HOUR_MS
"""What a writer adds later lies beyond [ms]."""

Ask = Callable[[SeasonLogReader], object]


class WrongDataError(Exception):
    """Something untrue was answered as if it were true."""


@dataclass
class Truth:
    """What a whole season log answers, by question, and every state there was."""

    answers: dict[str, object]
    states: dict[tuple[str, int], State]


@dataclass
class Found:
    """What became of the questions put to a damaged log."""

    equal: int = 0
    detected: int = 0
    tail: int = 0
    marked: int = 0
    wrong: list[str] = field(default_factory=list)
    said: Counter[str] = field(default_factory=Counter)

    @property
    def outcome(self) -> str:
        """The worst of it, in a word."""
        if self.wrong:
            return "WRONG"
        if self.tail:
            return "lost tail"
        return "detected" if self.detected or self.marked else "harmless"


def questions(
    runs: Sequence[str], probes: Sequence[str] = PROBES, *, quick: bool = False
) -> Iterator[tuple[str, Ask]]:
    """Yield every question, with its name; the quick ones are those about the past."""
    for run in runs:
        yield f"scans {run}", lambda log, run=run: list(log.scans(run))
    for probe in probes:
        for untaken in (False, True):
            yield (
                f"samples {probe} {untaken}",
                lambda log, probe=probe, untaken=untaken: log.samples(
                    probe, 0, SEASON_ENDS_MS, untaken=untaken
                ),
            )
        if quick:
            continue
        for first, last, points in ZOOMS:
            yield (
                f"envelope {probe} {first}-{last} {points}",
                lambda log, probe=probe, of=(first, last, points): log.envelope(
                    probe, UTC_MS + of[0] * HOUR_MS, UTC_MS + of[1] * HOUR_MS, of[2]
                ),
            )
    yield "records", lambda log: list(log.changes())
    if quick:
        return
    yield "runs", lambda log: list(log.runs())
    yield "journal", lambda log: list(log.journal(0, EVERYTHING))
    yield "journal by pieces", _by_pieces
    for run in runs:
        yield f"last seq {run}", lambda log, run=run: log.last_seq(run)
        yield f"last state {run}", lambda log, run=run: log.last_state(run)
        yield f"ending {run}", lambda log, run=run: log.ending(run)


def _by_pieces(log: SeasonLogReader) -> list[object]:
    found: list[object] = []
    after = 0
    while piece := log.journal(after, 400):
        found += piece
        after = piece[-1].id
    return found


def truth(path: Path, season: Season) -> Truth:
    """Return what a whole log answers; it must be what was written.

    Raises:
        AssertionError: It is not.
    """
    reader = SeasonLogReader(path)
    answers = {name: ask(reader) for name, ask in questions(list(season.taken))}
    states: dict[tuple[str, int], State] = {}
    for run, taken in season.taken.items():
        scans = answers[f"scans {run}"]
        assert [one.scan for one in scans] == [scan for scan, _, _ in taken]
        assert [one.decisions.doubts for one in scans] == [
            d.doubts for _, d, _ in taken
        ]
        states[run, 0] = season.headers[run].state
        states |= {(run, scan.seq): state for scan, _, state in taken}
    assert answers["runs"] == list(season.headers.values())
    assert answers["records"] == list(season.records)
    assert answers["journal"] == answers["journal by pieces"]
    return Truth(answers, states)


def asked(
    path: Path,
    known: Truth,
    *,
    tail: bool,
    probes: Sequence[str] = PROBES,
    quick: bool = False,
) -> Found:
    """Put every question to a log that was ill-treated."""
    found = Found()
    runs = [name.split()[1] for name in known.answers if name.startswith("scans ")]
    newest = _newest(path) if tail else ""
    for name, ask in questions(runs, probes, quick=quick):
        about = name.split()[-1]
        may_lack = tail and (about not in runs or about == newest)
        try:
            reader = SeasonLogReader(path)
            _judge(found, name, ask(reader), known, tail=may_lack)
        except LogError as error:
            found.detected += 1
            found.said[_bare(error, path)] += 1
            if path.name not in str(error):
                found.wrong.append(f"{name}: the error names no file: {error}")
        except WrongDataError as error:
            found.wrong.append(f"{name}: {error}")
        except Exception as error:  # noqa: BLE001 - whatever comes is the finding
            found.wrong.append(f"{name}: {type(error).__name__}: {error}")
    return found


def _newest(path: Path) -> str:
    """Return the last run that a log tells of: only that one may lack its end."""
    try:
        told = SeasonLogReader(path).runs()
    except LogError:
        return ""
    # What a writer began afterwards is none of the season's.
    return [header.run for header in told if header.run.startswith("run-")][-1]


def _bare(error: LogError, path: Path) -> str:
    words = str(error).replace(str(path), "LOG")
    return "".join("#" if letter.isdigit() else letter for letter in words)[:90]


def _judge(
    found: Found, name: str, answer: object, known: Truth, *, tail: bool
) -> None:
    want = known.answers[name]
    if answer == want:
        found.equal += 1
    elif name.startswith("scans "):
        _judge_scans(found, answer, want, tail=tail)
    elif tail and _shorter(name, answer, want, known):
        found.tail += 1
    else:
        raise WrongDataError(_difference(answer, want))


def _judge_scans(
    found: Found, answer: list[RecordedScan], want: list[RecordedScan], *, tail: bool
) -> None:
    for one, other in zip(answer, want, strict=False):
        if not one.sound:
            found.marked += 1
        elif one != other:
            raise WrongDataError(_difference(one, other))
    if len(answer) > len(want) or (len(answer) < len(want) and not tail):
        raise WrongDataError(f"{len(answer)} scans instead of {len(want)}")
    found.tail += len(answer) < len(want)


def _shorter(name: str, answer: object, want: object, known: Truth) -> bool:
    """Whether an answer is the truth of some time before."""
    what, _, about = name.rpartition(" ")
    if what == "last state":
        seq, state = answer
        return known.states.get((about, seq)) == state
    if what == "last seq":
        return answer <= want
    if what.startswith("ending"):
        return answer is None
    if name.startswith("envelope"):
        return _earlier(answer, want)
    return all(map(_begins, _columns(want), _columns(answer)))


def _columns(answer: object) -> list[Sequence[object]]:
    """Return what an answer tells in order, column by column."""
    if isinstance(answer, Columns):
        return [answer.order, answer.run_ms, answer.utc_ms, answer.temp_mc]
    # A loss is told with the time of the scan after it, if there is one.
    return [[_without_time(item) for item in answer]]


def _without_time(item: object) -> object:
    lost = isinstance(item, LogEntry) and item.kind == "lost"
    return replace(item, utc_ms=0) if lost else item


def _begins(whole: Sequence[object], part: Sequence[object]) -> bool:
    return list(whole[: len(part)]) == list(part)


def _earlier(answer: list[Bucket], want: list[Bucket]) -> bool:
    whole = answer[:-1] == want[: max(0, len(answer) - 1)]
    return whole and (not answer or answer[-1].n <= want[len(answer) - 1].n)


def _difference(answer: object, want: object) -> str:
    if isinstance(answer, list) and isinstance(want, list):
        for n, (one, other) in enumerate(zip(answer, want, strict=False)):
            if one != other:
                return f"item {n} is {str(one)[:300]} instead of {str(other)[:300]}"
        return f"{len(answer)} items instead of {len(want)}"
    if isinstance(answer, Columns) and isinstance(want, Columns):
        return f"{len(answer.order)} readings, or others, for {len(want.order)}"
    return f"{str(answer)[:300]} instead of {str(want)[:300]}"
