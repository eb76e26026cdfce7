"""What the twin counts at half the width is what whole numbers say."""

import numpy as np
import pytest

from sim.whatif.felt import A_FIFTH, BELOW_FIFTHS
from sim.whatif.rows import LANES
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


def test_lanes_that_ask_are_told_by_bits() -> None:
    rows = np.zeros(3 * LANES, np.float32)
    asking = [0, 5, LANES - 1]
    rows[[LANES + v for v in asking]] = [1.0, 2.0, -0.5]
    bits, found = flagged(rows, LANES), []
    while bits:
        found.append(lowest(bits))
        bits &= bits - 1
    assert found == asking
    assert flagged(rows, 0) == 0
