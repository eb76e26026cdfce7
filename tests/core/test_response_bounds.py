"""Stray heat, fast rises and the energy budget, one look at a time."""

from dataclasses import replace

import pytest

from controller.core.guard_state import Climb, GuardState, Idle
from controller.core.response import due, looked
from controller.core.root_zone import Observed
from controller.core.state import MatState, Mode, RelayState
from controller.core.units import HOUR_MS
from controller.core.uptake import Look
from tests.builders import a_mat, a_tray, mc, ms

MAT = a_mat(trays=(a_tray("N1", "n1", depth_mm=20), a_tray("N2", "n2", depth_mm=20)))
NOW_MS = ms(1_000_000)
STORED_MS = ms(1_200)


def a_look(root_c=20.0, trays_c=(20.0,), **changes):
    trays = tuple((mc(temp_c), f"N{n}") for n, temp_c in enumerate(trays_c, 1))
    look = Look(Observed((), (), trays), mc(root_c), mc(21), None, quiet=False)
    return replace(look, **changes)


def off(ago_ms=STORED_MS, **changes):
    since_ms = NOW_MS - ago_ms
    return replace(RelayState(False, since_ms, heated_ms=since_ms), **changes)


def after(look=None, relay=None, mat=MAT, **remembered):
    """Return what the guards remember a minute after they remembered this."""
    guard = GuardState(at_ms=NOW_MS - ms(60), **remembered)
    known = MatState(Mode.REGULATING, ms(0), relay or off(), guard=guard)
    return looked(mat, known, look or a_look(), NOW_MS)


@pytest.mark.parametrize(("ago_s", "wanted"), [(59.999, False), (60, True)])
def test_guards_look_again_after_a_minute(ago_s, wanted):
    assert due(GuardState(at_ms=NOW_MS - ms(ago_s)), NOW_MS) is wanted
    assert due(GuardState(), NOW_MS)


# ------------------------------------------------------ heat that nobody asked


def idle(look=None, relay=None, before=None, mat=MAT):
    return after(look, relay, mat, idle=before).idle


FROM_20 = Idle(NOW_MS - ms(600), mc(20))
BEGUN = Idle(NOW_MS, mc(20))


def test_mat_is_idle_once_its_stored_heat_has_arrived():
    assert idle(relay=off(STORED_MS - 1)) is None
    assert idle(relay=off(STORED_MS)) == BEGUN
    deep = replace(MAT, trays=(a_tray("N1", "n1", depth_mm=60),))
    assert idle(relay=off(ms(3_461)), mat=deep) is None
    assert idle(relay=off(ms(3_462)), mat=deep) == BEGUN


@pytest.mark.parametrize(
    ("look", "relay", "mat"),
    [
        (a_look(quiet=True), None, MAT),
        (a_look(root_mc=None), None, MAT),
        (None, off(energised=True), MAT),
        (None, None, replace(MAT, relay=None)),
    ],
    ids=["quiet", "blind", "on", "watched"],
)
def test_mat_that_cannot_be_judged_is_not_idle(look, relay, mat):
    assert idle(look, relay, FROM_20, mat) is None


@pytest.mark.parametrize(("root_c", "warms"), [(21.499, False), (21.5, True)])
def test_rise_by_a_kelvin_and_a_half_is_heat_unasked(root_c, warms):
    found = idle(a_look(root_c), before=FROM_20)
    assert found == replace(FROM_20, warms=warms)


def test_lower_temperature_begins_anew():
    assert idle(a_look(19.999), before=FROM_20) == replace(BEGUN, lowest_mc=mc(19.999))
    assert idle(a_look(20.0), before=FROM_20) is FROM_20
    room = a_look(19.9, room_mc=mc(15))
    assert idle(room, before=FROM_20).room_mc == mc(15)


@pytest.mark.parametrize(("ago_s", "anew"), [(3_599.999, False), (3_600, True)])
def test_slow_warming_is_forgotten_after_an_hour_without_a_room_probe(ago_s, anew):
    before = replace(FROM_20, since_ms=NOW_MS - ms(ago_s))
    found = idle(a_look(20.5), before=before)
    assert found == (Idle(NOW_MS, mc(20.5)) if anew else before)
    with_room = idle(a_look(20.5, room_mc=mc(15)), before=before)
    assert with_room.since_ms == before.since_ms
    warm = replace(before, warms=True)
    assert idle(a_look(22.0), before=warm) is warm


def test_what_the_room_gained_is_no_heat_of_the_mat():
    before = replace(FROM_20, room_mc=mc(15))
    assert not idle(a_look(22.4, room_mc=mc(16)), before=before).warms
    assert idle(a_look(22.5, room_mc=mc(16)), before=before).warms
    assert idle(a_look(21.5, room_mc=mc(14)), before=before).warms
    assert idle(a_look(21.5, room_mc=mc(16)), before=FROM_20).warms, "not known then"
    assert idle(a_look(21.5), before=before).warms, "not known now"


