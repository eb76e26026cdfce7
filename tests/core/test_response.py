"""Response guards: heat that is not felt, heat unasked, fast rises, budgets.

Temperatures come from a toy root zone: it gains and loses heat as one lump, so
that what a guard should say follows by hand. Figures are chosen for the tests.
"""

from dataclasses import dataclass, field, replace

import pytest

from controller.core.decisions import AlarmKind, Cause
from controller.core.guard_state import Uptake
from controller.core.offsets import strange_trays
from controller.core.plan import OnOff, Pid, ProbePlan, RelayKind
from controller.core.response import looked
from controller.core.root_zone import driving_temp, observe
from controller.core.scan import Hold, PowerReport, Reset, SetEnabled, SetSetpoint
from controller.core.state import Mode
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.uptake import Look, allowance_ms, frozen, lag_ms
from tests.builders import Bench, a_mat, a_plan, a_tray, mc, ms

HOUR_S = 3_600
SCAN_S = 30

NOT_FELT = (AlarmKind.HEAT_NOT_FELT, "north")
UNASKED = (AlarmKind.HEAT_UNASKED, "north")


@dataclass
class Lump:
    """A bench of one mat whose trays are one lump each.

    At full heat a tray would end 20 K above the room, with a time constant of
    four hours: it gains 5 K in the first hour, as trays of 60 mm do.
    """

    bench: Bench
    room_c: float = 11.0
    temps: dict[str, float] = field(default_factory=dict)
    heated: bool = True
    wiggle: int = 0
    hottest_c: float = 0.0

    def live(self, hours: float, *, says=None, on_mat=None, heats=None):
        """Scan for some hours; `says` changes what probes say of the truth."""
        for _ in range(round(hours * HOUR_S / SCAN_S)):
            on = self.bench.on if heats is None else heats
            for name, temp_c in self.temps.items():
                warm = on and self.heated and (on_mat is None or name in on_mat)
                end_c = self.room_c + (20.0 if warm else 0.0)
                self.temps[name] = temp_c + (end_c - temp_c) * SCAN_S / 4 / HOUR_S
            self.hottest_c = max(self.hottest_c, *self.temps.values())
            self.wiggle = 1 - self.wiggle
            # A probe shows a step of its own now and then, as real ones do.
            told = {n: t + 0.06 * self.wiggle for n, t in self.temps.items()}
            if any(p.name == "room" for p in self.bench.plan.room):
                told["room"] = self.room_c
            self.bench.scan(after_s=SCAN_S, **(says(told) if says else told))
        return self


def a_lump(*, room=False, start_c=20.0, mat=None, room_c=11.0, **changes):
    mat = mat or a_mat(**{"trays": (a_tray("N1", "n1"),), **changes})
    room_probes = (ProbePlan(name="room"),) if room else ()
    plan = a_plan(mat, room=room_probes, scan_ms=ms(SCAN_S))
    names = [probe.name for tray in mat.trays for probe in tray.probes]
    lump = Lump(Bench(plan), room_c, dict.fromkeys(names, start_c))
    lump.bench.scan(after_s=SCAN_S, **lump.temps, **({"room": room_c} if room else {}))
    return lump


def hangs_in_the_room(lump, above_k=0.5):
    return lambda told: {**told, "n1": lump.room_c + above_k + 0.06 * lump.wiggle}


# ------------------------------------------------------------- heat not felt


def test_allowance_is_the_heat_that_warms_the_medium_by_it():
    """2.5 MJ/m³K x 0.06 m x 1.2 m x 0.53 m x 4 K at 100 W: 3816 s, by hand."""
    assert allowance_ms(a_mat()) == 3_816_000
    shallow = a_mat(trays=(a_tray("N1", "n1", depth_mm=30), a_tray("N2", depth_mm=90)))
    assert allowance_ms(shallow) == 1_908_000, "trays with a probe count"
    assert allowance_ms(a_mat(trays=())) == 24 * HOUR_MS


