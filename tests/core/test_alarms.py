"""Alarms: each comes once, with its numbers, and goes once."""

from dataclasses import replace

import pytest

from controller.core.alarm_rules import RULES, Priority
from controller.core.decisions import AlarmChange, AlarmKind, AlarmTurn
from controller.core.plan import ProbePlan, Quantity, RelayKind, StepPlan
from controller.core.scan import Acknowledge, Hold, LogHealth, Reset, SetEnabled, Shelve
from controller.core.state import Alarm, resumed_state
from tests.builders import (
    BROKEN,
    UTC_MS,
    Bench,
    a_mat,
    a_plan,
    a_tray,
    mc,
    ms,
    surface_probe,
    uncertain,
)

COLD = {"n1": 20.0, "n2": 20.0}


def warm(**changes):
    return Bench(a_plan(a_mat(programme=(StepPlan(mc(29)),), **changes)))


def came(kind, subject="", **numbers):
    return AlarmChange(kind, subject, AlarmTurn.RAISED, tuple(numbers.items()))


def gone(kind, subject=""):
    return AlarmChange(kind, subject, AlarmTurn.CLEARED)


def news(bench):
    return bench.decisions.alarm_changes


def test_quiet_bench_has_no_alarms():
    bench = Bench().heating().run(600, **COLD)
    assert bench.alarms == set()
    assert news(bench) == ()


def test_alarm_comes_once_and_goes_once_and_is_known_in_between():
    bench = warm().heating(n1=29.9, n2=27.0)
    bench.scan(n1=30.0, n2=27.0)
    change = came(AlarmKind.ROOT_ZONE_WARM, "n1", temp_mc=30_000, limit_mc=30_000)
    assert news(bench) == (change,)
    assert bench.decisions.flush
    now_ms = ms(bench.now_s)
    known = Alarm(change.kind, "n1", now_ms, UTC_MS + now_ms, change.numbers)
    assert bench.state.alarms == (known,)
    for temp_c in (30.5, 31.0, 30.0):
        bench.scan(n1=temp_c, n2=27.0)
        assert (news(bench), bench.decisions.flush) == ((), False)
        assert bench.state.alarms == (known,), "as it came"
    bench.scan(n1=29.0, n2=27.0)
    assert news(bench) == (gone(AlarmKind.ROOT_ZONE_WARM, "n1"),)
    assert bench.decisions.flush
    assert bench.state.alarms == (replace(known, active=False),), "until it is seen"
    bench.scan(n1=29.0, n2=27.0)
    assert (news(bench), bench.decisions.flush) == ((), False)


def test_warm_root_zone_must_cool_half_a_kelvin_before_its_alarm_ends():
    bench = warm().scan(n1=29.5, n2=28.0)
    assert bench.alarms == set()
    warm_alarm = {(AlarmKind.ROOT_ZONE_WARM, "n1")}
    assert bench.scan(n1=30.0, n2=28.0).alarms == warm_alarm
    assert bench.scan(n1=29.5, n2=28.0).alarms == warm_alarm
    assert bench.scan(n1=29.499, n2=28.0).alarms == set()
    assert bench.scan(n1=29.999, n2=28.0).alarms == set()


def test_every_warm_probe_has_its_own_alarm():
    bench = warm(surface=surface_probe()).scan(n1=30.0, n2=30.2, s1=35.0)
    warm_ones = {(AlarmKind.ROOT_ZONE_WARM, n) for n in ("n1", "n2")}
    assert bench.alarms == warm_ones, "a surface is meant to be warm"
    bench.scan(n1=29.0, n2=30.2, s1=35.0)
    assert bench.alarms == {(AlarmKind.ROOT_ZONE_WARM, "n2")}


def test_warm_probe_that_falls_silent_is_not_taken_to_have_cooled():
    bench = warm().scan(n1=30.5, n2=28.0).run(600, n2=28.0)
    assert (AlarmKind.ROOT_ZONE_WARM, "n1") in bench.alarms


