"""What the rooting forecast puts into the calendar: windows of dates. Pure.

What may live here: from the forecast as it is kept to entries. A batch without a date
has none.
"""

from collections.abc import Iterator
from datetime import date, datetime

from api.forecast_shapes import BatchForecastView, DatesView, ForecastView
from api.moment import Moment
from controller.calendar import Entry
from controller.records.batches import BatchKind
from controller.records.book import BatchFile, Book, batches

_CHANCES = {50: "as likely as not", 90: "nine times in ten"}


def window_entries(look: Moment, book: Book, forecast: ForecastView) -> Iterator[Entry]:
    """Yield the windows of 50 % and 90 % of every open batch that has dates.

    One that was seen to have rooted by half has none any more.
    """
    told = {one["code"]: one for one in forecast["batches"] if not one["reached"]}
    for file in batches(book):
        one = told.get(file.code)
        stuck = file.batch.stuck_utc_ms is not None
        if one is None or file.closing is not None or not stuck:
            continue
        dates = one["half_rooted"]
        if dates is not None:
            yield from _windows(look, file, one, dates)


def forecast_at(forecast: ForecastView) -> datetime | None:
    """Return when a forecast was worked out; None: there is none, or nobody knows."""
    try:
        at = datetime.fromisoformat(forecast["at"] or "")
    except ValueError:
        return None
    return None if at.tzinfo is None else at


def _windows(
    look: Moment, file: BatchFile, one: BatchForecastView, dates: DatesView
) -> Iterator[Entry]:
    try:
        spans = {
            50: _span(dates["from_50"], dates["to_50"]),
            90: _span(dates["from_90"], dates["to_90"]),
        }
    except ValueError:
        return  # a file that another hand has written
    here = f"{look.snapshot.plan.bench}.bottomheat"
    for percent, (first, last) in spans.items():
        yield Entry(
            uid=f"batch-{file.code}-half-{percent}@{here}",
            start=first,
            last=last,
            summary=_summary(file, percent, last),
            description=f"{_upper(one['words'])}.\nA forecast: look before you lift.",
        )


def _span(first: str, last: str | None) -> tuple[date, date | None]:
    """Return the days of a window; raise ValueError where they are none."""
    start = date.fromisoformat(first)
    end = None if last is None else date.fromisoformat(last)
    if end is not None and end < start:
        raise ValueError(f"{last} lies before {first}")
    return start, end


def _summary(file: BatchFile, percent: int, last: date | None) -> str:
    batch = file.batch
    what = " ".join(part for part in (batch.crop, batch.cultivar) if part)
    done = "come up" if batch.kind is BatchKind.SEED else "rooted"
    since = " from here on, its end later than can be told" if last is None else ""
    return f"{file.code} {what}: half {done}, {_CHANCES[percent]}{since}"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
