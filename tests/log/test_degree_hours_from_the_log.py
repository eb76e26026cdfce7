"""Degree-hours: the live counter and the log's recount are the same numbers."""

from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.core.plan import Plan, ProbePlan, TrayPlan, all_trays
from controller.core.scan import Quality, Reading, Scan
from controller.core.state import State, ThermalAccount, fresh_state, resumed_state
from controller.core.step import DECISIONS_VERSION, step
from controller.core.thermal_time import add_sample, heat_along
from controller.core.units import DAY_MS, HOUR_MS, MilliC, Millis, UtcMillis
from controller.ports import RunHeader
from controller.review.degree_hours import NoSuchTrayError, recount, trays_of
from controller.review.local_days import LocalDays, date_of
from controller.review.recounted import Span, Thresholds, bounds
from controller.review.thermal_days import Why
from controller.review.thermal_ledger import Ledger
from controller.review.tray_readings import EVER_MS

SCAN_MS = 5_000
STALE_MS = 60_000
ZONE = "Europe/Paris"


def utc(*parts):
    return round(datetime(*parts, tzinfo=UTC).timestamp() * 1000)


EVENING_MS = utc(2027, 2, 1, 22, 55)
"""Five minutes before midnight in Paris."""


def a_plan(base_mc=10_000, upper_mc=None):
    """A tray of one probe, one of three and one without any; no mats."""
    alone = ProbePlan(name="a", stale_after_ms=Millis(STALE_MS))
    three = (
        ProbePlan(name="b", stale_after_ms=Millis(STALE_MS)),
        ProbePlan(name="c", stale_after_ms=Millis(2 * STALE_MS), offset_mk=-125),
        ProbePlan(name="d", stale_after_ms=Millis(STALE_MS // 2)),
    )
    more = {"base_mc": MilliC(base_mc), "upper_mc": upper_mc}
    trays = (
        TrayPlan(name="one", probes=(alone,), **more),
        TrayPlan(name="three", probes=three, **more),
        TrayPlan(name="bare", **more),
    )
    return Plan(bench="invented", scan_ms=Millis(SCAN_MS), trays=trays)


class Season:
    """A bench that is stepped by the core and logs every scan."""

    def __init__(self, path: Path, utc_ms: int = EVENING_MS, plan: Plan | None = None):
        self.log = DirectSeasonLog(path)
        self.path = path
        self.run_ms, self.utc_ms = 0, utc_ms
        self.plan = plan or a_plan()
        self.state: State = fresh_state(self.plan)
        self.runs = 0
        self.begin(self.state)

    def begin(self, state: State) -> None:
        self.runs += 1
        self.seq, self.state = 0, state
        header = RunHeader(
            run=f"run-{self.runs}",
            origin="live",
            started_run_ms=self.run_ms,
            started_utc_ms=self.utc_ms,
            plan=self.plan,
            state=state,
            timezone=ZONE,
            decisions_version=DECISIONS_VERSION,
            versions={},
        )
        self.log.begin(header)

    def restart(self, away_ms: int, *, known: bool, plan: Plan | None = None) -> None:
        self.plan = plan or self.plan
        self.utc_ms += away_ms
        self.run_ms += away_ms if known else 0
        at_ms = Millis(self.run_ms)
        self.begin(resumed_state(self.plan, self.state, at_ms, outage_known=known))

    def scan(self, *readings: Reading, after_ms: int = SCAN_MS) -> None:
        """Scan once; the readings' times are ages before the scan [ms]."""
        self.run_ms += after_ms
        self.utc_ms += after_ms
        self.seq += 1
        scan = Scan(
            seq=self.seq,
            run_ms=Millis(self.run_ms),
            utc_ms=UtcMillis(self.utc_ms),
            clock_ok=True,
            local_day=20_000,
            local_minute=720,
            readings=tuple(
                replace(one, at_ms=Millis(self.run_ms - one.at_ms)) for one in readings
            ),
        )
        self.state, decisions = step(self.plan, self.state, scan)
        self.log.append(scan, decisions, self.state)

    def said(self, probe="a", temp_c=20.0, age_ms=0, quality=Quality.GOOD):
        return Reading(probe, Millis(age_ms), round(temp_c * 1000), quality)

    def level(self, lasting_ms: int, temp_c: float, probe="a", every_ms=30_000) -> None:
        """Let a probe say the same for a time."""
        for _ in range(lasting_ms // every_ms):
            self.scan(self.said(probe, temp_c), after_ms=every_ms)

    def reader(self) -> SeasonLogReader:
        self.log.close()
        return SeasonLogReader(self.path)

    def agrees(self) -> None:
        reader = self.reader()
        for tray in all_trays(self.plan):
            counted = recount(reader, tray.name)
            assert counted.account == self.state.accounts[tray.name]
            days_add_up(counted)


def days_add_up(counted) -> None:
    days, account, carried = counted.days, counted.account, counted.carried
    for name in ("heat_mk_ms", "warmth_mk_ms", "measured_ms", "gap_ms", "gaps"):
        booked = sum(getattr(day, name) for day in days)
        assert booked == getattr(account, name) - getattr(carried, name), name
    known = [gap for gap in counted.gaps if gap.lasting_ms is not None]
    assert sum(gap.lasting_ms for gap in known) == account.gap_ms - carried.gap_ms
    assert len(known) == account.gaps - carried.gaps
    assert len({day.day for day in days}) == len(days)
    for day in days:
        assert (day.low_mc is None) is (day.readings == 0)
        assert day.heat_mk_ms >= 0
        assert day.measured_ms >= 0


@pytest.fixture
def season(tmp_path):
    made = Season(tmp_path / "season.db")
    yield made
    made.log.close()


# ------------------------------------------------- to the last bit, whatever comes

QUALITIES = st.sampled_from([Quality.GOOD] * 6 + [Quality.UNCERTAIN, Quality.BAD])
TEMPS_MC = st.one_of(
    st.integers(18_000, 22_000), st.integers(8_000, 31_000), st.just(85_000)
)
READINGS = st.builds(
    Reading,
    st.sampled_from(["a", "a", "b", "c", "d", "stranger"]),
    st.sampled_from([0, 0, 0, 1, 700, 5_000, 12_000, 40_000, 70_000, 200_000]),
    st.one_of(TEMPS_MC, TEMPS_MC, TEMPS_MC, st.none()),
    QUALITIES,
)
STEPS = st.one_of(
    st.lists(READINGS, max_size=5).map(lambda found: ("scan", found, SCAN_MS)),
    st.lists(READINGS, max_size=5).map(lambda found: ("scan", found, SCAN_MS)),
    st.lists(READINGS, max_size=3).map(lambda found: ("scan", found, SCAN_MS)),
    st.tuples(st.just("scan"), st.just([]), st.sampled_from([7_003, 61_000, DAY_MS])),
    st.tuples(
        st.just("restart"),
        st.sampled_from([0, 3_000, 20_000, 300_000, 40 * HOUR_MS]),
        st.booleans(),
        st.sampled_from([None, None, a_plan(), a_plan(12_000), a_plan(10_000, 20_000)]),
    ),
    st.tuples(st.just("clock"), st.sampled_from([-HOUR_MS, 5_000, 3 * DAY_MS])),
)


@pytest.mark.slow
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(STEPS, min_size=5, max_size=60))
def test_whatever_comes_the_recount_is_the_live_counter(steps):
    """Late, doubled, doubted and missing readings, restarts, changed plans and a
    wall clock that jumps, through the core and the log.

    Left out is what the log does not tell (see degree_hours): a reading without
    a value, or bad at the door, is never as old as a good one before it.
    """
    with TemporaryDirectory() as folder:
        season = Season(Path(folder) / "season.db")
        newest: dict[str, int] = {}
        for what, *more in steps:
            if what == "scan":
                found, after_ms = more
                now_ms = season.run_ms + after_ms
                season.scan(*tellable(found, newest, now_ms), after_ms=after_ms)
            elif what == "restart":
                away_ms, known, plan = more
                season.restart(away_ms, known=known, plan=plan)
                newest.clear()
            else:
                season.utc_ms += more[0]
        season.agrees()


def tellable(readings, newest, now_ms):
    """Yield readings, leaving out those that the log cannot tell apart.

    These are one without a value that is not the newest of its probe, and a
    good one that is the twin of a doubted one in the same scan.
    """
    seen = set()
    for one in readings:
        at_ms = now_ms - one.at_ms
        void = one.milli is None or one.quality is Quality.BAD
        twin = (one.probe, at_ms, one.milli)
        if (void and at_ms <= newest.get(one.probe, -1)) or twin in seen:
            continue
        if one.quality is not Quality.GOOD:
            seen.add(twin)
        newest[one.probe] = max(at_ms, newest.get(one.probe, -1))
        yield one


def test_a_probe_of_several_counts_while_it_may_be_used(season):
    """Each of these would change the mean, and the account, if it were missed."""
    for number in range(40):
        season.scan(season.said("b", 20.0), season.said("c", 22.0 + number / 100))
    season.scan(season.said("d", 25.0), season.said("b", 20.0))
    season.scan(season.said("b", 20.0, age_ms=5_000))  # came twice: no doubt of it
    season.scan(season.said("c", 22.5))
    for _ in range(8):  # d is forgotten after 30 s, b and c are not
        season.scan(season.said("b", 20.5), season.said("c", 22.5))
    season.scan(season.said("b", 85.0))
    season.scan(season.said("c", 23.0))  # alone: b is in doubt
    season.scan(season.said("b", 21.0, age_ms=11_000))  # older than the doubt of it
    season.scan(season.said("c", 23.0))
    season.scan(season.said("b", 21.0), season.said("c", 23.0))
    for _ in range(20):  # b falls silent
        season.scan(season.said("c", 24.0))
    season.agrees()


def test_readings_of_before_a_restart_are_that_runs(season):
    """The run that follows at once hears what was measured before it began."""
    season.level(300_000, 20.0, every_ms=10_000)
    season.scan(season.said("b", 21.0), season.said("d", 25.0), season.said("a", 20.0))
    season.restart(0, known=False)
    season.scan(season.said("c", 19.0, age_ms=6_000), season.said("a", 20.0, 5_500))
    season.scan(season.said("b", 21.0), season.said("a", 20.5))
    season.agrees()


def test_a_doubt_that_opens_a_run_is_that_runs(season):
    """A day of silence, then 85 °C, and a good reading that is older than that."""
    season.level(300_000, 20.0, every_ms=10_000)
    season.restart(0, known=False)
    season.scan(after_ms=DAY_MS)
    season.scan(season.said("a", 85.0), season.said("a", 20.0, age_ms=1))
    season.agrees()
    assert season.state.accounts["one"].last_ms is None


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-5, 200_000), st.integers(-40_000, 70_000)), max_size=40
    ),
    st.integers(-10_000, 30_000),
    st.one_of(st.none(), st.integers(1, 30_000)),
    st.sampled_from(["Europe/Paris", "America/New_York", "Asia/Kathmandu"]),
    st.integers(0, 400 * DAY_MS),
)
def test_the_ledger_is_add_sample_day_by_day(steps, base_mc, rise_mk, zone, start_ms):
    """On one's own: steps of time, back and forth, and values; any base."""
    upper_mc = None if rise_mk is None else MilliC(base_mc + rise_mk)
    live = ThermalAccount(MilliC(base_mc), upper_mc)
    ledger = Ledger(live, LocalDays(zone))
    at_ms, samples = 0, []
    for lasting_ms, temp_mc in steps:
        at_ms += lasting_ms
        samples.append((at_ms, start_ms + at_ms, temp_mc))
        live = add_sample(live, Millis(at_ms), MilliC(temp_mc), 120_000)
    ledger.add(samples, 120_000, lambda: None)
    assert ledger.account() == live
    assert sum(day.heat_mk_ms for day in ledger.days()) == live.heat_mk_ms


