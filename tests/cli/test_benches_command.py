"""Many benches at a glance: real answers, strangers, silence, and no secret astray."""

import json
import threading
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from controller.cli import main
from controller.cli.bench_glance import glanced
from controller.cli.bench_list import ListError, asked_for
from controller.cli.bench_told import bench_told
from tests.page.far_benches import invented_bench

SECRET = "bottomheat-aSecretThatNobodyElseMaySee"  # noqa: S105


@dataclass
class Daemon:
    """Something that answers as a daemon's API does, and writes down what it heard."""

    body: dict
    status: int = 200
    location: str = ""
    gate: threading.Semaphore | None = None
    heard: list[str | None] = field(default_factory=list)
    url: str = ""


@contextmanager
def answering(*daemons: Daemon):
    servers = []
    for daemon in daemons:

        class Handler(BaseHTTPRequestHandler):
            of = daemon

            def do_GET(self) -> None:
                self.of.heard.append(self.headers.get("Authorization"))
                if self.of.gate is not None:
                    assert self.of.gate.acquire(timeout=10)
                text = json.dumps(self.of.body).encode()
                self.send_response(self.of.status)
                if self.of.location:
                    self.send_header("Location", self.of.location)
                self.send_header("Content-Length", str(len(text)))
                self.end_headers()
                if self.of.gate is not None:  # before the end: the next is asked then
                    self.of.gate.release()
                self.wfile.write(text)

            def log_message(self, *_: object) -> None:
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        daemon.url = f"http://127.0.0.1:{server.server_port}"
        threading.Thread(target=server.serve_forever, daemon=True).start()
        servers.append(server)
    try:
        yield daemons
    finally:
        for server in servers:
            server.shutdown()
            server.server_close()


@pytest.fixture
def real() -> dict:
    """What the API says of a bench on which all is as wanted."""
    return invented_bench()


def shown(capsys, *words: str) -> tuple[int, list[dict]]:
    code = main(["benches", *words, "--json"])
    return code, json.loads(capsys.readouterr().out)["benches"]


def test_what_needs_somebody_comes_first(real, capsys):
    alarm = {"state": "active", "sentence": "Probe N1 was not heard for 5 min."}
    tripped = [{**mat, "mode": "tripped"} for mat in real["mats"][:1]]
    benches = [
        Daemon(real),
        Daemon({**real, "alarms": [alarm, alarm]}),
        Daemon({**real, "scan_age_s": 7_200}),
        Daemon({**real, "mats": tripped, "alarms": [alarm]}),
        Daemon({"hello": "world"}),
    ]
    with answering(*benches):
        code, rows = shown(capsys, *(daemon.url for daemon in benches))
        assert code == 1
        assert [row["state"] for row in rows] == [
            "locked off", "no answer", "stale", "alarm", "well",
        ]  # fmt: skip
        assert "2 h ago" in rows[2]["what"]
        assert rows[3]["what"].endswith("(and 1 more)")
        assert main(["benches", *(daemon.url for daemon in benches)]) == 1
        text = capsys.readouterr().out
    assert text.startswith("5 benches; somebody is needed at 4.")


def test_one_bench_is_not_called_benches(capsys, real):
    with answering(Daemon(real)) as (daemon,):
        main(["benches", daemon.url])
    assert capsys.readouterr().out.startswith("1 bench; somebody is needed at ")


def test_a_bench_as_it_is_has_its_trays_and_mats(real):
    found = glanced("lean-to", "http://b", bench_told(real), 60).record()
    assert (found["state"], found["mats"]) == ("well", len(real["mats"]))
    assert 5 < found["coldest_c"] <= found["warmest_c"] < 35


def test_a_tray_aside_is_named_and_needs_nobody_yet(real, capsys):
    """A bench that warms up in the morning is no alarm."""
    cold = [{**tray, "temp_c": 15.0} for tray in real["trays"][:1]]
    with answering(Daemon({**real, "trays": cold}), Daemon(real)) as daemons:
        code, rows = shown(capsys, *(d.url for d in reversed(daemons)))
    assert code == 0
    assert [row["state"] for row in rows] == ["not as wanted", "well"]
    assert rows[0]["what"] == "N1"


def test_one_that_does_not_answer_keeps_nobody_waiting(real, capsys):
    with answering(Daemon(real)) as (daemon,):
        code, rows = shown(capsys, daemon.url, "http://127.0.0.1:1", "--within", "1")
    assert code == 1
    assert [row["state"] for row in rows] == ["no answer", "well"]


