"""`bottomheat token`: a secret shown once, a link for a phone, a QR code of it."""

import io
import json
import stat

import pytest
import segno

from controller.adapters.access import AccessError, TokenFile
from controller.adapters.access.token_file import found_in
from controller.adapters.settings import load
from controller.cli import main
from controller.cli.entrance import (
    access_of,
    address_of,
    entrance_worries,
    listen_for,
    reach_of,
)
from controller.cli.paths import config_dir


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with the demo bench's configuration; commands run in it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("BOTTOMHEAT_TOKEN", raising=False)

    def made(**api):
        text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
        lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in api.items())
        keys = "host = " if "host" in api else "\0"
        text = "\n".join(x for x in text.splitlines() if not x.startswith(keys))
        text = text.replace("[api]\n", f"[api]\n{lines}")
        (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
        return load(tmp_path / "bench.toml", {})

    made()
    return made


def token(*words):
    return main(["token", *words, "--config", "bench.toml"])


def file_of(tmp_path):
    return TokenFile(tmp_path / "season.tokens.json")


def test_a_secret_is_shown_once_and_kept_as_its_hash(bench, tmp_path, capsys):
    assert token("add", "phone", "--may", "operate", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    secret = told["token"]
    # 24 random bytes: 192 bits, beyond any guessing.
    assert len(secret) == len("bottomheat-") + 32
    assert told["link"] == f"http://127.0.0.1:8000/#token={secret}"
    kept = tmp_path / "season.tokens.json"
    assert secret not in kept.read_text()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    found = found_in(file_of(tmp_path).load(), secret)
    assert (found.name, found.may.value) == ("phone", "operate")
    assert token("list", "--json") == 0
    listed = capsys.readouterr().out
    assert secret not in listed
    assert found.sha256 not in listed
    assert json.loads(listed)["tokens"][0]["name"] == "phone"


def test_people_are_told_what_the_first_token_changes(bench, capsys):
    assert token("list") == 0
    assert "whoever is on this machine" in capsys.readouterr().out
    assert token("add", "phone", "--may", "read") == 0
    out = capsys.readouterr().out
    assert "shown this once" in out
    assert "from now on this bench asks for one" in out
    assert token("add", "tablet", "--may", "read") == 0
    assert "first token" not in capsys.readouterr().out
    assert token("list") == 0
    assert "tablet" in capsys.readouterr().out


def test_the_qr_code_is_that_of_the_link(bench, capsys, monkeypatch):
    """Its modules, as segno prints them for a terminal, are those of the link's."""
    words = ["--may", "read", "--qr", "--url", "https://bench.home.arpa/"]
    assert token("add", "phone", *words) == 0
    out = capsys.readouterr().out
    link = next(x.strip() for x in out.splitlines() if "/#token=" in x)
    assert link.startswith("https://bench.home.arpa/#token=bottomheat-")
    drawn = io.StringIO()
    segno.make_qr(link, error="m").terminal(drawn, border=4, compact=True)
    assert drawn.getvalue() in out


def test_revoking_takes_it_away_and_the_last_one_opens_nothing(bench, tmp_path, capsys):
    token("add", "phone", "--may", "read")
    assert token("revoke", "phone") == 0
    out = capsys.readouterr().out
    assert "is revoked" in out
    assert "nobody can use the API" in out
    assert file_of(tmp_path).load() == ()
    access = access_of(bench(), print)
    assert access.in_force()
    assert not access.anybody()
    assert token("list") == 0
    assert "Every token was revoked" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["add"], "needs the token's name"),
        (["add", "x"], "--may read or --may operate"),
        (["add", "a b", "--may", "read"], "no name for a token"),
        (["revoke"], "needs the token's name"),
        (["revoke", "x"], "there is no token 'x'; there are: none"),
        (["list", "x"], "list takes no name"),
    ],
)
def test_what_is_amiss_is_told(bench, capsys, words, said):
    assert token(*words) == 2
    assert said in capsys.readouterr().err


def test_a_folder_that_may_not_be_written_is_told(bench, tmp_path, capsys):
    (tmp_path / "season.tokens.json.lock").mkdir()
    assert token("add", "x", "--may", "read") == 2
    assert "cannot be written" in capsys.readouterr().err


# ------------------------------------------------------------------ the entrance


def test_beyond_this_machine_nothing_starts_without_a_token(bench):
    for api in ({"host": "0.0.0.0"}, {"proxies": ["127.0.0.1"]}):  # noqa: S104
        with pytest.raises(AccessError, match="bottomheat token add"):
            access_of(bench(**api), print)


def test_with_one_it_does_and_plain_http_is_a_worry(bench, capsys):
    settings = bench(host="0.0.0.0", names=["bench.home.arpa"])  # noqa: S104
    token("add", "phone", "--may", "read")
    access = access_of(settings, print)
    assert listen_for(settings.api, access).guarded
    (worry,) = entrance_worries(settings.api, access)
    assert "readable" in worry
    reach = reach_of(settings.api)
    assert reach.is_ours("bench.home.arpa")
    assert reach.is_ours("192.0.2.7:8000")
    assert not reach.is_ours("evil.example")
    assert address_of(settings.api, 8000) == "http://bench.home.arpa:8000"


def test_an_address_that_may_come_late_is_a_worry(bench, capsys):
    """Else a router that is dark after a power cut would keep a bench cold."""
    token("add", "phone", "--may", "read")
    settings = bench(host="192.0.2.7")
    worries = list(entrance_worries(settings.api, access_of(settings, print)))
    assert "until this machine has that address" in worries[-1]
    settings = bench(host="127.0.0.1")
    assert list(entrance_worries(settings.api, access_of(settings, print))) == []


def test_on_loopback_only_listed_names_are_added(bench):
    reach = reach_of(bench(names=["bench.home.arpa"]).api)
    assert reach.is_ours("bench.home.arpa:443")
    assert not reach.is_ours("192.0.2.7")


def test_a_certificate_of_no_use_is_found_before_anything_starts(bench, tmp_path):
    (tmp_path / "c.pem").write_text("no certificate")
    settings = bench(tls_cert="c.pem", tls_key="c.pem")
    with pytest.raises(AccessError, match=r"\[api\] tls_cert"):
        access_of(settings, print)


def test_run_is_refused_in_a_sentence(bench, capsys):
    bench(host="0.0.0.0")  # noqa: S104
    assert main(["run", "--config", "bench.toml"]) == 2
    err = capsys.readouterr().err
    assert err.startswith("bottomheat run: [api] host = '0.0.0.0': other machines")
