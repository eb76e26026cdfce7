"""Bench events over HTTP: told, corrected, found again; refused with a sentence."""

import asyncio
from dataclasses import replace

import pytest

from api.context import Context
from api.record_book import Records
from controller.adapters.season_log import SeasonLogReader, SeasonLogWriter
from controller.ports import MovedOnError, NotKeptError
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind
from tests.api.conftest import UTC_MS

WATERED = {"kind": "watered", "trays": ["N1", "N2"], "water_ml": 200}
EARLIER = "2026-02-13T08:00:00Z"


@pytest.fixture
def client(recording):
    return recording


async def tell(client, **changes):
    answer = await client.post("/v1/events", json={**WATERED, **changes})
    assert answer.status_code == 201, answer.text
    return answer


async def test_what_was_told_is_found_under_its_location(client, kept):
    answer = await tell(client, at=EARLIER, who="M.", text="from the barrel")
    assert answer.headers["location"] == "/v1/events/1"
    found = (await client.get("/v1/events/1")).json()
    assert found.items() >= answer.json().items()
    assert found["at"] == "2026-02-13T08:00:00.000Z"
    assert (found["kind"], found["trays"], found["given_ml"]) == (
        "watered",
        ["N1", "N2"],
        200,
    )
    assert found["written_by"] == "api (loopback) 127.0.0.1"
    assert kept.changes(0)[0].value.text == "from the barrel"


async def test_without_a_time_it_is_of_now(client, bench):
    found = (await tell(client)).json()
    assert found["at"] == found["written_at"]
    assert found["at"].startswith("2026-02-14T09:00:")


async def test_without_a_clock_a_time_must_be_told(client, bench, as_problem):
    bench.clock_ok = False
    answer = await client.post("/v1/events", json=WATERED)
    assert "say when" in as_problem(answer, 422)["detail"]
    await tell(client, at=EARLIER)


async def test_a_correction_changes_what_it_tells_and_keeps_what_was_so(client):
    await tell(client, text="two cans")
    answer = await client.patch("/v1/events/1", json={"water_ml": 150, "at": None})
    assert answer.status_code == 200
    found = answer.json()
    assert (found["water_ml"], found["text"], found["revisions"]) == (
        150,
        "two cans",
        2,
    )
    assert [one["event"]["water_ml"] for one in found["history"]] == [200, 150]
    again = await client.patch("/v1/events/1", json={"water_ml": 150})
    assert again.json()["revisions"] == 2


async def test_null_takes_away_what_may_be_missing(client):
    await tell(client)
    found = (await client.patch("/v1/events/1", json={"water_ml": None})).json()
    assert found["water_ml"] is None


async def test_a_correction_must_leave_something_that_is_right(client, as_problem):
    await tell(client)
    body = as_problem(await client.patch("/v1/events/1", json={"trays": []}), 422)
    assert body["errors"][0]["pointer"] == "#/trays"
    assert (await client.get("/v1/events/1")).json()["revisions"] == 1


async def test_a_withdrawn_event_is_listed_only_when_asked_for(client):
    await tell(client)
    await client.patch("/v1/events/1", json={"withdrawn": True})
    assert (await client.get("/v1/events")).json() == {"events": [], "more": False}
    found = (await client.get("/v1/events?withdrawn=true")).json()["events"]
    assert [one["id"] for one in found] == [1]


async def test_events_are_found_by_tray_mat_kind_and_time(client):
    await tell(client, at="2026-02-13T10:00:00Z")
    await tell(client, at=EARLIER, trays=["S1"])
    await tell(client, kind="cover-on", trays=[], mats=["north"], water_ml=None)
    await tell(client, kind="note", trays=[], water_ml=None, text="cold night")

    async def ids(query: str) -> list[int]:
        answer = await client.get(f"/v1/events?{query}")
        return [one["id"] for one in answer.json()["events"]]

    assert await ids("") == [2, 1, 3, 4]
    assert await ids("tray=N1") == [1, 3]  # 3 is of its mat
    assert await ids("tray=S1") == [2]
    assert await ids("kind=note") == [4]
    assert await ids("to=2026-02-13T10:00:00Z") == [2]
    assert await ids("from=2026-02-13T10:00:00Z&tray=N1&kind=watered") == [1]
    assert await ids("limit=2") == [3, 4]
    assert (await client.get("/v1/events?limit=2")).json()["more"] is True


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        ({**WATERED, "ml": 200}, "#/ml", "is not known here"),
        ({**WATERED, "kind": "drowned"}, "#/kind", "'watered'"),
        ({"trays": ["N1"]}, "#/kind", "required"),
        ({**WATERED, "water_ml": "200"}, "#/water_ml", "number"),
        ({**WATERED, "at": "yesterday"}, "#/at", "RFC 3339"),
        ({**WATERED, "at": "2026-03-01T00:00:00Z"}, "#/at", "in the future"),
        ({**WATERED, "at": "1999-01-01T00:00:00Z"}, "#/at", "after 2000"),
        ({**WATERED, "trays": ["N9"]}, "#/trays", "there are: N1, N2, S1, V1, W1"),
        ({**WATERED, "trays": "N1"}, "#/trays", "list"),
        ({"kind": "photo", "photo": "/x/y.jpg"}, "#/photo", "without a folder"),
    ],
)
async def test_what_is_wrong_is_refused_with_its_place(
    client, kept, as_problem, body, pointer, words
):
    told = as_problem(await client.post("/v1/events", json=body), 422)
    (fault,) = told["errors"]
    assert fault["pointer"] == pointer
    assert words in fault["detail"]
    assert kept.changes(0) == []


