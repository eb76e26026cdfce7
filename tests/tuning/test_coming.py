"""Days to come are drawn from whole days of the log, and go on from its end."""

from dataclasses import replace

import numpy as np
import pytest

from controller.core.plan import DrivenBy, OnOff
from controller.core.units import MilliK
from sim.tuning.coming import after, come, ends
from sim.tuning.days import whole_days
from sim.tuning.lift import LOSSES, at_lift
from sim.tuning.retold import UNSEEN_SWITCHING, retold
from sim.tuning.stretch import counted
from sim.tuning.worlds import World
from sim.whatif.engine import trace
from tests.tuning.mats import MODEL, a_record, a_span, at

DAYS = 6
PLAN = at(21.0, policy=OnOff(MilliK(500)), ramp_mk_per_h=None)


def silent(*_):
    """Say nothing."""


def a_world(push=0.0, days=DAYS, model=MODEL):
    span = a_span(days)
    return World(model, replace(span, push=span.push + push))


def halved(*names):
    """The model, of which some zones have a medium of two halves."""
    zones = [
        replace(zone, between_s=4_000.0) if zone.name in names else zone
        for zone in MODEL.zones
    ]
    return replace(MODEL, zones=tuple(zones))


def told_by(world, plan=PLAN):
    """The record that a log of this loop would give, without any noise."""
    went = trace(world.model, world.span, plan)
    record = a_record(went.temps_mc / 1000, room_c=world.span.room_c)
    return replace(record, on_share=went.on.astype(float))


def test_the_first_day_is_left_out_and_so_is_what_is_no_whole_day():
    record = a_record(np.full(5 * 1440 + 701, 20.0))
    assert whole_days(record, 0).tolist() == [1440, 2880, 4320, 5760]
    assert whole_days(record, 500).tolist() == [1940, 3380, 4820, 6260][:4]


def test_days_begin_at_the_minute_at_which_the_time_to_come_begins():
    record = a_record(np.full(6 * 1440 + 700, 20.0))
    coming = after(record, 2)
    assert coming.minutes[0] == 700
    assert len(coming.minutes) == 2 * 1440
    assert (record.local_minute[whole_days(record, 700)] == 700).all()


def test_a_log_of_too_few_days_is_refused():
    record = a_record(np.full(4 * 1440, 20.0))
    with pytest.raises(ValueError, match="3 whole days are in the log after its first"):
        whole_days(record, 0)


def test_a_time_that_is_not_in_whole_days_is_refused():
    record, world = a_record(np.full(DAYS * 1440, 20.0)), a_world()
    coming = replace(after(record, 1), minutes=after(record, 1).minutes[:-1])
    with pytest.raises(ValueError, match="whole days of 1440 steps"):
        come(record, [world], coming, PLAN, 1, silent)


@pytest.mark.parametrize("names", [(), ("N1",), ("N1", "N2")])
def test_it_goes_on_where_the_log_ends(names):
    def a_watered_world(days):
        world = a_world(push=1e-5, days=days, model=halved(*names))
        sudden = np.zeros(world.span.push.shape, np.bool_)
        sudden[DAYS * 1440 - 30] = True
        push = world.span.push - 0.02 * sudden
        return replace(world, span=replace(world.span, push=push, sudden=sudden))

    world = a_watered_world(DAYS)
    record, longer = told_by(world), told_by(a_watered_world(DAYS + 1))
    fell_k = np.diff(record.temps_c, axis=0)[DAYS * 1440 - 30]
    assert fell_k == pytest.approx(-0.02 * 60, abs=0.1)
    end_c = ends(record, world)
    assert end_c[:, 1] == pytest.approx(longer.temps_c[DAYS * 1440], abs=1e-3)


def test_days_that_are_all_alike_leave_nothing_open():
    world = a_world()
    record = told_by(world)
    coming = after(record, 3)
    found = come(record, [world, world], coming, PLAN, 1, silent)
    assert np.ptp(found.drawn, axis=0) == pytest.approx(0, abs=1e-9)
    assert found.again[0] == pytest.approx(found.drawn[:6])
    assert (found.days, found.taken) == (DAYS - 1, 3)


def test_days_that_differ_make_what_comes_differ_and_the_seed_tells_how():
    world = a_world()
    push = world.span.push + 4e-5 * (np.arange(DAYS * 1440) // 1440 % 2)[:, None]
    world = World(MODEL, replace(world.span, push=push))
    record = told_by(world)
    first, same, other = (
        come(record, [world], after(record, 2), PLAN, seed, silent).drawn
        for seed in (1, 1, 2)
    )
    assert np.array_equal(first, same)
    assert not np.array_equal(first, other)
    duty = first[:, 0]
    assert len(np.unique(duty.round(2))) >= 3  # none, one or two of the warm days
    assert not first[:, counted(PLAN).names.index("peak")].max() > 23


def test_a_push_that_goes_with_the_lift_is_found_and_shrunk():
    rng = np.random.default_rng(1)
    world = a_world()
    lift = rng.normal(0, 1.0, DAYS * 4).repeat(360)
    temps = 8 + lift + world.span.room_c
    slope = -0.1 / MODEL.zones[0].medium_s
    push = np.column_stack([slope * lift, 0 * lift])
    world = World(MODEL, replace(world.span, push=push))
    record = a_record(temps, room_c=world.span.room_c)
    plan = replace(PLAN, driven_by=DrivenBy.MEAN, driving_tray=None)
    days = whole_days(record, 0)
    mean = (temps - world.span.room_c)[1440:].mean()
    changed, error = at_lift(record, world, plan, days, mean - 2.0)
    # Nothing scatters around the line: all of the slope counts.
    assert changed[0] == pytest.approx(-2.0 * slope, rel=0.02)
    assert changed[1] == pytest.approx(0, abs=1e-12)
    assert error == pytest.approx(0, abs=2e-7)
    noisy = push + rng.normal(0, 1e-4, (DAYS * 4, 2)).repeat(360, axis=0)
    world = World(MODEL, replace(world.span, push=noisy))
    changed, error = at_lift(record, world, plan, days, mean - 2.0)
    most = 2.0 * LOSSES / np.array([zone.medium_s for zone in MODEL.zones])
    assert (error > 0.3 * most).all()
    assert (error < most).all()
    # What is behind another half loses less for each kelvin of the probe's lift.
    deep = World(halved("N2"), world.span)
    _, less = at_lift(record, deep, plan, days, mean - 2.0)
    assert less[0] == error[0]
    assert less[1] < 2.0 * LOSSES / (MODEL.zones[1].medium_s + 4_000.0) < most[1]


def test_a_log_that_the_model_made_is_told_again_without_fault():
    world = a_world(push=2e-5)
    record = told_by(world)
    days = whole_days(record, 0)
    off = retold(record, world, PLAN, PLAN, days)
    assert off == pytest.approx(0, abs=1e-9)
    other = at(21.0, policy=OnOff(MilliK(250)), ramp_mk_per_h=None)
    off = retold(record, world, PLAN, other, days)
    names = counted(PLAN).names
    assert off[names.index("switches")] == pytest.approx(UNSEEN_SWITCHING)


def test_a_log_that_switched_less_than_the_model_says_is_noticed():
    world = a_world(push=2e-5)
    wider = at(21.0, policy=OnOff(MilliK(1000)), ramp_mk_per_h=None)
    record = told_by(world, wider)
    off = retold(record, world, PLAN, PLAN, whole_days(record, 0))
    assert 0.2 < off[counted(PLAN).names.index("switches")] < 0.9
