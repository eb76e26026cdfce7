"""The core decides and does nothing else: it cannot even reach the world."""

import subprocess
import sys
from pathlib import Path

import grimp
import simple_pid

ROOT = Path(__file__).parents[2]

ALLOWED = {
    "__future__",
    "collections",
    "dataclasses",
    "enum",
    "math",
    "simple_pid",
    "typing",
}

BARE_IMPORT = """
import sys
sys.path[:0] = {folders!r}
import dataclasses, simple_pid
for name in {withheld!r}:
    sys.modules[name] = None
import {module}
"""

WITHHELD = [
    "asyncio",
    "datetime",
    "json",
    "logging",
    "os.path",
    "pathlib",
    "random",
    "socket",
    "sqlite3",
    "subprocess",
    "time",
    "tomllib",
    "zoneinfo",
]


def bare_import(module: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Import a module without site-packages, simple-pid alone beside the core."""
    (folder / "simple_pid").symlink_to(Path(simple_pid.__file__).parent)
    code = BARE_IMPORT.format(
        folders=[str(ROOT), str(folder)], withheld=WITHHELD, module=module
    )
    return subprocess.run(
        [sys.executable, "-I", "-S", "-c", code],
        capture_output=True,
        text=True,
        check=False,
    )


def test_core_imports_nothing_but_the_allowed_list():
    """A list of what is forbidden would forget something; this one cannot."""
    graph = grimp.build_graph("controller", include_external_packages=True)
    core = {"controller.core"} | graph.find_descendants("controller.core")
    outside = {
        (module, imported)
        for module in core
        for imported in graph.find_modules_directly_imported_by(module)
        if imported not in core and imported not in ALLOWED
    }
    assert "controller.core.step" in core
    assert outside == set()


def test_core_imports_with_the_world_withheld(tmp_path):
    done = bare_import("controller.core.step", tmp_path)
    assert (done.returncode, done.stderr) == (0, "")


def test_withholding_the_world_is_noticed_outside_the_core(tmp_path):
    """What the test above relies on: a module that needs a clock fails so."""
    done = bare_import("controller.adapters.clocks", tmp_path)
    assert done.returncode == 1
    assert "ModuleNotFoundError: import of" in done.stderr
