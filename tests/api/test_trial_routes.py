"""Trials over HTTP: stored, shown with cheap counts, corrected."""

import pytest
from pydantic import TypeAdapter

from api import trial_shapes
from controller.records.codes import code_of

ONE = code_of(1)
PLAN = {
    "title": "gooseberry in two media",
    "arms": ["coir-perlite", "bark-sand"],
    "unit": "pot",
    "cuttings": 1,
    "units": [
        {"name": "N1-1", "arm": "coir-perlite", "block": "1", "tray": "N1"},
        {"name": "N1-2", "arm": "bark-sand", "block": "1", "tray": "N1"},
    ],
    "seed": 11,
    "test": "permutation-times",
    "base_c": 7.5,
    "smallest_p": 1.0,
    "power": 0.0,
    "stated": {"low": 0.5, "high": 0.9},
}
BATCH = {
    "crop": "gooseberry",
    "kind": "hardwood",
    "count": 1,
    "tray": "N1",
    "stuck_at": "2026-02-10T09:00:00Z",
    "base_c": 5,
}


@pytest.fixture
def client(recording):
    return recording


async def test_a_plan_is_stored_with_its_seed_and_its_address(client, kept):
    answer = await client.post("/v1/trials", json=PLAN)
    assert answer.status_code == 201
    assert answer.headers["location"] == "/v1/trials/1"
    told = answer.json()
    TypeAdapter(trial_shapes.TrialFileView).validate_python(told)
    assert told["trial"]["seed"] == 11
    assert told["trial"]["base_c"] == 7.5
    assert kept.changes(0)[0].value.base_mc == 7_500
    assert (await client.get("/v1/trials/1")).json() == told


async def test_what_came_of_units_is_counted_and_nothing_is_worked_out(client):
    await client.post("/v1/batches", json=BATCH)
    units = [{**PLAN["units"][0], "batch": ONE}, PLAN["units"][1]]
    await client.post("/v1/trials", json={**PLAN, "units": units})
    look = {"at": "2026-02-12T09:00:00Z", "how": "lifted", "looked_at": 1}
    await client.post(f"/v1/batches/{ONE}/looks", json={**look, "base": {"roots": 1}})
    tug = {"at": "2026-02-13T09:00:00Z", "how": "tug", "looked_at": 1}
    await client.post(f"/v1/batches/{ONE}/looks", json={**tug, "tug": {"held": 1}})
    told = (await client.get("/v1/trials/2")).json()
    first, second = told["units"]
    assert first["reached"] == [
        {
            "count": 1,
            "after": "2026-02-10T09:00:00.000Z",
            "by": "2026-02-12T09:00:00.000Z",
            "agrees": True,
        }
    ]
    assert (first["base_c"], first["stays"][0]["tray"]) == (5.0, "N1")
    assert first["tugged"]["held"] == 1
    assert (second["reached"], second["stuck_at"], second["tugged"]) == ([], None, None)
    listed = (await client.get("/v1/trials")).json()
    TypeAdapter(trial_shapes.TrialsView).validate_python(listed)
    arms = listed["trials"][0]["arms"]
    assert [(one["stuck"], one["cuttings"], one["reached"]) for one in arms] == [
        (1, 1, 1),
        (0, 0, 0),
    ]
    assert "p" not in told


async def test_a_plan_is_corrected_and_what_was_before_is_kept(client, kept):
    await client.post("/v1/trials", json=PLAN)
    answer = await client.patch("/v1/trials/1", json={"text": "in the shade"})
    assert answer.status_code == 200
    told = answer.json()
    assert (told["trial"]["text"], told["revisions"]) == ("in the shade", 2)
    assert told["trial"]["title"] == PLAN["title"]
    assert (await client.patch("/v1/trials/1", json={"unit": None})).status_code == 200
    await client.patch("/v1/trials/1", json={"withdrawn": True})
    assert (await client.get("/v1/trials")).json() == {"trials": []}
    shown = (await client.get("/v1/trials?withdrawn=true")).json()["trials"]
    assert [one["id"] for one in shown] == [1]
    assert len(kept.changes(0)) == 3


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"arms": ["one"]}, "#/arms"),
        ({"seed": -3}, "#/seed"),
        ({"base_c": 90}, "#/base_c"),
        ({"test": "boschloo", "cuttings": 4}, "#/test"),
        ({"units": [{**PLAN["units"][0], "tray": "N7"}, PLAN["units"][1]]}, "#/units"),
        ({"test": "wishes"}, "#/test"),
        ({"also": 1}, "#/also"),
    ],
)
async def test_a_plan_that_is_not_right_is_refused_with_its_place(
    client, kept, as_problem, changes, pointer
):
    problem = as_problem(await client.post("/v1/trials", json={**PLAN, **changes}), 422)
    assert pointer in [fault["pointer"] for fault in problem["errors"]]
    assert kept.changes(0) == []


async def test_a_trial_that_is_not_there(client, as_problem):
    as_problem(await client.get("/v1/trials/9"), 404)
    as_problem(await client.patch("/v1/trials/9", json={}), 404)
    as_problem(await client.get("/v1/trials?sort=up"), 400)