# ------------------------------------------------------------------------ the days


def test_a_line_over_midnight_is_split_exactly_and_the_rest_goes_to_the_later_day():
    """From 9 to 15 °C in 90 s, midnight after 40 s, base 10 °C, by hand.

    The line meets the base after 15 s; at midnight it is at 11.666... °C: the
    first day has 1.666... K · 25 s / 2 = 20 833 333.3 mK·ms, the whole interval
    5 K · 75 s / 2 = 187 500 000.
    """
    midnight_ms = utc(2027, 2, 1, 23)
    ledger = Ledger(ThermalAccount(MilliC(10_000)), LocalDays(ZONE))
    begin = midnight_ms - 40_000
    ledger.add(
        [(0, begin, 9_000), (90_000, begin + 90_000, 15_000)], 120_000, lambda: None
    )
    first, second = ledger.days()
    assert first.heat_mk_ms == round(Fraction(5_000, 3) * 25_000 / 2) == 20_833_333
    assert second.heat_mk_ms == 187_500_000 - 20_833_333
    assert (first.measured_ms, second.measured_ms) == (40_000, 50_000)
    assert (first.high_mc, second.low_mc) == (9_000, 15_000)
    assert first.warmth_mk_ms == round((9_000 + Fraction(35_000, 3)) * 40_000 / 2)
    assert [date_of(day.day).isoformat() for day in (first, second)] == [
        "2027-02-01",
        "2027-02-02",
    ]


