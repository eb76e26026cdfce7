"""The smoothed push: against a batch least-squares solution, and exactly stepped."""

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from sim.fitting.fitted import Noise
from sim.fitting.record import Record, WindowStart
from sim.fitting.smoother import smoothed, smoothed_push
from sim.zone_model import Zone, steps

TRAY = Zone(
    name="N1", gain_k=16.0, mat_s=700.0, medium_s=9000.0, coupling=0.1, offset_k=-1.0
)
MAT = Zone(
    name="m", gain_k=16.0, mat_s=700.0, medium_s=9000.0, coupling=0.1, at_mat=True
)
HALVES = Zone(
    name="N1",
    gain_k=16.0,
    mat_s=700.0,
    medium_s=6500.0,
    coupling=0.1,
    offset_k=-1.0,
    between_s=3000.0,
)
LEAKS = replace(HALVES, leak=0.3)
ZONES = [TRAY, MAT, HALVES, replace(HALVES, at_mat=True), LEAKS]
NOISE = Noise(push_k_s=1e-4, reading_k=0.05)


def a_record(count=240, zone=TRAY, windows=(), seed=0):
    rng = np.random.default_rng(seed)
    minute = np.arange(count)
    on_share = (minute % 30 < 14).astype(float)
    room = 14 + np.sin(minute / 100)
    step = steps(zone, 60.0)
    state = np.array([24.0, 21.0, 19.0])[: zone.parts]
    temps = np.empty(count)
    for n in range(count):
        temps[n] = state[0 if zone.at_mat else 1] + 0.05 * rng.standard_normal()
        state = step.carry @ state + step.by_heat * on_share[n]
        state = state + step.by_room * (room[n] + zone.offset_k)
        state = state + step.by_push * 1e-4 * rng.standard_normal()
    return Record(
        mat="north",
        start_run_ms=0,
        start_utc_ms=0,
        step_s=60.0,
        zones=(zone.name,),
        at_mat=(zone.at_mat,),
        on_share=on_share,
        room_c=room,
        temps_c=temps[:, np.newaxis],
        local_day=0 * minute,
        local_minute=minute,
        windows=windows,
    )


def replayed(zone, record, start, push, sudden=()):
    """The model stepped as anybody would, under the log's own heat and room."""
    step, states = steps(zone, record.step_s), []
    state = np.asarray(start)
    for n in range(len(record)):
        states.append(state)
        state = step.carry @ state + step.by_heat * record.on_share[n]
        state = state + step.by_room * (record.room_c[n] + zone.offset_k)
        state = state + step.by_push * push[n]
        if n in sudden:
            state = state + step.by_near * push[n]
    return np.array(states)


def batch(zone, record, noise):
    """The most likely start and pushes: one large least-squares problem."""
    count, seen = len(record), 0 if zone.at_mat else 1
    nothing, parts = np.zeros(zone.parts), zone.parts
    silent = replayed(zone, record, nothing, np.zeros(count))[:, seen]
    first = record.temps_c[0, 0]
    columns = []
    for start in np.eye(parts):
        answer = replayed(zone, record, start, np.zeros(count))[:, seen]
        columns.append(answer - silent)
    for at in range(count):
        push = np.zeros(count)
        push[at] = 1.0
        columns.append(replayed(zone, record, nothing, push)[:, seen] - silent)
    answers = np.column_stack(columns)
    spreads = np.array([100.0] * parts + [noise.push_k_s] * count)
    means = np.array([first] * parts + [0.0] * count)
    a = np.vstack([answers / noise.reading_k, np.diag(1 / spreads)])
    wanted = (record.temps_c[:, 0] - silent) / noise.reading_k
    found = np.linalg.lstsq(a, np.concatenate([wanted, means / spreads]), rcond=None)[0]
    return found[:parts], found[parts:]