def test_heat_takes_its_time_to_a_probe_far_above_the_mat():
    """110 mm at 0.13 mm²/s: 110²/0.26 s are 12.9 h, by hand."""
    probe = ProbePlan(name="n1", depth_mm=40)
    deep = a_mat(trays=(replace(a_tray("N1", depth_mm=150), probes=(probe,)),))
    assert lag_ms(deep) == pytest.approx(46_538_000, abs=1_000)
    assert lag_ms(a_mat()) == pytest.approx(30**2 / 0.26 * 1_000, abs=1), "halfway"
    assert lag_ms(a_mat(trays=())) == 0


@pytest.mark.parametrize("room", [True, False])
@pytest.mark.parametrize("policy", [OnOff(), Pid()])
def test_bench_that_is_held_is_never_asked(room, policy):
    lump = a_lump(room=room, start_c=11.0, policy=policy).live(72)
    assert lump.bench.mode is Mode.REGULATING
    assert lump.bench.alarms == set()


@pytest.mark.parametrize("room", [True, False])
def test_probe_that_slips_into_the_room_trips_the_mat(room):
    lump = a_lump(room=room).live(24)
    lump.hottest_c = 0.0
    lump.live(4, says=hangs_in_the_room(lump))
    assert lump.bench.mode is Mode.TRIPPED
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.bench.alarms == {NOT_FELT}
    trip = lump.bench.mat.trip
    assert (trip.cause, trip.probe) == (Cause.HEAT_NOT_FELT, "n1")
    assert trip.temp_mc < trip.limit_mc
    assert lump.hottest_c < 21 + 5, "the heat that is allowed, and what is on its way"


def test_trip_for_heat_not_felt_stays_until_it_is_reset_by_hand():
    lump = a_lump().live(24)
    lump.live(4, says=hangs_in_the_room(lump)).live(2)
    assert lump.bench.mode is Mode.TRIPPED, "though the probe is back"
    lump.bench.scan(**lump.temps, ask=[Reset("north")])
    assert lump.bench.decisions.answers[0].accepted
    lump.live(12)
    assert lump.bench.mode is Mode.REGULATING
    assert lump.bench.alarms == set()


def test_probe_that_was_never_put_in_trips_the_mat():
    lump = a_lump(start_c=15.0, room_c=15.0)
    lump.live(3, says=hangs_in_the_room(lump, 0.0))
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.hottest_c < 15 + 6


def test_room_that_warms_a_hanging_probe_does_not_excuse_it():
    lump = a_lump(room=True).live(24)
    for _ in range(40):
        lump.room_c += 0.1  # 1 K an hour, as on a bright morning
        lump.live(0.1, says=hangs_in_the_room(lump))
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.hottest_c < 28


@pytest.mark.parametrize("below_k", [0.3, 1.5])
@pytest.mark.parametrize("room", [True, False])
def test_probe_that_sticks_below_the_setpoint_trips_the_mat(room, below_k):
    lump = a_lump(room=room).live(24)
    lump.live(9, says=lambda told: {**told, "n1": 21.0 - below_k})
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.hottest_c < 30


def test_tray_that_is_lifted_off_trips_its_mat_while_another_warms():
    trays = (a_tray("N1", "n1"), a_tray("N2"))
    lump = a_lump(trays=trays, room=True)
    lump.temps["n2"] = 20.0
    only = lambda told: {k: v for k, v in told.items() if k != "n2"}  # noqa: E731
    lump.live(24, says=only)
    lump.live(4, says=only, on_mat={"n2"})
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.temps["n2"] < 27


@pytest.mark.parametrize("minutes", [5, 30])
def test_short_lift_is_no_fault(minutes):
    lump = a_lump().live(24)
    lump.live(minutes / 60, on_mat=set()).live(24)
    assert lump.bench.alarms == set()


def test_cold_watering_is_no_fault():
    lump = a_lump().live(24)
    lump.temps["n1"] -= 4.0
    lump.live(24)
    assert lump.bench.alarms == set()


@pytest.mark.parametrize("room", [True, False])
def test_mat_that_is_too_weak_for_a_cold_night_is_not_blamed(room):
    """At 0 °C full heat ends at 20 °C: the setpoint cannot be held."""
    lump = a_lump(room=room, daily_on_ms=24 * HOUR_MS).live(24)
    for _ in range(110):
        lump.room_c -= 0.1
        lump.live(0.1)
    lump.live(8)
    assert lump.bench.mat.trip is None
    assert lump.temps["n1"] < 20.5


