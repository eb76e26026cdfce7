"""What `tune` found, drawn: the trade-off, a week before and after, the fit.

What may live here: these three pictures with their words.
"""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from controller.adapters.exchange import ExchangeError
from controller.cli.modelled import IN_THE_MODEL, Modelled
from controller.cli.pictures import DASHES, INK, PALE, a_figure, kept, plain
from controller.cli.tuned import Scale, Tuned, told, way_text
from controller.core.units import DAY_MS, HOUR_MS
from sim.fitting.smoother import stepped
from sim.thermal import Vector
from sim.tuning.granting import OWN
from sim.tuning.jackknifed import Predicted, half_width
from sim.whatif.engine import trace
from sim.whatif.span import Trace
from sim.zone_model import steps

_WEEK_D = 7
_DAY_S = 86_400
_MOST_TICKS = 10
_MEAN_STEPS = 30
_LINE_STEPS = 10
"""Chosen: noise from minute to minute would fill the gaps of a dashed line."""
_APART_K = 0.25
_RIGHT = ("axes fraction", "data")
_MARKS = {"on-off": "o", "pid": "^"}
_KINDS = {"on-off": "on-off", "pid": "PID"}


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
        *_fit(found.of, found.terms.scale, folder / f"{mat}-fit.png"),
    ]


# ------------------------------------------------------------------- the trade-off


def _trade_off(found: Tuned, path: Path) -> list[Path]:
    figures = found.figures
    figure = a_figure(f"Mat {found.of.own.name}: what costs what", 9.0, 4.6)
    left, right = figure.subplots(1, 2, sharey=True)
    _cloud(left, found, figures.operations)
    left.set_xscale("log")
    _plain_numbers(left, figures.operations[found.search.allowed, 0])
    plain(
        left, "relay operations (logarithmic)", "deviation from the setpoint, rms [K]"
    )
    _cloud(right, found, figures.energy_kwh)
    plain(right, "energy [kWh]", "")
    handles, labels = right.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=8)
    right.set_title(f"{IN_THE_MODEL}; bars: 90 %", fontsize=7, loc="right")
    return kept(figure, path, _trade_off_words(found))


def _plain_numbers(axes: Axes, values: Vector) -> None:
    """Mark a logarithmic axis with numbers as people write them."""
    ticks = [
        step * 10**power
        for power in range(7)
        for step in (1, 2, 5)
        if values.min() / 2 <= step * 10**power <= values.max() * 2
    ]
    axes.set_xticks(ticks, [f"{tick:,}" for tick in ticks])
    axes.minorticks_off()


