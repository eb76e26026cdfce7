"""One bench's mat in a sweep: what a worker does, and what it answers.

What may live here: the item that goes to a worker, and the way from it to the row
that comes back. No command. A worker
imports this module: what is heavy is imported once it is needed.
"""

import io
from contextlib import redirect_stderr
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.sweep_rows import (
    Answer,
    Ends,
    Figure,
    Heated,
    Row,
    Told,
    Way,
    ZoneRow,
    stamp,
    untold,
)

if TYPE_CHECKING:
    from controller.cli.modelled import Modelled
    from sim.fitting.fitted import Estimate, Fitted
    from sim.tuning.granting import Impossible
    from sim.tuning.jackknifed import Predicted
    from sim.tuning.searching import Search


@dataclass(frozen=True, slots=True)
class Item:
    """What is sent to a worker.

    Attributes:
        log: The season log, as the worker finds it.
        mat: The mat's name.
    """

    log: str
    mat: str


def heated(log: str) -> Heated:
    """Return the heated mats of a log's last run."""
    from controller.adapters.season_log import LogError, SeasonLogReader
    from controller.ports import IMPORTED

    try:
        runs = SeasonLogReader(Path(log)).runs()
    except (LogError, OSError) as error:
        return Heated(mats=(), why=str(error))
    ours = [run for run in runs if run.origin != IMPORTED]
    mats = [mat.name for mat in ours[-1].plan.mats if mat.relay] if ours else []
    why = "" if mats else f"{log}: no run that heats a mat is in it"
    return Heated(mats=tuple(mats), why=why)


@dataclass(frozen=True, slots=True)
class Sweeping:
    """What is asked of every log.

    Attributes:
        wish: What the next season shall be; None: logs are only fitted.
        rooting: What stands for rooted; None: nobody said.
        candidates: How many ways to try.
        seed: They are drawn from it.
    """

    wish: str | None
    rooting: str | None
    candidates: int
    seed: int

    def __call__(self, item: Item) -> Row:
        """Return what one log tells of one mat; it raises nothing of a bad log."""
        from controller.adapters.season_log import LogError
        from controller.cli.prices import AskedError
        from sim.tuning.wishes import WishError

        path = Path(item.log)
        size, modified_ns = stamp(path)
        try:
            # Progress is told by who asked: here several would write at once.
            with redirect_stderr(io.StringIO()):
                told = self._told(path, item.mat)
        except (AskedError, WishError, LogError, OSError) as error:
            return untold(path, item.mat, str(error))
        return Row(
            log=path.name,
            mat=item.mat,
            size=size,
            modified_ns=modified_ns,
            told=told,
            why="",
        )

    def _told(self, path: Path, mat: str) -> Told:
        from controller.cli.modelled import modelled

        of = modelled(path, mat)
        return Told(
            bench=of.header.plan.bench,
            starts=of.season.starts.isoformat(),
            hours=of.season.hours,
            duty=of.recorded_duty,
            zones=tuple(_zone(fit) for fit in of.fits),
            notes=of.notes,
            answer=None if self.wish is None else self._answer(of, self.wish),
        )

    def _answer(self, of: "Modelled", wish: str) -> Answer:
        from controller.cli import asked
        from controller.cli.modelled import progress
        from controller.cli.tune import HALF_KELVINS
        from sim.tuning.candidates import candidates, knobs_of
        from sim.tuning.granting import OWN, Granted, Impossible, grant
        from sim.tuning.searching import search
        from sim.tuning.wishes import read_wish

        rooting = None if self.rooting is None else asked.rooting(self.rooting)
        knobs = knobs_of(of.asked, of.worlds[0].model, HALF_KELVINS)
        plans = candidates(knobs, self.candidates, self.seed)
        found = search(
            of.record, of.worlds, plans, of.season, rooting, progress("candidates")
        )
        answer = grant(read_wish(wish), found.figures, found.allowed)
        granted = answer if isinstance(answer, Granted) else None
        return Answer(
            as_now=_way(found, OWN),
            recommended=None if granted is None else _way(found, granted.chosen),
            unchanged=granted is not None and granted.chosen == OWN,
            meeting=0 if granted is None else granted.meeting,
            why_none=why_none(answer) if isinstance(answer, Impossible) else "",
        )


def why_none(answer: "Impossible") -> str:
    """Return why a wish cannot be had, in words."""
    from controller.cli.tune_words import missing

    if answer.nearest is None:
        return "no candidate lies within what the log covers"
    missed = [
        f'"{short.constraint}" is missed by'
        f" {missing(short.constraint, short.best_slack)} at best"
        for short in answer.shortfalls
        if short.best_slack < 0
    ]
    return "; ".join(missed) or "each could be had alone, not all of it together"


def _zone(fit: "Fitted") -> ZoneRow:
    return ZoneRow(
        name=fit.name,
        at_mat=fit.at_mat,
        gain_k=_figure(fit.gain_k),
        slow_s=_figure(fit.slow_s),
        fast_s=_figure(fit.fast_s),
        delay_s=_figure(fit.delay_s),
        offset_k=_figure(fit.offset_k),
        verdicts=fit.verdicts,
    )


def _figure(estimate: "Estimate") -> Figure:
    return Figure(value=estimate.value, error=estimate.error)


def _way(found: "Search", index: int) -> Way:
    from controller.cli.tuned import way_text

    figures = found.figures
    return Way(
        way=way_text(figures.plans[index], fahrenheit=False),
        energy_kwh=_ends(figures.energy_kwh, index),
        relay_operations=_ends(figures.operations, index),
    )


def _ends(predicted: "Predicted", index: int) -> Ends:
    from sim.tuning.jackknifed import interval

    found = interval(predicted, index)
    return Ends(value=found.value, low=found.low, high=found.high)
