"""What the fault campaign prints, and its gates."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence

from tests.campaigns.healthy import Season
from tests.campaigns.scenarios import SCENARIOS
from tests.campaigns.watch import TRUE_LIMIT_C, Result

_HEAD = (
    "scenario",
    "severity",
    "n",
    "found",
    "must",
    "found after 50/95 %",
    "off after 50/95 %",
    "hottest",
    "warm/cold by",
    "false trips",
    "found by",
)


def campaign_tables(results: Sequence[Result], seasons: Sequence[Season]) -> str:
    """Return a table of scenarios by severity, and one of healthy seasons."""
    parts = []
    if results:
        parts.append(_table(_HEAD, list(_rows(results))))
    if seasons:
        parts.append("\n".join(_healthy(one) for one in seasons))
    return "\n\n".join(parts)


def failures(results: Sequence[Result], seasons: Sequence[Season]) -> list[str]:
    """Return what does not hold of the gates, one line each."""
    found = [
        f"MISSED: {r.scenario} {r.severity:g} on {r.bench} at {r.hour} h: "
        f"{'not found' if r.found_s is None else 'found after ' + _time(r.found_s)},"
        f" must be within {_time(r.within_s)}"
        for r in results
        if r.missed
    ]
    found += [
        f"TOO HOT: {r.scenario} {r.severity:g} on {r.bench} at {r.hour} h:"
        f" {r.hottest_c:.1f} °C, over {TRUE_LIMIT_C:g} °C"
        for r in results
        if r.too_hot
    ]
    found += [
        f"FALSE TRIP: {r.scenario} {r.severity:g} on {r.bench} at {r.hour} h:"
        f" {', '.join(r.tripped)} ({', '.join(r.alarms)})"
        for r in results
        if r.false_trips
    ]
    found += [
        f"HEALTHY: {one.bench}: {one.trips} trips, held back {dict(one.inhibits)}"
        for one in seasons
        if one.trips or one.inhibits
    ]
    return found


def _rows(results: Sequence[Result]) -> Iterator[tuple[str, ...]]:
    by: dict[tuple[str, float], list[Result]] = defaultdict(list)
    for result in results:
        by[result.scenario, result.severity].append(result)
    for scenario in SCENARIOS:
        for severity in scenario.severities:
            runs = by.get((scenario.name, severity))
            if runs:
                yield _row(scenario.name, f"{severity:g} {scenario.unit}", runs)


def _row(name: str, severity: str, runs: Sequence[Result]) -> tuple[str, ...]:
    found = [run.found_s for run in runs if run.found_s is not None]
    off = [run.off_s for run in runs if run.off_s is not None]
    ways: dict[str, int] = defaultdict(int)
    for run in runs:
        if run.found_by:
            ways[run.found_by] += 1
    hot = max(run.hottest_c for run in runs)
    return (
        name,
        severity,
        str(len(runs)),
        str(len(found)),
        str(sum(run.required for run in runs) or "-"),
        f"{_time(_share(found, 0.5))} / {_time(_share(found, 0.95))}",
        f"{_time(_share(off, 0.5))} / {_time(_share(off, 0.95))}",
        f"{hot:.1f} °C" + ("" if all(run.acts for run in runs) else " *"),
        f"+{max(r.too_warm_k for r in runs):.1f}"
        f" / -{max(r.too_cold_k for r in runs):.1f} K",
        str(sum(run.false_trips for run in runs)),
        ", ".join(f"{way} {n}" for way, n in sorted(ways.items(), key=lambda w: -w[1])),
    )


def _healthy(one: Season) -> str:
    rang = ", ".join(f"{kind} {n}" for kind, n in one.alarms.most_common(6))
    return (
        f"healthy {one.bench}: {one.days:g} days, {sum(one.events.values())} events,"
        f" {one.trips} trips, {sum(one.inhibits.values())} held back by response,"
        f" {sum(one.budgets.values())} by a budget, hottest"
        f" {one.hottest_c:.1f} °C; rang: {rang or 'nothing'}"
    )


def _share(values: Sequence[float], share: float) -> float | None:
    """Return the smallest value that this share of values does not exceed."""
    if not values:
        return None
    return sorted(values)[max(0, math.ceil(share * len(values)) - 1)]


def _time(seconds: float | None) -> str:
    if seconds is None:
        return "-"
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 2 * 3600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(row[n]) for row in [head, *rows]) for n in range(len(head))]
    lines = [head, ["-" * width for width in widths], *rows]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        for row in lines
    ).rstrip()
