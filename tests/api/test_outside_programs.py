"""What other programs read: figures and a calendar, judged by other parsers."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import icalendar
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from api.context import Context
from api.record_book import Records
from controller.adapters.memory_records import MemoryRecords
from controller.ports import ForecastKept
from tests.api.test_forecast_route import BATCH as FORETOLD


@pytest.fixture
def kept(shared_app, client, bench, reader):
    """The same client's bench with a place for records."""
    store = MemoryRecords()
    shared_app.state.context = Context(
        bench, lambda: reader, bench, records=Records(store, lambda: store)
    )


async def families(client):
    answer = await client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == (
        "application/openmetrics-text; version=1.0.0; charset=utf-8"
    )
    found = list(text_string_to_metric_families(answer.text))
    assert all(family.documentation for family in found)
    return {family.name: family for family in found}


def values(family):
    return {tuple(sample.labels.values()): sample.value for sample in family.samples}


async def test_another_parser_reads_the_figures_of_the_bench(client):
    found = await families(client)
    body = (await client.get("/v1/bench")).json()
    trays = {t["name"]: t for t in body["trays"]}
    temps = values(found["bottomheat_tray_celsius"])
    assert temps[("N1", "north")] == trays["N1"]["temp_c"] == 20.5
    assert ("W1", "") not in temps  # it has no probe
    assert found["bottomheat_tray_celsius"].unit == "celsius"
    assert values(found["bottomheat_scans"]) == {(): 3}
    assert found["bottomheat_scans"].type == "counter"
    assert values(found["bottomheat_refused_messages"]) == {(): 3}
    assert values(found["bottomheat_link_up"]) == {(): 1}
    assert values(found["bottomheat_probe_celsius"])[("room",)] == 13.5
    mats = {m["name"]: m for m in body["mats"]}
    assert values(found["bottomheat_mat_setpoint_celsius"])[("north",)] == 21
    heating = values(found["bottomheat_mat_heating"])
    assert heating == {(n,): float(m["energised"]) for n, m in mats.items()}
    modes = values(found["bottomheat_mat_mode"])
    assert modes[("north", mats["north"]["mode"])] == 1
    assert sum(v for (mat, _), v in modes.items() if mat == "north") == 1


async def test_alarms_are_counted_by_priority(client, bench, warm):
    bench.run_ms += 3_600_000
    bench.scan({"n2a": 20.0}, link_up=False)
    bench.run_ms += 60_000
    bench.scan({"n2a": 20.0}, link_up=False)
    found = await families(client)
    alarms = values(found["bottomheat_alarms"])
    told = (await client.get("/v1/alarms")).json()["alarms"]
    held = [a for a in told if a["state"] == "active" and not a["suppressed"]]
    assert alarms[("medium",)] == sum(a["priority"] == "medium" for a in held) > 0
    assert sum(alarms.values()) == len(held)


async def test_a_probe_that_is_lost_is_left_out_not_zero(client, bench, warm):
    bench.run_ms += 3_600_000
    bench.scan({"n2a": 20.0})
    found = await families(client)
    assert ("n1",) not in values(found["bottomheat_probe_celsius"])
    assert values(found["bottomheat_probe_age_seconds"])[("n1",)] > 3_000


