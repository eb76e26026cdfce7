"""Heat not felt, one look at a time: every bound from both of its sides.

The mat of these tests: 100 W under one tray of 60 mm, 1.2 x 0.53 m, allowance
4 K. Full heat for it takes 3816 s, and 30 mm to the probe take 3461.538 s.
"""

from dataclasses import replace

import pytest

from controller.core.guard_state import GuardState, Uptake
from controller.core.plan import ProbePlan
from controller.core.root_zone import Heard, Observed
from controller.core.state import ProbeState, RelayState
from controller.core.uptake import Look, frozen, lag_ms, uptake_after
from tests.builders import a_mat, a_tray, mc, ms

MAT = a_mat(trays=(a_tray("N1", "n1"),))
NOW_MS = ms(100_000)
PASSED_MS = 60_000
ALLOWED_MS = 3_816_000
LAG_MS = 3_461_538


def a_look(root_c=18.0, **changes):
    """Return a look at a mat at this temperature that shall be at 21 °C."""
    root_mc = mc(root_c)
    observed = Observed((), (), ((root_mc, "N1"),))
    return replace(Look(observed, root_mc, mc(21), None, quiet=False), **changes)


def heated(**changes):
    """Return heat given for long at 18 °C: all of the allowance but a moment."""
    plain = Uptake(
        since_ms=ms(10_000),
        from_mc=mc(18),
        proven=True,
        on_ms=0,
        excess_ms=ALLOWED_MS - 1,
        lowest_mc=mc(18),
        cooled_mc=mc(18),
        mark_ms=NOW_MS - 1_000,
        mark_mc=mc(18),
    )
    return replace(plain, **changes)


def a_relay(**changes):
    return replace(RelayState(energised=False, since_ms=NOW_MS, on_ms=0), **changes)


def after(uptake, look=None, relay=None, mat=MAT):
    """Return what is remembered a minute after it was this."""
    guard = GuardState(at_ms=NOW_MS - PASSED_MS, uptake=uptake)
    return uptake_after(mat, guard, relay or a_relay(), look or a_look(), NOW_MS)


def begun(root_c, *, proven, excess_ms=0, on_ms=0, room_mc=None):
    """Return what watching begins with."""
    root_mc = mc(root_c)
    return Uptake(
        since_ms=NOW_MS,
        from_mc=root_mc,
        proven=proven,
        on_ms=on_ms,
        excess_ms=excess_ms,
        lowest_mc=root_mc,
        cooled_mc=root_mc,
        room_mc=room_mc,
        mark_ms=NOW_MS,
        mark_mc=root_mc,
    )


# ------------------------------------------------------------- a mat's own times


@pytest.mark.parametrize(
    ("tray_mm", "probe_mm", "way_mm"),
    [(60, None, 30), (61, None, 31), (60, 45, 15), (60, 60, 0)],
)
def test_heat_takes_as_long_as_the_way_to_the_probe(tray_mm, probe_mm, way_mm):
    """d²/2D at 0.13 mm²/s, by hand; an unknown depth is half of the tray's."""
    probe = ProbePlan(name="n1", depth_mm=probe_mm)
    tray = replace(a_tray("N1", depth_mm=tray_mm), probes=(probe,))
    assert lag_ms(replace(MAT, trays=(tray,))) == round(way_mm**2 / 0.26 * 1_000)
    assert lag_ms(replace(MAT, trays=())) == 0


def unmoved(good_c, since_s, name="n1"):
    since_ms = None if since_s is None else ms(since_s)
    known = ProbeState(NOW_MS, mc(good_c), same_since_ms=since_ms)
    return Heard(ProbePlan(name=name), known, usable=True)


