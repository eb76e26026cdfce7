"""How much a mat was on, and what was wanted of it, bucket by bucket.

Buckets are those of envelopes, so that heat stands below the temperatures of the
same time. What is told are commands: what a relay made of them is not. What may
live here: this arithmetic on whole numbers.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, pairwise

from controller.ports import Bucket, Heated
from controller.review.envelopes import BEGINNING_MS, bucket_of


@dataclass(slots=True)
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
) -> list[HeatBucket]:
    """Return the buckets of a stretch in which something is known, in order.

    Args:
        told: What the mat was told, in order of time; the last of it holds to
            the stretch's end.
        from_ms: Start of the stretch [ms].
        to_ms: Its end [ms].
        width_ms: Width of a bucket [ms].
    """
    found: dict[int, HeatBucket] = {}
    for begin_ms, end_ms, on, setpoint_mc in _spells(told, from_ms, to_ms):
        for number, lasting_ms in _shares(begin_ms, end_ms, width_ms):
            start_ms = BEGINNING_MS + number * width_ms
            bucket = found.setdefault(number, HeatBucket(start_ms))
            _add(bucket, lasting_ms, lasting_ms if on else 0, setpoint_mc)
    return [found[number] for number in sorted(found)]


def kept(hours: Iterable[Bucket], heat: Iterable[HeatBucket], within_mk: int) -> Kept:
    """Return in how many hours the mean was near the mean setpoint.

    Args:
        hours: The tray's temperatures by the hour.
        heat: Its mat's heat by the same hours.
        within_mk: How near [mK].
    """
    wanted = {
        bucket.start_ms: bucket.wanted_mc_ms / bucket.wanted_ms
        for bucket in heat
        if bucket.wanted_ms
    }
    off_mk = [
        abs(hour.sum_mc / hour.n - wanted[hour.start_ms])
        for hour in hours
        if hour.start_ms in wanted
    ]
    return Kept(len(off_mk), sum(off <= within_mk for off in off_mk))


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
    bucket: HeatBucket, lasting_ms: int, on_ms: int, setpoint_mc: int | None
) -> None:
    bucket.known_ms += lasting_ms
    bucket.on_ms += on_ms
    if setpoint_mc is None:
        return
    bucket.wanted_ms += lasting_ms
    bucket.wanted_mc_ms += setpoint_mc * lasting_ms
    low_mc, high_mc = bucket.low_mc, bucket.high_mc
    bucket.low_mc = setpoint_mc if low_mc is None else min(low_mc, setpoint_mc)
    bucket.high_mc = setpoint_mc if high_mc is None else max(high_mc, setpoint_mc)
