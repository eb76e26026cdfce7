"""Wishes over HTTP: queued for the next scan, answered by the core."""

import pytest

from api import context
from api.app import create_app
from controller.core.scan import Hold, NextStep, Reset, SetEnabled, SetSetpoint

JSON = {"content-type": "application/json"}

WISHES = [
    ("PUT", "setpoint", {"setpoint_c": 22.5}, SetSetpoint("north", 22_500, None)),
    (
        "PUT",
        "setpoint",
        {"setpoint_c": 22, "for_s": 28_800},
        SetSetpoint("north", 22_000, 28_800_000),
    ),
    ("DELETE", "setpoint", None, SetSetpoint("north", None)),
    ("PUT", "enabled", {"enabled": False}, SetEnabled("north", False)),
    ("PUT", "enabled", {"enabled": True}, SetEnabled("north", True)),
    ("POST", "reset", None, Reset("north")),
    ("POST", "reset", {}, Reset("north")),
    ("POST", "hold", None, Hold("north", 900_000)),
    ("POST", "hold", {}, Hold("north", 900_000)),
    ("POST", "hold", {"for_min": 1.5}, Hold("north", 90_000)),
    ("POST", "hold", {"for_min": 0}, Hold("north", 0)),
    ("POST", "step", None, NextStep("north")),
]


@pytest.mark.parametrize(
    ("method", "action", "body", "wish"),
    WISHES,
    ids=[f"{n}-{row[1]}" for n, row in enumerate(WISHES)],
)
async def test_a_wish_waits_for_the_next_scan(
    client, bench, method, action, body, wish
):
    answer = await client.request(
        method, f"/v1/mats/north/{action}", json=body, headers=JSON
    )
    assert answer.status_code == 202, answer.text
    assert answer.json() == {"request": 1, "href": "/v1/requests/1"}
    assert answer.headers["location"] == "/v1/requests/1"
    assert [request.wish for request in bench.waiting] == [wish]
    assert bench.waiting[0].who == "api (loopback) 127.0.0.1"


async def test_a_wish_is_followed_from_waiting_to_accepted(client, bench, warm):
    asked = await client.put("/v1/mats/north/setpoint", json={"setpoint_c": 23})
    href = asked.json()["href"]
    waiting = (await client.get(href)).json()
    assert (waiting["request"], waiting["status"]) == (1, "waiting")
    bench.scan(warm)
    accepted = (await client.get(href)).json()
    assert accepted["status"] == "accepted"
    assert accepted["sentence"]
    mat = (await client.get("/v1/mats/north")).json()
    assert mat["setpoint"]["setpoint_c"] == 23
    assert mat["setpoint"]["override"]["who"] == "api (loopback) 127.0.0.1"


async def test_a_wish_that_the_core_refuses_says_why(client, bench, warm):
    asked = await client.post("/v1/mats/north/reset", headers=JSON)
    bench.scan(warm)
    answer = (await client.get(asked.json()["href"])).json()
    assert answer["status"] == "refused"
    assert "not locked off" in answer["sentence"]


async def test_a_hold_switches_a_mat_off_in_the_next_scan(client, bench, warm):
    assert (await client.get("/v1/mats/south")).json()["energised"]
    await client.post("/v1/mats/south/hold", json={"for_min": 5})
    bench.scan(warm)
    mat = (await client.get("/v1/mats/south")).json()
    assert (mat["energised"], mat["mode"]) == (False, "held")


async def test_nobody_asked_under_an_unknown_number(client, as_problem):
    for number in ("0", "7", "-1", str(2**80), "abc", "1.5", "9" * 5_000):
        as_problem(await client.get(f"/v1/requests/{number}"), 404)


async def test_an_answer_that_the_bench_has_forgotten_is_not_called_waiting(
    client, bench, warm, as_problem
):
    await client.post("/v1/mats/north/hold", headers=JSON)
    bench.waiting.clear()
    for _ in range(2):  # the wish may have missed the scan that was being made
        bench.scan(warm)
        assert (await client.get("/v1/requests/1")).json()["status"] == "waiting"
    bench.scan(warm)
    body = as_problem(await client.get("/v1/requests/1"), 404)
    assert "no longer" in body["detail"]


async def test_only_recent_numbers_are_kept(bench, connect, monkeypatch):
    monkeypatch.setattr(context, "REMEMBERED", 3)
    app = create_app(bench, None, bench)
    async with connect(app) as client:
        for _ in range(5):
            await client.post("/v1/mats/north/hold", headers=JSON)
    assert list(app.state.context.asked) == [3, 4, 5]


