"""`bottomheat batch`: of a bench that runs, on a log at rest, and from CSV files."""

import csv
import json
from pathlib import Path

import pytest

from api.app import create_app
from api.record_book import Records
from api.server import Listen, serve
from controller import cli
from controller.adapters.memory_records import MemoryRecords
from controller.adapters.season_log import LogLock, SeasonLogReader
from controller.cli import batch_words
from controller.records.codes import code_of
from controller.records.looks import Base, Look
from tests.api.conftest import WARM, FakeBench, FakeReader
from tests.api.test_trays_command import in_a_thread
from tests.cli.test_event_command import log as a_log  # noqa: F401 - a fixture

ONE, TWO = code_of(1), code_of(2)
STUCK = ["--stuck", "2026-02-10T09:00", "--count", "20", "--tray", "N1"]
ADD = ["add", "gooseberry", "--kind", "hardwood", *STUCK]


@pytest.fixture
def kept() -> MemoryRecords:
    return MemoryRecords()


@pytest.fixture
def url(kept):
    bench, reader = FakeBench().scan(WARM), FakeReader()
    app = create_app(bench, lambda: reader, bench, Records(kept, lambda: kept))
    with in_a_thread(lambda tell: serve(app, Listen("127.0.0.1", 0), tell)) as port:
        yield f"http://127.0.0.1:{port}"


def typed(*words: object) -> int:
    return cli.main(["batch", *map(str, words)])


def test_a_batch_is_told_with_all_that_is_known_of_it(url, kept, capsys):
    words = [
        *ADD,
        *(
            "--cultivar",
            "Hollow Lane",
            "--mother",
            "row 2",
            "--collected",
            "2025-12-03",
        ),
        *("--length", 200, "--wounds", 2, "--wound-length", 20),
        *("--hormone", "IBA", "--ppm", 3000, "--carrier", "dip", "--seconds", 5),
        *("--wrap", "wax", "--wrap-down", 60, "--cover", "vented", "--base", 7.5),
    ]
    assert typed(*words, "--url", url) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"{ONE}  gooseberry Hollow Lane, hardwood\n")
    assert "stuck, stuck 2026-02-10 09:00, 4.0 days, 20 of them, in tray N1" in said
    assert "hormone: active IBA, ppm 3000.0, carrier dip, seconds 5.0" in said
    batch = kept.changes(0)[0].value
    assert (batch.wounds.sides, batch.wrap.down_mm, batch.base_mc) == (2, 60, 7_500)


def test_semi_ripe_is_semi_hardwood(url, kept):
    assert typed("add", "box", "--kind", "semi-ripe", "--url", url) == 0
    assert kept.changes(0)[0].value.kind == "semi-hardwood"


def test_a_batch_is_looked_at_moved_corrected_and_closed(url, kept, capsys):
    typed(*ADD, "--url", url)
    look = ["--how", "lifted", "--at-n", 20, "--at", "2026-02-12T09:00"]
    seen = ["--base", "none=15", "callus=2", "roots=3", "--tops", "leafed=20"]
    assert typed("look", ONE.lower(), *look, *seen, "--url", url) == 0
    said = capsys.readouterr().out
    assert "base: 15 none, 2 callus, 3 roots; tops: 20 leafed" in said
    assert "3 rooted between 2026-02-10 09:00 and 2026-02-12 09:00" in said
    assert "17 not seen to have rooted after 2026-02-12 09:00" in said
    move = ["move", ONE, "off", "--place", "frost-free frame"]
    assert typed(*move, "--at", "2026-02-13T09:00", "--url", url) == 0
    assert kept.changes(0)[-1].value.tray == ""
    assert typed("correct", ONE, "--crop", "quince", "--url", url) == 0
    capsys.readouterr()
    assert typed("close", ONE, "weaned", "--rooted", 17, "--url", url) == 0
    assert "weaned, 17 rooted" in capsys.readouterr().out
    assert typed("close", ONE, "weaned", "--undo", "--url", url) == 0
    assert "ended" not in capsys.readouterr().out
    assert typed("correct", ONE, "--withdraw", "--url", url) == 0
    assert kept.changes(0)[-1].value.withdrawn


