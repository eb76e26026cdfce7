"""How the twin is compiled; what it then does is in test_whatif."""

import ast
import gc
import os
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations
from math import erf
from pathlib import Path

import numpy as np
import pytest

from sim.fitting import three_states, two_states
from sim.whatif import compiling, jit, machine
from sim.zone_model import Zone, steps

pytest.importorskip("numba")


@pytest.fixture(autouse=True)
def _nothing_kept(monkeypatch) -> None:
    """What an earlier run kept would not be compiled."""
    monkeypatch.setattr(machine, "place", lambda *_: None)


@jit.inlined
def _doubled(value: float) -> float:
    return 2 * value


def _more(values: np.ndarray) -> None:
    values[0] = _doubled(_doubled(values[0])) + _doubled(1)


def told(what, value: float) -> float:
    """What a function makes of a value, in its compiled form."""
    values = np.array([value])
    jit.compiled(what)(values)
    return float(values[0])


def test_numba_has_the_doors_that_we_go_through() -> None:
    """Without them a start takes twice as long, and nothing else tells."""
    assert compiling.part_compiler() is not None
    assert told(_more, 3.0) == 14.0
    function = jit.compiled(_more)
    function(np.array([3.0]))
    assert next(iter(function._made.values())).__module__ == machine.__name__


def test_nothing_is_built_by_numba_but_the_whole_and_that_is_not_loaded(monkeypatch):
    built = []
    library = pytest.importorskip("numba.core.codegen").JITCodeLibrary
    finalized = library._finalize_specific

    def noted(self) -> None:
        built.append(self.name)
        finalized(self)

    monkeypatch.setattr(library, "_finalize_specific", noted)
    assert told(_more, 3.0) == 14.0
    assert set(built) <= {"nrt"}  # what counts references


ELSEWHERE = """
import sys
import numpy as np
from numba.core import compiler
from sim.whatif import compiling, jit
{hurts}

@jit.inlined
def cut(value):
    return float(int(value)) * 0.5

def halved(values):
    values[0] = cut(values[0])

values = np.array([7.75])
function = jit.compiled(halved)
function(values)
made = next(iter(function._made.values()))
print(values[0], jit._numba().ours, bool(made.signatures))
"""


