"""How a tray usually differs from its neighbours, one look at a time."""

import pytest

from controller.core.guard_state import GuardState, Offset
from controller.core.offsets import STRANGE_FOR_MS, offsets_after, strange_trays
from controller.core.root_zone import Observed
from controller.core.units import DAY_MS
from controller.core.uptake import Look
from tests.builders import a_mat, a_tray, mc, ms

NAMES = ("N1", "N2", "N3", "N4")
MAT = a_mat(trays=tuple(a_tray(name, name.lower()) for name in NAMES))
NOW_MS = ms(1_000_000)
LIMIT_K = 4.0  # as plans have it, unless they say otherwise


def a_look(*, quiet=False, **temps_c):
    trays = tuple((mc(temp_c), name) for name, temp_c in temps_c.items())
    return Look(Observed((), (), trays), mc(20), mc(21), None, quiet=quiet)


def after(offsets, look, passed_s=60, mat=MAT):
    guard = GuardState(at_ms=NOW_MS - ms(passed_s), offsets=tuple(offsets))
    return {found.tray: found for found in offsets_after(mat, guard, look, NOW_MS)}


def usual(tray="N1", usual_mk=0.0, learned_ms=DAY_MS, strange_ms=None, strange_mk=0.0):
    return Offset(tray, usual_mk, learned_ms, strange_ms, strange_mk)


def pair(differs_k, known, passed_s=60):
    """Return N1's offset after it was seen that much above its only neighbour."""
    look = a_look(N1=20 + differs_k, N2=20)
    return after([known], look, passed_s)["N1"]


def test_first_look_only_begins():
    look = a_look(N1=25.0, N2=20.0)
    assert after([], look) == {"N1": Offset("N1", 0.0), "N2": Offset("N2", 0.0)}
    never = GuardState(at_ms=None, offsets=(usual("N1"), usual("N2")))
    found = list(offsets_after(MAT, never, look, NOW_MS))
    assert found == [Offset("N1", 0.0), Offset("N2", 0.0)]


@pytest.mark.parametrize(
    ("others_c", "median_c"),
    [((19.0,), 19.0), ((19.0, 20.0), 19.0), ((18.0, 23.0, 19.0), 19.0)],
)
def test_tray_is_held_against_the_median_of_the_others(others_c, median_c):
    """Of an even number the lower one: no mean of two that differ."""
    others = dict(zip(NAMES[1:], others_c, strict=False))
    known = usual(learned_ms=0)
    found = after([known], a_look(N1=21.0, **others), passed_s=60)["N1"]
    assert found.usual_mk == mc(21.0) - mc(median_c)


def test_difference_is_learned_over_a_week_of_its_own():
    assert pair(1.0, usual(learned_ms=0)) == usual(usual_mk=1_000.0, learned_ms=60_000)
    found = pair(1.0, usual(usual_mk=500.0, learned_ms=60_000))
    assert (found.usual_mk, found.learned_ms) == (750.0, 120_000)
    week = 7 * DAY_MS
    found = pair(1.0, usual(learned_ms=week), passed_s=week / 1_000 / 10)
    assert (found.usual_mk, found.learned_ms) == (100.0, week)
    found = pair(1.0, usual(learned_ms=week), passed_s=week / 1_000 * 2)
    assert (found.usual_mk, found.learned_ms) == (1_000.0, week)


@pytest.mark.parametrize("sign", [1, -1])
def test_difference_at_the_limit_is_strange_and_is_not_learned(sign):
    found = pair(sign * LIMIT_K, usual())
    limit_mk = mc(LIMIT_K)
    assert found == usual(strange_ms=NOW_MS, strange_mk=limit_mk)
    since = usual(strange_ms=5, strange_mk=limit_mk)
    assert pair(sign * LIMIT_K, since) == since
    assert pair(sign * (LIMIT_K - 0.001), usual()).strange_ms is None
    used_to_it = usual(usual_mk=sign * 500.0)
    assert pair(sign * LIMIT_K, used_to_it).strange_ms is None
    assert pair(sign * (LIMIT_K + 0.5), used_to_it).strange_ms == NOW_MS


@pytest.mark.parametrize("sign", [1, -1])
def test_difference_that_shrinks_begins_anew(sign):
    """Half a kelvin nearer is recovery; less, or further away, is not."""
    since = usual(strange_ms=5, strange_mk=6_000.0)
    anew = usual(strange_ms=NOW_MS, strange_mk=5_500.0)
    assert pair(sign * 5.5, since) == anew
    assert pair(sign * 5.501, since) == since
    assert pair(sign * 7.0, since) == since


def test_difference_halfway_to_strange_is_learned_on_the_first_day_only():
    half = LIMIT_K / 2
    since = usual(strange_ms=5, strange_mk=mc(LIMIT_K))
    assert pair(half, since) == usual(strange_ms=None)
    assert pair(half - 0.001, usual()).usual_mk > 0
    young = usual(learned_ms=DAY_MS - 1)
    assert pair(half, young).usual_mk > 0
    assert pair(half - 0.6, usual()).usual_mk > 0  # nor is a third of it halfway


def test_strange_stays_strange_while_it_swings_across_the_limit():
    """Else a mat's own swing would begin the three hours anew for ever."""
    since = usual(strange_ms=5, strange_mk=4_100.0)
    assert pair(LIMIT_K - 0.1, since) == since
    assert pair(3.601, since) == since
    assert pair(3.6, since) == usual()


def test_what_is_learned_is_strange_no_more():
    since = usual(strange_ms=5, strange_mk=mc(LIMIT_K))
    assert pair(0.0, since).strange_ms is None


@pytest.mark.parametrize(
    "look",
    [a_look(N2=20.0, N3=20.0), a_look(N1=20.0), a_look(quiet=True, N1=25.0, N2=20.0)],
    ids=["silent", "alone", "quiet"],
)
def test_tray_that_cannot_be_compared_keeps_what_was_usual(look):
    known = usual(usual_mk=300.0, strange_ms=5, strange_mk=7.0)
    assert after([known], look)["N1"] == usual(usual_mk=300.0)
    assert "N1" not in after([], look)


def test_tray_that_cannot_be_compared_does_not_hide_the_next():
    look = a_look(N2=20.0, N3=20.5)
    assert list(after([usual("N3")], look)) == ["N2", "N3"]


def test_tray_is_told_after_it_was_strange_for_long_enough():
    since = usual(strange_ms=NOW_MS)
    guard = GuardState(offsets=(usual("N2"), since, usual("N3", strange_ms=NOW_MS)))
    assert list(strange_trays(guard, NOW_MS + STRANGE_FOR_MS - 1)) == []
    told = list(strange_trays(guard, NOW_MS + STRANGE_FOR_MS))
    assert [offset.tray for offset in told] == ["N1", "N3"]