def test_batches_are_listed_and_shown(url, capsys):
    typed("list", "--url", url)
    assert capsys.readouterr().out == "no batch was told yet\n"
    typed(*ADD, "--url", url)
    typed("add", "quince", "--kind", "hardwood", "--url", url)
    capsys.readouterr()
    assert typed("list", "--url", url) == 0
    head, one, two, _, advice = capsys.readouterr().out.splitlines()
    assert head.split() == [
        "CODE",
        "CROP",
        "CULTIVAR",
        "COUNT",
        "STATE",
        "TRAY",
        "DAYS",
    ]
    assert one.split() == [ONE, "gooseberry", "-", "20", "stuck", "N1", "4.0"]
    assert two.split() == [TWO, "quince", "-", "-", "not", "stuck", "-", "-"]
    assert advice == f"{ONE}: no roots seen: leave it on the heat"
    assert typed("list", "--tray", "N1", "--open", "--json", "--url", url) == 0
    found = json.loads(capsys.readouterr().out)["batches"]
    assert [batch["code"] for batch in found] == [ONE]
    assert typed("show", ONE, "--url", url) == 0
    assert "0.0 K·h above 10.0 °C" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["show", "OOPS"], "there is no batch 'OOPS': 'O' is in no label code"),
        ([*ADD, "--tray", "N9"], "there is no such tray; there are: N1"),
        ([*ADD, "--seconds", 5], "required"),  # a hormone's, and none was told
        (
            ["look", ONE, "--how", "lifted", "--at-n", 1, "--base", "rots=1"],
            "--base rots=1: write none=N, callus=N, roots=N",
        ),
        (["look", ONE, "--how", "lifted", "--at-n", 1], f"there is no batch {ONE}"),
    ],
)
def test_what_is_not_right_is_told_with_exit_2(url, kept, capsys, words, told):
    assert typed(*words, "--url", url) == 2
    captured = capsys.readouterr()
    assert told in captured.err
    assert captured.out == ""
    assert kept.changes(0) == []


def test_words_survive_an_answer_that_lacks_everything():
    lines = list(batch_words.batch_in_words({"looks": [{}], "rootings": [7]}, str))
    assert lines[0] == "-  , -"
    assert list(batch_words.list_in_words({"batches": ["x"]}))[1].split() == ["-"] * 7


# ------------------------------------------------------------- on a file, and as CSV


@pytest.fixture
def log(a_log) -> Path:  # noqa: F811 - the fixture of the other file
    return a_log


OLD = ["--stuck", "2025-10-09", "--count", "20", "--tray", "N1"]


def filled(log: Path) -> None:
    """Tell a log of two batches, a look, a move, an end and an event."""
    add = ["add", "gooseberry, red", "--kind", "hardwood", *OLD]
    told = ["--hormone", "IBA", "--carrier", "gel", "--text", 'so-called "early"\nbush']
    assert typed(*add, *told, "--length", 180.5, "--log", log) == 0
    assert typed("add", "quince", "--kind", "hardwood", "--log", log) == 0
    look = ["--how", "lifted", "--at-n", 3, "--base", "roots=1", "none=2"]
    assert typed("look", ONE, *look, "--at", "2025-10-20", "--log", log) == 0
    assert typed("move", ONE, "off", "--at", "2025-10-21", "--log", log) == 0
    assert typed("close", ONE, "failed", "--at", "2025-10-22", "--log", log) == 0
    words = ["watered", "N1", "--ml", "50", "--at", "2025-10-10", "--log", str(log)]
    assert cli.main(["event", *words]) == 0


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_everything_goes_out_as_csv_while_a_daemon_writes_or_not(log, tmp_path, capsys):
    filled(log)
    lock = LogLock(log)
    folder = tmp_path / "out"
    capsys.readouterr()
    assert typed("export", folder, "--log", log, "--json") == 0
    lock.release()
    assert json.loads(capsys.readouterr().out) == {
        "batches.csv": 2,
        "plants.csv": 0,
        "looks.csv": 1,
        "moves.csv": 1,
        "ends.csv": 1,
        "events.csv": 1,
    }
    one, two = rows(folder / "batches.csv")
    assert (one["code"], one["crop"], one["text"]) == (
        ONE,
        "gooseberry, red",
        'so-called "early"\nbush',
    )
    assert (one["hormone_active"], one["hormone_ppm"], one["length_mm"]) == (
        "IBA",
        "",
        "180.5",
    )
    assert one["stuck_at"] == "2025-10-08T22:00:00.000Z"  # midnight in Paris
    assert (two["crop"], two["stuck_at"], two["wounds_sides"]) == ("quince", "", "")
    (look,) = rows(folder / "looks.csv")
    assert (look["batch"], look["how"], look["base_roots"], look["tops_leafed"]) == (
        ONE,
        "lifted",
        "1",
        "",
    )
    assert rows(folder / "ends.csv")[0]["outcome"] == "failed"
    assert rows(folder / "events.csv")[0]["water_ml"] == "50.0"
    raw = (folder / "batches.csv").read_bytes()
    assert raw.startswith(b"code,cultivar,")
    assert raw.split(b"\r\n")[0].count(b",") > 30


