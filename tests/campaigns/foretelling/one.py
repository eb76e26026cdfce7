"""One case: its log fitted, a week foretold, and that week gone through."""

import gc
import pickle
from dataclasses import replace
from pathlib import Path
from typing import TypedDict

import numpy as np

from sim.fitting.fit import fit_mat
from sim.tuning.coming import after
from sim.tuning.prediction import foretell
from sim.tuning.stretch import counted
from sim.tuning.worlds import worlds
from tests.campaigns.foretelling.benches import SCAN_MS, WEEK_DAYS, Case, a_case
from tests.campaigns.foretelling.weeks import Bench, Course, record_of_log


class Row(TypedDict, total=False):
    """What came of a case; figures in the order of their names.

    Keys:
        seed: Of the case.
        why: Why nothing was foretold; None: it was.
        names, value, model, days, lift, loop, freedom: As of Foretold.
        obtained: What came, by true temperatures.
    """

    seed: int
    why: str | None
    names: list[str]
    value: list[float]
    model: list[float]
    days: list[float]
    lift: list[float]
    loop: list[float]
    freedom: int
    obtained: list[float]


def one(asked: tuple[int, Path | None]) -> Row:
    """Go through a case.

    Args:
        asked: Its seed, and a folder in which its log and week are kept.
    """
    seed, folder = asked
    case, log, week = _simulated(seed, folder)
    record = record_of_log(case, log)
    fitted = fit_mat(record)
    whys = [why for zone in fitted.zones for why in zone.verdicts]
    if whys:
        return {"seed": seed, "why": whys[0]}
    record = replace(record, windows=fitted.windows)
    own, plan = case.before.mats[0], case.after.mats[0]
    found = worlds(record, fitted.zones, own, _silent)
    # What is asked is about settings, not about the weather: the room is known.
    coming = replace(after(record, WEEK_DAYS), room_c=np.array(week.room_c))
    told = foretell(record, fitted.zones, found, own, plan, coming, _silent)
    true_c, on = np.array(week.true_c), np.array(week.on, dtype=float)
    return {
        "seed": seed,
        "why": None,
        "names": list(told.names),
        "value": told.value.tolist(),
        "model": told.model.tolist(),
        "days": told.days.tolist(),
        "lift": told.lift.tolist(),
        "loop": told.loop.tolist(),
        "freedom": told.freedom,
        "obtained": counted(plan).of(true_c, on, SCAN_MS / 1000).tolist(),
    }


def _silent(done: int, whole: int) -> None:
    """Say nothing."""


def _simulated(seed: int, folder: Path | None) -> tuple[Case, Course, Course]:
    """Return a case with its log and its week, new or as it was kept."""
    if folder is None:
        return _made(seed)
    path = folder / f"{seed}.pickle"
    if path.exists():
        known: tuple[Case, Course, Course] = pickle.loads(path.read_bytes())  # noqa: S301 (ours)
        return known
    folder.mkdir(parents=True, exist_ok=True)
    made = _made(seed)
    part = path.with_suffix(".part")
    part.write_bytes(pickle.dumps(made))
    part.replace(path)
    return made


def _made(seed: int) -> tuple[Case, Course, Course]:
    case = a_case(seed)
    gc.disable()  # scans leave no circles behind, and looking for them takes time
    bench = Bench(case)
    log = bench.logged()
    week = bench.week()
    gc.enable()
    return case, log, week
