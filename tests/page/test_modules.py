"""Parts of the page that are pure, asked in the browser that runs them."""

import pytest

HOUR_MS = 3_600_000


@pytest.fixture
def ask(page):
    """Return how to ask a function of a module."""

    def asked(module, call):
        return page.evaluate(
            "async () => {"
            f" const m = await import('/page/{module}.js'); return {call}; }}"
        )

    return asked


@pytest.mark.parametrize(
    ("call", "text"),
    [
        ("m.tempText(20.55, '°C')", "20.6\u00a0°C"),
        ("m.tempText(20.55, '°F')", "69.0\u00a0°F"),
        ("m.tempText(-0.04, '°C')", "0.0\u00a0°C"),
        ("m.tempText(-3.25, '°C', 2)", "\u22123.25\u00a0°C"),
        ("m.differenceText(1, '°C')", "1\u00a0K"),
        ("m.differenceText(1, '°F')", "1.8\u00a0°F"),
        ("m.figure(46077.4, 0)", "46\u202f077"),
        ("m.figure(1234.5, 1)", "1234.5"),
        ("m.energyText(99.4)", "99\u00a0Wh"),
        ("m.energyText(1234)", "1.23\u00a0kWh"),
        ("m.shareText(0.996)", "99\u00a0%"),
        ("m.shareText(1)", "100\u00a0%"),
        ("m.lastingText(59_400)", "59\u00a0s"),
        ("m.lastingText(3_600_000)", "1\u00a0h"),
        ("m.lastingText(200 * 60_000)", "3\u00a0h 20\u00a0min"),
        ("m.lastingText(51 * 3_600_000)", "2\u00a0d 3\u00a0h"),
    ],
)
def test_figures_are_written_as_people_read_them(ask, call, text):
    assert ask("units", call) == text


def test_there_and_back_between_units_is_the_same(ask):
    assert ask("units", "m.fromShown(m.toShown(21.3, '°F'), '°F')") == pytest.approx(
        21.3
    )


@pytest.mark.parametrize(
    ("utc", "zone", "field"),
    [
        ("2027-02-03T08:00:00Z", "UTC", "2027-02-03T08:00"),
        ("2027-02-03T08:00:00Z", "Europe/Paris", "2027-02-03T09:00"),
        ("2027-02-03T23:30:00Z", "Pacific/Auckland", "2027-02-04T12:30"),
        ("2027-03-28T00:59:00Z", "Europe/Paris", "2027-03-28T01:59"),
        ("2027-03-28T01:00:00Z", "Europe/Paris", "2027-03-28T03:00"),
        ("2027-02-03T08:00:00Z", "Asia/Kolkata", "2027-02-03T13:30"),
    ],
)
def test_a_time_is_shown_and_read_on_the_benchs_clock(ask, utc, zone, field):
    """Around summer time, too: after 01:59 comes 03:00 in Paris on that day."""
    assert ask("clock", f"m.fieldOf(Date.parse('{utc}'), '{zone}')") == field
    read = f"m.ofField('{field}', '{zone}') - Date.parse('{utc}')"
    assert ask("clock", read) == 0


def test_a_day_begins_at_its_own_midnight(ask):
    """On the day that summer time begins it has 23 hours."""
    begins = "m.midnight(Date.parse('2027-03-28T12:00:00Z'), 'Europe/Paris')"
    assert (
        ask("clock", f"new Date({begins}).toISOString()") == "2027-03-27T23:00:00.000Z"
    )


def test_ticks_stand_at_full_hours_of_the_benchs_clock(ask):
    begin, end = (f"Date.parse('2027-02-03T0{hour}:10:00Z')" for hour in (0, 6))
    window = f"{{fromMs: {begin}, toMs: {end}}}"
    texts = ask(
        "chart_scale", f"m.timeTicks({window}, 400, 'Asia/Kolkata').map((t) => t[1])"
    )
    assert texts == ["06:00", "07:00", "08:00", "09:00", "10:00", "11:00"]


def test_a_window_stays_within_the_season_and_keeps_its_length(ask):
    limits = "{firstMs: 0, lastMs: 100 * 3600000}"
    moved = ask(
        "chart_scale",
        f"m.bounded({{fromMs: 90 * 3600000, toMs: 120 * 3600000}}, {limits})",
    )
    assert moved == {"fromMs": 70 * HOUR_MS, "toMs": 100 * HOUR_MS}
    wide = ask("chart_scale", f"m.bounded({{fromMs: -1e9, toMs: 9e9}}, {limits})")
    assert wide == {"fromMs": 0, "toMs": 100 * HOUR_MS}


def warming(minutes, begin_c, end_c, constant_h):
    """Return points of a body that nears its end exponentially."""
    rise = f"{end_c} - ({end_c} - {begin_c}) * Math.exp(-n * 2 / 60 / {constant_h})"
    return f"Array.from({{length: {minutes // 2}}}, (_, n) => [n * 120000, {rise}])"


def test_a_tray_that_warms_is_foretold_by_its_own_bend(ask):
    """An exact exponential: from 16 to 26 °C in 2 h, 24 °C is reached at 2 h ln 5."""
    found = ask("warming", f"m.reachedIn({warming(40, 16, 26, 2)}, 24)")
    left_h = 2 * 1.6094379 - 38 / 60
    assert found / HOUR_MS == pytest.approx(left_h, rel=0.02)


@pytest.mark.parametrize("target_c", [25.95, 30])
def test_of_what_is_never_reached_nothing_is_foretold(ask, target_c):
    assert ask("warming", f"m.reachedIn({warming(40, 16, 26, 2)}, {target_c})") is None


@pytest.mark.parametrize(
    "points",
    ["[]", "[[0, 16], [60000, 16.2]]", "[0,1,2,3,4,5].map((n) => [n * 60000, 20 - n])"],
)
def test_too_little_and_what_cools_foretells_nothing(ask, points):
    assert ask("warming", f"m.reachedIn({points}, 24)") is None


def test_gaps_are_where_readings_are_missing_for_longer_than_a_probe_may_be_silent(ask):
    """Buckets of 10 s of a probe that speaks each 30 s: two empty ones are no gap."""
    buckets = "[0, 30, 60, 300].map((s) => ({atMs: s * 1000}))"
    assert ask("chart_data", f"m.gapsIn({buckets}, 10000, 120000)") == [
        [70_000, 300_000]
    ]


FORETOLD = """{share_rooted: {expected: 0.8}, half_rooted: {
    from_90: '2027-02-20', from_50: '2027-02-24', median: '2027-02-27',
    to_50: '2027-03-02', to_90: '2027-03-08'}}"""


def test_a_date_is_told_as_a_bracket_and_its_lack_by_its_reason(ask):
    assert ask("batches", f"m.dateText({FORETOLD})") == (
        "half of those that will root have rooted between 20\u00a0Feb and 8\u00a0Mar"
        " (nine times in ten), most likely about 27\u00a0Feb;"
        " 80\u00a0% are expected to root"
    )
    none = "{half_rooted: null, why_none: 'it has no base temperature'}"
    assert ask("batches", f"m.dateText({none})") == "it has no base temperature"
    assert ask("batches", "m.dateText(undefined)") == (
        "no date yet: no source and no own batches"
    )
