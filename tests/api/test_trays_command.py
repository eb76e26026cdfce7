"""`bottomheat trays` against a real server, and against strangers."""

import argparse
import asyncio
import json
import socket
import threading
from contextlib import contextmanager

import pytest

from api.app import create_app
from api.server import Listen, serve
from controller.cli import trays


@contextmanager
def in_a_thread(make_server):
    """Run a server in a loop of its own; give its port; end it at the end."""
    ready, known, ended = threading.Event(), {}, []

    def tell(port):
        known["port"] = port
        ready.set()

    def work():
        async def main():
            known["task"] = asyncio.current_task()
            known["loop"] = asyncio.get_running_loop()
            await make_server(tell)

        try:
            asyncio.run(main())
        except asyncio.CancelledError:
            ended.append(True)

    thread = threading.Thread(target=work)
    thread.start()
    assert ready.wait(10)
    try:
        yield known["port"]
    finally:
        known["loop"].call_soon_threadsafe(known["task"].cancel)
        thread.join(10)
    assert ended


@pytest.fixture
def url(bench):
    app = create_app(bench, None, bench)
    with in_a_thread(lambda tell: serve(app, Listen("127.0.0.1", 0), tell)) as port:
        yield f"http://127.0.0.1:{port}"


def run(*words):
    parser = argparse.ArgumentParser()
    trays.add_parser(parser.add_subparsers(dest="command"))
    return trays.run(parser.parse_args(["trays", *words]))


def test_the_bench_is_a_table_with_aligned_columns(url, capsys):
    assert run("--url", url) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Bench lean-to, looked at 0 s ago (2026-02-14T09:00:15")
    heads, n1, n2, s1, _, w1 = lines[2:8]
    assert heads.split() == ["TRAY", "NOW", "MAT", "SETPOINT", "HEAT", "DEGREE-HOURS"]
    for row in (n1, n2, s1):
        assert row[heads.index("NOW") :].startswith(("20.5 °C", "24.0 °C"))
    assert n1[heads.index("MAT") :].startswith("north")
    assert s1[heads.index("HEAT") :].startswith("on")
    assert "K·h above 10 °C, equal to 0 days at 21 °C" in n1
    assert w1.split()[:3] == ["W1", "none", "-"]
    assert any("heating allowed" in line for line in lines)
    assert lines[-1] == "No alarms."


def test_alarms_are_told_and_are_a_finding(url, bench, warm, capsys):
    for _ in range(3):
        bench.scan(warm | {"n1": 33.4})
    assert run("--url", url + "/") == 1
    out = capsys.readouterr().out
    assert "Mat north is locked off until you reset it" in out
    assert "Alarms:" in out


def test_json_is_what_the_api_says(url, capsys):
    assert run("--url", url, "--json") == 0
    assert json.loads(capsys.readouterr().out)["bench"] == "lean-to"


def test_a_proxy_of_the_environment_is_not_asked(url, monkeypatch, capsys):
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")
    assert run("--url", url) == 0


def test_no_answer_names_the_address_and_what_to_do(capsys):
    with socket.socket() as nobody:  # bound, but nobody listens
        nobody.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{nobody.getsockname()[1]}"
        assert run("--url", url) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith(f"{url}/v1/bench: no answer (")
    assert "bottomheat run" in captured.err


@pytest.mark.parametrize(
    "url", ["127.0.0.1:8000", "file:///etc/hostname", "ftp://127.0.0.1", ""]
)
def test_an_address_that_is_none_is_refused(url, capsys):
    assert run("--url", url) == 2
    assert "must begin with http:// or https://" in capsys.readouterr().err


@pytest.mark.parametrize("url", ["http://127.0.0.1:x", "http://a b", "http://[::1"])
def test_a_broken_address_is_an_error_and_no_traceback(url, capsys):
    assert run("--url", url) == 2
    assert capsys.readouterr().err.startswith(f"{url}/v1/bench: no answer (")


def test_the_words_of_an_error_are_passed_on(url, bench, capsys):
    bench.current = None
    assert run("--url", url) == 2
    err = capsys.readouterr().err
    assert "503" in err
    assert "the bench has not finished its first scan yet" in err


def answering(raw_answer):
    """Return a server that gives every connection the same bytes."""

    async def make(tell):
        async def reply(reader, writer):
            await reader.readuntil(b"\r\n\r\n")
            writer.write(raw_answer)
            writer.close()

        server = await asyncio.start_server(reply, "127.0.0.1", 0)
        async with server:
            tell(server.sockets[0].getsockname()[1])
            await server.serve_forever()

    return make


OK = b"HTTP/1.0 200 OK\r\n\r\n"


@pytest.mark.parametrize(
    "raw_answer",
    [
        b"",
        b"SSH-2.0-invented\r\n",
        OK,
        OK + b"<html>",
        OK + b"[]",
        OK + b"[" * 100_000,
        OK + b"{}",
        OK + b'{"alarms": {}}',
        OK + b'{"alarms": [], "mats": [1], "trays": []}',
        OK + b'{"alarms": [], "mats": [], "trays": [], "scan_age_s": "0"}',
        b"HTTP/1.0 404 Not Found\r\n\r\nno",
        b"HTTP/1.0 500 No\r\n\r\n[1]",
    ],
)
def test_a_stranger_at_the_address_is_an_error_and_no_traceback(raw_answer, capsys):
    with in_a_thread(answering(raw_answer)) as port:
        assert run("--url", f"http://127.0.0.1:{port}") == 2
    assert capsys.readouterr().err.strip()


def test_control_characters_do_not_reach_the_terminal(capsys):
    said = {
        "bench": "lean\x1b[2Jto",
        "at": "",
        "scan_age_s": 0,
        "trays": [],
        "mats": [],
        "alarms": [{"sentence": "a\x1b]0;b\x07", "since": "now\r"}],
    }
    body = json.dumps(said).encode()
    with in_a_thread(answering(OK + body)) as port:
        assert run("--url", f"http://127.0.0.1:{port}") == 1
    out = capsys.readouterr().out
    assert not {"\x1b", "\x07", "\r"} & set(out)
