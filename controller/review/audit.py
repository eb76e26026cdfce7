"""Did the controller do what the code says? Every recorded scan, decided again.

The recorded inputs go through the core once more, from the plan and the state
in the run's header, and what comes out is held against the record, exactly.
The state that is carried on is the one decided again, so one row that was
altered by hand is one difference. What may live here: that comparison. No
files: where scans come from is the caller's part.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest

from controller.core.decisions import AlarmChange, Answer, Command, Decisions, Doubt
from controller.core.plan import Plan
from controller.core.scan import Scan
from controller.core.state import State
from controller.ports import IMPORTED, RecordedScan, RunHeader
from controller.wire import take_news

Step = Callable[[Plan, State, Scan], tuple[State, Decisions]]
"""The core's one function."""

Decided = Command | Doubt | AlarmChange | Answer

UNSOUND = "does not fit its check number: it was altered"

KEPT = 1_000
"""Differences that a report lists; all of them are counted."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Something that the record and the code do not agree on.

    Attributes:
        seq: Number of the scan.
        what: "scan", "command", "doubt", "alarm" or "answer".
        recorded: What the log says; None: nothing.
        redecided: What the code says; None: nothing.
        note: In words, where neither says it.
    """

    seq: int
    what: str
    recorded: Decided | None = None
    redecided: Decided | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditReport:
    """What became of one run.

    Attributes:
        run: Identity of the run.
        imported: Whether it holds readings of another recorder: then nothing
            was decided, and only what was recorded as decided is a difference.
        decisions_version: Version of the decisions that the run recorded.
        same_version: Whether the code that decided again is of that version.
            If not, differences are to be expected and are counted apart.
        scans: Scans decided again; in an imported run, scans looked at.
        mismatches: Differences found, all of them.
        counts: The same, by what they are about.
        differences: The first of them.
    """

    run: str
    imported: bool = False
    decisions_version: int
    same_version: bool
    scans: int
    mismatches: int
    counts: dict[str, int]
    differences: tuple[Difference, ...]


def audit(
    header: RunHeader,
    scans: Iterable[RecordedScan],
    step: Step,
    decisions_version: int,
) -> AuditReport:
    """Decide a run again and compare.

    Args:
        header: The run's header.
        scans: All its scans, in order.
        step: The core's function, or another to be held against the record.
        decisions_version: The version of what step decides.
    """
    imported = header.origin == IMPORTED
    found = _looked_at(scans) if imported else _decided_again(header, scans, step)
    return AuditReport(
        run=header.run,
        imported=imported,
        decisions_version=header.decisions_version,
        same_version=imported or header.decisions_version == decisions_version,
        scans=found.scans,
        mismatches=found.counts.total(),
        counts=dict(found.counts),
        differences=tuple(found.kept),
    )


def _decided_again(
    header: RunHeader, scans: Iterable[RecordedScan], step: Step
) -> "_Findings":
    found = _Findings()
    state = header.state
    said: dict[str, Command] = {}
    for recorded in scans:
        follows = found.number(recorded.scan.seq)
        state, decisions = step(header.plan, state, recorded.scan)
        news = take_news(said, decisions.commands)
        differences = list(_compared(recorded, news, decisions))
        if follows and not recorded.sound and not differences:
            differences = [Difference(recorded.scan.seq, "scan", note=UNSOUND)]
        found.add(differences)
        found.scans += 1
    return found


def _looked_at(scans: Iterable[RecordedScan]) -> "_Findings":
    """Look for decisions where there is nothing to decide."""
    found = _Findings()
    nothing = Decisions(commands=())
    for recorded in scans:
        found.number(recorded.scan.seq)
        found.add(_compared(recorded, (), nothing))
        found.scans += 1
    return found


@dataclass(slots=True)
class _Findings:
    """What has been found so far."""

    last_seq: int = 0
    scans: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    kept: list[Difference] = field(default_factory=list)

    def add(self, differences: Iterable[Difference]) -> None:
        for difference in differences:
            self.counts[difference.what] += 1
            if len(self.kept) < KEPT:
                self.kept.append(difference)

    def number(self, seq: int) -> bool:
        """Take a scan's number: each that is missing before it is a difference.

        A damaged number may leave out more of them than could ever be listed.

        Returns:
            Whether it follows the scan before.
        """
        follows = seq == self.last_seq + 1
        if seq <= self.last_seq:
            self.add([Difference(seq, "scan", note=f"follows scan {self.last_seq}")])
            return follows
        listed_to = min(seq, self.last_seq + 1 + KEPT)
        missing = range(self.last_seq + 1, listed_to)
        self.add(Difference(n, "scan", note="missing in the log") for n in missing)
        if listed_to < seq:
            self.counts["scan"] += seq - listed_to
        self.last_seq = seq
        return follows


def _compared(
    recorded: RecordedScan, news: Sequence[Command], decisions: Decisions
) -> Iterator[Difference]:
    seq, wrote = recorded.scan.seq, recorded.decisions
    yield from _unlike(seq, "command", recorded.commands, news)
    yield from _unlike(seq, "doubt", wrote.doubts, decisions.doubts)
    yield from _unlike(seq, "alarm", wrote.alarm_changes, decisions.alarm_changes)
    yield from _unlike(seq, "answer", wrote.answers, decisions.answers)


def _unlike(
    seq: int, what: str, recorded: Sequence[Decided], redecided: Sequence[Decided]
) -> Iterator[Difference]:
    """Yield what is in only one of two lists, side by side, or their order."""
    if tuple(recorded) == tuple(redecided):
        return
    only_recorded = _without(recorded, redecided)
    only_redecided = _without(redecided, recorded)
    for old, new in zip_longest(only_recorded, only_redecided):
        yield Difference(seq, what, old, new)
    if not only_recorded and not only_redecided:
        yield Difference(seq, what, note="the same, in another order")


def _without(these: Sequence[Decided], those: Sequence[Decided]) -> list[Decided]:
    left = list(those)
    rest = []
    for item in these:
        if item in left:
            left.remove(item)
        else:
            rest.append(item)
    return rest
