"""What response guards, relays and wattmeters find strange is told, with numbers."""

from dataclasses import replace

import pytest

from controller.core.alarms import CONFIRMED_WITHIN_SCANS
from controller.core.decisions import AlarmKind
from controller.core.guard_state import Idle, Offset
from controller.core.offsets import STRANGE_FOR_MS
from controller.core.state import PowerState
from tests.builders import SCAN_S, Bench, a_mat, a_plan, a_tray, mc, ms

COLD = {"n1": 20.0, "n2": 20.0}


def told(bench, kind):
    """Return subject and numbers of the alarms of a kind."""
    found = (alarm for alarm in bench.state.alarms if alarm.kind is kind)
    return [(alarm.subject, alarm.numbers) for alarm in found]


def with_mat(bench, **changes):
    """Change what is known of the mat."""
    mats = {**bench.state.mats, "north": replace(bench.mat, **changes)}
    bench.state = replace(bench.state, mats=mats)
    return bench


def remembering(bench, **remembered):
    return with_mat(bench, guard=replace(bench.mat.guard, **remembered))


@pytest.mark.parametrize("warms", [True, False])
def test_stray_heat_is_told_with_what_it_warmed_from(warms):
    bench = Bench().heating()
    idle = Idle(ms(bench.now_s), mc(19.5), warms=warms)
    remembering(bench, idle=idle).scan(**COLD)
    expected = [("north", (("from_mc", 19_500),))] if warms else []
    assert told(bench, AlarmKind.HEAT_UNASKED) == expected


def test_strange_tray_is_told_by_its_first_probe_and_what_is_usual():
    trays = (a_tray("N1", "n1"), a_tray("N2", "n2", "n3"))
    bench = Bench(a_plan(a_mat(trays=trays))).heating(n1=20.0, n2=20.0, n3=20.0)
    since_ms = ms(bench.now_s + SCAN_S) - STRANGE_FOR_MS
    strange = Offset("N2", 312.4, 5, since_ms)
    remembering(bench, offsets=(Offset("N1", 0.0), strange)).scan(**COLD)
    assert told(bench, AlarmKind.PROBE_DISAGREES) == [("n2", (("usual_mk", 312),))]
    known = Offset("N2", 312.4, 5, since_ms + ms(SCAN_S) + 1)
    bench = remembering(Bench(bench.plan).heating(**COLD, n3=20.0), offsets=(known,))
    assert told(bench.scan(**COLD), AlarmKind.PROBE_DISAGREES) == []


# ------------------------------------------------------------------- relays


def reporting(*, said, on, scans=CONFIRMED_WITHIN_SCANS, **changes):
    """Return a bench this many scans after its relay was told, and what it said."""
    temps = COLD if on else {"n1": 22.0, "n2": 22.0}
    bench = Bench(a_plan(a_mat(reports=True, **changes))).scan(**temps)
    since_ms = ms(bench.now_s + SCAN_S) - scans * ms(SCAN_S)
    relay = replace(bench.relay, energised=on, since_ms=since_ms, said=said)
    return with_mat(bench, relay=relay).scan(**temps)


@pytest.mark.parametrize("said", [None, False])
def test_relay_that_does_not_confirm_is_silent_after_some_scans(said):
    bench = reporting(said=said, on=True)
    assert told(bench, AlarmKind.RELAY_SILENT) == []
    bench.scan(**COLD)
    lasting_ms = (CONFIRMED_WITHIN_SCANS + 1) * ms(SCAN_S)
    assert told(bench, AlarmKind.RELAY_SILENT) == [
        ("north", (("lasting_ms", lasting_ms),))
    ]
    assert told(bench, AlarmKind.RELAY_DISAGREES) == []


def test_relay_whose_last_word_was_on_disagrees_with_an_off():
    bench = reporting(said=True, on=False, scans=CONFIRMED_WITHIN_SCANS + 1)
    lasting_ms = (CONFIRMED_WITHIN_SCANS + 1) * ms(SCAN_S)
    assert told(bench, AlarmKind.RELAY_DISAGREES) == [
        ("north", (("lasting_ms", lasting_ms),))
    ]
    assert told(bench, AlarmKind.RELAY_SILENT) == []


@pytest.mark.parametrize(("said", "on"), [(True, True), (False, False), (None, False)])
def test_relay_that_agrees_is_no_news(said, on):
    bench = reporting(said=said, on=on, scans=CONFIRMED_WITHIN_SCANS + 1)
    kinds = {alarm.kind for alarm in bench.state.alarms}
    assert not kinds & {AlarmKind.RELAY_SILENT, AlarmKind.RELAY_DISAGREES}


@pytest.mark.parametrize(
    ("draws", "kind", "other"),
    [
        (True, AlarmKind.POWER_UNASKED, AlarmKind.MAT_DEAD),
        (False, AlarmKind.MAT_DEAD, AlarmKind.POWER_UNASKED),
    ],
)
def test_wattmeter_that_contradicts_is_told_by_what_it_says(draws, kind, other):
    bench = Bench(a_plan(a_mat(wattmeter=True))).heating()
    power = PowerState(ms(bench.now_s), draws, ms(bench.now_s))
    with_mat(bench, power=power).scan(**COLD)
    assert told(bench, kind) == [("north", ())]
    assert told(bench, other) == []


def test_probe_that_says_the_very_same_for_too_long_is_told_with_it():
    bench = Bench().heating()
    stuck_ms = bench.plan.mats[0].trays[0].probes[0].stuck_after_ms
    known = replace(bench.probe("n1"), same_since_ms=ms(bench.now_s) - stuck_ms)
    bench.state = replace(bench.state, probes={**bench.state.probes, "n1": known})
    bench.scan(n1=20.0, n2=20.5)
    assert told(bench, AlarmKind.PROBE_STUCK) == [("n1", (("temp_mc", 20_000),))]
    assert told(bench, AlarmKind.PROBE_IMPLAUSIBLE) == []
