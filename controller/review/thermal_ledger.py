"""The live counter's arithmetic once more, with a page for every local day.

`add_sample` of the core says what an interval between two samples is worth, to
a whole mK·ms. The same whole numbers are summed here, only faster, and each is
booked on the days that it lies in. What may live here: that booking, and the
gaps. Where readings come from is told in tray_readings.

An interval lies on the wall clock so that it ends at its later reading and is as
long as the run clock says. Where it goes over midnight, the earlier day gets
the exact part, rounded half to even, and the later day what is left of the
interval's whole number: so days add up to the season to the last digit.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from controller.core.state import ThermalAccount
from controller.core.thermal_time import heat_along
from controller.core.units import MilliC, Millis
from controller.review.local_days import LocalDays
from controller.review.thermal_days import (
    Gap,
    Line,
    ThermalDay,
    Why,
    inside,
    together,
)

Sample = tuple[int, int, int]
"""A tray's temperature: run clock [ms], wall clock [ms], value [m°C]."""

_NEVER_MS = -(2**62)
_BEYOND_MC = 2**31


class _Sums(NamedTuple):
    """Sums of an account so far."""

    heat: int = 0
    warmth: int = 0
    measured: int = 0
    gap: int = 0
    gaps: int = 0


_NOTHING = _Sums()


@dataclass(slots=True)
class _Page:
    """The day that is being written."""

    day: int | None = None
    start_ms: int = 0
    end_ms: int = 0
    before: _Sums = _NOTHING
    readings: int = 0
    low_mc: int = _BEYOND_MC
    high_mc: int = -_BEYOND_MC