@pytest.mark.parametrize(
    ("good_c", "since_s", "still"),
    [
        (18.0, 96_400, True),  # an hour before now
        (18.0, 96_400.001, False),
        (18.0, None, False),
        (18.1, 90_000, False),  # this one does not drive
        (18.1, None, False),
    ],
)
def test_probe_that_drives_and_has_not_moved_for_an_hour_is_frozen(
    good_c, since_s, still
):
    observed = Observed((unmoved(good_c, since_s),), (), ())
    assert frozen(observed, mc(18), NOW_MS) is still
    both = Observed((*observed.roots, unmoved(17.0, 0, "n2")), (), ())
    assert frozen(both, mc(18), NOW_MS) is still


# ------------------------------------------------------------- when it is watched


@pytest.mark.parametrize("changes", [{"quiet": True}, {"tripped": True}])
def test_nothing_is_watched_while_hands_are_there_or_heat_is_locked_off(changes):
    assert after(heated(), a_look(**changes)) is None


def test_nothing_is_watched_where_nothing_heats():
    assert after(heated(), mat=replace(MAT, relay=None)) is None


def test_what_was_given_is_kept_while_nothing_drives():
    known = heated()
    assert after(known, replace(a_look(), root_mc=None)) is known


@pytest.mark.parametrize(("root_c", "proven"), [(20.999, False), (21.0, True)])
def test_first_look_proves_only_what_is_at_the_setpoint(root_c, proven):
    relay = a_relay(on_ms=7_000)
    look = a_look(root_c, room_mc=mc(11))
    wanted = begun(root_c, proven=proven, on_ms=7_000, room_mc=mc(11))
    assert after(None, look, relay) == wanted
    never = GuardState(at_ms=None, uptake=heated())
    assert uptake_after(MAT, never, relay, look, NOW_MS) == wanted


# ------------------------------------------------------------- what is counted


def test_excess_is_time_on_beyond_the_mean_duty():
    known = heated(on_ms=500_000, excess_ms=100_000)
    found = after(known, relay=a_relay(on_ms=560_000, mean_duty=0.25))
    assert (found.excess_ms, found.on_ms) == (145_000, 560_000)
    found = after(known, relay=a_relay(on_ms=500_000, mean_duty=1.0))
    assert found.excess_ms == 40_000
    known = heated(on_ms=0, excess_ms=10)
    assert after(known, relay=a_relay(mean_duty=0.5)).excess_ms == 0


@pytest.mark.parametrize(("excess_ms", "left_ms"), [(300_000, 60_000), (240_000, 0)])
def test_setpoint_that_is_reached_takes_off_some_excess(excess_ms, left_ms):
    look = a_look(21.0, room_mc=mc(11))
    found = after(heated(excess_ms=excess_ms), look)
    assert found == begun(21.0, proven=True, excess_ms=left_ms, room_mc=mc(11))
    assert after(heated(excess_ms=100), look).excess_ms == 0


def test_lowest_temperature_is_remembered():
    found = after(heated(), a_look(17.9))
    assert (found.lowest_mc, found.cooled_mc) == (mc(17.9), mc(17.9))
    found = after(heated(), a_look(18.1))
    assert (found.lowest_mc, found.cooled_mc) == (mc(18), mc(18))


def test_tray_left_alone_would_near_the_room():
    """8 K above the room, a minute of a time constant of 8 h: 17 mK, by hand."""
    found = after(heated(), a_look(room_mc=mc(10)))
    assert found.cooled_mc == mc(17.983)
    assert found.lowest_mc == mc(18)
    assert after(heated(), a_look(room_mc=mc(19.5))).cooled_mc == mc(18)
    assert after(heated(), a_look(17.98, room_mc=mc(10))).cooled_mc == mc(17.98)


@pytest.mark.parametrize(("root_c", "fell"), [(17.601, False), (17.6, True)])
def test_fall_of_four_tenths_within_its_stretch_is_fast(root_c, fell):
    assert after(heated(), a_look(root_c)).fell is fell
    assert after(heated(fell=True), a_look(root_c)).fell