def test_no_more_are_asked_at_a_time_than_was_said(real, capsys):
    """Each answer waits for a place; with more than two at once one would fail."""
    most, inside, lock = [0], [0], threading.Lock()

    class Counting(threading.Semaphore):
        def acquire(self, *args, **words):
            with lock:
                inside[0] += 1
                most[0] = max(most[0], inside[0])
            threading.Event().wait(0.05)
            return True

        def release(self, *args):
            with lock:
                inside[0] -= 1

    with answering(*(Daemon(real, gate=Counting()) for _ in range(6))) as daemons:
        code, rows = shown(capsys, *(d.url for d in daemons), "--at-once", "2")
    assert (code, len(rows)) == (0, 6)
    assert most[0] == 2


def listed(folder, *daemons: Daemon, token: str | None = SECRET) -> str:
    lines = []
    for number, daemon in enumerate(daemons):
        lines += ["[[bench]]", f'name = "b{number}"', f'url = "{daemon.url}"']
        if number == 0 and token is not None:
            file = folder / "b0.token"
            file.write_text(token + "\n")
            file.chmod(0o600)
            lines.append('token_file = "b0.token"')
    path = folder / "benches.toml"
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def test_a_token_goes_to_its_own_bench_and_no_other(
    real, capsys, tmp_path, monkeypatch
):
    monkeypatch.setenv("BOTTOMHEAT_TOKEN", "bottomheat-ofTheEnvironment")
    thief = Daemon(real)
    with answering(thief):
        moved = Daemon({}, status=302, location=f"{thief.url}/v1/bench")
        with answering(moved, Daemon(real)) as daemons:
            code, rows = shown(capsys, "--list", listed(tmp_path, *daemons))
    assert code == 1
    assert moved.heard == [f"Bearer {SECRET}"]
    assert daemons[1].heard == [None]
    assert thief.heard == []
    assert SECRET not in json.dumps(rows)


def test_a_token_is_in_nothing_that_is_said(real, capsys, tmp_path):
    refused = Daemon({"detail": "no such token"}, status=401)
    with answering(refused):
        code = main(["benches", "--list", listed(tmp_path, refused)])
    said = capsys.readouterr()
    assert code == 1
    assert "401" in said.out
    assert SECRET not in said.out + said.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "no bench"),
        (["ftp://b"], "http://HOST"),
        ([f"http://me:{SECRET}@b:8000"], "without a name"),
        ([f"http://b:8000/?token={SECRET}"], "without a name"),
        (["http://b:99999"], "http://HOST"),
        (["http://b", "--at-once", "0"], "--at-once"),
        (["http://b", "--within", "0"], "--within"),
        (["--list", "none.toml"], "none.toml"),
    ],
)
def test_what_makes_no_sense_is_refused_and_no_secret_repeated(words, told, capsys):
    assert main(["benches", *words]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert SECRET not in said


@pytest.mark.parametrize(
    "text",
    ["", "x = 1", "[[bench]]\nname = 'a'", "[[bench]]\nurl = 1",
     "[[bench]]\nurl = 'http://b'\ntoken = 'x'", "bench = 1", "[[bench"],
)  # fmt: skip
def test_a_list_that_is_none_is_refused(text, tmp_path, capsys):
    file = tmp_path / "benches.toml"
    file.write_text(text)
    assert main(["benches", "--list", str(file)]) == 2
    assert "--list" in capsys.readouterr().err


def test_a_token_that_others_can_read_is_refused(real, tmp_path, capsys):
    path = listed(tmp_path, Daemon(real, url="http://b"))
    (tmp_path / "b0.token").chmod(0o644)
    assert main(["benches", "--list", path]) == 2
    assert "chmod 600" in capsys.readouterr().err


def test_rubbish_in_an_answer_cannot_repaint_a_terminal():
    bench = {
        "bench": "b",
        "scan_age_s": 1,
        "mats": [1, {"energised": "yes"}],
        "trays": {"a": 1},
        "alarms": [{"sentence": "\x1b[2J" + "x" * 500}],
    }
    glance = glanced("b", "http://b", bench_told(bench), 60)
    assert "\x1b" not in glance.what
    assert len(glance.what) <= 70
    (asked,), _ = asked_for(["http://b\x41"], None)
    assert asked.name == "bA"
    with pytest.raises(ListError):
        asked_for(["http://b\x1b[31m"], None)
