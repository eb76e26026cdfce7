"""How much room a look takes: hardly more at a log of four times as many blocks.

Scans that are late begin stretches, which are blocks of their own, so that a log of
many late scans is the harder one. What is measured is what Python holds at once, by
tracemalloc: the same on any machine.
"""

import gc
import tracemalloc
from contextlib import closing
from dataclasses import replace

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.adapters.season_log.heated import HeatMemory, heated
from controller.adapters.season_log.reader import read_only
from controller.adapters.season_log.sampling import Proofs
from controller.core.decisions import Decisions
from controller.core.scan import Reading
from controller.core.units import HOUR_MS, Millis, UtcMillis
from controller.review.envelopes import envelope
from controller.review.heat import heat_buckets

SCAN_MS = 5_000
UTC_MS = 1_760_000_000_000
LATE_MS = 40_000
EACH = 10
"""One scan of so many is late."""
FEW = 50
"""Blocks."""
SPARE = 20_000
"""Bytes that do not matter: of a log this small a look takes twenty times as many."""


def often_late(samples, blocks):
    """Yield scans of which each block has ten; the mat is on for every other one."""
    for seq in range(1, EACH * blocks + 1):
        scan, decisions, state = samples.taken(seq)
        late_ms = LATE_MS * (seq // EACH)
        run_ms, utc_ms = scan.run_ms + late_ms, scan.utc_ms + late_ms
        minute = utc_ms // 60_000 + 120
        moved = replace(
            scan,
            run_ms=Millis(run_ms),
            utc_ms=UtcMillis(utc_ms),
            local_day=minute // 1440,
            local_minute=minute % 1440,
            readings=(Reading("n1", Millis(run_ms - 1_234), 20_000 + 7 * seq % 900),),
        )
        on = seq % 2 == 0
        numbers = (("setpoint_mc", 21_000.0 + seq // EACH),)
        command = replace(decisions.commands[0], energised=on, numbers=numbers)
        yield moved, Decisions((command,)), state


def written(path, samples, blocks, **options):
    log = DirectSeasonLog(path, commit_every_scans=500, **options)
    log.begin(samples.header())
    for one in often_late(samples, blocks):
        log.append(*one)
    log.close()
    return SeasonLogReader(path)


def end_ms(blocks):
    """Return when the last scan of so many blocks is over."""
    return UTC_MS + blocks * (EACH * SCAN_MS + LATE_MS) + SCAN_MS


def temperatures(reader, blocks):
    return reader.envelope("n1", UTC_MS, end_ms(blocks), 60)


def a_moment(reader, blocks):
    """Return readings of ten minutes, as a recount takes a season, piece by piece."""
    return reader.samples("n1", end_ms(blocks) - 600_000, end_ms(blocks))


def heat(reader, blocks):
    told = reader.heated("north", UTC_MS, end_ms(blocks))
    return heat_buckets(told, UTC_MS, end_ms(blocks), HOUR_MS)


def journal(reader, _blocks):
    return reader.journal(0, 20)


def room(look, reader, blocks):
    """Return how much a look holds at most that was not held before [bytes]."""
    look(reader, blocks)  # what is kept on purpose is there then
    gc.collect()
    tracemalloc.start()
    try:
        look(reader, blocks)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


LOOKS = (temperatures, a_moment, heat, journal)


def test_four_times_as_many_blocks_take_hardly_more_room(tmp_path, samples):
    few = written(tmp_path / "few.db", samples, FEW, fold_after_ms=1)
    many = written(tmp_path / "many.db", samples, 4 * FEW, fold_after_ms=1)
    for look in LOOKS:
        most = 1.3 * room(look, few, FEW) + SPARE
        assert room(look, many, 4 * FEW) <= most, look.__name__
    # What is kept of commands goes by their number, each in ten bytes.
    memory, span = HeatMemory(), (UTC_MS, end_ms(4 * FEW))
    with closing(read_only(tmp_path / "many.db")) as db:
        told = list(heated(db, Proofs(), memory, "north", span))
    assert len(told) > 2 * FEW
    assert memory.size <= 10 * (4 * FEW * EACH) + 1_000


def test_a_log_of_many_blocks_tells_what_was_written(tmp_path, samples):
    """The same as an unfolded one, and as plain arithmetic on its readings."""
    blocks = 30
    loose = written(tmp_path / "loose.db", samples, blocks)
    folded = written(tmp_path / "folded.db", samples, blocks, fold_after_ms=1)
    with closing(read_only(tmp_path / "folded.db")) as db:
        assert db.execute("SELECT count(*) FROM block").fetchone()[0] >= blocks
    found = loose.samples("n1", UTC_MS, end_ms(blocks))
    pairs = list(zip(found.utc_ms, found.temp_mc, strict=True))
    assert len(pairs) == EACH * blocks
    for from_ms, to_ms, points in (
        (UTC_MS, end_ms(blocks), 60),
        (UTC_MS + 333_333, end_ms(blocks) - 444_444, 7),
        (UTC_MS, UTC_MS + 24 * HOUR_MS, 24),
    ):
        truth = envelope(pairs, from_ms, to_ms, points)
        assert list(folded.envelope("n1", from_ms, to_ms, points)) == truth
        assert list(loose.envelope("n1", from_ms, to_ms, points)) == truth
        span = "north", from_ms, to_ms
        assert list(folded.heated(*span)) == list(loose.heated(*span))
    assert list(folded.journal(0, 900)) == list(loose.journal(0, 900))
