"""What `tune` found, drawn: the trade-off, a week before and after, the fit.

What may live here: these three pictures with their words.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import ConciseDateFormatter, date2num

from controller.adapters.exchange import ExchangeError
from controller.cli.modelled import IN_THE_MODEL, Modelled
from controller.cli.pictures import DASHES, INK, PALE, a_figure, kept, plain
from controller.cli.tuned import Tuned, told, way_text
from controller.core.units import DAY_MS
from sim.fitting.smoother import stepped
from sim.thermal import Vector
from sim.tuning.granting import OWN
from sim.tuning.jackknifed import Predicted, half_width
from sim.tuning.worlds import World
from sim.whatif.engine import trace
from sim.whatif.span import Trace
from sim.zone_model import steps

_WEEK_D = 7
_MARKS = {"on-off": "o", "pid": "^"}


def draw(found: Tuned, folder: Path) -> list[Path]:
    """Draw what was found into a folder; return the files.

    Raises:
        ExchangeError: The folder is a file, or the disk does not take them.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ExchangeError(f"{folder}: {error.strerror}; name a folder") from error
    mat = found.of.own.name
    return [
        *_trade_off(found, folder / f"{mat}-trade-off.png"),
        *_weeks(found, folder / f"{mat}-weeks.png"),
        *_fit(found.of, folder / f"{mat}-fit.png"),
    ]


# ------------------------------------------------------------------- the trade-off


def _trade_off(found: Tuned, path: Path) -> list[Path]:
    figures = found.figures
    figure = a_figure(f"Mat {found.of.own.name}: what costs what", 9.0, 4.6)
    left, right = figure.subplots(1, 2, sharey=True)
    _cloud(left, found, figures.operations)
    left.set_xscale("log")
    plain(
        left, "relay operations (logarithmic)", "deviation from the setpoint, rms [K]"
    )
    _cloud(right, found, figures.energy_kwh)
    plain(right, "energy [kWh]", "")
    handles, labels = right.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=8)
    right.set_title(f"{IN_THE_MODEL}; bars: 90 %", fontsize=7, loc="right")
    return kept(figure, path, _trade_off_words(found))


def _cloud(axes: Axes, found: Tuned, across: Predicted) -> None:
    up = found.figures.deviation_k
    kinds = np.array([plan.policy.kind for plan in found.figures.plans])
    for kind, mark in _MARKS.items():
        other = found.search.allowed & ~found.search.front & (kinds == kind)
        front = found.search.front & (kinds == kind)
        axes.plot(
            across[other, 0],
            up[other, 0],
            mark,
            markersize=2.5,
            markerfacecolor="none",
            markeredgecolor=PALE,
            markeredgewidth=0.6,
            linestyle="none",
            label=f"{kind}: beaten by others",
        )
        axes.plot(
            across[front, 0],
            up[front, 0],
            mark,
            markersize=3.5,
            color=INK,
            linestyle="none",
            label=f"{kind}: beaten by none",
        )
    _point(axes, across, up, OWN, "s", "as now")
    if found.chosen is not None:
        _point(axes, across, up, found.chosen, "*", "recommended")


def _point(
    axes: Axes, across: Predicted, up: Predicted, index: int, mark: str, name: str
) -> None:
    wide, high = (_half(values, index) for values in (across, up))
    axes.errorbar(
        across[index, 0],
        up[index, 0],
        xerr=wide,
        yerr=high,
        fmt=mark,
        markersize=15 if mark == "*" else 11,
        markerfacecolor="white",
        markeredgecolor=INK,
        markeredgewidth=1.4,
        ecolor=INK,
        elinewidth=1.0,
        capsize=2,
        label=name,
        zorder=5,
    )


def _half(values: Predicted, index: int) -> float | None:
    half = float(half_width(values[index : index + 1])[0])
    return half if np.isfinite(half) else None


def _trade_off_words(found: Tuned) -> str:
    figures, fahrenheit = found.figures, found.terms.fahrenheit
    said = [
        f"Two scatter plots of {len(figures.plans)} ways of keeping mat"
        f" {found.of.own.name}, {IN_THE_MODEL}: deviation from the setpoint against"
        " relay operations, and against energy. On-off ways are circles, PID ways"
        f" triangles; {int(found.search.front.sum())} that none beats are filled."
    ]
    marked = [("As now (square)", OWN), ("Recommended (star)", found.chosen)]
    for name, index in marked:
        if index is not None:
            way = way_text(figures.plans[index], fahrenheit=fahrenheit)
            said.append(
                f"{name}: {way}: {told(figures.energy_kwh, index).value:.2f} kWh,"
                f" {told(figures.operations, index).value:.0f} relay operations,"
                f" deviation {told(figures.deviation_k, index).value:.3f} K."
            )
    return " ".join(said)


# ------------------------------------------------------- a week before and after


