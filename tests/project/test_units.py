"""The systemd units: accepted by systemd itself, and in step with the commands."""

import argparse
import configparser
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from controller.adapters.relay_node import state_topic
from controller.adapters.settings import load
from controller.adapters.watchdog import SCANS_PER_WATCH
from controller.cli import build_parser, run
from controller.cli.paths import config_dir
from controller.cli.settling import ending

UNITS = config_dir() / "systemd"
AT_A_BENCH = ["bottomheat", "bottomheat-probes", "bottomheat-relays"]
NAMES = [*AT_A_BENCH, "bottomheat-benches"]
PROGRAM = "/opt/bottomheat/bin/bottomheat"


def offered(name: str) -> str:
    """Return the options that a unit's head has as an example."""
    found = re.search(r"^#   OPTIONS=(.*)$", text_of(name), re.MULTILINE)
    return found[1].replace("mqtt://BOARD", "mqtt://board") if found else ""


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
    [
        ("bottomheat", 1.8),
        ("bottomheat-probes", 1.8),
        ("bottomheat-relays", 2.3),
        ("bottomheat-benches", 1.5),
    ],
)
def test_units_are_little_exposed(name, most, tmp_path):
    """systemd's own score, 0 to 10: 1.7, 1.7, 2.2 and 1.4 with systemd 252; 0.4 of each
    but the last for asking whether the clock is right."""
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
    program, *words = shlex.split(line.replace("$OPTIONS", offered(name)))
    assert program == PROGRAM
    assert isinstance(build_parser().parse_args(words), argparse.Namespace)


@pytest.mark.parametrize("name", ["bottomheat-probes", "bottomheat-relays"])
def test_the_example_in_a_unit_is_one_that_the_brokers_list_allows(name):
    """Else what it says would arrive nowhere, and nobody would be told."""
    (line,) = keys_of(name)["ExecStart"]
    words = shlex.split(line.replace("$OPTIONS", offered(name)))[1:]
    args = build_parser().parse_args(words)
    (pair,) = args.relay if name == "bottomheat-relays" else args.probe
    topic, account = pair.partition("=")[0], args.username
    acl = (config_dir() / "mosquitto" / "example.acl").read_text(encoding="utf-8")
    if name == "bottomheat-relays":
        own = acl.partition(f"user {account}\n")[2].partition("\n\n")[0].splitlines()
        assert own == [f"topic read {topic}", f"topic write {state_topic(topic)}"]
    else:
        assert "pattern write lean-to/%u/#" in acl.splitlines()
        assert topic.startswith(f"lean-to/{account}/")


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


@pytest.mark.parametrize("name", NAMES)
def test_no_unit_waits_for_a_network(name):
    """After a power cut the router is dark, too: systemd would wait for minutes."""
    keys = keys_of(name)
    waits = [w for key in ("Wants", "Requires", "After") for w in keys.get(key, [])]
    assert "network-online" not in " ".join(waits)


def test_a_keeper_of_relays_is_started_again_at_once_and_for_ever():
    keys = keys_of("bottomheat-relays")
    assert (keys["Restart"], keys["RestartSec"]) == (["always"], ["0"])
    assert keys["StartLimitIntervalSec"] == ["0"]
    assert keys["SupplementaryGroups"] == ["gpio"]
    assert keys["TimeoutStopSec"] == ["15"]


def test_a_keeper_that_no_start_can_mend_is_not_started_hundreds_of_times():
    """Without its user it was, 154 times in 54 s on an emulated machine."""
    (statuses,) = keys_of("bottomheat-relays")["RestartPreventExitStatus"]
    assert {"2", "USER", "GROUP"} <= set(statuses.split())


USED = """
accept4 access arch_prctl bind brk clock_adjtime clone3 close connect epoll_create1
epoll_ctl epoll_wait execve fcntl fdatasync flock fsync ftruncate futex getcwd
getdents64 geteuid getpeername getpid getrandom getsockname getsockopt gettid ioctl
listen lseek madvise mmap mprotect munmap newfstatat openat poll pread64 prlimit64
pwrite64 read readlink recvfrom rename rseq rt_sigaction rt_sigprocmask rt_sigreturn
sendto set_robust_list set_tid_address setsockopt socket socketpair statfs sysinfo
uname unlink write
""".split()  # noqa: SIM905
"""System calls of a daemon from its start to SIGTERM, its API asked meanwhile, as
strace saw them on Debian 12 (x86-64). As root it also calls fchown, for which SQLite
has no use as anybody else."""


