"""Many benches kept in view: when who is asked, what is kept, and no secret told."""

import asyncio
import json
from contextlib import asynccontextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.clocks import ManualClock
from controller.cli.bench_list import Asked
from controller.cli.bench_told import (
    LONGEST,
    MOST_ALARMS,
    MOST_TRAYS,
    StrangerError,
    bench_told,
    due_told,
)
from controller.cli.benches_page import benches_view
from controller.cli.benches_watch import DUE_EVERY_MS, PATIENT_MS, Watch
from controller.cli.many_asked import answered
from controller.cli.over_http import AskError
from tests.page.far_benches import alarm, invented_bench

SECRET = "bottomheat-aSecretThatNobodyElseMaySee"  # noqa: S105


class Somewhere:
    """Benches that answer at once what a test has put there."""

    def __init__(self, **bodies: dict | Exception) -> None:
        self.bodies, self.asked = bodies, []
        self.due: dict | Exception = {"reminders": []}

    async def ask(self, url: str, path: str, secret: str | None) -> dict:
        self.asked.append((url, path, secret))
        said = self.due if path == "/v1/reminders" else self.bodies[url]
        if isinstance(said, Exception):
            raise said
        return said

    def times(self, url: str) -> int:
        return sum(1 for at, path, _ in self.asked if (at, path) == (url, "/v1/bench"))


def watching(somewhere: Somewhere, clock: ManualClock, *asked: Asked) -> Watch:
    benches = asked or [Asked(url, url) for url in somewhere.bodies]
    return Watch(
        benches,
        clock,
        at_once=4,
        within_s=5,
        stale_s=60,
        every_s=10,
        ask=somewhere.ask,
    )


async def settle() -> None:
    """Let everything run that can without the clock."""
    for _ in range(50):
        await asyncio.sleep(0)  # noqa: TID251 - gives way; no time passes


@asynccontextmanager
async def served(watch: Watch):
    task = asyncio.create_task(watch.serve())
    await settle()
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def pass_time(clock: ManualClock, seconds: int) -> None:
    for _ in range(seconds):
        clock.advance(1_000)
        await settle()


def row(watch: Watch, name: str) -> dict:
    return next(one for one in benches_view(watch.seen(), 10)["benches"]
                if one["name"] == name)  # fmt: skip


async def test_a_bench_that_answers_is_asked_at_its_pace():
    somewhere, clock = Somewhere(a=invented_bench()), ManualClock()
    watch = watching(somewhere, clock)
    assert row(watch, "a")["state"] == "being asked"
    async with served(watch):
        assert row(watch, "a")["state"] == "well"
        await pass_time(clock, 60)
        assert somewhere.times("a") == 7


async def test_an_answer_grows_old_between_two_looks():
    somewhere, clock = Somewhere(a=invented_bench()), ManualClock()
    watch = watching(somewhere, clock)
    async with served(watch):
        await pass_time(clock, 7)
        found = row(watch, "a")
        assert (found["heard_s"], found["scan_age_s"]) == (7, 2 + 7)


async def test_one_missed_answer_is_forgiven_and_the_second_is_told():
    somewhere, clock = Somewhere(a=invented_bench()), ManualClock()
    watch = watching(somewhere, clock)
    async with served(watch):
        somewhere.bodies["a"] = AskError("no answer within 5 s")
        await pass_time(clock, 10)
        assert (row(watch, "a")["state"], row(watch, "a")["trouble"]) == ("well", None)
        await pass_time(clock, 10)
        found = row(watch, "a")
        assert (found["state"], found["needed"]) == ("no answer", True)
        assert found["trouble"] == "no answer within 5 s"
        assert found["silent_s"] == 10
        assert found["heard_s"] == 20
        assert next(tray["temp_c"] for tray in found["trays"]) == 20.5
        somewhere.bodies["a"] = invented_bench()
        await pass_time(clock, 60)
        assert row(watch, "a")["state"] == "well"


