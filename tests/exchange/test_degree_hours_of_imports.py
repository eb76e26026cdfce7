"""Degree-hours of what was imported, alone and beside a controller's readings."""

import json
import random
from dataclasses import replace
from pathlib import Path

import pytest

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.core.scan import Reading, Scan
from controller.core.units import HOUR_MS
from controller.review.degree_hours import recount
from controller.review.recounted import Span, Thresholds
from controller.review.thermal_days import Why
from tests.builders import UTC_MS, Bench, ms
from tests.exchange.conftest import EVERY_S, header_of, season_plan, write_season

MINUTE_MS = 60_000
BASE = Thresholds(10_000)


@pytest.fixture
def log(tmp_path) -> Path:
    return tmp_path / "season.db"


@pytest.fixture
def give(tmp_path, log, typed, capsys):
    """Return what imports rows of UTC [ms] and value [°C] into the log."""

    def import_(rows, column="Temp=N1"):
        file = tmp_path / "recorder.csv"
        lines = (f"{at_ms},{temp_c}\r\n" for at_ms, temp_c in rows)
        file.write_text("Time,Temp\r\n" + "".join(lines))
        how = ("--time-column", "Time", "--time-format", "unix-ms", "--unit", "°C")
        words = ("--column", column, "--timezone", "UTC", *how)
        assert typed("import", file, log, *words) == 0
        capsys.readouterr()

    return import_


def every(minutes, start_ms, rows, temp_c=20.0):
    return [(start_ms + n * minutes * MINUTE_MS, temp_c) for n in range(rows)]


def counted(log, tray="N1", thresholds=BASE, span=None):
    return recount(SeasonLogReader(log), tray, thresholds, span)


# ------------------------------------------------------------- other recorders alone


@pytest.mark.parametrize("seed", range(6))
def test_files_in_any_order_count_as_one_file_does(give, log, tmp_path, seed):
    """A year's files seldom come in order, and a mended one brings single rows."""
    dice = random.Random(seed)  # noqa: S311
    rows = [(at, dice.randrange(5, 30)) for at, _ in every(10, UTC_MS, 400)]
    give(rows)
    whole, days = counted(log), counted(log, thresholds=None)
    log.rename(tmp_path / "whole.db")
    parts = [rows[:150], rows[150:280], rows[280:]]
    mended = [parts[1].pop(dice.randrange(20, 100))]
    dice.shuffle(parts)
    for part in (*parts, mended):
        give(part)
    for one, other in (
        (whole, counted(log)),
        (days, counted(log, thresholds=None)),
    ):
        assert one.readings == other.readings == 400
        assert one.days == other.days
        assert one.account.heat_mk_ms == other.account.heat_mk_ms
        assert one.gaps == other.gaps == ()


def test_an_earlier_file_that_comes_later_counts_and_the_gap_is_told(give, log):
    give(every(10, UTC_MS, 13))
    give(every(10, UTC_MS - 24 * HOUR_MS, 13))
    found = counted(log)
    assert found.account.heat_mk_ms == 2 * 2 * HOUR_MS * 10_000
    (gap,) = found.gaps
    assert (gap.lasting_ms, gap.why) == (22 * HOUR_MS, Why.SILENT)


def test_two_recorders_in_one_tray_are_a_mean_whichever_came_first(give, log):
    give(every(10, UTC_MS, 61, 20), "Temp=N1/left")
    give(every(10, UTC_MS, 61, 24), "Temp=N1/right")
    found = counted(log)
    first = 10 * MINUTE_MS
    # The first reading of all is the left one's alone.
    assert found.account.heat_mk_ms == 10 * HOUR_MS * 12_000 - first * 1_000
    assert (found.low_mc, found.high_mc, found.gaps) == (20_000, 22_000, ())


# ------------------------------------------------------- beside a controller's own


def agreement(typed, capsys, log, tray):
    status = typed("degree-hours", log, "--tray", tray, "--json")
    told = json.loads(capsys.readouterr().out)["trays"][0]
    return status, told["live_counter_agrees"], told["imported_left_out"]


@pytest.mark.parametrize("hours_after", [-300, 10, 300])
@pytest.mark.parametrize("column", ["Temp=Q1", "Temp=N1"])
def test_the_live_counter_still_agrees_whatever_was_imported(
    give, log, typed, capsys, hours_after, column
):
    write_season(log)
    before = recount(SeasonLogReader(log), "N1"), counted(log, "N2")
    start_ms = UTC_MS + hours_after * HOUR_MS + 3_000
    give(every(10, start_ms, 30), column)
    after = recount(SeasonLogReader(log), "N1"), counted(log, "N2")
    assert after[0].account == before[0].account
    assert (after[0].days, after[1]) == (before[0].days, before[1])
    assert agreement(typed, capsys, log, "N1") == (0, True, column == "Temp=N1")


def test_the_other_recorder_fills_what_the_controller_did_not_hear(give, log):
    """The season's readings are ten minutes apart, and each is stale long before
    the next: nothing is measured in it, until another recorder has it.
    """
    write_season(log)
    alone = counted(log, "N2")
    assert alone.account.measured_ms == 0
    begin_ms = UTC_MS + 20 * EVERY_S * 1000 + 3_000
    give([(begin_ms + n * 10_000, 25) for n in range(361)], "Temp=N2")
    filled = counted(log, "N2")
    # The hour, and three seconds to it from the controller's own reading.
    assert filled.account.measured_ms == HOUR_MS + 3_000
    assert filled.high_mc == 25_000
    assert filled.account.gap_ms == alone.account.gap_ms - HOUR_MS - 3_000


def test_while_the_controller_hears_a_tray_nothing_else_counts(give, log, tmp_path):
    plan = season_plan()
    bench, live = Bench(plan), DirectSeasonLog(log)
    live.begin(header_of(plan))
    for number in range(1, 361):
        bench.scan([Reading("n2", ms(bench.now_s + 10), 20_000)], after_s=10)
        at_ms = ms(bench.now_s)
        said = (Reading("n2", at_ms, 20_000),)
        scan = Scan(number, at_ms, UTC_MS + at_ms, True, 20_000, 720, said)
        live.append(scan, bench.decisions, bench.state)
    live.close()
    alone = counted(log, "N2")
    assert alone.account.measured_ms == HOUR_MS - 10_000
    give(every(1, UTC_MS + 3_000, 90, 30), "Temp=N2")
    mixed = counted(log, "N2")
    within = Span(UTC_MS + 10_000, UTC_MS + HOUR_MS)
    assert counted(log, "N2", span=within).account == replace(
        alone.account, last_ms=mixed.account.last_ms, last_mc=mixed.account.last_mc
    )
    assert mixed.account.measured_ms == 89 * MINUTE_MS


def test_words_say_that_imported_readings_are_left_out(give, log, typed, capsys):
    write_season(log)
    give(every(10, UTC_MS - 40 * HOUR_MS, 30), "Temp=N1")
    typed("degree-hours", log, "--tray", "N1")
    assert "imported readings, which the live" in capsys.readouterr().out
    typed("degree-hours", log, "--tray", "N1", "--base", "10 °C")
    assert "imported" not in capsys.readouterr().out
