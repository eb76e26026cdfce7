"""/v1/live over the real server: breaking off and coming back while scans go on."""

import asyncio
import json
from contextlib import asynccontextmanager

import pytest

from api.server import Listen, serve


@pytest.fixture
async def served(guarded, bench):
    ready = asyncio.get_running_loop().create_future()
    at = Listen("127.0.0.1", 0, guarded=True)
    running = [
        asyncio.create_task(serve(guarded.app, at, ready.set_result)),
        asyncio.create_task(guarded.app.state.context.feed.serve(bench)),
    ]
    yield await ready
    for task in running:
        task.cancel()
    await asyncio.gather(*running, return_exceptions=True)


class Following:
    """One client of the stream, which reads it as an EventSource would."""

    def __init__(self, reader):
        self.reader, self.last_id, self.scans = reader, "", []

    async def one(self):
        """Read one event; return the number of its scan."""
        fields = {}
        async with asyncio.timeout(5):
            while (line := (await self.reader.readline()).decode().strip()) or (
                "data" not in fields
            ):
                name, _, value = line.partition(": ")
                fields[name] = value
        self.last_id = fields["id"]
        return json.loads(fields["data"])["bench"]["scan"]


@asynccontextmanager
async def following(port, guarded, last_id=""):
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    head = ["GET /v1/live HTTP/1.0", "Host: 127.0.0.1"]
    head += [f"Authorization: {guarded.bearer('looker')['authorization']}"]
    head += [f"Last-Event-ID: {last_id}"] if last_id else []
    writer.write(("\r\n".join(head) + "\r\n\r\n").encode())
    try:
        found = await reader.readuntil(b"\r\n\r\n")
        assert b"200 OK" in found
        assert b"text/event-stream" in found
        assert b"content-encoding" not in found
        yield Following(reader)
    finally:
        writer.transport.abort()


async def test_nothing_is_missed_and_nothing_doubled_over_many_breaks(
    served, guarded, bench, warm
):
    seen, last_id = [], ""

    async def scanning():
        for _ in range(60):
            bench.scan(warm)
            await client_turn.acquire()

    client_turn = asyncio.Semaphore(0)
    scans = asyncio.create_task(scanning())
    turn = 0
    while len(seen) < 50:
        turn += 1
        async with following(served, guarded, last_id) as client:
            for _ in range(turn % 4 + 1):
                client_turn.release()
                seen.append(await client.one())
                last_id = client.last_id
            client_turn.release()  # one more scan as it breaks off
    scans.cancel()
    assert seen == list(range(seen[0], seen[0] + len(seen)))


async def test_a_revoked_token_ends_the_stream(served, guarded, bench, warm):
    async with following(served, guarded) as client:
        await client.one()
        guarded.file.revoke("looker")
        await guarded.access.look()
        bench.scan(warm)
        async with asyncio.timeout(5):
            assert b"event" not in await client.reader.read()


async def test_who_is_gone_is_no_longer_counted(served, guarded, bench, warm):
    feed = guarded.app.state.context.feed
    async with following(served, guarded) as one, following(served, guarded) as two:
        await asyncio.gather(one.one(), two.one())
        assert feed.streams == 2
    async with asyncio.timeout(5):
        while feed.streams:
            bench.scan(warm)
            await asyncio.to_thread(int)  # a turn of the loop
