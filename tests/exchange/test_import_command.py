"""`bottomheat import`: what is taken, what is refused, and nothing by halves."""

import json
import random
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from controller.adapters.season_log import (
    DirectSeasonLog,
    LogLock,
    SeasonLogReader,
    TripFile,
    trips_beside,
)
from controller.cli import import_sifting
from controller.cli.beginning import beginning
from controller.cli.opening import _how_it_ended
from controller.core.plan import all_trays
from controller.core.state import fresh_state
from controller.core.units import DAY_MS, HOUR_MS
from controller.ports import Instant
from controller.review.degree_hours import recount
from controller.review.envelopes import envelope
from tests.exchange.conftest import (
    files_no_larger_than,
    header_of,
    season_plan,
    write_season,
)

MINUTE_MS = 60_000
UTC_2027_02_01 = 1_801_440_000_000


@pytest.fixture
def log(tmp_path) -> Path:
    return tmp_path / "season.db"


@pytest.fixture
def imported(tmp_path, log, typed, capsys):
    """Return what imports a text and returns exit status and report."""

    def give(text: str | bytes, *words: object, columns=("Temp=N1",), unit="°C"):
        file = tmp_path / "recorder.csv"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        told = [word for column in columns for word in ("--column", column)]
        zone = [] if "--timezone" in words else ["--timezone", "UTC"]
        time = [] if "--time-column" in words else ["--time-column", "Time"]
        said = [*told, *time, *zone, "--unit", unit, *words, "--json"]
        status = typed("import", file, log, *said)
        out, err = capsys.readouterr()
        return status, json.loads(out) if out else err

    return give


def samples(log: Path, probe: str = "N1") -> list[tuple[int, int]]:
    found = SeasonLogReader(log).samples(probe, 0, 2**60)
    return list(zip(found.utc_ms, found.temp_mc, strict=True))


def csv_of(rows: list[tuple[int, str]]) -> str:
    """Return a recorder's file of minutes after midnight and cells."""
    lines = [
        f"2027-02-{1 + m // 1440:02d} {m // 60 % 24:02d}:{m % 60:02d},{cell}\r\n"
        for m, cell in rows
    ]
    return "Time,Temp\r\n" + "".join(lines)


PLAIN = csv_of([(0, "20"), (10, "20.5"), (20, "21"), (30, "20.25")])
PLAIN_MC = [
    (UTC_2027_02_01, 20_000),
    (UTC_2027_02_01 + 10 * MINUTE_MS, 20_500),
    (UTC_2027_02_01 + 20 * MINUTE_MS, 21_000),
    (UTC_2027_02_01 + 30 * MINUTE_MS, 20_250),
]


def reasons(report) -> dict[str, int]:
    return {one["reason"]: one["count"] for one in report["refused"]}


def test_readings_become_a_run_of_their_own_that_reads_back_exactly(imported, log):
    status, report = imported(PLAIN)
    assert (status, report["taken"], report["refused"]) == (0, 4, [])
    assert samples(log) == PLAIN_MC
    (header,) = SeasonLogReader(log).runs()
    assert (header.origin, header.run) == ("import", report["run"])
    assert [tray.name for tray in all_trays(header.plan)] == ["N1"]
    assert header.started_run_ms == 0
    scans = list(SeasonLogReader(log).scans(header.run))
    assert [one.scan.seq for one in scans] == [1, 2, 3, 4]
    assert not any(one.commands or one.decisions.doubts for one in scans)


def test_the_same_file_again_adds_nothing(imported, log):
    imported(PLAIN)
    before = samples(log)
    status, report = imported(PLAIN)
    assert (status, report["taken"], report["in_the_log_already"]) == (0, 0, 4)
    assert report["run"] is None
    assert samples(log) == before
    assert len(SeasonLogReader(log).runs()) == 1


