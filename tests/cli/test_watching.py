"""`trays --watch`: drawn anew at each change, told when it is lost, ended cleanly."""

import argparse
import asyncio
import io
import json
import os
import pty
import queue
import signal
import subprocess
import sys
import threading
import time

import pytest

from controller.cli import watch
from controller.cli.live_stream import events
from controller.cli.over_http import AskError, add_url_options, token_of
from controller.cli.trays import _table

BENCH = {
    "bench": "lean-to",
    "at": "2027-02-01T09:00:00.000Z",
    "scan_age_s": 0,
    "trays": [],
    "mats": [],
    "alarms": [],
}


def event(number, bench=None, name="bench"):
    data = json.dumps({"bench": bench or BENCH | {"bench": f"scan {number}"}})
    return f"event: {name}\ndata: {data}\nid: {number}\n\n".encode()


class Lines(io.BytesIO):
    status = 200


# -------------------------------------------------------------------- what comes


def test_events_come_out_as_they_come_in():
    text = b": ping\n\n" + event(1) + event(2, name="other") + event(3)
    assert [(e.id, e.data["bench"]) for e in events(Lines(text))] == [
        ("1", "scan 1"),
        ("3", "scan 3"),
    ]


def test_lines_may_end_in_any_way_and_data_may_have_several():
    first, _, rest = json.dumps({"bench": BENCH}).partition(", ")
    text = f"event:bench\r\ndata:{first},\r\ndata: {rest}\r\nid:7\r\n\r\n"
    (found,) = events(Lines(text.encode()))
    assert (found.id, found.data["bench"]) == ("7", "lean-to")


def test_an_event_that_is_cut_off_is_none():
    text = event(1) + event(2)
    for end in range(len(event(1)), len(text) - 1):
        assert [e.id for e in events(Lines(text[:end]))] == ["1"]


@pytest.mark.parametrize("data", ["", "x", "[]", "{}", '{"bench": []}', "[" * 10_000])
def test_what_is_no_bench_is_a_clear_error(data):
    with pytest.raises(AskError, match="no bottomheat bench"):
        list(events(Lines(f"event: bench\ndata: {data}\n\n".encode())))


# ------------------------------------------------------------------ what is shown


def test_a_picture_tells_its_age_and_that_the_bench_is_lost():
    lines = watch.frame(_table(BENCH), 0.4, "")
    assert lines[0].startswith("Bench lean-to, looked at 0 s ago")
    assert lines[-1] == "Ctrl-C ends."
    assert watch.frame(_table(BENCH), 4.2, "")[0].endswith(", shown for 4 s")
    lost = watch.frame(_table(BENCH), 75.0, "refused\x1b[2J")
    assert lost[0] == (
        "CONNECTION LOST: refused�[2J. What you see is 75 s old. Trying again."
    )
    assert lost[1].startswith("Bench lean-to")
    assert "is 10 min old" in watch.frame(_table(BENCH), 600.0, "x")[0]


def test_a_picture_never_wraps_or_scrolls(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "10")
    monkeypatch.setenv("LINES", "3")
    watch.draw(["a" * 50, "b", "c", "d", "e"])
    out = capsys.readouterr().out
    assert out == "\x1b[H" + "a" * 10 + "\x1b[K\r\nb\x1b[K\r\nc\x1b[K\x1b[J"
    assert "\x1b[2J" not in out  # what clears all of it flickers


# -------------------------------------------------------------------- the token


def words(*given):
    parser = argparse.ArgumentParser()
    add_url_options(parser)
    return parser.parse_args(given)


def test_a_token_comes_from_its_file_or_the_environment(tmp_path, monkeypatch):
    monkeypatch.delenv("BOTTOMHEAT_TOKEN", raising=False)
    assert token_of(words()) is None
    monkeypatch.setenv("BOTTOMHEAT_TOKEN", "from-the-environment\n")
    assert token_of(words()) == "from-the-environment"
    file = tmp_path / "token"
    file.write_text("from-a-file\n")
    assert token_of(words("--token-file", str(file))) == "from-a-file"


@pytest.mark.parametrize("text", [b"", b"\n", b"a b", b"a\nb", b"\xff", "ä".encode()])
def test_what_is_no_token_is_not_sent(tmp_path, text):
    file = tmp_path / "token"
    file.write_bytes(text)
    with pytest.raises(AskError, match="--token-file"):
        token_of(words("--token-file", str(file)))


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(AskError, match="nowhere: No such file"):
        token_of(words("--token-file", str(tmp_path / "nowhere")))


