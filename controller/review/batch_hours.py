"""Degree-hours of a batch: counted tray by tray over its stays.

What may live here: that sum, and what it needs of a log. Nothing is remembered.
"""

from dataclasses import dataclass

from controller.core.units import DAY_MS
from controller.ports import SeasonReader
from controller.records.places import Stay
from controller.review.degree_hours import NoSuchTrayError, recount
from controller.review.recounted import Span, Thresholds


@dataclass(frozen=True, slots=True)
class Hours:
    """Thermal time of some stretch, as `core.state.ThermalAccount` counts it.

    Attributes:
        heat_mk_ms: Degree-hours [mK·ms].
        warmth_mk_ms: The integral of the temperature [m°C·ms].
        measured_ms: How long it was measured [ms].
        gap_ms: How long it was not, between readings [ms].
    """

    heat_mk_ms: int = 0
    warmth_mk_ms: int = 0
    measured_ms: int = 0
    gap_ms: int = 0

    def plus(self, more: "Hours") -> "Hours":
        """Return the sum of two stretches."""
        return Hours(
            self.heat_mk_ms + more.heat_mk_ms,
            self.warmth_mk_ms + more.warmth_mk_ms,
            self.measured_ms + more.measured_ms,
            self.gap_ms + more.gap_ms,
        )


@dataclass(frozen=True, slots=True)
class Piece:
    """What is counted at once, and does not change once it has ended.

    Attributes:
        tray: The tray.
        thresholds: Base and upper.
        from_utc_ms: Beginning [ms].
        to_utc_ms: End [ms].
    """

    tray: str
    thresholds: Thresholds
    from_utc_ms: int
    to_utc_ms: int


def pieces(stay: Stay, thresholds: Thresholds, until_utc_ms: int) -> tuple[Piece, ...]:
    """Return a stay in pieces: up to the last midnight UTC, and what came since.

    The first changes once a day, so that whoever remembers it counts little anew.

    Args:
        stay: The stay; off the bench there is nothing to count.
        thresholds: Base and upper.
        until_utc_ms: Where a stay that goes on is cut [ms].
    """
    end_ms = until_utc_ms if stay.to_utc_ms is None else stay.to_utc_ms
    end_ms = min(end_ms, until_utc_ms)
    begin_ms = stay.from_utc_ms
    if not stay.tray or end_ms <= begin_ms:
        return ()
    midnight_ms = end_ms - end_ms % DAY_MS
    if stay.to_utc_ms is not None or midnight_ms <= begin_ms:
        return (Piece(stay.tray, thresholds, begin_ms, end_ms),)
    old = Piece(stay.tray, thresholds, begin_ms, midnight_ms)
    if midnight_ms == end_ms:
        return (old,)
    return (old, Piece(stay.tray, thresholds, midnight_ms, end_ms))


def count_piece(reader: SeasonReader, piece: Piece) -> Hours:
    """Count a piece from the log; of a tray that the log does not know, nothing.

    Raises:
        ValueError: A wall clock lies outside of the years 1 to 9999.
    """
    span = Span(piece.from_utc_ms, piece.to_utc_ms, newest_utc_ms=piece.to_utc_ms)
    try:
        account = recount(reader, piece.tray, piece.thresholds, span).account
    except NoSuchTrayError:
        return Hours()
    return Hours(
        account.heat_mk_ms,
        account.warmth_mk_ms,
        account.measured_ms,
        account.gap_ms,
    )
