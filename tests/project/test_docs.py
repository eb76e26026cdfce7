"""README and DEVELOPERS are held against what the code really has.

Each table of README that is compared stands below an HTML comment that names
it. In the first cell of a row, code spans name what the row is about.
"""

import argparse
import re
from pathlib import Path
from typing import cast

import pytest

from api.app import create_app
from controller import cli
from controller.adapters.settings import known_keys
from controller.core.decisions import AlarmKind, Cause
from controller.core.state import Mode
from controller.ports import Bench, Clock

ROOT = Path(__file__).parents[2]
METHODS = {"GET", "POST", "PUT", "PATCH", "DELETE"}


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def table(name: str) -> list[str]:
    """Return the body rows of the README table below `<!-- name -->`."""
    marker = f"<!-- {name} -->"
    _, found, below = text_of("README.md").partition(marker)
    assert found, f"README.md has no table marked {marker}"
    lines = below.lstrip("\n").splitlines()
    end = next((i for i, line in enumerate(lines) if not line.startswith("|")), None)
    rows = lines[:end][2:]
    assert rows, f"the table below {marker} in README.md has no rows"
    return rows


def first_spans(row: str) -> list[str]:
    """Return the code spans of a row's first cell."""
    first_cell = re.split(r"(?<!\\)\|", row)[1]
    return [span.replace("\\|", "|") for span in re.findall(r"`([^`]+)`", first_cell)]


def subparsers() -> dict[str, argparse.ArgumentParser]:
    parser = cli.build_parser()
    (action,) = (
        action
        for action in parser._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    return dict(action.choices)


def words_of(parser: argparse.ArgumentParser) -> set[str]:
    """Return a command's long options and the names of its arguments."""
    words: set[str] = set()
    for action in parser._actions:
        if action.option_strings:
            words |= {word for word in action.option_strings if word.startswith("--")}
        else:
            words.add(str(action.metavar or action.dest).upper())
    return words - {"--help"}


def documented() -> dict[str, str]:
    """Return the rows of the table of commands by the command's name."""
    return {first_spans(row)[0].split()[0]: row for row in table("commands")}


def documented_words(row: str) -> set[str]:
    usage = re.sub(r"--[a-z-]+( [^\]\s]+)?", " ", " ".join(first_spans(row)))
    arguments = {word for word in re.split(r"[\[\]\s.]+", usage) if word.isupper()}
    return arguments | set(re.findall(r"--[a-z][a-z-]*", row))


def test_every_command_is_in_readme_and_no_other():
    assert sorted(documented()) == sorted(cli.COMMANDS)


@pytest.mark.parametrize("command", cli.COMMANDS)
def test_readme_names_all_that_a_command_takes(command):
    """Options anywhere in the row; arguments in capitals in its first cell."""
    assert documented_words(documented()[command]) == words_of(subparsers()[command])


def test_help_names_each_command_with_its_own_line():
    """The frame's list, which imports no command, says what the modules say."""
    action = cli.build_parser()._subparsers
    assert action is not None
    (commands,) = action._group_actions
    own = {choice.dest: choice.help for choice in commands._get_subactions()}
    listed = {name: line for _, lines in cli.GROUPS for name, line in lines}
    assert own == listed


def test_every_setting_is_in_readme_and_no_other():
    documented = [key for row in table("settings") for key in first_spans(row)]
    assert sorted(documented) == sorted(known_keys())


def test_every_route_is_in_readme_and_no_other():
    app = create_app(cast("Bench", None), None, cast("Clock", None))
    served = {
        f"{method.upper()} {path}"
        for path, operations in app.openapi()["paths"].items()
        for method in operations
        if method.upper() in METHODS
    }
    documented = [route for row in table("routes") for route in first_spans(row)]
    assert sorted(documented) == sorted(served)


def test_every_cause_mode_and_alarm_is_explained():
    explained = text_of("README.md") + text_of("DEVELOPERS.md")
    words = [word.value for word in (*Cause, *Mode, *AlarmKind)]
    assert [word for word in words if f"`{word}`" not in explained] == []


@pytest.mark.parametrize(
    "name", ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "requirements.lock"]
)
def test_documents_promise_no_more_than_is_true(name):
    """No claim of safety, nothing unfinished, no place on somebody's machine."""
    said = text_of(name)
    claims = r"fail-?safe|fool-?proof|guarantee|\bTODO\b|\bFIXME\b|\bTBD\b"
    assert re.findall(claims, said, re.IGNORECASE) == []
    assert re.findall(r"(?<![\w.~-])/(?:home|root|tmp|work)/", said) == []
    for sentence in re.split(r"(?<=[.!?:])\s", said):
        if "safety device" in sentence:
            assert re.search(r"\b(not|never|no)\b", sentence), sentence