async def test_a_time_that_is_wrong_is_shown_as_it_was_told(client, as_problem):
    body = {**WATERED, "at": "2026-03-01T00:00:00Z"}
    told = as_problem(await client.post("/v1/events", json=body), 422)
    assert told["errors"][0]["found"] == "2026-03-01T00:00:00.000Z"


async def test_what_is_not_there_is_404(client, as_problem):
    as_problem(await client.get("/v1/events/7"), 404)
    as_problem(await client.patch("/v1/events/7", json={}), 404)
    as_problem(await client.get("/v1/events/x"), 404)
    as_problem(await client.get("/v1/events?trays=N1"), 400)


async def test_a_disk_that_refuses_is_503_with_its_words(client, kept, as_problem):
    kept.refuses = "the season log cannot be written: disk I/O error"
    answer = await client.post("/v1/events", json=WATERED)
    told = as_problem(answer, 503)
    assert told["detail"] == f"nothing was written: {kept.refuses}"
    assert answer.headers["retry-after"] == "5"
    kept.refuses = ""
    assert (await client.get("/v1/events")).json()["events"] == []


async def test_a_disk_that_is_silent_is_told_apart(client, kept, as_problem):
    async def silent(_):
        raise NotKeptError("the disk gave no answer within 5 s", certain=False)

    kept.keep = silent
    told = as_problem(await client.post("/v1/events", json=WATERED), 503)
    assert "look before you say it again" in told["detail"]


async def test_what_somebody_else_wrote_meanwhile_is_read_and_decided_on(client, kept):
    await tell(client)
    value = BenchEvent(kind=EventKind.NOTE, utc_ms=UTC_MS, text="by another way")
    await kept.keep([Change(2, UTC_MS, "else", "2", value)])
    assert (await tell(client)).json()["id"] == 3


async def test_who_never_gets_a_turn_is_told_so(client, kept, as_problem):
    async def always_late(_):
        raise MovedOnError

    kept.keep = always_late
    as_problem(await client.post("/v1/events", json=WATERED), 409)


async def test_many_at_once_are_all_kept(client, kept):
    told = [client.post("/v1/events", json=WATERED) for _ in range(20)]
    answers = await asyncio.gather(*told)
    assert {one.status_code for one in answers} == {201}
    assert sorted(one.json()["id"] for one in answers) == list(range(1, 21))


async def test_records_that_cannot_be_read_are_503(client, kept, as_problem):
    kept.changes = lambda _: 1 / 0
    as_problem(await client.get("/v1/events"), 503)


async def test_without_a_season_log_nothing_is_kept(
    shared_app, connect, bench, as_problem
):
    shared_app.state.context = Context(bench, None, bench)
    async with connect(shared_app) as client:
        as_problem(await client.get("/v1/events"), 503)
        as_problem(await client.post("/v1/events", json=WATERED), 503)


async def test_what_was_answered_is_on_the_disk(shared_app, connect, bench, tmp_path):
    path = tmp_path / "season.db"
    writer = SeasonLogWriter(path)
    records = Records(writer, lambda: SeasonLogReader(path))
    shared_app.state.context = Context(bench, None, bench, records=records)
    async with connect(shared_app) as client:
        await tell(client)
        assert len(SeasonLogReader(path).changes()) == 1
        await client.patch("/v1/events/1", json={"water_ml": 1})
    assert [one.value.water_ml for one in SeasonLogReader(path).changes()] == [200, 1]
    writer.close()
    assert replace(SeasonLogReader(path).changes()[1].value, water_ml=200)
