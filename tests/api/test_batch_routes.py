"""Batches over HTTP: told, corrected, looked at, moved, closed; with their warmth."""

from dataclasses import replace

import pytest
from pydantic import TypeAdapter

from api import batch_shapes
from api.context import Context
from api.record_book import Records
from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.core.scan import Reading
from controller.core.units import kelvin_hours
from controller.records.codes import code_of
from controller.review import batch_hours
from controller.review.degree_hours import recount
from controller.review.recounted import Span, Thresholds
from tests.api.conftest import UTC_MS, make_plan
from tests.log.conftest import Samples

STUCK = "2026-02-10T09:00:00Z"
HOUR_MS = 3_600_000
ONE, TWO = code_of(1), code_of(2)

GOOSEBERRY = {
    "crop": "gooseberry",
    "cultivar": "Hollow Lane",
    "kind": "hardwood",
    "collected": "2025-12-03",
    "count": 20,
    "wounds": {"sides": 2, "length_mm": 20},
    "hormone": {"active": "IBA", "ppm": 3000, "carrier": "dip", "seconds": 5},
    "disinfection": "none",
    "wrap": {"material": "wax", "down_mm": 60, "off": "2026-02-12"},
    "cover": "vented",
    "tray": "N1",
    "stuck_at": STUCK,
    "base_c": 7.5,
    "upper_c": 30,
}
LOOK = {
    "at": "2026-02-12T09:00:00Z",
    "how": "lifted",
    "looked_at": 20,
    "base": {"none": 15, "callus": 2, "roots": 3},
    "tops": {"leafed": 20},
}


@pytest.fixture
def client(recording):
    return recording


async def tell(client, path: str = "", **body):
    answer = await client.post(f"/v1/batches{path}", json=body)
    assert answer.status_code == 201, answer.text
    return answer


async def test_a_batch_gets_a_code_and_comes_back_as_it_was_told(client):
    answer = await tell(client, **GOOSEBERRY)
    assert answer.headers["location"] == f"/v1/batches/{ONE}"
    found = (await client.get(f"/v1/batches/{ONE}")).json()
    told = {**GOOSEBERRY, "stuck_at": "2026-02-10T09:00:00.000Z"}
    assert found["batch"].items() >= told.items()
    assert (found["code"], found["state"], found["tray"]) == (ONE, "stuck", "N1")
    assert found["days_since_stuck"] == 4.0
    assert found["written_by"] == "api (loopback) 127.0.0.1"


async def test_a_code_is_understood_however_it_is_written(client):
    await tell(client, **GOOSEBERRY)
    for written in (ONE.lower(), f"{ONE[:2]}-{ONE[2:]}", f"%20{ONE[:1]}%20{ONE[1:]}"):
        answer = await client.get(f"/v1/batches/{written}")
        assert answer.json()["code"] == ONE


async def test_a_label_that_exists_already_is_kept(client, as_problem):
    own = code_of(77)
    assert (await tell(client, **GOOSEBERRY, code=own)).json()["code"] == own
    again = await client.post("/v1/batches", json={**GOOSEBERRY, "code": own})
    assert as_problem(again, 422)["errors"][0]["pointer"] == "#/code"
    assert (await tell(client, **GOOSEBERRY)).json()["code"] == code_of(78)


async def test_a_bundle_is_told_first_and_stuck_later(client):
    bundle = {"crop": "quince", "kind": "hardwood"}
    found = (await tell(client, **bundle)).json()
    assert (found["state"], found["tray"], found["days_since_stuck"]) == (
        "not stuck",
        None,
        None,
    )
    assert "thermal" not in (await client.get(f"/v1/batches/{ONE}")).json()
    stuck = {"stuck_at": STUCK, "count": 30, "tray": "N2"}
    found = (await client.patch(f"/v1/batches/{ONE}", json=stuck)).json()
    assert (found["state"], found["tray"]) == ("stuck", "N2")
    assert found["batch"]["crop"] == "quince"
    assert [one["batch"]["count"] for one in found["history"]] == [None, 30]


