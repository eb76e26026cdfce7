"""./dev makes its environment once, and never believes in half of one.

What takes minutes or a network is replaced: making an environment and pip.
"""

import ast
import importlib.util
import subprocess
import sys
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "dev"

NEEDS = """
[build-system]
requires = []
[project]
name = "bottomheat"
[tool.setuptools]
packages = []
[tool.ruff]
line-length = 88
"""


@pytest.fixture
def dev(tmp_path, monkeypatch) -> ModuleType:
    """Return the script as a module that works in a folder of its own.

    Its attribute `installs` counts what was asked of pip, by level.
    """
    loader = SourceFileLoader("dev_script", str(SCRIPT))
    spec = importlib.util.spec_from_loader("dev_script", loader)
    assert spec is not None
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    venv = tmp_path / ".venv"
    for name, path in {
        "ROOT": tmp_path,
        "VENV": venv,
        "BIN": venv / "bin",
        "MADE_BY": venv / "made-by-dev.txt",
        "STAMP": venv / "level.stamp",
        "LOCK": tmp_path / "requirements.lock",
        "PROJECT": tmp_path / "pyproject.toml",
    }.items():
        monkeypatch.setattr(module, name, path)
    module.LOCK.write_text("six==1.17.0\n")
    module.PROJECT.write_text(NEEDS)
    levels = {"demo": ["json"], "test": ["json", "csv"], "dev": ["json", "ast"]}
    monkeypatch.setattr(module, "LEVELS", levels)
    module.installs = []

    def make_venv(folder: Path) -> None:
        (folder / "bin").mkdir()
        (folder / "bin" / "python").symlink_to(sys.executable)

    module.really_make_venv = module._make_venv
    monkeypatch.setattr(module, "_make_venv", make_venv)
    monkeypatch.setattr(module, "_install", module.installs.append)
    return module


def test_environment_is_made_once(dev):
    dev._need("test")
    dev._need("test")
    dev._need("demo")
    assert dev.installs == ["test"]


def test_a_higher_level_adds_to_the_environment_that_is_there(dev):
    dev._need("demo")
    (dev.VENV / "kept").touch()
    dev._need("dev")
    dev._need("test")
    assert dev.installs == ["demo", "dev"]
    assert (dev.VENV / "kept").exists()


@pytest.mark.parametrize("changed", ["LOCK", "PROJECT"])
def test_environment_is_made_anew_when_versions_or_needs_change(dev, changed):
    dev._need("demo")
    (dev.VENV / "old").touch()
    path = getattr(dev, changed)
    text = path.read_text()
    path.write_text(
        text.replace("1.17", "1.16").replace("packages = []", "packages=['a']")
    )
    dev._need("demo")
    assert dev.installs == ["demo", "demo"]
    assert not (dev.VENV / "old").exists()


def test_environment_stays_when_only_a_checker_s_settings_change(dev):
    dev._need("demo")
    dev.PROJECT.write_text(NEEDS.replace("88", "99"))
    dev._need("demo")
    assert dev.installs == ["demo"]


def test_the_environment_s_own_python_can_have_it_made_anew(dev, monkeypatch):
    ran = []
    monkeypatch.setattr(dev.subprocess, "run", lambda words, **_: ran.append(words))
    monkeypatch.setattr(sys, "executable", str(dev.BIN / "python"))
    monkeypatch.setattr(sys, "_base_executable", "/usr/bin/python3")
    dev.really_make_venv(dev.VENV)
    assert ran == [["/usr/bin/python3", "-m", "venv", dev.VENV]]


def test_an_interrupted_install_is_begun_again(dev, monkeypatch):
    def interrupted(level: str) -> None:
        raise KeyboardInterrupt

    dev._need("demo")
    with monkeypatch.context() as patch:
        patch.setattr(dev, "_install", interrupted)
        with pytest.raises(KeyboardInterrupt):
            dev._need("test")
    (dev.VENV / "half").touch()
    dev._need("demo")
    assert dev.installs == ["demo", "demo"]
    assert not (dev.VENV / "half").exists()


def test_a_broken_environment_is_made_anew(dev):
    dev._need("demo")
    (dev.BIN / "python").unlink()
    (dev.BIN / "python").symlink_to("/nonexistent/python")
    dev._need("demo")
    assert dev.installs == ["demo", "demo"]


def test_an_environment_that_lacks_a_package_is_made_anew(dev, monkeypatch):
    dev._need("demo")
    monkeypatch.setitem(dev.LEVELS, "demo", ["no_such_package_here"])
    dev._need("demo")
    assert dev.installs == ["demo", "demo"]


def test_an_environment_of_somebody_else_is_left_alone(dev):
    (dev.VENV / "theirs").mkdir(parents=True)
    with pytest.raises(dev.SetupError, match="not made by this script"):
        dev._need("demo")
    assert (dev.VENV / "theirs").exists()
    assert dev.installs == []