@pytest.mark.oracle
@pytest.mark.parametrize("zone", ZONES)
def test_it_is_the_most_likely_push_of_all(zone):
    """numpy.linalg.lstsq on the whole problem at once, no recursion."""
    record = a_record(120, zone)
    start, push = batch(zone, record, NOISE)
    got = smoothed(zone, record, 0, NOISE)
    assert got.start == pytest.approx(start, abs=1e-5)
    assert got.push == pytest.approx(push, abs=1e-9)


@pytest.mark.parametrize("zone", ZONES)
def test_the_model_stepped_under_it_goes_through_the_smoothed_temperatures(zone):
    record = a_record(zone=zone)
    got = smoothed(zone, record, 0, NOISE)
    states = replayed(zone, record, got.start, smoothed_push(zone, record, 0, NOISE))
    assert states == pytest.approx(got.states, abs=1e-9)
    seen = states[:, 0 if zone.at_mat else 1]
    assert np.std(seen - record.temps_c[:, 0]) < 0.06


@pytest.mark.parametrize("zone", [TRAY, HALVES])
def test_over_a_gap_nothing_pushes_and_then_it_is_made_up_for(zone):
    record, step = a_record(zone=zone), steps(zone, 60.0)
    record.temps_c[100:160] = np.nan
    record.temps_c[160:] += 1.0
    got = smoothed(zone, record, 0, NOISE)
    assert got.bridged.sum() == 61
    assert not got.push[99:159].any()
    assert np.flatnonzero(got.sudden).tolist() == [159]
    rise = got.push[159] * (step.by_push + step.by_near)[1]
    assert rise == pytest.approx(1.0, abs=0.3)
    states = replayed(zone, record, got.start, got.push, {159})
    assert states == pytest.approx(got.states, abs=1e-9)
    assert abs(states[170, 1] - record.temps_c[170, 0]) < 0.2


@pytest.mark.parametrize("zone", ["TRAY", "HALVES"])
def test_where_numba_is_missing_it_finds_the_same(zone):
    code = (
        "import sys; sys.modules['numba'] = None\n"
        "from tests.sim import test_smoother as t\n"
        f"print(t.smoothed(t.{zone}, t.a_record(), 0, t.NOISE).push.tolist())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    here = smoothed({"TRAY": TRAY, "HALVES": HALVES}[zone], a_record(), 0, NOISE)
    assert json.loads(done.stdout) == pytest.approx(here.push, rel=1e-9, abs=1e-15)


def test_readings_that_miss_now_and_then_are_bridged_smoothly():
    record = a_record()
    record.temps_c[50:55] = np.nan
    got = smoothed(TRAY, record, 0, NOISE)
    assert not got.bridged.any()
    assert got.push[50:55].any()


@pytest.mark.parametrize(("zone", "within_k"), [(TRAY, 0.2), (HALVES, 0.3)])
def test_a_watering_is_one_push_of_the_whole_medium(zone, within_k):
    record = a_record(zone=zone, windows=(WindowStart(120, "watered"),))
    record.temps_c[120:] -= 2.0
    got, step = smoothed(zone, record, 0, NOISE), steps(zone, 60.0)
    falls = got.push[119] * (step.by_push + step.by_near)[1:]
    assert falls == pytest.approx(-2.0, abs=within_k)
    assert np.abs(got.push[:119]).max() < 10 * NOISE.push_k_s


def test_a_record_that_begins_and_ends_in_silence_is_smoothed():
    record = a_record()
    record.temps_c[:40] = np.nan
    record.temps_c[200:] = np.nan
    got = smoothed(TRAY, record, 0, NOISE)
    assert np.isfinite(got.states).all()
    assert not got.push[200:].any()


def test_without_any_reading_it_is_refused():
    record = a_record()
    record.temps_c[:] = np.nan
    with pytest.raises(ValueError, match="zone N1: no temperature was measured"):
        smoothed(TRAY, record, 0)
    silent = a_record()
    silent.room_c[:] = np.nan
    with pytest.raises(ValueError, match="mat north: no room temperature"):
        smoothed_push(TRAY, silent, 0)
