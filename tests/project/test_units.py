"""The systemd units: accepted by systemd itself, and in step with the commands."""

import argparse
import configparser
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from controller.adapters.settings import load
from controller.adapters.watchdog import SCANS_PER_WATCH
from controller.cli import build_parser, run
from controller.cli.paths import config_dir

UNITS = config_dir() / "systemd"
NAMES = ["bottomheat", "bottomheat-probes", "bottomheat-relays"]
PROGRAM = "/opt/bottomheat/bin/bottomheat"
OFFERED = {
    "bottomheat-relays": "--broker mqtt://b --username n --relay lean-to/north=GPIO17",
    "bottomheat-probes": "--broker mqtt://b --username n --probe t/N1=28-0000051d3a2f",
}

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd is not installed"
)


def text_of(name: str) -> str:
    return (UNITS / f"{name}.service").read_text(encoding="utf-8")


def keys_of(name: str) -> dict[str, list[str]]:
    """Return every value of each key of [Service] and [Unit]."""
    found: dict[str, list[str]] = {}
    for line in text_of(name).splitlines():
        key, sign, value = line.partition("=")
        if sign and not line.startswith("#"):
            found.setdefault(key, []).append(value)
    return found


def analysed(name: str, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Ask systemd of a unit whose program exists on this machine, too."""
    copy = folder / f"{name}.service"
    copy.write_text(text_of(name).replace(PROGRAM, "/bin/true"), encoding="utf-8")
    command = ["systemd-analyze", "--no-pager", *words, str(copy)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@needs_systemd
@pytest.mark.parametrize("name", NAMES)
def test_systemd_has_nothing_to_say_against_a_unit(name, tmp_path):
    """A key that it does not know is told on stderr, with status 0."""
    said = analysed(name, tmp_path, "--man=no", "verify")
    assert (said.returncode, said.stderr) == (0, "")


@needs_systemd
@pytest.mark.parametrize(
    ("name", "most"),
    [("bottomheat", 1.5), ("bottomheat-probes", 1.5), ("bottomheat-relays", 2.0)],
)
def test_units_are_little_exposed(name, most, tmp_path):
    """systemd's own score, 0 to 10: 1.3, 1.3 and 1.8 with systemd 252."""
    said = analysed(name, tmp_path, "security", "--offline=yes")
    score = re.search(r"exposure level for \S+: ([0-9.]+)", said.stdout)
    assert score is not None, said.stdout + said.stderr
    assert float(score[1]) <= most


@needs_systemd
def test_the_drop_in_for_pins_is_accepted(tmp_path):
    folder = tmp_path / "bottomheat.service.d"
    folder.mkdir()
    shutil.copy(UNITS / "pins.conf", folder)
    said = analysed("bottomheat", tmp_path, "--man=no", "verify")
    assert (said.returncode, said.stderr) == (0, "")


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_starts_a_command_that_there_is(name):
    (line,) = keys_of(name)["ExecStart"]
    line = line.replace("$OPTIONS", OFFERED.get(name, ""))
    program, *words = shlex.split(line)
    assert program == PROGRAM
    assert isinstance(build_parser().parse_args(words), argparse.Namespace)


def test_the_watchdog_waits_for_three_scans_at_least():
    scan_s = load(config_dir() / "bench.toml", {}).plan.scan_ms / 1000
    (watch_s,) = keys_of("bottomheat")["WatchdogSec"]
    assert int(watch_s) >= SCANS_PER_WATCH * scan_s


def test_only_what_another_start_cannot_mend_ends_the_daemon_for_good():
    keys = keys_of("bottomheat")
    assert keys["Restart"] == ["always"]
    (statuses,) = keys["RestartPreventExitStatus"]
    assert set(map(int, statuses.split())) == {2, run.ANOTHER_RUNS}
    assert run.ENDED_BY_ITSELF not in map(int, statuses.split())


def test_a_keeper_of_relays_is_started_again_at_once_and_for_ever():
    keys = keys_of("bottomheat-relays")
    assert (keys["Restart"], keys["RestartSec"]) == (["always"], ["0"])
    assert keys["StartLimitIntervalSec"] == ["0"]
    assert keys["SupplementaryGroups"] == ["gpio"]
    assert keys["TimeoutStopSec"] == ["15"]


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_may_ask_whether_the_clock_is_right(name):
    """ProtectClock would have the kernel refuse the question, too.

    systemd.exec(5): it takes away the system calls of @clock, and adjtimex, with
    which the clock's state is asked, is one of them.
    """
    keys = keys_of(name)
    assert "ProtectClock" not in keys
    assert "clock_adjtime" in keys["SystemCallFilter"][0].split()
    assert keys["CapabilityBoundingSet"] == [""]


@pytest.mark.parametrize("name", NAMES)
def test_no_unit_holds_a_secret(name):
    """Passwords come from files that only root and the service can read."""
    assert "LoadCredential" in keys_of(name)
    assert not re.search(
        r"(?i)password\s*[= ]\s*['\"]?[a-z0-9]{6,}['\"]?$", text_of(name)
    )


def test_the_user_of_the_units_is_one_that_is_made():
    (line,) = [
        line
        for line in (UNITS / "bottomheat.sysusers").read_text().splitlines()
        if not line.startswith("#")
    ]
    kind, user, *_ = shlex.split(line)
    assert kind == "u"
    assert {keys_of(name)["User"][0] for name in NAMES} == {user}


def test_comments_of_units_are_no_keys():
    """An ini parser of another kind reads them, too."""
    for name in NAMES:
        parser = configparser.ConfigParser(strict=False, interpolation=None)
        parser.optionxform = str  # type: ignore[assignment,method-assign]
        parser.read_string(text_of(name))
        assert set(parser.sections()) == {"Unit", "Service", "Install"}
