"""Fitting two lags to a log: against scipy, python-control, and known truth."""

from dataclasses import replace

import control
import numpy as np
import pytest
from scipy.linalg import solve_discrete_are
from scipy.signal import dlsim

from sim.fitting.fit import fit_mat, fit_zone, left_out
from sim.fitting.fitted import Told
from sim.fitting.innovations import best, filters
from sim.fitting.jackknife import jackknife_error
from sim.fitting.models import by_days
from sim.fitting.record import Record, WindowStart
from sim.fitting.sight import sight
from sim.zone_model import Zone, steps

DAY = 1440
TRAY = Zone(
    name="N1", gain_k=16.0, mat_s=600.0, medium_s=9000.0, coupling=0.08, offset_k=-1.5
)
PUSH_K_S, READING_K = 1e-4, 0.02


def a_log(days=7, seed=0, zone=TRAY, setpoint_c=22.0, night_k=0.0, room_swing_k=4.0):
    """A thermostat on a zone, stepped by scipy's dlsim from on-time to on-time."""
    rng = np.random.default_rng(seed)
    count = days * DAY
    minute = np.arange(count)
    room = 13 + room_swing_k * np.sin(2 * np.pi * minute / DAY)
    wanted = setpoint_c - night_k * (minute % DAY >= 960)
    push = PUSH_K_S * rng.standard_normal(count)
    noise = READING_K * rng.standard_normal(count)
    step = steps(zone, 60.0)
    inputs = np.column_stack([step.by_heat, step.by_room, step.by_push])
    seen = [[1.0, 0.0]] if zone.at_mat else [[0.0, 1.0]]
    state, on = np.array([18.0, 18.0]), 0.0
    said, on_share = np.empty(count), np.empty(count)
    for n in range(count):
        said[n] = float((seen @ state)[0]) + noise[n]
        if abs(said[n] - wanted[n]) > 0.2:
            on = float(said[n] < wanted[n])
        on_share[n] = on
        state = step.carry @ state + inputs @ [on, room[n] + zone.offset_k, push[n]]
    system = (step.carry, inputs, np.array(seen), np.zeros((1, 3)), 60.0)
    drives = np.column_stack([on_share, room + zone.offset_k, push])
    _, theirs, _ = dlsim(system, drives, x0=[18.0, 18.0])
    assert np.allclose(theirs[:, 0] + noise, said)  # scipy steps it alike
    return a_record(said[:, np.newaxis], on_share, room, at_mat=zone.at_mat)


def a_record(temps, on_share, room, *, at_mat=False, windows=()):
    minute = np.arange(len(on_share))
    return Record(
        mat="north",
        start_run_ms=0,
        start_utc_ms=0,
        step_s=60.0,
        zones=tuple(f"N{n + 1}" for n in range(temps.shape[1])),
        at_mat=(at_mat,) * temps.shape[1],
        on_share=on_share,
        room_c=room,
        temps_c=temps,
        local_day=minute // DAY,
        local_minute=minute % DAY,
        windows=windows,
    )


# ------------------------------------------------------------- the filter itself


@pytest.mark.oracle
@pytest.mark.parametrize("seen", [0, 1])
@pytest.mark.parametrize("ratio", [1e-5, 1e-3, 1e-2, 0.2])
def test_the_filters_poles_are_those_of_the_steady_kalman_filter(seen, ratio):
    """scipy's solve_discrete_are, and python-control's dlqe."""
    step = steps(TRAY, 60.0)
    c = np.eye(2)[[seen]]
    pushed = ratio * step.by_push
    noise = np.outer(pushed, pushed)  # symmetric to the last bit, as both ask
    p = solve_discrete_are(step.carry.T, c.T, noise, np.eye(1))
    inflation = float((c @ p @ c.T)[0, 0]) + 1
    gain = step.carry @ p @ c.T / inflation
    theirs = np.poly(step.carry - gain @ c)
    got = filters(TRAY, 60.0, ratio, seen)
    assert got.poles == pytest.approx(theirs, abs=1e-7)
    assert got.inflation == pytest.approx(inflation, rel=1e-6)
    _, _, poles = control.dlqe(step.carry, np.eye(2), c, noise, [[1.0]])
    assert got.poles == pytest.approx(np.poly(poles).real, abs=1e-7)