@pytest.mark.parametrize(
    ("day", "hours"), [((2027, 3, 28), 23), ((2027, 10, 31), 25), ((2027, 6, 1), 24)]
)
def test_a_day_on_which_clocks_change_has_its_own_length(tmp_path, day, hours):
    season = Season(tmp_path / "season.db", utc(*day) - 6 * HOUR_MS)
    season.level(36 * HOUR_MS, 12.0, every_ms=60_000)
    counted = recount(season.reader(), "one")
    found = next(d for d in counted.days if date_of(d.day).timetuple()[:3] == day)
    assert found.measured_ms == hours * HOUR_MS
    assert found.heat_mk_ms == hours * HOUR_MS * 2_000
    days_add_up(counted)


def test_a_wall_clock_that_is_set_back_comes_to_a_day_twice(season):
    season.level(HOUR_MS, 20.0)
    season.utc_ms -= 2 * HOUR_MS
    season.level(3 * HOUR_MS, 21.0)
    season.agrees()
    counted = recount(season.reader(), "one")
    first, second = counted.days
    assert first.measured_ms + second.measured_ms == 4 * HOUR_MS - 30_000
    assert (first.low_mc, first.high_mc) == (20_000, 21_000)


def test_pieces_of_the_log_do_not_show(season):
    """Three weeks with every reading five minutes apart; and the same log with
    its newest time unknown, so that it is read at once.
    """
    wide = replace(
        a_plan().trays[0], probes=(ProbePlan(name="a", stale_after_ms=Millis(400_000)),)
    )
    season.restart(0, known=True, plan=replace(season.plan, trays=(wide,)))
    for number in range(21 * 288):
        said = season.said("a", 15 + number % 7, age_ms=number % 3)
        season.scan(said, after_ms=300_000)
    live = season.state.accounts["one"]
    reader = season.reader()
    asked = []
    original = reader.samples

    def samples(probe, from_ms, to_ms, *, untaken):
        asked.append((from_ms, to_ms))
        return original(probe, from_ms, to_ms, untaken=untaken)

    reader.samples = samples
    in_pieces = recount(reader, "one", span=Span(newest_utc_ms=season.utc_ms))
    assert len(asked) == 21  # a day each
    assert in_pieces.account == live
    assert recount(reader, "one") == in_pieces


