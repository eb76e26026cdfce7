"""The thermal time of a batch as a path: so far, over its stays, and ahead.

A crop's own curve says what an hour counts. What may live here: that path, and
reading it both ways: how much by when, and when so much.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from controller.core.units import HOUR_MS
from controller.records.places import Stay
from controller.review.days_ahead import LONGEST_MS, Outlook, Standing, outlook
from controller.review.tray_hours import Hours, TrayHours, filled
from controller.trials.response_curves import Curve

_MANY_HOURS = 12
"""Chosen: that many hours without a reading are told of."""


class UnmeasuredError(Exception):
    """The warmth of a batch cannot be told; the message says why."""


Piece = tuple[int, int, float]
"""From when to when [ms], and what an hour of it counts [K]."""


class WarmthPath:
    """Thermal time against the clock, never falling.

    Args:
        start_utc_ms: Where it begins, with nothing [ms].
        pieces: What came after, without holes.
    """

    def __init__(self, start_utc_ms: int, pieces: Iterable[Piece]) -> None:
        self._times = [start_utc_ms]
        self._sums = [0.0]
        for piece in pieces:
            self._add(piece)

    def _add(self, piece: Piece) -> None:
        from_ms, to_ms, warmth_k = piece
        self._times.append(to_ms)
        self._sums.append(self._sums[-1] + warmth_k * (to_ms - from_ms) / HOUR_MS)

    @property
    def total(self) -> float:
        """Thermal time at its end [K·h]."""
        return self._sums[-1]

    @property
    def end_utc_ms(self) -> int:
        """Where it ends [ms]."""
        return self._times[-1]

    def at(self, utc_ms: int) -> float:
        """Return the thermal time by some moment; outside, that of the nearest end."""
        n = bisect_right(self._times, utc_ms)
        if n == 0:
            return 0.0
        if n == len(self._times):
            return self.total
        from_ms, to_ms = self._times[n - 1], self._times[n]
        part = (utc_ms - from_ms) / (to_ms - from_ms)
        return self._sums[n - 1] + part * (self._sums[n] - self._sums[n - 1])

    def when(self, thermal_time: float) -> int | None:
        """Return when some thermal time is reached [ms]; None: not on this path."""
        n = bisect_left(self._sums, thermal_time)
        if n == len(self._sums):
            return None
        if n == 0:
            return self._times[0]
        grown = self._sums[n] - self._sums[n - 1]
        part = (thermal_time - self._sums[n - 1]) / grown
        return round(self._times[n - 1] + part * (self._times[n] - self._times[n - 1]))

    def go_on(self, curve: Curve, ahead: Outlook, thermal_time: float) -> None:
        """Go on with what is ahead, until some thermal time or for a year and more."""
        last_ms = self.end_utc_ms + LONGEST_MS
        while self.total < thermal_time and self.end_utc_ms < last_ms:
            from_ms = self.end_utc_ms
            hour = from_ms // HOUR_MS
            warmth_k = curve.warmth(ahead.temp_c(hour))
            self._add((from_ms, (hour + 1) * HOUR_MS, warmth_k))


@dataclass(frozen=True, slots=True)
class Lived:
    """What a batch has lived through.

    Attributes:
        path: Its thermal time so far.
        notes: What a person should know of it, a sentence each.
    """

    path: WarmthPath
    notes: tuple[str, ...]


def lived(
    stays: Iterable[Stay], curve: Curve, trays: TrayHours, standing: Standing
) -> Lived:
    """Return what a batch has lived through, up to now or to its end.

    Raises:
        UnmeasuredError: Nothing was measured of a tray that it stood in, and no mat
            heats it.
    """
    now_ms = standing.now_utc_ms
    told = [_cut(stay, now_ms) for stay in stays]
    notes: list[str] = []
    known = _Temperatures(trays, standing, notes)
    pieces = [piece for stay in told for piece in _pieces(*stay, curve, known)]
    start_ms = told[0][1] if told else now_ms
    return Lived(WarmthPath(start_ms, pieces), tuple(dict.fromkeys(notes)))


def _cut(stay: Stay, now_utc_ms: int) -> tuple[str, int, int]:
    end_ms = now_utc_ms if stay.to_utc_ms is None else stay.to_utc_ms
    return stay.tray, stay.from_utc_ms, max(stay.from_utc_ms, min(end_ms, now_utc_ms))


def _pieces(
    tray: str,
    from_ms: int,
    to_ms: int,
    curve: Curve,
    known: "_Temperatures",
) -> Iterator[Piece]:
    if to_ms <= from_ms:
        return
    if not tray:
        hours = (to_ms - from_ms) / HOUR_MS
        known.notes.append(f"{hours:.0f} hours off the bench count nothing")
        yield from_ms, to_ms, 0.0
        return
    first, last = from_ms // HOUR_MS, -(-to_ms // HOUR_MS)
    temps = known.of(tray, first, last)
    for hour, temp_c in enumerate(temps, first):
        start_ms, end_ms = hour * HOUR_MS, (hour + 1) * HOUR_MS
        yield max(start_ms, from_ms), min(end_ms, to_ms), curve.warmth(temp_c)


class _Temperatures:
    """How warm trays were, hour by hour, as well as anybody knows."""

    def __init__(self, trays: TrayHours, standing: Standing, notes: list[str]) -> None:
        self._trays, self._standing, self.notes = trays, standing, notes

    def of(self, tray: str, first: int, last: int) -> list[float]:
        """Return the means of hours, those that nobody measured filled in."""
        hours = hours_of(self._trays, tray, self.notes)
        if not hours:
            return self._planned(tray, first, last)
        temps, missing = filled(hours, first, last)
        if missing > _MANY_HOURS:
            self.notes.append(
                f"{missing} hours of {tray} were not measured: taken to have been as"
                " before and after"
            )
        return temps

    def _planned(self, tray: str, first: int, last: int) -> list[float]:
        planned = outlook(self._standing, tray, {})
        if planned is None:
            raise UnmeasuredError(
                f"nothing was measured in tray {tray}, nor in another on its mat"
            )
        self.notes.append(
            f"nothing was measured in tray {tray} yet: taken to have been as planned"
        )
        return [planned.temp_c(hour) for hour in range(first, last)]


def hours_of(trays: TrayHours, tray: str, notes: list[str]) -> Hours:
    """Return hourly means of a tray, or of those beside it, and note which."""
    own = trays.of(tray)
    if own:
        return own
    beside = trays.beside(tray)
    if beside:
        notes.append(
            f"{tray} has no reading of its own: taken to be as its mat's others"
        )
    return beside
