"""From a mat's history to a record: shares, means, windows, local time."""

from array import array
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.ports import Columns
from controller.review.mat_history import ClockStretch, Happening, MatHistory
from sim.fitting.gridded import on_shares, record_of
from sim.fitting.sight import sight

MINUTE = 60_000
START_MS = 1_000_000
UTC_MS = 1_803_891_600_000
"""2027-03-01 09:00 UTC."""


def said(*values, every_ms=30_000, first_ms=START_MS):
    """Readings of a probe [m°C], one after the other; None: silence."""
    heard = [
        (first_ms + n * every_ms, v) for n, v in enumerate(values) if v is not None
    ]
    at_ms = array("q", [at for at, _ in heard])
    temps = array("q", [value for _, value in heard])
    return Columns(array("q", range(len(heard))), at_ms, at_ms, temps)


def a_history(minutes=60, **changed):
    usual = MatHistory(
        mat="north",
        from_run_ms=START_MS,
        to_run_ms=START_MS + minutes * MINUTE,
        switchings=(),
        clock=(ClockStretch(START_MS, UTC_MS - START_MS, 60),),
        happenings=(),
        trays=(("N1", (said(*[20_000] * 2 * minutes),)),),
        surface=(("north-mat", said(*[30_000] * 2 * minutes)),),
        room=(said(*[12_000] * 2 * minutes),),
    )
    return replace(usual, **changed)


# ---------------------------------------------------------------------- on-shares


def test_shares_of_time_on_are_exact():
    """By hand: on at 0:30, off at 1:15, on at 2:00, off at 4:06."""
    on = [(30, True), (75, False), (120, True), (246, False)]
    switchings = [(START_MS + at_s * 1000, is_on) for at_s, is_on in on]
    shares = on_shares(switchings, START_MS, MINUTE, 6)
    assert shares == pytest.approx([0.5, 0.25, 1.0, 1.0, 0.1, 0.0], abs=1e-12)


@given(
    lengths=st.lists(st.integers(1, 200_000), min_size=1, max_size=30),
    early_ms=st.integers(0, 500_000),
)
def test_no_time_on_is_lost(lengths, early_ms):
    """The sum over steps is the time on between the first and the last edge."""
    at_ms = np.cumsum(lengths) + START_MS - early_ms
    switchings = [(int(at), n % 2 == 0) for n, at in enumerate(at_ms)]
    shares = on_shares(switchings, START_MS, MINUTE, 100)
    end_ms = START_MS + 100 * MINUTE
    edges = [*at_ms.tolist(), max(end_ms, int(at_ms[-1]))]
    clipped = np.clip(edges, START_MS, end_ms)
    expected = np.diff(clipped)[::2].sum() / MINUTE
    assert shares.sum() == pytest.approx(expected, abs=1e-6)
    assert ((shares >= -1e-12) & (shares <= 1 + 1e-12)).all()


def test_a_mat_that_never_switched_was_off():
    assert not on_shares([], START_MS, MINUTE, 5).any()


# -------------------------------------------------------------------- temperatures


def test_a_tray_is_the_mean_about_the_instant_and_the_room_that_of_the_step():
    """Readings at :00 and :30; about minute 1 lie 0:30 and 1:00 (1:30 is next)."""
    tray = said(*range(20_000, 20_060))
    room = said(*range(12_000, 12_060))
    record = record_of(a_history(30, trays=(("N1", (tray,)),), room=(room,)))
    assert len(record) == 30
    assert record.temps_c[1, 0] == pytest.approx(20.0015)
    assert record.room_c[1] == pytest.approx(12.0025)
    assert record.zones == ("N1", "north-mat")
    assert record.at_mat == (False, True)


def test_what_nobody_measured_is_nan_and_a_window_begins_after_it():
    values = [20_000] * 40 + [None] * 60 + [21_000] * 20
    record = record_of(a_history(60, trays=(("N1", (said(*values),)),)))
    assert np.isnan(record.temps_c[25:45, 0]).all()
    (window,) = record.windows
    assert (window.step, window.zone) == (50, "N1")
    assert window.why == "it was not measured for 0.5 h"
    assert record.starts_of(0) == (0, 50)
    assert record.starts_of(1) == (0,)


def test_a_tray_is_the_mean_of_its_probes_and_begins_anew_when_one_is_lost():
    lasting = said(*[20_000] * 120)
    lost = said(*[22_000] * 60)
    record = record_of(a_history(60, trays=(("N1", (lasting, lost)),)))
    assert record.temps_c[10, 0] == pytest.approx(21.0)
    assert record.temps_c[50, 0] == pytest.approx(20.0)
    (window,) = record.windows
    assert window.why == "other probes of the tray speak"
    assert window.step == pytest.approx(30, abs=1)


def test_a_bench_without_a_room_probe_has_no_room():
    record = record_of(a_history(room=()))
    assert np.isnan(record.room_c).all()
    with pytest.raises(ValueError, match="no room temperature"):
        record.room_everywhere_c()


# --------------------------------------------------------------- time and happenings


def test_local_time_follows_the_clock_on_the_wall():
    """Summer time begins after half an hour: the local minute jumps by an hour."""
    offset = UTC_MS - START_MS
    later = ClockStretch(START_MS + 30 * MINUTE, offset, 120)
    record = record_of(a_history(60, clock=(ClockStretch(START_MS, offset, 60), later)))
    assert record.start_utc_ms == UTC_MS
    assert record.local_minute[29] == 10 * 60 + 29
    assert record.local_minute[30] == 11 * 60 + 30
    assert record.local_day[0] == UTC_MS // 86_400_000


def test_waterings_and_holds_begin_windows():
    hold = Happening(START_MS + 10 * MINUTE + 1, "hands on the bench (a hold)")
    before = Happening(START_MS - MINUTE, "before the log")
    record = record_of(
        a_history(happenings=(before, hold)), watered_utc_ms=[UTC_MS + 20 * MINUTE]
    )
    found = [(window.step, window.why) for window in record.windows]
    assert found == [
        (11, "hands on the bench (a hold)"),
        (20, "watered"),
        (35, "the water has sunk in"),
    ]


def test_minutes_in_which_water_sinks_in_are_not_fitted():
    watered = Happening(START_MS + 80 * MINUTE, "watered", "N1")
    tray = said(*[20_000] * 400)
    history = a_history(200, trays=(("N1", (tray,)), ("N2", (tray,))))
    record = record_of(replace(history, happenings=(watered,)))
    assert sight(record, 0).spans == ((0, 80), (95, 200))
    assert sight(record, 1).spans == ((0, 200),)


def test_mist_begins_no_window():
    """Done several times a day it would leave windows too short to fit."""
    done = [
        Happening(START_MS + at * MINUTE, why, "N1")
        for at, why in ((10, "misted"), (20, "watered"), (30, "misted"))
    ]
    record = record_of(a_history(happenings=done))
    assert [window.step for window in record.windows] == [20, 35]


@pytest.mark.parametrize("minutes", [-1, 0, 61])
def test_a_watering_outside_of_the_log_is_refused(minutes):
    with pytest.raises(ValueError, match=r"lasts from 2027-03-01T09:00Z to .*09:59Z"):
        record_of(a_history(), watered_utc_ms=[UTC_MS + minutes * MINUTE])


def test_an_instant_is_no_record():
    with pytest.raises(ValueError, match="less than two steps"):
        record_of(a_history(1))
