"""Every error is RFC 9457 application/problem+json, in one shape."""

import json
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.app import create_app

JSON = {"content-type": "application/json"}


async def test_an_unknown_place_is_not_found(client, as_problem):
    for path in (
        "/v2/bench",
        "/v1/",
        "/page/none.js",
        "/v1/bench/",
        "/docs",
        "/redoc",
        "/v1/mats/%2e%2e",
    ):
        as_problem(await client.get(path), 404)


async def test_a_place_with_braces_and_control_characters_is_not_found(
    client, as_problem
):
    body = as_problem(await client.get("/v1/%7Bplace%7D%1b%5B31m%00"), 404)
    assert "\x1b" not in body["detail"]
    long = as_problem(await client.get("/v1/" + "a" * 5_000), 404)
    assert len(long["detail"]) < 400


async def test_unknown_trays_and_mats_are_named(client, as_problem):
    tray = as_problem(await client.get("/v1/trays/Z9"), 404)
    assert tray["detail"] == "there is no tray Z9; see /v1/trays"
    mat = as_problem(await client.get("/v1/mats/west/why"), 404)
    assert mat["detail"] == "there is no mat west; see /v1/mats"
    as_problem(await client.get("/v1/trays/Z9/temperatures"), 404)
    as_problem(await client.get("/v1/trays/Z9/degree-hours"), 404)


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("POST", "/v1/bench", "GET, HEAD"),
        ("OPTIONS", "/v1/bench", "GET, HEAD"),
        ("PATCH", "/v1/mats/north", "GET, HEAD"),
        ("GET", "/v1/mats/north/setpoint", "DELETE, PUT"),
        ("HEAD", "/v1/mats/north/setpoint", "DELETE, PUT"),
        ("GET", "/v1/mats/north/reset", "POST"),
        ("DELETE", "/", "GET, HEAD"),
        ("POST", "/openapi.json", "GET, HEAD"),
        ("TRACE", "/v1/trays", "GET, HEAD"),
    ],
)
async def test_a_method_that_is_not_done_here_names_those_that_are(
    client, as_problem, method, path, allowed
):
    answer = await client.request(method, path, headers=JSON)
    assert answer.headers["allow"] == allowed
    if method != "HEAD":
        assert allowed in as_problem(answer, 405)["detail"]
    assert answer.status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/v1/health",
        "/v1/bench",
        "/v1/trays/N1",
        "/v1/mats/north/why",
        "/v1/log",
        "/v1/trays/N1/temperatures",
        "/v1/trays/N1/degree-hours",
        "/v1/requests/1",
    ],
)
async def test_an_unknown_query_parameter_is_refused_by_name(client, as_problem, path):
    fault = as_problem(await client.get(path, params={"form": "x"}), 400)["errors"][0]
    assert fault == {"detail": "is not known here", "parameter": "form"}


@pytest.mark.parametrize(
    "path",
    [
        "/v1/health",
        "/v1/bench",
        "/v1/trays",
        "/v1/trays/N1",
        "/v1/trays/N1/temperatures",
        "/v1/mats/north/why",
        "/v1/alarms",
        "/v1/log",
        "/v1/requests/1",
    ],
)
async def test_before_the_first_scan_a_client_is_told_when_to_ask_again(
    make_bench, connect, as_problem, path
):
    empty = make_bench()
    async with connect(create_app(empty, None, empty)) as client:
        answer = await client.get(path)
        as_problem(answer, 503)
        assert int(answer.headers["retry-after"]) >= 1


async def test_a_mistake_of_our_own_tells_nothing_of_its_inner_parts(
    bench, client, as_problem
):
    def broken():
        raise RuntimeError("secret: /etc/inner")

    bench.snapshot = broken
    answer = await client.get("/v1/bench")
    as_problem(answer, 500)
    assert "secret" not in answer.text
    assert "RuntimeError" not in answer.text


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b"\xff\xfe\xfd",
        b"[" * 60_000,
        b'{"setpoint_c": 2' + b"9" * 5_000 + b"}",
        b"{'setpoint_c': 22}",
        b"\x00",
    ],
)
async def test_what_is_no_json_is_a_bad_request(client, as_problem, body):
    answer = await client.put("/v1/mats/north/setpoint", content=body, headers=JSON)
    as_problem(answer, 400)


async def test_broken_json_names_the_character(client, as_problem):
    answer = await client.put(
        "/v1/mats/north/setpoint", content=b'{"setpoint_c": }', headers=JSON
    )
    fault = as_problem(answer, 400)["errors"][0]
    assert fault["pointer"] == "#"
    assert "character 15" in fault["detail"]


@given(body=st.binary(max_size=200), action=st.sampled_from(["setpoint", "enabled"]))
@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
async def test_no_junk_is_ever_a_mistake_of_our_own(client, bench, body, action):
    answer = await client.put(f"/v1/mats/north/{action}", content=body, headers=JSON)
    assert answer.status_code in {202, 400, 422}
    bench.waiting.clear()


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=6,
)


@given(
    body=st.dictionaries(
        st.sampled_from(["setpoint_c", "for_s", "for_min", "x"]) | st.text(),
        JSON_VALUES,
        max_size=3,
    ),
    action=st.sampled_from([("PUT", "setpoint"), ("POST", "hold"), ("POST", "step")]),
)
@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
async def test_no_json_is_ever_a_mistake_of_our_own(client, bench, body, action):
    method, name = action
    answer = await client.request(
        method,
        f"/v1/mats/north/{name}",
        content=json.dumps(body).encode(),  # with NaN and Infinity, as json allows
        headers=JSON,
    )
    assert answer.status_code in {202, 422}
    bench.waiting.clear()


@given(path=st.text(max_size=40), query=st.text(max_size=40))
@settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
async def test_no_address_is_ever_a_mistake_of_our_own(client, path, query):
    for place in ("/v1/trays/", "/v1/mats/", "/v1/requests/", "/"):
        asked = place + quote(path, safe="", errors="replace")
        answer = await client.get(asked, params={query: path})
        assert answer.status_code in {400, 404}
    answer = await client.get("/v1/trays/N1/temperatures", params={"from": query})
    assert answer.status_code == 400
