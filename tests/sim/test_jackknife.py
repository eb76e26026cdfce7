"""Leaving out days: blocks of them, and errors with closed forms to check."""

import numpy as np
import pytest

from sim.fitting.jackknife import (
    blocks,
    jackknife_covariance,
    jackknife_error,
    moves,
)

DAY = 1440


def days_of(*counts):
    """Steps of some days, so many counted in each."""
    day = np.repeat(np.arange(100, 100 + len(counts)), DAY)
    counted = np.zeros(len(day), dtype=bool)
    for n, count in enumerate(counts):
        counted[n * DAY : n * DAY + count] = True
    return day, counted


@pytest.mark.oracle
def test_the_error_of_a_mean_is_that_of_the_textbook():
    """Of a mean the delete-one jackknife gives s / sqrt(n) exactly (Efron 1982)."""
    values = np.random.default_rng(3).normal(5, 2, 40)
    replicates = np.array([np.delete(values, n).mean() for n in range(40)])
    textbook = values.std(ddof=1) / np.sqrt(40)
    assert jackknife_error(replicates)[0] == pytest.approx(textbook, rel=1e-9)


@pytest.mark.oracle
def test_the_covariance_of_means_is_that_of_the_textbook():
    values = np.random.default_rng(4).normal(size=(30, 3))
    replicates = np.array(
        [np.delete(values, n, axis=0).mean(axis=0) for n in range(30)]
    )
    theirs = np.cov(values.T) / 30
    assert jackknife_covariance(replicates) == pytest.approx(theirs, rel=1e-9)


def test_each_day_is_left_out_once():
    day, counted = days_of(DAY, DAY, DAY)
    found = blocks(day, counted, DAY)
    assert [set(day[block]) for block in found] == [{100}, {101}, {102}]


def test_a_day_with_few_readings_goes_with_its_neighbour():
    day, counted = days_of(200, DAY, DAY, DAY, 100)
    found = blocks(day, counted, DAY)
    assert [set(day[block]) for block in found] == [{100, 101}, {102}, {103, 104}]


def test_a_season_is_left_out_in_thirty_blocks():
    day, counted = days_of(*[DAY] * 120)
    found = blocks(day, counted, DAY)
    assert len(found) == 30
    assert np.sum(found, axis=0).tolist() == [1] * len(day)


def test_a_log_without_readings_is_one_block():
    day, counted = days_of(0, 0)
    assert len(blocks(day, counted, DAY)) == 1


@pytest.mark.oracle
@pytest.mark.parametrize("fixed", [0, 2])
def test_of_a_straight_line_one_step_is_exact(fixed):
    """numpy's lstsq on the rows that are left; with some figures given, the rest."""
    rng = np.random.default_rng(6)
    by = rng.normal(size=(400, 4)) * [1.0, 1e3, 1e-4, 1.0]
    said = by @ [2.0, 1e-3, 1e4, -1.0] + rng.normal(size=400)
    found = np.linalg.lstsq(by, said)[0]
    left_out = [np.arange(400) // 100 == block for block in range(4)]
    given = rng.normal(size=(4, 2)) * [0.1, 1e-4] if fixed else None
    got = moves(-by, said - by @ found, left_out, given)
    for block, moved in zip(left_out, got, strict=True):
        held = found[:fixed] + moved[:fixed]
        rest = said[~block] - by[~block, :fixed] @ held
        theirs = np.linalg.lstsq(by[~block, fixed:], rest)[0]
        assert (found + moved)[fixed:] == pytest.approx(theirs, rel=1e-8)
    if given is not None:
        assert got[:, :fixed] == pytest.approx(given)