# --------------------------------------------------------- with a bench over there


class Served:
    """A bench served by a thread, whose connections a test can break off."""

    def __init__(self, script):
        self.script, self.heads, self.ready = script, [], threading.Event()
        self.thread = threading.Thread(target=lambda: asyncio.run(self._run()))
        self.thread.start()
        assert self.ready.wait(10)

    async def _run(self):
        self.loop, self.over = asyncio.get_running_loop(), asyncio.Event()
        server = await asyncio.start_server(self._answer, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        async with server:
            self.ready.set()
            await self.over.wait()

    async def _answer(self, reader, writer):
        self.heads.append((await reader.readuntil(b"\r\n\r\n")).decode())
        part = self.script.pop(0) if self.script else None
        if part is not None:
            writer.write(part)
            await writer.drain()
        writer.close()

    def end(self):
        self.loop.call_soon_threadsafe(self.over.set)
        self.thread.join(10)


STREAM = b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\n\r\n"
NO = b"HTTP/1.1 401 No\r\nContent-Length: 16\r\n\r\n" + b'{"detail": "no"}'


def read_through(monkeypatch, script, count):
    """Return the first news of a scripted bench, and the heads of what was asked."""
    monkeypatch.setattr(watch, "AGAIN_S", (0.0,))
    monkeypatch.setenv("BOTTOMHEAT_TOKEN", "t")
    served, news, ended = Served(script), queue.Queue(), threading.Event()
    args = words("--url", f"http://127.0.0.1:{served.port}")
    reading = threading.Thread(target=watch._read, args=(args, news, ended))
    reading.start()
    found = [news.get(timeout=10) for _ in range(count)]
    ended.set()
    reading.join(10)
    served.end()
    return found, served.heads


def test_what_breaks_off_is_told_and_taken_up_where_it_was(monkeypatch):
    script = [STREAM + event(1) + event(2), b"", STREAM + event(3)]
    found, heads = read_through(monkeypatch, script, 5)
    assert [type(one).__name__ for one in found] == [
        "Told", "Told", "_Lost", "_Lost", "Told",
    ]  # fmt: skip
    assert [one.id for one in found if hasattr(one, "id")] == ["1", "2", "3"]
    lowered = [head.lower() for head in heads]
    assert "last-event-id" not in lowered[0]
    assert all("last-event-id: 2\r\n" in head for head in lowered[1:3])
    assert all("authorization: bearer t\r\n" in head for head in lowered)


def test_a_token_that_is_no_longer_known_ends_it(monkeypatch):
    found, _ = read_through(monkeypatch, [STREAM + event(1), NO], 3)
    assert isinstance(found[-1], watch._Refused)
    assert "401: no" in str(found[-1].error)


def test_a_redirection_does_not_get_the_token(monkeypatch):
    away = b"HTTP/1.1 302 Away\r\nLocation: http://127.0.0.1:9/\r\n\r\n"
    found, heads = read_through(monkeypatch, [away], 1)
    assert isinstance(found[0], watch._Refused)
    assert len(heads) == 1


def test_on_a_terminal_it_is_drawn_and_given_back_as_it_was(tmp_path):
    """As a person has it: a terminal, Ctrl-C, and the shell's screen again."""
    script = [STREAM + event(1) + event(2)]
    served = Served(script)
    here, there = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "controller", "trays", "--watch", "--url",
         f"http://127.0.0.1:{served.port}"],
        stdin=there, stdout=there, stderr=there,
    )  # fmt: skip
    os.close(there)
    seen = b""
    until = time.monotonic() + 20  # noqa: TID251 - a deadline, not a pause
    while b"CONNECTION LOST" not in seen and time.monotonic() < until:  # noqa: TID251
        seen += os.read(here, 65_536)
    process.send_signal(signal.SIGINT)
    assert process.wait(10) == 0
    os.set_blocking(here, False)
    try:
        while part := os.read(here, 65_536):
            seen += part
    except OSError:
        pass
    os.close(here)
    served.end()
    text = seen.decode()
    assert text.index("\x1b[?1049h") < text.index("Bench scan 1")
    assert "Bench scan 2" in text
    assert "\x1b[?25h\x1b[?1049l" in text
    assert "Traceback" not in text
    # After the screen is given back, the last picture stays to be read.
    assert "Bench scan 2" in text.rpartition("\x1b[?1049l")[2]