def system_calls() -> dict[str, set[str]]:
    """Return systemd's own sets of system calls, by name, each whole."""
    command = ["systemd-analyze", "--no-pager", "syscall-filter"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    listed: dict[str, set[str]] = {}
    for line in said.splitlines():
        if line.startswith("@"):
            within = listed.setdefault(line.strip(), set())
        elif line.strip() and not line.strip().startswith("#"):
            within.add(line.strip())

    def whole(name: str) -> set[str]:
        inner = [whole(one) if one.startswith("@") else {one} for one in listed[name]]
        return set().union(*inner)

    return {name: whole(name) for name in listed}


def allowed(name: str) -> set[str]:
    """Return what a unit may call: each line adds, or, with ~, takes away."""
    sets, found = system_calls(), set()
    for line in keys_of(name)["SystemCallFilter"]:
        words = line.removeprefix("~").split()
        calls = set().union(*(sets.get(word, {word}) for word in words))
        found = found - calls if line.startswith("~") else found | calls
    return found


@needs_systemd
@pytest.mark.parametrize("name", AT_A_BENCH)
def test_a_unit_may_ask_whether_the_clock_is_right_and_not_set_it(name):
    """adjtimex asks, and @clock, hence @privileged and ProtectClock, take it away."""
    calls = allowed(name)
    assert {"adjtimex", "clock_adjtime"} <= calls
    assert not {"clock_settime", "settimeofday", "reboot", "chown"} & calls
    assert "ProtectClock" not in keys_of(name)
    assert keys_of(name)["CapabilityBoundingSet"] == [""]


@needs_systemd
def test_a_daemon_calls_nothing_that_its_unit_forbids():
    assert sorted(set(USED) - allowed("bottomheat")) == []


BY_THE_PAGE = """
accept4 access arch_prctl bind brk clone3 close connect epoll_create1 epoll_ctl
epoll_wait execve exit exit_group fcntl futex getcwd getdents64 getpeername getpid
getrandom getsockname getsockopt gettid ioctl listen lseek madvise mmap mprotect mremap
munmap newfstatat openat pread64 prlimit64 read readlink recvfrom rseq rt_sigaction
rt_sigprocmask rt_sigreturn sendto set_robust_list set_tid_address setsockopt socket
socketpair sysinfo uname write
""".split()  # noqa: SIM905
"""System calls of the page of many benches, its page and /v1/benches asked meanwhile,
likewise; but for clock_adjtime, whose answer it does not need."""


@needs_systemd
def test_the_page_of_many_benches_calls_nothing_that_its_unit_forbids():
    calls = allowed("bottomheat-benches")
    assert sorted(set(BY_THE_PAGE) - calls) == []
    assert not {"adjtimex", "clock_adjtime", "clock_settime"} & calls


def test_the_page_of_many_benches_is_tried_again_and_has_tokens_of_its_own():
    """Its address may come later than it; and its list lies where it may write."""
    keys = keys_of("bottomheat-benches")
    assert keys["Restart"] == ["always"]
    assert "RestartPreventExitStatus" not in keys
    (line,) = keys["ExecStart"]
    args = build_parser().parse_args(shlex.split(line)[1:])
    folder = f"/var/lib/{keys['StateDirectory'][0]}"
    assert (str(args.list.parent), args.serve) == (folder, True)
    assert keys["StateDirectoryMode"] == ["0700"]


@pytest.mark.parametrize("name", NAMES)
def test_no_unit_holds_a_secret(name):
    """Passwords come from files that only root and the service can read."""
    keys = keys_of(name)
    assert "LoadCredential" in keys or keys["StateDirectoryMode"] == ["0700"]
    assert not re.search(
        r"(?i)password\s*[= ]\s*['\"]?[a-z0-9]{6,}['\"]?$", text_of(name)
    )


def test_the_user_of_the_units_is_one_that_is_made():
    text = (UNITS / "bottomheat.sysusers").read_text(encoding="utf-8")
    lines = [shlex.split(one) for one in text.splitlines() if not one.startswith("#")]
    made = {(kind, name) for kind, name, *_ in lines}
    users = {("u", keys_of(name)["User"][0]) for name in NAMES}
    groups = {g for name in NAMES for g in keys_of(name).get("SupplementaryGroups", [])}
    assert made == users | {("g", group) for group in groups}


@pytest.mark.skipif(
    shutil.which("systemd-sysusers") is None, reason="systemd is not installed"
)
def test_systemd_makes_the_user_and_the_group_of_pins(tmp_path):
    """A unit with a group that is not there does not start: some systems have none."""
    (tmp_path / "etc").mkdir()
    words = ["systemd-sysusers", f"--root={tmp_path}", UNITS / "bottomheat.sysusers"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "\ngpio:" in "\n" + (tmp_path / "etc/group").read_text(encoding="utf-8")
    assert "bottomheat:x:" in (tmp_path / "etc/passwd").read_text(encoding="utf-8")


def test_pins_are_given_to_the_group_of_those_who_drive_them():
    text = (UNITS / "bottomheat-pins.rules").read_text(encoding="utf-8")
    (rule,) = [one for one in text.splitlines() if not one.startswith("#")]
    (group,) = keys_of("bottomheat-relays")["SupplementaryGroups"]
    assert f'GROUP="{group}", MODE="0660"' in rule
    assert ending.PIN_RULES in text
    drop_in = (UNITS / "pins.conf").read_text(encoding="utf-8")
    assert f"SupplementaryGroups={group}\n" in drop_in


def test_comments_of_units_are_no_keys():
    """An ini parser of another kind reads them, too."""
    for name in NAMES:
        parser = configparser.ConfigParser(strict=False, interpolation=None)
        parser.optionxform = str  # type: ignore[assignment,method-assign]
        parser.read_string(text_of(name))
        assert set(parser.sections()) == {"Unit", "Service", "Install"}
