"""The door: who may ask, and what a request may bring."""

import asyncio

import httpx
import pytest

from api.bodies import LARGEST_BODY, Bodies
from api.door import Door
from api.reach import Reach

JSON = {"content-type": "application/json"}
HOLD = "/v1/mats/north/hold"


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1",
        "127.0.0.1:8000",
        "localhost:1",
        "LocalHost",
        "localhost.",
        "[::1]:8",
    ],
)
async def test_loopback_names_are_let_in(client, host):
    answer = await client.get("/v1/health", headers={"host": host})
    assert answer.status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8000",
        "127.0.0.1.evil.example",
        "localhost.evil.example:8000",
        "evil.example:127.0.0.1",
        "192.0.2.7",
        "",
        ":8000",
        "[::1].evil.example",
        "127.0.0.1:x",
    ],
)
async def test_another_name_is_misdirected_as_a_rebound_one_would_be(
    client, as_problem, host
):
    as_problem(await client.get("/v1/health", headers={"host": host}), 421)


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:8000"},
        {"origin": "http://127.0.0.1:8001"},
        {"origin": "http://localhost:8000"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
@pytest.mark.parametrize("method", ["POST", "DELETE"])
async def test_a_page_of_another_site_changes_nothing(
    client, bench, as_problem, method, headers
):
    path = HOLD if method == "POST" else "/v1/mats/north/setpoint"
    as_problem(await client.request(method, path, headers=JSON | headers), 403)
    assert bench.waiting == []


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://127.0.0.1:8000"},
        {"sec-fetch-site": "same-origin"},
        {"sec-fetch-site": "none"},
    ],
)
async def test_our_own_page_and_programs_may(client, headers):
    answer = await client.post(HOLD, headers=JSON | headers)
    assert answer.status_code == 202


async def test_reading_asks_for_no_origin_and_gives_none_away(client):
    answer = await client.get("/v1/bench", headers={"origin": "http://evil.example"})
    assert answer.status_code == 200
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize(
    "content_type",
    [
        None,
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/jsonx",
        "text/json; application/json",
    ],
)
async def test_a_write_must_say_that_it_is_json(
    client, bench, as_problem, content_type
):
    headers = {} if content_type is None else {"content-type": content_type}
    answer = await client.post(HOLD, content=b"{}", headers=headers)
    assert "application/json" in as_problem(answer, 415)["detail"]
    assert bench.waiting == []


async def test_parameters_of_the_content_type_do_no_harm(client):
    headers = {"content-type": "Application/JSON; charset=utf-8"}
    assert (await client.post(HOLD, headers=headers)).status_code == 202


async def pieces(total):
    for _ in range(total // 1_024):
        yield b" " * 1_024


@pytest.mark.parametrize("declared", [True, False], ids=["declared", "chunked"])
async def test_a_body_over_64_kib_is_too_large(client, bench, as_problem, declared):
    size = LARGEST_BODY + 1_024
    content = b" " * size if declared else pieces(size)
    as_problem(await client.post(HOLD, content=content, headers=JSON), 413)
    assert bench.waiting == []


async def test_a_body_of_64_kib_is_read(client):
    body = b"{}".ljust(LARGEST_BODY)
    answer = await client.post(HOLD, content=body, headers=JSON)
    assert answer.status_code == 202


async def test_a_get_with_a_huge_body_is_too_large(client, as_problem):
    body = b" " * (LARGEST_BODY + 1)
    as_problem(await client.request("GET", "/v1/bench", content=body), 413)


def scope_of(method="POST", **headers):
    named = {"host": "127.0.0.1", "content-type": "application/json"} | headers
    return {
        "type": "http",
        "method": method,
        "scheme": "http",
        "path": "/",
        "headers": [
            (name.replace("_", "-").encode(), value.encode())
            for name, value in named.items()
        ],
    }


async def through(door, scope, receive):
    sent = []

    async def send(message):
        sent.append(message)

    await door(scope, receive, send)
    return sent


async def echo(scope, receive, send):
    """Answer with the body that came and the message after it."""
    body = await receive()
    after = await receive()
    await send({"type": "http.response.start", "status": 200, "headers": []})
    said = body["body"] + after["type"].encode()
    await send({"type": "http.response.body", "body": said})


async def test_the_app_gets_the_body_once_and_then_what_comes_after():
    messages = [
        {"type": "http.request", "body": b"a", "more_body": True},
        {"type": "http.request", "body": b"b", "more_body": False},
        {"type": "http.disconnect"},
    ]

    async def receive():
        return messages.pop(0)

    start, body = await through(Door(Bodies(echo)), scope_of(), receive)
    assert body["body"] == b"abhttp.disconnect"
    headers = dict(start["headers"])
    assert headers[b"x-content-type-options"] == b"nosniff"
    assert headers[b"cache-control"] == b"no-store"


async def test_a_body_that_does_not_come_is_not_waited_for():
    async def receive():
        await asyncio.get_running_loop().create_future()

    start, _ = await through(Bodies(echo, within_s=0), scope_of(), receive)
    assert start["status"] == 408
    assert (b"connection", b"close") in start["headers"]


async def test_a_body_that_breaks_off_is_a_bad_request():
    async def receive():
        return {"type": "http.disconnect"}

    start, _ = await through(Bodies(echo), scope_of(), receive)
    assert start["status"] == 400


@pytest.mark.parametrize("length", ["many", "-1", "9" * 30])
async def test_an_impossible_length_is_too_large(length):
    start, _ = await through(Door(echo), scope_of(content_length=length), None)
    assert start["status"] == 413


async def test_no_or_two_host_headers_are_a_bad_request():
    for hosts in ([], ["127.0.0.1", "evil.example"]):
        scope = scope_of("GET")
        scope["headers"] = [(b"host", host.encode()) for host in hosts]
        start, _ = await through(Door(echo), scope, None)
        assert start["status"] == 400


async def test_other_names_may_be_given(connect, client):
    door = Door(client._transport.app, reach=Reach(names=frozenset({"bench.example"})))
    async with httpx.AsyncClient(
        transport=httpx.ASGITransport(door), base_url="http://bench.example"
    ) as other:
        # The app's own door, further in, still knows loopback names only.
        assert (await other.get("/v1/health")).status_code == 421
