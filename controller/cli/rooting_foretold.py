"""What the rooting forecast has to say to `tune`: which sum stands for rooted.

Of the open batches on a mat the one that roots last counts: settings are for all of
them. What may live here: that choice. No command.
"""

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.trials.response_curves import Linear

if TYPE_CHECKING:
    from controller.review.foretold import Foretold
    from sim.tuning.figures import Rooting


class RootingForetold(NamedTuple):
    """A sum of degree-hours, and a sentence that says whence it is."""

    rooting: "Rooting"
    note: str


def rooting_foretold(log: Path, mat: str | None) -> RootingForetold | None:
    """Return what is foretold of the open batches on a mat; None: nothing is.

    A crop whose rate falls again above its optimum has no one sum above one base, so
    that it is left out.

    Args:
        log: The season log; foretold is from its end.
        mat: Which mat; None: all of them.

    Raises:
        LogError: The log cannot be read, or has no run.
    """
    from controller.cli.forecast_job import end_of, foretold_in

    told, standing, _ = foretold_in(log, None, end_of(log))
    mats = [one for one in standing.plan.mats if mat in (None, one.name)]
    trays = {tray.name for one in mats for tray in one.trays}
    fit = [one for one in told if _fits(one, trays)]
    last = max(fit, key=lambda one: one.when_ms[2] or 0, default=None)
    return None if last is None else _rooting(last)


def _fits(one: "Foretold", trays: set[str]) -> bool:
    stays = one.file.stays
    return (
        one.file.closing is None
        and not one.why_none
        and isinstance(one.curve, Linear)
        and bool(stays)
        and stays[-1].tray in trays
    )


def _rooting(one: "Foretold") -> RootingForetold:
    from sim.tuning.figures import Rooting

    base_c = 0.0 if one.curve is None else one.curve.base_c
    low, _, median, _, high = one.needs
    batch = one.file.batch
    name = f"{batch.crop} {batch.cultivar}".strip()
    note = (
        f"rooted is what is foretold of batch {one.file.code}, {name}, the last on the"
        f" mat: {median:,.0f} K·h above {base_c:g} °C (nine times of ten {low:,.0f} to"
        f" {high:,.0f}); --rooting says another"
    )
    return RootingForetold(Rooting(median, round(1_000 * base_c)), note)
