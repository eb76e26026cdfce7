"""Days to come under each way of keeping a mat: for `tune` and `whatif`. No command.

What may live here: what is foretold of them, in words and as JSON.
"""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from controller.cli.figure_table import ranged
from controller.cli.modelled import Modelled, progress
from controller.cli.output import table
from controller.cli.prices import AskedError
from controller.core.plan import MatPlan
from sim.tuning.coming import after
from sim.tuning.jackknifed import LEVEL, Interval
from sim.tuning.prediction import Foretold, foretell

MOST_DAYS = 60
_KW_H = 24 / 1e6
"""From mW to kWh a day."""


@dataclass(frozen=True, slots=True)
class NextDays:
    """What is foretold of days to come.

    Attributes:
        count: How many days.
        names: What each way of keeping the mat stands for.
        plans: Those ways.
        foretold: What is foretold of each.
    """

    count: int
    names: tuple[str, ...]
    plans: tuple[MatPlan, ...]
    foretold: tuple[Foretold, ...]


def check_days(count: int | None) -> None:
    """Refuse a number of days of which nothing can be said.

    Raises:
        AskedError: It is none.
    """
    if count is not None and not 1 <= count <= MOST_DAYS:
        raise AskedError(f"--next {count}: from 1 to {MOST_DAYS} days")


def next_days(
    count: int | None, of: Modelled, ways: Sequence[tuple[str, MatPlan]]
) -> NextDays | None:
    """Return what is foretold; None: nobody asked.

    Raises:
        AskedError: The log is too short.
    """
    if count is None:
        return None
    try:
        coming = after(of.record, count)
        told = tuple(
            foretell(
                of.record,
                of.fits,
                of.worlds,
                of.asked,
                plan,
                coming,
                progress("days to come"),
            )
            for _, plan in ways
        )
    except ValueError as error:
        raise AskedError(f"--next {count}: {error}") from None
    names, plans = zip(*ways, strict=True)
    return NextDays(count, names, plans, told)


def in_words(found: NextDays) -> Iterator[str]:
    """Yield a table of what is foretold, and what it rests on."""
    text = (
        f"The next {found.count} days, from where the log ends: expected, with the"
        f" interval that holds what comes {LEVEL:.0%} of the time. Above it is the"
        " log's own time again, whose sun and waterings are known; these are days that"
        " no log has, drawn from the log's whole days, so that the interval is wider."
        " It holds if their weather and the care taken are like those of the log, and"
        " if no guard holds heat back."
    )
    yield from textwrap.wrap(text, 88)
    yield ""
    rows = [
        [name, *(ranged(one, digits, unit) for one in intervals)]
        for name, unit, digits, intervals in _rows(found)
    ]
    yield table(["", *found.names], rows)


def as_json(found: NextDays) -> dict[str, object]:
    """Return what is foretold."""
    return {
        "days": found.count,
        "level": LEVEL,
        "how": "jackknife, days drawn from the log, other lifts, the log's days retold",
        "ways": {
            way: {
                name: {
                    "value": intervals[n].value,
                    "low": intervals[n].low,
                    "high": intervals[n].high,
                    "unit": unit.strip(),
                }
                for name, unit, _, intervals in _rows(found)
            }
            for n, way in enumerate(found.names)
        },
    }


def _rows(found: NextDays) -> Iterator[tuple[str, str, int, list[Interval]]]:
    days = found.count
    kwh = [days * plan.power_mw * _KW_H for plan in found.plans]
    yield "energy", " kWh", 2, _each(found, "duty", kwh)
    same = [float(days)] * len(found.plans)
    yield "relay switches", "", 0, _each(found, "switches", same)
    once = [1.0] * len(found.plans)
    yield "highest tray", " °C", 1, _each(found, "peak", once)
    for tray in found.plans[0].trays:
        if tray.probes:
            mean, heat = f"mean {tray.name}", f"degree-hours {tray.name}"
            yield f"{tray.name} mean", " °C", 2, _each(found, mean, once)
            base = f"{tray.name} over {tray.base_mc / 1000:g} °C"
            yield base, " K·h", 0, _each(found, heat, same)


def _each(found: NextDays, name: str, times: Sequence[float]) -> list[Interval]:
    return [
        _scaled(told.interval(name), by)
        for told, by in zip(found.foretold, times, strict=True)
    ]


def _scaled(one: Interval, by: float) -> Interval:
    ends = (None if end is None else by * end for end in (one.low, one.high))
    return Interval(by * one.value, *ends)
