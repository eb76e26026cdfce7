"""The words that Python and compiled code say each in its own way: the same bits."""

from fractions import Fraction

import numpy as np
import pytest

from sim.whatif import jit, machine, words
from sim.whatif.rows import LANES
from sim.whatif.words import EVEN

HALF = np.float32


def nearest(exact: Fraction) -> np.float32:
    """Return the number of half the width that is nearest, of two the even one."""
    about = HALF(float(exact))
    candidates = [
        about,
        np.nextafter(about, HALF(np.inf)),
        np.nextafter(about, HALF(-np.inf)),
    ]
    return min(
        candidates,
        key=lambda one: (
            abs(Fraction(float(one)) - exact),
            int(one.view(np.int32)) & 1,
        ),
    )


def some(rng: np.random.Generator, count: int) -> np.ndarray:
    """Return numbers of any size up to some hundred thousands, and of either sign."""
    sizes = rng.choice([1e-9, 1e-3, 1.0, 300.0, 24_000.0, 2e5], count)
    return (rng.normal(0, 1, count) * sizes).astype(HALF)


def products() -> np.ndarray:
    """Return triples, last of all those that a rounding in between would put off.

    24 929 * 673 is 2**24 + 1, halfway between two numbers of half the width; what is
    added to it or taken away is less than the whole width can tell beside it.
    """
    rng = np.random.default_rng(5)
    drawn = np.column_stack([some(rng, 4000) for _ in range(3)])
    drawn[:1000, 0] = rng.uniform(0.9, 1.0, 1000)  # as a mode decays
    tiny = [2.0**-40, -(2.0**-40), 0.0]
    halfway = [(one * 24_929, other * 673, by) for by in tiny for one, other in SIGNS]
    return np.concatenate((drawn, np.array(halfway, HALF)))


SIGNS = [(1, 1), (1, -1), (-1, -1)]


def test_a_fused_sum_is_rounded_once() -> None:
    put_off = 0
    for one, other, third in products():
        exact = Fraction(float(one)) * Fraction(float(other)) + Fraction(float(third))
        assert words.fused(one, other, third) == nearest(exact), (one, other, third)
        twice = HALF(float(one) * float(other) + float(third))
        put_off += twice != nearest(exact)
    assert put_off >= 3, "none that needs it"


def test_whole_numbers_with_even_are_reckoned_as_whole_numbers_are() -> None:
    rng = np.random.default_rng(6)
    for one, other in rng.integers(-200_000, 200_000, (2000, 2)).tolist():
        first, second = HALF(one) + EVEN, HALF(other) + EVEN
        assert words.higher(first, second) - EVEN == max(one, other)
        assert words.lower(first, second) - EVEN == min(one, other)
        assert words.plus(first, second) - EVEN == one + other
        assert words.minus(first, second) - EVEN == one - other
        for off, more in ((-1, 0), (0, 1), (abs(one), 1), (abs(one) + 1, 0)):
            most = abs(HALF(one)) + EVEN
            for by in (1, 3):
                count = words.plus_if(EVEN + 7, HALF(off) + EVEN, most, EVEN + by)
                assert count - EVEN == 7 + by * more


# -------------------------------------------- what compiled code makes of them


def _of_three(given: np.ndarray, made: np.ndarray) -> None:
    for v in range(len(given)):
        one, other, third = given[v, 0], given[v, 1], given[v, 2]
        made[v, 0] = words.fused(one, other, third)
        made[v, 1], made[v, 2] = words.larger(one, other), words.smaller(one, other)
        made[v, 3] = words.rounded_half(one)


def _of_whole(given: np.ndarray, made: np.ndarray) -> None:
    for v in range(len(given)):
        one, other, third = given[v, 0], given[v, 1], given[v, 2]
        made[v, 0], made[v, 1] = words.higher(one, other), words.lower(one, other)
        made[v, 2], made[v, 3] = words.plus(one, other), words.minus(one, other)
        made[v, 4] = words.plus_if(one, other, third, given[v, 3])


def _quotients(
    wide: np.ndarray, half: np.ndarray, by: np.ndarray, wide_by: np.ndarray
) -> None:
    for v in range(len(wide)):
        wide[v] = words.divided(wide[v], wide_by[0])
    for v in range(len(half)):
        half[v] = words.divided(half[v], by[0])


def _words(rows: np.ndarray, value: np.ndarray, made: np.ndarray) -> None:
    under = words.under(rows, 0, LANES)
    made[0], made[1] = words.flagged(rows, 0), under
    made[2], made[3] = words.within(rows, 0, LANES), words.reached(rows, 0, value[0])
    made[4], made[5] = words.counted(under), words.lowest(under)
    made[6], made[7] = words.but_lowest(under), words.alike(rows, 0, LANES)
    made[8] = words.across(3)


@pytest.fixture
def _compiled_anew(monkeypatch) -> None:
    pytest.importorskip("numba")
    monkeypatch.setattr(machine, "place", lambda *_: None)


@pytest.mark.usefixtures("_compiled_anew")
def test_compiled_code_says_the_same_of_any_values() -> None:
    given = products()
    ours, plain = np.zeros((2, len(given), 4), HALF)
    jit.compiled(_of_three)(given, ours)
    _of_three(given, plain)
    np.testing.assert_array_equal(ours, plain)


@pytest.mark.usefixtures("_compiled_anew")
def test_compiled_code_says_the_same_of_whole_numbers() -> None:
    rng = np.random.default_rng(7)
    numbers = rng.integers(-600_000, 600_000, (4000, 4))
    numbers[:1000, 1:] = rng.integers(-3, 4, (1000, 3))  # near either end of a band
    numbers[:, 2], numbers[:, 3] = abs(numbers[:, 2]), 1
    given = numbers.astype(HALF) + EVEN
    ours, plain = np.zeros((2, len(given), 5), HALF)
    jit.compiled(_of_whole)(given, ours)
    _of_whole(given, plain)
    np.testing.assert_array_equal(ours, plain)
    assert len(np.unique(ours[:, 4] - given[:, 0])) == 2


@pytest.mark.usefixtures("_compiled_anew")
def test_compiled_quotients_are_the_nearest_there_are() -> None:
    """Of all deviations in m°C by 1000, and of all sums of eight trays."""
    divide = jit.compiled(_quotients)
    whole = np.arange(-165_000.0, 165_000.0)
    for trays in range(1, 9):
        wide, half = (
            whole.copy(),
            np.arange(-40_000 * trays, 125_000 * trays, dtype=HALF),
        )
        expected = half / HALF(trays)
        divide(wide, half, np.array([trays], HALF), np.array([1000.0]))
        np.testing.assert_array_equal(wide, whole / 1000.0)
        np.testing.assert_array_equal(half, expected)


@pytest.mark.usefixtures("_compiled_anew")
def test_compiled_words_of_lanes_have_the_same_bits() -> None:
    rng, told = np.random.default_rng(8), jit.compiled(_words)
    for number in range(200):
        rows = rng.integers(-1, 2, 2 * LANES).astype(HALF)
        value = rng.integers(-1, 2, 1).astype(HALF)
        if number == 0:  # the highest bit alone
            rows[:LANES], rows[LANES:] = 0.0, 0.0
            rows[LANES - 1] = -1.0
        made, plain = np.zeros(9, np.int64), np.zeros(9, np.uint64)
        told(rows, value, made)
        _words(rows, value, plain)
        np.testing.assert_array_equal(made.view(np.uint64)[:8], plain[:8])
        assert (made[8], plain[8]) == (LANES, 3)
