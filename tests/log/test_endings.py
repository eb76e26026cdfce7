"""How a run ended, and how it began, stand in the log in words."""

import pytest

from controller.adapters.season_log import (
    NO_ENDING,
    DirectSeasonLog,
    SeasonLogReader,
    SeasonLogWriter,
)
from controller.ports import Instant

END = Instant(20_000, 1_760_000_020_000, True, 20_370, 8)


@pytest.fixture(params=[SeasonLogWriter, DirectSeasonLog])
def log(request, path):
    return request.param(path)


def journal(path, kind):
    return [e for e in SeasonLogReader(path).journal(0, 1_000) if e.kind == kind]


def test_an_ending_is_found_again_with_its_time_and_cause(log, samples, path):
    log.begin(samples.header())
    for taken in samples.many(1, 3):
        log.append(*taken)
    log.end(END, "stopped by SIGTERM")
    log.close()
    found = SeasonLogReader(path).ending("run-1")
    assert found == (20_000, 1_760_000_020_000, "stopped by SIGTERM")
    (entry,) = journal(path, "ending")
    assert entry.utc_ms == 1_760_000_020_000
    assert entry.body == {"run": "run-1", "cause": "stopped by SIGTERM"}
    assert SeasonLogReader(path).journal(entry.id, 10) == []


def test_a_run_that_ends_before_its_first_scan_has_an_ending_of_its_own(
    log, samples, path
):
    log.begin(samples.header())
    log.end(END, "stopped by SIGINT")
    log.close()
    again = SeasonLogWriter(path)
    again.begin(samples.header("run-2"))
    again.close()
    reader = SeasonLogReader(path)
    assert reader.ending("run-1").cause == "stopped by SIGINT"
    assert reader.ending("run-2") is None
    assert len(journal(path, "ending")) == 1


@pytest.mark.parametrize("scans", [0, 4])
def test_a_run_that_left_no_word_is_said_to_be_killed_when_the_next_begins(
    samples, path, scans
):
    log = SeasonLogWriter(path)
    log.begin(samples.header())
    for taken in samples.many(1, scans):
        log.append(*taken)
    log.close()  # as far as the file is concerned, that is where it was killed
    assert SeasonLogReader(path).ending("run-1") is None
    for run in ("run-2", "run-3"):
        log = SeasonLogWriter(path)
        log.begin(samples.header(run))
        log.end(END, "stopped by SIGTERM")
        log.close()
    reader = SeasonLogReader(path)
    header = samples.header()
    last = [r.scan for r in reader.scans("run-1")][-1:]
    run_ms = last[0].run_ms if last else header.started_run_ms
    utc_ms = last[0].utc_ms if last else header.started_utc_ms
    assert reader.ending("run-1") == (run_ms, utc_ms, NO_ENDING)
    causes = [entry.body["cause"] for entry in journal(path, "ending")]
    assert causes == [NO_ENDING, "stopped by SIGTERM", "stopped by SIGTERM"]


def test_a_simulated_run_is_not_said_to_be_killed(samples, path):
    for run in ("run-1", "run-2"):
        log = DirectSeasonLog(path)
        log.begin(samples.header(run, origin="simulate"))
        log.close()
    assert journal(path, "ending") == []


def test_notes_about_a_beginning_are_in_its_header_and_in_the_journal(
    log, samples, path
):
    notes = ("a damaged log was set aside", "half a letter \ud83c is spelled out")
    log.begin(samples.header(notes=notes))
    log.append(*samples.taken(1))
    log.close()
    (header,) = SeasonLogReader(path).runs()
    assert header.notes == (notes[0], "half a letter \\ud83c is spelled out")
    entries = SeasonLogReader(path).journal(0, 10)
    assert [entry.kind for entry in entries[:3]] == ["run", "note", "note"]
    assert entries[1].body == {"sentence": "a damaged log was set aside"}
    assert entries[1].utc_ms == header.started_utc_ms
    after = SeasonLogReader(path).journal(entries[1].id, 10)
    assert [entry.body.get("sentence") for entry in after][:1] == [header.notes[1]]


def test_an_ending_waits_for_the_disk_behind_the_scans(samples, path):
    """The disk refuses at the end; when it takes things again, all is written."""
    folder = path.parent
    path = folder / "away" / "season.db"
    path.parent.mkdir()
    log = SeasonLogWriter(path, retry_s=3_600)
    log.begin(samples.header())
    log.settle()
    path.parent.rename(folder / "elsewhere")
    log.append(*samples.taken(1, flush=True))
    log.settle()
    log.end(END, "stopped by SIGTERM")
    (folder / "elsewhere").rename(path.parent)
    log.close()
    reader = SeasonLogReader(path)
    assert reader.last_seq("run-1") == 1
    assert reader.ending("run-1").cause == "stopped by SIGTERM"


def test_an_ending_of_no_run_is_the_callers_mistake(path):
    log = SeasonLogWriter(path)
    with pytest.raises(ValueError, match="from begin to close"):
        log.end(END, "stopped")
    log.close()
