"""A tray's readings come in order of arrival, however they are read."""

from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.ports import Columns
from controller.review import tray_readings
from controller.review.tray_readings import OutOfOrderError, rows_in_order

MINUTE_MS = 60_000


class Reader:
    """A log of readings: order, wall clock and value, by probe."""

    def __init__(self, by_probe):
        self.by_probe = by_probe

    def samples(self, probe, from_ms, to_ms, *, untaken=False):
        assert untaken
        own = [row for row in self.by_probe[probe] if from_ms <= row[1] < to_ms]
        order, utc_ms, temp_mc = (array("q", [row[n] for row in own]) for n in range(3))
        return Columns(order, utc_ms, utc_ms, temp_mc)

    def all(self):
        return sorted(
            (order, utc_ms, utc_ms, temp_mc, probe)
            for probe, rows in self.by_probe.items()
            for order, utc_ms, temp_mc in rows
        )


@st.composite
def readers(draw):
    """Draw a log of two probes, each heard now and then."""
    heard = draw(st.lists(st.sampled_from(["a", "b", ""]), min_size=1, max_size=80))
    by_probe = {"a": [(0, 0, 1)], "b": [(1, 0, 2)]}
    for number, probe in enumerate(heard, start=2):
        if probe:
            by_probe[probe].append((number, number * MINUTE_MS, number % 7))
    return Reader(by_probe)


def everything(found):
    return found


@given(readers(), st.integers(1, 9), st.integers(1, 4))
def test_all_of_them_come_once_in_order_whatever_the_portions(reader, most, parts):
    edges = [-1, *(n * 20 * MINUTE_MS for n in range(1, parts)), 10**9]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tray_readings, "_ROWS", most)
        found = list(rows_in_order(reader, ["a", "b"], edges, everything))
    assert [row for rows in found for row in rows] == reader.all()
    assert max(map(len, found)) <= 2 * most


HOUR_MS = 60 * MINUTE_MS
EDGES = [-1, 24 * HOUR_MS, 48 * HOUR_MS, 72 * HOUR_MS, 10**12]


def clock(hours):
    """Return a log of one probe whose wall clock says these, one after the other."""
    return Reader({"a": [(n, int(h * HOUR_MS), n) for n, h in enumerate(hours)]})


def orders(reader, edges):
    found = rows_in_order(reader, ["a"], edges, everything)
    return [row[0] for rows in found for row in rows]


def test_a_clock_that_was_set_back_within_a_piece_is_put_in_order(monkeypatch):
    monkeypatch.setattr(tray_readings, "_ROWS", 1)
    back = clock([1, 2, 23, 25, 26, 22, 23, 24, 50, 51])
    assert orders(back, EDGES) == list(range(10))


def test_a_clock_that_was_set_back_further_is_noticed_and_read_in_one_piece():
    back = clock([70, 1, 30, 71])
    with pytest.raises(OutOfOrderError):
        orders(back, EDGES)
    assert orders(back, [EDGES[0], EDGES[-1]]) == [0, 1, 2, 3]
