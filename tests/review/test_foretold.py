"""The rooting forecast of a bench, from readings and records to dates and words.

The bench is invented: mat north with N1 and N2 at 21 °C by day and 18 °C by night for
14 days, then at 19 °C; mat south with S1 at 26 °C; W1 on the windowsill.
"""

from dataclasses import replace

import pytest

from controller.core.state import Override, Trip, fresh_state
from controller.core.units import MilliC, Millis, UtcMillis
from controller.records.batches import Batch, BatchKind
from controller.records.book import BatchFile
from controller.records.looks import Base, Dead, How, Look, Sentinels, Tops, Tug
from controller.records.places import Closing, Move, Outcome
from controller.review.batch_warmth import WarmthPath
from controller.review.days_ahead import Standing, outlook
from controller.review.forecast_scores import (
    Issued,
    as_kept,
    issued_from,
    scores,
    with_today,
)
from controller.review.foretold import NO_SOURCE, foretell
from controller.review.foretold_words import batch_json, report
from controller.review.looks_as_evidence import bracket_of, evidence_of
from controller.review.tray_hours import TrayHours, filled
from controller.trials.crops import Crop
from controller.trials.response_curves import BrokenStick, Linear
from controller.trials.rooting_evidence import Extent, Pulled, Seen
from tests.api.conftest import UTC_MS, FakeReader, make_plan

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
STUCK_MS = UTC_MS + 3_600_000 - UTC_MS % HOUR_MS  # a full hour soon after the start
ZONE = "Europe/Lisbon"


def crop(**changes: object) -> Crop:
    whole = Crop(
        name="box",
        curve=Linear(10, 30),
        needs=2_640,
        low=2_000,
        high=3_500,
        spread=1.2,
        share=0.8,
        weight=5,
        sources={"base": "no source: a guess", "needs": "no source: a guess"},
    )
    return replace(whole, **changes)


BOX = crop()
TULIP = crop(name="pepper", seed=True)


def a_file(code: str = "3347", looks=(), moves=(), closing=None, **batch: object):
    told = {"crop": "box", "kind": BatchKind.SOFTWOOD, "count": 24, "tray": "S1"}
    whole = Batch(**{**told, "stuck_utc_ms": STUCK_MS, **batch})
    return BatchFile(
        code,
        whole,
        (),
        tuple((str(n), look) for n, look in enumerate(looks, 1)),
        tuple((str(n), move) for n, move in enumerate(moves, 50)),
        closing,
    )


def a_look(day: float, how: How = How.LIFTED, of: int = 24, **fields: object) -> Look:
    at_ms = STUCK_MS + round(day * DAY_MS)
    return Look(batch="3347", utc_ms=at_ms, how=how, looked_at=of, **fields)


@pytest.fixture
def warm():
    """Return a reader in which probes read steady temperatures for some days."""

    def reader(days: float = 4.0, **temps_c: float) -> FakeReader:
        told = {"n1": 21.0, "n2a": 20.0, "n2b": 20.0, "s1": 26.0, **temps_c}
        times = range(STUCK_MS - 60_000, STUCK_MS + round(days * DAY_MS), 110_000)
        series = {
            probe: [(at, round(temp * 1_000)) for at in times]
            for probe, temp in told.items()
        }
        return FakeReader(series=series)

    return reader


def standing(days: float = 4.0, **mats: dict[str, object]) -> Standing:
    plan = make_plan()
    state = fresh_state(plan)
    changed = {name: replace(state.mats[name], **what) for name, what in mats.items()}
    state = replace(state, mats={**state.mats, **changed})
    return Standing(plan, state, ZONE, STUCK_MS + round(days * DAY_MS), UTC_MS)


def told(files, reader, crops=(BOX,), days: float = 4.0, **mats: dict[str, object]):
    now = standing(days, **mats)
    trays = TrayHours(reader, now.plan, STUCK_MS, now.now_utc_ms)
    return foretell(files, crops, trays, now)


def day_of(at_ms: int | None) -> float:
    assert at_ms is not None
    return (at_ms - STUCK_MS) / DAY_MS


