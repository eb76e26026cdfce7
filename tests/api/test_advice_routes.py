"""Advice over HTTP: from what was told and from the bench as it is."""

from tests.api.conftest import WARM
from tests.api.test_batch_routes import GOOSEBERRY, LOOK, ONE, TWO, client, tell

__all__ = ["client"]  # a fixture

ROOTED = {
    "at": "2026-02-12T09:00:00Z",
    "how": "lifted",
    "looked_at": 5,
    "base": {"roots": 5},
    "tops": {"leafed": 5},
}


async def test_advice_follows_what_was_seen(client, bench):
    bench.scan(WARM)
    await tell(client, **{**GOOSEBERRY, "tray": "N1"})
    await tell(client, **{**GOOSEBERRY, "tray": "N2", "crop": "quince"})
    first = (await client.get(f"/v1/batches/{ONE}/advice")).json()
    assert first["advice"]["call"] == "stay-on-heat"
    assert first["container"] is None
    assert first["mat"]["allowed"] is False
    await tell(client, f"/{ONE}/looks", **ROOTED)
    found = (await client.get("/v1/advice")).json()
    one, two = found["batches"]
    assert (one["base"], one["tops"]) == ("rooted", "leafed")
    assert one["call"] == "off-the-heat-then-light"
    assert (two["base"], two["call"]) == ("not looked", "stay-on-heat")
    ((container),) = found["containers"]
    assert container["tray"] == "N1"
    ((mat),) = found["mats"]
    assert [other["code"] for other in mat["affected"]] == [ONE, TWO]
    assert mat["steps"] == []
    await tell(client, f"/{TWO}/looks", **ROOTED)
    ((mat),) = (await client.get("/v1/advice")).json()["mats"]
    assert mat["allowed"] is True
    assert [step["setpoint_c"] for step in mat["steps"]][:2] == [18.0, None]
    listed = (await client.get("/v1/batches")).json()["batches"]
    assert listed[0]["advice"].startswith("rooted and growing")


async def test_what_is_closed_or_not_stuck_gets_no_advice(client):
    await tell(client, crop="quince", kind="hardwood")
    found = (await client.get(f"/v1/batches/{ONE}/advice")).json()
    assert found == {"code": ONE, "advice": None, "container": None, "mat": None}
    await tell(client, **GOOSEBERRY)
    await tell(client, f"/{TWO}/looks", **LOOK)
    await tell(client, f"/{TWO}/close", outcome="weaned", rooted=3)
    found = (await client.get("/v1/advice")).json()
    assert found == {"batches": [], "containers": [], "mats": []}
    assert (await client.get("/v1/batches/X/advice")).status_code == 404


async def test_reminders_tell_what_is_due_and_what_is_late(client, bench):
    bench.scan(WARM)
    await tell(client, **{**GOOSEBERRY, "wrap": None})
    found = (await client.get("/v1/reminders")).json()["reminders"]
    look, step = found
    assert look["uid"] == f"look-{ONE}"
    assert (look["due"], look["overdue"]) == ("2026-02-17T09:00:00.000Z", False)
    assert step["summary"] == "north: step 1 ends, then 19 °C: grow on"
    early = {**GOOSEBERRY, "wrap": None, "stuck_at": "2026-01-10T09:00:00Z"}
    await tell(client, **early)
    found = (await client.get("/v1/reminders")).json()["reminders"]
    assert (found[0]["uid"], found[0]["overdue"]) == (f"look-{TWO}", True)


async def test_turning_or_moving_what_is_in_a_trial_is_warned_against(client, bench):
    bench.scan(WARM)
    await tell(client, **{**GOOSEBERRY, "tray": "N1", "count": 1})
    await tell(client, **{**GOOSEBERRY, "tray": "N2", "count": 1})
    units = [
        {"name": "a", "arm": "coir", "block": "1", "tray": "N1", "batch": ONE},
        {"name": "b", "arm": "bark", "block": "1", "tray": "N2", "batch": TWO},
    ]
    plan = {
        "title": "two media",
        "arms": ["coir", "bark"],
        "unit": "pot",
        "cuttings": 1,
        "units": units,
        "seed": 1,
        "test": "permutation-times",
    }
    assert (await client.post("/v1/trials", json=plan)).status_code == 201
    turned = {"kind": "turned", "mats": ["north"]}
    told = (await client.post("/v1/events", json=turned)).json()
    assert [words.split()[0] for words in told["warnings"]] == ["N1", "N2"]
    assert "open trial two media" in told["warnings"][0]
    watered = {"kind": "watered", "trays": ["N1"]}
    assert "warnings" not in (await client.post("/v1/events", json=watered)).json()
    await tell(
        client,
        f"/{ONE}/looks",
        **{**ROOTED, "looked_at": 1, "base": {"roots": 1}, "tops": None},
    )
    found = (await client.get("/v1/advice")).json()["containers"]
    assert "open trial two media" in found[0]["warnings"][0]
    for code in (ONE, TWO):
        await tell(client, f"/{code}/close", outcome="failed")
    told = (await client.post("/v1/events", json=turned)).json()
    assert "warnings" not in told
