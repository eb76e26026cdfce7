"""How far zones can get at all, and which probes may have stood still."""

from dataclasses import replace

import numpy as np
import pytest

from controller.core.plan import ProbePlan, StepPlan, TrayPlan
from sim.whatif import rows
from sim.whatif.bounds import _ends
from sim.whatif.doubts import compare, read_at, still_windows
from sim.whatif.engine import run
from sim.whatif.heat import heat_of
from sim.whatif.rows import LANES
from sim.whatif.shape import (
    BY_HEAT,
    BY_NEAR,
    DECAY,
    HALVED,
    MAT,
    OFFSET,
    OUTER,
    SHOWN,
    START,
    TRAY,
    Heat,
    Shape,
)
from sim.whatif.words import EVEN
from sim.zone_model import MatModel
from tests.sim.test_whatif import MODEL, a_mat, days
from tests.sim.test_whatif import TRAY as A_TRAY

pytestmark = pytest.mark.timeout(120)


def plain_band(heat: Heat, zone: int) -> dict[str, float]:
    """How far a zone gets, step by step: never heated, and always."""
    by, parts = heat.by[:, zone], heat.driven.shape[1]
    modes = np.tile(by[START : START + parts], (2, 1))
    heated = np.array([[0.0], [1.0]]) * by[BY_HEAT : BY_HEAT + parts]
    read, apart, exposed = [], 0.0, 0.0
    for step, room_c in enumerate(heat.room_c):
        cold, hot = modes.sum(axis=1)
        cold_mat, hot_mat = modes @ by[MAT : MAT + parts]
        sides = np.full(2, 1000.0 * (room_c + by[OFFSET]))
        if by[HALVED] > 0:
            sides = modes @ by[OUTER : OUTER + parts]
        read.append(modes @ by[SHOWN : SHOWN + parts])
        apart = max(apart, hot_mat - cold, hot - cold_mat)
        exposed = max(exposed, hot - sides[0], sides[1] - cold)
        drive = heat.driven[step, :, zone].astype(float)
        if len(heat.sudden) > 0 and heat.sudden[step, zone]:
            drive += by[BY_NEAR : BY_NEAR + parts] * heat.push[step, zone]
        modes = by[DECAY : DECAY + parts] * modes + drive + heated
    low, high = np.array(read).T
    rises = np.diff(low).max(initial=0.0)
    return {
        "low": low.min(),
        "high": high.max(),
        "apart": apart,
        "exposed": exposed,
        "rises": rises,
    }


@pytest.mark.parametrize("steps", [1, 2, 64, 65, 2048, 2049, 2200])
@pytest.mark.parametrize("halved", [False, True])
def test_the_band_of_each_zone_is_that_of_plain_steps(steps, halved) -> None:
    """Many steps at once, of zones that are slow, at once there, or for ever."""
    lags = [(700.0, 9_000.0), (0.5, 1.0), (5e8, 1e9)]
    zones = [
        replace(A_TRAY, name=f"N{number}", mat_s=mat_s, medium_s=medium_s)
        for number, (mat_s, medium_s) in enumerate(lags)
    ]
    if halved:
        zones[0] = replace(zones[0], between_s=3_000.0)
    rng, span = np.random.default_rng(steps), days(steps / 1440, zones=3)
    push = rng.normal(0, 1e-4, span.push.shape)
    sudden = rng.random(push.shape) < 0.1 if halved else None
    heat = heat_of(
        MatModel("north", tuple(zones)),
        replace(
            span,
            room_c=12 + np.cumsum(rng.normal(0, 0.05, steps)),
            push=push,
            sudden=sudden,
        ),
    )
    found = _ends(heat)
    for zone in range(3):
        names = ("low", "high", "apart", "exposed", "rises")
        ours = dict(zip(names, (one[zone] for one in found), strict=True))
        assert ours == pytest.approx(plain_band(heat, zone), rel=1e-9, abs=1e-6)


# -------------------------------------------------------- probes that stand still


def test_what_happens_where_one_stretch_ends_is_seen_too() -> None:
    """Of all steps that one warms most."""
    span = days(4, push=np.zeros((4 * 1440, 1)))
    span.push[2047] = 1e-3
    heat = heat_of(MODEL, span)
    rises = plain_band(heat, 0)["rises"]
    assert _ends(heat)[4][0] == pytest.approx(rises, rel=1e-9)
    assert rises > 50


@pytest.mark.parametrize("step_s", [2.0, 30.0, 60.0, 90.0, 171.0, 240.0])
def test_an_hour_without_a_change_is_seen_wherever_it_begins(step_s) -> None:
    """And of readings that come back to the same now and then none lasts so long."""
    rng = np.random.default_rng(4)
    truths = [False] * 7
    shape = Shape(LANES, 2, 2, 2, False, TRAY, 0, *truths, 500.0, 1000 * step_s)
    half = np.zeros(rows.HALVES, np.float32)
    read = np.zeros(rows.READ + 2 * rows.READS, np.float32)
    lasts, needed = int(3600 // step_s) + 1, still_windows(1000 * step_s)
    begins = 100 + np.arange(LANES) % 11
    temps = rng.integers(0, 3, (300 + lasts, 2, LANES)).astype(np.float32) + EVEN
    still = LANES // 2  # the other lanes have no such hour
    for lane in range(still):
        first = begins[lane]
        temps[first : first + lasts, lane % 2, lane] = temps[first, lane % 2, lane]
    for k, both in enumerate(temps):
        for zone, values in enumerate(both):
            at = read_at(zone, k)
            read[at : at + LANES] = values
        if k & rows.LAST == rows.LAST:
            compare(half, read, shape, k)
    most = half[rows.STILL_MOST : rows.STILL_MOST + LANES]
    assert needed == (lasts - 7) // 8 >= 1
    assert (most[:still] >= needed).all()
    if needed > 3:
        assert most[still:].max() < needed


def test_at_coarse_steps_all_are_followed() -> None:
    """An hour has no whole window then."""
    assert still_windows(300_000.0) == 0
    still = days(1, step_s=300.0)
    still = replace(
        still,
        room_c=np.full(still.steps, 12.0),
        push=0 * still.push,
        start_c=12 + 0 * still.start_c,
    )
    probe = ProbePlan(name="n1", stuck_after_ms=3_600_000)
    plan = a_mat(
        programme=(StepPlan(10_000),), trays=(TrayPlan(name="N1", probes=(probe,)),)
    )
    assert run(MODEL, still, [plan, a_mat()]).by_core.tolist() == [True, False]


def test_windows_between_which_it_moved_are_no_row() -> None:
    shape = Shape(LANES, 1, 1, 1, False, TRAY, 0, *[False] * 7, 500.0, 60_000.0)
    half = np.zeros(rows.HALVES, np.float32)
    read = np.zeros(rows.READ + rows.READS, np.float32)
    told, moves = [], [0, 1, 0, 0, 1, 1, 0, 0, 0]
    for k in range(8 * len(moves)):
        at = read_at(0, k)
        read[at : at + LANES] = EVEN + k  # the others always move
        read[at + 5] = EVEN + k * moves[k // 8]
        if k & rows.LAST == rows.LAST:
            compare(half, read, shape, k)
            told.append(half[rows.STILL_MOST + 5])
    assert told == [1, 1, 1, 2, 2, 2, 2, 2, 3]
    assert half[rows.STILL_MOST : rows.STILL_MOST + LANES].sum() == 3
