"""Alarms over HTTP: shown in their states, acknowledged, shelved."""

import pytest

JSON = {"content-type": "application/json"}


@pytest.fixture
def tripped(bench, warm):
    for _ in range(3):  # the first is a jump, which the second one confirms
        bench.scan(warm | {"n1": 33.4})
    return warm | {"n1": 20.0}


async def shown(client, name="trip.north"):
    alarms = (await client.get("/v1/alarms")).json()["alarms"]
    return next((alarm for alarm in alarms if alarm["id"] == name), None)


async def test_an_alarm_shows_its_states(client, tripped):
    alarm = await shown(client)
    assert {key: alarm[key] for key in ("priority", "state", "acknowledged")} == {
        "priority": "high",
        "state": "active",
        "acknowledged": False,
    }
    assert (alarm["suppressed"], alarm["shelved_until"]) == (False, None)
    assert alarm["rings"]


async def test_what_a_trip_explains_does_not_ring_and_is_no_reason(client, tripped):
    limit = await shown(client, "over-limit.north")
    assert (limit["state"], limit["suppressed"], limit["rings"]) == (
        "active",
        True,
        False,
    )
    health = (await client.get("/v1/health")).json()
    assert health["status"] == "attention"
    assert limit["sentence"] not in health["reasons"]
    assert len(health["reasons"]) == health["alarms"]


async def test_an_acknowledged_alarm_rings_no_more(client, bench, tripped):
    asked = await client.post("/v1/alarms/trip.north/acknowledge", headers=JSON)
    assert asked.status_code == 202
    bench.scan(tripped)
    answer = (await client.get(asked.json()["href"])).json()
    assert (answer["status"], answer["sentence"]) == (
        "accepted",
        "trip of north is acknowledged",
    )
    alarm = await shown(client)
    assert (alarm["acknowledged"], alarm["rings"]) == (True, False)


async def test_a_shelved_alarm_says_until_when(client, bench, tripped):
    path = "/v1/alarms/trip.north/shelve"
    await client.post(path, json={"for_min": 30}, headers=JSON)
    bench.scan(tripped)
    before = bench.current.scan.utc_ms
    alarm = await shown(client)
    assert alarm["shelved_until"].endswith("Z")
    assert not alarm["rings"]
    await client.post(path, json={"for_min": 0}, headers=JSON)
    bench.scan(tripped)
    assert bench.current.scan.utc_ms > before
    assert (await shown(client))["rings"]


async def test_silence_lasts_an_hour_unless_said(client, bench, tripped):
    await client.post("/v1/alarms/trip.north/shelve", headers=JSON)
    assert bench.waiting[0].wish.for_ms == 3_600_000


@pytest.mark.parametrize("minutes", [-1, 10_081, "long", None])
async def test_silence_has_its_bounds(client, bench, tripped, minutes):
    answer = await client.post(
        "/v1/alarms/trip.north/shelve", json={"for_min": minutes}, headers=JSON
    )
    assert answer.status_code == 422
    assert bench.waiting == []


@pytest.mark.parametrize("action", ["acknowledge", "shelve"])
@pytest.mark.parametrize("name", ["trip.south", "nonsense", "trip"])
async def test_an_alarm_that_is_not_there_is_not_found(client, tripped, name, action):
    answer = await client.post(f"/v1/alarms/{name}/{action}", headers=JSON)
    assert answer.status_code == 404
    assert name in answer.json()["detail"]


async def test_an_alarm_that_is_over_stays_until_it_is_seen(client, bench, tripped):
    bench.scan(tripped)
    bench.scan(tripped)
    await client.post("/v1/mats/north/reset", headers=JSON)
    bench.scan(tripped)
    over = await shown(client)
    assert (over["state"], over["rings"]) == ("cleared", False)
    reasons = (await client.get("/v1/health")).json()["reasons"]
    assert over["sentence"] not in reasons
    await client.post("/v1/alarms/trip.north/acknowledge", headers=JSON)
    bench.scan(tripped)
    assert await shown(client) is None