async def test_null_takes_away_and_an_object_stands_for_the_whole(client):
    await tell(client, **GOOSEBERRY)
    change = {"wrap": None, "hormone": {"active": "NAA", "carrier": "powder"}}
    found = (await client.patch(f"/v1/batches/{ONE}", json=change)).json()["batch"]
    assert found["wrap"] is None
    assert found["hormone"] == {
        "active": "NAA",
        "ppm": None,
        "carrier": "powder",
        "seconds": None,
    }


async def test_a_look_tells_what_it_bounds_and_a_tug_does_not(client):
    await tell(client, **GOOSEBERRY)
    found = (await tell(client, f"/{ONE}/looks", **LOOK)).json()
    (look,) = found["looks"]
    assert look["rooted"] == {"at_least": 3, "at_most": 3, "of": 20}
    assert look["tugged"] is None
    assert [(one["count"], one["after"], one["by"]) for one in found["rootings"]] == [
        (3, "2026-02-10T09:00:00.000Z", "2026-02-12T09:00:00.000Z"),
        (17, "2026-02-12T09:00:00.000Z", None),
    ]
    tug = {"how": "tug", "looked_at": 4, "tug": {"held": 4}, "dead": {"mould": 1}}
    found = (await tell(client, f"/{ONE}/looks", **tug)).json()
    look = found["looks"][1]
    assert look["rooted"] == {"at_least": 0, "at_most": 4, "of": 4}
    assert (look["tugged"]["held"], look["tugged"]["likely_share"]) == (4, 1.0)
    assert look["look"]["base"] is None  # not looked
    assert found["dead"]["mould"] == 1


async def test_a_look_is_corrected_and_taken_back(client, as_problem):
    await tell(client, **GOOSEBERRY)
    found = (await tell(client, f"/{ONE}/looks", **LOOK)).json()
    href = found["looks"][0]["href"]
    change = {"base": {"roots": 5, "none": 15}}
    (look,) = (await client.patch(href, json=change)).json()["looks"]
    assert (look["rooted"]["at_least"], look["revisions"]) == (5, 2)
    assert look["look"]["tops"]["leafed"] == 20
    assert (await client.patch(href, json={"withdrawn": True})).json()["looks"] == []
    await tell(client, **GOOSEBERRY)
    other = href.replace(ONE, TWO)
    as_problem(await client.patch(other, json={"withdrawn": False}), 404)


async def test_moves_are_dated_corrected_and_change_where_it_stands(client):
    await tell(client, **GOOSEBERRY)
    move = {"at": "2026-02-11T09:00:00Z", "tray": "", "place": "frost-free frame"}
    found = (await tell(client, f"/{ONE}/move", **move)).json()
    assert found["tray"] is None
    assert [(one["tray"], one["until"]) for one in found["stays"]] == [
        ("N1", "2026-02-11T09:00:00.000Z"),
        (None, None),
    ]
    href = found["moves"][0]["href"]
    found = (await client.patch(href, json={"tray": "S1"})).json()
    assert (found["tray"], found["moves"][0]["move"]["place"]) == (
        "S1",
        "frost-free frame",
    )


async def test_a_batch_is_closed_put_right_and_opened_again(client, as_problem):
    await tell(client, **GOOSEBERRY)
    end = {"at": "2026-02-13T09:00:00Z", "outcome": "weaned"}
    found = (await tell(client, f"/{ONE}/close", **end)).json()
    assert (found["state"], found["tray"], found["days_since_stuck"]) == (
        "closed",
        None,
        3.0,
    )
    again = {"outcome": "weaned", "rooted": 18}
    found = (await tell(client, f"/{ONE}/close", **again)).json()
    assert found["closing"]["rooted"] == 18
    assert found["closing"]["at"] == "2026-02-13T09:00:00.000Z"
    late = {**LOOK, "at": "2026-02-13T10:00:00Z"}
    refused = await client.post(f"/v1/batches/{ONE}/looks", json=late)
    assert "it is closed" in as_problem(refused, 422)["detail"]
    undo = {"outcome": "weaned", "withdrawn": True}
    assert (await tell(client, f"/{ONE}/close", **undo)).json()["state"] == "stuck"


