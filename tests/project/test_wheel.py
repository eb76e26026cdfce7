"""A wheel, installed in a fresh environment far from the clone, is all there.

The slowest test of all: it makes an environment and installs what the demo
needs, as somebody would who has never seen the clone.
"""

import os
import shutil
import socket
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHIPPED = [
    "pyproject.toml",
    "README.md",
    "LICENSE",
    "controller",
    "api",
    "sim",
    "config",
]

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def run(*command: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command that knows nothing of the clone or of this test run."""
    own = ("BOTTOMHEAT_", "COVERAGE_", "PYTHON", "VIRTUAL_ENV")
    env = {name: text for name, text in os.environ.items() if not name.startswith(own)}
    words = [str(word) for word in command]
    done = subprocess.run(
        words, cwd=cwd, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{words}\n{done.stdout}\n{done.stderr}"
    return done


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Build from a copy: what earlier builds left in a clone would get in."""
    source = tmp_path_factory.mktemp("source")
    for name in SHIPPED:
        if (ROOT / name).is_dir():
            ignored = shutil.ignore_patterns("__pycache__", "*.egg-info")
            shutil.copytree(ROOT / name, source / name, ignore=ignored)
        else:
            shutil.copy(ROOT / name, source)
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", cwd=source)
    (built,) = (source / "dist").glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """Return the folder of programs that `./dev install` makes."""
    home = tmp_path_factory.mktemp("home")
    (home / "bin").mkdir()
    words = ("install", "--into", home / "env", "--extras", "demo")
    words += ("--link", home / "bin")
    said = run(sys.executable, ROOT / "dev", *words, cwd=home).stdout
    assert "Next: sudo bottomheat setup" in said
    assert (home / "bin" / "bottomheat").resolve() == home / "env/bin/bottomheat"
    return home / "env" / "bin"


def test_packages_named_in_pyproject_are_those_that_exist():
    """They are listed by hand, since config/ goes by another name in a wheel."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    named = set(project["tool"]["setuptools"]["packages"])
    found = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for top in ("controller", "api", "sim")
        for path in (ROOT / top).rglob("__init__.py")
    }
    assert named == found | {"controller._config"}


def test_wheel_carries_all_code_and_data_and_nothing_else(wheel):
    def files(top: str, pattern: str) -> set[Path]:
        paths = (ROOT / top).rglob(pattern)
        return {path.relative_to(ROOT) for path in paths if path.is_file()}

    code = files("controller", "*.py") | files("sim", "*.py") | files("api", "*.py")
    page = files("api/page", "*") | files("api/benches_page", "*")
    config = {
        Path("controller/_config", *path.parts[1:]) for path in files("config", "*")
    }
    carried = {Path(name) for name in zipfile.ZipFile(wheel).namelist()}
    carried = {path for path in carried if ".dist-info" not in path.parts[0]}
    assert carried == code | page | config
    assert Path("controller/_config/bench.toml") in carried


def test_demo_runs_from_a_wheel(installed, tmp_path):
    """Its own broker, simulated bench, controller and page, for five seconds."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    program = installed / "bottomheat"
    done = run(program, "demo", "--once", "5", "--port", port, cwd=tmp_path)
    assert "N1" in done.stdout


def test_config_of_a_wheel_is_found(installed, tmp_path):
    code = "from controller.cli.paths import config_dir; print(config_dir())"
    found = Path(run(installed / "python", "-c", code, cwd=tmp_path).stdout.strip())
    assert found.is_relative_to(installed.parent)
    assert (found / "bench.toml").read_bytes() == (
        ROOT / "config" / "bench.toml"
    ).read_bytes()
