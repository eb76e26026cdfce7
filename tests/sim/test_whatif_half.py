"""What the twin counts at half the width is what whole numbers say."""

import numpy as np
import pytest

from controller.core.judge import HIGHEST_MC, LOWEST_MC
from sim.whatif import rows
from sim.whatif.felt import A_FIFTH, BELOW_FIFTHS
from sim.whatif.rows import KEPT, LANES
from sim.whatif.shape import MEAN, Shape
from sim.whatif.steady import count
from sim.whatif.words import flagged, lowest, rounded_half


def halves_to_even(above: np.ndarray, below: int) -> np.ndarray:
    """Round a quotient of whole numbers by whole numbers alone."""
    quotient, rest = np.divmod(above, below)
    up = (2 * rest > below) | ((2 * rest == below) & (quotient % 2 == 1))
    return quotient + up


@pytest.mark.parametrize("trays", range(1, 9))
def test_means_of_trays_are_rounded_half_to_even(trays: int) -> None:
    """From -40 to 125 °C, every sum."""
    sums = np.arange(-40_000 * trays, 125_000 * trays)
    means = rounded_half(sums.astype(np.float32) / np.float32(trays))
    np.testing.assert_array_equal(means, halves_to_even(sums, trays))


@pytest.mark.parametrize("times", [96, 320, 480])
def test_cooling_is_rounded_half_to_even(times: int) -> None:
    """Eight hours have so many looks 300, 90 and 60 s apart."""
    apart = np.arange(165_000)
    falls = rounded_half(apart.astype(np.float32) / np.float32(times))
    np.testing.assert_array_equal(falls, halves_to_even(apart, times))


def test_fifths_of_what_is_lacking_are_floored() -> None:
    lacking = np.arange(-165_000, 165_000)
    fifths = rounded_half(lacking.astype(np.float32) * A_FIFTH - BELOW_FIFTHS)
    np.testing.assert_array_equal(fifths, lacking // 5)


A_LANE = Shape(
    lanes=1,
    trays=2,
    zones=2,
    plain=2,
    halved=False,
    way=MEAN,
    tray=0,
    is_pid=False,
    derives=False,
    crosses=False,
    tracks=False,
    heard=True,
    spares=False,
    climbs=False,
    band=500.0,
    step=60_000.0,
)


def test_sums_over_a_span_are_those_of_whole_numbers() -> None:
    """Two trays as far apart as probes can say, or nearly, for 2,400 scans.

    Sums of eight are 1 more than a fourfold: beyond 2**24 half the width loses it.
    """
    scans, furthest = 2_400, HIGHEST_MC - LOWEST_MC
    mats, half = np.zeros(rows.ROWS), np.zeros(rows.HALVES, np.float32)
    read = np.zeros(rows.READ, np.float32)
    apart = furthest - 3 * (np.arange(scans) % KEPT == 0)
    off = np.arange(scans) % 1_501 - 700
    for k in range(scans):
        at = k % KEPT * LANES
        read[rows.SPREAD + at], read[rows.OFF + at] = apart[k], off[k]
        if (k + 1) % KEPT == 0:
            count(mats, half, read, A_LANE, k)
    assert apart[:KEPT].sum() % 4 == 1
    told = mats[rows.APART] + half[rows.APART_LATELY]
    assert told == apart.sum() > 2**24
    assert mats[rows.SQUARED] == (off**2).sum()
    assert half[rows.DRIVING_IN_BAND] == (abs(off) <= 500).sum()


def test_lanes_that_ask_are_told_by_bits() -> None:
    held = np.zeros(3 * LANES, np.float32)
    asking = [0, 5, LANES - 1]
    held[[LANES + v for v in asking]] = [1.0, 2.0, -0.5]
    bits, found = flagged(held, LANES), []
    while bits:
        found.append(lowest(bits))
        bits &= bits - 1
    assert found == asking
    assert flagged(held, 0) == 0