def test_alarms_are_kept_in_the_order_in_which_they_came():
    bench = warm().scan(n1=28.0, n2=30.5).scan(n1=30.5, n2=30.5)
    assert [alarm.subject for alarm in bench.state.alarms] == ["n2", "n1"]
    bench.log = LogHealth.FAILED
    bench.scan(n1=30.5, n2=29.0)
    assert news(bench) == (
        gone(AlarmKind.ROOT_ZONE_WARM, "n2"),
        came(AlarmKind.LOG_FAILED),
    )
    assert [(a.kind, a.subject, a.active) for a in bench.state.alarms] == [
        (AlarmKind.ROOT_ZONE_WARM, "n2", False),
        (AlarmKind.ROOT_ZONE_WARM, "n1", True),
        (AlarmKind.LOG_FAILED, "", True),
    ]


# ------------------------------------------------------------- lost, implausible


def test_probe_that_falls_silent_is_lost_after_its_stale_time():
    bench = Bench().heating(n1=20.5).run(120, n1=20.5)
    assert bench.alarms == set()
    bench.scan(n1=20.5)
    assert news(bench) == (came(AlarmKind.PROBE_LOST, "n2", silent_ms=125_000),)
    bench.scan(**COLD)
    assert news(bench) == (gone(AlarmKind.PROBE_LOST, "n2"),)


def test_probe_that_never_spoke_is_lost_after_its_stale_time_from_the_start():
    bench = Bench(now_s=1_000).run(120, n1=20.0)
    assert bench.alarms == set()
    bench.scan(n1=20.0)
    assert news(bench) == (came(AlarmKind.PROBE_LOST, "n2", silent_ms=125_000),)


def test_probe_that_speaks_without_sense_is_implausible_after_two_turns():
    bench = Bench().heating(n1=20.5).run(55, n1=20.5, n2=85.0)
    assert bench.alarms == set()
    bench.scan(n1=20.5, n2=85.0)
    assert news(bench) == (came(AlarmKind.PROBE_IMPLAUSIBLE, "n2", silent_ms=60_000),)
    bench.run(600, n1=20.5, n2=BROKEN)
    assert bench.alarms == {(AlarmKind.PROBE_IMPLAUSIBLE, "n2")}
    bench.scan(n1=20.5, n2=20.0)
    assert news(bench) == (gone(AlarmKind.PROBE_IMPLAUSIBLE, "n2"),)


def test_implausible_probe_that_falls_silent_is_lost():
    bench = Bench().heating(n1=20.5).run(60, n1=20.5, n2=85.0).run(120, n1=20.5)
    assert bench.alarms == {(AlarmKind.PROBE_IMPLAUSIBLE, "n2")}
    bench.scan(n1=20.5)
    assert news(bench) == (
        gone(AlarmKind.PROBE_IMPLAUSIBLE, "n2"),
        came(AlarmKind.PROBE_LOST, "n2", silent_ms=185_000),
    )


def test_probe_that_is_only_uncertain_is_not_implausible_but_lost_in_time():
    bench = Bench().heating(n1=20.5).run(120, n1=20.5, n2=uncertain(20.0))
    assert bench.alarms == set()
    bench.scan(n1=20.5, n2=uncertain(20.0))
    assert bench.alarms == {(AlarmKind.PROBE_LOST, "n2")}


def test_single_implausible_reading_rings_nothing():
    bench = Bench().heating(n1=20.5).scan(n1=20.5, n2=85.0).scan(**COLD)
    assert bench.run(60, **COLD).alarms == set()


@pytest.mark.parametrize("place", ["surface", "free tray", "room", "witness"])
def test_every_probe_of_the_bench_is_missed(place):
    mat, changes = a_mat(), {}
    if place == "surface":
        mat = a_mat(surface=surface_probe("x"))
    elif place == "free tray":
        changes = {"trays": (a_tray("shelf", "x"),)}
    elif place == "room":
        changes = {"room": (ProbePlan(name="x"),)}
    else:
        probe = ProbePlan(name="x", quantity=Quantity.HUMIDITY)
        changes = {"witnesses": (probe,)}
    bench = Bench(a_plan(mat, **changes)).run(120, **COLD)
    assert bench.alarms == set()
    assert bench.scan(**COLD).alarms == {(AlarmKind.PROBE_LOST, "x")}
    assert bench.on, "it drives nothing"
    assert bench.scan(**COLD, x=20.0).alarms == set()


