"""Whatever is told of records is taken or refused with a sentence: never a mistake."""

import asyncio

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.batch_bodies import (
    BatchFields,
    CloseBody,
    LookFields,
    LooksBody,
    MoveBody,
    NewBatchBody,
)
from api.context import Context
from api.plant_bodies import RoundBody, StageBody, StageFields
from api.record_bodies import EventBody, EventFields
from api.record_book import Records
from api.trial_bodies import TrialBody, TrialFields
from controller.adapters.memory_records import MemoryRecords
from controller.record_wire import decode_value, encode_value
from controller.records.codes import code_of
from controller.wire import from_text, to_text
from tests.api.conftest import WARM, FakeBench, FakeReader, connected

ONE = code_of(1)
BATCH = {"crop": "quince", "kind": "hardwood", "count": 9, "tray": "N1"}
STUCK = {**BATCH, "stuck_at": "2026-02-10T09:00:00Z"}
LOOK = {"at": "2026-02-11T09:00:00Z", "how": "lifted", "looked_at": 3}
MOVE = {"at": "2026-02-11T09:00:00Z", "tray": "N2"}
NOTE = {"kind": "note", "text": "cold"}
POTTED = {"at": "2026-02-12T09:00:00Z", "stage": "potted", "count": 3}
ROUND = {"at": "2026-02-10T12:00:00Z"}
PLAN = {
    "title": "two media",
    "arms": ["coir", "bark"],
    "unit": "pot",
    "cuttings": 1,
    "units": [
        {"name": f"N1-{n}", "arm": arm, "block": "1", "tray": "N1"}
        for n, arm in enumerate(["coir", "bark"])
    ],
    "seed": 1,
    "test": "permutation-times",
}

WAYS = {
    ("POST", "/v1/events"): (EventBody, {"kind": "watered", "trays": ["N1"]}),
    ("PATCH", "/v1/events/4"): (EventFields, {}),
    ("POST", "/v1/batches"): (NewBatchBody, STUCK),
    ("PATCH", f"/v1/batches/{ONE}"): (BatchFields, {}),
    ("POST", f"/v1/batches/{ONE}/looks"): (LookFields, LOOK),
    ("PATCH", f"/v1/batches/{ONE}/looks/2"): (LookFields, {}),
    ("POST", f"/v1/batches/{ONE}/move"): (MoveBody, MOVE),
    ("PATCH", f"/v1/batches/{ONE}/moves/3"): (MoveBody, {}),
    ("POST", f"/v1/batches/{ONE}/close"): (CloseBody, {"outcome": "failed"}),
    ("POST", f"/v1/batches/{ONE}/stages"): (StageBody, POTTED),
    ("PATCH", f"/v1/batches/{ONE}/stages/5"): (StageFields, {}),
    ("POST", "/v1/trays/N1/looks"): (RoundBody, ROUND),
    ("POST", "/v1/looks/import"): (LooksBody, {"looks": [{**LOOK, "batch": ONE}]}),
    ("POST", "/v1/trials"): (TrialBody, PLAN),
    ("PATCH", "/v1/trials/6"): (TrialFields, {}),
}

SOME = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 40),
    st.sampled_from([2**70, -(2**70), 1e308, -0.0]),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=20),
    st.sampled_from(["N1", "N2", "north", "2026-02-12T00:00:00Z", "2026-02-12"]),
    st.sampled_from(
        ["hardwood", "dip", "wax", "lifted", "tug", "none", "dead", "\x00", "é"]
    ),
)
VALUES = st.one_of(
    SOME,
    st.lists(SOME, max_size=3),
    st.dictionaries(
        st.sampled_from(["roots", "none", "held", "sides", "active", "carrier", "x"]),
        SOME,
        max_size=3,
    ),
)


async def told(way: tuple[str, str], body: dict[str, object], app) -> None:
    kept = MemoryRecords()
    bench, reader = FakeBench().scan(WARM), FakeReader()
    records = Records(kept, lambda: kept)
    app.state.context = Context(bench, lambda: reader, bench, records=records)
    async with connected(app) as client:
        for path, plain in (
            ("/v1/batches", STUCK),
            (f"/v1/batches/{ONE}/looks", LOOK),
            (f"/v1/batches/{ONE}/move", MOVE),
            ("/v1/events", NOTE),
            (f"/v1/batches/{ONE}/stages", POTTED),
            ("/v1/trials", PLAN),
        ):
            assert (await client.post(path, json=plain)).status_code == 201
        before = len(kept.changes(0))
        answer = await client.request(way[0], way[1], json=body)
        assert answer.status_code in {200, 201, 422}, answer.text
        if answer.status_code == 422:
            assert len(answer.json()["detail"]) > 20
            assert len(kept.changes(0)) == before
        for change in kept.changes(0)[before:]:
            text = to_text(encode_value(change.value)).encode()
            assert decode_value(change.kind, from_text(text)) == change.value
        for path in (
            *(f"/v1/batches/{ONE}", "/v1/batches", "/v1/events", "/v1/trays/N1"),
            *("/v1/advice", f"/v1/batches/{ONE}/advice", "/v1/reminders"),
            *("/v1/varieties", "/calendar.ics", f"/v1/batches/{ONE}/history"),
        ):
            assert (await client.get(path)).status_code == 200


@pytest.mark.slow
@pytest.mark.parametrize("way", list(WAYS), ids=" ".join)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_junk_is_taken_or_refused_and_never_a_mistake_of_ours(shared_app, way, data):
    shape, plain = WAYS[way]
    keys = st.sampled_from([*shape.model_fields, "nothing"])
    junk = data.draw(st.dictionaries(keys, VALUES, max_size=3))
    asyncio.run(told(way, plain | junk, shared_app))


@pytest.mark.parametrize("key", ["base_c", "upper_c"])
@pytest.mark.parametrize("value", [-1.7976931348623155e308, 1e306, -10.001, 70.001])
async def test_a_threshold_beyond_all_measure_is_refused(
    client, as_problem, key, value
):
    body = {"crop": "gooseberry", "kind": "hardwood", key: value}
    as_problem(await client.post("/v1/batches", json=body), 422)
