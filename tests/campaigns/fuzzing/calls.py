"""Calls that the API's own document admits, and others: made by schemathesis.

Every check that it has, in all of its phases, over a real socket, on a bench that
asks for a token (fuzzing/http_bench.py). What may live here: running it until
enough calls were answered.
"""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

_HERE = Path(__file__).parent

_CONFIGURATION = """\
[parameters]
tray = "N1"
mat = "north"

[parameters.path]
code = ["334X", "x"]
number = [1, 2, 3, 4, 5]
alarm = ["probe-lost.v1", "x"]

[checks]
# Rules between fields, and those of one bench's own plan, stand in no schema: 422
# is their answer, and 400 where from and to, or base and upper, are at odds.
positive_data_acceptance.expected-statuses = [
    "2xx", "304", "400", "401", "403", "404", "409", "422", "429", "503",
]
# What is wrong may be too large as well, and that is seen first.
negative_data_rejection.expected-statuses = [
    "400", "401", "403", "404", "405", "406", "409", "413", "415", "422", "429", "431",
]
# What failed beside the daemon is told as 503; this bench fails each fourth time.
[[operations]]
include-path = "/v1/trials/{number}/comparison"
checks.not_a_server_error.expected-statuses = ["2xx", "3xx", "4xx", "503"]
"""


PHASES = "examples,coverage,fuzzing,stateful"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it: calls answered, and what broke, in the tool's own words."""

    calls: int
    broke: str


def fuzzed(
    calls: int,
    seed: int,
    examples: int = 60,
    phases: str = PHASES,
    more: tuple[str, ...] = (),
) -> Outcome:
    """Make calls until so many were answered, or something broke.

    Args:
        calls: How many, at least.
        seed: Another seed, other calls.
        examples: Of each operation, in each turn.
        phases: The tool's phases, with commas.
        more: Further words for it.
    """
    made = 0
    while made < calls:
        with _bench() as (bench, port, token):
            words = ["--max-examples", str(examples), "--seed", str(seed)]
            broke = _run(port, token, [*words, "--phases", phases, *more])
            bench.stdin.close()
            made += int(bench.stdout.read().split()[-1])
        if broke:
            return Outcome(made, broke)
        seed += 1
    return Outcome(made, "")


@contextmanager
def _bench() -> Iterator[tuple[subprocess.Popen[str], int, str]]:
    script = [sys.executable, str(_HERE / "http_bench.py")]
    with subprocess.Popen(
        script, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as bench:
        port, token = bench.stdout.readline().split()
        try:
            yield bench, int(port), token
        finally:
            if bench.poll() is None:
                bench.kill()


def _run(port: int, token: str, more: list[str]) -> str:
    """Run schemathesis once; return its words if it found something."""
    with tempfile.TemporaryDirectory() as folder:
        configuration = Path(folder) / "schemathesis.toml"
        configuration.write_text(_CONFIGURATION, encoding="utf-8")
        words = [sys.executable, "-m", "schemathesis.cli"]
        words += ["--config-file", str(configuration), "--no-color"]
        words += ["run", f"http://127.0.0.1:{port}/openapi.json", "--checks", "all"]
        words += [*more, "-H", f"Authorization: Bearer {token}"]
        # An answer that never ends has tests of its own.
        words += ["--exclude-path", "/v1/live", "--generation-database", "none"]
        done = subprocess.run(
            words,
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
            env=os.environ | {"COLUMNS": "100"},
        )
    return "" if done.returncode == 0 else done.stdout + done.stderr