def _cloud(axes: Axes, found: Tuned, across: Predicted) -> None:
    up = found.figures.deviation_k
    kinds = np.array([plan.policy.kind for plan in found.figures.plans])
    for kind, mark in _MARKS.items():
        other = found.search.allowed & ~found.front & (kinds == kind)
        front = found.front & (kinds == kind)
        axes.plot(
            across[other, 0],
            up[other, 0],
            mark,
            markersize=2.5,
            markerfacecolor="none",
            markeredgecolor=PALE,
            markeredgewidth=0.6,
            linestyle="none",
            label=f"other {_KINDS[kind]} ways",
        )
        axes.plot(
            across[front, 0],
            up[front, 0],
            mark,
            markersize=3.5,
            color=INK,
            linestyle="none",
            label=f"{_KINDS[kind]}, beaten by none",
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
        f" triangles; {int(found.front.sum())} that none beats are filled."
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
    traces = [trace(world.model, world.span, plans[index]) for _, index in ways]
    figure = a_figure(
        f"Mat {found.of.own.name}: the last days of the log, {IN_THE_MODEL}",
        9.0,
        2.7 * len(ways) + 0.6,
    )
    rows = figure.subplots(
        2 * len(ways), 1, sharex=True, height_ratios=[5, 1] * len(ways)
    )
    said = [
        f"Line plots of mat {found.of.own.name}, {IN_THE_MODEL}, as means over"
        f" {_LINE_STEPS} minutes."
    ]
    for place, (name, index) in enumerate(ways):
        way = way_text(plans[index], fahrenheit=found.terms.fahrenheit)
        above, below = rows[2 * place], rows[2 * place + 1]
        _week(above, below, found, traces[place])
        above.set_title(f"{name}: {way}", fontsize=8, loc="left")
        above.set_ylim(*found.terms.scale.shown(np.array(_reach(found, traces))))
        said.append(f"{name.capitalize()}: {way}: {_week_words(found, traces[place])}.")
    handles, labels = rows[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper right", ncols=8, fontsize=7)
    return kept(figure, path, " ".join(said))


def _reach(found: Tuned, traces: Sequence[Trace]) -> tuple[float, float]:
    """Return the temperatures to show: all but what came before it was warm."""
    count = len(found.figures.trays)
    ends = []
    for one in traces:
        temps = one.temps_mc[_last_week(found.of) :, :count] / 1000
        ends += [float(np.percentile(temps, 3)), float(temps.max())]
    return min(ends) - 0.5, max(ends) + 0.3


def _week(above: Axes, below: Axes, found: Tuned, told_of: Trace) -> None:
    first = _last_week(found.of)
    at, scale = _days(found.of)[first:], found.terms.scale
    for n, name in enumerate(found.figures.trays):
        temps = told_of.temps_mc[first:, n] / 1000
        dash = DASHES[n % len(DASHES)]
        line = _means(at), scale.shown(_means(temps))
        above.plot(*line, color=INK, linewidth=0.8, linestyle=dash, label=name)
    _names(above, found, told_of)
    setpoint = scale.shown(told_of.setpoint_mc[first:] / 1000)
    above.plot(at, setpoint, color=PALE, linewidth=2.2, label="setpoint", zorder=1)
    plain(above, "", f"root zone [{scale.unit}]")
    below.fill_between(at, told_of.on[first:], step="post", color=INK, linewidth=0)
    below.set_yticks([0, 1], ["off", "on"])
    plain(below, "", "mat")
    _midnights(below, found.of, at)


def _means(values: Vector) -> Vector:
    """Return the means of one stretch after the other."""
    whole = len(values) // _LINE_STEPS * _LINE_STEPS
    if not whole:
        return values
    means: Vector = values[:whole].reshape(-1, _LINE_STEPS).mean(axis=1)
    return means


def _names(above: Axes, found: Tuned, told_of: Trace) -> None:
    """Write each tray's name where its line ends, none over another."""
    last = told_of.temps_mc[-2 * HOUR_MS // found.of.worlds[0].span.step_ms :] / 1000
    means = [float(last[:, n].mean()) for n in range(len(found.figures.trays))]
    lowest_c, scale = -np.inf, found.terms.scale
    for n in np.argsort(means):
        lowest_c = max(means[n], lowest_c + _APART_K)
        place = 1.0, float(scale.shown(np.array(lowest_c)))
        above.annotate(f" {found.figures.trays[n]}", place, xycoords=_RIGHT, fontsize=7)


def _last_week(of: Modelled) -> int:
    span = of.worlds[0].span
    return max(0, span.steps - _WEEK_D * DAY_MS // span.step_ms)


def _days(of: Modelled) -> Vector:
    """Return where each step begins, in days since the first one's midnight."""
    starts = of.season.starts
    into = timedelta(hours=starts.hour, minutes=starts.minute, seconds=starts.second)
    count = of.worlds[0].span.steps
    days = (into / timedelta(days=1)) + np.arange(count) * of.record.step_s / _DAY_S
    return np.asarray(days, dtype=np.float64)


def _midnights(axes: Axes, of: Modelled, at: Vector) -> None:
    """Mark midnights with the day that begins, some of them in a long log."""
    first, last = int(np.ceil(at[0])), int(at[-1])
    every = max(1, (last - first) // _MOST_TICKS + 1)
    days = list(range(first, last + 1, every))
    dates = [of.season.starts.date() + timedelta(days=n) for n in days]
    axes.set_xticks(days, [f"{one.day} {one:%b}" for one in dates])
    axes.margins(x=0.005)


def _week_words(found: Tuned, told_of: Trace) -> str:
    first, scale = _last_week(found.of), found.terms.scale
    ranges = []
    for n, name in enumerate(found.figures.trays):
        temps = scale.shown(told_of.temps_mc[first:, n] / 1000)
        ranges.append(f"{name} {temps.min():.1f} to {temps.max():.1f} {scale.unit}")
    switched = int(np.count_nonzero(np.diff(told_of.on[first:].astype(int)) > 0))
    return f"{', '.join(ranges)}, switched on {switched} times"


# ------------------------------------------------------------------------- the fit


def _fit(of: Modelled, scale: Scale, path: Path) -> list[Path]:
    zones = of.worlds[0].model.zones
    figure = a_figure(
        f"Mat {of.own.name}: what was measured, and the model with heat and room alone",
        9.0,
        1.6 * len(zones) + 0.6,
    )
    rows: Sequence[Axes] = list(
        np.atleast_1d(figure.subplots(len(zones), 1, sharex=True))
    )
    at = _days(of)
    said = [
        f"Line plots of mat {of.own.name}: measured temperature and the fitted model"
        " given only heat and room, without what no model knows; means over"
        f" {_MEAN_STEPS} minutes."
    ]
    for n, (zone, axes) in enumerate(zip(zones, rows, strict=True)):
        measured = of.record.temps_c[:, of.record.zones.index(zone.name)]
        alone = _alone(of, n)
        rms = float(np.sqrt(np.nanmean(np.square(alone - measured))))
        was, said_of = scale.shown(_smooth(measured)), scale.shown(_smooth(alone))
        axes.plot(at, was, color=PALE, linewidth=2.4, label="measured")
        axes.plot(at, said_of, color=INK, linewidth=0.8, label="model")
        axes.set_title(f"{zone.name}: {rms:.2f} K apart (rms)", fontsize=8, loc="left")
        plain(axes, "", f"[{scale.unit}]")
        said.append(f"{zone.name}: {rms:.2f} K apart (root mean square).")
    _midnights(rows[-1], of, at)
    handles, labels = rows[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper right", ncols=2, fontsize=7)
    return kept(figure, path, " ".join(said))


def _smooth(values: Vector) -> Vector:
    """Return means over half an hour; NaN where one of them is missing."""
    if len(values) < _MEAN_STEPS:
        return values
    inner = np.convolve(values, np.full(_MEAN_STEPS, 1 / _MEAN_STEPS), mode="valid")
    before = (len(values) - len(inner)) // 2
    after = len(values) - len(inner) - before
    return np.concatenate([np.full(before, np.nan), inner, np.full(after, np.nan)])


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
