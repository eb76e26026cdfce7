"""Whatever happened: it is recorded, decided again alike, and resumed alike."""

from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.cli.beginning import beginning
from controller.core.decisions import Decisions
from controller.core.plan import OnLogFailure, Plan
from controller.core.scan import Scan
from controller.core.state import State, resumed_state
from controller.core.step import DECISIONS_VERSION, step
from controller.ports import Instant, RunHeader
from controller.review.audit import audit
from controller.wire import decode_state, encode_state, from_text, to_text
from tests.core.test_step_properties import Watch, a_whole_bench, arrived, lived, scans

RUNS = st.lists(scans, min_size=1, max_size=12)


@dataclass
class Recorder:
    """Writes a watched bench into a season log, run by run."""

    watch: Watch
    path: Path
    log: DirectSeasonLog = field(init=False)
    runs: int = 0

    def __post_init__(self) -> None:
        """Begin with the first run."""
        self.log = DirectSeasonLog(self.path)
        self.watch.scanned = self.log.append
        self.watch.resumed = self.begin
        self.begin(self.watch.state)

    def begin(self, state: State) -> None:
        """Begin a run from a state."""
        self.runs += 1
        header = RunHeader(
            run=f"run-{self.runs}",
            origin="live",
            started_run_ms=state.run_ms,
            started_utc_ms=0,
            plan=self.watch.plan,
            state=state,
            timezone="UTC",
            decisions_version=DECISIONS_VERSION,
            versions={},
        )
        self.log.begin(header)


@contextmanager
def recorded(on_failure: OnLogFailure):
    with TemporaryDirectory() as folder:
        watch = Watch(a_whole_bench(on_failure))
        recorder = Recorder(watch, Path(folder) / "season.db")
        try:
            yield watch, recorder
        finally:
            recorder.log.close()


def check_audit(path: Path, last: State, *, scanned: bool) -> None:
    reader = SeasonLogReader(path)
    *_, newest = reader.runs()
    for header in reader.runs():
        report = audit(header, reader.scans(header.run), step, DECISIONS_VERSION)
        assert report.mismatches == 0, report.differences[:3]
    if scanned:  # a run that has a scan has a last state
        assert reader.last_state(newest.run)[1] == last


@settings(max_examples=25, deadline=None)
@given(RUNS, st.sampled_from(OnLogFailure))
def test_audit_of_anything_that_was_recorded_finds_nothing(told, on_failure):
    with recorded(on_failure) as (watch, recorder):
        for one in told:
            arrived(watch, one)
        recorder.log.close()
        check_audit(recorder.path, watch.state, scanned=watch.seq > 0)


def test_audit_of_a_long_and_likely_run_finds_nothing():
    with recorded(OnLogFailure.KEEP_HEATING) as (watch, recorder):
        lived(4, 250, watch)
        watch.resume(7_200_000, known=True)
        lived(5, 100, watch)
        recorder.log.close()
        check_audit(recorder.path, watch.state, scanned=True)


@dataclass
class Restored:
    """Decides what a watched bench decides, its state put into text each time."""

    plan: Plan
    state: State

    def scanned(self, scan: Scan, decisions: Decisions, state: State) -> None:
        """Decide a scan from the text of the state before it."""
        read = decode_state(from_text(to_text(encode_state(self.state))))
        assert read == self.state
        self.state, decided = step(self.plan, read, scan)
        assert (self.state, decided) == (state, decisions)

    def resumed(self, state: State) -> None:
        """Begin a run."""
        self.state = state


@settings(max_examples=25, deadline=None)
@given(RUNS)
def test_state_that_was_saved_and_restored_decides_the_same(told):
    watch = Watch()
    other = Restored(watch.plan, watch.state)
    watch.scanned, watch.resumed = other.scanned, other.resumed
    for one in told:
        arrived(watch, one)


def test_state_of_a_long_and_likely_run_is_restored_at_every_scan():
    watch = Watch()
    other = Restored(watch.plan, watch.state)
    watch.scanned, watch.resumed = other.scanned, other.resumed
    lived(8, 60, watch)
    watch.resume(3_600_000, known=False)
    lived(9, 60, watch)


@pytest.mark.parametrize("killed_after", [1, 2, 61, 150])
def test_a_run_that_was_killed_goes_on_where_it_was(killed_after):
    """What the log holds of the state is some scans old: the rest is redecided."""
    with recorded(OnLogFailure.KEEP_HEATING) as (watch, recorder):
        lived(6, killed_after, watch)
        recorder.log._flush()  # and not close: no last state is written
        now = Instant(0, 90_000, True, 0, 0)  # the wall clock of these scans is at 0
        begun = beginning(recorder.path, watch.plan, now, {})
        run_ms = watch.state.run_ms + 90_000
        resumed = resumed_state(watch.plan, watch.state, run_ms, outage_known=True)
        assert begun.run_ms == run_ms
        assert begun.state == resumed