class Ledger:
    """Counts a tray's samples: the account of the live counter, and its days.

    Args:
        account: Where it begins; its base and upper are counted with.
        days: The days to book on; outside of their span nothing is.
    """

    def __init__(self, account: ThermalAccount, days: LocalDays) -> None:
        self._calendar = days
        self._base_mc = int(account.base_mc)
        self._upper_mc = _BEYOND_MC if account.upper_mc is None else account.upper_mc
        self._last_ms = _NEVER_MS if account.last_ms is None else int(account.last_ms)
        self._last_mc = int(account.last_mc)
        self._last_utc_ms: int | None = None
        self._sums = _Sums(
            account.heat_mk_ms,
            account.warmth_mk_ms,
            account.measured_ms,
            account.gap_ms,
            account.gaps,
        )
        self._page = _Page()
        self._written: dict[int, ThermalDay] = {}
        self._gaps: list[Gap] = []
        self._run_ended = self._cut = False

    def run_ended(self, *, known: bool) -> None:
        """A run has ended; known: the run clock includes the time until the next."""
        self._run_ended = True
        if not known and self._last_ms != _NEVER_MS:
            self._last_ms, self._cut = _NEVER_MS, True

    def add(
        self,
        samples: Iterable[Sample],
        stale_after_ms: int,
        doubted_ms: Callable[[], int | None],
    ) -> None:
        """Count samples, in order of arrival.

        Args:
            samples: They may be made while they are taken.
            stale_after_ms: A longer interval is a gap [ms].
            doubted_ms: Tells when a reading was last not taken; run clock [ms].
        """
        coming = iter(samples)
        while (sample := self._along(coming, stale_after_ms)) is not None:
            at_ms, utc_ms, temp_mc = sample
            if self._last_ms == _NEVER_MS:
                self._first(utc_ms)
            elif at_ms - self._last_ms > stale_after_ms:
                self._gap(at_ms - self._last_ms, utc_ms, doubted_ms())
            else:
                self._across(at_ms - self._last_ms, utc_ms, temp_mc)
            self._turn_to(utc_ms)
            self._note(at_ms, utc_ms, temp_mc)

    def _along(  # noqa: PLR0915  # the one hot loop: a season in a second
        self, samples: Iterator[Sample], stale_ms: int
    ) -> Sample | None:
        """Count what stays within a day; return the first that does not.

        This is add_sample, unrolled: between base and upper, the mean height
        times the time is what heat_along comes to.
        """
        base_mc, upper_mc, page = self._base_mc, self._upper_mc, self._page
        heat, warmth, measured, gap, gaps = self._sums
        last_ms, last_mc = self._last_ms, self._last_mc
        low_mc, high_mc, count = page.low_mc, page.high_mc, 0
        start_ms, end_ms = page.start_ms, page.end_ms
        found = None
        utc_ms = self._last_utc_ms
        for at_ms, then_ms, temp_mc in samples:
            lasting_ms = at_ms - last_ms
            if lasting_ms <= 0:
                continue
            if lasting_ms > stale_ms or not start_ms + lasting_ms <= then_ms < end_ms:
                found = at_ms, then_ms, temp_mc
                break
            both = last_mc + temp_mc
            doubled = both * lasting_ms
            half = doubled >> 1
            warmth += half + (doubled & half & 1)  # half to even
            if base_mc <= last_mc <= upper_mc and base_mc <= temp_mc <= upper_mc:
                doubled = (both - base_mc - base_mc) * lasting_ms
                half = doubled >> 1
                heat += half + (doubled & half & 1)
            elif last_mc > base_mc or temp_mc > base_mc:
                heat += heat_along(last_mc, temp_mc, base_mc, upper_mc, lasting_ms)
            measured += lasting_ms
            count += 1
            last_ms, last_mc, utc_ms = at_ms, temp_mc, then_ms
            low_mc = min(low_mc, temp_mc)
            high_mc = max(high_mc, temp_mc)
        self._sums = _Sums(heat, warmth, measured, gap, gaps)
        self._last_ms, self._last_mc, self._last_utc_ms = last_ms, last_mc, utc_ms
        page.low_mc, page.high_mc = low_mc, high_mc
        page.readings += count
        return found

    def _first(self, utc_ms: int) -> None:
        """Nothing is known of the time before; where it was cut, that is a gap."""
        if self._cut and self._last_utc_ms is not None:
            self._gaps.append(Gap(self._last_utc_ms, utc_ms, None, Why.RUN_ENDED))

    def _gap(self, lasting_ms: int, utc_ms: int, doubted_ms: int | None) -> None:
        why = Why.SILENT
        if self._run_ended:
            why = Why.RUN_ENDED
        elif doubted_ms is not None and doubted_ms > self._last_ms:
            why = Why.DOUBTED
        self._gaps.append(Gap(utc_ms - lasting_ms, utc_ms, lasting_ms, why))
        self._turn_to(utc_ms - lasting_ms)
        before = self._sums
        self._sums = before._replace(gaps=before.gaps + 1)
        for part_ms in self._midnights(lasting_ms, utc_ms):
            self._sums = self._sums._replace(gap=before.gap + part_ms)

    def _across(self, lasting_ms: int, utc_ms: int, temp_mc: int) -> None:
        """Book a straight line on the days that it lies in."""
        self._turn_to(utc_ms - lasting_ms)
        before = self._sums
        for part_ms in self._midnights(lasting_ms, utc_ms):
            line = Line(self._last_mc, temp_mc, lasting_ms, part_ms)
            heat = line.heat(self._base_mc, self._upper_mc)
            self._sums = before._replace(
                heat=before.heat + heat,
                warmth=before.warmth + line.warmth(),
                measured=before.measured + part_ms,
            )

    def _midnights(self, lasting_ms: int, utc_ms: int) -> Iterator[int]:
        """Yield how far into an interval each of its days ends, then its length.

        Between two of them the page is turned.
        """
        start_ms = utc_ms - lasting_ms
        while self._page.end_ms < utc_ms:
            yield self._page.end_ms - start_ms
            self._turn_to(self._page.end_ms)
        yield lasting_ms

    def _note(self, at_ms: int, utc_ms: int, temp_mc: int) -> None:
        page = self._page
        page.readings += 1
        page.low_mc = min(page.low_mc, temp_mc)
        page.high_mc = max(page.high_mc, temp_mc)
        self._last_ms, self._last_mc, self._last_utc_ms = at_ms, temp_mc, utc_ms
        self._run_ended = self._cut = False

    def _turn_to(self, utc_ms: int) -> None:
        if not self._page.start_ms <= utc_ms < self._page.end_ms:
            self._write_page()
            self._page = _Page(*self._calendar.at(utc_ms), before=self._sums)

    def _write_page(self) -> None:
        """Write the open page down, beside what the day may have already.

        A clock that was set back comes to a day twice.
        """
        page = self._page
        if page.day is not None:
            pairs = zip(self._sums, page.before, strict=True)
            sums = _Sums(*(now - then for now, then in pairs))
            day = ThermalDay(
                page.day,
                sums.heat,
                sums.warmth,
                sums.measured,
                sums.gap,
                sums.gaps,
                page.readings,
                page.low_mc if page.readings else None,
                page.high_mc if page.readings else None,
            )
            known = self._written.get(page.day)
            self._written[page.day] = day if known is None else together(known, day)

    # ----------------------------------------------------------------- what came out

    def account(self) -> ThermalAccount:
        """Return the account as the live counter has it."""
        last_ms = None if self._last_ms == _NEVER_MS else Millis(self._last_ms)
        upper_mc = None if self._upper_mc == _BEYOND_MC else MilliC(self._upper_mc)
        return ThermalAccount(
            MilliC(self._base_mc), upper_mc, last_ms, MilliC(self._last_mc), *self._sums
        )

    def days(self) -> tuple[ThermalDay, ...]:
        """Return the days within the span, in order."""
        self._write_page()
        self._page = _Page()
        return tuple(day for _, day in sorted(self._written.items()))

    def gaps(self) -> tuple[Gap, ...]:
        """Return the gaps within the span, in the order in which they came.

        One that reaches over an end of the span is told as far as it is inside.
        """
        span = self._calendar.from_ms, self._calendar.to_ms
        found = (inside(gap, *span) for gap in self._gaps)
        return tuple(gap for gap in found if gap is not None)
