"""The server in the daemon's loop: a real socket of this machine."""

import asyncio
import json
import signal
import socket
from contextlib import asynccontextmanager

import httpx
import pytest

from api import server
from api.app import create_app
from api.server import Listen, ListenError, serve

SIGNALS = (signal.SIGINT, signal.SIGTERM)


@asynccontextmanager
async def serving(app, host="127.0.0.1"):
    """Serve an app on a free port; give its task and port; end it at the end."""
    ready = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(serve(app, Listen(host, 0), ready.set_result))
    await asyncio.wait({task, ready}, return_when=asyncio.FIRST_COMPLETED)
    if task.done():
        task.result()
    try:
        yield task, ready.result()
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.fixture
async def served(bench, reader):
    app = create_app(bench, lambda: reader, bench)
    async with serving(app) as (task, port):
        yield task, port


@asynccontextmanager
async def raw(port):
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        yield reader, writer
    finally:
        writer.close()
        await asyncio.gather(writer.wait_closed(), return_exceptions=True)


def body_of(answer):
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b"application/problem+json" in head
    return json.loads(body)


async def test_a_client_is_answered_and_named_in_its_wish(served, bench):
    _, port = served
    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}") as client:
        answer = await client.get("/v1/bench")
        assert answer.json()["bench"] == "lean-to"
        assert "server" not in answer.headers
        asked = await client.post(
            "/v1/mats/north/hold",
            json={},
        )
        assert asked.status_code == 202
    assert bench.waiting[0].who == "api (loopback) 127.0.0.1"


async def test_signal_handlers_stay_the_daemons(bench):
    before = [signal.getsignal(number) for number in SIGNALS]
    async with serving(create_app(bench, None, bench)):
        assert [signal.getsignal(number) for number in SIGNALS] == before
    assert [signal.getsignal(number) for number in SIGNALS] == before


async def test_it_ends_at_once_when_nobody_is_being_answered(served):
    task, port = served
    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}") as client:
        await client.get("/v1/bench")  # and keeps its connection open
        task.cancel()
        async with asyncio.timeout(1.5):
            with pytest.raises(asyncio.CancelledError):
                await task
    with pytest.raises(ConnectionRefusedError):
        await asyncio.open_connection("127.0.0.1", port)