# ------------------------------------------------------------------ the bench


def test_failing_log_rings():
    bench = Bench().heating()
    bench.log = LogHealth.FAILED
    assert news(bench.scan(**COLD)) == (came(AlarmKind.LOG_FAILED),)
    assert news(bench.scan(**COLD)) == ()
    bench.log = LogHealth.OK
    bench.run(300, **COLD)
    assert bench.alarms == {(AlarmKind.LOG_FAILED, "")}, "a full disk comes and goes"
    assert news(bench.scan(**COLD)) == (gone(AlarmKind.LOG_FAILED),)


@pytest.mark.parametrize("kind", [RelayKind.LEASE, RelayKind.PLAIN])
def test_link_that_is_down_for_longer_than_a_lease_rings(kind):
    bench = Bench(a_plan(a_mat(relay=kind))).heating()
    bench.link_up = False
    bench.run(15, **COLD)
    assert bench.alarms == set()
    bench.scan(**COLD)
    assert news(bench) == (came(AlarmKind.LINK_DOWN, down_ms=20_000),)
    bench.link_up = True
    assert news(bench.scan(**COLD)) == (gone(AlarmKind.LINK_DOWN),)


@pytest.mark.parametrize("kind", [RelayKind.PIN, None])
def test_link_that_no_relay_needs_rings_nothing(kind):
    bench = Bench(a_plan(a_mat(relay=kind))).scan(**COLD)
    bench.link_up = False
    assert bench.run(600, **COLD).alarms == set()


def test_link_rings_where_one_of_several_relays_needs_it():
    pin = a_mat("south", relay=RelayKind.PIN, trays=(a_tray("S1", "m1"),))
    bench = Bench(a_plan(pin, a_mat())).scan(**COLD, m1=20.0)
    bench.link_up = False
    bench.run(20, **COLD, m1=20.0)
    assert bench.alarms == {(AlarmKind.LINK_DOWN, "")}


# ------------------------------------------------------------------- the mats


def test_limit_then_trip_then_reset_ring_one_after_the_other():
    bench = warm().heating(n1=29.0, n2=28.0)
    bench.scan(n1=33.0, n2=28.0)
    assert news(bench) == (
        came(AlarmKind.OVER_LIMIT, "north", temp_mc=33_000, limit_mc=33_000),
        came(AlarmKind.ROOT_ZONE_WARM, "n1", temp_mc=33_000, limit_mc=30_000),
    )
    bench.scan(n1=33.5, n2=28.0)
    over = AlarmChange(AlarmKind.OVER_LIMIT, "north", AlarmTurn.SUPPRESSED)
    assert news(bench) == (
        came(AlarmKind.TRIP, "north", temp_mc=33_500, limit_mc=33_000),
        over,
    )
    bench.scan(n1=29.6, n2=28.0)
    assert news(bench) == ()
    bench.scan(n1=28.0, n2=28.0, ask=[Reset("north")])
    assert news(bench) == (
        gone(AlarmKind.ROOT_ZONE_WARM, "n1"),
        gone(AlarmKind.TRIP, "north"),
    )


def test_mat_without_a_driving_reading_rings():
    bench = Bench(a_plan(a_mat(trays=(a_tray("N1", "n1"),)))).scan(n1=20.0)
    bench.scan(n1=BROKEN)
    assert news(bench) == (came(AlarmKind.NO_DRIVING_READING, "north"),)
    bench.scan(n1=20.0)
    assert news(bench) == (gone(AlarmKind.NO_DRIVING_READING, "north"),)


def test_waiting_for_the_first_readings_rings_nothing():
    assert Bench().run(120).alarms == set()


# ------------------------------------------------- acknowledged, shelved, explained

N2_LOST = (AlarmKind.PROBE_LOST, "n2")


def lost():
    """A bench of which one probe has fallen silent."""
    bench = Bench().heating(n1=20.5).run(125, n1=20.5)
    assert bench.alarms == {N2_LOST}
    return bench