# ------------------------------------------------------------------- so far and ahead


def test_degree_hours_so_far_and_the_date_follow_from_a_steady_tray(warm):
    """16 K above the base: 2640 K·h after 6.9 days."""
    (one,) = told([a_file()], warm())
    assert one.so_far == pytest.approx(4 * 24 * 16, rel=0.005)
    assert one.needs[2] == pytest.approx(2_640, rel=0.02)
    assert day_of(one.when_ms[2]) == pytest.approx(2_640 / 16 / 24, abs=0.2)
    assert one.when_ms == tuple(sorted(one.when_ms))
    assert one.why_none == ""


def test_a_mat_that_falls_short_is_taken_to_go_on_so(warm):
    (one,) = told([a_file()], warm(s1=22.0))
    assert day_of(one.when_ms[2]) == pytest.approx(2_640 / 12 / 24, abs=0.3)
    (note,) = one.notes
    assert "4.0 K below the setpoint of mat south" in note
    assert "fallen short" in note


def test_night_setpoints_and_the_next_step_are_ahead(warm):
    """16 hours at 21 and 8 at 18 °C: 20 °C; after 14 days 19 °C."""
    now = standing(0.5)
    ahead = outlook(now, "N1", {})
    assert ahead is not None
    assert "too little is known" in ahead.notes[0]
    hours = [STUCK_MS // HOUR_MS + n for n in range(24 * 20)]
    assert sum(map(ahead.temp_c, hours[:24])) / 24 == pytest.approx(20.0)
    assert ahead.temp_c(hours[-1]) == 19.0
    nights = [n for n in hours[:24] if ahead.temp_c(n) == 18.0]
    assert len(nights) == 8


def test_how_a_tray_follows_day_and_night_is_taken_to_go_on(warm):
    now = standing(4)
    first = STUCK_MS // HOUR_MS
    plain = outlook(now, "N1", {})
    assert plain is not None
    own = {
        h: plain.temp_c(h) - (0.5 if plain.temp_c(h) > 20 else -0.7)
        for h in range(first, first + 96)
    }
    ahead = outlook(now, "N1", own)
    assert ahead is not None
    later = range(first + 100, first + 148)
    assert {round(ahead.temp_c(h) - plain.temp_c(h), 3) for h in later} == {-0.5, 0.7}


def test_an_override_holds_until_it_ends(warm):
    override = Override(
        MilliC(24_000), "M.", UtcMillis(STUCK_MS), Millis(2 * DAY_MS), MilliC(26_000)
    )
    ahead = outlook(standing(0.2, south={"override": override}), "S1", {})
    assert ahead is not None
    hour = STUCK_MS // HOUR_MS
    assert ahead.temp_c(hour + 24) == 24.0
    assert ahead.temp_c(hour + 72) == 26.0


@pytest.mark.parametrize("what", ["off", "tripped"])
def test_a_mat_that_does_not_heat_promises_no_warmth(warm, what):
    trip = Trip.__new__(Trip)
    change = {"enabled": False} if what == "off" else {"trip": trip}
    (one,) = told([a_file()], warm(s1=14.0), south=change)
    assert day_of(one.when_ms[2]) > 20
    assert ("switched off" if what == "off" else "locked off") in one.notes[0]


def test_below_the_base_it_is_slow_or_none(warm):
    poinsettia = crop(name="box", curve=BrokenStick(21, 28, 32))
    for temp_c in (20.0, 32.0):
        (one,) = told([a_file()], warm(s1=temp_c), [poinsettia])
        assert one.so_far == pytest.approx(0, abs=1)
        assert one.why_none.startswith("no date: slow or none at the temperatures")
        assert "between 21 and 32 °C" in one.why_none
    (one,) = told([a_file()], warm(s1=26.0), [poinsettia])
    assert one.why_none == ""


def test_degree_hours_follow_the_batch_from_tray_to_tray_and_off(warm):
    moves = [
        Move(batch="3347", utc_ms=STUCK_MS + DAY_MS, tray="N1"),
        Move(batch="3347", utc_ms=STUCK_MS + 2 * DAY_MS, tray=""),
        Move(batch="3347", utc_ms=STUCK_MS + 3 * DAY_MS, tray="S1"),
    ]
    (one,) = told([a_file(moves=moves)], warm())
    assert one.so_far == pytest.approx(24 * (16 + 11 + 0 + 16), rel=0.01)
    assert "24 hours off the bench count nothing" in one.notes


def test_off_the_bench_there_is_no_date(warm):
    moves = [Move(batch="3347", utc_ms=STUCK_MS + DAY_MS, tray="")]
    (one,) = told([a_file(moves=moves)], warm())
    assert one.why_none == "no date: it is off the bench, where nothing is measured"


def test_a_tray_without_a_probe_is_taken_to_be_as_its_mat_s_others(warm):
    reader = warm()
    del reader.series["n1"]
    (one,) = told([a_file(tray="N1")], reader)
    assert one.so_far == pytest.approx(4 * 24 * 10, rel=0.01)
    assert any("as its mat's others" in note for note in one.notes)


def test_before_the_first_hour_is_measured_the_plan_is_taken(warm):
    """A batch that was stuck just now has a date at once."""
    (one,) = told([a_file()], FakeReader(), days=0.01)
    assert one.why_none == ""
    assert day_of(one.when_ms[2]) == pytest.approx(2_640 / 16 / 24, abs=0.2)
    assert one.notes == (
        "nothing was measured in tray S1 yet: taken to have been as planned",
        "S1 is taken to be at the setpoint: too little is known of it yet",
    )


def test_where_nothing_is_measured_it_says_so(warm):
    (one,) = told([a_file(tray="W1")], warm())
    assert one.why_none == (
        "no date: nothing was measured in tray W1, nor in another on its mat"
    )


def test_hours_that_were_not_measured_are_told_of(warm):
    reader = warm()
    hole = range(STUCK_MS + DAY_MS, STUCK_MS + 2 * DAY_MS)
    reader.series["s1"] = [one for one in reader.series["s1"] if one[0] not in hole]
    (one,) = told([a_file()], reader)
    assert one.so_far == pytest.approx(4 * 24 * 16, rel=0.01)
    assert any("hours of S1 were not measured" in note for note in one.notes)


def test_a_batch_that_is_not_stuck_has_no_date_yet(warm):
    (one,) = told([a_file(stuck_utc_ms=None)], warm())
    assert one.why_none == "no date yet: it is not stuck"


def test_missing_hours_lie_on_the_line_between_their_neighbours():
    temps, missing = filled({10: 20.0, 14: 24.0}, 9, 16)
    assert temps == [20.0, 20.0, 21.0, 22.0, 23.0, 24.0, 24.0]
    assert missing == 5
    with pytest.raises(ValueError, match="nothing was measured"):
        filled({}, 0, 3)


def test_a_path_is_read_both_ways():
    path = WarmthPath(0, [(0, HOUR_MS, 10.0), (HOUR_MS, 3 * HOUR_MS, 0.0)])
    assert path.at(HOUR_MS // 2) == 5.0
    assert path.at(-5) == 0.0
    assert path.at(9 * HOUR_MS) == 10.0
    assert path.when(5.0) == HOUR_MS // 2
    assert path.when(0.0) == 0
    assert path.when(10.1) is None


# ---------------------------------------------------------------------------- sources


def test_a_crop_without_source_and_without_looks_has_no_date(warm):
    (one,) = told([a_file(crop="kiwi")], warm())
    assert one.why_none == NO_SOURCE == "no date yet: no source and no own batches"
    view = batch_json(one, ZONE, UTC_MS)
    assert (view["half_rooted"], view["why_none"]) == (None, NO_SOURCE)


def test_own_batches_of_a_crop_without_source_give_a_date(warm):
    end = Closing(
        batch="3359", utc_ms=STUCK_MS + 4 * DAY_MS, outcome=Outcome.WEANED, rooted=18
    )
    looks = [
        a_look(1, base=Base(none=24)),
        a_look(2, base=Base(none=14, roots=10)),
        a_look(3, base=Base(none=6, roots=18)),
    ]
    closed = a_file("3359", looks, closing=end, crop="Kiwi", base_mc=10_000)
    new = a_file(crop="kiwi", base_mc=10_000)
    first, second = told([closed, new], warm())
    assert second.why_none == ""
    assert day_of(second.when_ms[2]) == pytest.approx(2, abs=0.4)
    assert second.posterior is not None
    assert second.posterior.own > 0.9
    (note,) = [one for one in second.notes if one.startswith("your own looks alone")]
    assert note.endswith("K·h and 75 %")
    assert "from your own looks" in str(batch_json(second, ZONE, UTC_MS)["words"])
    assert first.reached


def test_own_looks_move_the_date_of_the_crop_file(warm):
    plain = told([a_file()], warm())[0]
    early = a_file(looks=[a_look(3, base=Base(none=4, roots=20))])
    late = a_file(looks=[a_look(3.9, base=Base(none=24))])
    assert told([early], warm())[0].needs[2] < plain.needs[2]
    assert told([late], warm())[0].needs[0] > plain.needs[0]


# -------------------------------------------------------------- looks become evidence


def at_hours(utc_ms: int) -> float:
    return (utc_ms - STUCK_MS) / HOUR_MS


def test_each_way_of_looking_tells_what_it_can():
    looks = [
        a_look(1, How.TOPS_ONLY, tops=Tops(leafed=20)),
        a_look(2, How.LIFTED, 6, base=Base(none=3, callus=2, roots=1)),
        a_look(3, How.THROUGH_WALL, 10, base=Base(roots=4)),
        a_look(4, How.DRAIN_HOLE, 10, base=Base()),
        a_look(5, How.TUG, 8, tug=Tug(held=5, gave=3)),
        a_look(6, base=Base(none=8, roots=12), dead=Dead(mould=4), of=24),
        a_look(7, How.TOPS_ONLY, sentinels=Sentinels(lifted=2, rooted=1)),
    ]
    found = evidence_of(a_file(looks=looks), at_hours)
    assert found.seen == (
        Seen(48.0, 6, 1, Extent.SOME),
        Seen(72.0, 10, 4, Extent.AT_LEAST),
        Seen(144.0, 24, 12, Extent.ALL),
        Seen(168.0, 2, 1, Extent.SPARE),
    )
    assert found.pulled == (Pulled(120.0, 5, 3, 0.9, 0.25),)
    assert (found.count, found.dead) == (24, 4)


def test_seed_that_is_up_is_seen_from_above():
    looks = [a_look(4, How.TOPS_ONLY, tops=Tops(leafed=9, wilted=1))]
    found = evidence_of(a_file(looks=looks, kind=BatchKind.SEED), at_hours)
    assert found.seen == (Seen(96.0, 24, 10, Extent.ALL),)


def test_an_end_with_a_count_is_a_look_at_all():
    end = Closing(
        batch="3347", utc_ms=STUCK_MS + DAY_MS, outcome=Outcome.WEANED, rooted=20
    )
    found = evidence_of(a_file(closing=end), at_hours)
    assert found.seen == (Seen(24.0, 24, 20, Extent.ALL),)


@pytest.mark.parametrize(
    ("number", "after", "by"), [(3, 2, 5), (6, 2, 5), (9, 5, 9), (13, 9, None)]
)
def test_looks_bracket_when_each_one_rooted(number, after, by):
    looks = [
        a_look(2, base=Base(none=24)),
        a_look(5, base=Base(none=17, roots=7)),
        a_look(9, base=Base(none=12, roots=12)),
    ]
    found = bracket_of(a_file(looks=looks), number, number)
    assert found is not None
    assert found.after_utc_ms == STUCK_MS + after * DAY_MS
    assert found.by_utc_ms == (None if by is None else STUCK_MS + by * DAY_MS)


def test_looks_that_contradict_each_other_bracket_nothing():
    looks = [a_look(2, base=Base(none=4, roots=20)), a_look(5, base=Base(none=24))]
    assert bracket_of(a_file(looks=looks), 10, 10) is None
    assert bracket_of(a_file(count=None), 10, 10) is None


def test_what_has_come_to_pass_is_told_as_that(warm):
    looks = [
        a_look(2, base=Base(none=20, roots=4)),
        a_look(3, base=Base(none=6, roots=18)),
    ]
    (one,) = told([a_file(looks=looks)], warm())
    view = batch_json(one, ZONE, STUCK_MS + 4 * DAY_MS)
    assert view["reached"] is True
    assert "had rooted between 2026-02-16 and 2026-02-17, by the looks" in view["words"]
    assert 2 <= day_of(one.when_ms[0]) <= day_of(one.when_ms[4]) <= 3


# --------------------------------------------------------------------- words, scores


def test_the_report_lists_open_batches_only(warm):
    end = Closing(batch="3359", utc_ms=STUCK_MS + DAY_MS, outcome=Outcome.FAILED)
    both = told([a_file(), a_file("3359", closing=end)], warm())
    found = report(both, ZONE, STUCK_MS + 4 * DAY_MS, {})
    assert [one["code"] for one in found["batches"]] == ["3347"]
    assert found["at"] == "2026-02-18T09:00:00.000Z"
    (view,) = found["batches"]
    dates = view["half_rooted"]
    assert list(dates) == ["from_90", "from_50", "median", "to_50", "to_90"]
    assert list(dates.values()) == sorted(dates.values())
    assert view["words"].startswith(
        f"Half of those that will root have rooted by {dates['median']}, as likely as"
        f" not from {dates['from_50']} to {dates['to_50']}, nine times of ten from"
    )
    assert "a guess without a source, none yet from your own looks" in view["words"]


def test_a_median_in_the_past_asks_for_a_look(warm):
    (one,) = told([a_file()], warm(days=9), days=9)
    assert "so have a look" in str(
        batch_json(one, ZONE, STUCK_MS + 9 * DAY_MS)["words"]
    )


@pytest.mark.parametrize(
    ("window", "verdict"),
    [
        (("2026-02-15", "2026-02-20"), "right"),
        (("2026-02-15", None), "right"),
        (("2026-02-17", "2026-02-20"), "unclear"),
        (("2026-02-18", "2026-02-20"), "wrong"),
        (("2026-02-10", "2026-02-15"), "wrong"),
    ],
)
def test_a_first_window_is_scored_by_the_looks(warm, window, verdict):
    looks = [
        a_look(2, base=Base(none=20, roots=4)),
        a_look(3, base=Base(none=6, roots=18)),
    ]
    found = told([a_file(looks=looks)], warm())
    history = [
        Issued("3347", STUCK_MS, *window),
        Issued("3347", STUCK_MS + DAY_MS, "2020-01-01", "2020-01-02"),
    ]
    counts = scores(history, found, ZONE)
    assert {key: counts[key] for key in ("right", "wrong", "unclear")} == {
        **dict.fromkeys(("right", "wrong", "unclear"), 0),
        verdict: 1,
    }


def test_a_forecast_made_when_it_had_come_to_pass_is_not_scored(warm):
    looks = [a_look(3, base=Base(none=6, roots=18))]
    found = told([a_file(looks=looks)], warm())
    history = [Issued("3347", STUCK_MS + 3 * DAY_MS, "2026-02-10", "2026-02-11")]
    assert scores(history, found, ZONE)["words"] == (
        "no earlier forecast has come to pass yet"
    )


def test_the_first_forecast_and_one_a_week_are_kept(warm):
    found = told([a_file()], warm())
    kept: list[Issued] = []
    for day in range(16):
        kept = with_today(kept, found, ZONE, STUCK_MS + day * DAY_MS)
    assert [round(day_of(one.at_utc_ms)) for one in kept] == [0, 7, 14]
    assert issued_from(as_kept(kept)) == kept


def test_rubbish_in_a_history_is_left_out():
    kept = [{"code": 3}, "x", {"code": "a", "at_utc_ms": 1, "from_90": "2026-01-01"}]
    assert issued_from(kept) == [Issued("a", 1, "2026-01-01", None)]
    assert issued_from("all") == []