# ----------------------------------------------------------------------- recovery


@pytest.mark.slow
def test_errors_said_cover_the_truth():
    """Jackknife errors over seeds: Student's t of six degrees of freedom, 95 %."""
    inside, slow = [], []
    for seed in range(12):
        fit = fit_zone(a_log(seed=seed), 0)
        truths = TRAY.gain_k, TRAY.lags_s[0], TRAY.offset_k
        figures = fit.gain_k, fit.slow_s, fit.offset_k
        inside += [
            abs(figure.value - truth) < 2.45 * figure.error
            for figure, truth in zip(figures, truths, strict=True)
        ]
        slow.append(fit.slow_s.value / TRAY.lags_s[0] - 1)
        assert fit.usable
        assert fit.fast_s.value == pytest.approx(TRAY.lags_s[1], rel=0.03)
        assert fit.delay_s.value == pytest.approx(fit.fast_s.value / 2)
        assert fit.noise.push_k_s == pytest.approx(PUSH_K_S, rel=0.1)
        assert fit.noise.reading_k == pytest.approx(READING_K, rel=0.1)
        assert len(fit.replicates) == 7
    assert np.mean(inside) > 0.8
    assert abs(np.mean(slow)) < 0.03
    assert np.std(slow) < 0.06


def test_a_surface_probe_shows_the_mat():
    """A bench whose state the log tells well: nights with the setpoint lower."""
    zone = replace(TRAY, coupling=0.3, at_mat=True)
    record = a_log(zone=zone, setpoint_c=30.0, night_k=5.0)
    fit = fit_zone(record, 0)
    assert fit.zone.at_mat
    assert fit.fast_s.value == pytest.approx(zone.lags_s[1], rel=0.1)


def test_leaving_out_days_by_one_step_is_as_by_a_search():
    """Each block searched anew: the errors agree within a few per cent."""
    record = a_log(days=6, seed=3, night_k=3.0)
    seen = sight(record, 0)
    days = [record.local_day == day for day in range(6)]
    _, stepped = by_days(seen, days)
    anew = [best(replace(seen, counts=seen.counts & ~day)) for day in days]
    gains = [one.two.gain_k for one in stepped]
    offsets = [one.two.offset_k for one in stepped]
    assert [one.gain_k for one in anew] == pytest.approx(
        gains, abs=0.2 * jackknife_error(np.array(gains))[0]
    )
    assert [one.offset_k for one in anew] == pytest.approx(
        offsets, abs=0.2 * jackknife_error(np.array(offsets))[0]
    )


def test_errors_of_the_right_model_are_white_and_of_a_wrong_one_are_not():
    record = a_log()
    assert fit_zone(record, 0).residuals.whiteness > 0.01
    late = np.roll(record.temps_c, 8, axis=0)
    left = fit_zone(replace(record, temps_c=late), 0).residuals
    assert left.whiteness < 1e-3
    assert "independent" in left.words[0]


# ------------------------------------------------------------- what cannot be told


def test_a_steady_room_and_one_setpoint_leave_gain_and_offset_mixed():
    fit = fit_zone(a_log(room_swing_k=0.0), 0)
    assert fit.gain_k.told is Told.NO
    assert fit.offset_k.told is Told.NO
    assert fit.fast_s.told is Told.YES
    assert "gain" in fit.verdicts[0] and "offset" in fit.verdicts[0]
    assert fit.condition > 30
    assert not fit.usable


def test_a_night_with_the_setpoint_lower_tells_them_apart():
    fit = fit_zone(a_log(room_swing_k=0.0, night_k=3.0), 0)
    assert fit.usable
    assert fit.gain_k.value == pytest.approx(TRAY.gain_k, rel=0.15)


def untold(record, index=0):
    fit = fit_zone(record, index)
    assert fit.zone is None and fit.noise is None and not fit.usable
    assert fit.gain_k.value is None and fit.slow_s.why == fit.verdicts[0]
    return fit.verdicts[0]