def alarm_of(bench, kind=AlarmKind.PROBE_LOST):
    (found,) = (alarm for alarm in bench.state.alarms if alarm.kind is kind)
    return found


def turns(bench):
    return [(change.turn, change.who) for change in news(bench)]


def test_acknowledged_alarm_rings_no_more_and_is_forgotten_when_it_is_over():
    bench = lost()
    assert alarm_of(bench).rings
    bench.scan(n1=20.5, ask=[Acknowledge("probe-lost", "n2")])
    assert turns(bench) == [(AlarmTurn.ACKNOWLEDGED, "Ada")]
    assert bench.decisions.answers[0].accepted
    assert "acknowledged" in bench.decisions.answers[0].sentence
    assert not alarm_of(bench).rings
    bench.scan(**COLD)
    assert news(bench) == (gone(*N2_LOST),)
    assert bench.state.alarms == ()


def test_alarm_that_is_over_stays_until_a_person_has_seen_it():
    bench = lost().scan(**COLD).run(600, **COLD)
    assert (alarm_of(bench).active, alarm_of(bench).rings) == (False, False)
    bench.scan(**COLD, ask=[Acknowledge("probe-lost", "n2")])
    assert turns(bench) == [(AlarmTurn.ACKNOWLEDGED, "Ada")]
    assert bench.state.alarms == ()


def test_alarm_that_comes_again_must_be_seen_again():
    bench = lost().scan(n1=20.5, ask=[Acknowledge("probe-lost", "n2")])
    bench.scan(**COLD).run(125, n1=20.5)
    assert alarm_of(bench).rings
    bench = lost().scan(**COLD)
    since_ms = alarm_of(bench).since_ms
    bench.run(130, n1=20.5)
    assert alarm_of(bench).rings
    assert alarm_of(bench).since_ms > since_ms, "when it was last raised"


def test_acknowledging_twice_is_no_news_but_no_error_either():
    ask = [Acknowledge("probe-lost", "n2")]
    bench = lost().scan(n1=20.5, ask=ask).scan(n1=20.5, ask=ask)
    assert news(bench) == ()
    assert bench.decisions.answers[0].accepted


@pytest.mark.parametrize(
    "wish",
    [
        Acknowledge("probe-lost", "n9"),
        Acknowledge("nonsense", "n2"),
        Shelve("trip", "n2", ms(60)),
    ],
)
def test_alarm_that_is_not_known_cannot_be_dealt_with(wish):
    bench = lost()
    before = bench.state.alarms
    bench.scan(n1=20.5, ask=[wish])
    assert not bench.decisions.answers[0].accepted
    assert wish.alarm in bench.decisions.answers[0].sentence
    assert bench.state.alarms == before


def test_shelved_alarm_is_silent_until_its_time_is_over():
    bench = lost().scan(n1=20.5, ask=[Shelve("probe-lost", "n2", ms(60))])
    assert turns(bench) == [(AlarmTurn.SHELVED, "Ada")]
    assert "silent for 1 min" in bench.decisions.answers[0].sentence
    assert not alarm_of(bench).rings
    bench.run(55, n1=20.5)
    assert not alarm_of(bench).rings
    bench.scan(n1=20.5)
    assert turns(bench) == [(AlarmTurn.UNSHELVED, "")]
    assert alarm_of(bench).rings


def test_shelving_for_no_time_lets_it_ring_again():
    bench = lost().scan(n1=20.5, ask=[Shelve("probe-lost", "n2", ms(60))])
    bench.scan(n1=20.5, ask=[Shelve("probe-lost", "n2", ms(0))])
    assert turns(bench) == [(AlarmTurn.UNSHELVED, "Ada")]
    assert "silent no more" in bench.decisions.answers[0].sentence
    assert alarm_of(bench).rings


def test_shelved_alarm_stays_shelved_when_it_comes_and_goes():
    bench = lost().scan(n1=20.5, ask=[Shelve("probe-lost", "n2", ms(3_600))])
    bench.scan(n1=20.5, ask=[Acknowledge("probe-lost", "n2")]).scan(**COLD)
    assert not alarm_of(bench).active, "not forgotten while it is shelved"
    bench.run(125, n1=20.5)
    assert alarm_of(bench).active
    assert not alarm_of(bench).rings


