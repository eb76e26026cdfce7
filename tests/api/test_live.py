"""The bench as it changes: each scan once, none missed, also after coming back."""

import asyncio
import json

import pytest

from api.live import KEPT, Feed


def parsed(text: bytes):
    """Return (id, event, data) of one event as the HTML standard reads it."""
    fields = {}
    for line in text.decode().splitlines():
        if line and not line.startswith(":"):
            name, _, value = line.partition(": ")
            fields.setdefault(name, []).append(value)
    data = json.loads("\n".join(fields["data"]))
    return fields["id"][0], fields["event"][0], data


def seqs(texts):
    return [parsed(text)[2]["bench"]["scan"] for text in texts]


async def taken(stream, count):
    return [await anext(stream) for _ in range(count)]


@pytest.fixture
def feed(bench) -> Feed:
    found = Feed()
    found.take(bench.snapshot())
    return found


def always():
    return True


async def test_the_first_event_is_the_whole_bench(feed, client):
    stream = feed.stream(None, always)
    event_id, kind, data = parsed(await anext(stream))
    assert kind == "bench"
    assert event_id
    assert data.keys() == {"at", "bench"}
    asked = (await client.get("/v1/bench")).json()
    assert data["bench"].keys() == asked.keys()
    assert data["bench"]["trays"] == asked["trays"]
    assert data["at"] == asked["at"]
    await stream.aclose()


async def test_each_scan_comes_once_and_in_order(feed, bench, warm):
    stream = feed.stream(None, always)
    texts = await taken(stream, 1)
    for _ in range(3):
        bench.scan(warm)
        feed.take(bench.snapshot())
        feed.take(bench.snapshot())  # the same scan, told twice
        texts += await taken(stream, 1)
    assert seqs(texts) == [3, 4, 5, 6]
    await stream.aclose()


async def test_whoever_comes_back_misses_nothing_and_gets_nothing_twice(
    feed, bench, warm
):
    stream = feed.stream(None, always)
    last_id = parsed(await anext(stream))[0]
    await stream.aclose()
    for _ in range(5):  # while it was away
        bench.scan(warm)
        feed.take(bench.snapshot())
    stream = feed.stream(last_id, always)
    assert seqs(await taken(stream, 5)) == [4, 5, 6, 7, 8]
    waiting = asyncio.ensure_future(anext(stream))
    await asyncio.wait({waiting}, timeout=0)
    assert not waiting.done()
    bench.scan(warm)
    feed.take(bench.snapshot())
    assert seqs([await waiting]) == [9]
    await stream.aclose()


@pytest.mark.parametrize("breaks", range(1, 6))
async def test_a_client_that_breaks_off_again_and_again_misses_nothing(
    feed, bench, warm, breaks
):
    """It comes back after every so many events, while scans go on beside it."""
    seen, last_id = [], None
    while bench.seq < 30:
        stream = feed.stream(last_id, always, ping_s=0)
        for _ in range(breaks):
            bench.scan(warm)
            feed.take(bench.snapshot())
            text = await anext(stream)
            last_id = parsed(text)[0]
            seen += seqs([text])
        bench.scan(warm)  # between its last event and its going
        feed.take(bench.snapshot())
        await stream.aclose()
    stream = feed.stream(last_id, always, ping_s=0)
    while not (text := await anext(stream)).startswith(b":"):
        seen += seqs([text])
    await stream.aclose()
    # At its first coming it got the newest; from then on each one, once.
    assert seen == list(range(4, bench.seq + 1))


async def test_whoever_has_the_newest_gets_nothing_until_there_is_more(feed):
    stream = feed.stream(None, always)
    last_id = parsed(await anext(stream))[0]
    await stream.aclose()
    stream = feed.stream(last_id, always, ping_s=0)
    assert await anext(stream) == b": ping\n\n"
    await stream.aclose()


@pytest.mark.parametrize("last_id", ["", "run-0-1", "nonsense\r\n", "run-1-1"])
async def test_an_id_that_is_not_kept_gives_the_newest_whole(
    feed, bench, warm, last_id
):
    for _ in range(KEPT + 1):
        bench.scan(warm)
        feed.take(bench.snapshot())
    stream = feed.stream(last_id, always)
    assert seqs(await taken(stream, 1)) == [bench.seq]
    await stream.aclose()


async def test_a_client_that_is_slow_gets_all_that_came_meanwhile(feed, bench, warm):
    stream = feed.stream(None, always)
    texts = await taken(stream, 1)
    for _ in range(4):
        bench.scan(warm)
        feed.take(bench.snapshot())
    texts += await taken(stream, 4)
    assert seqs(texts) == [3, 4, 5, 6, 7]
    await stream.aclose()


async def test_a_client_that_may_no_longer_be_there_gets_no_more(feed, bench, warm):
    allowed = True
    stream = feed.stream(None, lambda: allowed)
    await taken(stream, 1)
    allowed = False
    bench.scan(warm)
    feed.take(bench.snapshot())
    with pytest.raises(StopAsyncIteration):
        await anext(stream)


async def test_the_feed_follows_the_bench(bench, warm):
    feed = Feed()
    following = asyncio.create_task(feed.serve(bench))
    stream = feed.stream(None, always)
    texts = await taken(stream, 1)
    bench.scan(warm)
    texts += await taken(stream, 1)
    assert seqs(texts)[-1] == 4
    following.cancel()
    await stream.aclose()


async def test_too_many_at_once_are_turned_away(client, shared_app, as_problem):
    shared_app.state.context.feed.streams = 100
    as_problem(await client.get("/v1/live"), 503)
