"""Temperatures, degree-hours and the journal, read back from the season log."""

import threading
from dataclasses import replace

import anyio
import pytest

from api.app import create_app
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from controller.ports import Columns, Heated, LogEntry
from controller.review.recounted import Span

T_MS = 1_771_059_600_000  # 2026-02-14T09:00:00Z


def every(step_ms, start_ms, count, temp_mc=20_000):
    return [(start_ms + n * step_ms, temp_mc) for n in range(count)]


async def temperatures(client, tray="N1", **query):
    query = {name.rstrip("_"): value for name, value in query.items()}
    answer = await client.get(f"/v1/trays/{tray}/temperatures", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


async def test_an_envelope_tells_least_mean_and_greatest_of_what_was_read(
    client, reader
):
    reader.series["n1"] = [
        (T_MS, 20_000),
        (T_MS + 1_000, 21_000),
        (T_MS + 2_000, 22_000),
        (T_MS + 30_000, 19_500),
    ]
    body = await temperatures(
        client, from_="2026-02-14T09:00:00Z", to="2026-02-14T09:00:40Z", points=4
    )
    assert body == {
        "tray": "N1",
        "start": "2026-02-14T09:00:00.000Z",
        "end": "2026-02-14T09:00:40.000Z",
        "bucket_s": 10,
        "empty_buckets": "omitted",
        "probes": [
            {
                "probe": "n1",
                "buckets": [
                    {
                        "start": "2026-02-14T09:00:00.000Z",
                        "n": 3,
                        "min_c": 20,
                        "mean_c": 21,
                        "max_c": 22,
                    },
                    {
                        "start": "2026-02-14T09:00:30.000Z",
                        "n": 1,
                        "min_c": 19.5,
                        "mean_c": 19.5,
                        "max_c": 19.5,
                    },
                ],
            }
        ],
    }


async def test_the_default_is_the_last_day_in_500_points(client, bench, reader):
    reader.series["n1"] = every(30_000, T_MS - 2 * DAY_MS, 2 * 2_880 + 1)
    body = await temperatures(client)
    assert body["end"] == "2026-02-14T09:00:15.000Z"
    assert body["start"] == "2026-02-13T09:00:15.000Z"
    assert body["bucket_s"] == 180
    buckets = body["probes"][0]["buckets"]
    assert len(buckets) == 481
    assert sum(bucket["n"] for bucket in buckets) == 2_880


async def test_every_probe_of_a_tray_is_told_and_one_without_readings_is_empty(
    client, reader
):
    reader.series["n2b"] = [(T_MS, 20_000)]
    body = await temperatures(client, "N2")
    assert [(p["probe"], len(p["buckets"])) for p in body["probes"]] == [
        ("n2a", 0),
        ("n2b", 1),
    ]
    assert (await temperatures(client, "W1"))["probes"] == []


async def test_a_season_is_asked_for_once(client, reader):
    """The log draws it in bounded memory; to ask by days would only be slower."""
    await temperatures(client, from_="2025-08-01T00:00:00Z", to="2026-01-01T12:00:00Z")
    spans = [to_ms - from_ms for _, from_ms, to_ms in reader.asked]
    assert spans == [153 * DAY_MS + DAY_MS // 2]


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({"from": "yesterday"}, "from"),
        ({"from": "2026-02-14"}, "from"),
        ({"from": "2026-02-14T09:00:00"}, "from"),
        ({"from": "1771059600"}, "from"),
        ({"from": "2026-02-30T09:00:00Z"}, "from"),
        ({"from": "2026-02-14T25:00:00Z"}, "from"),
        ({"from": "0000-01-01T00:00:00Z"}, "from"),
        ({"from": "2026-W07-6T09:00:00Z"}, "from"),
        ({"from": "٢٠٢٦-02-14T09:00:00Z"}, "from"),
        ({"from": "2026-02-14T09:00:00Z", "to": "2026-02-14T09:00:00Z"}, "from"),
        ({"from": "2026-02-15T09:00:00Z", "to": "2026-02-14T09:00:00Z"}, "from"),
        ({"from": "2027-01-01T00:00:00Z"}, "from"),
        ({"from": "2025-02-14T09:00:00Z"}, "from"),
        ({"to": "now"}, "to"),
        ({"points": "1"}, "points"),
        ({"points": "2001"}, "points"),
        ({"points": "many"}, "points"),
        ({"points": "1e2"}, "points"),
        ({"points": "nan"}, "points"),
    ],
)
async def test_a_stretch_that_makes_no_sense_is_refused_by_name(
    client, as_problem, query, parameter
):
    answer = await client.get("/v1/trays/N1/temperatures", params=query)
    assert as_problem(answer, 400)["errors"][0]["parameter"] == parameter