@pytest.mark.parametrize(("ago_s", "anew"), [(1_199.999, False), (1_200, True)])
def test_stretch_of_a_fast_fall_begins_anew_after_twenty_minutes(ago_s, anew):
    mark_ms = NOW_MS - ms(ago_s)
    found = after(heated(mark_ms=mark_ms, mark_mc=mc(18.2)), a_look(18.1))
    expected = (NOW_MS, mc(18.1)) if anew else (mark_ms, mc(18.2))
    assert (found.mark_ms, found.mark_mc) == expected


# ------------------------------------------------------------- what is enough


@pytest.mark.parametrize(
    ("from_c", "due_k"),
    [
        (20.0, 0.75),  # 0.3 + 1/5 K would be within a probe's wavering
        (18.75, 0.75),
        (18.0, 0.9),
        (16.0, 1.3),
        (14.5, 1.6),
        (10.0, 1.6),  # two fifths of the allowance and no more
    ],
)
def test_rise_that_shows_heat_grows_with_what_is_lacking(from_c, due_k):
    known = heated(lowest_mc=mc(from_c), cooled_mc=mc(from_c), room_mc=mc(9))
    enough, short = from_c + due_k, from_c + due_k - 0.001
    assert after(known, a_look(enough)) == begun(enough, proven=True)
    assert after(known, a_look(short)).since_ms == known.since_ms


def test_rise_that_is_due_is_rounded_down_to_a_thousandth():
    known = heated(lowest_mc=mc(17.998), cooled_mc=mc(17.998))
    assert after(known, a_look(18.898)).excess_ms == 0  # a fifth of 3.002 K
    odd = replace(MAT, heat_allowance_mk=4_501)
    known = heated(lowest_mc=mc(18), cooled_mc=mc(18))
    assert after(known, a_look(20.25, room_mc=mc(20.25)), mat=odd).excess_ms == 0


def test_what_was_felt_begins_anew_with_the_room_of_now():
    found = after(heated(), a_look(19.0, room_mc=mc(12)))
    assert found == begun(19.0, proven=True, room_mc=mc(12))


@pytest.mark.parametrize(
    ("room_c", "room_before_c", "due_k"),
    [
        (18.0, 18.0, 2.0),  # half of the allowance
        (18.0, None, 2.0),
        (18.0, 17.0, 3.0),  # and what the room gained
        (18.0, 19.0, 2.0),  # but nothing for what it lost
    ],
)
def test_probe_that_reads_what_the_room_does_must_show_more(
    room_c, room_before_c, due_k
):
    before_mc = None if room_before_c is None else mc(room_before_c)
    known = heated(lowest_mc=mc(16), cooled_mc=mc(16), room_mc=before_mc)
    room = {"room_mc": mc(room_c)}
    enough, short = 16 + due_k, 16 + due_k - 0.001
    assert after(known, a_look(enough, **room)).excess_ms == 0
    assert after(known, a_look(short, **room)).excess_ms > 0


@pytest.mark.parametrize(("room_c", "alike"), [(16.0, True), (15.999, False)])
def test_probe_within_a_kelvin_of_the_room_may_hang_in_it(room_c, alike):
    known = heated(lowest_mc=mc(16), cooled_mc=mc(15.7))
    found = after(known, a_look(17.0, room_mc=mc(room_c)))  # 1.3 K above 15.7 °C
    assert (found.excess_ms > 0) is alike
    known = heated(lowest_mc=mc(15.5), cooled_mc=mc(15.5))
    found = after(known, a_look(17.0, room_mc=mc(34) - mc(room_c)))
    assert (found.excess_ms > 0) is alike


def test_rise_that_a_large_lack_asks_for_holds_in_the_room_as_well():
    mat = replace(MAT, heat_allowance_mk=2_500)  # half of it is 1.25 K
    known = heated(lowest_mc=mc(17), cooled_mc=mc(17), excess_ms=0)
    assert after(known, a_look(18.2, room_mc=mc(18)), mat=mat).lowest_mc == mc(17)
    assert after(known, a_look(18.25, room_mc=mc(18)), mat=mat).lowest_mc == mc(18.25)
    mat = replace(MAT, heat_allowance_mk=1_400)  # outside of what a plan may say
    assert after(known, a_look(17.749, room_mc=mc(18)), mat=mat).lowest_mc == mc(17)
    assert after(known, a_look(17.75, room_mc=mc(18)), mat=mat).lowest_mc != mc(17)


