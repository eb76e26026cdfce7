"""Degree-hours once more, from the readings that the season log kept.

With a tray's own base and upper the recount and the live counter agree to the
last bit: the same whole numbers of the same intervals, on the bench's run clock,
in order of arrival, with what the core did not take left out, from run to run.
With another base, another upper or a span of time it gives what the counter
would have said.

What the log does not tell, and where they may therefore differ: scans that were
lost to a failing disk or deleted since; a message without a value that bears the
very time of a reading before it (taken for one that came twice); one from the
future of its scan; and what a probe said, within the scan in which it reached a
cut-out for the second time, after that.

What may live here: recounting one tray, and what its gaps could have added.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.core.plan import TrayPlan, all_trays
from controller.core.state import ThermalAccount
from controller.core.units import DAY_MS, MilliC
from controller.ports import RunHeader, SeasonReader
from controller.review.local_days import LocalDays
from controller.review.thermal_ledger import Gap, Ledger, ThermalDay
from controller.review.tray_readings import (
    EVER_MS,
    OutOfOrderError,
    TrayMean,
    by_run,
    edges,
    rows_in_order,
)

_AGREE_MS = 2_000
"""Chosen: clocks that were read one after the other, at the start of a run."""


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
    """

    tray: str
    account: ThermalAccount
    days: tuple[ThermalDay, ...]
    gaps: tuple[Gap, ...]
    carried: ThermalAccount
    low_mc: int | None
    high_mc: int | None
    timezone: str

    @property
    def readings(self) -> int:
        """How many readings were counted."""
        return sum(day.readings for day in self.days)


class NoSuchTrayError(LookupError):
    """No run of the log has a tray of this name."""


def trays_of(headers: Sequence[RunHeader]) -> tuple[TrayPlan, ...]:
    """Return the trays of all runs, each as its last run had it, oldest first."""
    found: dict[str, TrayPlan] = {}
    for header in headers:
        found.update({tray.name: tray for tray in all_trays(header.plan)})
    return tuple(found.values())


def recount(
    reader: SeasonReader,
    tray: str,
    thresholds: Thresholds | None = None,
    span: Span | None = None,
) -> Recount:
    """Count a tray's thermal time from the log.

    Args:
        reader: The log.
        tray: The tray's name.
        thresholds: Base and upper; None: those of the tray, and as the live
            counter does, which begins anew where a plan changed them.
        span: Which time; None: all.

    Raises:
        NoSuchTrayError: No run has this tray.
        ValueError: A wall clock lies outside of the years 1 to 9999.
    """
    job = _Job(reader, tray, thresholds, span or Span())
    try:
        return job.done(whole=False)
    except OutOfOrderError:
        return job.done(whole=True)