async def test_it_ends_in_bounded_time_while_an_answer_hangs(monkeypatch, caplog):
    monkeypatch.setattr(server, "FAREWELL_S", 0.2)
    hanging = asyncio.Event()

    async def app(scope, receive, send):
        hanging.set()
        await asyncio.get_running_loop().create_future()

    async with serving(app) as (task, port), raw(port) as (_, writer):
        writer.write(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        await hanging.wait()
        task.cancel()
        async with asyncio.timeout(2):
            with pytest.raises(asyncio.CancelledError):
                await task
    assert "timeout graceful shutdown exceeded" in caplog.text


async def test_a_taken_port_is_a_clear_error(bench):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(ListenError) as caught:
            await serve(
                create_app(bench, None, bench), Listen("127.0.0.1", port), print
            )
    assert str(caught.value) == (
        f"[api] port = {port}: another program listens on 127.0.0.1:{port}; "
        "stop it or choose another port"
    )


async def test_a_port_that_may_not_be_had_is_a_clear_error(bench, monkeypatch):
    def refused(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(server.socket.socket, "bind", refused)
    with pytest.raises(ListenError, match=r"^\[api\] port = 80: .*Permission denied$"):
        await serve(create_app(bench, None, bench), Listen("127.0.0.1", 80), print)


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::"])  # noqa: S104
async def test_only_this_machine_is_listened_to(bench, host):
    with pytest.raises(
        ListenError, match=r"there is no token.*; or write 127\.0\.0\.1$"
    ):
        await serve(create_app(bench, None, bench), Listen(host, 0), print)


async def test_a_host_that_does_not_exist_is_a_clear_error(bench):
    with pytest.raises(ListenError, match="there is no such host"):
        await serve(create_app(bench, None, bench), Listen("a" * 300, 0), print)


async def test_what_is_not_http_is_answered_in_our_shape(served):
    _, port = served
    async with raw(port) as (reader, writer):
        writer.write(b"\x16\x03\x01 this is no request\r\n\r\n")
        body = body_of(await reader.read())
    assert body["status"] == 400


@pytest.mark.parametrize(
    "hosts", [b"", b"Host: 127.0.0.1\r\nHost: 127.0.0.1\r\n"], ids=["none", "two"]
)
async def test_no_or_two_hosts_are_answered_in_our_shape(served, hosts):
    _, port = served
    async with raw(port) as (reader, writer):
        writer.write(b"GET / HTTP/1.1\r\n" + hosts + b"\r\n")
        assert body_of(await reader.read())["status"] == 400


async def test_a_head_that_is_too_large_is_answered_in_our_shape(served):
    _, port = served
    async with raw(port) as (reader, writer):
        filler = b"X-Filler: " + b"x" * 20_000
        writer.write(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + filler)
        assert body_of(await reader.read())["status"] == 400


async def test_length_and_chunks_together_are_not_taken_for_two_requests(served, bench):
    """RFC 9112, 6.1: it may be refused, and the connection must be closed."""
    _, port = served
    async with raw(port) as (reader, writer):
        inner = (
            b"POST /v1/mats/north/step HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            b"Content-Type: application/json\r\n\r\n"
        )
        writer.write(
            b"POST /v1/mats/north/hold HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            b"Content-Type: application/json\r\nContent-Length: 5\r\n"
            b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + inner
        )
        assert body_of(await reader.read())["status"] == 400
    assert bench.waiting == []


async def test_a_silent_connection_is_dropped(bench, monkeypatch):
    monkeypatch.setattr(server, "HEAD_WITHIN_S", 0.05)
    async with serving(create_app(bench, None, bench)) as (_, port):
        async with raw(port) as (reader, writer):
            assert await reader.read() == b""
        async with raw(port) as (reader, writer):
            writer.write(b"GET / HTTP/1.1\r\nHost: 127")
            assert await reader.read() == b""


async def test_an_answer_in_the_making_outlives_the_time_for_heads(monkeypatch):
    monkeypatch.setattr(server, "HEAD_WITHIN_S", 0.01)

    async def app(scope, receive, send):
        passed = asyncio.get_running_loop().create_future()
        asyncio.get_running_loop().call_later(0.1, passed.set_result, None)
        await passed
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body"})

    async with serving(app) as (_, port), raw(port) as (reader, writer):
        writer.write(b"GET / HTTP/1.1\r\nConnection: close\r\nHost: 127.0.0.1\r\n\r\n")
        assert (await reader.read()).startswith(b"HTTP/1.1 204")


async def test_too_many_connections_are_told_so_in_our_shape(bench, monkeypatch):
    monkeypatch.setattr(server, "MOST_CONNECTIONS", 2)
    async with (
        serving(create_app(bench, None, bench)) as (_, port),
        raw(port),
        raw(port),
        raw(port) as (reader, writer),
    ):
        writer.write(b"GET /v1/health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        answer = await reader.read()
        assert b"retry-after: 2" in answer.lower()
        assert body_of(answer)["status"] == 503


async def test_small_answers_are_sent_at_once(bench):
    """Else a head waits for the client's word that it came, 40 ms (RFC 896)."""
    asked = []

    async def app(scope, receive, send):
        transport = receive.__self__.transport
        taken = transport.get_extra_info("socket")
        asked.append(taken.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body"})

    async with serving(app) as (_, port), raw(port) as (reader, writer):
        writer.write(b"GET / HTTP/1.1\r\nConnection: close\r\nHost: 127.0.0.1\r\n\r\n")
        await reader.read()
    assert asked
    assert asked[0] != 0