def test_what_leaves_nothing_to_fit_is_said():
    record = a_log(days=4)
    nothing = np.full_like(record.temps_c, np.nan)
    whole = np.ones_like(record.on_share)
    assert "never felt" in untold(replace(record, on_share=0 * whole))
    assert "without its heat" in untold(replace(record, on_share=whole))
    assert "said nothing" in untold(replace(record, temps_c=nothing))
    room = np.full_like(record.room_c, np.nan)
    assert "nobody measured the room" in untold(replace(record, room_c=room))
    assert "only 24 hours" in untold(a_log(days=1))
    in_air = replace(record, temps_c=record.room_c[:, np.newaxis])
    assert "in the air" in untold(in_air)


def test_two_long_days_are_too_few_to_leave_one_out():
    assert "days with readings" in untold(a_log(days=2))


def test_a_silent_tray_does_not_keep_its_neighbour_from_being_fitted():
    record = a_log(days=4)
    temps = np.column_stack([record.temps_c, np.full(4 * DAY, np.nan)])
    both = fit_mat(
        replace(record, zones=("N1", "N2"), at_mat=(False,) * 2, temps_c=temps)
    )
    assert both.zones[0].usable
    assert not both.zones[1].usable
    assert [zone.name for zone in both.model.zones] == ["N1"]


# --------------------------------------------------------------------- what happens


def test_zones_are_fitted_without_the_same_days_though_one_of_them_was_silent():
    record = a_log(days=5)
    there = record.temps_c.copy()
    there[DAY : 2 * DAY + 300] = np.nan
    both = replace(
        record,
        zones=("N1", "N2"),
        at_mat=(False, False),
        temps_c=np.column_stack([record.temps_c, there]),
    )
    first, second = fit_mat(both).zones
    assert first.usable and second.usable
    assert len(first.replicates) == len(second.replicates) == 5
    (heard, some), (told, silent) = (
        by_days(sight(both, index), left_out(both)) for index in (0, 1)
    )
    assert silent[1].two.gain_k == pytest.approx(told.two.gain_k)
    assert some[1].two.gain_k != pytest.approx(heard.two.gain_k, rel=1e-6)


def test_gaps_and_missing_readings_change_little():
    record = a_log()
    whole = fit_zone(record, 0)
    temps, room = record.temps_c.copy(), record.room_c.copy()
    rng = np.random.default_rng(5)
    temps[rng.random(len(temps)) < 0.05] = np.nan
    temps[3000:3400] = np.nan
    room[6000:6100] = np.nan
    fit = fit_zone(replace(record, temps_c=temps, room_c=room), 0)
    assert fit.usable
    assert fit.gain_k.value == pytest.approx(
        whole.gain_k.value, abs=2 * whole.gain_k.error
    )
    assert fit.fast_s.value == pytest.approx(whole.fast_s.value, rel=0.05)


def watered(record, at, by_k):
    """Cold water: the medium falls within five minutes, and stays so much colder."""
    temps = record.temps_c.copy()
    after = np.arange(len(temps) - at)
    temps[at:, 0] -= by_k * np.minimum(1, after / 5) * np.exp(-after / 150)
    return replace(record, temps_c=temps)


def test_a_watering_is_found_and_does_not_spoil_the_fit():
    record = a_log()
    fit = fit_mat(watered(record, 4000, 2.5))
    begin, end = fit.windows
    assert begin.zone == "N1"
    assert abs(begin.step - 4000) <= 5
    assert 3 <= end.step - begin.step <= 20
    assert begin.why.startswith("fell by 2.")
    (zone,) = fit.zones
    assert zone.fast_s.value == pytest.approx(TRAY.lags_s[1], rel=0.05)


def test_no_watering_is_seen_where_there_was_none():
    assert fit_mat(a_log(night_k=3.0)).windows == ()


def test_a_window_that_was_named_begins_anew():
    record = a_log(days=4)
    named = replace(record, windows=(WindowStart(2000, "watered"),))
    assert sight(named, 0).spans == ((0, 2000), (2000, 4 * DAY))
    other = replace(record, windows=(WindowStart(2000, "watered", "S1"),))
    assert sight(other, 0).spans == ((0, 4 * DAY),)
