"""Invented records of an invented bench."""

import pytest

from controller.records.desk import Bench, Stamp
from controller.records.events import BenchEvent, EventKind

NOW_MS = 1_801_000_000_000  # 2027-01-26


@pytest.fixture
def stamp() -> Stamp:
    bench = Bench(frozenset({"N1", "N2"}), frozenset({"north"}), frozenset({"n1"}))
    return Stamp(NOW_MS, "a test", bench)


@pytest.fixture
def watered() -> BenchEvent:
    return BenchEvent(
        kind=EventKind.WATERED, utc_ms=NOW_MS - 60_000, trays=("N1",), water_ml=200
    )