async def test_a_plus_that_an_address_turned_into_a_space_is_explained(
    client, as_problem
):
    path = "/v1/trays/N1/temperatures?from=2026-02-14T09:00:00+01:00"
    detail = as_problem(await client.get(path), 400)["detail"]
    assert "%2B" in detail
    right = path.replace("+01", "%2B01").replace("09:00:00", "09:00:00.25")
    body = (await client.get(right)).json()
    assert body["start"] == "2026-02-14T08:00:00.250Z"


@pytest.mark.parametrize(
    ("from_", "to", "status"),
    [
        ("0001-01-01T00:00:00%2B14:00", "0001-01-02T00:00:00Z", 400),
        ("1969-12-31T23:59:59.999Z", "1970-01-01T00:00:00Z", 400),
        ("1970-01-01T00:00:00Z", "1970-01-01T00:00:00.001Z", 200),
        ("9999-12-31T00:00:00Z", "9999-12-31T23:59:59.999Z", 200),
        ("9999-12-31T00:00:00Z", "9999-12-31T23:59:59-12:00", 400),
        ("0001-01-01T00:00:00Z", "9999-12-31T00:00:00Z", 400),
    ],
)
async def test_the_earliest_and_latest_days_there_are_do_no_harm(
    client, from_, to, status
):
    path = f"/v1/trays/N1/temperatures?from={from_}&to={to}"
    assert (await client.get(path)).status_code == status


async def test_a_default_start_before_1970_does_no_harm(client):
    answer = await client.get("/v1/trays/N1/temperatures?to=1970-01-01T00:00:00Z")
    assert answer.json()["start"] == "1969-12-31T00:00:00.000Z"


# ------------------------------------------------------------------ degree-hours


async def test_another_base_is_counted_again_from_the_log(client, reader):
    """20 °C for a day, above 15 °C: 120 K·h (a rectangle)."""
    reader.series["n1"] = every(60_000, T_MS - DAY_MS, 1_441)
    answer = await client.get("/v1/trays/N1/degree-hours", params={"base": "15"})
    body = answer.json()
    assert body["source"] == "season log"
    assert (body["base_c"], body["degree_hours_k_h"]) == (15, 120)
    assert (body["hours_measured"], body["gaps"], body["mean_c"]) == (24, 0, 20)
    assert body["start"] == "2025-07-29T09:00:15.000Z"
    assert body["end"] == "2026-02-14T09:00:15.000Z"
    assert body["equal_to"] == "equal to 0.8 days at 21 °C"


async def test_a_gap_in_the_log_is_counted_and_not_bridged(client, reader):
    reader.series["n1"] = every(60_000, T_MS - 4 * HOUR_MS, 61)
    reader.series["n1"] += every(60_000, T_MS - HOUR_MS, 61)
    answer = await client.get("/v1/trays/N1/degree-hours", params={"base": "15"})
    body = answer.json()
    assert (body["gaps"], body["gap_hours"], body["hours_measured"]) == (1, 2, 2)
    assert body["degree_hours_k_h"] == 10


async def test_an_upper_cutoff_and_a_stretch_may_be_asked_for(client, reader):
    reader.series["s1"] = every(60_000, T_MS - DAY_MS, 1_441, 26_000)
    query = {"upper": "22.5", "from": "2026-02-14T07:00:00Z"}
    query["to"] = "2026-02-14T09:00:00.001Z"
    answer = await client.get("/v1/trays/S1/degree-hours", params=query)
    body = answer.json()
    assert (body["base_c"], body["upper_c"]) == (10, 22.5)
    assert (body["hours_measured"], body["degree_hours_k_h"]) == (2, 25)