def test_pieces_that_are_not_in_order_of_arrival_are_read_again_as_one(season):
    """The clock is set back by twenty days: what came first is read last."""
    season.utc_ms += 20 * DAY_MS
    season.level(HOUR_MS, 20.0)
    season.utc_ms -= 20 * DAY_MS
    season.level(HOUR_MS, 18.0)
    season.utc_ms += 8 * DAY_MS
    season.level(HOUR_MS, 19.0)
    live = season.state.accounts["one"]
    reader = season.reader()
    asked = []
    original = reader.samples

    def samples(probe, from_ms, to_ms, *, untaken):
        asked.append((from_ms, to_ms))
        return original(probe, from_ms, to_ms, untaken=untaken)

    reader.samples = samples
    newest = Span(newest_utc_ms=EVENING_MS + 21 * DAY_MS)
    assert recount(reader, "one", span=newest).account == live
    assert len(asked) > 2
    assert asked[-1] == (-EVER_MS, EVER_MS)
    assert (-EVER_MS, EVER_MS) not in asked[:-1]


# --------------------------------------------------------------- gaps and their why


def test_gaps_say_from_when_to_when_how_long_and_why(season):
    season.level(600_000, 20.0)
    for _ in range(30):  # five minutes of silence
        season.scan(after_ms=10_000)
    season.level(600_000, 24.0)
    for _ in range(30):  # and five of a value that is no temperature
        season.scan(season.said("a", 85.0), after_ms=10_000)
    season.level(600_000, 22.0)
    season.restart(HOUR_MS, known=True)
    season.level(600_000, 22.0)
    season.restart(HOUR_MS, known=False)
    season.level(600_000, 22.0)
    season.agrees()
    counted = recount(season.reader(), "one")
    silent, doubted, ended, unknown = counted.gaps
    assert [gap.why for gap in counted.gaps] == [
        Why.SILENT,
        Why.DOUBTED,
        Why.RUN_ENDED,
        Why.RUN_ENDED,
    ]
    assert silent.lasting_ms == doubted.lasting_ms == 330_000
    assert silent.from_utc_ms == EVENING_MS + 600_000
    assert silent.to_utc_ms - silent.from_utc_ms == 330_000
    assert ended.lasting_ms == HOUR_MS + 30_000
    assert unknown.lasting_ms is None
    assert unknown.to_utc_ms - unknown.from_utc_ms == HOUR_MS + 30_000
    assert counted.account.gaps == 3