async def test_the_calendar_has_the_steps_to_come_and_the_open_batches(
    client, kept, bench
):
    told = {
        "crop": "gooseberry",
        "cultivar": "Early Amber, mild; round",
        "kind": "hardwood",
        "count": 24,
        "tray": "N1",
        "stuck_at": "2026-02-13T23:30:00Z",
    }
    made = await client.post("/v1/batches", json=told)
    assert made.status_code == 201, made.text
    code = made.json()["code"]
    answer = await client.get("/calendar.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    found = icalendar.Calendar.from_ical(answer.text)
    step, stuck, look = found.events
    # 14 days after the bench began, at 08:58:10Z, to the minute.
    assert step.start == datetime(2026, 2, 28, 8, 58, tzinfo=UTC)
    assert step["summary"] == "Mat north: step 2 (grow on), 19 °C"
    assert stuck.start == date(2026, 2, 13)  # in Lisbon, where the bench stands
    assert stuck["summary"] == (
        f"Stuck: 24 gooseberry Early Amber, mild; round ({code})"
    )
    assert stuck["uid"] == f"batch-{code}-stuck@lean-to.bottomheat"
    assert look.start == datetime(2026, 2, 20, 23, 30, tzinfo=UTC)
    assert look["uid"] == f"look-{code}@lean-to.bottomheat"
    assert look["summary"].endswith("mild; round: look at it")
    closed = await client.post(f"/v1/batches/{code}/close", json={"outcome": "weaned"})
    assert closed.status_code == 201, closed.text
    again = icalendar.Calendar.from_ical((await client.get("/calendar.ics")).text)
    assert [event["uid"] for event in again.events] == [step["uid"]]


@pytest.fixture
def foretold(shared_app, kept):
    """Return how to keep a forecast of batches."""

    def keep(*told: dict[str, object], at: str = "2026-02-14T04:00:00.000Z") -> None:
        batches = [{**FORETOLD, **one} for one in told]
        result = {"at": at, "batches": batches, "words": ""}
        context = shared_app.state.context
        shared_app.state.context = replace(
            context, forecast=lambda: ForecastKept(result)
        )

    return keep


async def windows(client):
    found = icalendar.Calendar.from_ical((await client.get("/calendar.ics")).text)
    return {event["uid"]: event for event in found.events if "-half-" in event["uid"]}


async def test_the_calendar_has_the_windows_of_the_forecast(client, foretold):
    """Both windows of a batch with dates; none where there is no date."""
    batch = {"kind": "hardwood", "count": 9, "stuck_at": "2026-02-10T09:00:00Z"}
    codes = []
    for crop in ("gooseberry", "quince", "grapevine", "medlar"):
        made = await client.post("/v1/batches", json={**batch, "crop": crop})
        codes.append(made.json()["code"])
    own, dateless, rooted, untold = codes
    dates = FORETOLD["half_rooted"]
    foretold(
        {"code": own, "words": "half of those that will root have rooted by then"},
        {"code": dateless, "half_rooted": None, "why_none": "no source"},
        {"code": rooted, "reached": True},
        {"code": "3ZZZ"},
    )
    assert untold
    found = await windows(client)
    here = "lean-to.bottomheat"
    assert set(found) == {f"batch-{own}-half-{part}@{here}" for part in (50, 90)}
    half = found[f"batch-{own}-half-50@{here}"]
    assert half.start == date.fromisoformat(dates["from_50"])
    assert half.end == date.fromisoformat(dates["to_50"]) + timedelta(days=1)
    assert half["summary"] == f"{own} gooseberry: half rooted, as likely as not"
    assert half["description"].startswith("Half of those that will root have rooted")
    wide = found[f"batch-{own}-half-90@{here}"]
    assert (wide.start, wide.end) == (date(2026, 3, 1), date(2026, 3, 2))
    assert wide["summary"].endswith("its end later than can be told")
    assert half["dtstamp"].dt > datetime(2026, 2, 14, 4, tzinfo=UTC)


async def test_a_window_moves_under_its_name_and_goes_with_its_batch(client, foretold):
    batch = {"crop": "chilli", "kind": "seed", "count": 9}
    batch |= {"stuck_at": "2026-02-10T09:00:00Z"}
    code = (await client.post("/v1/batches", json=batch)).json()["code"]
    foretold({"code": code})
    before = await windows(client)
    later = {**FORETOLD["half_rooted"], "to_50": "2026-03-20", "to_90": "2026-04-02"}
    foretold({"code": code, "half_rooted": later}, at="2026-02-15T04:00:00.000Z")
    after = await windows(client)
    assert set(before) == set(after)
    ends = sorted(event.end for event in after.values())
    assert ends == [date(2026, 3, 21), date(2026, 4, 3)]
    assert all("half come up" in event["summary"] for event in after.values())
    assert {event["dtstamp"].dt for event in after.values()} == {
        datetime(2026, 2, 15, 4, tzinfo=UTC)
    }
    await client.post(f"/v1/batches/{code}/close", json={"outcome": "weaned"})
    assert await windows(client) == {}


@pytest.mark.parametrize("dates", [{"from_50": "soon"}, {"to_50": "2026-01-01"}])
async def test_dates_that_are_none_spoil_no_calendar(client, foretold, dates):
    batch = {"crop": "chilli", "kind": "seed", "count": 9}
    batch |= {"stuck_at": "2026-02-10T09:00:00Z"}
    code = (await client.post("/v1/batches", json=batch)).json()["code"]
    foretold({"code": code, "half_rooted": {**FORETOLD["half_rooted"], **dates}})
    assert (await client.get("/calendar.ics")).status_code == 200
    assert await windows(client) == {}


async def test_a_calendar_that_has_not_changed_is_not_sent_again(client, kept, bench):
    first = await client.get("/calendar.ics")
    tag = first.headers["etag"]
    bench.scan()
    again = await client.get("/calendar.ics", headers={"if-none-match": tag})
    assert again.status_code == 304
    assert again.content == b""
    assert again.headers["etag"] == tag


async def test_without_records_there_is_no_calendar_rather_than_an_empty_one(
    client, as_problem
):
    """A calendar program would forget what an empty one no longer has."""
    as_problem(await client.get("/calendar.ics"), 503)