async def test_the_trays_own_base_asks_the_live_counter(client, reader):
    answer = await client.get("/v1/trays/S1/degree-hours?base=10&upper=30")
    assert answer.json()["source"] == "live counter"
    assert reader.asked == []


async def test_gaps_come_with_their_times_and_what_they_could_have_added(
    client, reader
):
    """Two hours of silence between 14 and 26 °C, base 15, upper 25 °C."""
    reader.series["s1"] = every(60_000, T_MS - 4 * HOUR_MS, 61, 14_000)
    reader.series["s1"] += every(60_000, T_MS - HOUR_MS, 61, 26_000)
    query = {"base": "15", "upper": "25"}
    body = (await client.get("/v1/trays/S1/degree-hours", params=query)).json()
    could = {
        "at_lowest_reading_k_h": 0,
        "at_highest_reading_k_h": 20,
        "never_above_k_h": 20,
    }
    assert body["gap_list"] == [
        {
            "start": "2026-02-14T06:00:00.000Z",
            "end": "2026-02-14T08:00:00.000Z",
            "hours": 2,
            "why": "silent",
            "would_add": could,
        }
    ]
    assert body["gaps_would_add"] == could
    assert body["readings"] == 122
    assert "days" not in body


async def test_days_are_told_when_asked_for_with_the_integral_and_what_books_say(
    client, reader
):
    """20 °C from 18:00 to 18:00 in Lisbon, above 10 °C: 60 and 180 K·h."""
    reader.series["n1"] = every(60_000, T_MS - 15 * HOUR_MS, 1_441)
    query = {"days": "true", "to": "2026-02-15T00:00:00Z"}
    body = (await client.get("/v1/trays/N1/degree-hours", params=query)).json()
    assert (body["source"], body["timezone"]) == ("season log", "Europe/Lisbon")
    assert "integral" in body["method"]
    assert "highest and lowest" in body["daily_method"]
    first, second = body["days"]
    assert (first["day"], second["day"]) == ("2026-02-13", "2026-02-14")
    assert (first["degree_hours_k_h"], second["degree_hours_k_h"]) == (60, 180)
    assert (first["cumulative_k_h"], second["cumulative_k_h"]) == (60, 240)
    assert body["degree_hours_k_h"] == 240
    assert (first["hours_measured"], first["readings"]) == (6, 360)
    assert (first["lowest_c"], first["highest_c"]) == (20, 20)
    assert first["degree_days_k_d"]["double-sine"] == 10
    assert second["degree_days_k_d"] == {
        "average-1": 10,
        "average-2": 10,
        "single-triangle": 10,
        "double-triangle": None,
        "single-sine": 10,
        "double-sine": None,
        "met-service": 10,
    }


async def test_a_cutoff_is_that_of_the_daily_methods_that_know_it(client, reader):
    reader.series["s1"] = every(60_000, T_MS - DAY_MS, 1_441, 31_000)
    query = {"days": "true", "cutoff": "vertical"}
    body = (await client.get("/v1/trays/S1/degree-hours", params=query)).json()
    assert body["cutoff"] == "vertical"
    assert body["degree_hours_k_h"] == 20 * 24  # horizontal at 30 °C
    assert body["days"][0]["degree_days_k_d"] == {
        "single-triangle": 0,
        "double-triangle": 0,
        "single-sine": 0,
        "double-sine": 0,
    }


async def test_of_very_many_gaps_the_longest_are_told_in_order(client, reader):
    reader.series["n1"] = [
        (T_MS - DAY_MS + n * 130_000 + (n > 200) * 7_000, 20_000) for n in range(602)
    ]
    answer = await client.get("/v1/trays/N1/degree-hours", params={"base": "12"})
    body = answer.json()
    assert body["gaps"] == 601
    assert len(body["gap_list"]) == 500
    starts = [gap["start"] for gap in body["gap_list"]]
    assert starts == sorted(starts)
    assert max(gap["hours"] for gap in body["gap_list"]) == round(137 / 3600, 4)