def _weeks(found: Tuned, path: Path) -> list[Path]:
    world, plans = found.of.worlds[0], found.figures.plans
    ways = [("as now", OWN)]
    if found.chosen not in {None, OWN}:
        ways.append(("recommended", found.chosen or OWN))
    figure = a_figure(
        f"Mat {found.of.own.name}: the last days of the log, {IN_THE_MODEL}",
        9.0,
        2.9 * len(ways) + 0.6,
    )
    rows = figure.subplots(
        2 * len(ways), 1, sharex=True, height_ratios=[5, 1] * len(ways)
    )
    said = [f"Line plots of mat {found.of.own.name}, {IN_THE_MODEL}."]
    lowest: list[float] = []
    for place, (name, index) in enumerate(ways):
        told_of = trace(world.model, world.span, plans[index])
        way = way_text(plans[index], fahrenheit=found.terms.fahrenheit)
        above, below = rows[2 * place], rows[2 * place + 1]
        _week(above, below, found, world, told_of)
        above.set_title(f"{name}: {way}", fontsize=8, loc="left")
        said.append(f"{name.capitalize()}: {way}: {_week_words(found, told_of)}.")
        lowest += above.get_ylim()
    for place in range(len(ways)):
        rows[2 * place].set_ylim(min(lowest), max(lowest))
    rows[0].legend(fontsize=7, ncols=6, loc="upper right", frameon=True)
    return kept(figure, path, " ".join(said))


def _week(above: Axes, below: Axes, found: Tuned, world: World, told_of: Trace) -> None:
    first = _last_week(world)
    at = _moments(found.of, len(told_of.on))[first:]
    trays = found.figures.trays
    for n, name in enumerate(trays):
        dash = DASHES[n % len(DASHES)]
        temps = told_of.temps_mc[first:, n] / 1000
        above.plot(at, temps, color=INK, linewidth=0.8, linestyle=dash, label=name)
    setpoint = told_of.setpoint_mc[first:] / 1000
    above.plot(at, setpoint, color=PALE, linewidth=2.2, label="setpoint", zorder=1)
    plain(above, "", "root zone [°C]")
    below.fill_between(at, told_of.on[first:], step="post", color=INK, linewidth=0)
    below.set_yticks([0, 1], ["off", "on"])
    plain(below, "", "mat")
    locator = below.xaxis.get_major_locator()
    below.xaxis_date(found.of.season.starts.tzinfo)
    locator = below.xaxis.get_major_locator()
    below.xaxis.set_major_formatter(
        ConciseDateFormatter(locator, tz=found.of.season.starts.tzinfo)
    )


def _last_week(world: World) -> int:
    span = world.span
    return max(0, span.steps - _WEEK_D * DAY_MS // span.step_ms)


def _moments(of: Modelled, count: int) -> Vector:
    starts: datetime = of.season.starts
    first = date2num(starts)
    step = timedelta(seconds=of.record.step_s) / timedelta(days=1)
    return np.asarray(first + step * np.arange(count), dtype=np.float64)


def _week_words(found: Tuned, told_of: Trace) -> str:
    first = _last_week(found.of.worlds[0])
    ranges = []
    for n, name in enumerate(found.figures.trays):
        temps = told_of.temps_mc[first:, n] / 1000
        ranges.append(f"{name} {temps.min():.1f} to {temps.max():.1f} °C")
    switched = int(np.count_nonzero(np.diff(told_of.on[first:].astype(int)) > 0))
    return f"{', '.join(ranges)}, switched on {switched} times"


# ------------------------------------------------------------------------- the fit


def _fit(of: Modelled, path: Path) -> list[Path]:
    world = of.worlds[0]
    zones = world.model.zones
    figure = a_figure(
        f"Mat {of.own.name}: what was measured, and the model with heat and room alone",
        9.0,
        1.7 * len(zones) + 0.6,
    )
    rows: Sequence[Axes] = list(
        np.atleast_1d(figure.subplots(len(zones), 1, sharex=True))
    )
    at = _moments(of, len(of.record))
    said = [
        f"Line plots of mat {of.own.name}: measured temperature and the fitted model"
        " given only heat and room, without what no model knows."
    ]
    for n, (zone, axes) in enumerate(zip(zones, rows, strict=True)):
        measured = of.record.temps_c[:, of.record.zones.index(zone.name)]
        alone = _alone(of, n)
        axes.plot(at, measured, color=PALE, linewidth=2.2, label="measured")
        axes.plot(at, alone, color=INK, linewidth=0.7, label="model")
        off = alone - measured
        rms = float(np.sqrt(np.nanmean(np.square(off))))
        axes.set_title(f"{zone.name}: {rms:.2f} K apart (rms)", fontsize=8, loc="left")
        plain(axes, "", "[°C]")
        said.append(f"{zone.name}: {rms:.2f} K apart (root mean square).")
    rows[0].legend(fontsize=7, ncols=2, loc="upper right")
    rows[-1].xaxis_date(of.season.starts.tzinfo)
    locator = rows[-1].xaxis.get_major_locator()
    rows[-1].xaxis.set_major_formatter(
        ConciseDateFormatter(locator, tz=of.season.starts.tzinfo)
    )
    return kept(figure, path, " ".join(said))


def _alone(of: Modelled, index: int) -> Vector:
    """Return what the model makes of heat and room alone [°C]."""
    world = of.worlds[0]
    zone, span = world.model.zones[index], world.span
    step = steps(zone, span.step_s)
    known = np.outer(of.record.on_share, step.by_heat) + np.outer(
        span.room_c + zone.offset_k, step.by_room
    )
    states = stepped(step, span.start_c[index], known, np.zeros(span.steps))
    alone: Vector = states[:, 0 if zone.at_mat else 1]
    return alone
