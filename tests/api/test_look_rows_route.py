"""Looks that come as a table, over HTTP: all or none, and none twice."""

import pytest
from pydantic import TypeAdapter

from api import batch_shapes
from api.batch_bodies import MOST_LOOKS
from controller.records.codes import code_of

ONE = code_of(1)
BATCH = {
    "crop": "gooseberry",
    "kind": "hardwood",
    "count": 12,
    "tray": "N1",
    "stuck_at": "2026-02-01T09:00:00Z",
}
LOOK = {
    "batch": ONE,
    "at": "2026-02-10T09:00:00Z",
    "how": "lifted",
    "looked_at": 3,
    "base": {"roots": 3},
}


@pytest.fixture
async def client(recording):
    await recording.post("/v1/batches", json=BATCH)
    return recording


async def test_a_table_is_told_once_however_often_it_comes(client, kept):
    later = {**LOOK, "at": "2026-02-11T09:00:00Z", "batch": ONE.lower()}
    answer = await client.post("/v1/looks/import", json={"looks": [LOOK, later]})
    assert answer.status_code == 201
    told = answer.json()
    TypeAdapter(batch_shapes.LookRowsView).validate_python(told)
    assert told["looks"] == [
        {"batch": ONE, "id": n, "href": f"/v1/batches/{ONE}/looks/{n}", "new": True}
        for n in (2, 3)
    ]
    again = await client.post("/v1/looks/import", json={"looks": [later, LOOK]})
    assert again.status_code == 201
    assert [(one["id"], one["new"]) for one in again.json()["looks"]] == [
        (3, False),
        (2, False),
    ]
    assert len(kept.changes(0)) == 3


async def test_what_is_wrong_is_told_with_its_place_and_nothing_is_taken(
    client, kept, as_problem
):
    rows = [LOOK, {**LOOK, "batch": "XXXX"}, {**LOOK, "looked_at": 13}]
    answer = await client.post("/v1/looks/import", json={"looks": rows})
    problem = as_problem(answer, 422)
    places = [fault["pointer"] for fault in problem["errors"]]
    assert places == ["#/looks/1/batch", "#/looks/2/at"]
    await client.post("/v1/looks/import", json={"looks": [LOOK]})
    other = {**LOOK, "looked_at": 4}
    problem = as_problem(
        await client.post("/v1/looks/import", json={"looks": [other]}), 422
    )
    (fault,) = problem["errors"]
    assert fault["pointer"] == "#/looks/0/at"
    assert fault["found"] == "2026-02-10T09:00:00.000Z"
    assert "look 2 at batch" in fault["detail"]
    assert len(kept.changes(0)) == 2


@pytest.mark.parametrize("field", ["batch", "at", "how", "looked_at"])
async def test_what_must_be_told_of_each_row(client, as_problem, field):
    row = {key: value for key, value in LOOK.items() if key != field}
    answer = await client.post("/v1/looks/import", json={"looks": [row]})
    problem = as_problem(answer, 422)
    assert [fault["pointer"] for fault in problem["errors"]] == [f"#/looks/0/{field}"]


async def test_a_table_has_an_end(client, as_problem):
    as_problem(await client.post("/v1/looks/import", json={"looks": []}), 422)
    row = {"batch": ONE, "at": LOOK["at"], "how": "lifted", "looked_at": 1}
    many = {"looks": [row] * (MOST_LOOKS + 1)}
    as_problem(await client.post("/v1/looks/import", json=many), 422)
