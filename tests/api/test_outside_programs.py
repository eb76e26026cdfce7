"""What other programs read: figures and a calendar, judged by other parsers."""

from datetime import UTC, date, datetime

import icalendar
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from api.context import Context
from api.record_book import Records
from controller.adapters.memory_records import MemoryRecords


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
