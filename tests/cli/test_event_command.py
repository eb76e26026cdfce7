"""`bottomheat event`, on a log that nobody writes and of a bench that runs."""

import json
import socket
from pathlib import Path

import pytest
from PIL import Image

from api.app import create_app
from api.record_book import Records
from api.server import Listen, serve
from controller import cli
from controller.adapters.memory_records import MemoryRecords
from controller.adapters.photos import PhotoFolder
from controller.adapters.season_log import (
    DirectSeasonLog,
    LogLock,
    SeasonLogReader,
)
from controller.records.events import EventKind
from tests.api.conftest import WARM, FakeBench
from tests.api.test_trays_command import in_a_thread
from tests.log.conftest import Samples


@pytest.fixture
def log(tmp_path) -> Path:
    """A log of one run that has ended, in the zone of Paris; its tray is N1."""
    path = tmp_path / "season.db"
    samples = Samples()
    writer = DirectSeasonLog(path)
    writer.begin(samples.header())
    for taken in samples.many(1, 5):
        writer.append(*taken)
    writer.close()
    return path


@pytest.fixture
def kept() -> MemoryRecords:
    return MemoryRecords()


@pytest.fixture
def place(tmp_path) -> Path:
    return tmp_path / "bench.photos"


@pytest.fixture
def url(kept, place):
    bench = FakeBench().scan(WARM)
    records = Records(kept, lambda: kept, PhotoFolder(place))
    app = create_app(bench, None, bench, records)
    with in_a_thread(lambda tell: serve(app, Listen("127.0.0.1", 0), tell)) as port:
        yield f"http://127.0.0.1:{port}"


def typed(*words: object) -> int:
    return cli.main(["event", *map(str, words)])


def test_an_event_is_told_to_a_bench_that_runs(url, kept, capsys):
    words = ["watered", "N1", "N2", "--ml", 200, "--at", "2026-02-13T08:00"]
    assert typed(*words, "--text", "rain water", "--url", url) == 0
    said = capsys.readouterr().out
    # The bench is in Lisbon, where winter time is UTC.
    assert said == "1  2026-02-13 08:00  watered  N1 N2  200.0 ml  rain water\n"
    event = kept.changes(0)[0].value
    assert event.kind is EventKind.WATERED
    assert event.trays == ("N1", "N2")
    assert event.utc_ms == 1_770_969_600_000  # 2026-02-13T08:00:00Z


def test_a_time_with_its_own_offset_is_taken_by_that(url, kept):
    at = "2026-02-13T08:00:00+05:30"
    assert typed("turned", "N1", "--at", at, "--url", url) == 0
    assert kept.changes(0)[0].value.utc_ms == 1_770_969_600_000 - 55 * 360_000


def test_events_are_listed_of_a_tray_or_of_all(url, capsys):
    typed("turned", "N1", "--url", url)
    typed("cover-on", "--mat", "south", "--url", url)
    capsys.readouterr()
    assert typed("list", "--url", url) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == [
        "1",
        "2",
    ]
    assert typed("list", "N1", "--url", url, "--json") == 0
    assert [one["id"] for one in json.loads(capsys.readouterr().out)["events"]] == [1]
    assert typed("list", "V1", "--url", url) == 0
    assert capsys.readouterr().out == "nothing was told yet\n"


def test_an_event_is_corrected_and_withdrawn(url, kept, capsys):
    typed("watered", "N1", "--ml", 200, "--url", url)
    assert typed("correct", "1", "--ml", 150, "--url", url) == 0
    assert typed("withdraw", "1", "--url", url) == 0
    assert "150.0 ml  (withdrawn)" in capsys.readouterr().out
    told = [change.value for change in kept.changes(0)]
    assert [one.water_ml for one in told] == [200, 150, 150]
    assert told[-1].withdrawn


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["watered", "N9"], "there is no such tray; there are: N1, N2, S1, V1, W1"),
        (["watered"], "must name the trays or mats that were watered"),
        (["correct"], "needs the number of an event"),
        (["correct", "first"], "needs the number of an event"),
        (["correct", "9"], "there is no event 9"),
        (["list", "N1", "N2"], "list takes one tray"),
        (["turned", "N1", "--at", "soon"], "--at 'soon' is no time; write 2027-02-01"),
    ],
)
def test_what_is_not_right_is_told_with_exit_2(url, kept, capsys, words, told):
    assert typed(*words, "--url", url) == 2
    captured = capsys.readouterr()
    assert captured.err.startswith("bottomheat event: ")
    assert told in captured.err
    assert captured.out == ""
    assert kept.changes(0) == []