class _Job:
    """One recount."""

    def __init__(
        self,
        reader: SeasonReader,
        tray: str,
        thresholds: Thresholds | None,
        span: Span,
    ) -> None:
        self._reader, self._name, self._span = reader, tray, span
        self._headers = reader.runs()
        known = {found.name: found for found in trays_of(self._headers)}
        if tray not in known:
            msg = f"no run of the log has a tray {tray!r}"
            raise NoSuchTrayError(msg)
        ends = span.from_utc_ms, span.to_utc_ms
        self._as_live = thresholds is None and ends == (None, None)
        if thresholds is None:
            own = known[tray]
            thresholds = Thresholds(own.base_mc, own.upper_mc)
        upper_mc = None if thresholds.upper_mc is None else MilliC(thresholds.upper_mc)
        self._empty = ThermalAccount(MilliC(thresholds.base_mc), upper_mc)
        self._timezone = self._headers[-1].timezone
        self._days = LocalDays(self._timezone, *ends)

    def done(self, *, whole: bool) -> Recount:
        """Count; whole: read the log in one piece."""
        self._ledger = Ledger(self._first(), self._days)
        self._carried = self._first()
        self._utc_less_run_ms: int | None = None
        present: RunHeader | None = None
        mean = TrayMean(TrayPlan(name=self._name))
        rows = rows_in_order(self._reader, self._probes(), self._pieces(whole=whole))
        for header, part in by_run(self._reader, self._headers, rows):
            if header is not present:
                if present is not None:
                    self._enter(header)
                present, mean = header, TrayMean(self._tray_of(header))
            self._ledger.add(
                mean.samples(part), mean.longest_ms, lambda mean=mean: mean.doubted_ms
            )
            self._utc_less_run_ms = part[-1][2] - part[-1][1]
        if present is not None and present is not self._headers[-1]:
            self._enter(self._headers[-1])
        return self._result()

    # ------------------------------------------------------------- from run to run

    def _first(self) -> ThermalAccount:
        """Return what the account held before the first reading of the log."""
        for header in self._headers:
            account = header.state.accounts.get(self._name)
            if account is not None:
                own = account.base_mc, account.upper_mc
                asked = self._empty.base_mc, self._empty.upper_mc
                return account if self._as_live and own == asked else self._empty
        return self._empty

    def _enter(self, header: RunHeader) -> None:
        """Go on in another run as the live counter did, which its state tells."""
        account = header.state.accounts.get(self._name)
        if not self._as_live or account is None:
            self._ledger.run_ended(known=self._outage_known(header))
        elif account == ThermalAccount(account.base_mc, account.upper_mc):
            self._carried = self._empty
            self._ledger.begin(self._empty)
        else:
            self._ledger.run_ended(known=account.last_ms is not None)

    def _outage_known(self, header: RunHeader) -> bool:
        """Whether a run's clock includes the time since the run before.

        Accounts that were kept tell; where none was, both clocks must have gone
        on alike.
        """
        if any(kept.last_ms is not None for kept in header.state.accounts.values()):
            return True
        if self._utc_less_run_ms is None:
            return False
        skew_ms = header.started_utc_ms - header.started_run_ms
        return abs(skew_ms - self._utc_less_run_ms) <= _AGREE_MS

    def _tray_of(self, header: RunHeader) -> TrayPlan:
        trays = {tray.name: tray for tray in all_trays(header.plan)}
        return trays.get(self._name, TrayPlan(name=self._name))

    def _probes(self) -> list[str]:
        """Return every probe that the tray has had in any run."""
        trays = map(self._tray_of, self._headers)
        return list(dict.fromkeys(p.name for tray in trays for p in tray.probes))

    def _pieces(self, *, whole: bool) -> list[int]:
        """Return where to cut the log [ms]; readings just outside help to begin."""
        span = self._span
        from_ms = span.from_utc_ms
        start_ms = -EVER_MS if from_ms is None else from_ms - DAY_MS
        end_ms = EVER_MS if span.to_utc_ms is None else span.to_utc_ms + DAY_MS
        if whole:
            return [start_ms, end_ms]
        begun_ms = [header.started_utc_ms for header in self._headers]
        newest_ms = max(span.newest_utc_ms, *begun_ms)
        return edges(start_ms, end_ms, min(begun_ms), newest_ms)

    # ---------------------------------------------------------------- what came out

    def _result(self) -> Recount:
        days, gaps = self._ledger.days(), self._ledger.gaps()
        account = self._ledger.account()
        if not self._as_live:
            account = replace(account, **_sums(days, gaps))
        lows = [day.low_mc for day in days if day.low_mc is not None]
        highs = [day.high_mc for day in days if day.high_mc is not None]
        return Recount(
            self._name,
            account,
            days,
            gaps,
            self._carried,
            min(lows, default=None),
            max(highs, default=None),
            self._timezone,
        )


def _sums(days: Sequence[ThermalDay], gaps: Sequence[Gap]) -> dict[str, int]:
    return {
        "heat_mk_ms": sum(day.heat_mk_ms for day in days),
        "warmth_mk_ms": sum(day.warmth_mk_ms for day in days),
        "measured_ms": sum(day.measured_ms for day in days),
        "gap_ms": sum(day.gap_ms for day in days),
        "gaps": sum(gap.lasting_ms is not None for gap in gaps),
    }


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
