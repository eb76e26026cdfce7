"""`bottomheat benches --serve` as a person starts it: where, and for whom."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from controller.cli import main
from tests.cli.test_benches_command import SECRET, Daemon, answering, listed
from tests.page.far_benches import invented_bench

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.timeout(90)


@contextmanager
def serving(*words: str):
    """Start it; give the process and its port; end it as a service manager does."""
    process = subprocess.Popen(
        [sys.executable, "-m", "controller", "benches", "--serve", *words],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "BOTTOMHEAT_TOKEN": "bottomheat-ofTheEnvironment"},
    )
    try:
        said = ""
        for line in process.stderr:
            said += line
            if found := re.search(r":(\d+)/ \(as data", line):
                yield process, int(found[1])
                break
        else:
            raise AssertionError(said)
    finally:
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=60)
        process.said = said + out + err


def list_with(folder: Path, daemon: Daemon, api: str) -> str:
    path = listed(folder, daemon)
    with Path(path).open("a", encoding="utf-8") as file:
        file.write(f"[api]\n{api}\n")
    return path


def until_known(client: httpx.Client, headers: dict | None = None) -> dict:
    while True:
        found = client.get("/v1/benches", headers=headers).raise_for_status().json()
        if found["benches"][0]["state"] != "being asked":
            return found


def test_it_serves_what_it_sees_on_this_machine_and_ends_when_told(tmp_path):
    with answering(Daemon(invented_bench())) as (daemon,):
        path = list_with(tmp_path, daemon, "port = 0")
        with serving("--list", path, "--every", "1") as (process, port):
            with httpx.Client(base_url=f"http://127.0.0.1:{port}") as client:
                assert "modulepreload" in client.get("/").text
                found = until_known(client)
            assert found["benches"][0]["name"] == "b0"
            assert found["benches"][0]["state"] == "well"
        assert process.returncode == 0
    assert daemon.heard[0] == f"Bearer {SECRET}"
    assert SECRET not in process.said + json.dumps(found)
    assert "the bench: http://127.0.0.1:" in process.said


def test_others_are_let_in_by_a_token_of_its_own_alone(tmp_path, capsys):
    with answering(Daemon(invented_bench())) as (daemon,):
        path = list_with(tmp_path, daemon, 'port = 0\nhost = "0.0.0.0"')
        assert main(["benches", "--serve", "--list", path]) == 2
        said = capsys.readouterr().err
        assert "could look at your benches" in said
        assert f"bottomheat token add NAME --may read --list {path}" in said
        words = ["token", "add", "phone", "--may", "read", "--list", path, "--json"]
        assert main(words) == 0
        token = json.loads(capsys.readouterr().out)["token"]
        assert (tmp_path / "benches.tokens.json").stat().st_mode & 0o077 == 0
        with (
            serving("--list", path) as (process, port),
            httpx.Client(base_url=f"http://127.0.0.1:{port}") as client,
        ):
            assert client.get("/v1/benches").status_code == 401
            foreign = {"authorization": f"Bearer {SECRET}"}
            assert client.get("/v1/benches", headers=foreign).status_code == 401
            right = {"authorization": f"Bearer {token}"}
            assert until_known(client, right)["benches"][0]["state"] == "well"
        assert "tokens go over the network readable" in process.said
        assert token not in process.said


def test_the_token_commands_words_fit_the_page_of_many(tmp_path, capsys):
    path = list_with(tmp_path, Daemon({}, url="http://b"), "port = 8123")
    words = ["token", "add", "phone", "--may", "read", "--list", path]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "http://127.0.0.1:8123/#token=bottomheat-" in said
    assert "from now on their page asks for one" in said
    assert main(["token", "revoke", "phone", "--list", path]) == 0
    assert main(["token", "list", "--list", path]) == 0
    assert "Every token was revoked" in capsys.readouterr().out


def test_a_list_that_is_none_has_no_tokens(tmp_path, capsys):
    words = ["token", "list", "--list", str(tmp_path / "none.toml")]
    assert main(words) == 2
    assert "none.toml" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("api", "said"),
    [
        ('host = "no host"', "[api] host"),
        ("port = 99999", "[api] port"),
        ("colour = 1", "[api] colour"),
        ('tls_cert = "a.pem"', "write tls_key"),
        ('proxies = ["127.0.0.1"]', "whoever comes by a proxy would be let in"),
    ],
)
def test_a_wrong_place_to_listen_is_told_with_its_place(api, said, tmp_path, capsys):
    path = list_with(tmp_path, Daemon({}, url="http://b"), api)
    assert main(["benches", "--serve", "--list", path]) == 2
    assert said in capsys.readouterr().err


def test_a_port_that_is_taken_is_told(tmp_path, capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        path = list_with(tmp_path, Daemon({}, url="http://b"), f"port = {port}")
        assert main(["benches", "--serve", "--list", path]) == 2
    assert "another program listens on" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["http://b", "--serve", "--json"], "one of them"),
        (["http://b", "--serve", "--every", "0.1"], "--every 0.1"),
        (["http://b", "--stale", "nan"], "--stale"),
    ],
)
def test_what_does_not_go_together_is_refused(words, told, capsys):
    assert main(["benches", *words]) == 2
    assert told in capsys.readouterr().err


def test_a_page_address_of_a_list_is_held_to_the_same_rules(tmp_path, capsys):
    file = tmp_path / "benches.toml"
    file.write_text(
        '[[bench]]\nurl = "http://b"\npage = "javascript:alert(1)"\n', encoding="utf-8"
    )
    assert main(["benches", "--list", str(file)]) == 2
    assert "page: must be http://HOST" in capsys.readouterr().err
