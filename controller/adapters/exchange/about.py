"""What stands beside exported rows: the bench, its plans, the meaning of columns.

What may live here: metadata as JSON-able dicts. No files.
"""

from datetime import UTC, datetime, timedelta

from controller.adapters.exchange.tidy import Source
from controller.ports import RunHeader
from controller.wire import encode_plan

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

LAYOUT = 1
"""Grows when a column changes its name or meaning, or goes."""


def utc_text(utc_ms: int) -> str:
    """Return a time as ISO 8601 in UTC with milliseconds and "Z"."""
    at = _EPOCH + timedelta(milliseconds=utc_ms)
    return at.isoformat(timespec="milliseconds")[:-6] + "Z"


def about_runs(source: Source) -> list[dict[str, object]]:
    """Return what is to be known of each run."""
    return [_about_run(header) for header in source.headers]


def _about_run(header: RunHeader) -> dict[str, object]:
    return {
        "run": header.run,
        "origin": header.origin,
        "started_utc": utc_text(header.started_utc_ms),
        "timezone": header.timezone,
        "decisions_version": header.decisions_version,
        "versions": dict(header.versions),
        "notes": list(header.notes),
        "plan": encode_plan(header.plan),
    }


def bench_of(source: Source) -> str:
    """Return the name of the bench, as the newest run has it."""
    return source.headers[-1].plan.bench if source.headers else ""


def timezone_of(source: Source) -> str:
    """Return the time zone of the bench, as the newest run has it."""
    return source.headers[-1].timezone if source.headers else "UTC"


def about_columns(source: Source) -> list[dict[str, str]]:
    """Return each column's name, unit and meaning."""
    return [
        {"name": column.name, "unit": column.unit, "about": column.about}
        for column in source.table.columns
    ]
