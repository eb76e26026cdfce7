"""Compiled code as a file: what is kept, for whom, and what is done without it."""

import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from controller.core import relays
from sim.fitting import two_states
from sim.whatif import jit, machine

pytest.importorskip("numba")


class Pair(NamedTuple):
    """Two of what code takes."""

    numbers: np.ndarray
    by: float


def _scaled(pair: Pair, more: tuple[int, bool], found: np.ndarray) -> None:
    times, adds = more
    for row in range(pair.numbers.shape[0]):
        for column in range(pair.numbers.shape[1]):
            one = pair.numbers[row, column] * pair.by * times
            found[row, column] = one + 0.5 if adds else one


@pytest.fixture
def kept(tmp_path, monkeypatch) -> Path:
    """Where code is kept."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path


def files(kept: Path) -> list[Path]:
    return sorted(path for path in kept.rglob("*") if path.is_file())


GRID = np.arange(12.0).reshape(3, 4)


@pytest.mark.parametrize(
    "numbers",
    [GRID, np.asfortranarray(GRID), GRID[::2, ::-1], GRID.T, GRID[:0]],
    ids=["rows", "columns", "strides", "turned", "none"],
)
@pytest.mark.parametrize("kind", [np.float64, np.float32, np.int64])
def test_arguments_of_any_kind_arrive(numbers, kind, kept) -> None:
    given = numbers.astype(kind) if kind is not np.float64 else numbers
    found, plain = np.zeros(numbers.shape), np.zeros(numbers.shape)
    for adds in (True, False):
        args = Pair(given, -0.25), (3, adds)
        jit.compiled(_scaled)(*args, found)
        _scaled(*args, plain)
        np.testing.assert_array_equal(found, plain)


def test_each_kind_of_arguments_has_code_of_its_own(kept) -> None:
    scaled, found = jit.compiled(_scaled), np.zeros(GRID.shape)
    for given in (GRID, GRID + 1, GRID.astype(np.float32), GRID):
        scaled(Pair(given, 2.0), (1, False), found)
        np.testing.assert_array_equal(found, 2.0 * given)
    assert len(files(kept)) == 2


def test_code_for_rows_is_not_taken_for_what_lies_otherwise(kept) -> None:
    scaled = jit.compiled(_scaled)
    for given in (GRID, GRID.T.copy().T, GRID[::2, ::-1], GRID.T, GRID):
        found = np.zeros(given.shape)
        scaled(Pair(given, 2.0), (1, False), found)
        np.testing.assert_array_equal(found, 2.0 * given)


def _halved(found: np.ndarray) -> None:
    found[0] /= 2


def test_names_in_files_are_alike_and_each_is_found(kept, monkeypatch) -> None:
    """In whatever order, compiled or fetched."""
    found = np.full((1, 1), 8.0)
    for anew in range(2):
        scaled, halved = jit.compiled(_scaled), jit.compiled(_halved)
        halved(found[0])
        scaled(Pair(found, 3.0), (1, False), found)
        halved(found[0])
        assert found[0, 0] == 6.0 * 0.75**anew
    assert len(files(kept)) == 2


@pytest.mark.parametrize("strange", ["words", None, np.float32(1.0), [1.0], 1j])
def test_what_is_neither_number_nor_array_is_refused(strange) -> None:
    with pytest.raises(TypeError, match="a number, an array or a tuple of such"):
        jit.compiled(_scaled)(Pair(GRID, strange), (1, False), GRID)


def test_what_is_kept_is_fetched_and_not_compiled(kept, monkeypatch) -> None:
    found = np.zeros(GRID.shape)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), found)
    monkeypatch.setattr(jit, "code_of", None)
    again = np.zeros(GRID.shape)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), again)
    np.testing.assert_array_equal(again, found)


@pytest.mark.parametrize("harm", ["cut", "changed", "emptied"])
def test_a_file_that_is_not_whole_is_compiled_anew_and_mended(harm, kept) -> None:
    """What is in it would be run."""
    found, again = np.zeros(GRID.shape), np.zeros(GRID.shape)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), found)
    (file,) = files(kept)
    whole = bytearray(file.read_bytes())
    harmed = bytes(whole[: len(whole) // 2]) if harm == "cut" else b""
    if harm == "changed":
        whole[-100] ^= 1
        harmed = bytes(whole)
    file.write_bytes(harmed)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), again)
    np.testing.assert_array_equal(again, found)
    assert machine.fetched(file) is not None
    assert files(kept) == [file]


class Features:
    """What a processor of another kind can do."""

    def flatten(self) -> str:
        return "+nothing"


def test_code_is_kept_under_a_name_of_what_it_was_made_of(kept, monkeypatch) -> None:
    binding = pytest.importorskip("llvmlite.binding")
    one = machine.place(_scaled, ("kinds",), "numba-1")
    others = [
        machine.place(_scaled, ("others",), "numba-1"),
        machine.place(_scaled, ("kinds",), "numba-2"),
        machine.place(_halved, ("kinds",), "numba-1"),
    ]
    monkeypatch.setenv("NUMBA_OPT", "1")
    others.append(machine.place(_scaled, ("kinds",), "numba-1"))
    monkeypatch.delenv("NUMBA_OPT")
    monkeypatch.setattr(binding, "get_host_cpu_name", lambda: "another")
    others.append(machine.place(_scaled, ("kinds",), "numba-1"))
    monkeypatch.undo()
    monkeypatch.setenv("XDG_CACHE_HOME", str(kept))
    monkeypatch.setattr(binding, "get_host_cpu_features", Features)
    others.append(machine.place(_scaled, ("kinds",), "numba-1"))
    assert len({one, *others}) == 7
    assert "numba-" in jit._version()
    assert one.parent.parent == kept / "bottomheat"
    assert one.parent.stat().st_mode & 0o777 == 0o700


def test_code_of_other_sources_is_not_taken(kept, tmp_path) -> None:
    """Neither of a changed function, nor of changed parts of the twin."""
    own, places = tmp_path / "own.py", []
    for source in ("def own(): return 1", "def own(): return 2"):
        own.write_text(source)
        names: dict = {"__name__": "own"}
        exec(compile(source, str(own), "exec"), names)  # noqa: S102 - as a module is
        places.append(machine.place(names["own"], (), ""))
    assert places[0] != places[1]
    assert places[0].parent == places[1].parent
    assert places[0].parent.name.startswith("whatif-")


@pytest.mark.parametrize("of", [relays, two_states, machine])
def test_nor_is_code_with_constants_of_others(of, kept, monkeypatch) -> None:
    """Of the core, of the fits, of the twin."""
    read, before = Path.read_bytes, machine.folder()
    assert machine.sources() == machine.SOURCES
    changed = Path(of.__file__)

    def edited(path) -> bytes:
        return read(path) + (b"# another" if path == changed else b"")

    monkeypatch.setattr(Path, "read_bytes", edited)
    assert machine.sources() != machine.SOURCES
    assert machine.folder() == before  # this process is made of what was there
    monkeypatch.setattr(machine, "SOURCES", machine.sources())
    assert machine.folder() != before


def test_who_has_no_home_keeps_it_among_temporary_files(tmp_path, monkeypatch) -> None:
    def homeless(_) -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(Path, "expanduser", homeless)
    monkeypatch.setattr(machine.tempfile, "gettempdir", lambda: str(tmp_path))
    assert Path(machine.folder()).parent == tmp_path


def test_a_folder_behind_a_link_is_not_used(kept, monkeypatch) -> None:
    monkeypatch.setattr(machine.tempfile, "gettempdir", lambda: str(kept / "no"))
    own = Path(machine.folder())
    own.rename(own.with_name("elsewhere"))
    own.symlink_to(own.with_name("elsewhere"))
    (kept / "no").write_text("a file where a folder should be")
    assert machine.folder() == ""


def test_a_file_under_another_name_is_not_taken(kept) -> None:
    found = np.zeros(GRID.shape)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), found)
    (file,) = files(kept)
    assert machine.fetched(file) is not None
    assert machine.fetched(file.rename(file.with_name("another"))) is None


def test_code_that_ends_amiss_says_so(kept, monkeypatch) -> None:
    monkeypatch.setattr(machine, "FINE", ())
    with pytest.raises(RuntimeError, match="ended with"):
        jit.compiled(_halved)(np.ones(1))


def test_a_folder_that_others_may_write_is_not_used(kept, monkeypatch) -> None:
    monkeypatch.setattr(machine.tempfile, "gettempdir", lambda: str(kept / "no"))
    Path(machine.folder()).chmod(0o770)
    (kept / "no").write_text("a file where a folder should be")
    assert machine.folder() == ""
    found = np.zeros(GRID.shape)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), found)
    np.testing.assert_array_equal(found, 2.0 * GRID)
    assert files(kept) == [kept / "no"]


def test_where_nothing_can_be_written_it_is_compiled_all_the_same(kept, monkeypatch):
    """As on a full card, or one that is read-only."""

    def full(path, said) -> object:
        with path.open("wb") as file:
            file.write(said[:100])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    found = np.zeros(GRID.shape)
    jit.compiled(_scaled)(Pair(GRID, 2.0), (1, False), found)
    np.testing.assert_array_equal(found, 2.0 * GRID)
    assert files(kept) == []


LATER = """
import sys
import numpy as np
from sim.fitting import two_states as loops
states, added = (np.zeros(3), np.zeros(3)), (np.ones(3), np.zeros(3))
loops._step_on((0.5, 0.0, 0.0, 0.5, 0.0, 0.0), (8.0, 4.0), added, states)
print(*states[0], *states[1], "numba" in sys.modules)
print({"scipy.linalg", "coverage"} & sys.modules.keys())
import coverage, scipy.linalg
print(coverage.Coverage.__name__, scipy.linalg.expm.__name__)
"""


def test_a_later_start_does_without_numba(tmp_path) -> None:
    """And a first one without what numba would load besides: half a second."""
    # Where tests are counted, children are, too: not these.
    plain = {k: v for k, v in os.environ.items() if not k.startswith("COVERAGE")}
    for compiles in (True, False):
        done = subprocess.run(
            [sys.executable, "-c", LATER],
            capture_output=True,
            text=True,
            check=True,
            env={**plain, "XDG_CACHE_HOME": str(tmp_path)},
        )
        assert done.stdout == (
            f"8.0 5.0 3.5 4.0 2.0 1.0 {compiles}\nset()\nCoverage expm\n"
        )


@pytest.mark.parametrize("name", ["numba", "llvmlite"])
@pytest.mark.parametrize("error", ["", "ImportError", "OSError", "AttributeError"])
def test_without_a_numba_that_works_it_is_plain_python(name, error, tmp_path) -> None:
    """Not installed, or installed and broken."""
    code = f"import sys; sys.modules[{name!r}] = None\n"
    if error:
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text(f"raise {error}('no LLVM')")
        code = f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n"
    done = subprocess.run(
        [sys.executable, "-c", code + LATER.split("print({", maxsplit=1)[0]],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "XDG_CACHE_HOME": str(tmp_path)},
    )
    assert done.stdout.startswith("8.0 5.0 3.5 4.0 2.0 1.0 ")


FUSING = """
import sys
import numpy as np
from sim.whatif import jit, words

def fuses(given, made):
    for v in range(len(given)):
        made[v] = words.fused(given[v], given[v], given[0])

given = np.linspace(-3, 3, 640).astype(np.float32)
made, plain = np.zeros((2, 640), np.float32)
jit.compiled(fuses)(given, made)
fuses(given, plain)
print((made == plain).all(), "numba" in sys.modules)
"""


def test_a_processor_without_fused_sums_says_the_same(tmp_path) -> None:
    """There each of them is a call, of what is in every process."""
    script = tmp_path / "fusing.py"
    script.write_text(FUSING)
    plain = {"NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": ""}
    for compiles in (True, False):
        done = subprocess.run(
            [sys.executable, script],
            capture_output=True,
            text=True,
            check=True,
            env={
                **os.environ,
                **plain,
                "XDG_CACHE_HOME": str(tmp_path),
                "PYTHONPATH": str(Path(jit.__file__).parents[2]),
            },
        )
        assert done.stdout == f"True {compiles}\n"