def test_only_what_is_new_is_added(imported, log):
    imported(PLAIN)
    longer = PLAIN + "2027-02-01 00:40,20.125\r\n"
    status, report = imported(longer)
    assert (status, report["taken"], report["in_the_log_already"]) == (0, 1, 4)
    assert samples(log) == [*PLAIN_MC, (UTC_2027_02_01 + 40 * MINUTE_MS, 20_125)]


def test_what_the_log_has_otherwise_is_refused_with_both_values(imported, log):
    imported(PLAIN)
    status, report = imported(csv_of([(0, "20"), (10, "22")]))
    assert (status, report["taken"]) == (1, 0)
    (refused,) = report["refused"]
    assert refused["reason"] == "the log has another value for that time"
    assert refused["first"] == [
        {"line": 3, "column": "Temp", "found": "22.000 °C; the log has 20.500 °C"}
    ]
    assert samples(log) == PLAIN_MC


def test_rows_in_any_order_give_the_same_log(imported, log):
    lines = PLAIN.splitlines(keepends=True)
    body = lines[1:]
    body = body[2:] + body[1::-1]
    status, report = imported("".join([lines[0], *body]))
    assert status == 0
    assert report["rows_out_of_order"] > 0
    assert samples(log) == PLAIN_MC


def test_one_time_twice_is_taken_once_if_alike_and_not_at_all_if_not(imported, log):
    rows = [(0, "20"), (0, "20.0"), (10, "21"), (10, "22"), (20, "20")]
    status, report = imported(csv_of(rows))
    assert (status, report["taken"], report["repeated"]) == (1, 2, 1)
    assert reasons(report) == {"two values for one time": 2}
    assert report["refused"][0]["first"][0]["found"] == (
        "21.000 °C in line 4, 22.000 °C in line 5"
    )
    assert [milli for _, milli in samples(log)] == [20_000, 20_000]


def test_every_refusal_names_its_line_and_its_reason(imported, log):
    text = (
        "\ufeffRecorder 3, lean-to (invented)\r\n"
        "\r\n"
        'Time,Temp,"Note, by hand"\r\n'
        "2027-02-01 00:00,20,ok\r\n"
        '2027-02-01 00:10,NaN,"two\r\nlines"\r\n'
        "2027-02-01 00:20,---,\r\n"
        "2027-02-01 00:30,,\r\n"
        "2027-02-01 00:40,85,\r\n"
        "2027-02-01 00:50\r\n"
        "2027-02-01 01:00,20,a,b\r\n"
        "2027-02-01 01:10,2\x000,\r\n"
        "Time,Temp,Note\r\n"
        "2027-02-01 01:20,20.5,\r\n"
        "2027-02-01 01:30,20.5,,,\r\n"
    )
    status, report = imported(text)
    assert status == 1
    assert {
        one["reason"]: [place["line"] for place in one["first"]]
        for one in report["refused"]
    } == {
        "no number": [5, 7],
        "empty": [8],
        "outside -30 to 70 °C": [9],
        "too few cells, 1 instead of 3": [10],
        "too many cells, 4 instead of 3": [11],
        "NUL bytes": [12],
        "time: no time": [13],
    }
    assert [milli for _, milli in samples(log)] == [20_000, 20_500, 20_500]


def test_empty_cells_alone_are_no_finding(imported):
    status, report = imported(csv_of([(0, "20"), (10, ""), (20, "21")]))
    assert (status, reasons(report)) == (0, {"empty": 1})


def test_gaps_are_listed_and_not_bridged(imported, log):
    rows = [(m, "20") for m in (*range(0, 100, 10), *range(300, 400, 10))]
    _, report = imported(csv_of(rows))
    (probe,) = report["probes"]
    assert probe["every_s"] == 600
    assert probe["gaps"] == [
        {
            "from_utc": "2027-02-01T01:30:00.000Z",
            "to_utc": "2027-02-01T05:00:00.000Z",
        }
    ]
    (header,) = SeasonLogReader(log).runs()
    (tray,) = all_trays(header.plan)
    account = recount(SeasonLogReader(log), tray.name).account
    assert (account.gaps, account.gap_ms) == (1, 210 * MINUTE_MS)
    # 18 intervals of 10 min at 10 K above the base of 10 °C are 30 K·h.
    assert account.heat_mk_ms == 30 * 1000 * HOUR_MS


