"""The fitted model and its replicates, each with the days of the log around it.

Every model explains the very same readings: it has its own push, smoothed with
it, so that sun and watering come out as the log had them. What may live here:
how record and fits become models and spans.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from controller.core.plan import MatPlan
from sim.fitting.fitted import Fitted
from sim.fitting.record import Record
from sim.fitting.smoother import USUAL, Smoothed, smoothed
from sim.whatif.span import Span
from sim.zone_model import MatModel, Zone, in_three

Tell = Callable[[int, int], None]
"""Told how much is done, and of how much."""


@dataclass(frozen=True, slots=True)
class World:
    """A model, and the time in which it is asked.

    Attributes:
        model: The mat's zones.
        span: The days of the log.
    """

    model: MatModel
    span: Span


class NoModelError(ValueError):
    """A mat's zones have no model to ask; the message says which and why."""


def without_unmodelled(mat: MatPlan, fits: Sequence[Fitted]) -> tuple[MatPlan, str]:
    """Return a mat with only what has a model, and what was left out, in words.

    Raises:
        NoModelError: A tray that drives it has none, or no tray has.
    """
    modelled = {fit.name for fit in fits if fit.zone is not None}
    trays = [tray.name for tray in mat.trays if tray.probes]
    missing = [name for name in trays if name not in modelled]
    surfaces = [probe for probe in mat.surface if probe.name in modelled]
    lost = missing + [p.name for p in mat.surface if p.name not in modelled]
    if len(missing) == len(trays) or mat.driving_tray in missing:
        which = mat.driving_tray or ", ".join(missing)
        words = [word for fit in fits if fit.name in missing for word in fit.verdicts]
        why = "; ".join(dict.fromkeys(words))
        raise NoModelError(f"mat {mat.name}: no model of {which}: {why or 'no data'}")
    kept = replace(
        mat,
        trays=tuple(
            replace(tray, probes=()) if tray.name in missing else tray
            for tray in mat.trays
        ),
        surface=tuple(surfaces),
    )
    return kept, ", ".join(lost)


def worlds(
    record: Record, fits: Sequence[Fitted], mat: MatPlan, tell: Tell
) -> tuple[World, ...]:
    """Return the fitted model in its days, then each replicate in the same.

    Args:
        record: What the log tells.
        fits: What was fitted to it.
        mat: The mat, with only what has a model.
        tell: Told of progress.
    """
    names = [tray.name for tray in mat.trays if tray.probes]
    names += [probe.name for probe in mat.surface]
    by_name = {fit.name: fit for fit in fits}
    wanted = [by_name[name] for name in names]
    # Zones with other numbers of replicates were not fitted without the same days.
    counts = {len(fit.replicates) for fit in wanted}
    count = counts.pop() if len(counts) == 1 else 0
    found = []
    for number in range(-1, count):
        zones = [_zone(fit, number) for fit in wanted]
        found.append(_world(record, wanted, zones, mat))
        tell(number + 2, count + 1)
    return tuple(found)


def _zone(fit: Fitted, number: int) -> Zone:
    zone = fit.zone if number < 0 else fit.replicates[number]
    if zone is None:
        raise AssertionError("zones without a model were left out before")
    return zone


def _world(
    record: Record, fits: Sequence[Fitted], zones: Sequence[Zone], mat: MatPlan
) -> World:
    did: list[Smoothed] = [
        smoothed(zone, record, record.zones.index(fit.name), fit.noise or USUAL)
        for fit, zone in zip(fits, zones, strict=True)
    ]
    room_c = record.room_everywhere_c()
    return World(
        MatModel(mat.name, tuple(zones)),
        Span(
            step_s=record.step_s,
            room_c=room_c,
            push=np.stack([one.push for one in did], axis=1),
            minutes=record.local_minute,
            start_c=np.stack([in_three(one.start) for one in did]),
            room_heard=bool(np.isfinite(record.room_c).any()),
            sudden=np.stack([one.sudden for one in did], axis=1),
        ),
    )
