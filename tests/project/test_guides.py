"""The guides: what they tell to type is typed, and what they name is there.

Every block marked sh is given to a shell, in its order. Programs that would change
the machine are replaced by ones that write down that they were called; those which
need hardware or somebody to answer are held to their own options here, and played
through elsewhere: tests/cli/test_setup_evening.py, tests/contract/test_check_live.py,
tests/api/test_trays_command.py, tests/project/test_wheel.py.
"""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from controller.adapters.access import TokenFile, tokens_beside
from controller.adapters.access.token_file import found_in
from controller.adapters.settings import load
from controller.cli import GROUPS, build_parser, main
from controller.cli.check import CAUTIONS
from controller.cli.paths import config_dir
from controller.ports import May

ROOT = Path(__file__).parents[2]
GUIDES = config_dir() / "guides"
NAMES = sorted(path.name for path in GUIDES.glob("*.md"))
PLACES = (
    "/etc/bottomheat",
    "/etc/sysusers.d",
    "/etc/systemd/system",
    "/etc/udev/rules.d",
    "/var/lib/bottomheat",
    "/media/stick",
)
MADE_BY_A_GUIDE = {"/etc/sysusers.d"}
"""A fresh Debian (12 and 13) has it not: seen on systems made by debootstrap."""
STUBS = {
    "sudo": 'exec "$@"',
    "apt-get": 'echo "apt-get $*" >>"$CALLS"',
    "systemctl": 'echo "systemctl $*" >>"$CALLS"',
    "journalctl": 'echo "journalctl $*" >>"$CALLS"',
    "systemd-sysusers": 'echo "systemd-sysusers $*" >>"$CALLS"',
    "udevadm": 'echo "udevadm $*" >>"$CALLS"',
    "chown": 'echo "chown $*" >>"$CALLS"',
    # What a person writes there: a guide's own pattern, or a secret.
    "nano": """case "$1" in
      *.toml) [ -s "$1" ] || cp listed.toml "$1" ;;
      *) echo invented >"$1" ;;
    esac""",
}
PARSED = """
import sys
from controller.cli import build_parser
build_parser().parse_args(sys.argv[1:])
"""


def text_of(name: str) -> str:
    return (GUIDES / name).read_text(encoding="utf-8")


def blocks(name: str, kind: str) -> list[str]:
    return re.findall(
        rf"^```{kind}\n(.*?)^```$", text_of(name), re.DOTALL | re.MULTILINE
    )


@pytest.fixture(scope="module")
def season(tmp_path_factory) -> Path:
    """A season log of the demo bench, an hour long."""
    log = tmp_path_factory.mktemp("season") / "season.db"
    bench = str(config_dir() / "bench.toml")
    assert main(["simulate", bench, "--days", "0.04", "--out", str(log)]) == 0
    return log


class Machine:
    """A machine in a folder, on which a guide is followed."""

    def __init__(self, folder: Path, season: Path) -> None:
        self.folder, self.calls = folder, folder / "calls.txt"
        for place in sorted(set(PLACES) - MADE_BY_A_GUIDE):
            (folder / place[1:]).mkdir(parents=True)
        for there in ("", "etc/bottomheat"):
            shutil.copy(config_dir() / "bench.toml", folder / there / "bench.toml")
        shutil.copy(season, folder / "var/lib/bottomheat/season.db")
        (folder / "var/lib/bottomheat/setup.json").write_text("{}", encoding="utf-8")
        stubs = folder / "bin"
        stubs.mkdir()
        for name, body in STUBS.items():
            self._program(stubs / name, body)
        shutil.copytree(config_dir() / "systemd", folder / "config/systemd")
        (listed,) = blocks("benches.md", "toml")
        listed = listed.replace("ADDRESS:8000", "127.0.0.1:9")
        (folder / "listed.toml").write_text(listed, encoding="utf-8")
        self._program(folder / "dev", 'echo "dev $*" >>"$CALLS"')
        real = f'"{sys.executable}" -m controller "$@" || [ $? = 1 ]'  # 1: findings
        parse = f'exec "{sys.executable}" -c \'{PARSED}\' "$@"'
        needs_more = '"$1" = setup -o "$1" = trays ] || [ "${*/--live/}" != "$*"'
        self._program(
            stubs / "bottomheat", f"if [ {needs_more} ]; then {parse}; fi\n{real}"
        )

    def _program(self, file: Path, body: str) -> None:
        file.write_text(f"#!/bin/bash\n{body}\n", encoding="utf-8")
        file.chmod(0o755)

    def type(self, text: str) -> subprocess.CompletedProcess[str]:
        for place in PLACES:
            text = text.replace(place, f"{self.folder}{place}")
        text = text.replace("/opt/bottomheat/bin/bottomheat", "bottomheat")
        env = {k: v for k, v in os.environ.items() if not k.startswith("BOTTOMHEAT_")}
        env["PATH"] = f"{self.folder / 'bin'}:{env['PATH']}"
        env |= {"CALLS": str(self.calls), "PYTHONPATH": str(ROOT)}
        return subprocess.run(
            ["/bin/bash", "-euo", "pipefail"],
            input=text,
            cwd=self.folder,
            env=env,
            capture_output=True,
            text=True,
            check=False,
        )

    def called(self) -> list[str]:
        return self.calls.read_text().splitlines() if self.calls.exists() else []