async def test_a_wall_clock_beyond_all_calendars_is_the_logs_fault(
    client, reader, as_problem, monkeypatch
):
    def samples(*_, untaken):
        return Columns([1], [1], [-(2**60)], [20_000])

    monkeypatch.setattr("api.history.Span", lambda *_, newest_utc_ms: Span())
    monkeypatch.setattr(reader, "samples", samples)
    answer = await client.get("/v1/trays/N1/degree-hours", params={"days": "true"})
    as_problem(answer, 503)


async def test_a_tray_that_the_log_does_not_know_yet_is_asked_for_later(
    client, reader, as_problem, monkeypatch
):
    header = reader.runs()[0]
    bare = replace(header, plan=replace(header.plan, mats=(), trays=()))
    monkeypatch.setattr(reader, "runs", lambda: [bare])
    answer = await client.get("/v1/trays/N1/degree-hours", params={"days": "true"})
    assert "does not know this tray" in as_problem(answer, 503)["detail"]


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({"days": "perhaps"}, "days"),
        ({"cutoff": "round"}, "cutoff"),
        ({"base": "warm"}, "base"),
        ({"base": "nan"}, "base"),
        ({"base": "inf"}, "base"),
        ({"base": "75"}, "base"),
        ({"base": "-11"}, "base"),
        ({"upper": "71"}, "upper"),
        ({"base": "20", "upper": "20"}, "upper"),
        ({"base": "31"}, "upper"),
        ({"from": "2026-02-15T09:00:00Z"}, "from"),
        ({"from": "2020-02-15T09:00:00Z"}, "from"),
    ],
)
async def test_a_base_that_counts_nothing_is_refused_by_name(
    client, as_problem, query, parameter
):
    answer = await client.get("/v1/trays/S1/degree-hours", params=query)
    assert as_problem(answer, 400)["errors"][0]["parameter"] == parameter


# ------------------------------------------------------------------- the journal


async def test_the_journal_goes_on_after_what_is_known(client, reader):
    reader.entries = [
        LogEntry(number, T_MS, "command", "north", {"energised": True})
        for number in (3, 5, 8)
    ]
    first = (await client.get("/v1/log?limit=2")).json()
    assert [entry["id"] for entry in first["entries"]] == [3, 5]
    assert first["entries"][0] == {
        "id": 3,
        "at": "2026-02-14T09:00:00.000Z",
        "kind": "command",
        "subject": "north",
        "body": {"energised": True},
    }
    rest = (await client.get(f"/v1/log?after={first['next_after']}")).json()
    assert [entry["id"] for entry in rest["entries"]] == [8]
    end = (await client.get("/v1/log?after=8")).json()
    assert end == {"entries": [], "next_after": 8}


@pytest.mark.parametrize(
    "query", ["after=-1", "after=x", f"after={2**63}", "limit=0", "limit=1001"]
)
async def test_a_page_out_of_bounds_is_refused(client, as_problem, query):
    fault = as_problem(await client.get(f"/v1/log?{query}"), 400)["errors"][0]
    assert fault["parameter"] == query.split("=")[0]


# ------------------------------------------------------------- what may go wrong


@pytest.mark.parametrize("path", ["/v1/log", "/v1/trays/N1/temperatures"])
async def test_a_bench_without_a_log_says_so(bench, connect, as_problem, path):
    async with connect(create_app(bench, None, bench)) as client:
        as_problem(await client.get(path), 503)


class DamagedLogError(Exception):
    """As an adapter might raise it."""


@pytest.mark.parametrize("error", [OSError(5, "broken"), DamagedLogError("page 7")])
async def test_a_log_that_cannot_be_read_is_no_mistake_of_ours(
    client, reader, as_problem, caplog, error
):
    reader.error = error
    for path in ("/v1/log", "/v1/trays/N1/temperatures", "/v1/trays/N1/degree-hours"):
        query = {"base": "12"} if path.endswith("hours") else {}
        answer = await client.get(path, params=query)
        as_problem(answer, 503)
        assert answer.headers["retry-after"] == "5"
        assert "page 7" not in answer.text
    assert str(error) in caplog.text