@pytest.mark.parametrize("for_s", [-1, 7 * 24 * 3_600 + 1])
def test_shelf_has_its_bounds(for_s):
    bench = lost().scan(n1=20.5, ask=[Shelve("probe-lost", "n2", ms(for_s))])
    answer = bench.decisions.answers[0]
    assert (answer.accepted, answer.sentence) == (
        False,
        "silence lasts from 0 to 168 hours",
    )
    assert alarm_of(bench).rings


def test_longest_shelf_is_granted():
    week = ms(7 * 24 * 3_600)
    bench = lost().scan(n1=20.5, ask=[Shelve("probe-lost", "n2", week)])
    assert bench.decisions.answers[0].accepted
    assert alarm_of(bench).shelved_until_ms == ms(bench.now_s) + week


def test_answers_name_the_alarm_and_whose_it_is():
    bench = lost()
    asked = [
        (Acknowledge("probe-lost", "n2"), "probe-lost of n2 is acknowledged"),
        (Shelve("probe-lost", "n2", ms(90)), "probe-lost of n2 is silent for 2 min"),
        (Shelve("probe-lost", "n2", ms(0)), "probe-lost of n2 is silent no more"),
        (Acknowledge("trip", "n2"), "there is no alarm trip of n2"),
        (Acknowledge("link-down", ""), "there is no alarm link-down"),
    ]
    bench.scan(n1=20.5, ask=[wish for wish, _ in asked])
    answers = bench.decisions.answers
    assert [answer.sentence for answer in answers] == [words for _, words in asked]
    assert [answer.request_id for answer in answers] == [1, 2, 3, 4, 5]
    assert [answer.accepted for answer in answers] == [True, True, True, False, False]
    assert news(bench) == (
        AlarmChange(*N2_LOST, AlarmTurn.ACKNOWLEDGED, who="Ada"),
        AlarmChange(*N2_LOST, AlarmTurn.SHELVED, who="Ada"),
        AlarmChange(*N2_LOST, AlarmTurn.UNSHELVED, who="Ada"),
    )


def test_of_two_alarms_only_the_one_that_is_named_is_dealt_with():
    bench = Bench().heating().run(130)
    assert {alarm.subject for alarm in bench.state.alarms} >= {"n1", "n2"}
    before = {alarm.subject: alarm for alarm in bench.state.alarms}
    bench.scan(ask=[Acknowledge("probe-lost", "n2")])
    after = {alarm.subject: alarm for alarm in bench.state.alarms}
    assert after.pop("n2") == replace(before.pop("n2"), acknowledged=True)
    assert after == before


def test_alarm_of_the_whole_bench_has_no_subject():
    bench = Bench().heating()
    bench.link_up = False
    bench.run(20, **COLD)
    bench.scan(**COLD, ask=[Acknowledge("link-down", "")])
    assert bench.decisions.answers[0].sentence == "link-down is acknowledged"


def test_time_on_the_shelf_that_is_over_is_told_of_the_alarm():
    bench = lost().scan(n1=20.5, ask=[Shelve("probe-lost", "n2", ms(5))])
    bench.scan(n1=20.5)
    assert news(bench) == (AlarmChange(*N2_LOST, AlarmTurn.UNSHELVED),)


def test_alarm_that_comes_again_has_its_numbers_of_now():
    bench = lost().scan(**COLD).run(120, n1=20.5).scan(n1=20.5)
    assert news(bench) == (came(*N2_LOST, silent_ms=125_000),)
    assert alarm_of(bench).numbers == (("silent_ms", 125_000),)


def test_alarm_that_is_over_keeps_nothing_of_how_it_was():
    bench = warm(surface=surface_probe()).heating(n1=29.0, n2=28.0, s1=41.0)
    bench.scan(n1=29.0, n2=28.0, s1=42.5)
    bench.run(2_000, n1=29.0, n2=28.0, s1=41.0)
    over = alarm_of(bench, AlarmKind.OVER_LIMIT)
    assert (over.active, over.over_ms) == (False, None)
    bench = Bench().heating()
    bench.link_up = False
    bench.run(150)
    assert alarm_of_subject(bench, "n1").suppressed
    bench.scan(**COLD)
    over = alarm_of_subject(bench, "n1")
    assert (over.active, over.suppressed) == (False, False)