def test_a_file_that_is_there_is_not_overwritten_unasked(log, tmp_path, capsys):
    filled(log)
    folder = tmp_path / "out"
    assert typed("export", folder, "--log", log) == 0
    before = (folder / "looks.csv").read_bytes()
    (folder / "batches.csv").unlink()
    assert typed("export", folder, "--log", log) == 2
    assert "is there already" in capsys.readouterr().err
    assert not (folder / "batches.csv").exists()
    assert (folder / "looks.csv").read_bytes() == before
    assert typed("export", folder, "--log", log, "--overwrite") == 0


def test_what_went_out_comes_in_again_exactly(log, tmp_path, url, kept):
    filled(log)
    assert typed("export", tmp_path / "out", "--log", log) == 0
    assert typed("import", tmp_path / "out" / "batches.csv", "--url", url) == 0
    told = [
        one.value for one in SeasonLogReader(log).changes() if one.kind.value == "batch"
    ]
    assert [change.value for change in kept.changes(0)] == told
    assert [change.subject for change in kept.changes(0)] == [ONE, TWO]


HEAD = "crop,kind,count,length_mm,stuck_at,hormone_active,hormone_carrier,withdrawn\r\n"
GOOD = "gooseberry,hardwood,20,180.5,2026-02-10 09:00,IBA,gel,\r\n"


def written(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "in.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_file_that_a_person_wrote_is_taken(tmp_path, url, kept, capsys):
    path = written(tmp_path, HEAD + GOOD + "\r\n" + GOOD, "utf-8-sig")
    assert typed("import", path, "--url", url) == 0
    assert capsys.readouterr().out == f"2 batches were taken: {ONE} {TWO}\n"
    batch = kept.changes(0)[0].value
    assert (batch.count, batch.length_mm, batch.hormone.active) == (20, 180.5, "IBA")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HEAD + GOOD + GOOD.replace("20,", "many,"), "line 3: count: found 'many'"),
        (HEAD + GOOD.replace("180.5", '"180,5"'), "write a number such as 8.5"),
        (HEAD + GOOD.replace("hardwood", "wood"), "line 2: kind: found 'wood': Input"),
        (HEAD + GOOD + GOOD.replace("20,", "0,"), "line 3: count: found '0': must be"),
        (HEAD + GOOD.replace("gel", ""), "line 2: hormone_carrier: Field required"),
        (HEAD + GOOD.replace("2026-02-10 09:00", "soon"), "stuck_at 'soon' is no time"),
        (HEAD + "gooseberry,hardwood\r\n", "line 2: has 2 cells, and the head has 8"),
        (HEAD.replace("count", "counts") + GOOD, "line 1: 'counts' is no column"),
        ("crop\r\nx\r\n", "line 1: the column kind is missing"),
        ("crop,kind,crop\r\nx,seed,y\r\n", "line 1: a column is there twice"),
        (HEAD, "has a head and no rows"),
        ("", "the column crop is missing"),
        (HEAD + '"open', "is no CSV as in RFC 4180"),
        (HEAD + GOOD * 201, "has 201 rows; at most 200 come at once"),
        (HEAD + GOOD.replace("gel,", "gel,perhaps"), "write true or false"),
        ("crop,kind,text\r\n" + f"x,seed,{'y' * 1_990}\r\n" * 40, "more than 65536"),
    ],
)
def test_a_file_with_a_fault_is_refused_as_a_whole(
    tmp_path, url, kept, capsys, text, told
):
    assert typed("import", written(tmp_path, text), "--url", url) == 1
    captured = capsys.readouterr()
    assert told in captured.err
    assert "nothing was taken" in captured.err
    assert kept.changes(0) == []