def test_bounds_of_gaps_are_the_lowest_and_highest_reading_cut_by_the_thresholds(
    season,
):
    """Two hours, 14 to 26 °C read, base 16 and upper 24 °C: 0 to 16 K·h; that is
    also all that can be. Without thresholds in between: 4 to 16 K·h over 12 °C.
    """
    season.level(60_000, 14.0)
    season.level(60_000, 26.0, every_ms=60_000)
    season.level(60_000, 26.0)
    season.scan(after_ms=2 * HOUR_MS)
    season.level(60_000, 20.0)
    reader = season.reader()
    counted = recount(reader, "one", Thresholds(16_000, 24_000))
    could = bounds(counted, 2 * HOUR_MS)
    k_h = 1_000 * HOUR_MS
    assert (counted.low_mc, counted.high_mc) == (14_000, 26_000)
    assert (could.at_least, could.at_most) == (0, 16 * k_h)
    assert could.never_above == 16 * k_h
    other = bounds(recount(reader, "one", Thresholds(12_000)), 2 * HOUR_MS)
    assert (other.at_least, other.at_most) == (4 * k_h, 28 * k_h)
    assert other.never_above is None


# ------------------------------------------------------------- other things to ask


def test_another_base_counts_the_whole_log_where_the_counter_began_anew(season):
    season.level(HOUR_MS, 20.0)
    season.restart(5_000, known=True, plan=a_plan(12_000))
    season.level(HOUR_MS, 20.0)
    reader = season.reader()
    live = season.state.accounts["one"]
    assert recount(reader, "one").account == live
    assert live.measured_ms == HOUR_MS - 30_000
    whole = recount(reader, "one", Thresholds(12_000))
    assert whole.account.measured_ms == 2 * HOUR_MS - 30_000 + 5_000
    assert whole.account.heat_mk_ms == whole.account.measured_ms * 8_000


@pytest.mark.parametrize("known", [True, False])
def test_with_every_account_begun_anew_the_clocks_tell_whether_an_outage_is_known(
    season, known
):
    season.level(HOUR_MS, 20.0)
    season.restart(HOUR_MS, known=known, plan=a_plan(12_000))
    season.level(HOUR_MS, 20.0)
    (gap,) = recount(season.reader(), "one", Thresholds(5_000)).gaps
    assert gap.lasting_ms == (HOUR_MS + 30_000 if known else None)


