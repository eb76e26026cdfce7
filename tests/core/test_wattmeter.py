"""What a wattmeter says: evidence that relay and mat do as they are told."""

from dataclasses import replace

import pytest

from controller.core.relays import heats_unasked, power_tells
from controller.core.scan import PowerReport
from controller.core.state import MatState, Mode, PowerState, RelayState
from tests.builders import Bench, a_mat, a_plan, ms

OFF_MS = ms(100)


def heard(*reports, bench=None):
    """Return what is known of the mat's power after these reports in one scan."""
    bench = bench or Bench(a_plan(a_mat(wattmeter=True))).heating()
    at_ms = ms(bench.now_s + 5)
    told = [
        PowerReport(mat, at_ms + ms(ago_s), round(watts * 1_000))
        for mat, watts, ago_s in reports
    ]
    return bench.scan(n1=20.0, n2=20.0, powers=told).mat.power


def test_report_after_one_of_another_mat_is_heard():
    assert heard(("other", 0, 0), ("north", 96, 0)).draws


@pytest.mark.parametrize(("watts", "draws"), [(19.999, False), (20.0, True)])
def test_fifth_of_the_mats_power_is_power(watts, draws):
    assert heard(("north", watts, 0)).draws is draws


@pytest.mark.parametrize(("lag_s", "strange"), [(5, False), (5.001, True)])
def test_report_must_be_younger_than_the_command_by_two_scans(lag_s, strange):
    """The mat was switched on five seconds before that scan."""
    power = heard(("north", 0, lag_s))
    assert (power.strange_ms is not None) is strange


def test_it_is_strange_since_the_first_report_that_contradicted():
    bench = Bench(a_plan(a_mat(wattmeter=True))).heating().run(30, n1=20.0, n2=20.0)
    first = heard(("north", 0, 0), bench=bench)
    assert first.strange_ms == first.at_ms == ms(bench.now_s)
    later = heard(("north", 0, 0), bench=bench)
    assert (later.strange_ms, later.at_ms) == (first.at_ms, ms(bench.now_s))
    assert heard(("north", 96, 0), bench=bench).strange_ms is None


@pytest.mark.parametrize(("ago_s", "tells"), [(120, True), (120.001, False)])
def test_it_tells_for_two_minutes(ago_s, tells):
    power = PowerState(at_ms=ms(500), draws=True, strange_ms=ms(0))
    assert power_tells(power, ms(500 + ago_s)) is tells
    assert not power_tells(replace(power, strange_ms=None), ms(500 + ago_s))


def a_mat_state(*, energised=False, **changes):
    relay = RelayState(energised, ms(0), disagrees_ms=changes.get("disagrees_ms"))
    return MatState(Mode.REGULATING, ms(0), relay, power=changes.get("power"))


def test_heat_is_unasked_only_where_none_is_asked_for():
    strange = PowerState(at_ms=ms(0), draws=True, strange_ms=ms(0))
    assert heats_unasked(a_mat_state(power=strange), OFF_MS)
    assert heats_unasked(a_mat_state(disagrees_ms=ms(0)), OFF_MS)
    assert not heats_unasked(a_mat_state(), OFF_MS)
    assert not heats_unasked(a_mat_state(energised=True), OFF_MS)
    assert not heats_unasked(a_mat_state(power=replace(strange, draws=False)), OFF_MS)
    assert not heats_unasked(a_mat_state(power=strange), ms(120.001))


@pytest.mark.parametrize(
    ("said", "unasked"), [(True, True), (False, False), (None, False)]
)
def test_relay_that_last_said_on_heats_unasked(said, unasked):
    known = a_mat_state()
    known = replace(known, relay=replace(known.relay, said=said))
    assert heats_unasked(known, OFF_MS) is unasked


def test_watched_mat_may_have_a_wattmeter_too():
    bench = Bench(a_plan(a_mat(relay=None, wattmeter=True)))
    assert heard(("north", 96, 0), bench=bench).draws