@pytest.mark.parametrize(("room_c", "warms"), [(21.5, True), (21.501, False)])
def test_warmer_room_explains_any_rise(room_c, warms):
    found = idle(a_look(21.5, room_mc=mc(room_c)), before=FROM_20)
    assert found.warms is warms


def test_warming_that_is_over_is_over():
    warm = replace(FROM_20, warms=True)
    assert not idle(a_look(21.0), before=warm).warms


# ------------------------------------------------------------- rises too fast


def climb(trays_c, before=None, look=None):
    return after(look or a_look(trays_c=trays_c), climb=before).climb


MARK = Climb(NOW_MS - ms(300), mc(21))


def test_warmest_tray_is_watched():
    assert climb((20.0, 21.0)) == Climb(NOW_MS, mc(21))
    assert climb(()) is None
    assert climb((), look=a_look(trays_c=(20.0,), quiet=True), before=MARK) is None


@pytest.mark.parametrize(("top_c", "fast"), [(23.999, False), (24.0, True)])
def test_rise_of_three_kelvin_is_too_fast(top_c, fast):
    found = climb((20.0, top_c), MARK)
    assert found == replace(MARK, until_ms=NOW_MS + ms(600) if fast else None)


@pytest.mark.parametrize(("setpoint_c", "fast"), [(23.0, False), (22.999, True)])
def test_rise_up_to_a_kelvin_above_the_setpoint_is_no_fault(setpoint_c, fast):
    look = a_look(trays_c=(24.0,), setpoint_mc=mc(setpoint_c))
    assert (climb((), MARK, look).until_ms is not None) is fast


@pytest.mark.parametrize(("ago_s", "anew"), [(599.999, False), (600, True)])
def test_rise_is_measured_over_ten_minutes(ago_s, anew):
    before = Climb(NOW_MS - ms(ago_s), mc(20), NOW_MS + 1)
    expected = Climb(NOW_MS, mc(21), NOW_MS + 1) if anew else before
    assert climb((21.0,), before) == expected
    assert climb((20.0,), before).at_ms == (NOW_MS if anew else before.at_ms)
    assert climb((19.999,), before) == Climb(NOW_MS, mc(19.999), NOW_MS + 1)


def test_heat_waits_for_ten_minutes_and_no_longer():
    assert climb((21.0,), replace(MARK, until_ms=NOW_MS)).until_ms is None
    assert climb((21.0,), replace(MARK, until_ms=NOW_MS + 1)).until_ms == NOW_MS + 1


# ---------------------------------------------------------------- energy budget


def test_mat_that_was_on_for_the_longest_time_rests_for_its_settling():
    mat = replace(MAT, longest_on_ms=ms(7_200), settle_ms=ms(1_800))
    on = RelayState(True, NOW_MS - ms(7_200))
    assert after(relay=on, mat=mat).rest_until_ms == NOW_MS + ms(1_800)
    assert (
        after(relay=replace(on, since_ms=on.since_ms + 1), mat=mat).rest_until_ms
        is None
    )
    assert after(relay=off(ms(7_200)), mat=mat).rest_until_ms is None
    assert after(rest_until_ms=NOW_MS + 1).rest_until_ms == NOW_MS + 1
    assert after(rest_until_ms=NOW_MS).rest_until_ms is None


def test_time_on_is_marked_at_each_full_hour_of_a_day():
    assert after(relay=off(on_ms=5)).marks == (5,)
    assert after(relay=off(on_ms=5)).marked_ms == NOW_MS
    kept = after(relay=off(on_ms=5), marks=(1, 2), marked_ms=NOW_MS - HOUR_MS + 1)
    assert (kept.marks, kept.marked_ms) == ((1, 2), NOW_MS - HOUR_MS + 1)
    found = after(relay=off(on_ms=5), marks=(1, 2), marked_ms=NOW_MS - HOUR_MS)
    assert (found.marks, found.marked_ms) == ((1, 2, 5), NOW_MS)
    full = tuple(range(25))
    found = after(relay=off(on_ms=99), marks=full, marked_ms=NOW_MS - HOUR_MS)
    assert found.marks == (*range(1, 25), 99)


def test_day_that_spent_its_heat_must_have_an_hour_free_to_go_on():
    mat = replace(MAT, daily_on_ms=10 * HOUR_MS)

    def spent(used_ms, before):
        relay = off(on_ms=7 + used_ms)
        marks = {"marks": (7, 8), "marked_ms": NOW_MS - 1, "spent": before}
        return after(relay=relay, mat=mat, **marks).spent

    assert not spent(10 * HOUR_MS, before=False)
    assert spent(10 * HOUR_MS + 1, before=False)
    assert spent(9 * HOUR_MS + 1, before=True)
    assert not spent(9 * HOUR_MS, before=True)


def test_every_guard_is_looked_after():
    found = after(a_look(20.5), off(on_ms=5))
    assert found.at_ms == NOW_MS
    assert found.uptake is not None
    assert [offset.tray for offset in found.offsets] == []
    assert found.climb == Climb(NOW_MS, mc(20))
    two = after(a_look(trays_c=(20.0, 21.0)))
    assert [offset.tray for offset in two.offsets] == ["N1", "N2"]