async def test_everything_that_was_ever_told_of_a_batch_can_be_seen(client):
    await tell(client, **GOOSEBERRY)
    await tell(client, **GOOSEBERRY)
    found = (await tell(client, f"/{ONE}/looks", **LOOK)).json()
    href = found["looks"][0]["href"]
    await client.patch(href, json={"withdrawn": True})
    await client.patch(f"/v1/batches/{ONE}", json={"count": 21})
    await tell(client, f"/{ONE}/move", tray="N2", at="2026-02-13T00:00:00Z")
    await tell(client, f"/{ONE}/close", outcome="failed", at="2026-02-13T10:00:00Z")
    await tell(client, f"/{TWO}/move", tray="N2", at="2026-02-13T00:00:00Z")
    found = (await client.get(f"/v1/batches/{ONE}/history")).json()
    assert [(one["id"], one["kind"]) for one in found["changes"]] == [
        (1, "batch"),
        (3, "look"),
        (4, "look"),
        (5, "batch"),
        (6, "move"),
        (7, "closing"),
    ]
    assert [one["told"]["withdrawn"] for one in found["changes"]][:4] == [
        False,
        False,
        True,
        False,
    ]
    assert found["changes"][3]["told"]["count"] == 21


async def test_of_many_batches_the_newest_are_listed(client):
    for _ in range(3):
        await tell(client, **GOOSEBERRY)
    found = (await client.get("/v1/batches?limit=2")).json()
    assert [one["code"] for one in found["batches"]] == [TWO, code_of(3)]
    assert found["more"] is True


async def test_batches_are_listed_by_tray_crop_and_whether_they_are_open(client):
    await tell(client, **GOOSEBERRY)
    await tell(client, **{**GOOSEBERRY, "crop": "quince", "tray": "S1"})
    await tell(client, f"/{TWO}/move", tray="N1", at="2026-02-11T09:00:00Z")
    await tell(client, f"/{ONE}/close", outcome="failed", at="2026-02-13T09:00:00Z")

    async def codes(query: str) -> list[str]:
        answer = await client.get(f"/v1/batches?{query}")
        return [one["code"] for one in answer.json()["batches"]]

    assert await codes("") == [ONE, TWO]
    assert await codes("tray=N1") == [TWO]
    assert await codes("open=true") == [TWO]
    assert await codes("crop=gooseberry") == [ONE]
    await client.patch(f"/v1/batches/{TWO}", json={"withdrawn": True})
    assert await codes("") == [ONE]
    assert await codes("withdrawn=true") == [ONE, TWO]


async def test_a_tray_names_the_batches_that_stand_in_it(client, kept):
    await tell(client, **GOOSEBERRY, place="left half")
    await tell(client, **{**GOOSEBERRY, "tray": "N2"})
    found = (await client.get("/v1/trays/N1")).json()["batches"]
    assert [(one["code"], one["crop"], one["place"]) for one in found] == [
        (ONE, "gooseberry", "left half")
    ]
    assert (await client.get("/v1/trays/V1")).json()["batches"] == []
    kept.changes = lambda _: 1 / 0
    answer = await client.get("/v1/trays/N1")
    assert answer.status_code == 200
    assert "batches" not in answer.json()


async def test_many_come_at_once_or_not_at_all(client, kept, as_problem):
    told = [GOOSEBERRY, {**GOOSEBERRY, "code": code_of(9)}]
    found = (await tell(client, "/import", batches=told)).json()["batches"]
    assert [one["code"] for one in found] == [code_of(10), code_of(9)]
    wrong = [GOOSEBERRY, {**GOOSEBERRY, "count": 0}, {**GOOSEBERRY, "code": "X"}]
    answer = await client.post("/v1/batches/import", json={"batches": wrong})
    faults = as_problem(answer, 422)["errors"]
    assert [one["pointer"] for one in faults] == [
        "#/batches/1/count",
        "#/batches/2/code",
    ]
    assert len(kept.changes(0)) == 2