async def test_too_many_wishes_are_turned_away_until_the_next_scan(
    client, bench, as_problem
):
    bench.most = 1
    await client.post("/v1/mats/north/hold", headers=JSON)
    refused = await client.post("/v1/mats/north/hold", headers=JSON)
    as_problem(refused, 429)
    assert refused.headers["retry-after"] == "5"
    assert len(bench.waiting) == 1


@pytest.mark.parametrize(
    ("setpoint_c", "fits"),
    [(4.9, False), (5, True), (26, True), (30, True), (30.1, False), (75, False)],
)
async def test_a_setpoint_out_of_bounds_is_refused_at_once(
    client, bench, as_problem, setpoint_c, fits
):
    """At least 5 °C, and at most 3 K below the cut-out, here 33 °C."""
    answer = await client.put(
        "/v1/mats/south/setpoint", json={"setpoint_c": setpoint_c}
    )
    if fits:
        assert answer.status_code == 202
        return
    fault = as_problem(answer, 422)["errors"][0]
    assert fault["pointer"] == "#/setpoint_c"
    assert fault["found"].startswith(f"{setpoint_c:g}")
    assert fault["allowed"]
    assert bench.waiting == []


@pytest.mark.parametrize(
    ("action", "body", "pointer"),
    [
        ("setpoint", b"{}", "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": "24 C"}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": true}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": null}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": NaN}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": Infinity}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": -Infinity}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": 1e308}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": 1e999}', "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": ' + b"9" * 400 + b"}", "#/setpoint_c"),
        ("setpoint", b'{"setpoint_c": 22, "for_s": 0}', "#/for_s"),
        ("setpoint", b'{"setpoint_c": 22, "for_s": -5}', "#/for_s"),
        ("setpoint", b'{"setpoint_c": 22, "for_s": NaN}', "#/for_s"),
        ("setpoint", b'{"setpoint_c": 22, "for_s": 1e300}', "#/for_s"),
        ("setpoint", b'{"setpoint_c": 22, "a/b~c d": 1}', "#/a~1b~0c%20d"),
        ("setpoint", b'{"setpoint_c": 22, "\\ud800": 1}', "#"),
        ("setpoint", b"[]", "#"),
        ("setpoint", b"null", "#"),
        ("setpoint", b"24", "#"),
        ("setpoint", b'"\\ud800"', "#"),
        ("setpoint", b"", "#"),
        ("enabled", b'{"enabled": 1}', "#/enabled"),
        ("enabled", b'{"enabled": "yes"}', "#/enabled"),
        ("enabled", b"{}", "#/enabled"),
    ],
)
async def test_a_body_of_the_wrong_shape_names_the_place(
    client, bench, as_problem, action, body, pointer
):
    answer = await client.put(f"/v1/mats/north/{action}", content=body, headers=JSON)
    faults = as_problem(answer, 422)["errors"]
    assert pointer in [fault["pointer"] for fault in faults]
    assert bench.waiting == []


@pytest.mark.parametrize("for_min", [-1, 0.5, 241, 1e300, "15"])
async def test_a_hold_lasts_from_a_minute_to_four_hours(client, as_problem, for_min):
    answer = await client.post("/v1/mats/north/hold", json={"for_min": for_min})
    assert as_problem(answer, 422)["errors"][0]["pointer"] == "#/for_min"


@pytest.mark.parametrize("action", ["reset", "step"])
async def test_what_takes_nothing_takes_nothing(client, as_problem, action):
    answer = await client.post(f"/v1/mats/north/{action}", json={"force": True})
    fault = as_problem(answer, 422)["errors"][0]
    assert fault == {"detail": "is not known here", "pointer": "#/force"}


@pytest.mark.parametrize(
    ("method", "action"),
    [
        ("PUT", "setpoint"),
        ("DELETE", "setpoint"),
        ("PUT", "enabled"),
        ("POST", "reset"),
        ("POST", "hold"),
        ("POST", "step"),
    ],
)
async def test_a_watched_mat_is_not_commanded_and_an_unknown_one_not_found(
    client, bench, as_problem, method, action
):
    body = {"PUT": {"setpoint_c": 20}, "POST": {}}.get(method)
    if action == "enabled":
        body = {"enabled": True}
    watched = await client.request(
        method, f"/v1/mats/watched/{action}", json=body, headers=JSON
    )
    assert "no relay" in as_problem(watched, 409)["detail"]
    unknown = await client.request(
        method, f"/v1/mats/west/{action}", json=body, headers=JSON
    )
    assert "west" in as_problem(unknown, 404)["detail"]
    assert bench.waiting == []