def test_dead_mat_is_not_felt():
    lump = a_lump(room=True).live(24)
    lump.heated = False
    lump.live(4)
    assert lump.bench.cause is Cause.HEAT_NOT_FELT


@pytest.mark.parametrize("wish", [Hold("north", ms(3_600)), SetEnabled("north", False)])
def test_hands_on_the_bench_quiet_the_guard(wish):
    lump = a_lump().live(24).live(1, says=None)
    lump.bench.scan(after_s=SCAN_S, ask=[wish], **lump.temps)
    assert not lump.bench.on
    lump.live(0.9, says=hangs_in_the_room(lump))
    assert lump.bench.mat.guard.uptake is None
    assert lump.bench.mat.guard.climb is None
    assert lump.bench.mat.trip is None


def test_heat_given_is_not_forgotten_while_no_probe_speaks():
    lump = a_lump().live(24)
    lump.live(1, says=hangs_in_the_room(lump))
    lump.live(0.2, says=lambda _: {})
    assert lump.bench.cause is Cause.NO_DRIVING_READING
    given_ms = lump.bench.mat.guard.uptake.excess_ms
    assert given_ms > 10 * MINUTE_MS
    lump.live(2, says=lambda _: {})
    assert lump.bench.mat.guard.uptake.excess_ms == given_ms


def test_watched_mat_has_no_heat_to_feel():
    lump = a_lump(relay=None).live(4)
    guard = lump.bench.mat.guard
    assert (guard.uptake, guard.idle) == (None, None)


def test_probe_in_a_warm_room_that_touches_the_setpoint_is_found():
    """A room near the setpoint, and a reading that strays about it."""
    lump = a_lump(room=True, room_c=20.7, start_c=20.9).live(24)
    count = iter(range(10**6))
    strays = lambda told: {**told, "n1": 20.7 + 0.35 * (next(count) % 20 == 0)}  # noqa: E731
    lump.live(4, says=strays)
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.hottest_c < 31


def test_warm_room_is_no_cold_night_to_lose_to():
    """A probe that slips into air just below the setpoint sinks, and not fast."""
    lump = a_lump(room_c=20.65, start_c=20.9).live(24)
    lump.live(3, says=lambda told: {**told, "n1": 20.65 + 0.06 * lump.wiggle})
    assert lump.bench.mat.guard.uptake is None
    assert lump.bench.cause is Cause.HEAT_NOT_FELT
    assert lump.hottest_c < 28


# ------------------------------------------------------ heat that nobody asked


@pytest.mark.parametrize("room", [True, False])
def test_relay_that_sticks_on_is_told_before_the_limit(room):
    lump = a_lump(room=room).live(24)
    while lump.bench.on:
        lump.live(0.01)
    for _ in range(300):
        if UNASKED in lump.bench.alarms:
            break
        lump.live(0.02, heats=True)
    assert UNASKED in lump.bench.alarms
    assert not lump.bench.on
    assert lump.temps["n1"] < 25, "the tray limit"


def test_room_that_warms_by_itself_is_no_stray_heat():
    lump = a_lump(room=True).live(24)
    lump.bench.scan(after_s=SCAN_S, ask=[SetSetpoint("north", mc(8))], **lump.temps)
    lump.live(8)
    lump.room_c = 25.0
    lump.live(12)
    assert UNASKED not in lump.bench.alarms


def test_slow_warming_without_a_room_probe_is_no_stray_heat():
    lump = a_lump().live(24)
    lump.bench.scan(after_s=SCAN_S, ask=[SetSetpoint("north", mc(8))], **lump.temps)
    lump.live(16)
    for _ in range(60):
        lump.room_c += 0.1
        lump.live(0.1)
    assert UNASKED not in lump.bench.alarms


def test_stray_heat_is_over_when_the_mat_is_asked_to_heat_again():
    lump = a_lump().live(24)
    while lump.bench.on:
        lump.live(0.01)
    lump.live(3, heats=True)
    assert UNASKED in lump.bench.alarms
    lump.live(6)
    assert UNASKED not in lump.bench.alarms


# ------------------------------------------------------------- rises too fast