@pytest.mark.parametrize(
    ("path", "body", "pointer", "words"),
    [
        ("", {**GOOSEBERRY, "colour": "red"}, "#/colour", "is not known here"),
        ("", {"kind": "hardwood"}, "#/crop", "required"),
        ("", {**GOOSEBERRY, "kind": "wood"}, "#/kind", "'hardwood'"),
        ("", {**GOOSEBERRY, "count": 2.5}, "#/count", "integer"),
        ("", {**GOOSEBERRY, "tray": "N9"}, "#/tray", "there are: N1, N2, S1"),
        ("", {**GOOSEBERRY, "upper_c": 7}, "#/upper_c", "above the base, 7.5"),
        ("", {**GOOSEBERRY, "collected": "May"}, "#/collected", "date"),
        (
            "",
            {**GOOSEBERRY, "hormone": {"carrier": "dip", "active": "x", "ppm": -1}},
            "#/hormone/ppm",
            "0 to 200000",
        ),
        ("", {**GOOSEBERRY, "stuck_at": "2026-05-01T00:00:00Z"}, "#/stuck_at", "futur"),
        (f"/{ONE}/looks", {**LOOK, "looked_at": 21}, "#/looked_at", "were stuck, 20"),
        (
            f"/{ONE}/looks",
            {"how": "tops-only", "looked_at": 3, "base": {"roots": 1}},
            "#/base",
            "not looked",
        ),
        (f"/{ONE}/move", {"tray": "N9"}, "#/tray", "no such tray"),
        (f"/{ONE}/move", {}, "#/tray", "required"),
        (f"/{ONE}/close", {"outcome": "sold"}, "#/outcome", "'weaned'"),
        (
            f"/{ONE}/close",
            {"outcome": "failed", "at": "2026-02-01T00:00:00Z"},
            "#/at",
            "before it was stuck",
        ),
    ],
)
async def test_what_is_wrong_is_refused_with_its_place(
    client, kept, as_problem, path, body, pointer, words
):
    await tell(client, **GOOSEBERRY)
    told = as_problem(await client.post(f"/v1/batches{path}", json=body), 422)
    (fault,) = told["errors"]
    assert fault["pointer"] == pointer
    assert words in fault["detail"]
    assert len(kept.changes(0)) == 1


async def test_what_is_not_there_is_404(client, as_problem):
    for code in (ONE, "OOPS", "x" * 300):
        as_problem(await client.get(f"/v1/batches/{code}"), 404)
        as_problem(await client.patch(f"/v1/batches/{code}", json={}), 404)
    as_problem(await client.post(f"/v1/batches/{ONE}/looks", json=LOOK), 404)
    as_problem(await client.get("/v1/batches?color=red"), 400)


async def test_without_a_clock_times_must_be_told(client, bench, as_problem):
    await tell(client, **GOOSEBERRY)
    bench.clock_ok = False
    for path, body in (
        ("looks", {"how": "tops-only", "looked_at": 1}),
        ("move", {"tray": "N2"}),
        ("close", {"outcome": "failed"}),
    ):
        answer = await client.post(f"/v1/batches/{ONE}/{path}", json=body)
        assert "say when" in as_problem(answer, 422)["detail"]


async def test_answers_have_exactly_the_keys_that_are_promised(client):
    await tell(client, **GOOSEBERRY)
    found = (await tell(client, f"/{ONE}/looks", **LOOK)).json()
    await tell(client, f"/{ONE}/move", tray="N2")
    found = (await client.get(f"/v1/batches/{ONE}")).json()
    shape = batch_shapes.BatchFileView
    assert found.keys() == shape.__annotations__.keys()
    assert found["thermal"].keys() == batch_shapes.BatchThermalView.__required_keys__
    TypeAdapter(batch_shapes.StayView).validate_python(found["stays"][0])
    assert found["looks"][0].keys() == batch_shapes.LookView.__required_keys__
    assert found["moves"][0].keys() == batch_shapes.MoveView.__required_keys__
    assert found["rootings"][0].keys() == batch_shapes.RootingView.__required_keys__


# ------------------------------------------------------------------- thermal time


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """Four days of two trays in a log: N1 at 20 to 22 °C, S1 at 25 °C."""
    path = tmp_path_factory.mktemp("warm") / "season.db"
    samples = Samples(make_plan())
    begun_ms = UTC_MS - 96 * HOUR_MS
    writer = DirectSeasonLog(path)
    writer.begin(samples.header(started_utc_ms=begun_ms))
    for seq in range(1, 96 * 60 + 1):
        scan, decisions, state = samples.taken(seq)
        run_ms = seq * 60_000
        readings = (
            Reading("n1", run_ms, 20_000 + (seq % 240) * 8),
            Reading("s1", run_ms, 25_000),
        )
        scan = replace(scan, run_ms=run_ms, utc_ms=begun_ms + run_ms, readings=readings)
        writer.append(scan, decisions, state)
    writer.close()
    return SeasonLogReader(path)