def test_every_row_that_is_refused_is_told_at_once(tmp_path, url, capsys):
    text = HEAD + GOOD.replace("20,", "0,") + GOOD + GOOD.replace("180.5", "9999")
    assert typed("import", written(tmp_path, text), "--url", url) == 1
    said = capsys.readouterr().err.splitlines()
    assert [line.split(": ")[1] for line in said[:2]] == ["line 2", "line 4"]


def test_what_is_no_text_is_refused(tmp_path, url, capsys):
    path = written(tmp_path, HEAD + GOOD.replace("IBA", "é"), "latin-1")
    assert typed("import", path, "--url", url) == 1
    assert "is not UTF-8 at byte" in capsys.readouterr().err
    assert typed("import", tmp_path / "none.csv", "--url", url) == 2


# -------------------------------------------------------------------- looks as CSV

LOOKS = "batch,at,how,looked_at,base_roots,base_none,tops_leafed,dead_rotted_base,fine"
SEEN = f"{ONE.lower()},2026-02-12T09:00Z,lifted,3,2,1,,1,"
FINE = f"{ONE},2026-02-13T09:00Z,tops-only,20,,,,,true"


def looks_in(kept) -> list[Look]:
    return [one.value for one in kept.changes(0) if isinstance(one.value, Look)]


def test_looks_of_a_table_are_taken_and_not_a_second_time(tmp_path, url, kept, capsys):
    typed(*ADD, "--url", url)
    capsys.readouterr()
    path = written(tmp_path, "\r\n".join([LOOKS, SEEN, "", FINE]), "utf-8-sig")
    assert typed("import", path, "--url", url) == 0
    assert capsys.readouterr().out == f"2 looks were taken: {ONE}\n"
    first, second = looks_in(kept)
    assert (first.batch, first.base, first.tops) == (ONE, Base(none=1, roots=2), None)
    assert (first.dead.rotted_base, first.fine) == (1, False)
    assert (second.base, second.fine, second.looked_at) == (None, True, 20)
    assert typed("import", path, "--url", url, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told == {"taken": "looks", "codes": [], "already": 2}
    assert len(looks_in(kept)) == 2


def test_looks_that_went_out_come_in_again_exactly(log, tmp_path, url, kept, capsys):
    filled(log)
    told = ["--sentinels", "lifted=2", "rooted=1", "--text", 'so "early", twice']
    look = ["--how", "lifted", "--at-n", 4, "--tug", "held=1", "--at", "2025-10-21"]
    assert typed("look", ONE, *look, *told, "--who", "Ann", "--log", log) == 0
    assert typed("export", tmp_path / "out", "--log", log) == 0
    for name in ("batches", "looks"):
        assert typed("import", tmp_path / "out" / f"{name}.csv", "--url", url) == 0
    changes = SeasonLogReader(log).changes()
    assert looks_in(kept) == [
        one.value for one in changes if isinstance(one.value, Look)
    ]
    assert len(looks_in(kept)) == 2
    capsys.readouterr()
    assert typed("import", tmp_path / "out" / "looks.csv", "--log", log) == 0
    assert "2 were told already, word for word" in capsys.readouterr().out
    assert SeasonLogReader(log).changes() == changes


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (SEEN.replace(",3,", ",three,"), "line 3: looked_at: found 'three': write a"),
        (
            SEEN.replace(",3,", ",99,"),
            "line 3: looked_at: found '99': must not be more",
        ),
        (
            SEEN.replace("lifted", "poked"),
            "line 3: how: found 'poked': Input should be",
        ),
        (SEEN.replace("lifted", "tops-only"), "line 3: base: tops-only shows no base"),
        (
            SEEN.replace("2026-02-12T09:00Z", ""),
            "line 3: at: found nothing: it must be",
        ),
        (SEEN.replace("2026-02-12T09:00Z", "then"), "line 3: at 'then' is no time"),
        (SEEN.replace("2026-02-12", "2026-03-12"), "line 3: at: found '2026-03-12"),
        (
            SEEN.replace(",2,1,", ",-2,1,"),
            "line 3: base_roots: found '-2': must be from",
        ),
        (SEEN.replace(ONE.lower(), "XXXX"), "line 3: batch: found 'XXXX': "),
        (FINE.replace(",20,", ",19,"), "and tells otherwise: put that one right"),
        (FINE.replace("true", "yes"), "line 3: fine: found 'yes': write true or false"),
        (FINE + ",,", "line 3: has 11 cells, and the head has 9"),
    ],
)
def test_a_table_of_looks_with_a_fault_is_refused_as_a_whole(
    tmp_path, url, kept, capsys, text, told
):
    typed(*ADD, "--url", url)
    before = kept.changes(0)
    path = written(tmp_path, "\r\n".join([LOOKS, FINE, text]))
    assert typed("import", path, "--url", url) == 1
    captured = capsys.readouterr()
    assert told in captured.err
    assert "nothing was taken" in captured.err
    assert kept.changes(0) == before


