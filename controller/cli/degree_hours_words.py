"""Recounted degree-hours in words and tables.

What may live here: what a person reads of a recount. Every figure says whether
it is the integral of all readings or comes from a day's highest and lowest.
"""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.cli.output import figure, table
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, celsius, kelvin_hours
from controller.review.daily_degree_days import ABBREVIATIONS, SOURCES, DailyMethod
from controller.review.day_shapes import Cutoff
from controller.review.day_table import DayRow, day_rows, methods_for
from controller.review.recounted import Bounds, Recount, bounds
from controller.review.thermal_days import Gap

SHOWN_GAPS = 20
"""Gaps printed for each tray, the longest; --json has all."""

INTEGRAL = (
    "integral of the straight line between readings, above base and below upper; "
    "gaps are counted, never bridged"
)
FROM_EXTREMES = "from each day's highest and lowest reading, whatever was measured"

_F_PER_K = 1.8
_WIDE = 88

Told = Sequence[tuple[Recount, bool | None]]
"""Each tray's recount, and whether the live counter agrees (None: not compared)."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What shall be told.

    Attributes:
        days: The daily table.
        methods: The daily methods beside it.
        cutoff: How they take the upper.
        fahrenheit: In °F·h, °F·d and °F.
    """

    days: bool
    methods: bool
    cutoff: Cutoff
    fahrenheit: bool


def in_words(told: Told, wanted: Wanted) -> Iterator[str]:
    """Yield lines for people."""
    for number, (counted, agrees) in enumerate(told):
        yield from [""] if number else []
        yield from _Words(counted, wanted).lines(agrees=agrees)
    if wanted.methods:
        yield ""
        yield f"Daily methods, {FROM_EXTREMES}:"
        for method in _methods(told, wanted):
            words = f"{ABBREVIATIONS[method]}, {method.value}: {SOURCES[method]}"
            yield from _wrapped(words, "  ")


def _methods(told: Told, wanted: Wanted) -> list[DailyMethod]:
    used = [methods_for(counted.account.upper_mc, wanted.cutoff) for counted, _ in told]
    return [method for method in DailyMethod if any(method in some for some in used)]


