"""Functions that stand aside: compiled by themselves, by whoever can, all the same."""

import os
import pickle
import subprocess
from pathlib import Path

import numpy as np
import pytest

from sim.whatif import beside, jit, machine
from tests.sim import whatif_asides as work
from tests.sim.whatif_asides import Heap

pytest.importorskip("numba")


@pytest.fixture(autouse=True)
def kept(tmp_path, monkeypatch) -> Path:
    """Where code is kept; there is a numba, which was tried."""
    assert jit._numba().ours
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path


@pytest.fixture
def made_here(monkeypatch) -> list[str]:
    """Return the names of what this process makes."""
    made, code_of = [], jit.code_of

    def noted(function, *more) -> machine.Code:
        made.append(function.__name__)
        return code_of(function, *more)

    monkeypatch.setattr(jit, "code_of", noted)
    return made


def heap(kind=np.float64) -> Heap:
    wide = np.arange(12.0).reshape(3, 4).astype(kind)
    return Heap(wide, np.zeros(3, np.float32))


def comes_out_right(function, given=heap) -> None:
    for doubles, rows in ((False, [6.5, 22.5, 38.5]), (True, [12.5, 44.5, 76.5])):
        own, found = given(), np.zeros(5)
        function(own, doubles, 1, found)
        assert found.tolist() == [*rows, 1.0, 2.0 if not doubles else 3.0]
        assert own.wide.tolist() == [[0, 1, 2, 3], [0] * 4, [8, 9, 10, 11]]
        assert own.half.tolist() == [row - 0.5 for row in rows]


def test_in_python_it_is_a_function_like_others() -> None:
    comes_out_right(work.worked)


def two_cores(monkeypatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1})


def test_another_process_makes_what_stands_aside(made_here, monkeypatch) -> None:
    two_cores(monkeypatch)
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert made_here == ["worked"]


def test_it_is_kept_and_fetched_as_one(made_here, monkeypatch) -> None:
    two_cores(monkeypatch)
    comes_out_right(jit.compiled(work.worked, work.asides))
    monkeypatch.setattr(jit, "helper", None)  # nobody is asked
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert made_here == ["worked"]


def test_with_one_core_all_is_made_here(made_here, monkeypatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0})
    monkeypatch.setattr(subprocess, "Popen", None)
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert made_here == ["worked", "added", "places", "cleared"]


@pytest.mark.parametrize(
    "begin",
    [
        "raise SystemExit(1)",
        "import os; os.write({to}, b'I: hello')",
        "import os; os.write({to}, b'coverage started\\nnow')",
        "import pickle, os; os.write({to}, pickle.dumps([1, 'two']))",
        "pass",
        "import os, signal; os.kill(os.getpid(), signal.SIGKILL)",
        "import time; time.sleep(600)",
    ],
)
def test_where_the_other_fails_all_is_made_here(begin, made_here, monkeypatch) -> None:
    two_cores(monkeypatch)
    monkeypatch.setattr(beside, "BEGIN", begin)
    monkeypatch.setattr(beside, "PATIENCE_S", 1.0)
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert made_here == ["worked", "added", "places", "cleared"]


def test_what_others_print_as_it_begins_is_not_its_answer(
    made_here, monkeypatch
) -> None:
    two_cores(monkeypatch)
    monkeypatch.setattr(beside, "BEGIN", f"print('I: hi'); {beside.BEGIN}")
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert made_here == ["worked"]


def test_one_of_another_release_does_not_help(made_here, monkeypatch) -> None:
    """It may have been installed since this process began."""
    two_cores(monkeypatch)
    monkeypatch.setattr(beside, "SOURCES", "of another release")
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert made_here == ["worked", "added", "places", "cleared"]


def test_a_helper_has_no_helper(made_here, monkeypatch) -> None:
    two_cores(monkeypatch)
    monkeypatch.setenv(beside.HELPS, "1")
    monkeypatch.setattr(subprocess, "Popen", None)
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert len(made_here) == 4


@pytest.mark.parametrize("writeable", [True, False])
@pytest.mark.parametrize("numbers", [np.ones((3, 4)), np.zeros((0, 2), np.float32)])
def test_it_is_told_of_arrays_of_the_same_kind(numbers, writeable) -> None:
    numbers.flags.writeable = writeable
    told = pickle.loads(pickle.dumps(beside._small((numbers,)), protocol=5))  # noqa: S301
    assert machine.form(told) == machine.form((numbers,))
    assert told[0].size <= 1


def test_no_interpreter_can_be_started(made_here, monkeypatch) -> None:
    two_cores(monkeypatch)
    monkeypatch.setattr("sys.executable", "/nowhere/python")
    comes_out_right(jit.compiled(work.worked, work.asides))
    assert len(made_here) == 4


def test_what_the_other_made_for_other_arguments_is_not_taken(
    made_here, monkeypatch
) -> None:
    """It cannot tell how a larger array lies, in rows or columns."""
    two_cores(monkeypatch)

    def columns() -> Heap:
        return Heap(np.asfortranarray(heap().wide), np.zeros(3, np.float32))

    comes_out_right(jit.compiled(work.worked, work.asides), columns)
    assert made_here == ["worked", "added", "places", "cleared"]


def test_what_is_not_told_of_is_refused() -> None:
    with pytest.raises(RuntimeError, match=r"^worked calls .*whatif_asides\.added"):
        jit.compiled(work.worked, work.some)(heap(), True, 1, np.zeros(5))


def test_one_that_raises_ends_what_called_it() -> None:
    function, found = jit.compiled(work.worked, work.asides), np.zeros(5)
    with pytest.raises(RuntimeError, match=r"worked.* ended with"):
        function(heap(), True, 7, found)
    assert found[-1] == 3.0
    assert found[-2] == 0.0


def test_no_process_is_left_behind(monkeypatch) -> None:
    two_cores(monkeypatch)
    begun, popen = [], subprocess.Popen

    def noted(*args, **keywords) -> subprocess.Popen:
        begun.append(popen(*args, **keywords))
        return begun[-1]

    monkeypatch.setattr(subprocess, "Popen", noted)
    monkeypatch.setattr(jit, "code_of", None)
    with pytest.raises(TypeError):
        jit.compiled(work.worked, work.asides)(heap(), True, 1, np.zeros(5))
    assert [one.returncode is not None for one in begun] == [True]