def test_every_column_of_a_look_goes_out_and_may_come_in(log, tmp_path, url, capsys):
    filled(log)
    assert typed("export", tmp_path / "out", "--log", log) == 0
    head = (tmp_path / "out" / "looks.csv").read_text("utf-8").splitlines()[0]
    odd = written(tmp_path, f"{head},height\r\n")
    assert typed("import", odd, "--url", url) == 1
    listed = capsys.readouterr().err.split("there are: ")[1].splitlines()[0]
    assert listed.split(", ") == head.split(",")


def test_plants_and_rounds_are_told_with_few_words(url, kept, capsys):
    typed(*ADD, "--wanted", 3, "--url", url)
    typed("add", "quince", "--kind", "hardwood", *STUCK, "--url", url)
    capsys.readouterr()
    at = ["--at", "2026-02-12T09:00"]
    other = ["--except", TWO, "wilted=2", "rotted-base=1"]
    assert typed("round", "N1", *other, *at, "--url", url) == 0
    assert f"{TWO}: tops wilt: damper, cooler" in capsys.readouterr().out
    assert typed("plants", ONE, "potted", 9, "--roots", 3, *at, "--url", url) == 0
    said = capsys.readouterr().out
    assert "tops-only, at 20; tops: fine" in said
    assert "2026-02-12 09:00, 9 potted, roots 3 of 4" in said
    assert typed("plants", ONE, "dead", 1, "--reason", "slugs", "--url", url) == 0
    assert "1 dead: slugs" in capsys.readouterr().out
    assert kept.changes(0)[3].value.dead.rotted_base == 1


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ([TWO], "say what was seen"),
        ([ONE, "roots=2"], "write dormant=N"),
        ([TWO, "wilted=2"], "not told how many were stuck"),
    ],
)
def test_a_round_that_is_not_understood_is_refused(url, capsys, other, words):
    typed(*ADD, "--url", url)
    typed("add", "quince", "--kind", "hardwood", "--url", url)
    assert typed("round", "N1", "--except", *other, "--url", url) == 2
    assert words in capsys.readouterr().err


def test_advice_comes_after_a_look_in_the_list_and_when_asked(url, capsys):
    assert typed("advice", "--url", url) == 0
    assert "no open batch" in capsys.readouterr().out
    typed(*ADD, "--url", url)
    capsys.readouterr()
    look = ["look", ONE, "--how", "tops-only", "--at-n", 20, "--tops", "leafed=15"]
    assert typed(*look, "--url", url) == 0
    said = capsys.readouterr().out
    assert "in leaf, and no roots seen: leave it on the heat" in said
    assert "  - no tug" in said
    assert typed("list", "--url", url) == 0
    assert f"{ONE}: in leaf, and no roots seen" in capsys.readouterr().out
    assert typed("advice", ONE, "--url", url) == 0
    assert "leave the mat north as it is" in capsys.readouterr().out
    assert typed("advice", ONE, "--json", "--url", url) == 0
    assert json.loads(capsys.readouterr().out)["advice"]["tops"] == "leafed"


def test_what_is_due_is_listed(url, capsys):
    typed(*ADD, "--url", url)
    capsys.readouterr()
    assert typed("due", "--url", url) == 0
    said = capsys.readouterr().out
    assert f"2026-02-17 09:00  {ONE} gooseberry: look at it" in said
    assert typed("due", "--json", "--url", url) == 0
    assert json.loads(capsys.readouterr().out)["reminders"]
