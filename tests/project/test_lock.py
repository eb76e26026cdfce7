"""requirements.lock pins all that is installed, for every supported Python."""

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))[
    "project"
]


def pins() -> dict[str, str]:
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    pairs = (line.partition("==") for line in lines if not line.startswith("#"))
    return {name: version for name, _, version in pairs}


def needs_of(extra: str) -> list[Requirement]:
    """Return what an extra needs, with the extras that it stands on."""
    found: list[Requirement] = []
    for text in PROJECT["optional-dependencies"][extra]:
        need = Requirement(text)
        inner = need.extras if need.name == PROJECT["name"] else ()
        found += [deeper for name in inner for deeper in needs_of(name)] or [need]
    return found


def installed_closure(needs: list[Requirement]) -> set[str]:
    """Return the names of all that is installed on behalf of some needs."""
    seen: set[str] = set()
    waiting = [(need, "") for need in needs]
    while waiting:
        need, extra = waiting.pop()
        if need.marker and not need.marker.evaluate({"extra": extra}):
            continue
        name = canonicalize_name(need.name)
        again = name in seen and not need.extras
        seen.add(name)
        if not again:
            deeper = metadata.distribution(name).requires or []
            waiting += [
                (Requirement(text), wanted)
                for text in deeper
                for wanted in ("", *need.extras)
            ]
    return seen


def test_every_line_is_one_exact_version_and_names_no_place():
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    wrong = [
        line
        for line in lines
        if not re.fullmatch(r"[a-z0-9][a-z0-9-]*==[0-9][0-9a-z.]*|# .*", line)
    ]
    assert wrong == []
    assert "://" not in "\n".join(lines)
    assert list(pins()) == sorted(pins())


@pytest.mark.parametrize("extra", PROJECT["optional-dependencies"])
def test_pinned_versions_are_ones_that_the_project_admits(extra):
    base = [Requirement(text) for text in PROJECT["dependencies"]]
    for need in base + needs_of(extra):
        assert need.specifier.contains(pins()[canonicalize_name(need.name)]), need


def test_everything_that_demo_and_tests_bring_along_is_pinned():
    """What was not pinned would be another version on another day."""
    base = [Requirement(text) for text in PROJECT["dependencies"]]
    brought = installed_closure(base + needs_of("test"))
    assert {"pytest", "numpy", "paho-mqtt", "websockets"} <= brought
    assert brought - pins().keys() == set()


def test_installed_versions_are_the_pinned_ones():
    base = [Requirement(text) for text in PROJECT["dependencies"]]
    brought = installed_closure(base + needs_of("test"))
    installed = {name: metadata.version(name) for name in brought}
    pinned = {name: version for name, version in pins().items() if name in brought}
    assert installed == pinned, "the environment is not the lock's: use ./dev test"