def test_a_span_is_cut_from_lines_and_gaps_where_it_ends(season):
    """Half an hour in the middle of a level stretch with a gap at its end."""
    season.level(2 * HOUR_MS, 20.0, every_ms=40_000)
    season.scan(after_ms=HOUR_MS)
    season.level(60_000, 20.0)
    reader = season.reader()
    gap_ms = EVENING_MS + 2 * HOUR_MS
    span = Span(gap_ms - HOUR_MS + 1_001, gap_ms + HOUR_MS // 2 + 7)
    counted = recount(reader, "one", span=span)
    assert counted.account.measured_ms == HOUR_MS - 1_001
    assert counted.account.heat_mk_ms == (HOUR_MS - 1_001) * 10_000
    (gap,) = counted.gaps
    assert (gap.from_utc_ms, gap.to_utc_ms) == (gap_ms, span.to_utc_ms)
    assert counted.account.gap_ms == gap.lasting_ms == HOUR_MS // 2 + 7
    days_add_up(counted)
    before = recount(reader, "one", span=Span(None, span.from_utc_ms))
    after = recount(reader, "one", span=Span(span.to_utc_ms, None))
    whole = recount(reader, "one")
    total = sum(part.account.heat_mk_ms for part in (before, counted, after))
    assert total == whole.account.heat_mk_ms
    outside = Span(EVENING_MS - 5 * DAY_MS, EVENING_MS - 4 * DAY_MS)
    assert recount(reader, "one", span=outside).readings == 0


def test_what_was_counted_before_the_log_began_is_carried_on(season):
    """A log whose earlier runs were deleted begins with an account that is full."""
    season.level(HOUR_MS, 20.0)
    season.log.close()
    begun = replace(season.state, run_ms=Millis(season.run_ms))
    season.path = season.path.with_name("later.db")
    season.log = DirectSeasonLog(season.path)
    season.begin(resumed_state(season.plan, begun, begun.run_ms, outage_known=True))
    season.level(HOUR_MS, 20.0)
    season.agrees()
    counted = recount(season.reader(), "one")
    assert counted.carried.measured_ms == HOUR_MS - 30_000
    assert counted.account.measured_ms == 2 * HOUR_MS - 30_000


def test_a_probe_that_moved_counts_where_its_runs_plan_has_it(season):
    season.level(HOUR_MS, 20.0)
    one, three, bare = season.plan.trays
    moved = replace(bare, probes=one.probes)
    trays = (replace(one, probes=()), three, moved)
    season.restart(5_000, known=True, plan=replace(season.plan, trays=trays))
    season.level(HOUR_MS, 22.0)
    season.agrees()
    reader = season.reader()
    assert recount(reader, "bare").account.heat_mk_ms == (HOUR_MS - 30_000) * 12_000
    assert [tray.name for tray in trays_of(reader.runs())] == ["one", "three", "bare"]


def test_a_tray_that_is_gone_is_counted_as_it_was(season):
    season.level(HOUR_MS, 20.0)
    live = season.state.accounts["one"]
    season.restart(5_000, known=True, plan=replace(season.plan, trays=()))
    season.level(60_000, 20.0)
    assert recount(season.reader(), "one").account == live
    with pytest.raises(NoSuchTrayError, match="'two'"):
        recount(season.reader(), "two")


@pytest.mark.parametrize("upper_mc", [9_999, 10_000])
def test_thresholds_that_count_nothing_are_refused(upper_mc):
    with pytest.raises(ValueError, match=r"must lie above base, here 10 °C"):
        Thresholds(10_000, upper_mc)


def test_a_split_line_is_the_line():
    """Wherever midnight falls, both parts are the whole; the first is exact."""
    for cut_ms in range(1, 60_000, 1_711):
        midnight_ms = utc(2027, 2, 1, 23)
        ledger = Ledger(ThermalAccount(MilliC(10_000), MilliC(12_000)), LocalDays(ZONE))
        begin = midnight_ms - cut_ms
        line = [(0, begin, 13_501), (60_000, begin + 60_000, 8_888)]
        ledger.add(line, 60_000, lambda: None)
        first, second = ledger.days()
        whole = heat_along(13_501, 8_888, 10_000, 12_000, 60_000)
        assert first.heat_mk_ms + second.heat_mk_ms == whole
        # The same part as a line of its own, in units so fine that it is exact.
        fine = 60_000
        at_cut = 13_501 * fine - (13_501 - 8_888) * cut_ms
        alone = heat_along(13_501 * fine, at_cut, 10_000 * fine, 12_000 * fine, cut_ms)
        assert abs(first.heat_mk_ms - Fraction(alone, fine)) <= Fraction(1, 2) + 1
