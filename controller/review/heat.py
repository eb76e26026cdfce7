"""How much a mat was on, and what was wanted of it, bucket by bucket.

Buckets are those of envelopes, so that heat stands below the temperatures of the
same time. What is told are commands: what a relay made of them is not. What may
live here: this arithmetic on whole numbers.
"""

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise

from controller.ports import Bucket, Heated
from controller.review.columns import Rows, empty, filled
from controller.review.envelopes import BEGINNING_MS, bucket_of


@dataclass(frozen=True, slots=True)
class HeatBucket:
    """What a mat was told in one bucket.

    Attributes:
        start_ms: Where it begins [ms].
        known_ms: For how much of it a command is known [ms].
        on_ms: How much of that it was told to be on [ms].
        wanted_ms: For how much of it a setpoint is known [ms].
        wanted_mc_ms: Sum of the setpoint over that [m°C ms].
        low_mc: The lowest setpoint [m°C]; None: none is known.
        high_mc: The highest [m°C].
    """

    start_ms: int
    known_ms: int = 0
    on_ms: int = 0
    wanted_ms: int = 0
    wanted_mc_ms: int = 0
    low_mc: int | None = None
    high_mc: int | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """How well a tray kept to what was wanted, hour by hour.

    Attributes:
        hours: Hours with readings and a setpoint.
        within: How many of them had a mean near enough to it.
    """

    hours: int
    within: int


def heat_buckets(
    told: Iterable[Heated], from_ms: int, to_ms: int, width_ms: int
) -> Sequence[HeatBucket]:
    """Return the buckets of a stretch in which something is known, in order.

    Args:
        told: What the mat was told, in order of time; the last of it holds to
            the stretch's end.
        from_ms: Start of the stretch [ms].
        to_ms: Its end [ms].
        width_ms: Width of a bucket [ms].
    """
    first = bucket_of(from_ms, width_ms)
    count = bucket_of(to_ms - 1, width_ms) - first + 1
    known_ms, on_ms, *setpoints = empty(6, count)
    for begin_ms, end_ms, on, setpoint_mc in _spells(told, from_ms, to_ms):
        for number, lasting_ms in _shares(begin_ms, end_ms, width_ms):
            at = number - first
            known_ms[at] += lasting_ms
            on_ms[at] += lasting_ms if on else 0
            if setpoint_mc is not None:
                _add(setpoints, at, lasting_ms, setpoint_mc)
    begun_ms = (BEGINNING_MS + (first + n) * width_ms for n in range(count))
    found = filled((known_ms, on_ms, *setpoints, array("q", begun_ms)))
    return Rows(_bucket, found)


def _bucket(cells: Sequence[int]) -> HeatBucket:
    known_ms, on_ms, wanted_ms, wanted_mc_ms, low_mc, high_mc, start_ms = cells
    if not wanted_ms:
        return HeatBucket(start_ms, known_ms, on_ms)
    wanted = wanted_ms, wanted_mc_ms, low_mc, high_mc
    return HeatBucket(start_ms, known_ms, on_ms, *wanted)


def kept(hours: Iterable[Bucket], heat: Iterable[HeatBucket], within_mk: int) -> Kept:
    """Return in how many hours the mean was near the mean setpoint.

    Args:
        hours: The tray's temperatures by the hour, in order of time.
        heat: Its mat's heat by the same hours, in order of time.
        within_mk: How near [mK].
    """
    compared = within = 0
    coming = iter(heat)
    one = next(coming, None)
    for hour in hours:
        while one is not None and one.start_ms < hour.start_ms:
            one = next(coming, None)
        if one is not None and one.start_ms == hour.start_ms and one.wanted_ms:
            off_mk = abs(hour.sum_mc / hour.n - one.wanted_mc_ms / one.wanted_ms)
            compared += 1
            within += off_mk <= within_mk
    return Kept(compared, within)


_Spell = tuple[int, int, bool, int | None]


def _spells(told: Iterable[Heated], from_ms: int, to_ms: int) -> Iterator[_Spell]:
    """Yield stretches in which one command held, its setpoint carried on."""
    setpoint_mc: int | None = None
    for one, following in pairwise(chain(told, [Heated(to_ms, None, None)])):
        if one.on is None:
            setpoint_mc = None
            continue
        if one.setpoint_mc is not None:
            setpoint_mc = one.setpoint_mc
        begin_ms, end_ms = max(from_ms, one.utc_ms), min(to_ms, following.utc_ms)
        if begin_ms < end_ms:
            yield begin_ms, end_ms, one.on, setpoint_mc


def _shares(begin_ms: int, end_ms: int, width_ms: int) -> Iterator[tuple[int, int]]:
    for number in range(
        bucket_of(begin_ms, width_ms), bucket_of(end_ms - 1, width_ms) + 1
    ):
        start_ms = BEGINNING_MS + number * width_ms
        yield number, min(end_ms, start_ms + width_ms) - max(begin_ms, start_ms)


def _add(
    setpoints: Sequence["array[int]"], at: int, lasting_ms: int, setpoint_mc: int
) -> None:
    wanted_ms, wanted_mc_ms, low_mc, high_mc = setpoints
    if wanted_ms[at]:
        low_mc[at] = min(low_mc[at], setpoint_mc)
        high_mc[at] = max(high_mc[at], setpoint_mc)
    else:
        low_mc[at] = high_mc[at] = setpoint_mc
    wanted_ms[at] += lasting_ms
    wanted_mc_ms[at] += setpoint_mc * lasting_ms