def test_envelopes_are_those_of_the_file(imported, log):
    imported(PLAIN)
    first = UTC_2027_02_01
    (bucket,) = envelope(samples(log), first, first + HOUR_MS, 1)
    assert (bucket.n, bucket.min_mc, bucket.max_mc) == (4, 20_000, 21_000)


def test_fahrenheit_semicolons_and_decimal_commas(imported, log):
    text = "Datum;Uhrzeit;T1 (°F)\n01.02.2027;01:00;68,9\n01.02.2027;01:10;32,0\n"
    status, report = imported(
        text.encode("cp1252"),
        *("--time-column", "Datum", "--time-column", "Uhrzeit"),
        *("--time-format", "%d.%m.%Y %H:%M", "--timezone", "Europe/Paris"),
        *("--delimiter", ";", "--decimal", ",", "--encoding", "cp1252"),
        columns=["T1 (°F)=sill/S9"],
        unit="°F",
    )
    assert (status, report["taken"]) == (0, 2)
    # (68.9 - 32) / 1.8 = 20.5
    assert samples(log, "S9") == [
        (UTC_2027_02_01, 20_500),
        (UTC_2027_02_01 + 10 * MINUTE_MS, 0),
    ]


def test_a_decimal_comma_between_commas_counts_only_where_it_was_quoted(imported, log):
    """RFC 4180, 2.6: a cell with a comma is quoted. What is not may be cut in two,
    the rest of it in a cell that the row has to spare.
    """
    text = (
        "Time,Temp,Note\r\n"
        '2027-02-01 00:00,"20,5",warm\r\n'
        "2027-02-01 00:10,21,75\r\n"
        "2027-02-01 00:20,22,5,cold\r\n"
    )
    status, report = imported(text, "--decimal", ",")
    assert (status, samples(log)) == (1, [(UTC_2027_02_01, 20_500)])
    assert [one["first"][0]["line"] for one in report["refused"]] == [3, 4]
    assert "it may be a piece of one" in report["refused"][0]["reason"]


def test_an_hour_that_comes_twice_is_refused_unless_it_is_told_which(imported):
    text = "Time,Temp\n2027-10-31 02:30,20\n"
    status, report = imported(text, "--timezone", "Europe/Paris")
    assert (status, reasons(report)) == (
        1,
        {"time: comes twice as clocks go back": 1},
    )
    status, report = imported(text, "--timezone", "Europe/Paris", "--fold", "later")
    assert (status, report["probes"][0]["first_utc"]) == (0, "2027-10-31T01:30:00.000Z")


def test_a_dry_run_tells_all_and_writes_nothing(imported, log, tmp_path):
    status, report = imported(PLAIN, "--dry-run")
    assert (status, report["taken"], report["run"]) == (0, 4, None)
    assert [path.name for path in tmp_path.iterdir()] == ["recorder.csv"]


def test_words_say_the_same_as_json(tmp_path, log, typed, capsys):
    file = tmp_path / "recorder.csv"
    file.write_text(csv_of([(0, "20"), (10, "x"), (10, ""), (90, "21"), (100, "21")]))
    words = ["--column", "Temp=N1", "--time-column", "Time", "--timezone", "UTC"]
    assert typed("import", file, log, *words, "--unit", "°C", "--every", "10 min") == 1
    said = capsys.readouterr().out
    assert "Temp is probe N1 in tray N1, new in this log: 3 readings" in said
    assert "1 gap, 1.5 h in all" in said
    assert "refused, no number: 1\n  line 3, Temp: 'x'" in said
    assert said.splitlines()[-1].startswith(f"{log}: 3 readings taken as run ")


