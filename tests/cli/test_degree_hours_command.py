"""`bottomheat degree-hours LOG`: words, tables, JSON, exit status."""

import argparse
import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from controller.adapters.season_log import DirectSeasonLog
from controller.cli import degree_hours as command
from controller.core.plan import Plan, ProbePlan, TrayPlan
from controller.core.scan import Reading, Scan
from controller.core.state import fresh_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.units import MilliC, Millis, UtcMillis
from controller.ports import RunHeader

START_MS = round(datetime(2027, 2, 1, 22, tzinfo=UTC).timestamp()) * 1000
"""An hour before midnight in Paris."""

TRAYS = (
    TrayPlan(
        name="N1",
        probes=(ProbePlan(name="n1", stale_after_ms=Millis(600_000)),),
        base_mc=MilliC(10_000),
        upper_mc=MilliC(25_000),
    ),
    TrayPlan(name="W1"),
)


def temp_mc(hour):
    """22 °C, by night (after 12 hours) 12 °C, in steps of 1 K."""
    return 22_000 if hour % 24 < 12 else 12_000


def written(path, hours=50, silent=range(30, 33), plan_trays=TRAYS):
    """Write a log: a reading every five minutes, none in some hours."""
    plan = Plan(bench="invented", trays=plan_trays)
    state = fresh_state(plan)
    log = DirectSeasonLog(path)
    log.begin(
        RunHeader(
            run="run-1",
            origin="live",
            started_run_ms=0,
            started_utc_ms=START_MS,
            plan=plan,
            state=state,
            timezone="Europe/Paris",
            decisions_version=DECISIONS_VERSION,
            versions={},
        )
    )
    for seq in range(1, hours * 12 + 1):
        at_ms = Millis(seq * 300_000)
        hour = seq // 12
        said = (Reading("n1", at_ms, temp_mc(hour)),) if hour not in silent else ()
        scan = Scan(seq, at_ms, UtcMillis(START_MS + at_ms), True, 20_849, 0, said)
        state, decisions = step(plan, state, scan)
        log.append(scan, decisions, state)
    log.close()
    return path


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return written(tmp_path_factory.mktemp("log") / "season.db")


def run(*words):
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    args = parser.parse_args(["degree-hours", *map(str, words)])
    return args.run(args)


def test_each_tray_is_told_with_its_thresholds_gaps_and_bounds(log, capsys):
    """Nothing was heard for 3 h 5 min: at 12 °C that is 2 K and at 22 °C 12 K."""
    assert run(log) == 0
    out, err = capsys.readouterr()
    assert err == ""
    words = " ".join(out.split())
    assert "Tray N1: " in words
    assert "above 10 °C and no faster above 25 °C" in words
    assert "the live counter says the same, to the last digit" in words
    assert "1 gap, 3.1 h together: would have added 6.2 to 37.0 K·h" in words
    assert "lowest or highest reading (12 °C, 22 °C), which is an assumption" in words
    assert "certain is 0 to 46.2 K·h" in words
    assert "2027-02-03 04:55 2027-02-03 08:00 3.1 h silent 6.2 to 37.0" in words
    assert "Tray W1: 0.0 K·h above 10 °C (0.00 K·d)" in words
    assert "nothing was measured" in words


def test_days_are_local_and_add_up(log, capsys):
    assert run(log, "--tray", "N1", "--daily", "--json") == 0
    record = json.loads(capsys.readouterr().out)
    assert "integral" in record["method"]
    (tray,) = record["trays"]
    days = tray["days"]
    assert [day["day"] for day in days] == [f"2027-02-0{day}" for day in range(1, 5)]
    assert sum(day["heat_mk_ms"] for day in days) == tray["heat_mk_ms"]
    assert days[0]["degree_hours_k_h"] == pytest.approx(12 * 55 / 60)
    assert days[-1]["cumulative_k_h"] == tray["degree_hours_k_h"]
    assert tray["live_counter_agrees"] is True
    assert tray["gaps"][0]["hours"] == pytest.approx(37 / 12)
    assert (tray["base_c"], tray["upper_c"]) == (10, 25)
    assert "degree_days_k_d" not in days[0]


def test_daily_methods_stand_beside_the_integral_and_say_so(log, capsys):
    assert run(log, "--tray", "N1", "--methods", "--cutoff", "vertical") == 0
    out = capsys.readouterr().out
    head = next(line for line in out.splitlines() if "so far" in line)
    assert head.split()[-4:] == ["tri-1", "tri-2", "sin-1", "sin-2"]
    assert "avg-1" not in out  # it knows no vertical cut-off
    words = " ".join(out.split())
    assert "K·h: integral of the readings" in words
    assert "from each day's highest and lowest reading, whatever was measured" in words
    assert "vertical cut-off" in words
    row = next(line for line in out.splitlines() if "2027-02-02" in line)
    assert row.split()[-4:] == ["7.00"] * 4  # mean of 22 and 12 above 10
    assert "2027-02-03 *" in out  # three hours are missing
    assert "tri-2, double-triangle: straight lines" in words


