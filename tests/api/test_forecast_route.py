"""GET /v1/forecast: the last result as it is kept, and what is said without one."""

from dataclasses import replace

import pytest

from api.context import Context
from controller.ports import ForecastKept

BATCH = {
    "id": "3334",
    "code": "3334",
    "href": "/v1/batches/3334",
    "crop": "gooseberry",
    "cultivar": "Hollow Lane",
    "half_rooted": {
        "from_90": "2026-03-01",
        "from_50": "2026-03-05",
        "median": "2026-03-08",
        "to_50": "2026-03-12",
        "to_90": None,
    },
    "why_none": None,
    "share_rooted": {"expected": 0.7, "from_90": 0.4, "to_90": 0.9},
    "own_share": 0.25,
    "reached": False,
    "degree_hours_k_h": 812.5,
    "base_c": 5.0,
    "needs_k_h": {"from_90": 3000.0, "median": 5000.0, "to_90": 8000.0},
    "words": "half of those that will root have rooted by 2026-03-08",
    "notes": [],
    "sources": ["base: no source: a guess"],
}
RESULT = {"at": "2026-02-14T04:00:00.000Z", "batches": [BATCH], "words": "told"}


@pytest.fixture
def kept(client, shared_app, bench, reader):
    def put(forecast: ForecastKept) -> None:
        shared_app.state.context = Context(
            bench, lambda: reader, bench, forecast=lambda: forecast
        )

    return put


async def test_the_last_result_is_answered_as_it_is_kept(client, kept):
    kept(ForecastKept({**RESULT, "history": {"of": "its own"}}))
    answer = await client.get("/v1/forecast")
    assert answer.status_code == 200
    assert answer.json() == RESULT


async def test_before_the_first_one_is_worked_out_it_says_so(client, kept):
    kept(ForecastKept())
    body = (await client.get("/v1/forecast")).json()
    assert body["at"] is None
    assert body["batches"] == []
    assert "no forecast has been worked out yet" in body["words"]


async def test_a_bench_that_works_none_out_says_so(client, shared_app):
    shared_app.state.context = replace(shared_app.state.context, forecast=None)
    body = (await client.get("/v1/forecast")).json()
    assert (body["at"], body["batches"]) == (None, [])


async def test_a_failed_attempt_is_told_beside_the_older_result(client, kept):
    kept(ForecastKept(RESULT, 1_771_059_600_000, "it took longer than 900 s"))
    body = (await client.get("/v1/forecast")).json()
    assert body["batches"] == [BATCH]
    assert body["failed"] == {
        "at": "2026-02-14T09:00:00.000Z",
        "why": "it took longer than 900 s",
    }


async def test_rubbish_in_its_file_is_no_answer(client, kept):
    kept(ForecastKept({"at": 5, "batches": "all"}))
    body = (await client.get("/v1/forecast")).json()
    assert (body["at"], body["batches"]) == (None, [])
    assert "cannot be used" in body["words"]


async def test_a_query_that_it_does_not_know_is_refused(client, kept, as_problem):
    kept(ForecastKept(RESULT))
    as_problem(await client.get("/v1/forecast?batch=3334"), 400)
