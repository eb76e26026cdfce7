"""Whatever arrives, in whatever order: what must hold after every single scan."""

import math
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.decisions import AlarmKind, AlarmTurn, Cause, Decisions
from controller.core.plan import (
    DrivenBy,
    OnLogFailure,
    Pid,
    Plan,
    ProbePlan,
    Quantity,
    RelayKind,
    StepPlan,
    all_probes,
)
from controller.core.plan_rules import problems
from controller.core.protect import tray_limit_mc
from controller.core.scan import (
    Acknowledge,
    Hold,
    LogHealth,
    NextStep,
    PowerReport,
    Quality,
    Reading,
    RelayReport,
    Request,
    Reset,
    Scan,
    SetEnabled,
    SetSetpoint,
    Shelve,
)
from controller.core.state import Mode, State, fresh_state, resumed_state
from controller.core.step import step
from tests.builders import a_mat, a_plan, a_tray, mc, ms, surface_probe

START_MS = 10_000_000


def a_whole_bench(on_failure=OnLogFailure.KEEP_HEATING) -> Plan:
    """Return a bench with a mat of every kind and a probe in every place."""
    steps = (StepPlan(mc(29), days=0.5), StepPlan(mc(21), night_mc=mc(18)))
    lease = a_mat("lease", programme=steps, surface=surface_probe("ls"))
    plain = a_mat(
        "plain",
        relay=RelayKind.PLAIN,
        policy=Pid(),
        min_on_ms=ms(60),
        min_off_ms=ms(60),
        ramp_mk_per_h=3_000,
        driven_by=DrivenBy.TRAY,
        driving_tray="P2",
        trays=(a_tray("P1", "p1"), a_tray("P2", "p2", "p3"), a_tray("P3")),
    )
    pin = a_mat(
        "pin",
        relay=RelayKind.PIN,
        settle_ms=ms(600),
        min_on_ms=ms(60),
        driven_by=DrivenBy.COOLEST,
        trays=(a_tray("I1", "i1"),),
    )
    watched = a_mat("watched", relay=None, trays=(a_tray("W1", "w1"),))
    return a_plan(
        lease,
        plain,
        pin,
        watched,
        trays=(a_tray("shelf", "t1"),),
        room=(ProbePlan(name="room", one_wire=False),),
        witnesses=(ProbePlan(name="wet", quantity=Quantity.MOISTURE),),
        on_log_failure=on_failure,
    )


PLAN = a_whole_bench()
PROBES = [probe.name for probe in all_probes(PLAN)]
MATS = [mat.name for mat in PLAN.mats]


def test_plan_of_these_properties_is_one_that_may_be_followed():
    assert problems(PLAN) == ()


# ------------------------------------------------------------ what must hold