def alarm_of_subject(bench, subject):
    (found,) = (alarm for alarm in bench.state.alarms if alarm.subject == subject)
    return found


def test_lost_probes_are_explained_by_a_lost_link():
    bench = Bench().heating()
    bench.link_up = False
    bench.run(20, **COLD)
    assert bench.alarms == {(AlarmKind.LINK_DOWN, "")}
    bench.run(125)
    lost_one = next(a for a in bench.state.alarms if a.subject == "n1")
    assert (lost_one.active, lost_one.suppressed, lost_one.rings) == (True, True, False)
    bench.link_up = True
    bench.scan()
    assert AlarmChange(AlarmKind.PROBE_LOST, "n1", AlarmTurn.UNSUPPRESSED) in news(
        bench
    )
    lost_one = next(a for a in bench.state.alarms if a.subject == "n1")
    assert lost_one.rings


def test_limit_alarm_that_flickers_rings_once():
    bench = warm(surface=surface_probe()).heating(n1=29.0, n2=28.0, s1=41.0)
    rung = 0
    for n in range(40):
        bench.scan(n1=29.0, n2=28.0, s1=42.0 + 0.1 * (n % 2) - 0.05)
        rung += sum(c.turn is AlarmTurn.RAISED for c in news(bench))
    assert rung == 1
    bench.run(1_800, n1=29.0, n2=28.0, s1=41.0)
    assert bench.alarms == {(AlarmKind.OVER_LIMIT, "north")}
    bench.scan(n1=29.0, n2=28.0, s1=41.0)
    assert bench.alarms == set()


@pytest.mark.parametrize(
    "ask", [[Hold("north", ms(600))], [SetEnabled("north", False)], []]
)
def test_hot_surface_rings_whatever_else_keeps_the_mat_off(ask):
    bench = warm(surface=surface_probe())
    bench.scan(n1=29.0, n2=28.0, s1=41.0, ask=ask)
    bench.scan(n1=29.0, n2=28.0, s1=42.5)
    assert bench.alarms == {(AlarmKind.OVER_LIMIT, "north")}
    assert not bench.on


def test_every_kind_of_alarm_has_its_rule():
    assert set(RULES) == set(AlarmKind)
    for rule in RULES.values():
        for kind in rule.explained_by:
            assert RULES[kind].priority >= Priority.MEDIUM
    hot = {AlarmKind.TRIP, AlarmKind.HEAT_FROM_ABOVE, AlarmKind.RELAY_DISAGREES}
    assert {RULES[kind].priority for kind in hot} == {Priority.HIGH}


# ------------------------------------------------------------- a log set aside


def test_log_that_was_set_aside_rings_until_somebody_acknowledges_it():
    bench = warm()
    bench.state = replace(bench.state, log_set_aside=True)
    assert news(bench.scan(**COLD)) == (came(AlarmKind.LOG_SET_ASIDE),)
    assert bench.scan(**COLD).alarms == {(AlarmKind.LOG_SET_ASIDE, "")}
    before = bench.state
    resumed = resumed_state(bench.plan, before, before.run_ms, outage_known=True)
    assert resumed.log_set_aside, "a restart is no acknowledgement"
    bench.scan(**COLD, ask=[Shelve("log-set-aside", "", ms(60))])
    assert bench.state.log_set_aside
    bench.scan(**COLD, ask=[Acknowledge("log-set-aside", "")])
    assert not bench.state.log_set_aside
    assert bench.scan(**COLD).alarms == set()


def test_another_alarms_acknowledgement_says_nothing_of_the_log():
    bench = warm().scan(n1=30.5, n2=20.0)
    bench.state = replace(bench.state, log_set_aside=True)
    bench.scan(n1=30.5, n2=20.0)
    bench.scan(n1=30.5, n2=20.0, ask=[Acknowledge("root-zone-warm", "n1")])
    assert bench.state.log_set_aside
