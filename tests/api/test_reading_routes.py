"""What the routes that show the bench answer."""

import re
from dataclasses import replace

import pytest

from api.app import create_app
from controller.core.decisions import Cause
from controller.core.scan import Hold, LogHealth, SetSetpoint
from controller.core.state import Mode, ThermalAccount, Trip
from controller.core.units import HOUR_MS, MilliC
from controller.tabletop import Millimetres, Stand, Tabletop

Z = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")


async def got(client, path):
    answer = await client.get(path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["cache-control"] in {"no-store", "private, no-cache"}
    return answer.json()


def instants(value, key=""):
    """Yield every text under a key that names an instant."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from instants(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from instants(inner, key)
    elif key in {"at", "since", "until", "start", "end", "ends"} or key.endswith(
        ("_at", "_since", "_until")
    ):
        yield value


async def test_the_root_points_at_the_bench_and_the_document(client):
    body = await got(client, "/v1")
    assert body["bench"] == "/v1/bench"
    assert body["openapi"] == "/openapi.json"
    assert (await client.get(body["openapi"])).json()["info"]["title"] == "bottomheat"


async def test_bench_shows_everything_of_the_last_scan(client, bench):
    bench.run_ms += 2_500
    body = await got(client, "/v1/bench")
    assert body["bench"] == "lean-to"
    assert body["scan"] == 3
    assert body["scan_s"] == 5
    assert body["scan_age_s"] == 2.5
    assert body["at"] == "2026-02-14T09:00:15.000Z"
    assert body["refused_messages"] == 3
    assert [tray["name"] for tray in body["trays"]] == ["N1", "N2", "S1", "V1", "W1"]
    assert [mat["name"] for mat in body["mats"]] == ["north", "south", "watched"]
    assert body["room"][0]["temp_c"] == 13.5
    assert body["witnesses"][0]["quantity"] == "humidity"
    assert body["witnesses"][0]["value"] == 71.2
    assert body["alarms"] == []
    assert body["log_health"] == "ok"


async def test_every_instant_is_utc_with_milliseconds_and_z(client):
    for path in ("/v1/bench", "/v1/health", "/v1/mats/north/why", "/v1/alarms"):
        found = [text for text in instants(await got(client, path)) if text is not None]
        assert found
        assert [text for text in found if not Z.fullmatch(text)] == []


async def test_where_things_stand_is_told_as_they_lie_and_null_where_it_is_not(
    client, bench
):
    north = Stand(Millimetres(100, 50), Millimetres(530, 1_200))
    tray = Stand(Millimetres(120, 60), Millimetres(400, 300))
    bench.tabletop = Tabletop({"north": north}, {"N1": tray})
    bench.scan()
    body = await got(client, "/v1/mats/north")
    assert (body["at_mm"], body["size_mm"]) == ([100, 50], [530, 1_200])
    assert (body["length_mm"], body["width_mm"]) == (1_200, 530)
    body = await got(client, "/v1/trays/N1")
    assert (body["at_mm"], body["size_mm"]) == ([120, 60], [400, 300])
    for path in ("/v1/mats/south", "/v1/trays/N2"):
        body = await got(client, path)
        assert (body["at_mm"], body["size_mm"]) == (None, None)


async def test_trays_and_mats_are_those_of_the_bench(client):
    whole = await got(client, "/v1/bench")
    assert (await got(client, "/v1/trays"))["trays"] == whole["trays"]
    assert (await got(client, "/v1/mats"))["mats"] == whole["mats"]
    assert await got(client, "/v1/trays/N2") == whole["trays"][1]
    assert await got(client, "/v1/mats/south") == whole["mats"][1]


async def test_a_tray_shows_the_mean_of_its_usable_probes(client):
    body = await got(client, "/v1/trays/N2")
    assert body["temp_c"] == 20.5
    assert body["temp_text"] == "20.5 °C"
    assert body["mat"] == "north"
    assert [probe["temp_c"] for probe in body["probes"]] == [20.0, 21.0]
    assert body["probes"][1]["depth_mm"] == 40
    assert {probe["quality"] for probe in body["probes"]} == {"good"}


async def test_a_tray_without_a_probe_has_no_temperature_and_says_so(client):
    body = await got(client, "/v1/trays/W1")
    assert (body["temp_c"], body["temp_text"]) == (None, "none")
    assert body["mat"] is None


async def test_a_silent_tray_says_for_how_long_while_the_last_value_stays(
    client, bench
):
    bench.run_ms += 185_000
    body = await got(client, "/v1/trays/N1")
    assert (body["temp_c"], body["temp_text"]) == (None, "no reading for 3 min")
    probe = body["probes"][0]
    assert (probe["temp_c"], probe["last_good_c"], probe["age_s"]) == (None, 20.5, 185)
    assert probe["quality"] == "uncertain"


async def test_a_tray_never_heard_says_no_reading_yet(make_bench, connect):
    bench = make_bench().scan()
    async with connect(create_app(bench, None, bench)) as client:
        body = await got(client, "/v1/trays/N1")
    assert (body["temp_c"], body["temp_text"]) == (None, "no reading yet")
    assert body["probes"][0]["quality"] == "bad"
    assert body["probes"][0]["last_good_at"] is None


async def test_a_doubted_reading_is_shown_with_its_reason(client, bench, warm):
    bench.scan(warm | {"n1": 85.0})
    probe = (await got(client, "/v1/trays/N1"))["probes"][0]
    assert probe["temp_c"] is None
    assert probe["quality"] == "bad"
    assert probe["doubt"]["why"] == "power-up-value"
    assert probe["doubt"]["temp_c"] == 85
    assert "85.00 °C" in probe["doubt"]["sentence"]


async def test_degree_hours_carry_all_they_were_counted_from(client, bench):
    whole = 288 * 11_000 * HOUR_MS
    account = ThermalAccount(
        MilliC(10_000),
        heat_mk_ms=whole,
        warmth_mk_ms=300 * 21_000 * HOUR_MS,
        last_ms=bench.run_ms,
        measured_ms=300 * HOUR_MS,
        gap_ms=HOUR_MS // 2,
        gaps=1,
    )
    accounts = {**bench.state.accounts, "N1": account}
    bench.current = replace(
        bench.current, state=replace(bench.state, accounts=accounts)
    )
    body = await got(client, "/v1/trays/N1/degree-hours")
    assert body == {
        "tray": "N1",
        "degree_hours_k_h": 3168.0,
        "base_c": 10.0,
        "upper_c": None,
        "hours_measured": 300.0,
        "gap_hours": 0.5,
        "gaps": 1,
        "mean_c": 21.0,
        "equal_to": "equal to 12 days at 21 °C",
        "reference_c": 21.0,
        "method": (
            "integral of the straight line between readings, above base and below "
            "upper; gaps are counted, never bridged"
        ),
        "source": "live counter",
        "start": None,
        "end": "2026-02-14T09:00:15.000Z",
    }


async def test_days_are_not_named_where_there_is_no_setpoint_to_count_them_at(client):
    body = await got(client, "/v1/trays/W1/degree-hours")
    assert (body["equal_to"], body["reference_c"], body["mean_c"]) == (None,) * 3


async def test_days_at_a_setpoint_above_the_upper_cutoff_count_up_to_it(client, bench):
    account = replace(
        bench.state.accounts["S1"],
        upper_mc=MilliC(20_000),
        heat_mk_ms=240 * 10_000 * HOUR_MS,
    )
    accounts = {**bench.state.accounts, "S1": account}
    bench.current = replace(
        bench.current, state=replace(bench.state, accounts=accounts)
    )
    body = await got(client, "/v1/trays/S1")
    assert body["degree_hours"]["equal_to"] == "equal to 10 days at 26 °C"


async def test_a_mat_shows_setpoint_limits_share_of_time_energy_and_programme(client):
    body = await got(client, "/v1/mats/north")
    assert body["mode"] == "regulating"
    assert body["mode_text"] == "heating allowed"
    assert body["policy"] == "pid"
    assert body["driven_by"] == "tray N1"
    assert body["driving_c"] == 20.5
    assert body["setpoint"]["setpoint_c"] == 21
    assert body["setpoint"]["set_by"] == "programme"
    assert body["setpoint"]["night_c"] == 18
    assert body["limits"] == {
        "warn_c": 30,
        "tray_limit_c": 25,
        "cutout_c": 33,
        "surface_limit_c": 42,
        "surface_cutout_c": 50,
    }
    assert body["step"]["number"] == 1
    assert body["step"]["of"] == 2
    assert body["step"]["ends_how"] == "after its days"
    assert body["step"]["ends"] == "2026-02-28T08:58:05.000Z"
    assert body["power_w"] == 100
    assert body["surface"][0]["temp_c"] == 27
    assert body["trays"] == ["N1", "N2"]


async def test_energy_is_the_power_over_the_time_on(client, bench, warm):
    on_since = bench.state.mats["south"].relay
    assert on_since.energised
    bench.run_ms = on_since.since_ms + HOUR_MS // 2
    body = await got(client, "/v1/mats/south")
    assert body["energised"]
    assert body["commanded"]
    assert body["energy_wh"] == 40
    assert body["operations"] == 1
    assert body["duty_text"].startswith("too early to say")
    assert 0 < body["duty_percent"] <= 100
    bench.run_ms = on_since.since_ms + 7 * HOUR_MS
    body = await got(client, "/v1/mats/south")
    assert body["duty_text"] == f"on {body['duty_percent']:.0f} % of the time"


async def test_by_night_the_night_setpoint_is_named(client, bench, warm):
    bench.local_minute = 23 * 60
    bench.scan(warm)
    setpoint = (await got(client, "/v1/mats/north"))["setpoint"]
    assert (setpoint["setpoint_c"], setpoint["set_by"]) == (18, "night")


async def test_an_override_is_shown_with_who_when_and_until(client, bench, warm):
    bench.request("Ada", SetSetpoint("north", MilliC(22_500), 8 * HOUR_MS))
    bench.scan(warm)
    setpoint = (await got(client, "/v1/mats/north"))["setpoint"]
    assert setpoint["setpoint_c"] == 22.5
    assert setpoint["programme_c"] == 21
    assert setpoint["set_by"] == "person"
    assert setpoint["override"] == {
        "setpoint_c": 22.5,
        "who": "Ada",
        "at": "2026-02-14T09:00:20.000Z",
        "until": "2026-02-14T17:00:20.000Z",
    }
    assert setpoint["text"] == "22.5 °C, set by Ada until 17:00"


async def test_a_setpoint_on_its_way_says_where_it_heads(make_bench, connect, warm):
    bench = make_bench()
    mats = tuple(replace(mat, ramp_mk_per_h=1_000) for mat in bench.plan.mats)
    bench.plan = replace(bench.plan, mats=mats)
    bench.scan(warm)
    bench.request("Ada", SetSetpoint("north", MilliC(23_000)))
    bench.scan(warm)
    bench.run_ms += HOUR_MS
    async with connect(create_app(bench, None, bench)) as client:
        setpoint = (await got(client, "/v1/mats/north"))["setpoint"]
    assert (setpoint["setpoint_c"], setpoint["heading_for_c"]) == (22, 23)
    assert setpoint["text"] == "22.0 °C, on its way to 23.0 °C, set by Ada"


async def test_a_hold_says_until_when_by_the_clock_of_the_bench(client, bench, warm):
    bench.request("Ada", Hold("north", 15 * 60_000))
    bench.scan(warm)
    body = await got(client, "/v1/mats/north")
    assert body["mode_text"] == "hands on the bench until 09:15"
    assert body["hold_until"] == "2026-02-14T09:15:20.000Z"
    assert not body["energised"]


async def test_a_hold_past_midnight_names_the_day(client, bench):
    bench.change("north", mode=Mode.HELD, hold_until_ms=20 * HOUR_MS)
    body = await got(client, "/v1/mats/north")
    assert body["mode_text"] == "hands on the bench until 04:58 on 2026-02-15"


async def test_a_watch_only_mat_is_only_watched(client):
    body = await got(client, "/v1/mats/watched")
    assert body["watch_only"]
    assert body["mode_text"] == "only watched"
    assert body["cause"] == "watch-only"


@pytest.mark.parametrize(
    ("mode", "words"),
    [
        (Mode.STARTING, "starting: waiting for good readings"),
        (Mode.REGULATING, "heating allowed"),
        (Mode.INHIBITED, "held off for now"),
        (Mode.HELD, "hands on the bench"),
        (Mode.OFF, "switched off"),
        (Mode.TRIPPED, "locked off until you reset it"),
    ],
)
async def test_every_mode_has_words_of_the_growers(client, bench, mode, words):
    bench.change("north", mode=mode)
    assert (await got(client, "/v1/mats/north"))["mode_text"] == words


async def test_a_trip_is_shown_with_its_numbers_and_raises_an_alarm(
    client, bench, warm
):
    for _ in range(3):  # the first is a jump, which the second one confirms
        bench.scan(warm | {"n1": 33.4})
    body = await got(client, "/v1/mats/north")
    assert body["mode_text"] == "locked off until you reset it"
    assert body["trip"]["probe"] == "n1"
    assert body["trip"]["cause"] == "over-cutout"
    assert (body["trip"]["temp_c"], body["trip"]["limit_c"]) == (33.4, 33)
    assert (
        body["trip"]["sentence"] == "Probe n1 read 33.40 °C; the cut-out is 33.00 °C."
    )
    alarms = (await got(client, "/v1/alarms"))["alarms"]
    assert "trip.north" in [alarm["id"] for alarm in alarms]
    trip = next(alarm for alarm in alarms if alarm["kind"] == "trip")
    assert trip["subject"] == "north"
    assert trip["numbers"] == {"temp_c": 33.4, "limit_c": 33}
    assert "33.40 °C" in trip["sentence"]


async def test_why_gives_cause_sentence_and_numbers_with_units(client):
    body = await got(client, "/v1/mats/south/why")
    assert body["energised"]
    assert body["cause"] == "below-band"
    assert body["sentence"] == (
        "The root zone is at 24.00 °C, below 25.88 °C: heat until it is above 26.12 °C."
    )
    assert body["numbers"] == {
        "root_c": 24,
        "setpoint_c": 26,
        "low_c": 25.875,
        "high_c": 26.125,
    }
    assert body["scan"] == 3


async def test_numbers_of_a_pid_keep_their_units(client):
    numbers = (await got(client, "/v1/mats/north/why"))["numbers"]
    assert numbers["cycle_s"] == 600
    assert 0 <= numbers["duty"] <= 1


async def test_sentences_speak_fahrenheit_where_the_bench_does(
    make_bench, connect, warm
):
    bench = make_bench(display_unit="°F").scan(warm)
    bench.run_ms += 120_000
    bench.scan(warm)
    async with connect(create_app(bench, None, bench)) as client:
        tray = await got(client, "/v1/trays/N1")
        why = await got(client, "/v1/mats/south/why")
        mat = await got(client, "/v1/mats/south")
    assert (tray["temp_c"], tray["temp_text"]) == (20.5, "68.9 °F")
    assert tray["degree_hours"]["equal_to"].endswith("at 69.8 °F")
    assert "at 75.20 °F" in why["sentence"]
    assert why["numbers"]["root_c"] == 24
    assert mat["setpoint"]["text"] == "78.8 °F"


async def test_health_is_ok_while_nothing_asks_for_a_person(client):
    body = await got(client, "/v1/health")
    assert (body["status"], body["reasons"], body["alarms"]) == ("ok", [], 0)


async def test_health_gives_reasons_where_a_person_should_look(client, bench, warm):
    bench.clock_ok = False
    bench.scan(warm, log_health=LogHealth.FAILED)
    body = await got(client, "/v1/health")
    assert body["status"] == "attention"
    assert body["log_health"] == "failed"
    assert "The season log cannot be written." in body["reasons"]
    assert "The wall clock is not known to be right." in body["reasons"]


async def test_health_is_refused_when_scans_have_stopped(client, bench, as_problem):
    bench.run_ms += 15_001
    body = as_problem(await client.get("/v1/health"), 503)
    assert "15 s ago" in body["detail"]


async def test_a_reading_ahead_of_the_clock_has_no_negative_age(client, bench):
    bench.run_ms -= 4_000
    body = await got(client, "/v1/bench")
    assert body["scan_age_s"] == 0
    assert body["room"][0]["age_s"] == 0


async def test_a_trip_of_another_day_keeps_its_own_time(client, bench):
    trip = Trip(Cause.OVER_CUTOUT, "n1", MilliC(33_000), MilliC(33_000), 0, 0)
    bench.change("north", trip=trip, mode=Mode.TRIPPED)
    body = await got(client, "/v1/mats/north")
    assert body["trip"]["at"] == "1970-01-01T00:00:00.000Z"


async def test_head_is_answered_like_get_without_a_body(client):
    answer = await client.head("/v1/bench")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    assert answer.content == b""