@dataclass
class Watch:
    """A bench that is scanned, with everything that must hold checked each time."""

    plan: Plan = PLAN
    state: State = field(default_factory=lambda: fresh_state(PLAN, START_MS))
    seq: int = 0
    decisions: Decisions | None = None
    blocked_ms: dict[str, int] = field(default_factory=dict)
    seen: Counter[object] = field(default_factory=Counter)
    scanned: Callable[[Scan, Decisions, State], None] = lambda *_: None
    resumed: Callable[[State], None] = lambda _: None

    def __post_init__(self) -> None:
        """Begin: nothing may be on before its probes have spoken."""
        self.blocked_ms = dict.fromkeys(MATS, self.state.run_ms)

    def scan(self, run_ms: int, **arrived: object) -> None:
        """Decide a scan and check what came of it."""
        self.seq += 1
        plain = Scan(self.seq, run_ms, 0, True, 20_000, run_ms // 60_000 % 1440)
        scan = replace(plain, **arrived)
        before = self.state
        self.state, self.decisions = step(self.plan, before, scan)
        assert step(self.plan, before, scan) == (self.state, self.decisions)
        self._times(before, scan)
        self._commands(before, scan)
        self._trips(before, scan)
        self._alarms(before)
        for mat in self.plan.mats:
            self._modes(mat.name)
        self.scanned(scan, self.decisions, self.state)

    def resume(self, away_ms: int, *, known: bool) -> None:
        """Begin a new run."""
        run_ms = self.state.run_ms + (away_ms if known else 0)
        before = self.state
        self.state = resumed_state(self.plan, before, run_ms, outage_known=known)
        for name, mat in self.state.mats.items():
            trip = before.mats[name].trip
            assert mat.trip == trip
            assert mat.mode is (Mode.TRIPPED if trip else Mode.STARTING)
            assert not mat.relay.energised
            assert mat.relay.on_ms >= before.mats[name].relay.on_ms
        self.__post_init__()
        self.decisions = None
        self.seq = 0
        self.resumed(self.state)

    def _times(self, before: State, scan: Scan) -> None:
        now_ms = self.state.run_ms
        assert now_ms == max(before.run_ms, scan.run_ms)
        for name, account in self.state.accounts.items():
            old = before.accounts[name]
            covered_ms = account.measured_ms + account.gap_ms
            assert account.measured_ms >= old.measured_ms
            assert account.gap_ms >= old.gap_ms
            # a first reading may be as old as a reading may be
            assert covered_ms <= now_ms - START_MS + ms(120)
            assert account.last_ms is None or account.last_ms <= now_ms
        for name, mat in self.state.mats.items():
            relay, known = mat.relay, before.mats[name].relay
            assert relay.since_ms <= now_ms
            assert relay.operations >= known.operations
            assert 0 <= known.on_ms <= relay.on_ms <= now_ms - START_MS
            assert 0 <= relay.mean_duty <= 1
            assert mat.mode_since_ms <= now_ms

    def _commands(self, before: State, scan: Scan) -> None:
        commands = self.decisions.commands
        assert [command.mat for command in commands] == MATS
        assert len(self.decisions.answers) == len(scan.requests)
        for mat, command in zip(self.plan.mats, commands, strict=True):
            known = self.state.mats[mat.name]
            assert known.relay.energised is command.energised
            self.seen[command.cause] += 1
            if command.energised:
                self._may_be_on(mat, scan)
                if not before.mats[mat.name].relay.energised:
                    assert self.decisions.flush

    def _may_be_on(self, mat, scan: Scan) -> None:
        known, now_ms = self.state.mats[mat.name], self.state.run_ms
        assert mat.relay is not None
        assert known.mode is Mode.REGULATING
        assert known.trip is None
        assert known.enabled
        assert known.hold_until_ms is None
        assert self.state.log_ready
        if self.plan.on_log_failure is OnLogFailure.HEAT_OFF:
            assert scan.log_health is LogHealth.OK
        limit_mc = tray_limit_mc(mat, known, now_ms)
        assert limit_mc <= mat.cutout_mc
        probes = [self.state.probes[p.name] for t in mat.trays for p in t.probes]
        surface = [self.state.probes[p.name] for p in mat.surface]
        for probe in probes:
            self._is_cool(probe, limit_mc)
            spoke_ms, blocked_ms = probe.good_at_ms, self.blocked_ms[mat.name]
            waited = now_ms - blocked_ms > ms(120)
            assert waited or (spoke_ms is not None and spoke_ms >= blocked_ms)
        for probe in surface:
            self._is_cool(probe, mat.surface_limit_mc)
        driving = [
            self.state.probes[p.name]
            for tray in mat.trays
            if mat.driving_tray in {None, tray.name}
            for p in tray.probes
        ]
        assert any(
            probe.doubt is None
            and probe.good_at_ms is not None
            and now_ms - probe.good_at_ms <= ms(120)
            for probe in driving
        )

    def _is_cool(self, probe, limit_mc: int) -> None:
        assert probe.good_at_ms is None or probe.good_mc < limit_mc
        assert probe.over_cutout == 0
        hottest_mc = probe.doubt_hottest_mc
        assert hottest_mc is None or hottest_mc < limit_mc

    def _trips(self, before: State, scan: Scan) -> None:
        for mat in self.plan.mats:
            known, old = self.state.mats[mat.name], before.mats[mat.name]
            assert (known.mode is Mode.TRIPPED) is (known.trip is not None)
            guards = [p for t in mat.trays for p in t.probes] + list(mat.surface)
            if old.trip is not None and known.trip is not old.trip:
                assert known.trip is None
                self._may_be_unlocked(mat, scan)
            twice = any(self.state.probes[p.name].over_cutout >= 2 for p in guards)
            if mat.relay is None:
                assert known.trip is None
            elif twice and old.relay.energised:
                assert known.trip is not None

    def _may_be_unlocked(self, mat, scan: Scan) -> None:
        """A person asked for it, and whatever was hot had cooled well down."""
        asked = {r.id for r in scan.requests if r.wish == Reset(mat.name)}
        answers = self.decisions.answers
        assert any(a.accepted and a.request_id in asked for a in answers)
        roots = [p for t in mat.trays for p in t.probes]
        limits_mc = {
            **{p.name: mat.cutout_mc for p in roots},
            **{p.name: mat.surface_cutout_mc for p in mat.surface},
        }
        for name, limit_mc in limits_mc.items():
            probe = self.state.probes[name]
            assert probe.good_at_ms is None or probe.good_mc < limit_mc - mc(3)
        now_ms = self.state.run_ms
        heard = [self.state.probes[p.name].good_at_ms for p in roots]
        assert any(at is not None and now_ms - at <= ms(120) for at in heard)

    def _alarms(self, before: State) -> None:
        active = {(a.kind, a.subject) for a in before.alarms if a.active}
        for change in self.decisions.alarm_changes:
            key = (change.kind, change.subject)
            if change.turn is AlarmTurn.RAISED:
                assert key not in active
                active.add(key)
            elif change.turn is AlarmTurn.CLEARED:
                assert key in active
                active.remove(key)
        after = [(alarm.kind, alarm.subject) for alarm in self.state.alarms]
        assert len(after) == len(set(after))
        assert {(a.kind, a.subject) for a in self.state.alarms if a.active} == active
        if self.decisions.alarm_changes or self.decisions.answers:
            assert self.decisions.flush

    def _modes(self, name: str) -> None:
        mode = self.state.mats[name].mode
        self.seen[mode] += 1
        if mode in {Mode.HELD, Mode.OFF, Mode.TRIPPED}:
            self.blocked_ms[name] = self.state.run_ms


# -------------------------------------------------------- anything may arrive

EDGES_C = [15, 20, 20.9, 21.2, 24.9, 25, 29.9, 30, 32.9, 33, 33.5, 36, 41.9, 42, 50]
NOTHING_MC = [85_000, 127_937, 127_940, -127_000, -30_001, 70_001, 0, None]
values = st.one_of(
    st.sampled_from([mc(temp_c) for temp_c in EDGES_C]),
    st.sampled_from(NOTHING_MC),
    st.integers(-(10**9), 10**9),
)
ages_ms = st.one_of(
    st.sampled_from([0, 0, 0, 1, 5_000, 120_000, 120_001, -1]),
    st.integers(-(10**8), 10**8),
)
readings = st.builds(
    lambda *parts: parts,
    st.sampled_from([*PROBES, "stranger"]),
    ages_ms,
    values,
    st.sampled_from([Quality.GOOD] * 4 + [Quality.UNCERTAIN, Quality.BAD]),
)
mat_names = st.sampled_from([*MATS, "nowhere"])
reports = st.builds(
    lambda *parts: parts,
    mat_names,
    ages_ms,
    st.booleans(),
    st.one_of(st.none(), st.integers(0, 100)),
    st.booleans(),
)
alarm_kinds = st.sampled_from([*(kind.value for kind in AlarmKind), "whim"])
subjects = st.sampled_from([*MATS, *PROBES, "", "nowhere"])
wishes = st.one_of(
    st.builds(
        SetSetpoint,
        mat_names,
        st.one_of(st.none(), st.sampled_from([5_000, 21_000, 30_000, 99_000])),
        st.one_of(st.none(), st.integers(-1, 10**8)),
    ),
    st.builds(SetEnabled, mat_names, st.booleans()),
    st.builds(Reset, mat_names),
    st.builds(Hold, mat_names, st.sampled_from([0, 1, 60_000, -1, 10**9])),
    st.builds(NextStep, mat_names),
    st.builds(Acknowledge, alarm_kinds, subjects),
    st.builds(Shelve, alarm_kinds, subjects, st.sampled_from([0, 60_000, -1, 10**9])),
)
powers = st.tuples(mat_names, ages_ms, st.sampled_from([0, 19_999, 20_000, 10**6]))
scans = st.fixed_dictionaries(
    {
        "after_ms": st.one_of(
            st.sampled_from([5_000] * 4 + [0, 15_000, 15_001, 600_000, -20_000]),
            st.integers(-(10**7), 10**7),
        ),
        "cool": st.booleans(),
        "readings": st.lists(readings, max_size=5),
        "reports": st.lists(reports, max_size=2),
        "powers": st.lists(powers, max_size=2),
        "wishes": st.lists(wishes, max_size=2),
        "utc_ms": st.integers(-(2**40), 2**44),
        "clock_ok": st.booleans(),
        "link_up": st.booleans(),
        "log_ok": st.booleans(),
        "resume": st.sampled_from([None] * 12 + [True, False]),
    }
)


def arrived(watch: Watch, told: dict[str, object]) -> None:
    """Make a scan of what was drawn, and let it be decided and checked."""
    if told["resume"] is not None:
        watch.resume(abs(told["after_ms"]), known=told["resume"])
    run_ms = watch.state.run_ms + told["after_ms"]
    # half of the time every probe is fresh and cool first, or nothing ever heats
    cool = [Reading(name, run_ms, mc(20)) for name in PROBES] if told["cool"] else []
    watch.scan(
        run_ms,
        utc_ms=told["utc_ms"],
        clock_ok=told["clock_ok"],
        readings=(
            *cool,
            *(Reading(p, run_ms + 1 - a, v, q) for p, a, v, q in told["readings"]),
        ),
        relay_reports=tuple(
            RelayReport(mat, run_ms - age, on, seq, "", retained)
            for mat, age, on, seq, retained in told["reports"]
        ),
        power_reports=tuple(
            PowerReport(mat, run_ms - age, power_mw)
            for mat, age, power_mw in told["powers"]
        ),
        link_up=told["link_up"],
        log_health=LogHealth.OK if told["log_ok"] else LogHealth.FAILED,
        requests=tuple(
            Request(n, "Ada", wish) for n, wish in enumerate(told["wishes"])
        ),
    )


@settings(max_examples=100, deadline=None)
@given(st.lists(scans, min_size=1, max_size=12), st.sampled_from(OnLogFailure))
def test_nothing_that_arrives_breaks_a_rule(told, on_failure):
    watch = Watch(a_whole_bench(on_failure))
    for scan in told:
        arrived(watch, scan)


# -------------------------------------------------------- long and likely runs


def _about_alarms(rng: random.Random, state: State) -> tuple[Acknowledge | Shelve, ...]:
    """Return what a person may wish of one of the alarms, if there is one."""
    if not state.alarms:
        return ()
    one = rng.choice(state.alarms)
    for_ms = rng.choice((0, 60_000, 600_000))
    return (
        Acknowledge(one.kind.value, one.subject),
        Shelve(one.kind.value, one.subject, for_ms),
    )


def lived(seed: int, scans_: int, watch: Watch | None = None) -> Watch:
    """Run a bench whose temperatures wander about its limits, people and faults."""
    rng = random.Random(seed)  # noqa: S311
    on_failure = list(OnLogFailure)[seed % 2]
    watch = watch or Watch(a_whole_bench(on_failure))
    temps_mc = dict.fromkeys(PROBES, 20000.0)
    silent_until: dict[str, int] = {}
    run_ms = watch.state.run_ms
    link_up, log_ok = True, False
    for n in range(scans_):
        warmth_mc = 24_000 + 10_500 * math.sin(n / 40 + seed)
        run_ms += rng.choice((5_000,) * 20 + (30_000, 130_000))
        link_up = rng.random() < (0.99 if link_up else 0.2)
        log_ok = rng.random() < (0.99 if log_ok else 0.2)
        said = []
        for name in PROBES:
            temps_mc[name] += rng.uniform(-400, 400)
            goal_mc = 65_000 - warmth_mc if name == "ls" else warmth_mc
            temps_mc[name] += (goal_mc - temps_mc[name]) * 0.1
            if silent_until.get(name, 0) > run_ms:
                continue
            if rng.random() < 0.002:
                silent_until[name] = run_ms + rng.randrange(600_000)
            milli = round(temps_mc[name])
            if rng.random() < 0.004:
                milli = rng.choice(NOTHING_MC)
            doubted = rng.random() < 0.004
            quality = Quality.UNCERTAIN if doubted else Quality.GOOD
            said.append(Reading(name, run_ms - rng.randrange(5_000), milli, quality))
        wish = rng.choice(
            (
                Hold(rng.choice(MATS), rng.choice((0, 60_000, 300_000))),
                Reset(rng.choice(MATS)),
                Reset("lease"),
                SetEnabled(rng.choice(MATS), rng.random() < 0.8),
                SetSetpoint(rng.choice(MATS), rng.choice((None, 20_000, 30_000))),
                NextStep("lease"),
                *_about_alarms(rng, watch.state),
            )
        )
        report = RelayReport(rng.choice(MATS), run_ms, rng.random() < 0.5)
        power = PowerReport(rng.choice(MATS), run_ms, rng.choice((0, 90_000)))
        watch.scan(
            run_ms,
            readings=tuple(said),
            requests=(Request(1, "Ada", wish),) if rng.random() < 0.05 else (),
            relay_reports=(report,) if rng.random() < 0.02 else (),
            power_reports=(power,) if rng.random() < 0.05 else (),
            link_up=link_up,
            log_health=LogHealth.OK if log_ok else LogHealth.FAILED,
        )
    return watch


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**32))
def test_long_runs_break_no_rule(seed):
    watch = lived(seed, 300)
    watch.resume(3_600_000, known=seed % 2 > 0)
    lived(seed + 1, 100, watch)


TAKES_HOURS = {
    Cause.HEAT_NOT_FELT,
    Cause.RISES_TOO_FAST,
    Cause.HEATED_TOO_LONG,
    Cause.DAILY_HEAT_SPENT,
}
"""What response guards say after hours of one thing: tried in test_response."""


def test_long_runs_see_every_mode_and_every_reason():
    """What is never reached is not tried: the runs above are worth something."""
    seen: Counter[object] = Counter()
    for seed in range(6):
        seen += lived(seed, 500).seen
    assert set(Mode) <= set(seen)
    assert set(Cause) - TAKES_HOURS <= set(seen)
