"""What a recount of degree-hours is asked with, and what it answers.

What may live here: these shapes, and what gaps could have added.
"""

from dataclasses import dataclass

from controller.core.state import ThermalAccount
from controller.review.thermal_days import Gap, ThermalDay


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What to count with.

    Attributes:
        base_mc: Base temperature [m°C].
        upper_mc: Horizontal upper cut-off [m°C]; None: none.

    Raises:
        ValueError: The upper does not lie above the base.
    """

    base_mc: int
    upper_mc: int | None = None

    def __post_init__(self) -> None:
        if self.upper_mc is not None and self.upper_mc <= self.base_mc:
            msg = (
                f"upper = {self.upper_mc / 1000:g} °C: must lie above base, here"
                f" {self.base_mc / 1000:g} °C"
            )
            raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Span:
    """Which time to count; readings at its very end are not part of it.

    Attributes:
        from_utc_ms: Where it begins [ms]; None: with the log.
        to_utc_ms: Where it ends [ms]; None: with the log.
        newest_utc_ms: Where the log roughly ends [ms]: it is read in pieces
            until there.
    """

    from_utc_ms: int | None = None
    to_utc_ms: int | None = None
    newest_utc_ms: int = 0


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the gaps could have added [mK·ms].

    Attributes:
        at_least: Had the tray been at the lowest temperature that was measured.
        at_most: Had it been at the highest. Both are assumptions.
        never_above: At upper or above it all the time: no tray can have more;
            None: without an upper nothing is certain. (Never below is 0.)
    """

    at_least: int
    at_most: int
    never_above: int | None


@dataclass(frozen=True, slots=True)
class Recount:
    """A tray's thermal time, counted again.

    Attributes:
        tray: Its name.
        account: As the live counter keeps it, of the span if there is one.
        days: Day by day; their sums are the account's, less `carried`.
        gaps: Intervals too long to be bridged.
        carried: What the account held before the first reading of the log.
        low_mc: The lowest temperature that was counted [m°C]; None: there is
            none.
        high_mc: The highest [m°C].
        timezone: Whose days they are.
        left_out: Whether the log has imported readings of it that are left out:
            the live counter never had them.
    """

    tray: str
    account: ThermalAccount
    days: tuple[ThermalDay, ...]
    gaps: tuple[Gap, ...]
    carried: ThermalAccount
    low_mc: int | None
    high_mc: int | None
    timezone: str
    left_out: bool = False

    @property
    def readings(self) -> int:
        """How many readings were counted."""
        return sum(day.readings for day in self.days)


def bounds(counted: Recount, gap_ms: int) -> Bounds:
    """Return what gaps of this length altogether could have added [ms]."""
    base_mc, upper_mc = counted.account.base_mc, counted.account.upper_mc
    low_mc = base_mc if counted.low_mc is None else counted.low_mc
    high_mc = base_mc if counted.high_mc is None else counted.high_mc
    return Bounds(
        _gain_mk(low_mc, base_mc, upper_mc) * gap_ms,
        _gain_mk(high_mc, base_mc, upper_mc) * gap_ms,
        None if upper_mc is None else (upper_mc - base_mc) * gap_ms,
    )


def _gain_mk(temp_mc: int, base_mc: int, upper_mc: int | None) -> int:
    cut_mc = temp_mc if upper_mc is None else min(temp_mc, upper_mc)
    return max(0, cut_mc - base_mc)
