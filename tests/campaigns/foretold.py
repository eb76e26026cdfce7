"""Weeks foretold and then gone through: are figures where they were expected?

    ./dev foretold [--cases 400] [--seed 1] [--workers 2] [--results FILE]

Each case is a bench of its own in the whole of the simulated physics. Its log of
ten to twelve days, with one evening's setback of 3 K, is fitted; a week after it
under another plan is foretold, given that week's room but neither its sun nor
its waterings nor its unmeasured heat; then the bench goes through that week.
Results are written to a file as they come, and a run of the same code goes on
from there. Figures that lie inside their intervals of 90 % too seldom (below
85 %) or too often (above 95 %) are marked; exit 1 if any is.
"""

import argparse
import hashlib
import json
import multiprocessing
import os
import sys
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # workers share the cores

import numpy as np
from scipy.special import stdtrit
from scipy.stats import binomtest

from controller.cli.output import table
from tests.campaigns.foretelling.one import Row, one

LEVEL = 0.90
LEAST, MOST = 0.85, 0.95
SEEDS_APART = 1_000

QUANTITIES = (
    ("degree-hours, driving tray", "degree-hours driving", 7.0, "K·h", 1),
    ("degree-hours, other tray", "degree-hours other", 7.0, "K·h", 1),
    ("time on (energy)", "duty", 100.0, "%", 2),
    ("relay switches", "switches", 7.0, "", 1),
    ("mean temperature", "mean driving", 1.0, "K", 3),
    ("peak", "peak", 1.0, "K", 3),
)
"""What is told, the figure it is, by how much to multiply, unit, digits."""

HEAD = (
    "of the week",
    "inside",
    "95 % of that",
    "bias",
    "rms error",
    "half interval",
    "fit and days",
    "fit alone",
)


def main(words: list[str] | None = None) -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(prog="./dev foretold", description=__doc__)
    parser.add_argument("--cases", type=int, default=400, help="weeks foretold (400)")
    parser.add_argument("--seed", type=int, default=1, help="of all benches (1)")
    parser.add_argument("--workers", type=int, default=2, help="processes (2)")
    parser.add_argument("--results", type=Path, help="where results are written")
    parser.add_argument(
        "--logs", type=Path, help="keep logs and weeks there, and take them from there"
    )
    args = parser.parse_args(words)
    path = args.results or _usual(args.seed)
    print(f"results: {path}", flush=True)
    rows = list(_rows(args, path))
    foretold = [row for row in rows if row["why"] is None]
    print(f"{len(foretold)} weeks foretold; of {len(rows) - len(foretold)} benches")
    print("no figures were given, since a fit said that it was of no use\n")
    cells, marked = told(foretold)
    print(table(HEAD, cells))
    print(f"\n* outside of {LEAST:.0%} to {MOST:.0%}: {marked}")
    return 1 if marked else 0


def _usual(seed: int) -> Path:
    """Return a file that belongs to this code alone."""
    root = Path(__file__).parents[2]
    sources = sorted([*root.glob("sim/**/*.py"), *root.glob("controller/core/*.py")])
    sources += sorted(root.glob("tests/campaigns/foretelling/*.py"))
    text = b"\0".join(path.read_bytes() for path in sources)
    name = f"foretold-{seed}-{hashlib.sha256(text).hexdigest()[:12]}.jsonl"
    return Path(tempfile.gettempdir()) / name


def _rows(args: argparse.Namespace, path: Path) -> Iterator[Row]:
    """Yield results by seed until enough weeks are foretold; write what is new."""
    known: dict[int, Row] = {}
    if path.exists():
        lines = path.read_text(encoding="utf-8").splitlines()
        known = {row["seed"]: row for row in map(json.loads, lines)}
    first, left = SEEDS_APART * args.seed, args.cases
    seeds = count(first)
    with (
        path.open("a", encoding="utf-8") as file,
        multiprocessing.Pool(args.workers) as pool,
    ):
        while left > 0:
            # As many as are wanted still: what is left out is made up for.
            some = [next(seeds) for _ in range(left)]
            fresh = [(seed, args.logs) for seed in some if seed not in known]
            for row in pool.imap_unordered(one, fresh):
                known[row["seed"]] = row
                file.write(json.dumps(row) + "\n")
                file.flush()
                _tell(len(known), args.cases)
            left -= sum(known[seed]["why"] is None for seed in some)
            yield from (known[seed] for seed in some)


def _tell(done: int, cases: int) -> None:
    if sys.stderr.isatty():
        print(f"\r{done} of about {cases}", end="", file=sys.stderr, flush=True)


def told(rows: list[Row]) -> tuple[list[list[str]], int]:
    """Return rows of the table, and how many of them are marked."""
    cells = [_cells(rows, *quantity) for quantity in QUANTITIES]
    return cells, sum(row[1].endswith("*") for row in cells)


def _cells(
    rows: list[Row], name: str, figure: str, scale: float, unit: str, digits: int
) -> list[str]:
    at = [row["names"].index(figure) for row in rows]

    def of(what: str) -> np.ndarray:
        values = [row[what][n] for row, n in zip(rows, at, strict=True)]
        return scale * np.array(values, dtype=float)

    t = np.array([stdtrit(row["freedom"], (1 + LEVEL) / 2) for row in rows])
    error = of("obtained") - of("value")
    parts = {what: of(what) ** 2 for what in ("model", "days", "lift", "loop")}

    def half(*whats: str) -> np.ndarray:
        return t * np.sqrt(sum(parts[what] for what in whats))

    whole = half(*parts)
    inside = int((np.abs(error) <= whole).sum())
    ends = binomtest(inside, len(rows)).proportion_ci(0.95)
    fits = LEAST <= inside / len(rows) <= MOST
    said = f" {unit}" if unit else ""
    return [
        name,
        f"{inside / len(rows):.1%}{' ' if fits else '*'}",
        f"{ends.low:.1%} to {ends.high:.1%}",
        f"{error.mean():+.{digits}f}{said}",
        f"{np.sqrt(np.mean(error**2)):.{digits}f}{said}",
        f"{whole.mean():.{digits}f}{said}",
        f"{np.mean(np.abs(error) <= half('model', 'days')):.1%}",
        f"{np.mean(np.abs(error) <= half('model')):.1%}",
    ]


if __name__ == "__main__":
    sys.exit(main())