@pytest.fixture
def leaf(tmp_path) -> Path:
    path, told = tmp_path / "leaf edge.JPG", Image.Exif()
    told[0x010F] = "taken at home"
    Image.linear_gradient("L").resize((60, 40)).save(path, "JPEG", exif=told)
    return path


def photos_in(place: Path) -> list[str]:
    (name,) = [path.name for path in place.iterdir()]
    assert b"taken at home" not in (place / name).read_bytes()
    return [name]


def test_a_photo_is_sent_to_a_bench_that_runs(url, kept, place, leaf, capsys):
    assert typed("photo", "N1", "--photo", leaf, "--url", url) == 0
    event = kept.changes(0)[0].value
    assert [event.photo] == photos_in(place)
    assert event.photo in capsys.readouterr().out
    typed("turned", "N1", "--url", url)
    assert typed("correct", "2", "--photo", leaf, "--url", url) == 0
    assert kept.changes(0)[-1].value.photo == event.photo


def test_a_photo_is_kept_beside_a_log_that_nobody_writes(log, leaf):
    assert typed("photo", "N1", "--photo", leaf, "--log", log) == 0
    event = SeasonLogReader(log).changes()[0].value
    assert [event.photo] == photos_in(log.with_name("season.photos"))


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("leaf.jpg", None, "No such file"),
        ("leaf.heic", b"x", "the name must end in .jpg, .jpeg, .png, .webp"),
        ("leaf.jpg", b"<html>", "422: this is not image/jpeg"),
        ("leaf.jpg", bytes(12_000_001), "it is larger than 12 MB"),
    ],
)
def test_a_photo_that_is_none_is_told_of_and_no_event_is(
    url, kept, place, capsys, name, content, told
):
    path = place.parent / name
    if content is not None:
        path.write_bytes(content)
    assert typed("photo", "N1", "--photo", path, "--url", url) == 2
    assert told in capsys.readouterr().err
    assert kept.changes(0) == []
    assert not place.exists() or not list(place.iterdir())


def test_nobody_at_the_address_is_told(capsys):
    with socket.socket() as nobody:  # bound, but nobody listens
        nobody.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{nobody.getsockname()[1]}"
        assert typed("list", "--url", url) == 2
    assert "no answer (" in capsys.readouterr().err
    assert typed("list", "--url", "ftp://127.0.0.1") == 2
    assert "must begin with http://" in capsys.readouterr().err
    assert typed("list", "--url", "http://[::1") == 2
    assert "http://[::1/v1/events" in capsys.readouterr().err


# ----------------------------------------------------------------------- on a file


def test_a_log_that_nobody_writes_takes_events_and_shows_them(log, capsys):
    at = "2025-10-09T10:00"
    assert typed("watered", "N1", "--ml", 50, "--at", at, "--log", log) == 0
    assert typed("list", "--log", log) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == ["1  2025-10-09 10:00  watered  N1  50.0 ml"] * 2
    event = SeasonLogReader(log).changes()[0].value
    assert event.utc_ms == 1_759_996_800_000  # 10:00 in Paris, in summer: 08:00Z


def test_a_log_that_a_daemon_holds_is_left_alone_and_can_be_read(log, capsys):
    lock = LogLock(log)
    assert typed("turned", "N1", "--log", log) == 2
    assert "one writer" in capsys.readouterr().err
    assert typed("list", "--log", log) == 0
    lock.release()
    assert SeasonLogReader(log).changes() == []


def test_what_is_refused_leaves_the_log_as_it_was(log, capsys):
    assert typed("turned", "N7", "--log", log) == 2
    assert "there is no such tray; there are: N1" in capsys.readouterr().err
    assert SeasonLogReader(log).changes() == []
    assert typed("turned", "N1", "--log", log) == 0  # and its lock was given back


@pytest.mark.parametrize("what", ["list", "turned"])
def test_a_log_that_is_none_is_named(tmp_path, capsys, what):
    path = tmp_path / "none.db"
    assert typed(what, "--log", path) == 2
    assert f"{path} does not exist" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_log_without_a_run_cannot_say_what_bench_it_is(tmp_path, capsys):
    path = tmp_path / "season.db"
    DirectSeasonLog(path).close()
    assert typed("turned", "N1", "--log", path) == 2
    assert "has no run: start the bench once" in capsys.readouterr().err
