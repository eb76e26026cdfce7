"""What a mat was told, read back by time: folded or not, over gaps and runs."""

from contextlib import closing
from dataclasses import replace

import pytest

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader, heated
from controller.adapters.season_log.heated import HeatMemory
from controller.adapters.season_log.reader import read_only
from controller.adapters.season_log.sampling import Proofs
from controller.adapters.season_log.segments import blocks
from controller.core.decisions import Decisions
from controller.core.units import HOUR_MS, Millis, UtcMillis
from controller.ports import Heated

SCAN_MS = 5_000
UTC_MS = 1_760_000_000_000


def at(seq):
    return UTC_MS + seq * SCAN_MS


def on_every(samples, first, last, period):
    """Yield scans in which the mat is on for the first half of each period."""
    for seq in range(first, last + 1):
        scan, decisions, state = samples.taken(seq)
        on = seq % period < period // 2
        numbers = (("root_mc", 20_000.0), ("setpoint_mc", 21_000.0 + 100 * on))
        command = replace(decisions.commands[0], energised=on, numbers=numbers)
        yield scan, Decisions((command,)), state


def written(path, samples, taken, **options):
    log = DirectSeasonLog(path, commit_every_scans=500, **options)
    log.begin(samples.header())
    for one in taken:
        log.append(*one)
    log.close()
    return SeasonLogReader(path)


def test_each_change_is_told_with_its_setpoint_and_the_end_is_the_end(path, samples):
    reader = written(path, samples, on_every(samples, 1, 29, 20))
    assert list(reader.heated("north", UTC_MS, UTC_MS + HOUR_MS)) == [
        Heated(at(1), True, 21_100),
        Heated(at(10), False, 21_000),
        Heated(at(20), True, 21_100),
        Heated(at(30), None, None),
    ]
    assert list(reader.heated("none", UTC_MS, UTC_MS + HOUR_MS)) == [
        Heated(at(30), None, None)
    ]


def test_what_is_folded_tells_the_same(path, samples, tmp_path):
    """Folded for the most part, and read twice: the second time from memory."""
    scans = list(on_every(samples, 1, 12_000, 700))
    loose = written(path, samples, scans)
    folded = written(tmp_path / "folded.db", samples, scans, fold_after_ms=3_600_000)
    span = UTC_MS, UTC_MS + 24 * HOUR_MS
    told = list(loose.heated("north", *span))
    assert list(folded.heated("north", *span)) == told
    assert list(folded.heated("north", *span)) == told
    assert len(told) == 36


def test_what_held_before_a_stretch_is_told_with_it(path, samples):
    reader = written(path, samples, on_every(samples, 1, 2_000, 1_000))
    found = list(reader.heated("north", at(700), at(1_200)))
    assert [one.utc_ms for one in found] == [at(1), at(500), at(1_000)]


def test_scans_that_are_missing_tell_nothing_and_then_what_held_goes_on(path, samples):
    before = list(on_every(samples, 1, 5, 20))
    later = []
    for scan, decisions, state in on_every(samples, 6, 8, 20):
        late = Millis(scan.run_ms + HOUR_MS)
        moved = replace(scan, run_ms=late, utc_ms=UtcMillis(scan.utc_ms + HOUR_MS))
        later.append((replace(moved, readings=()), decisions, state))
    reader = written(path, samples, before + later)
    found = reader.heated("north", UTC_MS, UTC_MS + 2 * HOUR_MS)
    assert list(found) == [
        Heated(at(1), True, 21_100),
        Heated(at(6), None, None),
        Heated(at(6) + HOUR_MS, True, 21_100),
        Heated(at(9) + HOUR_MS, None, None),
    ]


@pytest.mark.parametrize("span", [(0, 1_000), (UTC_MS + 1_000 * HOUR_MS, 2**45)])
def test_a_time_without_scans_tells_nothing(path, samples, span):
    reader = written(path, samples, on_every(samples, 1, 5, 20))
    assert list(reader.heated("north", *span)) == []


def test_what_is_kept_in_mind_of_blocks_is_bounded(path, samples, monkeypatch):
    """A log of many seasons must not fill a board's memory, and tells the same."""
    monkeypatch.setattr(heated, "REMEMBERED", 1_500)
    memory, scans = HeatMemory(), on_every(samples, 1, 16_000, 700)
    written(path, samples, scans, fold_after_ms=3_600_000)
    span = UTC_MS, UTC_MS + 24 * HOUR_MS
    with closing(read_only(path)) as db:
        assert len(list(blocks(db, 0, 2**40))) > 3
        first = list(heated.heated(db, Proofs(), memory, "north", span))
        assert 0 < memory.size <= 1_500
        assert list(heated.heated(db, Proofs(), memory, "north", span)) == first
        assert 0 < memory.size <= 1_500