def test_probe_that_lands_on_the_mat_holds_heat_back_for_a_while():
    lump = a_lump(tray_limit_mk=10_000).live(24)
    lump.live(0.05, says=lambda told: {**told, "n1": 22.5})
    lump.live(0.05, says=lambda told: {**told, "n1": 24.3})
    assert lump.bench.cause is Cause.RISES_TOO_FAST
    assert (AlarmKind.RISES_TOO_FAST, "north") in lump.bench.alarms
    numbers = lump.bench.numbers
    assert numbers["limit_mk"] == 3_000
    lump.live(0.5)
    assert lump.bench.cause is not Cause.RISES_TOO_FAST


def test_tray_put_back_warm_to_its_setpoint_is_no_fast_rise():
    lump = a_lump().live(24)
    lump.live(0.2, says=hangs_in_the_room(lump))
    lump.live(0.2)
    assert lump.bench.cause is not Cause.RISES_TOO_FAST
    assert lump.bench.alarms == set()


# --------------------------------------------------------------- disagreement


def two_trays(**changes):
    return a_lump(trays=(a_tray("N1", "n1"), a_tray("N2", "n2")), **changes)


def test_tray_that_differs_as_it_always_did_is_no_news():
    lump = two_trays().live(72, says=lambda told: {**told, "n2": told["n2"] + 2.5})
    assert lump.bench.alarms == set()
    usual = {o.tray: o.usual_mk for o in lump.bench.mat.guard.offsets}
    assert usual == {
        "N1": pytest.approx(-2_500, abs=80),
        "N2": pytest.approx(2_500, abs=80),
    }


def test_tray_that_differs_anew_for_three_hours_is_told_and_not_learned():
    lump = two_trays(tray_limit_mk=10_000).live(48)
    lump.live(2.9, says=lambda told: {**told, "n2": told["n2"] + 4.5})
    assert lump.bench.alarms == set()
    lump.live(0.3, says=lambda told: {**told, "n2": told["n2"] + 4.5})
    assert (AlarmKind.PROBE_DISAGREES, "n2") in lump.bench.alarms
    usual = {o.tray: o.usual_mk for o in lump.bench.mat.guard.offsets}
    assert abs(usual["N2"]) < 100
    lump.live(0.5)
    assert (AlarmKind.PROBE_DISAGREES, "n2") not in lump.bench.alarms


def test_tray_halfway_to_strange_is_neither_told_nor_learned():
    lump = two_trays().live(48)
    before = lump.bench.mat.guard.offsets
    lump.live(12, says=lambda told: {**told, "n2": told["n2"] + 2.5})
    assert lump.bench.mat.guard.offsets == before
    assert lump.bench.alarms == set()


def test_tray_whose_probe_is_silent_or_that_is_alone_is_not_compared():
    lump = two_trays(tray_limit_mk=10_000).live(48)
    lump.live(0.9, says=lambda told: {**told, "n2": told["n2"] + 4.5})
    lump.live(0.3, says=lambda told: {"n1": told["n1"]})
    guard = lump.bench.mat.guard
    assert [o.strange_ms for o in guard.offsets] == [None, None]
    assert list(strange_trays(guard, ms(10**6))) == []


# ---------------------------------------------------------------- energy budget


def test_mat_that_was_on_for_too_long_rests_and_goes_on():
    lump = a_lump(longest_on_ms=2 * HOUR_MS, start_c=11.0)
    lump.room_c = 5.0
    lump.live(2.1)
    assert lump.bench.cause is Cause.HEATED_TOO_LONG
    assert (AlarmKind.HEATED_TOO_LONG, "north") in lump.bench.alarms
    assert lump.bench.numbers["longest_ms"] == 2 * HOUR_MS
    assert 0 < lump.bench.numbers["left_ms"] <= HOUR_MS
    lump.live(1.1)
    assert lump.bench.on


def test_day_has_only_so_much_heat():
    lump = a_lump(daily_on_ms=6 * HOUR_MS, start_c=20.0, room=True)
    lump.room_c = 2.0
    lump.live(7)
    assert lump.bench.cause is Cause.DAILY_HEAT_SPENT
    assert (AlarmKind.DAILY_HEAT_SPENT, "north") in lump.bench.alarms
    on_ms = lump.bench.relay.on_ms
    assert 6 * HOUR_MS <= on_ms <= 6 * HOUR_MS + 2 * MINUTE_MS
    lump.live(16)
    assert lump.bench.relay.on_ms == on_ms, "nothing more on this day"
    lump.live(3.5)
    assert lump.bench.relay.on_ms > on_ms or lump.bench.on