def test_a_python_without_ensurepip_is_told_which_package_helps(dev, monkeypatch):
    monkeypatch.setattr(dev.importlib.util, "find_spec", lambda _: None)
    monkeypatch.setattr(dev.os, "geteuid", lambda: 1000)
    with pytest.raises(
        dev.SetupError, match=r"sudo apt-get install python3\.\d+-venv$"
    ):
        dev._need_ensurepip()


def test_as_root_the_missing_package_is_installed_after_saying_so(
    dev, monkeypatch, capsys
):
    commands: list[list[str]] = []
    monkeypatch.setattr(dev.importlib.util, "find_spec", lambda _: None)
    monkeypatch.setattr(dev.os, "geteuid", lambda: 0)
    monkeypatch.setattr(dev.shutil, "which", lambda _: "/usr/bin/apt-get")
    monkeypatch.setattr(
        dev.subprocess, "run", lambda command, **_: commands.append(command)
    )
    dev._need_ensurepip()
    assert "installing it with apt-get" in capsys.readouterr().out
    assert [command[2] for command in commands] == ["update", "install"]


def test_an_older_python_is_turned_away_in_words(dev, monkeypatch, capsys):
    monkeypatch.setattr(dev.sys, "version_info", (3, 9, 18))
    assert dev.main() == 2
    assert "needs Python 3.11 or newer and this is 3.9" in capsys.readouterr().err


def test_an_older_python_can_read_the_script():
    """Its grammar is that of 3.7, and nothing newer runs before the check."""
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 7))
    assert ast.get_docstring(tree)


def test_the_script_needs_the_standard_library_alone():
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"))
    imported = {
        name.partition(".")[0]
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert imported <= sys.stdlib_module_names


def test_help_names_every_command_in_words():
    done = subprocess.run(
        [sys.executable, SCRIPT, "--help"],
        cwd="/",
        capture_output=True,
        text=True,
        check=True,
    )
    for command in ("demo", "test", "cover", "check", "timings", "lock"):
        assert f"\n    {command} " in done.stdout


@pytest.mark.parametrize("command", ["check", "timings"])
def test_an_unknown_checker_or_benchmark_is_refused_with_the_known_ones(
    command, dev, monkeypatch, capsys
):
    monkeypatch.setattr(dev, "_need", lambda _: None)
    monkeypatch.setattr(sys, "argv", ["dev", command, "nonsense"])
    assert dev.main() == 2
    assert "dev: no nonsense; there are: " in capsys.readouterr().err


def test_the_program_gets_a_link_and_what_is_there_already_is_left_alone(
    dev, tmp_path, capsys
):
    program = tmp_path / "env" / "bottomheat"
    program.parent.mkdir()
    program.touch()
    assert dev._linked(tmp_path, program) == "bottomheat"
    assert (tmp_path / "bottomheat").resolve() == program
    assert dev._linked(tmp_path, program) == "bottomheat"
    (tmp_path / "bottomheat").unlink()
    (tmp_path / "bottomheat").write_text("somebody else's")
    assert dev._linked(tmp_path, program) == str(program)
    assert "left alone" in capsys.readouterr().out
    assert (tmp_path / "bottomheat").read_text() == "somebody else's"


@pytest.mark.parametrize(("code", "advice"), [(0, "--system-packages"), (100, "MQTT")])
def test_without_a_pin_library_it_says_what_this_system_has(
    dev, monkeypatch, code, advice
):
    """apt-cache show ends with 100 where there is no such package."""
    monkeypatch.setattr(dev.shutil, "which", lambda _: "/usr/bin/apt-cache")
    done = subprocess.CompletedProcess([], code)
    monkeypatch.setattr(dev.subprocess, "run", lambda *_, **__: done)
    assert advice in dev._pin_advice()


def test_cover_runs_every_folder_of_tests_once_and_tells_of_both_halves(
    dev, monkeypatch, tmp_path, capfd
):
    for folder in ("core", "sim", *dev.WAITING):
        (tmp_path / "tests" / folder).mkdir(parents=True)
        (tmp_path / "tests" / folder / "test_some.py").touch()
    python = tmp_path / "python"
    python.write_text('#!/bin/sh\necho "ran $*"\ncase "$*" in *core*) exit 3;; esac\n')
    python.chmod(0o755)
    for name, value in (("ROOT", tmp_path), ("BIN", tmp_path)):
        monkeypatch.setattr(dev, name, value)
    monkeypatch.setattr(dev, "_need", lambda _: None)
    assert dev.cover([]) == 3
    ran = [line for line in capfd.readouterr().out.splitlines() if "pytest" in line]
    folders = [word for line in ran for word in line.split() if "tests/" in word]
    assert len(ran) == 2
    assert sorted(folders) == sorted(
        f"tests/{folder}" for folder in ("core", "sim", *dev.WAITING)
    )


def test_folders_that_wait_are_there(dev):
    for folder in dev.WAITING:
        assert list((ROOT / "tests" / folder).glob("test_*.py"))
