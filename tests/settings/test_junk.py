"""Whatever stands in a file, loading it returns settings or one clear error."""

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.adapters.settings import SettingsError, known_keys, load
from controller.core.plan_rules import problems

HUGE = "stands for a whole number of 6000 digits"
BENCH = Path(__file__).parents[2] / "config" / "bench.toml"

QUIET = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

TEXTS = st.text(st.characters(codec="utf-8"), max_size=20)
QUANTITIES = st.one_of(
    st.sampled_from(["24 °C", "75 F", "-5 K", "1 h", "0 s", "10 min", "999999999 d"]),
    st.sampled_from(["median", "N1", "north", "on-off", "pid", "probe/N1", "none"]),
    st.sampled_from(["", "1 m x 1 m", "by hand", "by hand "]),
)
LEAVES = (
    QUANTITIES
    | TEXTS
    | st.integers(-(2**70), 2**70)
    | st.just(HUGE)
    | st.floats()
    | st.booleans()
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["topic", "name", "lease", "x"]), inner)
    ),
    max_leaves=5,
)
TABLES = st.sampled_from(
    ["bench", "broker", "log", "api", "mat", "tray", "probe", "notify"]
)
KEYS = st.sampled_from(
    [key.rsplit(".", 1)[1] for key in known_keys()] + ["relay", "step", "pid"]
)


def _toml(value: object) -> str:
    """Return a value as TOML; JSON's strings are TOML's, but for DEL."""
    if value == HUGE:
        return "0x" + "f" * 6_000
    match value:
        case Mapping():
            pairs = (f"{_toml(key)} = {_toml(item)}" for key, item in value.items())
            return "{ " + ", ".join(pairs) + " }"
        case list():
            return "[" + ", ".join(map(_toml, value)) + "]"
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case _:
            return str(value).lower()  # true, 1e+16, nan


def _try(path: Path, environ: Mapping[str, str]) -> None:
    try:
        found = load(path, environ)
    except SettingsError as error:
        lines = str(error).splitlines()
        assert len(lines) == len(error.findings) >= 1
        assert all(line.startswith((f"{path}: ", "environment: ")) for line in lines)
    else:
        assert problems(found.plan) == ()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.toml"


@QUIET
@given(st.binary(max_size=200))
def test_any_bytes(path, content):
    path.write_bytes(content)
    _try(path, {})


@QUIET
@given(st.dictionaries(TABLES | TEXTS, VALUES, max_size=5))
def test_any_tables(path, tables):
    text = "".join(f"{_toml(key)} = {_toml(value)}\n" for key, value in tables.items())
    path.write_text(text, encoding="utf-8", newline="")
    _try(path, {})


@QUIET
@given(
    st.lists(st.tuples(TABLES, st.integers(0, 7), KEYS, VALUES | st.none()), min_size=1)
)
def test_any_change_of_the_demo_bench(path, changes):
    document = tomllib.loads(BENCH.read_text(encoding="utf-8"))
    document["notify"] = [{"url": "mqtt"}]
    for table, index, key, value in changes:
        tables = document[table]
        place = tables[index % len(tables)] if isinstance(tables, list) else tables
        if value is None:
            place.pop(key, None)
        else:
            place[key] = value
    text = "".join(f"{key} = {_toml(value)}\n" for key, value in document.items())
    path.write_text(text, encoding="utf-8", newline="")
    _try(path, {})


@QUIET
@given(
    st.dictionaries(
        st.sampled_from([key.upper().replace(".", "__") for key in known_keys()])
        | st.text(max_size=10),
        st.text(max_size=20) | QUANTITIES,
        max_size=4,
    )
)
def test_any_environment(path, variables):
    path.write_bytes(BENCH.read_bytes())
    _try(path, {f"BOTTOMHEAT_{name}": value for name, value in variables.items()})
