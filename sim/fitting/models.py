"""What a log tells of a zone, by two lags or by three, and without some days.

Where a log shows three lags, gain, offset and time constants are those of
three, and three are replayed (`sim.zone_model`). Two are fitted anew with that
gain and offset: they judge whether three are to be believed, and stand for them
in a replay where the lags of three swing too much from day to day. Where a log
shows a mat that leaks and a push that lasts (`leaking`), the three are of these.
What may live here: that choice, the same again without each block of days, and how
far another model would have it otherwise: one of a push that lasts (`lasting`), or
where that is the answer the one without.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from controller.review.simc import half_rule
from sim.fitting.innovations import Found, best, held, inside, sensitivities, zone_at
from sim.fitting.jackknife import jackknife_error, moves, spread
from sim.fitting.lasting import Lasting, lasting
from sim.fitting.layered import Layered, layer_sensitivities, layered
from sim.fitting.layered import held as held_of_three
from sim.fitting.layered import inside as inside_of_three
from sim.fitting.leaking import leaking
from sim.fitting.record import Truths
from sim.fitting.sight import Sight
from sim.thermal import Matrix, Vector
from sim.zone_model import Zone

_GIVEN = 2
"""Gain and offset, which two lags take from three: the first columns of both."""

_SURE = 0.15
"""Chosen: three lags may leave the gain's logarithm unsure by this, or by as much
as two do. Two err by a tenth or so, which they do not say."""

_STEADY = 0.15
"""Chosen: three lags are replayed where days leave none of their logarithms more
unsure. On benches of three capacities a week sees to that; where more is left open
two lags foretold no worse, and with smaller errors."""

_FARTHEST = 3.0
"""Chosen: a logarithm that moves farther has no meaning, only an overflow."""


@dataclass(frozen=True, slots=True)
class Model:
    """A model of two lags or of three, and the time constants that the log tells.

    Attributes:
        two: Two lags; with the gain and offset of three where these are taken.
        slow_s: The largest time constant, of two or of three [s].
        fast_s: The smallest [s].
        three: Three lags, where these are replayed; None: the two are.
        plain: Three lags without leak and lasting push, where those that are
            replayed have them.
    """

    two: Found
    slow_s: float
    fast_s: float
    three: Layered | None = None
    plain: Layered | None = None

    @property
    def replayed(self) -> Found | Layered:
        """The model that is replayed, which predictions lean on."""
        return self.two if self.three is None else self.three

    def zone(self, name: str, *, at_mat: bool = False) -> Zone:
        """Return what is replayed as a zone.

        Raises:
            ValueError: The gain is not above 0.
        """
        return self.replayed.zone(name, at_mat=at_mat)

    def figures(self) -> Vector:
        """Return gain [K], slow and fast lag [s], dead time [s] and offset [K]."""
        return self._figures(self.slow_s, self.fast_s)

    def figures_replayed(self) -> Vector:
        """Return the same of what is replayed alone."""
        lags_s = _lags_s(self.replayed)
        return self._figures(lags_s[0], lags_s[-1])

    def _figures(self, slow_s: float, fast_s: float) -> Vector:
        found = self.replayed
        delay_s = half_rule(found.gain_k, _lags_s(found)).delay_s
        return np.array([found.gain_k, slow_s, fast_s, delay_s, found.offset_k])


def by_days(seen: Sight, left_out: Sequence[Truths]) -> tuple[Model, list[Model]]:
    """Return the model of all days, and the models without each block of them.

    Args:
        seen: What the zone offers.
        left_out: Which steps of the record to leave out, block by block.
    """
    rows = seen.steps()
    blocks = [block[rows] for block in left_out]
    two = best(seen)
    three = layered(seen, two) if seen.seen and two.credible else None
    moved = moves(sensitivities(seen, two), two.errors, blocks)
    of_three = None if three is None else _of_three(seen, two, three, blocks, moved)
    if three is not None and of_three is not None and of_three[0].three is not None:
        of_three = _of_leak(seen, two, three, blocks, moved) or of_three
    return of_three or (_model(two), [_model(_moved(two, by)) for by in moved])


def led(seen: Sight, whole: Model, anew: Sequence[Model]) -> list[Model]:
    """Return the replicates led to where a push lasts: they tell the whole error.

    Each goes some way towards or away from what a push that lasts would make of
    all days, so that the jackknife's variance of anything is that by days and
    the square of that distance. Where the push lasts already, and the mat leaks,
    they are led to where neither is so.

    Args:
        seen: What the zone offers.
        whole: The model of all days.
        anew: The models without each block of them.
    """
    if not (seen.seen and whole.two.credible):
        return list(anew)
    other = _otherwise(seen, whole)
    if other is None:
        return list(anew)
    away, layers_away = _away(seen, whole, other), _layers_away(seen, whole, other)
    ways = spread(len(anew))
    return [
        _led(one, way * away, way * layers_away)
        for one, way in zip(anew, ways, strict=True)
    ]


def _otherwise(seen: Sight, whole: Model) -> Lasting | None:
    """Return what another model of the push makes of all days."""
    if whole.plain is None:
        return lasting(seen, whole.two)
    return Lasting(whole.plain.gain_k, whole.plain.offset_k, whole.plain.lags_s)


def _away(seen: Sight, whole: Model, other: Lasting) -> Vector:
    """Return how far away the other model is.

    In ln slow_s and ln fast_s, ln gain, offset and the place of the search of
    the two lags that stand for it.
    """
    two = whole.two
    stand_in = held(seen, other.gain_k, other.offset_k, two.where)
    of_two = zone_at(two.where).lags_s[0] == whole.slow_s
    # The smallest of three is not the smaller of two where two are all there is.
    fast_s = zone_at(stand_in.where).lags_s[1] if of_two else other.lags_s[-1]
    return np.array(
        [
            np.log(other.lags_s[0] / whole.slow_s),
            np.log(fast_s / whole.fast_s),
            np.log(other.gain_k / two.gain_k),
            other.offset_k - two.offset_k,
            *(stand_in.where - two.where),
        ]
    )


def _layers_away(seen: Sight, whole: Model, other: Lasting) -> Vector:
    """Return the same of the three lags that are replayed.

    Of those that predict best with the gain and offset of the other model: its own
    lags belong to a mat that leaks, or to none that does. In ln gain, offset and the
    place of the search.
    """
    three = whole.three
    if three is None:
        return np.zeros(_GIVEN)
    stand_in = held_of_three(seen, other.gain_k, other.offset_k, three)
    return np.array(
        [
            np.log(other.gain_k / three.gain_k),
            other.offset_k - three.offset_k,
            *(stand_in.where - three.where),
        ]
    )


def _led(model: Model, by: Vector, layers_by: Vector) -> Model:
    """Return a model that was led so far away from where it was."""
    slow, fast = np.exp(_within(by[:_GIVEN])).tolist()
    two, three = _moved(model.two, by[_GIVEN:]), model.three
    if model.two.credible:
        two = replace(two, where=inside(two.where))
    if three is not None:
        three = _moved(three, layers_by)
        three = replace(three, where=inside_of_three(three.where))
    return Model(two, model.slow_s * slow, model.fast_s * fast, three)


def _of_three(
    seen: Sight, two: Found, three: Layered, blocks: Sequence[Truths], moved: Matrix
) -> tuple[Model, list[Model]] | None:
    """Return the models by three lags; None: the log does not tell these.

    Args:
        seen: What the zone offers.
        two: The best model of two lags.
        three: The best of three.
        blocks: Which errors to leave out, one block after the other.
        moved: How far two lags move without each block.
    """
    layers = moves(layer_sensitivities(seen, three), three.errors, blocks)
    unsure, enough = jackknife_error(layers)[0], jackknife_error(moved)[0]
    if unsure > max(_SURE, enough):
        return None
    stand_in = held(seen, three.gain_k, three.offset_k, two.where)
    if _lost(two, stand_in) > _lost(three, two):
        return None
    given = layers[:, :_GIVEN]
    moved = moves(sensitivities(seen, stand_in), stand_in.errors, blocks, given)
    twos = [stand_in, *(_moved(stand_in, by) for by in moved)]
    threes = [three, *(_moved(three, by) for by in layers)]
    if not all(two.credible for two in twos):
        return None
    replays = _steady(threes[1:])
    whole, *anew = (
        replace(_model(two, of.lags_s), three=of if replays else None)
        for two, of in zip(twos, threes, strict=True)
    )
    return whole, anew


def _of_leak(
    seen: Sight, two: Found, three: Layered, blocks: Sequence[Truths], moved: Matrix
) -> tuple[Model, list[Model]] | None:
    """Return the same by three lags of a mat that leaks; None: not told, or unsteady.

    Args:
        seen: What the zone offers.
        two: The best model of two lags.
        three: The best of three, of a mat that does not leak.
        blocks: Which errors to leave out, one block after the other.
        moved: How far two lags move without each block.
    """
    leaks = leaking(seen, three)
    found = None if leaks is None else _of_three(seen, two, leaks, blocks, moved)
    if found is None or found[0].three is None:
        return None
    return replace(found[0], plain=three), found[1]


def _steady(anew: Sequence[Layered]) -> bool:
    """Whether three lags can be replayed: each of them holds without some days."""
    if not all(one.credible for one in anew):
        return False
    unsure = jackknife_error(np.log([one.lags_s for one in anew]))
    return bool(unsure.max() < _STEADY)


def _lost(better: Found | Layered, worse: Found | Layered) -> float:
    """Return how much less likely one is than the other, in logarithms per row."""
    return float(np.log(np.sum(worse.errors**2) / np.sum(better.errors**2)))


def _model(two: Found, lags_s: Vector | None = None) -> Model:
    times = _lags_s(two) if lags_s is None else lags_s
    return Model(two, float(times[0]), float(times[-1]))


def _lags_s(found: Found | Layered) -> Sequence[float]:
    if isinstance(found, Layered):
        return [float(lag_s) for lag_s in found.lags_s]
    return zone_at(found.where).lags_s


Either = TypeVar("Either", Found, Layered)


def _moved(found: Either, by: Vector) -> Either:
    """Return a model moved in ln gain, offset and its place in the search."""
    return replace(
        found,
        where=found.where + _within(by[2:]),
        gain_k=found.gain_k * float(np.exp(_within(by[:1])[0])),
        offset_k=found.offset_k + float(by[1]),
    )


def _within(logarithms: Vector) -> Vector:
    return np.clip(logarithms, -_FARTHEST, _FARTHEST)