@pytest.mark.parametrize(
    "hurts", ["del compiler.CompilerBase", "compiling._emitted = None"]
)
def test_where_numbas_doors_are_elsewhere_it_goes_its_own_way(hurts, tmp_path) -> None:
    env = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    script = tmp_path / "elsewhere.py"
    script.write_text(ELSEWHERE.format(hurts=hurts))
    done = subprocess.run(
        [sys.executable, script],
        env={
            **env,
            "XDG_CACHE_HOME": str(tmp_path),
            "PYTHONPATH": str(Path(jit.__file__).parents[2]),
        },
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "3.5 False True\n"
    assert list(tmp_path.rglob("*.nbi")), "it is kept all the same"


def _erred(values: np.ndarray) -> None:
    values[0] = erf(values[0])


def test_what_calls_others_is_refused() -> None:
    """Where those are only numba knows, and the next start has none."""
    with pytest.raises(RuntimeError, match=r"^_erred calls erf$"):
        told(_erred, 0.5)


def test_two_threads_compile_a_function_once(monkeypatch) -> None:
    made, code_of = [], compiling.code_of

    def noted(*args) -> object:
        made.append(args[0])
        return code_of(*args)

    monkeypatch.setattr(jit, "code_of", noted)
    function, rows = jit.compiled(_more), [np.array([float(n)]) for n in range(8)]
    with ThreadPoolExecutor(4) as threads:
        list(threads.map(function, rows))
    assert [float(row[0]) for row in rows] == [4.0 * n + 2 for n in range(8)]
    assert made.count(_more) == 1  # numba itself is tried first, with another


def test_no_part_is_handed_the_same_array_twice() -> None:
    """Numba is told so: what is written to one is not looked for in the other."""
    arrays, found = set("szhr") | {"heat", "heard", "told", "daily"}, 0
    for path in sorted(Path(compiling.__file__).parent.glob("*.py")):
        for call in ast.walk(ast.parse(path.read_text())):
            if isinstance(call, ast.Call):
                handed = [a.id for a in call.args if isinstance(a, ast.Name)]
                handed = [name for name in handed if name in arrays]
                assert len(handed) == len(set(handed)), (path.name, call.lineno)
                found += len(handed) > 1
    assert found > 50


@pytest.mark.parametrize("loops", [two_states, three_states])
def test_nor_are_the_loops_of_a_fit(loops, monkeypatch) -> None:
    """Of what they take in tuples no two share memory, even where values are alike."""
    handed: list[list[np.ndarray]] = []

    def noting(what):
        def noted(*args):
            handed.append(list(_arrays(args)))
            return what(*args)

        return noted

    for name in ("_step_on", "_forward", "_backward"):
        monkeypatch.setattr(loops, name, noting(getattr(loops, name)))
    three = loops is three_states
    zone = Zone(
        name="N1",
        gain_k=14.0,
        mat_s=700.0,
        medium_s=9000.0,
        coupling=0.15,
        between_s=3_000.0 if three else None,
    )
    step, count, parts = steps(zone, 60.0), 20, 3 if three else 2
    same = np.full(count, 20.0)
    known = np.column_stack([same] * parts)
    pushes = np.full(count, 1e-5), np.zeros(count, np.bool_)
    smoothed = loops.smoothed_three if three else loops.smoothed_two
    stepped = loops.stepped_three if three else loops.stepped_two
    smoothed(step, known, same, pushes, (0.03, 1))
    stepped(step, np.full(parts, 20.0), known)
    assert len(handed) == 3
    for arrays in handed:
        assert len(arrays) > 3
        for one, other in combinations(arrays, 2):
            assert not np.shares_memory(one, other)


def _arrays(handed) -> Iterator[np.ndarray]:
    """All arrays in tuples of tuples."""
    for one in handed:
        if isinstance(one, np.ndarray):
            yield one
        elif isinstance(one, tuple):
            yield from _arrays(one)


@pytest.mark.parametrize("collects", [gc.enable, gc.disable])
def test_garbage_is_looked_for_after_it_is_compiled_as_before(collects) -> None:
    def truth(values: np.ndarray) -> None:
        values[0] = 1.0 if values[0] > 1.0 else 0.0

    was = gc.isenabled()
    try:
        collects()
        before = gc.isenabled(), gc.get_threshold()
        assert told(truth, 2.0) == 1.0
        assert (gc.isenabled(), gc.get_threshold()) == before
    finally:
        (gc.enable if was else gc.disable)()


@pytest.mark.parametrize(("level", "meanwhile"), [("3", 2), ("1", 1)])
def test_code_is_made_no_quicker_than_is_of_use(monkeypatch, level, meanwhile) -> None:
    """And what numba compiles for others afterwards is as quick as ever."""
    config = pytest.importorskip("numba.core.config")
    codegen = pytest.importorskip("numba.core.codegen")
    asked, passes = [], codegen.CPUCodegen._module_pass_manager

    def noted(self, **kwargs) -> object:
        asked.append(int(config.OPT))
        return passes(self, **kwargs)

    monkeypatch.setattr(codegen.CPUCodegen, "_module_pass_manager", noted)
    monkeypatch.setattr(config, "OPT", type(config.OPT)(level))
    assert told(_more, 3.0) == 14.0
    assert set(asked) == {meanwhile}
    assert int(level) == config.OPT


class _Asked:
    """Who knows types: from the second time on, and how often it was asked."""

    def __init__(self) -> None:
        self.times, self.callstack = 0, "one's own"

    def resolve_function_type(self, function, args, named) -> object:
        self.times += 1
        return None if self.times == 1 else (function, *args, named)


def test_a_question_about_types_is_asked_until_it_is_answered_and_no_more() -> None:
    asked, found = _Asked(), {}
    one = compiling._Remembering(asked, found)
    assert one.resolve_function_type("add", ("int",), {}) is None
    assert one.resolve_function_type("add", ("int",), {}) == ("add", "int", {})
    assert one.resolve_function_type("add", ("int",), {}) == ("add", "int", {})
    assert asked.times == 2
    other = compiling._Remembering(asked, found)
    assert other.resolve_function_type("add", ("int",), {}) == ("add", "int", {})
    assert asked.times == 2
    other.resolve_function_type("add", ("float",), {})
    other.resolve_function_type("add", ("int",), {"to": "int"})
    assert asked.times == 4
    assert one.callstack == "one's own"


def test_flags_alike_are_one_and_others_are_others() -> None:
    """What is known of types under some flags says nothing under others."""
    compiler = pytest.importorskip("numba.core.compiler")
    seen, asked = compiling._Seen(_shared(compiler)), _Asked()
    asked.times = 1
    strict, again, loose = compiler.Flags(), compiler.Flags(), compiler.Flags()
    strict.error_model = again.error_model = "python"
    loose.error_model = "numpy"
    own, knows = seen.alike(strict, asked)
    same, knows_too = seen.alike(again, asked)
    other, knows_not = seen.alike(loose, asked)
    assert own is same
    assert own is own.copy()
    assert own != other
    for one, times in ((knows, 2), (knows_too, 2), (knows_not, 3)):
        one.resolve_function_type("divide", (), {})
        assert asked.times == times


def _shared(compiler) -> type:
    return type("Shared", (compiling._Shared, compiler.Flags), {"__slots__": ()})
