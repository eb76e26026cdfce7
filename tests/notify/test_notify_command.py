"""`bottomheat notify`, and a daemon that tells a webhook."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from controller.cli import main
from tests.notify.servers import serving

# apprise still imports a module that Python 3.13 has dropped.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated")

ROOT = Path(__file__).parents[2]
BENCH = """\
[bench]
name = "small"
scan = "1 s"
[broker]
url = "embedded"
[api]
port = 0
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "75 °F"
stale_after = "3 s"
[mat.relay]
topic = "relay/north"
lease = true
[[tray]]
name = "N1"
mat = "north"
[[probe]]
name = "P1"
tray = "N1"
topic = "probe/P1"
every = "1 s"
"""


@pytest.fixture
def notify(tmp_path, monkeypatch, capsys):
    """Run the command on the small bench with these tables; return what came."""
    monkeypatch.chdir(tmp_path)

    def run(tables: str, *words: str) -> tuple[int, str, str]:
        Path("bench.toml").write_text(BENCH + tables, encoding="utf-8")
        status = main(["notify", "--config", "bench.toml", *words])
        out, err = capsys.readouterr()
        assert "secret" not in out + err
        return status, out, err

    return run


TARGETS = """
[[notify]]
name = "phone"
url = "https://hooks.example/secret"
for = ["high", "medium", "low", "cleared", "trip"]
quiet = "22:00-07:00"
cold_wakes = ["north"]
all_is_well = "08:05"
at_most = "1 per day"
[[notify]]
url = "mqtt"
for = ["high"]
quiet = "13:00-15:00"
wakes = []
[[notify]]
name = "daily"
url_file = "address"
for = []
all_is_well = "00:00"
"""


def test_who_is_told_what_and_when(notify, tmp_path):
    (tmp_path / "address").write_text("apprise:json://127.0.0.1/secret")
    assert notify(TARGETS) == (
        0,
        "Who is told of alarms\n"
        "  phone (https://hooks.example): high, medium and low alarms, trip and when"
        " one is over\n"
        "    22:00 to 07:00: only high alarms and what lets north get cold; the rest"
        " waits until 07:00\n"
        "    at most 1 message a day, the rest summed up; high alarms at once\n"
        "    every day at 08:05: how the bench is\n"
        "  notify-2 (mqtt): high alarms\n"
        "    13:00 to 15:00: nothing; all waits until 15:00\n"
        "    at most 6 messages an hour, the rest summed up; high alarms at once\n"
        "  daily (apprise:json://…): no alarm\n"
        "    every day at 00:00: how the bench is\n",
        "",
    )


def test_who_is_told_as_json(notify, tmp_path):
    (tmp_path / "address").write_text("mqtt")
    status, out, _ = notify(TARGETS, "--json")
    found = json.loads(out)["notify"]
    assert status == 0
    assert [t["address"] for t in found] == ["https://hooks.example", "mqtt", "mqtt"]
    assert found[2]["in_words"][1] == "every day at 00:00: how the bench is"


@pytest.mark.parametrize("words", [(), ("--test",)])
def test_that_nobody_is_told_is_a_finding(notify, words):
    status, out, _ = notify("", *words)
    assert status == 1
    assert out == ("Nobody is told of alarms: a table [[notify]] would name somebody\n")


def test_a_test_message_goes_to_each(notify):
    with serving() as server:
        host = server.url.removeprefix("http://")
        status, out, err = notify(
            f'[[notify]]\nname = "hook"\nurl = "{server.url}/secret"\n'
            f'[[notify]]\nname = "other"\nurl = "apprise:json://{host}/secret"\n',
            "--test",
        )
    assert (status, err) == (0, "")
    assert out == (
        f"hook ({server.url}): delivered; has it arrived?\n"
        "other (apprise:json://…): delivered; has it arrived?\n"
    )
    hook, other = sorted(server.bodies, key=lambda body: "version" in body)
    assert (hook["kind"], hook["bench"]) == ("test", "small")
    assert hook["sentence"] == other["message"]
    assert other["title"] == "Bench small"


def test_one_that_was_not_delivered_is_a_finding(notify):
    with serving() as server:
        server.answers = [403]
        tables = f'[[notify]]\nurl = "{server.url}/secret"\n'
        tables += '[[notify]]\nname = "b"\nurl = "mqtt"\n'
        assert notify(tables, "--test") == (
            1,
            f"notify-1 ({server.url}): NOT delivered: it answered 403\n"
            "b (mqtt): NOT delivered: the broker did not take it: it is embedded, and"
            " there only while the daemon runs\n",
            "",
        )
        status, out, _ = notify(tables, "--test", "b", "--json")
    assert status == 1
    (found,) = json.loads(out)["test"]
    assert (found["name"], found["delivered"]) == ("b", False)


def test_a_target_that_is_not_there(notify):
    status, out, err = notify('[[notify]]\nname = "a"\nurl = "mqtt"\n', "--test", "x")
    assert (status, out) == (2, "")
    assert err == "bottomheat notify: --test x: no such target; known: a\n"


def test_an_address_that_cannot_be_used(notify):
    status, out, err = notify('[[notify]]\nurl_file = "gone"\n')
    assert (status, out) == (2, "")
    assert err == (
        "bottomheat notify: notify notify-1: url_file gone: cannot be read: No such"
        " file or directory\n"
    )


def test_a_daemon_tells_a_webhook_of_a_probe_that_never_spoke(tmp_path):
    with serving() as server:
        config = tmp_path / "bench.toml"
        config.write_text(
            f'{BENCH}[log]\npath = "{tmp_path}/season.db"\n'
            f'[[notify]]\nname = "hook"\nurl = "{server.url}/secret"\n',
            encoding="utf-8",
        )
        daemon = subprocess.Popen(
            [sys.executable, "-m", "controller", "run", "--config", str(config)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        arrived = server.posted.wait(20)
        daemon.send_signal(signal.SIGTERM)
        said, _ = daemon.communicate(timeout=15)
    assert (arrived, daemon.returncode) == (True, 0), said
    assert "secret" not in said
    assert "Probe P1 has fallen silent." in server.bodies[0]["sentence"]
    assert (tmp_path / "season.notices.json").exists()