def test_words_name_all_that_was_not_taken(tmp_path, log, typed, capsys):
    file = tmp_path / "recorder.csv"
    rows = [(90, "20"), (80, "21"), (80, "21"), *((m, "x") for m in range(9))]
    file.write_text(csv_of(rows) + "2027-02-01 05:00\r\n")
    words = ["--column", "Temp=room/air", "--time-column", "Time", "--unit", "°C"]
    words += ["--timezone", "UTC"]
    assert typed("import", file, log, *words) == 1
    said = capsys.readouterr().out
    assert "Temp is probe air in the room, new in this log: 2 readings" in said
    assert "  … 9 in all" in said
    assert "  line 14: the whole row" in said
    assert "said more than once in the file, alike: 1" in said
    assert "rows out of order, put in order: 2" in said
    assert typed("import", file, log, *words) == 1
    said = capsys.readouterr().out
    assert "in the log already: 2" in said
    assert "nothing to take, nothing was written" in said
    assert typed("import", file, log, *words, "--dry-run") == 1
    assert "0 readings could be taken; nothing was written" in capsys.readouterr().out


def test_a_file_of_empty_cells_only_gives_no_log(imported, log):
    status, report = imported(csv_of([(0, ""), (10, "")]))
    assert (status, report["taken"], report["probes"][0]["first_utc"]) == (0, 0, None)
    assert not log.exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--delimiter", ";;"], "write one mark, or tab"),
        (["--encoding", "none"], "there is none of that name"),
        (["--encoding", "utf-16"], "say how it is encoded"),
        (["--every", "10"], "--every '10': "),
        (["--every", "0 s"], "longer than nothing"),
        (["--timezone", "Nowhere"], "there is none of that name"),
        (["--time-column", "When"], "names the columns 'When'"),
        (["--column", "Temp"], "write the column's name, ="),
        (["--column", "Temp 2=N1"], "2 columns would become probe N1"),
        (["--column", "Temp=N 2"], "from 1 to 32 letters"),
        (["--delimiter", ";"], "say --delimiter"),
    ],
)
def test_what_cannot_be_understood_is_told_with_exit_2(imported, tmp_path, words, told):
    status, said = imported(PLAIN, *words)
    assert status == 2
    assert told in said
    assert not (tmp_path / "season.db").exists()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"", "found: nothing"),
        (b"\x00" * 300, "NUL bytes"),
        ("Time,Temp\n".encode("utf-16"), "say --encoding utf-16"),
        ("Zeit,Wärme\n".encode("cp1252"), "no utf-8"),
        (b"SQLite format 3\x00", "names the columns"),
        (b'Time,Temp\n2027-02-01,"20\n2027-02-02,20\n', "line 2: "),
        (b"Time,Temp,Temp\n2027-02-01,20,21\n", "2 columns are called 'Temp'"),
        (b"Time;Temp\n2027-02-01;20\n", "if ';' stands between cells"),
        (b'Time,Temp\n2027-02-01,"' + b"x" * 200_000 + b'"\n', "line 2: "),
    ],
)
def test_a_file_that_is_no_such_table_is_told_with_exit_2(imported, log, text, told):
    status, said = imported(text)
    assert status == 2
    assert told in said
    assert not log.exists()


@pytest.mark.parametrize(
    ("bytes_as", "said"),
    [
        ("utf-8-sig", "utf-8"),
        ("utf-8-sig", "UTF_8"),
        ("utf-8-sig", "utf-8-sig"),
        ("utf-16", "utf-16"),
        ("utf-16", "utf-16-le"),
        ("utf-16-le", "utf-16-le"),
        ("cp1252", "windows-1252"),
    ],
)
def test_marks_at_the_beginning_are_no_part_of_a_name(imported, log, bytes_as, said):
    """The Unicode Standard, 23.8: U+FEFF at the start of a text is its mark."""
    text = '"Time";"Temp. °C"\r\n2027-02-01 00:00;20,5\r\n'
    words = ("--encoding", said, "--delimiter", ";", "--decimal", ",")
    given = text.encode(bytes_as)
    status, report = imported(given, *words, columns=["Temp. °C=N1"])
    assert (status, report["taken"]) == (0, 1)
    assert samples(log) == [(UTC_2027_02_01, 20_500)]