@pytest.fixture
async def on_log(shared_app, connect, bench, kept, log):
    records = Records(kept, lambda: kept)
    bench.run_ms = 0
    shared_app.state.context = Context(bench, lambda: log, bench, records=records)
    async with connect(shared_app) as found:
        yield found


async def test_degree_hours_follow_the_batch_from_tray_to_tray(on_log, log):
    await tell(on_log, **GOOSEBERRY)
    for at, tray in (("2026-02-11T09:00:00Z", ""), ("2026-02-12T09:00:00Z", "S1")):
        await tell(on_log, f"/{ONE}/move", at=at, tray=tray)
    found = (await on_log.get(f"/v1/batches/{ONE}")).json()["thermal"]
    # On S1 from the 12th, 09:00, to the last full ten minutes that are settled.
    assert found["until"] == "2026-02-14T08:50:00.000Z"
    on_s1 = 47 + 50 / 60
    assert found["hours_off_bench"] == 24.0
    assert found["hours_measured"] == pytest.approx(24 + on_s1, abs=0.02)
    stuck_ms = UTC_MS - UTC_MS % 1000 - 4 * 24 * HOUR_MS + 115_000
    first = recount(
        log, "N1", Thresholds(7_500, 30_000), Span(stuck_ms, stuck_ms + 24 * HOUR_MS)
    )
    expected = kelvin_hours(first.account.heat_mk_ms) + on_s1 * 17.5
    assert found["degree_hours_k_h"] == pytest.approx(expected, rel=1e-4)
    assert (found["base_c"], found["upper_c"], found["base_from"]) == (7.5, 30, "batch")
    assert 22.5 < found["mean_c"] < 24.5
    assert "at 26 °C" in found["equal_to"]  # the setpoint where it stands now


async def test_without_a_base_of_its_own_that_of_its_first_tray_counts(on_log):
    plain = {**GOOSEBERRY, "base_c": None, "upper_c": None, "tray": "S1"}
    await tell(on_log, **plain)
    found = (await on_log.get(f"/v1/batches/{ONE}")).json()["thermal"]
    assert (found["base_c"], found["upper_c"], found["base_from"]) == (10, 30, "tray")
    hours = 95 + 50 / 60
    assert found["degree_hours_k_h"] == pytest.approx(hours * 15, rel=2e-3)


async def test_a_tray_without_readings_has_no_hours_and_no_mean(on_log):
    await tell(on_log, **{**GOOSEBERRY, "tray": "W1"})
    found = (await on_log.get(f"/v1/batches/{ONE}")).json()["thermal"]
    assert (found["degree_hours_k_h"], found["mean_c"]) == (0, None)


async def test_what_was_counted_is_counted_again_only_for_new_data(
    on_log, bench, monkeypatch
):
    counted = []
    real = batch_hours.recount

    def watched(log, tray, thresholds, span):
        counted.append(span)
        return real(log, tray, thresholds, span)

    monkeypatch.setattr(batch_hours, "recount", watched)
    await tell(on_log, **GOOSEBERRY)
    first = (await on_log.get(f"/v1/batches/{ONE}")).json()["thermal"]
    assert len(counted) == 2  # up to midnight, and since
    assert (await on_log.get(f"/v1/batches/{ONE}")).json()["thermal"] == first
    assert len(counted) == 2
    bench.run_ms += 10 * 60_000
    await on_log.get(f"/v1/batches/{ONE}")
    assert len(counted) == 3
    (_, _, last) = counted
    assert last.to_utc_ms - last.from_utc_ms < 24 * HOUR_MS


async def test_a_log_that_cannot_be_read_is_503_and_what_was_told_is_kept(
    client, reader, as_problem
):
    await tell(client, **GOOSEBERRY)
    reader.error = OSError("the card is gone")
    as_problem(await client.get(f"/v1/batches/{ONE}"), 503)
    found = await client.patch(f"/v1/batches/{ONE}", json={"count": 19})
    assert found.json()["batch"]["count"] == 19