# ------------------------------------------------------------------ wattmeter


def powered(bench, watts, *, ago_s=0.0):
    """Scan with a report of a wattmeter."""
    at_ms = ms(bench.now_s + 5 - ago_s)
    scan_with = PowerReport("north", at_ms, round(watts * 1000))
    return bench.scan(n1=20.0, n2=20.0, powers=[scan_with])


def test_mat_that_draws_nothing_is_told_in_seconds():
    bench = Bench(a_plan(a_mat(wattmeter=True))).heating()
    powered(bench, 0)
    assert bench.alarms == set(), "the report may be older than the command"
    for _ in range(3):
        powered(bench, 0)
    assert bench.alarms == {(AlarmKind.MAT_DEAD, "north")}
    assert bench.on, "evidence only"
    powered(bench, 95)
    bench.run(305)
    assert (AlarmKind.MAT_DEAD, "north") not in bench.alarms


def test_mat_that_draws_power_unasked_is_told_in_seconds():
    bench = Bench(a_plan(a_mat(wattmeter=True)))
    bench.scan(n1=25.0, n2=25.0)
    for _ in range(4):
        at_ms = ms(bench.now_s + 5)
        report = PowerReport("north", at_ms, 96_000)
        bench.scan(n1=24.0, n2=24.0, powers=[report])
    assert (AlarmKind.POWER_UNASKED, "north") in bench.alarms
    assert not bench.on
    bench.run(125, n1=24.0, n2=24.0)
    assert bench.mat.power.strange_ms is not None
    bench.run(310, n1=24.0, n2=24.0)
    assert (AlarmKind.POWER_UNASKED, "north") not in bench.alarms, "long ago"


def test_wattmeter_of_another_mat_tells_nothing():
    bench = Bench().heating()
    for _ in range(4):
        report = PowerReport("other", ms(bench.now_s + 5), 0)
        bench.scan(n1=20.0, n2=20.0, powers=[report])
    assert bench.mat.power is None


def test_power_that_comes_from_a_mat_told_to_be_off_rules_out_the_sun():
    bench = Bench(a_plan(a_mat(wattmeter=True, relay=RelayKind.LEASE)))
    bench.scan(n1=24.0, n2=24.0).run(4_000, n1=24.0, n2=24.0)
    for temp_c in (24.5, 24.8, 25.0, 25.2):
        report = PowerReport("north", ms(bench.now_s + 5), 96_000)
        bench.scan(n1=temp_c, n2=24.0, powers=[report])
    assert bench.cause is Cause.OVER_TRAY_LIMIT


# ------------------------------------------------------------ relay that is silent


def test_relay_that_never_confirms_is_told():
    bench = Bench(a_plan(a_mat(reports=True))).heating()
    bench.run(30, n1=20.0, n2=20.0)
    assert bench.alarms == set()
    bench.scan(n1=20.0, n2=20.0)
    assert bench.alarms == {(AlarmKind.RELAY_SILENT, "north")}


def test_relay_that_confirms_is_not_silent():
    bench = Bench(a_plan(a_mat(reports=True))).heating()
    bench.scan(n1=20.0, n2=20.0, reports=[bench.report(on=True)])
    assert bench.run(300, n1=20.0, n2=20.0).alarms == set()


def test_relay_that_last_said_on_and_is_told_off_is_told_of():
    """One that speaks only of changes has nothing to say when it sticks."""
    bench = Bench(a_plan(a_mat(reports=True))).heating()
    bench.scan(n1=20.0, n2=20.0, reports=[bench.report(on=True)])
    bench.run(30, n1=24.0, n2=24.0)
    assert (bench.on, bench.alarms) == (False, set())
    bench.run(10, n1=24.0, n2=24.0)
    assert bench.alarms == {(AlarmKind.RELAY_DISAGREES, "north")}
    bench.scan(n1=24.0, n2=24.0, reports=[bench.report(on=False)])
    assert bench.alarms == set()