class _Words:
    """One tray in words."""

    def __init__(self, counted: Recount, wanted: Wanted) -> None:
        self._counted, self._wanted = counted, wanted
        self._zone = ZoneInfo(counted.timezone)
        self._factor = _F_PER_K if wanted.fahrenheit else 1.0
        self._unit = "°F" if wanted.fahrenheit else "K"

    def lines(self, *, agrees: bool | None) -> Iterator[str]:
        counted = self._counted
        heat = counted.account.heat_mk_ms
        yield (
            f"Tray {counted.tray}: {self._hours(heat)} {self._above()}"
            f" ({self._days(heat)})"
        )
        yield from _wrapped(self._from_what(agrees=agrees), "  ")
        if counted.gaps:
            yield from self._gaps()
        if self._wanted.days and counted.days:
            yield ""
            yield from self._table()

    # ------------------------------------------------------------------- the total

    def _from_what(self, *, agrees: bool | None) -> str:
        counted = self._counted
        measured = _hours_text(counted.account.measured_ms)
        said = [f"integral of {counted.readings:,} readings, {measured} measured"]
        if counted.carried.heat_mk_ms:
            carried = self._hours(counted.carried.heat_mk_ms)
            said.append(f"{carried} of it from before this log")
        if counted.left_out:
            said.append(
                "imported readings, which the live counter never had, are left out"
                " (--base or --from counts them, too)"
            )
        if not counted.gaps:
            said.append("no gaps" if counted.readings else "nothing was measured")
        if agrees is not None:
            said.append(
                "the live counter says the same, to the last digit"
                if agrees
                else "THE LIVE COUNTER SAYS OTHERWISE: scans are missing in the log, "
                "or `bottomheat audit` finds more"
            )
        return "; ".join(said)

    def _above(self) -> str:
        account = self._counted.account
        upper = account.upper_mc
        words = f"above {self._temp(account.base_mc)}"
        return (
            words
            if upper is None
            else f"{words} and no faster above {self._temp(upper)}"
        )

    # ---------------------------------------------------------------------- the gaps

    def _gaps(self) -> Iterator[str]:
        counted = self._counted
        gap_ms = sum(gap.lasting_ms or 0 for gap in counted.gaps)
        could = bounds(counted, gap_ms)
        number = len(counted.gaps)
        yield from _wrapped(
            f"{number:,} gap{'' if number == 1 else 's'}, {_hours_text(gap_ms)}"
            f" together: would have added {self._range(could)}, had the tray been as"
            f" cold or as warm as its lowest or highest reading ({self._extremes()}),"
            f" which is an assumption; certain is {self._certain(could)}",
            "  ",
        )
        if any(gap.lasting_ms is None for gap in counted.gaps):
            yield "  of a gap of unknown length (a clock was not set) nothing is known"
        longest = sorted(counted.gaps, key=_length, reverse=True)[:SHOWN_GAPS]
        rows = [self._gap_row(gap) for gap in counted.gaps if gap in longest]
        head = ("from", "to", "lasted", "why", f"would add [{self._unit}·h]")
        yield textwrap.indent(table(head, rows), "    ")
        if number > len(rows):
            yield f"    … the longest {len(rows)} of {number:,}"

    def _gap_row(self, gap: Gap) -> tuple[str, ...]:
        lasted, could = "unknown", "-"
        if gap.lasting_ms is not None:
            lasted = _lasting_text(gap.lasting_ms)
            could = self._range(bounds(self._counted, gap.lasting_ms), unit=False)
        start, end = self._instant(gap.from_utc_ms), self._instant(gap.to_utc_ms)
        return start, end, lasted, gap.why.value, could

    def _range(self, could: Bounds, *, unit: bool = True) -> str:
        least = kelvin_hours(could.at_least) * self._factor
        most = kelvin_hours(could.at_most) * self._factor
        return f"{least:.1f} to {most:.1f}" + (f" {self._unit}·h" if unit else "")

    def _certain(self, could: Bounds) -> str:
        if could.never_above is None:
            return "no less than 0, and without an upper no most"
        return f"0 to {self._hours(could.never_above)}"

    def _extremes(self) -> str:
        low_mc, high_mc = self._counted.low_mc, self._counted.high_mc
        if low_mc is None or high_mc is None:
            return "none"
        return f"{self._temp(low_mc)}, {self._temp(high_mc)}"

    # ---------------------------------------------------------------------- the days

    def _table(self) -> Iterator[str]:
        counted, wanted = self._counted, self._wanted
        methods: tuple[DailyMethod, ...] = ()
        if wanted.methods:
            methods = methods_for(counted.account.upper_mc, wanted.cutoff)
        rows = day_rows(counted, methods, wanted.cutoff)
        yield from _wrapped(self._head_words(with_methods=bool(methods)), "  ")
        head = ["day", f"{self._unit}·h", "so far", "measured", "low", "high"]
        if methods:
            head.append(f"{self._unit}·d")
            head += [ABBREVIATIONS[method] for method in methods]
        cells = [self._cells(row, methods) for row in rows]
        whole = [row for row in rows if row.whole]
        if methods and whole:
            cells.append(self._sum(whole, methods))
        yield textwrap.indent(table(head, cells), "  ")
        if methods and not all(row.whole for row in rows):
            yield "  * not in the sum: it or the next day is not all measured"

    def _head_words(self, *, with_methods: bool) -> str:
        unit = self._unit
        words = f"Days in {self._counted.timezone}. {unit}·h: integral of the readings"
        if not with_methods:
            return words
        words += f"; {unit}·d: the same / 24; then, in {unit}·d, {FROM_EXTREMES}"
        if self._counted.account.upper_mc is not None:
            words += f", {self._wanted.cutoff.value} cut-off"
        return words

    def _cells(self, row: DayRow, methods: Sequence[DailyMethod]) -> list[str]:
        scaled = [self._scaled(row.degree_days_k_d[method]) for method in methods]
        cells = [
            row.day.isoformat() + ("" if row.whole or not methods else " *"),
            figure(self._scaled(row.degree_hours_k_h), 1),
            figure(self._scaled(row.cumulative_k_h), 1),
            f"{row.hours_measured:.1f} h",
            self._temp_cell(row.low_c),
            self._temp_cell(row.high_c),
        ]
        if methods:
            integral = self._scaled(row.degree_hours_k_h / 24)
            cells += [figure(value, 2) for value in (integral, *scaled)]
        return cells

    def _sum(self, rows: Sequence[DayRow], methods: Sequence[DailyMethod]) -> list[str]:
        hours = self._scaled(sum(row.degree_hours_k_h for row in rows))
        sums = [
            self._scaled(sum(row.degree_days_k_d[method] or 0 for row in rows))
            for method in methods
        ]
        measured_h = sum(row.hours_measured for row in rows)
        days = self._scaled(sum(row.degree_hours_k_h for row in rows) / 24)
        head = ["sum", figure(hours, 1), "", f"{measured_h:.1f} h", "", ""]
        return head + [figure(value, 2) for value in (days, *sums)]

    # ------------------------------------------------------------------------- units

    def _scaled(self, value: float | None) -> float | None:
        return None if value is None else value * self._factor

    def _hours(self, heat_mk_ms: int) -> str:
        return f"{kelvin_hours(heat_mk_ms) * self._factor:,.1f} {self._unit}·h"

    def _days(self, heat_mk_ms: int) -> str:
        return f"{kelvin_hours(heat_mk_ms) / 24 * self._factor:,.2f} {self._unit}·d"

    def _temp(self, temp_mc: int) -> str:
        temp_c = celsius(temp_mc)
        if self._wanted.fahrenheit:
            return f"{round(temp_c * _F_PER_K + 32, 2):g} °F"
        return f"{temp_c:g} °C"

    def _temp_cell(self, temp_c: float | None) -> str:
        if temp_c is not None and self._wanted.fahrenheit:
            temp_c = temp_c * _F_PER_K + 32
        return figure(temp_c, 1)

    def _instant(self, utc_ms: int) -> str:
        return f"{moment(utc_ms).astimezone(self._zone):%Y-%m-%d %H:%M}"


def moment(utc_ms: int) -> datetime:
    """Return an instant [ms since 1970] in UTC."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=utc_ms)


def _length(gap: Gap) -> int:
    return DAY_MS * DAY_MS if gap.lasting_ms is None else gap.lasting_ms


def _hours_text(lasting_ms: int) -> str:
    return f"{lasting_ms / HOUR_MS:,.1f} h"


def _lasting_text(lasting_ms: int) -> str:
    if lasting_ms < HOUR_MS:
        return f"{lasting_ms / MINUTE_MS:.1f} min"
    return f"{lasting_ms / HOUR_MS:.1f} h"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, _WIDE, initial_indent=indent, subsequent_indent=indent + "  "
    )
