"""Plants after they rooted, and whole containers looked through, over HTTP."""

import pytest

from controller.records.codes import code_of
from tests.api.test_batch_routes import GOOSEBERRY, ONE, TWO, client, tell

__all__ = ["client"]  # a fixture

POTTED = {"stage": "potted", "count": 9, "root_score": 3, "at": "2026-02-13T09:00:00Z"}
QUINCE = {**GOOSEBERRY, "crop": "quince", "count": 8, "wanted": 3}


async def test_plants_are_told_corrected_and_kept_with_their_history(client):
    await tell(client, **GOOSEBERRY)
    found = (await tell(client, f"/{ONE.lower()}/stages", **POTTED)).json()
    ((stage),) = found["stages"]
    assert stage["stage"].items() >= {"stage": "potted", "count": 9}.items()
    assert found["plants"]["here"] == 9
    assert found["plants"]["alive_after_six_weeks"] is None
    answer = await client.patch(stage["href"], json={"count": 8})
    assert answer.json()["plants"] == {
        **found["plants"],
        "potted": 8,
        "here": 8,
        "mean_root_score": 3.0,
    }
    history = (await client.get(f"/v1/batches/{ONE}/history")).json()["changes"]
    assert [change["kind"] for change in history] == ["batch", "stage", "stage"]
    gone = await client.patch(stage["href"], json={"withdrawn": True})
    assert gone.json()["stages"] == []


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        ({**POTTED, "count": 21}, "#/count", "than were stuck, 20"),
        ({"stage": "dead", "count": 1}, "#/reason", "why they died"),
        ({**POTTED, "stage": "gone"}, "#/stage", "potted"),
        ({**POTTED, "count": None}, "#/count", "integer"),
    ],
)
async def test_what_cannot_be_is_refused_with_its_place(client, body, pointer, words):
    await tell(client, **GOOSEBERRY)
    answer = await client.post(f"/v1/batches/{ONE}/stages", json=body)
    assert answer.status_code == 422
    faults = {fault["pointer"]: fault["detail"] for fault in answer.json()["errors"]}
    assert words in faults[pointer]


async def test_a_stage_of_another_batch_or_of_none_is_not_found(client):
    await tell(client, **GOOSEBERRY)
    await tell(client, **QUINCE)
    await tell(client, f"/{ONE}/stages", **POTTED)
    for path in (f"/{TWO}/stages/3", f"/{ONE}/stages/99", f"/{code_of(9)}/stages/3"):
        answer = await client.patch(f"/v1/batches{path}", json={"count": 1})
        assert answer.status_code == 404


async def test_a_container_is_looked_through_in_one_go(client):
    await tell(client, **GOOSEBERRY)
    await tell(client, **QUINCE)
    other = {"batch": TWO, "how": "tops-only", "looked_at": 8, "tops": {"wilted": 2}}
    body = {"at": "2026-02-12T09:00:00Z", "others": [other], "who": "J"}
    answer = await client.post("/v1/trays/N1/looks", json=body)
    assert answer.status_code == 201
    assert [one["code"] for one in answer.json()["batches"]] == [ONE, TWO]
    one = (await client.get(f"/v1/batches/{ONE}")).json()["looks"][0]["look"]
    assert (one["fine"], one["looked_at"], one["tops"]) == (True, 20, None)
    two = (await client.get(f"/v1/batches/{TWO}")).json()["looks"][0]["look"]
    assert (two["fine"], two["tops"]["wilted"], two["at"]) == (
        False,
        2,
        "2026-02-12T09:00:00.000Z",
    )


async def test_a_round_with_a_fault_is_not_taken_at_all(client):
    await tell(client, **GOOSEBERRY)
    other = {"batch": ONE, "how": "tops-only", "looked_at": 21}
    answer = await client.post("/v1/trays/N1/looks", json={"others": [other]})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "#/others/0/looked_at"
    assert (await client.post("/v1/trays/S1/looks", json={})).status_code == 422
    assert (await client.get(f"/v1/batches/{ONE}")).json()["looks"] == []