@pytest.fixture
def machine(tmp_path, season) -> Machine:
    return Machine(tmp_path, season)


@pytest.mark.slow
@pytest.mark.timeout(120)
@pytest.mark.parametrize("name", NAMES)
def test_what_a_guide_tells_to_type_works(name, machine):
    for block in blocks(name, "sh"):
        done = machine.type(block)
        assert done.returncode == 0, f"{block}\n{done.stdout}\n{done.stderr}"
        assert "Traceback" not in done.stderr, done.stderr
    asked = " ".join(call for call in machine.called() if "apt-get install" in call)
    packages = set(re.findall(r"[a-z][a-z0-9-]+", asked)) - {"apt-get", "install", "y"}
    assert packages <= {"python3-venv", "mosquitto"}
    told = {c.split()[-1] for c in machine.called() if c.startswith("systemctl")}
    units = (config_dir() / "systemd").glob("*.service")
    assert told - {"daemon-reload"} <= {unit.stem for unit in units}


@pytest.mark.slow
def test_a_season_goes_on_on_a_new_board(machine, season):
    """The blocks of season.md: a copy on a stick, the board lost, a new one."""
    copy, restore = blocks("season.md", "sh")[1:3]
    kept = machine.folder / "var/lib/bottomheat"
    tokens = TokenFile(tokens_beside(kept / "season.db"))
    secret = tokens.add("phone", May.READ, "2027-02-01T09:00:00Z")
    assert machine.type(copy).returncode == 0
    for place in ("etc/bottomheat", "var/lib/bottomheat"):
        shutil.rmtree(machine.folder / place)
    (machine.folder / "media/stick/season.tokens.json").chmod(0o777)  # as on FAT
    done = machine.type(restore)
    assert done.returncode == 0, done.stderr
    log = machine.folder / "var/lib/bottomheat/season.db"
    assert main(["audit", str(log)]) == 0
    assert found_in(tokens.load() or (), secret) is not None
    assert (kept / "setup.json").exists()
    config = machine.folder / "etc/bottomheat/bench.toml"
    assert load(config, {}).plan.bench == "lean-to"


@pytest.mark.parametrize("name", sorted({*NAMES} - {"benches.md"}))
def test_what_a_guide_tells_to_write_is_a_configuration(name, tmp_path):
    """The list of benches is no such thing, and is asked where it is typed."""
    bench = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    for block in blocks(name, "toml"):
        assert tomllib.loads(block)
        file = tmp_path / "bench.toml"
        file.write_text(f"{bench}\n{block}", encoding="utf-8")
        load(file, {})


@pytest.mark.parametrize("name", NAMES)
def test_links_of_a_guide_lead_somewhere(name):
    text = text_of(name)
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (GUIDES / target).exists(), target
    for path in re.findall(r"`(config/[^`]+)`", text):
        assert (config_dir().parent / path).exists(), path


def test_each_guide_is_named_in_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [n for n in NAMES if f"](config/guides/{n})" not in readme] == []


def test_the_guide_to_wiring_has_each_caution():
    text = text_of("wiring.md").casefold()
    words = (
        "rcd (gfci)", "licensed electrician", "drip loops", "strain relief",
        "splash", "cut-out", "not a safety device", "local codes", "below",
        "second limit", "rated", "never folded",
    )  # fmt: skip
    assert [word for word in words if word not in text] == []
    assert any("cut-out" in caution for caution in CAUTIONS)


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_commands_in_documents_are_ones_that_there_are(name):
    """Each line of a block that begins with bottomheat is held to its options."""
    text = (ROOT / name).read_text(encoding="utf-8")
    lines = re.sub(r"\\\n\s*", "", text).splitlines()
    typed = [line.strip() for line in lines if line.startswith("    bottomheat ")]
    assert typed or name != "README.md"
    for line in typed:
        words = subprocess.run(
            ["/bin/bash", "-c", f"printf '%s\\0' {line}"],
            capture_output=True,
            text=True,
            check=True,
        ).stdout.split("\0")[1:-1]
        build_parser().parse_args(words)


def test_what_an_engineer_types_is_not_on_readmes_first_two_screens():
    """Some 60 lines of a terminal: the grower's."""
    first = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()[:60]
    engineering = next(lines for title, lines in GROUPS if title == "engineering")
    words = [f"bottomheat {name}" for name, _ in engineering] + ["./dev check"]
    typed = [line for line in first if re.match(r"^(    |```)", line)]
    assert [w for w in words if any(w in line for line in typed)] == []
