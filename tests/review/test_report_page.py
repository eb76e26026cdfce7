"""The season report: what it tells of an invented season, and how it is set."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.units import DAY_MS, HOUR_MS
from controller.ports import Bucket
from controller.records.batch_desk import add_batch, add_look, close
from controller.records.batches import Batch, BatchKind
from controller.records.book import BatchFile, Book, batches, fold
from controller.records.codes import code_of
from controller.records.desk import Stamp
from controller.records.events import BenchEvent, EventKind
from controller.records.looks import Base, How, Look, Tops
from controller.records.places import Closing, Outcome
from controller.records.trials import TestName, Trial, TrialUnit, UnitKind
from controller.records.varieties import varieties
from controller.review.batch_hours import Hours
from controller.review.forecast_scores import Issued
from controller.review.recounted import Thresholds
from controller.review.report.batch_chart import batch_charts
from controller.review.report.marks import apart
from controller.review.report.mat_chart import mat_chart, pieces
from controller.review.report.page import season_page
from controller.review.report.plant_sections import recommendation
from controller.review.report.scale import Degrees, Scale, midnights, ticks
from controller.review.report.sections import Telling
from controller.review.report.story import (
    AlarmStory,
    BatchStory,
    MatStory,
    SeasonStory,
    TrayStory,
)

FROM_MS = 1_801_000_000_000
TO_MS = FROM_MS + 10 * DAY_MS
EVIL = '<script>alert("x")</script>&'


def tray(name: str = "N1", *, gap: bool = False, low_mc: int = 20_500) -> TrayStory:
    hours = [h for h in range(240) if not (gap and 100 <= h < 130)]
    return TrayStory(
        name,
        EVIL,
        "coir-perlite",
        tuple(
            Bucket(FROM_MS + h * HOUR_MS, 120, low_mc, low_mc + 800, 120 * 20_900)
            for h in hours
        ),
        {20_500: 900, 20_750: 500, 21_000: 100},
        None,
    )


def mat(*trays: TrayStory, name: str = "north") -> MatStory:
    first = FROM_MS // DAY_MS
    return MatStory(
        name=name,
        title=EVIL,
        power_mw=100_000,
        policy="PID",
        watched=False,
        setpoints=((FROM_MS + 60_000, 21_000), (FROM_MS + 5 * DAY_MS, 18_000)),
        on_ms=120 * HOUR_MS,
        on_by_day={first + n: 11 * HOUR_MS for n in range(11)},
        operations=4_321,
        trays=trays,
    )


def files() -> list[BatchFile]:
    stamp = Stamp(TO_MS, "a test")
    book = Book()
    for kind, crop in ((BatchKind.HARDWOOD, EVIL), (BatchKind.SEED, "chilli")):
        batch = Batch(
            crop=crop,
            cultivar="Slate Ridge",
            kind=kind,
            count=20,
            wanted=3,
            tray="N1",
            stuck_utc_ms=FROM_MS + HOUR_MS,
        )
        book = fold(book, add_batch(book, batch, stamp))
    one, two = code_of(1), code_of(2)
    looks = [
        (one, 2, How.TOPS_ONLY, {}),
        (one, 4, How.LIFTED, {"base": Base(callus=20)}),
        (one, 8, How.LIFTED, {"base": Base(roots=12, none=8), "tops": Tops(leafed=15)}),
        (two, 3, How.TOPS_ONLY, {"tops": Tops(leafed=4)}),
        (two, 5, How.TOPS_ONLY, {"tops": Tops(leafed=20)}),
    ]
    for code, days, how, also in looks:
        at_ms = FROM_MS + days * DAY_MS
        look = Look(batch=code, utc_ms=at_ms, how=how, looked_at=20, **also)
        book = fold(book, add_look(book, look, stamp))
    end = Closing(
        batch=one, utc_ms=FROM_MS + 9 * DAY_MS, outcome=Outcome.WEANED, rooted=12
    )
    return batches(fold(book, close(book, end, stamp)))


def season(**changes) -> SeasonStory:
    own = files()
    hours = Hours(3_000 * 1000 * HOUR_MS, 20_500 * 200 * HOUR_MS, 200 * HOUR_MS, 0)
    whole = SeasonStory(
        bench="lean-to",
        timezone="Europe/Lisbon",
        from_utc_ms=FROM_MS,
        to_utc_ms=TO_MS,
        runs=2,
        origins=("live",),
        scans=172_800,
        silent_ms=0,
        mats=(mat(tray("N1"), tray("N2", gap=True)),),
        others=(),
        room=tuple(
            Bucket(FROM_MS + h * HOUR_MS, 9, 11_000, 12_000, 9 * 11_500)
            for h in range(240)
        ),
        alarms=(AlarmStory("over-limit", "north", FROM_MS, FROM_MS + HOUR_MS, EVIL),),
        batches=tuple(BatchStory(file, hours, Thresholds(7_000)) for file in own),
        events=[
            BenchEvent(
                kind=EventKind.WATERED,
                utc_ms=FROM_MS + DAY_MS,
                trays=("N1",),
                water_ml=400,
                text=EVIL,
            )
        ],
        varieties=tuple(varieties(own, TO_MS, lambda _: "2027-01")),
    )
    return replace(whole, **changes)


def page(story: SeasonStory, unit: str = "°C", **also) -> str:
    return season_page(Telling(story, Degrees(unit), **also), "season.db")


class Tags(HTMLParser):
    """Every tag that is open when its end comes, and what asks for something."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()
        self.asks: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        self.asks += [v for k, v in attrs if k in ("src", "href", "action", "data")]
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.add(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def read(whole: str) -> Tags:
    tags = Tags()
    tags.feed(whole)
    assert tags.open == []
    return tags


def pictures(whole: str) -> list[ET.Element]:
    return [ET.fromstring(found) for found in re.findall(r"<svg.*?</svg>", whole)]  # noqa: S314


def test_the_page_is_whole_and_asks_for_nothing_from_elsewhere():
    whole = page(season())
    tags = read(whole)
    assert tags.asks == []
    assert "script" not in tags.seen
    assert "http" not in whole.replace("http://www.w3.org/2000/svg", "")
    assert len(pictures(whole)) == 4


def test_what_people_wrote_stands_there_as_they_wrote_it():
    whole = page(season())
    assert "<script" not in whole
    assert read(whole).text.count('alert("x")') >= 5


def test_no_number_of_a_picture_is_missing_or_endless():
    for picture in pictures(page(season())):
        for mark in picture.iter():
            for key, value in mark.attrib.items():
                if key in ("x", "y", "x1", "x2", "y1", "y2", "width", "height"):
                    assert abs(float(value)) < 5_000
                if key in ("points", "d"):
                    assert "nan" not in value and "inf" not in value


def test_large_figures_and_tables_tell_what_the_story_does():
    said = read(page(season(), cost=lambda kwh: f"{0.3 * kwh:.2f} EUR")).text
    for words in (
        "26 January 2027",
        "12.0 kWh",  # 120 h of 100 W
        "3.60 EUR",
        "it went on 4,321 times",
        "on 50 % of the time",
        "between 18 °C and 21 °C",
        "12 of 20",
        "3,000 K·h",
        "20.5 °C",
        "weaned, 4\N{NO-BREAK SPACE}Feb",
        "30\N{NO-BREAK SPACE}Jan to 3\N{NO-BREAK SPACE}Feb",
        "29\N{NO-BREAK SPACE}Jan to 31\N{NO-BREAK SPACE}Jan",
        "Water that was told of: 0.4 l",
        "172,800 scans in 2 runs",
        "is no safety device",
    ):
        assert words in said, words


def test_in_fahrenheit_every_temperature_is():
    said = read(page(season(), unit="°F")).text
    assert "°C" not in said and "K·h" not in said
    for words in ("between 64.4 °F and 69.8 °F", "68.9 °F", "5,400 °F·h", "44.6 °F"):
        assert words in said, words


def test_a_simulated_or_unwatched_season_says_so():
    said = read(page(season(origins=("live", "simulate")))).text
    assert "simulated bench: invented" in said
    assert "invented" not in read(page(season())).text
    assert "For 30 hours in between" in read(page(season(silent_ms=30 * HOUR_MS))).text


def test_a_season_without_anything_but_scans_is_told_too():
    bare = mat(TrayStory("N1", "", "", (), {}, None))
    empty = season(
        mats=(
            replace(bare, setpoints=(), on_by_day={}, on_ms=0),
            replace(bare, watched=True),
        ),
        room=(),
        alarms=(),
        batches=(),
        events=[],
        varieties=(),
    )
    said = read(page(empty)).text
    for words in (
        "No batch was told of",
        "No tray of it was measured",
        "Only watched, never heated",
        "no setpoint in force",
        "Nothing rang",
    ):
        assert words in said, words


def test_many_batches_are_drawn_in_pictures_that_fit_on_paper():
    one = season().batches[0]
    many = season(batches=(one,) * 40)
    drawn = [
        p for p in pictures(page(many)) if p.get("aria-label", "")[:7] == "Batches"
    ]
    assert len(drawn) == 3
    assert all(float(p.get("viewBox").split()[3]) < 800 for p in drawn)


def test_how_a_batch_ended_stands_behind_its_bar_also_at_the_season_s_end():
    story = season()
    file = story.batches[0].file
    end = replace(file.closing, utc_ms=TO_MS, outcome=Outcome.PLANTED_OUT)
    at_its_end = replace(story.batches[0], file=replace(file, closing=end))
    (chart,) = batch_charts(season(batches=(at_its_end,)))
    texts = ET.fromstring(chart).iter()
    said = {one.text: one for one in texts if one.tag.endswith("text")}
    for line in ("planted out", "12 of 20"):
        assert said[line].get("text-anchor", "start") == "start"
        assert float(said[line].get("x")) + 5.2 * len(line) < 720


def test_many_alarms_are_counted_and_the_first_told_one_by_one():
    many = [
        AlarmStory("probe-lost", "n1", FROM_MS + n, None, "lost") for n in range(100)
    ]
    said = read(page(season(alarms=tuple(many)))).text
    assert "The first 40, one by one" in said
    assert said.count("to the end") == 40
    assert "100" in said


def test_where_nothing_was_read_a_line_ends():
    assert [len(piece) for piece in pieces(tray().buckets)] == [240]
    assert [len(piece) for piece in pieces(tray(gap=True).buckets)] == [100, 110]
    assert list(pieces(())) == []
    drawn = mat_chart(season(), mat(tray(gap=True)), Degrees())
    assert drawn.count("<polyline") == 3  # two pieces and the setpoint


def test_alarms_of_a_mat_and_of_its_probes_are_marked_and_no_others():
    own = replace(tray(), probes=("n1",))
    rang = [
        AlarmStory(kind, subject, FROM_MS + DAY_MS, end, "words")
        for kind, subject, end in (
            ("over-limit", "north", FROM_MS + 2 * DAY_MS),
            ("probe-lost", "n1", None),
            ("probe-lost", "s1", None),
        )
    ]
    drawn = mat_chart(season(alarms=tuple(rang)), mat(own), Degrees())
    assert "<title>over-limit north</title>" in drawn
    assert "<title>probe-lost n1</title>" in drawn
    assert "probe-lost s1" not in drawn


def test_only_the_first_cold_hours_may_leave_the_picture():
    warm = tray()
    cold = Bucket(FROM_MS, 120, 12_000, 20_900, 120 * 16_000)
    first = replace(warm, buckets=(cold, *warm.buckets[1:]))
    assert "down to 12.0 °C" in mat_chart(season(), mat(first), Degrees())
    later = replace(cold, start_ms=FROM_MS + 100 * HOUR_MS)
    shown = replace(warm, buckets=(*warm.buckets[:100], later, *warm.buckets[101:]))
    drawn = mat_chart(season(), mat(shown), Degrees())
    assert "down to" not in drawn
    assert ">12<" in drawn  # the axis reaches down to it


@given(
    low=st.floats(-50, 80),
    span=st.floats(0.01, 200),
    most=st.integers(2, 12),
)
def test_ticks_are_round_within_the_ends_and_not_too_many(low, span, most):
    found = ticks(low, low + span, most)
    assert len(found) <= most + 1
    assert all(low - 1e-6 <= one <= low + span + 1e-6 for one in found)
    steps = {round(b - a, 6) for a, b in pairwise(found)}
    assert len(steps) <= 1


def test_days_begin_at_local_midnight_through_a_change_of_the_clock():
    begin = 1_805_760_000_000  # 2027-03-23T00:00:00Z; the clock changes on the 28th
    found = list(midnights(begin, begin + 10 * DAY_MS, "Europe/Lisbon", 14))
    assert found[0][1] == date(2027, 3, 23)
    lengths = {b[0] - a[0] for a, b in pairwise(found)}
    assert lengths == {DAY_MS, DAY_MS - HOUR_MS}
    assert len(list(midnights(begin, begin + 200 * DAY_MS, "UTC", 14))) <= 14


@given(places=st.lists(st.floats(0, 300), min_size=1, max_size=8))
def test_names_at_the_ends_of_lines_never_cover_each_other(places):
    found = sorted(apart(places, 12))
    gaps = [b - a for a, b in pairwise(found)]
    assert all(gap >= 12 - 1e-6 for gap in gaps)
    order = sorted(range(len(places)), key=lambda n: places[n])
    moved = apart(places, 12)
    assert [moved[n] for n in order] == sorted(moved)


def test_a_scale_holds_what_lies_beyond_at_its_end():
    scale = Scale(0, 10, 100, 0)
    assert (scale.at(5), scale.at(12), scale.within(12)) == (50, -20, 0)


# ------------------------------------------------------------- trials and forecasts


def trial(**changes) -> Trial:
    one, two = code_of(1), code_of(2)
    plan = Trial(
        title=EVIL,
        arms=("coir", "bark"),
        unit=UnitKind.POT,
        cuttings=20,
        units=(
            TrialUnit(name="a", arm="coir", block="1", batch=one),
            TrialUnit(name="b", arm="bark", block="1", batch=two),
        ),
        seed=11,
        test=TestName.BOSCHLOO,
        smallest_p=0.029,
    )
    return replace(plan, **changes)


def test_a_trial_is_described_with_its_plan_and_not_judged():
    said = read(page(season(trials=(("7", trial()),)))).text
    for words in (
        "Planned: medium, 2 pots of 20, by boschloo, seed 11",
        "the smallest p that could come out is 0.029",
        "60 %",
        "39 to 78 %",  # 12 of 20 by Wilson: 0.3866 to 0.7812
        "at least 20",
        "no verdict",
    ):
        assert words in said, words
    assert "Trials" not in read(page(season())).text


@pytest.mark.parametrize(
    ("window", "verdict"),
    [
        (("2027-01-26", "2027-02-10"), "right"),
        (("2027-02-20", "2027-03-10"), "wrong"),
        (("2027-02-01", "2027-02-10"), "unclear"),
    ],
)
def test_the_first_forecast_of_a_batch_is_held_against_what_came(window, verdict):
    one, two = code_of(1), code_of(2)
    given = [
        Issued(one, FROM_MS + 2 * HOUR_MS, *window),
        Issued(one, FROM_MS + 3 * HOUR_MS, "2020-01-01", "2020-01-02"),  # a later one
        Issued(two, FROM_MS + 2 * HOUR_MS, "2027-02-01", None),
    ]
    whole = season_page(Telling(season(), Degrees()), "season.db", issued=given)
    said = read(whole).text
    assert f"{window[0]} to {window[1]}" in said
    table = said[said.index("Forecasts, and what came") :]
    row = table[table.index(one) : table.index(two)]
    # Half of the twelve that rooted: none by the look on day 4, all by day 8.
    assert "30\N{NO-BREAK SPACE}Jan to 3\N{NO-BREAK SPACE}Feb" in row
    assert verdict in row
    assert "after 2027-02-01" in table and "not counted yet" in table
    assert "2020" not in said


# ----------------------------------------------------------------------- what if

TUNED = {
    "mat": "north",
    "wish": "fewest relay operations",
    "answer": {"possible": True, "recommended": 7},
    "ways": [
        {
            "name": "as now",
            "candidate": 0,
            "way": "21 °C, PID",
            "energy_kwh": {"value": 6.4, "low": 6.39, "high": 6.41},
        },
        {
            "name": "recommended",
            "candidate": 7,
            "way": "21 °C, on-off 2 K",
            "energy_kwh": {"value": 7.69, "low": None, "high": None},
            "in_band_share": {"value": 0.424, "low": 0.42, "high": 0.43},
        },
    ],
}


def test_what_tune_recommended_stands_there_as_a_model_s_word():
    said = read(recommendation(TUNED)).text
    for words in (
        "From a model fitted to the log, not from the bench",
        "Recommended: 21 °C, on-off 2 K",
        "6.4 (6.39 to 6.41)",
        "7.69",
        "42.4 (42 to 43)",
    ):
        assert words in said, words
    impossible = {**TUNED, "answer": {"possible": False}}
    assert "cannot be had" in read(recommendation(impossible)).text


@pytest.mark.parametrize("told", [None, [], {}, {"mat": "north"}, {"ways": [{}]}])
def test_what_tune_never_printed_is_refused(told):
    with pytest.raises(ValueError, match="not what bottomheat tune"):
        recommendation(told)
