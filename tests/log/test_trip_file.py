"""Trips survive whatever happens to the season log, whole or not at all."""

import os
from pathlib import Path

import pytest

from controller.adapters.season_log import TripFile, trips_beside
from controller.core.decisions import Cause
from controller.core.state import Trip
from controller.core.units import MilliC, Millis, UtcMillis


def trip(mat: str) -> Trip:
    temp_mc, limit_mc = MilliC(33_250), MilliC(33_000)
    at_ms, utc_ms = Millis(12_345), UtcMillis(1_760_000_000_000)
    return Trip(Cause.OVER_CUTOUT, f"{mat}-1", temp_mc, limit_mc, at_ms, utc_ms)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return trips_beside(tmp_path / "season.db")


def test_the_file_stands_beside_the_log(tmp_path, file):
    assert file == tmp_path / "season.trips.json"


def test_no_file_is_no_trip(file):
    assert dict(TripFile(file).load()) == {}


def test_trips_come_back_from_another_process_exactly(file):
    trips = {"north": trip("n"), "south": trip("s")}
    TripFile(file).save(trips)
    assert TripFile(file).load() == trips
    TripFile(file).save({})
    assert TripFile(file).load() == {}
    assert [one.name for one in file.parent.iterdir()] == [file.name]


@pytest.mark.parametrize(
    "damage",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[]",
        b'{"version":1}',
        b'{"version":99,"trips":{}}',
        b'{"version":1,"trips":{"north":{"cause":"whim"}}}',
        b'{"version":1,"trips":{"north":null}}',
    ],
)
def test_a_damaged_file_is_named_and_says_what_to_do(file, damage):
    file.write_bytes(damage)
    with pytest.raises(ValueError, match=r"is damaged.*locked off") as caught:
        TripFile(file).load()
    assert str(file) in str(caught.value)
    assert file.read_bytes() == damage


def test_a_directory_in_its_place_is_named(file):
    file.mkdir()
    with pytest.raises(ValueError, match="is a directory"):
        TripFile(file).load()


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_the_old_trips_stand_when_the_disk_refuses_new_ones(file, monkeypatch, call):
    store = TripFile(file)
    store.save({"north": trip("n")})

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, call, refuse)
        with pytest.raises(OSError, match="No space left"):
            store.save({"south": trip("s")})
    assert store.load() == {"north": trip("n")}


def test_new_trips_are_on_the_disk_before_the_old_ones_are_replaced(file, monkeypatch):
    """And the folder's entry after: else a power cut could bring back the old."""
    calls = []
    for call in ("fsync", "replace"):
        real = getattr(os, call)

        def noted(*args, _call=call, _real=real):
            calls.append(_call)
            return _real(*args)

        monkeypatch.setattr(os, call, noted)
    TripFile(file).save({"north": trip("n")})
    assert calls == ["fsync", "replace", "fsync"]
