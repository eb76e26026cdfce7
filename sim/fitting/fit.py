"""A thermal model of each zone of a mat, from a record.

What may live here: the order of it: look for jumps, fit, judge what can be
told, leave out days.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sim.fitting.fitted import PARAMETERS, Estimate, Fitted, FittedMat, Residuals
from sim.fitting.identifiable import (
    MORE_TOLD,
    SINGULAR,
    Collinearity,
    collinearity,
    hopeless,
    incredible,
    together,
)
from sim.fitting.innovations import best, sensitivities
from sim.fitting.jackknife import (
    LEAST_BLOCKS,
    blocks,
    jackknife_covariance,
    jackknife_error,
)
from sim.fitting.jumps import jumps
from sim.fitting.models import Model, by_days, led
from sim.fitting.record import Record, Truths
from sim.fitting.residuals import residuals
from sim.fitting.sight import Sight, sight
from sim.thermal import Matrix, Vector
from sim.zone_model import Zone

DAY_S = 86_400

WILD = 0.5
"""Chosen: a figure whose logarithm errs by this (a factor of 1.6) is none."""

WILD_K = 3.0
"""Chosen: an offset that errs by this is none."""

_RATIO = 4
"""Its column in the sensitivities."""

_GAIN, _SLOW, _FAST, _DELAY, _OFFSET = range(5)

_LEANS_ON = {0: (_GAIN,), 1: (_OFFSET,), 2: (_FAST, _DELAY), 3: (_SLOW,)}
"""Which figures are in doubt with a column of the sensitivities."""


def fit_mat(record: Record) -> FittedMat:
    """Return the fit of each zone of a mat.

    Args:
        record: What the log tells; jumps are looked for here.
    """
    found = with_jumps(record)
    return FittedMat(
        mat=record.mat,
        start_utc_ms=record.start_utc_ms,
        step_s=record.step_s,
        steps=len(record),
        on_share=float(record.on_share.mean()),
        windows=found.windows,
        zones=tuple(fit_zone(found, index) for index in range(len(found.zones))),
    )


def with_jumps(record: Record) -> Record:
    """Return a record with windows where readings jump as no heat explains.

    A zone that cannot be fitted at all is left as it is; so are surface probes,
    of which two lags say too little to tell a jump.
    """
    starts = list(record.windows)
    for index, name in enumerate(record.zones):
        if not record.at_mat[index] and np.isfinite(record.room_c).any():
            seen = sight(record, index)
            if not hopeless(record, index, seen):
                starts += jumps(name, seen, best(seen))
    starts.sort(key=lambda start: start.step)
    return replace(record, windows=tuple(starts))


def fit_zone(record: Record, index: int) -> Fitted:
    """Return the model of one zone, its errors, and what cannot be told.

    Args:
        record: What the log tells of its mat.
        index: Which of the record's zones.
    """
    if not np.isfinite(record.room_c).any():
        why = "nobody measured the room: warmer than what, no one can say"
        return _untold(record, index, why)
    seen = sight(record, index)
    days = len(blocks(record.local_day, seen.counts, DAY_S / record.step_s))
    why = hopeless(record, index, seen)
    if not why and days < LEAST_BLOCKS:
        why = f"only {days} days with readings; {LEAST_BLOCKS} are needed"
    if why:
        return _untold(record, index, why)
    whole, anew = by_days(seen, left_out(record))
    why = incredible(whole.two, [model.two for model in anew])
    if why:
        return _untold(record, index, why)
    return _fitted(record, index, seen, whole, anew)


def left_out(record: Record) -> list[Truths]:
    """Return the blocks of days, the same for all zones of the mat.

    Where a zone is silent for some of them it is the same without: whoever runs
    a mat anew without some days needs all of its zones without these days.
    """
    heard = np.asarray(np.isfinite(record.temps_c).any(axis=1), dtype=np.bool_)
    return blocks(record.local_day, heard, DAY_S / record.step_s)


def _fitted(
    record: Record, index: int, seen: Sight, whole: Model, anew: Sequence[Model]
) -> Fitted:
    name, at_mat = record.zones[index], record.at_mat[index]
    two = whole.two
    further = led(seen, whole, anew)
    replicates = tuple(one.zone(name, at_mat=at_mat) for one in further)
    # The noise ratio is no parameter of the bench, and told apart easily.
    apart = collinearity(np.delete(sensitivities(seen, two), _RATIO, axis=1))
    figures = whole.figures()
    by_day, told = (
        np.array([one.figures() for one in many]) for many in (anew, further)
    )
    errors = jackknife_error(told)
    replayed = np.array([one.figures_replayed() for one in anew])
    verdicts = _whys(apart, figures, _errors(replayed))
    whys = [
        verdict or (_CONTRADICT if astray else _LASTS if wild else "")
        for verdict, astray, wild in zip(
            verdicts, _wild(_errors(by_day)), _wild(_errors(told)), strict=True
        )
    ]
    estimates = [
        Estimate(None, None, why) if why else Estimate(float(figure), float(error))
        for figure, error, why in zip(figures, errors, whys, strict=True)
    ]
    return Fitted(
        name=name,
        at_mat=at_mat,
        zone=whole.zone(name, at_mat=at_mat),
        noise=whole.replayed.noise,
        gain_k=estimates[_GAIN],
        slow_s=estimates[_SLOW],
        fast_s=estimates[_FAST],
        delay_s=estimates[_DELAY],
        offset_k=estimates[_OFFSET],
        covariance=jackknife_covariance(
            np.array([_parameters(one) for one in replicates])
        ),
        replicates=replicates,
        condition=apart.condition,
        verdicts=tuple(dict.fromkeys(why for why in verdicts if why)),
        residuals=_left(seen, whole),
        room_known=float(np.isfinite(record.room_c).mean()),
    )


def _left(seen: Sight, whole: Model) -> Residuals:
    """Return what the model that is replayed leaves."""
    found = whole.replayed
    return residuals(found.errors[seen.counts[seen.steps()]], len(found.where) + 2)


def _parameters(zone: Zone) -> Vector:
    logs = np.log([zone.gain_k, zone.mat_s, zone.medium_s, zone.coupling])
    more = [] if zone.between_s is None else [np.log(zone.between_s), zone.leak]
    return np.array([*logs, zone.offset_k, *more])


def _logarithms(figures: Matrix) -> Matrix:
    return np.column_stack([np.log(figures[:, :_OFFSET]), figures[:, _OFFSET]])


def _errors(figures: Matrix) -> Vector:
    """Return the errors of figures over some replicates: of logarithms, and [K]."""
    return jackknife_error(_logarithms(figures))


def _wild(errors: Vector) -> list[bool]:
    """Return which figures err too much to be told."""
    bounds = [WILD_K if figure == _OFFSET else WILD for figure in range(len(errors))]
    return [bool(error > most) for error, most in zip(errors, bounds, strict=True)]


_CONTRADICT = (
    "the days contradict each other: without one of them the answer is quite another;"
    f" {MORE_TOLD}"
)
_LASTS = (
    "sun and other heat that nobody measures, taken to last for hours, would have it"
    f" quite another; {MORE_TOLD}"
)


def _whys(apart: Collinearity, figures: Vector, errors: Vector) -> list[str]:
    """Return for each figure why it cannot be told; empty: it can."""
    whys = [""] * len(figures)
    for column in apart.shared:
        for figure in _LEANS_ON.get(column, ()):
            whys[figure] = together(apart.shared)
    if apart.condition > SINGULAR:
        whys = [together(apart.shared)] * len(figures)
    for figure, wild in enumerate(_wild(errors)):
        if not whys[figure] and wild:
            whys[figure] = _CONTRADICT
    return whys


def _untold(record: Record, index: int, why: str) -> Fitted:
    none = Estimate(None, None, why)
    return Fitted(
        name=record.zones[index],
        at_mat=record.at_mat[index],
        zone=None,
        noise=None,
        gain_k=none,
        slow_s=none,
        fast_s=none,
        delay_s=none,
        offset_k=none,
        covariance=np.full((len(PARAMETERS), len(PARAMETERS)), np.nan),
        replicates=(),
        condition=float("inf"),
        verdicts=(why,),
        residuals=None,
        room_known=float(np.isfinite(record.room_c).mean()),
    )