async def test_one_that_never_answers_is_asked_less_and_less_often():
    """So that a wrong token is not shown ten times a minute, which locks others out."""
    somewhere, clock = Somewhere(a=AskError("it answered 401: no")), ManualClock()
    watch = watching(somewhere, clock)
    async with served(watch):
        assert row(watch, "a")["state"] == "no answer"
        await pass_time(clock, 60)
        assert 2 <= somewhere.times("a") <= 5
        before = somewhere.times("a")
        await pass_time(clock, 10 * PATIENT_MS // 1000)
        assert somewhere.times("a") - before in {9, 10, 11}


async def test_a_controller_that_stands_still_is_stale_though_it_answers():
    old = {**invented_bench(), "scan_age_s": 55.0}
    somewhere, clock = Somewhere(a=old), ManualClock()
    watch = watching(somewhere, clock)
    async with served(watch):
        assert row(watch, "a")["state"] == "well"
        await pass_time(clock, 6)
        found = row(watch, "a")
        assert (found["state"], found["old"]) == ("stale", True)


async def test_what_is_due_is_asked_now_and_then_and_its_lack_is_no_trouble():
    somewhere, clock = Somewhere(a=invented_bench()), ManualClock()
    somewhere.due = {"reminders": [{"summary": "Look at KP3", "overdue": True}]}
    watch = watching(somewhere, clock)
    async with served(watch):
        assert row(watch, "a")["due"] == [{"summary": "Look at KP3", "overdue": True}]
        somewhere.due = AskError("it answered 404: there is nothing")
        await pass_time(clock, DUE_EVERY_MS // 1000 + 10)
        found = row(watch, "a")
        assert (found["state"], found["due"]) == ("well", [])
        asked = [path for _, path, _ in somewhere.asked]
        assert asked.count("/v1/reminders") == 2


async def test_what_needs_a_person_comes_first():
    """Danger, locked, silent, stale, alarm, trays aside, then what is due."""
    bodies = {name: invented_bench() for name in "abcdefgh"}
    bodies["a"]["scan_age_s"] = 7_200
    bodies["b"]["alarms"] = [alarm("Mat south heats though it should not.", "high")]
    bodies["c"]["trays"][0]["temp_c"] = 12.0
    bodies["d"]["alarms"] = [alarm("Probe N1 is silent.")]
    bodies["e"]["mats"][0]["mode"] = "tripped"
    bodies["e"]["alarms"] = [alarm("Mat north is locked off.", "high", kind="trip")]
    bodies["f"] = AskError("nothing listens there")
    bodies["h"]["alarms"] = [alarm("Explained.", suppressed=True)]
    watch = watching(Somewhere(**bodies), ManualClock())
    await watch.look()
    view = benches_view(watch.seen(), 10)
    assert [(one["name"], one["state"]) for one in view["benches"]] == [
        ("b", "act now"),
        ("e", "locked off"),
        ("f", "no answer"),
        ("a", "stale"),
        ("d", "alarm"),
        ("c", "not as wanted"),
        ("g", "well"),
        ("h", "well"),
    ]
    assert view["needed"] == 5
    assert [one["key"] for one in view["benches"]] == [1, 4, 5, 0, 3, 2, 6, 7]


def with_token(folder) -> Asked:
    file = folder / "a.token"
    file.write_text(SECRET + "\n")
    file.chmod(0o600)
    return Asked("a", "a", file, "http://a")


async def test_a_token_that_a_bench_repeats_goes_no_further(tmp_path):
    """In its name, its words, its errors, its reminders: everywhere."""
    found = invented_bench()
    text = f"you said {SECRET}"
    found["trays"][0] |= {"name": text, "temp_text": text, "title": text}
    found["mats"][0] |= {"name": text, "mode_text": text, "mode": text}
    found["alarms"] = [alarm(text, kind=text)]
    somewhere, clock = Somewhere(a=found), ManualClock()
    somewhere.due = {"reminders": [{"summary": text, "overdue": True}]}
    watch = watching(somewhere, clock, with_token(tmp_path))
    async with served(watch):
        assert somewhere.asked[0] == ("a", "/v1/bench", SECRET)
        shown = json.dumps(benches_view(watch.seen(), 10))
        assert "you said" in shown
        assert SECRET not in shown
    watch = watching(Somewhere(a=AskError(text)), clock, with_token(tmp_path))
    await watch.look()
    shown = json.dumps(benches_view(watch.seen(), 10))
    assert "you said" in shown
    assert SECRET not in shown


async def test_a_token_file_that_went_is_told_without_its_place(tmp_path):
    asked = with_token(tmp_path)
    somewhere = Somewhere(a=invented_bench())
    watch = watching(somewhere, ManualClock(), asked)
    asked.token_file.unlink()
    await watch.look()
    assert somewhere.asked == []
    shown = json.dumps(benches_view(watch.seen(), 10))
    assert "its token_file is of no use: No such file" in shown
    assert str(tmp_path) not in shown


# ------------------------------------------------------------- what is said, taken


KEYS = st.sampled_from(
    ["bench", "scan_age_s", "name", "temp_c", "setpoint", "setpoint_c", "mode", "mat",
     "probes", "sentence", "priority", "summary"]
)  # fmt: skip
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
ROWS = SCALARS | st.dictionaries(
    KEYS, SCALARS | st.dictionaries(KEYS, SCALARS, max_size=2), max_size=5
)
JUNK = SCALARS | st.lists(ROWS, max_size=3)


@given(JUNK, JUNK, JUNK, JUNK)
def test_whatever_a_stranger_says_becomes_a_row_or_a_refusal(trays, mats, alarms, due):
    said = {"bench": "b", "scan_age_s": 1, "trays": trays, "mats": mats}
    told = bench_told({**said, "alarms": alarms})
    json.dumps([tray.temp_c for tray in told.trays], allow_nan=False)
    due_told({"reminders": due})


@pytest.mark.parametrize("age", [None, True, "1", -1, float("nan"), float("inf")])
def test_without_an_age_that_is_one_nothing_is_believed(age):
    with pytest.raises(StrangerError):
        bench_told({"bench": "b", "scan_age_s": age})


@pytest.mark.parametrize(
    "temp", [float("nan"), float("inf"), 10**400, -300, "20", True]
)
def test_what_is_no_temperature_is_none(temp):
    said = {"bench": "b", "scan_age_s": 1, "trays": [{"name": "a", "temp_c": temp}]}
    assert bench_told(said).trays[0].temp_c is None


def test_of_very_much_a_bound_amount_is_kept_and_the_rest_counted():
    said = {
        "bench": "b",
        "scan_age_s": 1,
        "trays": [{"name": "x" * 10_000}] * 1_000,
        "alarms": [alarm("y" * 10_000)] * 50,
    }
    told = bench_told(said)
    assert (len(told.trays), len(told.alarms)) == (MOST_TRAYS, MOST_ALARMS)
    assert told.left_out == 1_000 - MOST_TRAYS + 50 - MOST_ALARMS
    assert max(len(one.sentence) for one in told.alarms) <= LONGEST


# -------------------------------------------------------------- one answer, one time


@asynccontextmanager
async def answering(work):
    """Serve connections with `work`; give the address."""
    ended = []

    async def whole(reader, writer):
        ended.append(asyncio.Event())
        try:
            await work(reader, writer)
        finally:
            writer.close()
            await asyncio.gather(writer.wait_closed(), return_exceptions=True)
            ended[-1].set()

    server = await asyncio.start_server(whole, "127.0.0.1", 0)
    try:
        yield f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
        for one in ended:
            await asyncio.wait_for(one.wait(), 20)
    finally:
        server.close()


async def test_one_that_answers_a_byte_at_a_time_is_given_up_in_time():
    """A socket's own timeout would begin anew with each byte."""
    gone = asyncio.Event()

    async def slow(reader, writer):
        await reader.readline()
        try:
            writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n")
            while True:
                writer.write(b" ")
                await writer.drain()
                await asyncio.sleep(0.05)  # noqa: TID251 - the slow bench itself
        except OSError:
            gone.set()

    async with answering(slow) as url:
        with pytest.raises(AskError, match=r"no answer within 0\.5 s"):
            await answered(url, "/v1/bench", None, 0.5)
        await asyncio.wait_for(gone.wait(), 20)  # and it was hung up on


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (b"", "no HTTP|not speak HTTP|hung up"),
        (b"SSH-2.0-bench\r\n", "does not speak HTTP"),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 3\r\n\r\n[1]", "no bottomheat"),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n{}", "does not speak HTTP"),
        (b"HTTP/1.1 401 No\r\nContent-Length: 2\r\n\r\n{}", "it answered 401"),
        (
            b"HTTP/1.1 302 No\r\nLocation: http://b\r\nContent-Length: 2\r\n\r\n{}",
            "it answered 302",
        ),
        (b"HTTP/1.1 200 OK\r\n\r\n" + b"x" * 3_000_000, "too large"),
    ],
)
async def test_what_is_no_answer_of_a_bench_is_told_in_words(said, told):
    async def work(reader, writer):
        await reader.readline()
        writer.write(said)
        writer.write_eof()

    async with answering(work) as url:
        with pytest.raises(AskError, match=told):
            await answered(url, "/v1/bench", None, 20)


async def test_an_answer_in_pieces_after_an_informational_one_is_read_whole():
    async def work(reader, writer):
        await reader.readline()
        writer.write(b"HTTP/1.1 103 Early Hints\r\n\r\nHTTP/1.1 200 OK\r\n")
        writer.write(b"Transfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n")
        await writer.drain()

    async with answering(work) as url:
        assert await answered(url, "/v1/bench", None, 20) == {}


@pytest.mark.parametrize(
    ("url", "told"),
    [
        ("http://127.0.0.1:1", "nothing listens there"),
        ("http://no-such-host.invalid", "there is no such host"),
    ],
)
async def test_where_nobody_is_that_is_said(url, told):
    with pytest.raises(AskError, match=told):
        await answered(url, "/v1/bench", None, 20)
