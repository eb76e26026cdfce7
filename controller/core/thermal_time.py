"""Thermal time: degree-hours as an exact integral, never bridging a gap.

Between two usable readings the temperature is taken to run in a straight line.
The integral of that line above a base, and below an upper cut-off, is computed
exactly and rounded once per interval to a whole thousandth of a kelvin times a
millisecond. Sums of whole numbers do not depend on their order: days add up to
the season to the last digit. What may live here: this arithmetic. The run
clock is the only clock.
"""

from controller.core.state import ThermalAccount
from controller.core.units import MilliC, Millis


def heat_along(
    from_mc: int, to_mc: int, base_mc: int, upper_mc: int | None, lasting_ms: int
) -> int:
    """Integrate the temperature above base and below upper along a line [mK·ms].

    Where the line crosses the base this is the triangle (M - T0)² / (2 (M - m))
    of the single-triangle method, less the same for the upper cut-off (Zalom et
    al. 1983, UC Leaflet 21373), with the exact time in place of half a day.

    Args:
        from_mc: Temperature at the start [m°C].
        to_mc: Temperature at the end [m°C].
        base_mc: Base temperature [m°C].
        upper_mc: Horizontal upper cut-off [m°C]; None: none.
        lasting_ms: Length of the interval [ms].

    Returns:
        The integral, rounded half to even.
    """
    above = _above(from_mc, to_mc, base_mc)
    if upper_mc is not None:
        above -= _above(from_mc, to_mc, upper_mc)
    return _half_even(above * lasting_ms, 2 * (abs(to_mc - from_mc) or 1))


def _above(from_mc: int, to_mc: int, threshold_mc: int) -> int:
    """Return twice the mean height of a line above a threshold times its rise.

    The rise is the common denominator: whole numbers until the one rounding. A
    level line is taken to rise by one, being of the same height all along.
    """
    low, high = max(0, from_mc - threshold_mc), max(0, to_mc - threshold_mc)
    return abs(high * high - low * low) if from_mc != to_mc else 2 * high


def add_sample(
    account: ThermalAccount, at_ms: Millis, temp_mc: MilliC, stale_after_ms: int
) -> ThermalAccount:
    """Carry an account forward to a usable sample.

    Args:
        account: The account so far.
        at_ms: Time of the sample; run clock [ms]. Not later than the last one:
            nothing changes.
        temp_mc: The sample [m°C].
        stale_after_ms: A longer interval is a gap: counted, never bridged [ms].
    """
    if account.last_ms is None:
        return _moved(account, at_ms, temp_mc)
    lasting_ms = at_ms - account.last_ms
    if lasting_ms <= 0:
        return account
    if lasting_ms > stale_after_ms:
        return _moved(account, at_ms, temp_mc, gap_ms=lasting_ms, gaps=1)
    last_mc = account.last_mc
    heat = heat_along(last_mc, temp_mc, account.base_mc, account.upper_mc, lasting_ms)
    warmth = _half_even((last_mc + temp_mc) * lasting_ms, 2)
    return ThermalAccount(
        account.base_mc,
        account.upper_mc,
        at_ms,
        temp_mc,
        account.heat_mk_ms + heat,
        account.warmth_mk_ms + warmth,
        account.measured_ms + lasting_ms,
        account.gap_ms,
        account.gaps,
    )


def _moved(
    account: ThermalAccount,
    at_ms: Millis,
    temp_mc: MilliC,
    gap_ms: int = 0,
    gaps: int = 0,
) -> ThermalAccount:
    return ThermalAccount(
        account.base_mc,
        account.upper_mc,
        at_ms,
        temp_mc,
        account.heat_mk_ms,
        account.warmth_mk_ms,
        account.measured_ms,
        account.gap_ms + gap_ms,
        account.gaps + gaps,
    )


def _half_even(numerator: int, denominator: int) -> int:
    """Divide and round half to even; the denominator is positive."""
    quotient, rest = divmod(numerator, denominator)
    doubled = 2 * rest
    if doubled > denominator or (doubled == denominator and quotient % 2):
        return quotient + 1
    return quotient
