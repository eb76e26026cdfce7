"""A search for next season's settings: how long a week's log takes.

Seven simulated days of the invented bench, its north mat with a setback by
night: reading the log and fitting it, smoothing the push of every model, and
the search of 1,024 candidates in all of them, the second time (the first one
compiles).
"""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from controller.adapters.settings.editing import edited
from controller.cli import main as bottomheat
from controller.cli.modelled import modelled
from controller.cli.paths import config_dir
from sim.tuning.candidates import candidates, knobs_of
from sim.tuning.searching import search

CANDIDATES = 1_024


def main() -> None:
    """Simulate a week, and time what is made of it."""
    with tempfile.TemporaryDirectory() as folder:
        config, log = Path(folder) / "bench.toml", Path(folder) / "season.db"
        text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
        text = edited(text, "north", {"night_setpoint": '"18 °C"'})
        config.write_text(text, encoding="utf-8")
        bottomheat(["simulate", str(config), "--days", "7", "--out", str(log)])
        begun = time.perf_counter()
        of = modelled(log, "north")
        print(f"log, fit and {len(of.worlds)} models: {_since(begun)}")
    knobs = knobs_of(of.asked, of.worlds[0].model, range(-8_000, 4_001, 500))
    plans = candidates(knobs, CANDIDATES, seed=1)
    for name in ("with compiling", "again"):
        begun = time.perf_counter()
        found = search(of.record, of.worlds, plans, of.season, None, _silent)
        run = len(found.figures.plans)
        print(f"{run} candidates in {len(of.worlds)} models, {name}: {_since(begun)}")


def _since(begun: float) -> str:
    return f"{time.perf_counter() - begun:.1f} s"


def _silent(done: int, count: int) -> None:
    """Say nothing."""


if __name__ == "__main__":
    main()
