"""What stands in the calendar of a bench: steps, batches, reminders, windows. Pure.

What may live here: from a look at the bench and the book to entries.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from api.batch_views import tray_now
from api.calendar_windows import forecast_at, window_entries
from api.forecast_shapes import ForecastView
from api.formats import short_temp_text
from api.moment import Moment, wall_ms
from controller.calendar import Entry
from controller.core.plan import MatPlan
from controller.core.units import DAY_MS, MINUTE_MS
from controller.records.book import BatchFile, Book, batches
from controller.records.reminders import Reminder, reminders

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def bench_entries(look: Moment, book: Book, forecast: ForecastView) -> Iterator[Entry]:
    """Yield what a grower's calendar should show."""
    for mat in look.snapshot.plan.mats:
        yield from _steps(look, mat)
    for file in batches(book):
        if file.closing is None and file.batch.stuck_utc_ms is not None:
            yield _stuck(look, file, file.batch.stuck_utc_ms)
    for reminder in reminders(batches(book), ()):  # steps of mats are above
        yield _due(look, reminder)
    yield from window_entries(look, book, forecast)


def written_at(look: Moment, book: Book, forecast: ForecastView) -> datetime:
    """Return when what stands in the calendar last changed."""
    state = look.snapshot.state
    changed = [wall_ms(look, mat.step_since_ms) for mat in state.mats.values()]
    changed += [history[-1].utc_ms for history in book.histories.values()]
    told_at = forecast_at(forecast)
    at = _minute(max(changed, default=0))
    return at if told_at is None else max(at, told_at)


def _steps(look: Moment, mat: MatPlan) -> Iterator[Entry]:
    """Yield when a mat goes on to its next steps, as far as days tell."""
    known = look.snapshot.state.mats[mat.name]
    at_ms = wall_ms(look, known.step_since_ms)
    following = mat.programme[known.step + 1 :]
    for number, step in enumerate(following, known.step + 1):
        days = mat.programme[number - 1].days
        if days is None:
            return  # a person ends that one
        at_ms += round(days * DAY_MS)
        wanted = short_temp_text(step.setpoint_mc, look.snapshot.display_unit)
        title = f" ({step.title})" if step.title else ""
        yield Entry(
            uid=f"step-{mat.name}-{number + 1}@{_here(look)}",
            start=_minute(at_ms),
            summary=f"Mat {mat.name}: step {number + 1}{title}, {wanted}",
            description=(
                f"Step {number + 1} of {len(mat.programme)} begins by itself;"
                " a step ended by hand moves it."
            ),
        )


def _stuck(look: Moment, file: BatchFile, stuck_utc_ms: int) -> Entry:
    batch = file.batch
    zone = ZoneInfo(look.snapshot.timezone)
    day = (_EPOCH + timedelta(milliseconds=stuck_utc_ms)).astimezone(zone).date()
    what = " ".join(part for part in (batch.crop, batch.cultivar) if part)
    count = "" if batch.count is None else f"{batch.count} "
    tray = tray_now(file)
    where = "off the bench" if tray is None else f"tray {tray}"
    return Entry(
        uid=f"batch-{file.code}-stuck@{_here(look)}",
        start=day,
        summary=f"Stuck: {count}{what} ({file.code})",
        description=f"Batch {file.code}, {where}.",
    )


def _due(look: Moment, reminder: Reminder) -> Entry:
    return Entry(
        uid=f"{reminder.uid}@{_here(look)}",
        start=_minute(reminder.due_utc_ms),
        summary=reminder.summary,
        description=reminder.description,
    )


def _here(look: Moment) -> str:
    return f"{look.snapshot.plan.bench}.bottomheat"


def _minute(utc_ms: int) -> datetime:
    """Return an instant, to the minute: the two clocks differ by milliseconds."""
    return _EPOCH + timedelta(minutes=round(utc_ms / MINUTE_MS))