# ------------------------------------------------------------- when it was missed


def missed(look=None, relay=None, **changes):
    """Return what should have been reached and was not, with all the heat given."""
    plain = {"excess_ms": ALLOWED_MS, "since_ms": NOW_MS - LAG_MS, "fell": True}
    return after(heated(**{**plain, **changes}), look, relay).missed_mc


def test_heat_of_an_allowance_after_its_lag_must_have_been_felt():
    assert missed() == mc(18.9)
    assert missed(excess_ms=ALLOWED_MS - 1) is None
    assert missed(since_ms=NOW_MS - LAG_MS + 1) is None


@pytest.mark.parametrize(
    ("root_c", "duty", "frozen", "patient"),
    [
        (20.001, 0.3, False, True),
        (20.0, 0.3, False, False),  # not near the setpoint
        (20.001, 0.299, False, False),  # not a cold room
        (20.001, 0.3, True, False),  # a probe that shows nothing at all
    ],
)
def test_near_the_setpoint_in_a_cold_room_half_as_much_again_is_waited_for(
    root_c, duty, frozen, patient
):
    relay = a_relay(mean_duty=duty, on_ms=round(PASSED_MS * duty))
    look = a_look(root_c, frozen=frozen)
    known = {"lowest_mc": mc(20), "cooled_mc": mc(20)}
    assert (missed(look, relay, **known) is None) is patient
    assert missed(look, relay, **known, excess_ms=ALLOWED_MS * 3 // 2) is not None
    short = missed(look, relay, **known, excess_ms=ALLOWED_MS * 3 // 2 - 1)
    assert (short is None) is patient


def test_probe_that_does_not_move_is_held_against_what_it_says_itself():
    known = {"lowest_mc": mc(18), "cooled_mc": mc(17), "room_mc": mc(5)}
    assert missed(a_look(18.0, room_mc=mc(5)), **known) is None  # kept from cooling
    assert missed(a_look(18.0, room_mc=mc(5), frozen=True), **known) == mc(18.9)


# ---------------------------------------------------- a night too cold for the mat


def lost_to_the_cold(root_c=17.75, look=None, duty=0.5, **changes):
    """Return whether slow sinking at full heat is taken for the room's doing."""
    relay = a_relay(mean_duty=duty, on_ms=round(PASSED_MS * duty))
    plain = {"fell": False, "excess_ms": 2 * ALLOWED_MS, "mark_mc": mc(root_c)}
    return missed(look or a_look(root_c), relay, **{**plain, **changes}) is None


def test_sinking_by_a_quarter_kelvin_from_a_proven_warmth_is_the_cold_of_the_night():
    assert lost_to_the_cold(17.75)
    assert not lost_to_the_cold(17.751)
    assert not lost_to_the_cold(17.75, proven=False)
    assert not lost_to_the_cold(18.0, proven=False)


def test_fast_fall_frozen_probe_or_known_room_is_no_guess_about_the_night():
    assert not lost_to_the_cold(fell=True)
    assert not lost_to_the_cold(look=a_look(17.75, frozen=True))
    assert not lost_to_the_cold(look=a_look(17.75, room_mc=mc(17)))


@pytest.mark.parametrize(("duty", "excused"), [(0.3, True), (0.299, False)])
def test_near_the_setpoint_only_a_mat_that_is_on_much_loses_to_the_cold(duty, excused):
    near = {
        "from_mc": mc(20.6),
        "lowest_mc": mc(20.3),
        "cooled_mc": mc(20.3),
        "root_c": 20.3,
        "duty": duty,
    }
    assert lost_to_the_cold(**near) is excused
    assert lost_to_the_cold(17.75, duty=duty), "far below it any mat may"
