"""The frame of the command line: help, mistakes, errors in words, exit codes."""

import argparse
import json
import subprocess
import sys
from collections.abc import Callable
from importlib import metadata
from pathlib import Path
from types import SimpleNamespace

import pytest

from controller import cli
from controller.adapters.season_log import LogError
from controller.adapters.settings import Finding, SettingsError
from controller.cli.paths import config_dir

ROOT = Path(__file__).parents[2]


@pytest.fixture
def trays_does(monkeypatch) -> Callable[[Callable[[], int]], None]:
    """Put something else in the place of `bottomheat trays`."""

    def put(work: Callable[[], int]) -> None:
        def add_parser(commands: cli.Subparsers) -> None:
            commands.add_parser("trays").add_argument("--url")

        def run(_: argparse.Namespace) -> int:
            return work()

        fake = SimpleNamespace(add_parser=add_parser, run=run)
        monkeypatch.setattr(cli, "_module", lambda _: fake)

    return put


def raising(error: BaseException) -> Callable[[], int]:
    def work() -> int:
        raise error

    return work


def exit_code_of(*words: str) -> int | str | None:
    with pytest.raises(SystemExit) as stopped:
        cli.main(words)
    return stopped.value.code


def test_help_lists_all_commands_in_groups(capsys):
    assert exit_code_of("--help") == 0
    said = capsys.readouterr().out
    for title, lines in cli.GROUPS:
        _, found, below = said.partition(f"{title}:\n")
        assert found
        for name, line in lines:
            assert f"  {name:12}  {line}\n" in below.partition("\n\n")[0] + "\n"


def test_help_imports_no_command_and_nothing_slow():
    """Else it would take a second or more on a small board."""
    code = (
        "import json, sys\n"
        "before = set(sys.modules)\n"
        "from controller import cli\n"
        "try:\n    cli.main(['--help'])\n"
        "except SystemExit:\n    print(json.dumps(sorted({*sys.modules} - before)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = json.loads(done.stdout.splitlines()[-1])
    ours = [name for name in loaded if name.split(".")[0] in {"controller", "api"}]
    assert ours == ["controller", "controller.cli"]
    slow = {"asyncio", "pydantic", "starlette", "numpy", "dataclasses"}
    assert slow.isdisjoint(loaded)


def test_version_is_the_one_of_the_installed_package(capsys, monkeypatch):
    monkeypatch.setattr("importlib.metadata.version", lambda name: f"7 of {name}")
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == "bottomheat 7 of bottomheat\n"


def test_version_of_sources_that_are_not_installed_is_said_in_words(
    capsys, monkeypatch
):
    def absent(name: str) -> str:
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "version", absent)
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == "bottomheat of sources that are not installed\n"


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ([], "required: COMMAND"),
        (["heat"], "invalid choice: 'heat'"),
        (["trays", "--colour"], "unrecognized arguments: --colour"),
    ],
)
def test_wrong_usage_is_told_on_stderr_with_exit_2(
    words, complaint, capsys, trays_does
):
    trays_does(lambda: 0)
    assert exit_code_of(*words) == 2
    said = capsys.readouterr()
    assert complaint in said.err
    assert said.out == ""


@pytest.mark.parametrize("code", [0, 1, 2])
def test_exit_code_is_the_command_s_own(code, trays_does):
    trays_does(lambda: code)
    assert cli.main(["trays"]) == code


def test_words_of_the_process_are_used_where_none_are_given(monkeypatch, trays_does):
    trays_does(lambda: 1)
    monkeypatch.setattr(sys, "argv", ["bottomheat", "trays", "--url", "x"])
    assert cli.main() == 1


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (LogError("season.db is no season log"), "season.db is no season log"),
        (
            SettingsError([Finding("mat north: power", "9", "write a unit", "b.toml")]),
            "b.toml: mat north: power = 9: write a unit",
        ),
        (FileNotFoundError(2, "No such file", "room.csv"), "room.csv: No such file"),
    ],
)
def test_errors_meant_for_people_are_told_in_one_line_with_exit_2(
    error, sentence, capsys, trays_does
):
    trays_does(raising(error))
    assert cli.main(["trays"]) == 2
    assert capsys.readouterr().err == f"bottomheat trays: {sentence}\n"


@pytest.mark.parametrize("bug", [ValueError("bug"), OSError("bug"), KeyError("bug")])
def test_a_bug_keeps_its_traceback(bug, trays_does):
    trays_does(raising(bug))
    with pytest.raises(type(bug), match="bug"):
        cli.main(["trays"])


def test_interrupted_by_a_person_is_exit_130_without_a_traceback(capsys, trays_does):
    trays_does(raising(KeyboardInterrupt()))
    assert cli.main(["trays"]) == 130
    assert capsys.readouterr().err == ""


def test_a_reader_that_has_seen_enough_is_no_error():
    """As in `bottomheat trays | head -1`."""
    code = (
        "import sys, types\n"
        "from controller import cli\n"
        "def run(args):\n"
        "    while True:\n"
        "        print('line')\n"
        "add = lambda commands: commands.add_parser('trays')\n"
        "cli._module = lambda name: types.SimpleNamespace(add_parser=add, run=run)\n"
        "sys.exit(cli.main(['trays']))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == "line\n"
        process.stdout.close()
        assert process.stderr.read() == ""
        assert process.wait() == 0


def test_python_m_controller_is_the_same_program():
    done = subprocess.run(
        [sys.executable, "-m", "controller", "--help"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith("usage: bottomheat ")


def test_config_of_a_clone_is_its_top_folder():
    assert config_dir() == ROOT / "config"
    assert (config_dir() / "bench.toml").is_file()