@pytest.mark.parametrize(
    ("bytes_as", "said", "told"),
    [
        ("utf-8-sig", "cp1252", "the mark of UTF-8: say --encoding utf-8"),
        ("utf-16", "latin-1", "the mark of UTF-16: say --encoding utf-16"),
    ],
)
def test_a_mark_of_another_encoding_is_told_and_nothing_is_left(
    imported, log, tmp_path, bytes_as, said, told
):
    status, words = imported(PLAIN.encode(bytes_as), "--encoding", said)
    assert (status, told in words) == (2, True)
    assert [path.name for path in tmp_path.iterdir()] == ["recorder.csv"]


def test_a_new_log_needs_a_zone_and_a_missing_file_is_named(
    tmp_path, log, typed, capsys
):
    words = ["--column", "Temp=N1", "--time-column", "Time", "--unit", "°C"]
    assert typed("import", tmp_path / "none.csv", log, *words) == 2
    assert "--timezone is needed" in capsys.readouterr().err
    words += ["--timezone", "UTC"]
    assert typed("import", tmp_path / "none.csv", log, *words) == 2
    assert "none.csv cannot be read: No such file" in capsys.readouterr().err
    assert typed("import", "x.csv", tmp_path / "no" / "season.db", *words) == 2
    assert "does not exist; make it first" in capsys.readouterr().err


def test_random_bytes_are_told_in_a_sentence(imported, log):
    chance = random.Random(11)  # noqa: S311
    for size in (1, 10, 1_000, 20_000):
        status, said = imported(chance.randbytes(size))
        assert status == 2
        assert "recorder.csv" in said
    assert not log.exists()


# --------------------------------------------------------- a log that is there


@pytest.mark.parametrize("junk", [b"", b"Time,Temp\n"])
def test_what_is_no_log_is_left_alone(imported, log, tmp_path, junk):
    log.write_bytes(junk)
    status, said = imported(PLAIN)
    assert (status, str(log) in said) == (2, True)
    assert log.read_bytes() == junk
    assert {one.name for one in tmp_path.iterdir()} == {"season.db", "recorder.csv"}


def test_a_file_with_too_many_readings_is_refused_whole(imported, log, monkeypatch):
    monkeypatch.setattr(import_sifting, "MOST", 3)
    status, said = imported(PLAIN)
    assert (status, "line 5: more than 3 readings" in said) == (2, True)
    assert not log.exists()


def test_a_log_that_is_being_written_is_left_alone(imported, log):
    write_season(log)
    before = log.read_bytes()
    lock = LogLock(log)
    status, said = imported(PLAIN)
    lock.release()
    assert (status, "one writer" in said) == (2, True)
    assert log.read_bytes() == before


def test_a_full_disk_leaves_the_log_as_it_was(imported, log):
    write_season(log)
    runs = len(SeasonLogReader(log).runs())
    rows = [(m, f"{20 + m % 7 / 10:.1f}") for m in range(20_000)]
    text = csv_of(rows)
    with files_no_larger_than(max(log.stat().st_size, len(text)) + 1):
        status, said = imported(text)
    assert (status, "cannot be written" in said) == (2, True)
    assert len(SeasonLogReader(log).runs()) == runs
    assert samples(log, "N1") == []


def test_a_full_disk_leaves_no_new_log(imported, log, tmp_path):
    rows = [(m, f"{20 + m % 7 / 10:.1f}") for m in range(20_000)]
    text = csv_of(rows)
    with files_no_larger_than(len(text) + 1):
        status, _ = imported(text)
    assert status == 2
    names = {path.name for path in tmp_path.iterdir()}
    assert names <= {"recorder.csv", "season.db.lock"}