@pytest.mark.parametrize(("hours", "summed"), [(30, []), (49, ["2027-02-02"])])
def test_a_day_counts_in_the_sum_when_the_next_one_told_its_lowest(
    tmp_path, capsys, hours, summed
):
    """Whole from midnight to midnight, and the lowest of the next day, which
    double methods need, seen: after five hours of it, it is still to come.
    """
    log = written(tmp_path / "season.db", hours, silent=())
    assert run(log, "--methods", "--tray", "N1") == 0
    lines = capsys.readouterr().out.splitlines()
    days = [line.split() for line in lines if line.strip().startswith("2027-02")]
    assert [day[0] for day in days if day[1] != "*"] == summed
    assert len([line for line in lines if "sum  " in line]) == len(summed)


def test_without_an_upper_every_method_has_its_say(log, capsys):
    words = ["--tray", "N1", "--upper", "none", "--methods", "--json"]
    assert run(log, *words) == 0
    (tray,) = json.loads(capsys.readouterr().out)["trays"]
    assert tray["upper_c"] is None
    assert tray["gaps_would_add"]["never_above_k_h"] is None
    by_method = tray["days"][1]["degree_days_k_d"]
    assert list(by_method) == [
        "average-1",
        "average-2",
        "single-triangle",
        "double-triangle",
        "single-sine",
        "double-sine",
        "met-service",
    ]
    assert run(log, "--tray", "N1", "--upper", "none") == 0
    assert "without an upper no most" in " ".join(capsys.readouterr().out.split())


def test_what_is_asked_in_fahrenheit_is_told_in_fahrenheit(log, capsys):
    """By hand: 71.6 °F is 11.6 °F above 60 °F for 10 h 55 min and 1 h, and twice a
    line of five minutes to 53.6 °F leaves 11.6² / (2 · 18) / 12: 138.856 °F·h. The
    base is 15.556 °C in whole thousandths, so that a little is missing.
    """
    words = ["--tray", "N1", "--base", "60 °F", "--upper", "80 degF"]
    days = ["--from", "2027-02-02", "--to", "2027-02-02", "--daily"]
    assert run(log, *words, *days) == 0
    out = capsys.readouterr().out
    assert "°F·h above 60 °F and no faster above 80 °F" in out
    row = next(line for line in out.splitlines() if "2027-02-02" in line)
    assert row.split()[1:3] == ["138.8", "138.8"]
    assert row.split()[3:7] == ["24.0", "h", "53.6", "71.6"]


def test_another_base_is_not_held_against_the_live_counter(log, capsys):
    assert run(log, "--tray", "N1", "--base", "10 °C") == 0
    assert "live counter" not in capsys.readouterr().out


def test_a_span_of_days_is_counted_from_midnight_to_midnight(log, capsys):
    words = ["--tray", "N1", "--from", "2027-02-02", "--to", "2027-02-02", "--json"]
    assert run(log, *words) == 0
    (tray,) = json.loads(capsys.readouterr().out)["trays"]
    assert tray["hours_measured"] == 24
    assert tray["live_counter_agrees"] is None


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--base", "10"], "--base '10': write a temperature with its unit"),
        (["--upper", "hot"], "--upper 'hot': write a temperature with its unit"),
        (["--base", "26 °C"], "tray N1: upper = 25 °C: must lie above base"),
        (["--tray", "X9"], "--tray X9: the log has no such tray; there are: N1, W1"),
        (["--from", "1.2.2027"], "--from '1.2.2027': must be a day such as"),
        (["--to", "2027-02-30"], "--to '2027-02-30': must be a day such as"),
        (["--to", "1969-12-31"], "--to '1969-12-31': must lie in the years"),
        (
            ["--from", "2027-02-03", "--to", "2027-02-02"],
            "--from 2027-02-03: must not lie after --to, here 2027-02-02",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_place(log, capsys, words, said):
    assert run(log, *words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"bottomheat degree-hours: {said}")


def test_a_live_counter_that_says_otherwise_is_a_finding(tmp_path, capsys, monkeypatch):
    """As after scans were lost: the state at the end knows of more."""
    path = written(tmp_path / "season.db", hours=5, silent=())
    real = command.recount

    def without(reader, tray, thresholds, span):
        found = real(reader, tray, thresholds, span)
        return replace(found, account=replace(found.account, heat_mk_ms=1))

    monkeypatch.setattr(command, "recount", without)
    assert run(path, "--tray", "N1") == 1
    assert "LIVE COUNTER SAYS OTHERWISE" in capsys.readouterr().out
    assert run(path, "--tray", "N1", "--json") == 1


def test_an_empty_log_says_so(tmp_path, capsys):
    DirectSeasonLog(tmp_path / "season.db").close()
    assert run(tmp_path / "season.db") == 2
    assert "no run of a controller is in it" in capsys.readouterr().err


def test_gaps_beyond_what_a_page_holds_are_counted(tmp_path, capsys):
    bare = replace(
        TRAYS[0], probes=(ProbePlan(name="n1", stale_after_ms=Millis(200_000)),)
    )
    path = written(tmp_path / "season.db", hours=5, silent=(), plan_trays=(bare,))
    assert run(path) == 0
    out = capsys.readouterr().out
    assert "59 gaps" in out
    assert "… the longest 20 of 59" in out
    assert out.count("5.0 min") == 20