def test_relay_that_last_said_on_rules_out_the_sun():
    bench = Bench(a_plan(a_mat(reports=True))).heating()
    bench.scan(n1=20.0, n2=20.0, reports=[bench.report(on=True)])
    bench.scan(n1=22.0, n2=22.0).run(4_000, n1=22.0, n2=22.0)
    bench.scan(n1=25.0, n2=22.0)
    assert bench.cause is Cause.OVER_TRAY_LIMIT


# ------------------------------------------------------------------ stuck probe


def test_probe_that_says_the_same_for_half_a_day_is_not_used():
    lump = a_lump().live(24)
    bench = lump.bench
    for _ in range(round(12.2 * 120)):
        bench.scan(after_s=30, n1=21.0)
    assert (AlarmKind.PROBE_STUCK, "n1") in bench.alarms
    stuck = next(a for a in bench.state.alarms if a.kind is AlarmKind.PROBE_STUCK)
    assert stuck.numbers == (("temp_mc", mc(21)),)
    assert bench.cause is Cause.NO_DRIVING_READING
    bench.scan(after_s=30, n1=21.06).scan(after_s=30, n1=21.0)
    assert (AlarmKind.PROBE_STUCK, "n1") not in bench.alarms


def test_probe_that_heats_nothing_may_say_the_same_for_ever():
    plan = a_plan(a_mat(), room=(ProbePlan(name="room"),))
    bench = Bench(plan)
    for n in range(13 * 60):
        bench.scan(after_s=60, n1=20.0 + n % 2, n2=20.0 + n % 2, room=11.0)
    assert (AlarmKind.PROBE_STUCK, "room") not in bench.alarms


# --------------------------------------------------------------------- looking


def test_guards_look_once_a_minute():
    bench = Bench().heating()
    looked_ms = bench.mat.guard.at_ms
    assert looked_ms == ms(bench.now_s)
    bench.run(55, n1=20.0, n2=20.0)
    assert bench.mat.guard.at_ms == looked_ms
    bench.scan(n1=20.0, n2=20.0)
    assert bench.mat.guard.at_ms == ms(bench.now_s)


def test_frozen_probe_is_one_that_drives_and_has_not_moved_for_an_hour():
    lump = a_lump().live(1)
    bench = lump.bench
    bench.scan(n1=20.0)
    for _ in range(119):
        bench.scan(after_s=30, n1=20.0)
    known = bench.state.mats["north"]
    assert not _frozen(bench)
    bench.scan(after_s=30, n1=20.0)
    assert _frozen(bench)
    assert known.guard.uptake is not None


def _frozen(bench):
    observed = observe(bench.plan.mats[0], bench.state.probes, ms(bench.now_s))
    driven = driving_temp(bench.plan.mats[0], observed)
    return frozen(observed, driven[0], ms(bench.now_s))


def test_uptake_has_its_own_beginning_after_a_reset():
    lump = a_lump().live(1)
    look = Look(
        observed=_observed(lump.bench),
        root_mc=mc(20),
        setpoint_mc=mc(21),
        room_mc=None,
        quiet=False,
        tripped=True,
    )
    guard = looked(lump.bench.plan.mats[0], lump.bench.mat, look, ms(10**5))
    assert guard.uptake is None
    assert isinstance(lump.bench.mat.guard.uptake, Uptake)


def _observed(bench):
    return observe(bench.plan.mats[0], bench.state.probes, ms(bench.now_s))


def test_tray_that_recovers_from_cold_water_is_not_told():
    lump = two_trays(tray_limit_mk=10_000).live(48)
    for step in range(40):
        away_k = 8.0 - 0.1 * step  # 1 K in two and a half hours
        cold = lambda told, k=away_k: {**told, "n2": told["n2"] - k}  # noqa: E731
        lump.live(0.25, says=cold)
        assert (AlarmKind.PROBE_DISAGREES, "n2") not in lump.bench.alarms, away_k
    lump.live(3.2, says=lambda told: {**told, "n2": told["n2"] - 4.1})
    assert (AlarmKind.PROBE_DISAGREES, "n2") in lump.bench.alarms, "it stays away"