def test_a_tray_s_name_stands_for_its_probe_and_keeps_its_base(imported, log):
    write_season(log)
    _, report = imported(PLAIN, columns=["Temp=N1"])
    (probe,) = report["probes"]
    assert (probe["probe"], probe["tray"], probe["known"]) == ("n1", "N1", True)
    header = SeasonLogReader(log).runs()[-1]
    assert header.plan.bench == "invented"
    assert header.timezone == "Europe/Paris"
    # Other recorders' probes have no offset of ours.
    assert [milli for at, milli in samples(log, "n1") if at >= UTC_2027_02_01] == [
        milli for _, milli in PLAIN_MC
    ]


def test_the_bench_clock_of_imported_readings_is_that_of_the_log(imported, log):
    write_season(log)
    live = SeasonLogReader(log).runs()[0]
    imported(csv_of([(0, "20")]).replace("2027-02", "2025-10"))
    header = SeasonLogReader(log).runs()[-1]
    assert header.started_run_ms - live.started_run_ms == (
        header.started_utc_ms - live.started_utc_ms
    )
    assert header.started_run_ms < 0  # a week before the bench began


@pytest.mark.parametrize("column", ["Temp=s1", "Temp=wet"])
def test_a_surface_or_a_witness_is_no_place_for_a_tray_s_readings(
    imported, log, column
):
    write_season(log)
    status, said = imported(PLAIN, columns=[column])
    assert (status, "a name of its own" in said) == (2, True)


def test_audit_says_that_there_was_nothing_to_decide(imported, log, typed, capsys):
    write_season(log)
    imported(PLAIN)
    assert typed("audit", log) == 0
    said = capsys.readouterr().out
    assert "imported, nothing to decide: 4 scans, 0 mismatches" in said
    assert "and 4 scans imported, with nothing to decide" in said
    assert typed("audit", log, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["scans"], told["imported_scans"]) == (240, 4)


def test_a_live_run_goes_on_from_the_live_run_before_and_not_from_an_imported_one(
    imported, log
):
    plan = season_plan()
    write_season(log)
    now = Instant(0, UTC_2027_02_01, False, 20_000, 0)
    before = beginning(log, plan, now, {})
    imported(PLAIN)
    after = beginning(log, plan, now, {})
    assert after == before
    assert after.state.accounts["N1"].gap_ms > 0


def test_how_the_last_live_run_ended_is_told_past_an_import(imported, log):
    write_season(log)
    now = Instant(0, UTC_2027_02_01, True, 20_000, 0)
    before = _how_it_ended(log, now)
    assert before.startswith("the run before (run-1) ")
    imported(PLAIN)
    assert _how_it_ended(log, now).startswith("the run before (run-1) ")


def test_decisions_in_an_imported_run_are_a_finding(imported, log, typed, capsys):
    """Nothing was decided in it: whoever wrote one there altered the log."""
    imported(PLAIN)
    with closing(sqlite3.connect(log)) as db, db:
        db.execute("INSERT INTO answer VALUES (2, 0, 1, 1, 'granted')")
    assert typed("audit", log) == 1
    assert "1 mismatch" in capsys.readouterr().out


def test_a_first_live_run_begins_its_clock_after_what_was_imported(imported, log):
    imported(PLAIN)
    now = Instant(0, UTC_2027_02_01 + DAY_MS, True, 20_000, 0)
    begun = beginning(log, season_plan(), now, {})
    assert begun.run_ms == DAY_MS
    assert begun.state == fresh_state(season_plan(), DAY_MS)
    unknown = replace(now, clock_ok=False)
    assert beginning(log, season_plan(), unknown, {}).run_ms == 30 * MINUTE_MS


def test_a_live_run_after_an_import_is_written_and_read(imported, log):
    imported(PLAIN)
    plan = season_plan()
    live = DirectSeasonLog(log)
    live.begin(header_of(plan, run="live-1"))
    live.close()
    assert [one.origin for one in SeasonLogReader(log).runs()] == ["import", "live"]
    assert TripFile(trips_beside(log)).load() == {}
