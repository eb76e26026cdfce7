"""Figures of candidates side by side: rows of a table.

What may live here: which figures are shown, in which order and with what unit.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from math import isfinite

from controller.cli.output import table
from controller.cli.tuned import Terms, driven_by, kept_at, kept_by, told
from controller.core.plan import MatPlan
from controller.core.units import celsius
from sim.tuning.figures import Figures
from sim.tuning.granting import OWN
from sim.tuning.jackknifed import Interval, Predicted

_YEAR_D = 365


def side_by_side(
    figures: Figures, ways: Sequence[tuple[str, int]], terms: Terms
) -> Iterator[str]:
    """Yield figures as rows and candidates as columns."""
    indices = [index for _, index in ways]
    head = ["", *(name for name, _ in ways)]
    rows = [
        [name, *(cell(index) for index in indices)]
        for name, cell in _rows(figures, terms)
    ]
    yield table(head, rows)


Cell = Callable[[int], str]


def _rows(figures: Figures, terms: Terms) -> Iterator[tuple[str, Cell]]:
    plans, fahrenheit = figures.plans, terms.fahrenheit
    yield "kept at", lambda n: kept_at(plans[n], fahrenheit=fahrenheit)
    yield "driven", lambda n: driven_by(plans[n])
    yield "policy", lambda n: kept_by(plans[n]).partition(" ")[0]
    yield "settings", lambda n: _settings(plans[n])[0]
    yield "", lambda n: _settings(plans[n])[1]
    yield "energy", _cell(figures.energy_kwh, 2, " kWh")
    if terms.price is not None:
        price = terms.price
        yield "cost", lambda n: price.of(float(figures.energy_kwh[n, 0]))
    yield "relay operations", _cell(figures.operations, 0)
    yield (
        f"relay lasts ({terms.rated:,})",
        lambda n: lasts(figures, n, terms.rated),
    )
    yield "deviation (rms)", _cell(figures.deviation_k, 3, " K")
    within = f"within {figures.band_k:g} K"
    yield within, _cell(100 * figures.in_band, 1, " %")
    yield "trays apart", _cell(figures.uneven_k, 2, " K")
    yield from _trays(figures, terms)
    yield "below the cut-out", _cell(figures.margin_k, 1, " K")
    if figures.surface_margin_k is not None:
        yield "surface below it", _cell(figures.surface_margin_k, 1, " K")


def _settings(plan: MatPlan) -> tuple[str, str]:
    """Return what a policy is set to, on two lines."""
    said = kept_by(plan).partition(" ")[2].split(", ")
    return ", ".join(said[:-1][:2]), ", ".join(said[-1:] if len(said) < 3 else said[2:])  # noqa: PLR2004


def _trays(figures: Figures, terms: Terms) -> Iterator[tuple[str, Cell]]:
    scale, heat = terms.scale, " °F·h" if terms.fahrenheit else " K·h"
    unit = f" {scale.unit}"
    bases = {tray.name: tray.base_mc for tray in figures.plans[OWN].trays}
    for n, name in enumerate(figures.trays):
        yield f"{name} lowest", _cell(scale.shown(figures.low_c[n]), 1, unit)
        yield f"{name} highest", _cell(scale.shown(figures.high_c[n]), 1, unit)
        base = scale.shown(celsius(bases[name]))
        over = f"{name} over {base:.3g}{unit}"
        yield over, _cell(scale.per_k * figures.heat_k_h[n], 0, heat)
        if figures.rooting is not None:
            yield f"{name} rooted", _rooted(figures, n)


def _cell(predicted: Predicted, digits: int, unit: str = "") -> Cell:
    return lambda n: ranged(told(predicted, n), digits, unit)


def _rooted(figures: Figures, tray: int) -> Cell:
    after = figures.rooted_after_h(tray)

    def cell(n: int) -> str:
        found = told(after, n)
        date = figures.season.date_of(found.value)
        if date is None:
            return "never"
        half = (
            "" if found.high is None else f" ± {(found.high - found.value) / 24:.1f} d"
        )
        return f"{day(date)}{half}"

    return cell


def day(at: datetime) -> str:
    """Return a day as ISO 8601 text."""
    return at.date().isoformat()


def lasts(figures: Figures, index: int, rated: int) -> str:
    """Return how long a relay lasts, run day and night."""
    operations = float(figures.operations[index, 0])
    if not operations:
        return "-"
    days = rated * figures.season.hours / 24 / operations
    return f"{days / _YEAR_D:.1f} years" if days >= _YEAR_D else f"{days:.0f} days"


def ranged(
    found: Interval, digits: int, unit: str = "", *, signed: bool = False
) -> str:
    """Return a figure with half of its interval."""
    if not isfinite(found.value):
        return "-"
    value = f"{found.value:{'+' if signed else ''},.{digits}f}"
    if found.high is None:
        return f"{value}{unit}"
    return f"{value} ± {found.high - found.value:.{digits}f}{unit}"
