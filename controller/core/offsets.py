"""Disagreement: a tray that differs from its neighbours otherwise than it used to.

What may live here: how trays usually differ, and which of them is strange.
"""

from collections.abc import Iterator
from dataclasses import replace

from controller.core.guard_state import GuardState, Offset
from controller.core.plan import MatPlan
from controller.core.units import DAY_MS, HOUR_MS, MilliC, Millis
from controller.core.uptake import Look

LEARNED_IN_MS = 7 * DAY_MS
"""Chosen: a week's mean is what a tray usually differs by."""

STRANGE_FOR_MS = 3 * HOUR_MS
"""Chosen: longer than a tray stands beside its mat, or a lid lies on it."""

RECOVERS_MK = 500
"""Chosen: a tray that was watered cold comes nearer to its neighbours by so much
within three hours; a probe that slipped out does not."""


def offsets_after(
    mat: MatPlan, guard: GuardState, look: Look, now_ms: Millis
) -> Iterator[Offset]:
    """Yield how each tray differs from the median of the others, and usually did."""
    known = {offset.tray: offset for offset in guard.offsets}
    temps = {name: temp_mc for temp_mc, name in look.observed.trays}
    for tray in mat.trays:
        before, others = known.get(tray.name), _others(temps, tray.name)
        if tray.name not in temps or not others or look.quiet:
            if before is not None:
                yield replace(before, strange_ms=None, strange_mk=0.0)
            continue
        differs_mk = temps[tray.name] - others[(len(others) - 1) // 2]
        if before is None or guard.at_ms is None:
            yield Offset(tray.name, 0.0)
            continue
        yield _learned(mat, before, differs_mk, now_ms - guard.at_ms, now_ms)


def _others(temps: dict[str, MilliC], name: str) -> list[MilliC]:
    return sorted(temp_mc for tray, temp_mc in temps.items() if tray != name)


def _learned(
    mat: MatPlan, before: Offset, differs_mk: int, passed_ms: int, now_ms: Millis
) -> Offset:
    """Take a difference as usual, unless it is halfway to strange.

    On its first day whatever is not strange is learned: trays do differ. What
    is strange stays so until it comes clearly nearer: the driving tray's swing
    alone takes a difference to and fro across the line.
    """
    away_mk = abs(differs_mk - before.usual_mk)
    recovers = away_mk <= before.strange_mk - RECOVERS_MK
    if before.strange_ms is not None and not recovers:
        return before
    if away_mk >= mat.disagreement_mk:
        return replace(before, strange_ms=now_ms, strange_mk=away_mk)
    if before.learned_ms >= DAY_MS and 2 * away_mk >= mat.disagreement_mk:
        return replace(before, strange_ms=None, strange_mk=0.0)
    learned_ms = min(before.learned_ms + passed_ms, LEARNED_IN_MS)
    share = min(1.0, passed_ms / learned_ms)
    usual_mk = before.usual_mk + (differs_mk - before.usual_mk) * share
    return Offset(before.tray, usual_mk, learned_ms)


def strange_trays(guard: GuardState, now_ms: Millis) -> Iterator[Offset]:
    """Yield the trays that have differed strangely for long enough."""
    for offset in guard.offsets:
        since_ms = offset.strange_ms
        if since_ms is not None and now_ms - since_ms >= STRANGE_FOR_MS:
            yield offset