async def test_a_log_that_cannot_be_opened_is_no_mistake_of_ours(
    bench, connect, as_problem
):
    def make():
        raise DamagedLogError

    async with connect(create_app(bench, make, bench)) as client:
        as_problem(await client.get("/v1/log"), 503)


async def test_readers_of_the_log_are_bounded_and_the_next_one_is_turned_away(
    bench, reader, connect, as_problem
):
    go, entered = threading.Event(), threading.Semaphore(0)

    def slow():
        entered.release()
        go.wait(20)
        return reader

    app = create_app(bench, slow, bench)
    statuses = []

    async def ask(client):
        statuses.append((await client.get("/v1/log")).status_code)

    async with connect(app) as client, anyio.create_task_group() as group:
        for _ in range(10):  # two read, eight wait
            group.start_soon(ask, client)
        try:
            for _ in range(2):
                await anyio.to_thread.run_sync(lambda: entered.acquire(timeout=10))
            limiter = app.state.context.limiter
            while limiter.statistics().tasks_waiting < 8:
                await anyio.lowlevel.checkpoint()
            answer = await client.get("/v1/log")
            as_problem(answer, 503)
            assert answer.headers["retry-after"] == "2"
            assert (await client.get("/v1/bench")).status_code == 200
            assert not entered.acquire(blocking=False)
        finally:
            go.set()
    assert statuses == [200] * 10


def heated(reader, *spells, mat="north"):
    reader.told[mat] = [
        Heated(T_MS + minute * MINUTE_MS, on, setpoint_mc)
        for minute, on, setpoint_mc in spells
    ]


HOURS = {"from": "2026-02-14T09:00:00Z", "to": "2026-02-14T11:00:00Z"}


async def test_heat_is_told_in_the_buckets_of_temperatures(client, reader):
    heated(reader, (-5, False, 20_000), (30, True, 21_000), (90, None, None))
    answer = await client.get("/v1/mats/north/heat", params={**HOURS, "points": 2})
    body = answer.json()
    assert answer.status_code == 200, body
    assert (body["on_s"], body["known_s"]) == (3_600, 5_400)
    assert body["energy_wh"] == 100  # 100 W for an hour
    assert body["buckets"] == [
        {
            "start": "2026-02-14T09:00:00.000Z",
            "known_s": 3_600,
            "on_s": 1_800,
            "lowest_setpoint_c": 20,
            "highest_setpoint_c": 21,
        },
        {
            "start": "2026-02-14T10:00:00.000Z",
            "known_s": 1_800,
            "on_s": 1_800,
            "lowest_setpoint_c": 21,
            "highest_setpoint_c": 21,
        },
    ]


async def test_a_tray_was_kept_in_so_many_hours(client, reader):
    """N2 has two probes, and an hour's mean is that of all of their readings."""
    heated(reader, (0, True, 20_000))
    reader.series["n2a"] = [(T_MS, 20_900), (T_MS + HOUR_MS, 21_500)]
    reader.series["n2b"] = [(T_MS, 21_100), (T_MS + HOUR_MS, 18_100)]
    answer = await client.get("/v1/trays/N2/kept", params=HOURS)
    body = answer.json()
    assert answer.status_code == 200, body
    assert (body["hours"], body["hours_compared"], body["hours_within"]) == (2, 2, 2)
    assert (body["percent_within"], body["mean_c"]) == (100, 20.4)
    assert (body["lowest_c"], body["highest_c"]) == (18.1, 21.5)
    closer = await client.get("/v1/trays/N2/kept", params={**HOURS, "within_k": 0.5})
    assert closer.json()["percent_within"] == 50


async def test_a_tray_on_no_mat_is_compared_with_nothing(client):
    body = (await client.get("/v1/trays/W1/kept", params=HOURS)).json()
    assert (body["hours"], body["hours_compared"]) == (0, 0)
    assert body["percent_within"] is body["mean_c"] is None


@pytest.mark.parametrize("path", ["/v1/mats/north/heat", "/v1/trays/N1/kept"])
async def test_heat_of_a_log_that_cannot_be_read_is_no_mistake_of_ours(
    client, reader, as_problem, path
):
    reader.error = ValueError("a page is damaged")
    as_problem(await client.get(path), 503)
