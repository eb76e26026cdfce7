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

What was imported from another recorder the live counter never saw: recounted as
that one counts it is left out, unless the tray has nothing else. All other
recounts have it where it belongs in time.

What may live here: recounting one tray, from run to run.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from controller.core.plan import TrayPlan, all_trays
from controller.core.state import ThermalAccount
from controller.core.units import DAY_MS, MilliC
from controller.ports import IMPORTED, RunHeader, SeasonReader
from controller.review.local_days import LocalDays
from controller.review.mixed_readings import imported_tray, mixed
from controller.review.recounted import Recount, Span, Thresholds
from controller.review.thermal_ledger import Ledger
from controller.review.tray_mean import TrayMean
from controller.review.tray_readings import (
    EVER_MS,
    OutOfOrderError,
    Part,
    Row,
    Runs,
    edges,
    rows_by_piece,
    rows_in_order,
)

_AGREE_MS = 2_000
"""Chosen: clocks that were read one after the other, at the start of a run."""


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
    days: LocalDays | None = None,
) -> Recount:
    """Count a tray's thermal time from the log.

    Args:
        reader: The log.
        tray: The tray's name.
        thresholds: Base and upper; None: those of the tray, and as the live
            counter does, which begins anew where a plan changed them.
        span: Which time; None: all.
        days: What to book it on; None: the bench's local days.

    Raises:
        NoSuchTrayError: No run has this tray.
        ValueError: A wall clock lies outside of the years 1 to 9999.
    """
    asked = span or Span()
    try:
        return _Job(reader, tray, thresholds, asked, days).done(whole=False)
    except OutOfOrderError:
        return _Job(reader, tray, thresholds, asked, days).done(whole=True)


class _Job:
    """One recount."""

    def __init__(
        self,
        reader: SeasonReader,
        tray: str,
        thresholds: Thresholds | None,
        span: Span,
        days: LocalDays | None = None,
    ) -> None:
        self._reader, self._name, self._span = reader, tray, span
        headers = reader.runs()
        own = [header for header in headers if header.origin != IMPORTED]
        known = {found.name: found for found in trays_of(headers)}
        if tray not in known:
            msg = f"no run of the log has a tray {tray!r}"
            raise NoSuchTrayError(msg)
        ends = span.from_utc_ms, span.to_utc_ms
        self._as_live = thresholds is None and ends == (None, None)
        if thresholds is None:
            plan = known[tray]
            thresholds = Thresholds(plan.base_mc, plan.upper_mc)
        upper_mc = None if thresholds.upper_mc is None else MilliC(thresholds.upper_mc)
        self._empty = ThermalAccount(MilliC(thresholds.base_mc), upper_mc)
        self._timezone = headers[-1].timezone
        self._runs, self._headers = Runs(reader, headers), headers
        others = self._has_probes(one for one in headers if one.origin == IMPORTED)
        self._heard_own = self._has_probes(own)
        self._left_out = self._as_live and others and self._heard_own
        self._imported = others and not self._left_out
        if own and not self._imported:
            self._headers = own
        self._days = days or LocalDays(self._timezone, *ends)
        self._carried = self._first()
        self._ledger = Ledger(self._carried, self._days)
        self._means: dict[str, TrayMean] = {}
        self._mean = TrayMean(TrayPlan(name=tray))
        self._utc_less_run_ms: int | None = None

    def done(self, *, whole: bool) -> Recount:
        """Count; whole: read the log in one piece."""
        present: RunHeader | None = None
        for header, part in self._parts(whole=whole):
            if header is not present:
                if present is not None:
                    self._turn(present, header, part)
                present = header
                self._mean = self._means.setdefault(header.run, self._fresh(header))
            samples = self._mean.samples(part)
            self._ledger.add(samples, self._mean.longest_ms, self._doubted_ms)
            self._utc_less_run_ms = part[-1][2] - part[-1][1]
        if not self._imported and present not in (None, self._headers[-1]):
            self._enter(self._headers[-1])
        return self._result()

    def _parts(self, *, whole: bool) -> Iterator[Part]:
        """Yield rows with the headers of their runs, in the order that they count."""
        asked = self._reader, self._probes(), self._pieces(whole=whole)
        own: Iterator[list[Row]] = iter(())
        if not self._imported or self._heard_own:
            own = rows_in_order(*asked, self._runs.own)
        if not self._imported:
            return self._runs.apart(own)
        imported = rows_by_piece(*asked, self._runs.imported)
        return mixed(own, imported, self._runs, lambda run: self._fresh(run).longest_ms)

    def _fresh(self, header: RunHeader) -> TrayMean:
        if header.origin == IMPORTED:
            return TrayMean(imported_tray(self._headers, self._name))
        return TrayMean(self._tray_of(header))

    def _doubted_ms(self) -> int | None:
        return self._mean.doubted_ms

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

    def _turn(self, present: RunHeader, header: RunHeader, part: list[Row]) -> None:
        """Go on in another run, or in what another recorder heard meanwhile."""
        if IMPORTED not in {present.origin, header.origin}:
            self._enter(header)
        else:
            at_ms, utc_ms = part[0][1:3]
            self._ledger.run_ended(known=self._clocks_agree(utc_ms - at_ms))

    def _enter(self, header: RunHeader) -> None:
        """Go on in another run as the live counter did, which its state tells."""
        account = header.state.accounts.get(self._name)
        if not self._as_live or account is None:
            self._ledger.run_ended(known=self._outage_known(header))
        elif account == ThermalAccount(account.base_mc, account.upper_mc):
            self._carried = self._empty
            self._ledger = Ledger(self._empty, self._days)
        else:
            self._ledger.run_ended(known=account.last_ms is not None)

    def _outage_known(self, header: RunHeader) -> bool:
        """Whether a run's clock includes the time since the run before.

        Accounts that were kept tell; where none was, both clocks must have gone
        on alike.
        """
        if any(kept.last_ms is not None for kept in header.state.accounts.values()):
            return True
        return self._clocks_agree(header.started_utc_ms - header.started_run_ms)

    def _clocks_agree(self, utc_less_run_ms: int) -> bool:
        known_ms = self._utc_less_run_ms
        return known_ms is not None and abs(utc_less_run_ms - known_ms) <= _AGREE_MS

    def _tray_of(self, header: RunHeader) -> TrayPlan:
        trays = {tray.name: tray for tray in all_trays(header.plan)}
        return trays.get(self._name, TrayPlan(name=self._name))

    def _has_probes(self, headers: Iterable[RunHeader]) -> bool:
        return any(self._tray_of(header).probes for header in headers)

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
            account = replace(
                account,
                heat_mk_ms=sum(day.heat_mk_ms for day in days),
                warmth_mk_ms=sum(day.warmth_mk_ms for day in days),
                measured_ms=sum(day.measured_ms for day in days),
                gap_ms=sum(day.gap_ms for day in days),
                gaps=sum(gap.lasting_ms is not None for gap in gaps),
            )
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
            self._left_out,
        )
