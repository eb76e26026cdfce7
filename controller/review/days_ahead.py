"""How warm a tray will be: its mat's programme, and how it has kept to it lately.

A tray is rarely at its mat's setpoint: it stands near an edge, the night setpoint
reaches it late, or the mat cannot hold what is asked. What it has been above or below
lately, hour of the day by hour, is taken to go on. What may live here: that outlook.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from controller.core.plan import MatPlan, Night, Plan
from controller.core.setpoints import present_step
from controller.core.state import MatState, State
from controller.core.units import DAY_MS, HOUR_MS, Millis
from controller.review.tray_hours import Hours, mat_of

RECENT_HOURS = 72
"""Chosen: three days show a tray's habits, and not last week's weather."""

_SETTLING_HOURS = 12
"""Chosen: after a new setpoint a wet tray on foam is still on its way so long."""

_FEW = 6
"""Chosen: fewer hours than this show no habit."""

_TOLD_K = 1.0
"""Chosen: a lasting difference from the setpoint from which on it is told of."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How the bench stands when something is foretold.

    Attributes:
        plan: The newest plan.
        state: The state that the log kept last.
        timezone: The bench's time zone (IANA name).
        now_utc_ms: The present [ms].
        utc_less_run_ms: Wall clock less run clock, in the newest run [ms].
    """

    plan: Plan
    state: State
    timezone: str
    now_utc_ms: int
    utc_less_run_ms: int


@dataclass(frozen=True, slots=True)
class Outlook:
    """How warm a tray will be.

    Attributes:
        temp_c: From a full hour of UTC since 1970 to a temperature [°C].
        notes: What a person should know of it, a sentence each.
    """

    temp_c: Callable[[int], float]
    notes: tuple[str, ...] = ()


def outlook(standing: Standing, tray: str, hours: Hours) -> Outlook | None:
    """Return how warm a tray will be; None: nothing tells.

    Args:
        standing: The bench now.
        tray: The tray.
        hours: Its temperatures, up to now.
    """
    local = _LocalHours(standing.timezone)
    mat = mat_of(standing.plan, tray)
    known = None if mat is None else standing.state.mats.get(mat.name)
    if mat is None or known is None or mat.relay is None:
        return _as_lately(standing, tray, hours, local, ())
    if not known.enabled or known.trip is not None:
        how = "locked off" if known.trip is not None else "switched off"
        note = f"mat {mat.name} is {how}: {tray} is taken to stay as it was lately"
        return _as_lately(standing, tray, hours, local, (note,))
    return _as_planned(standing, tray, _Programme(mat, known, standing, local), hours)


class _LocalHours:
    """Local minutes at full hours of UTC."""

    def __init__(self, timezone: str) -> None:
        self._zone = ZoneInfo(timezone)

    def minute(self, hour: int) -> int:
        """Return the minute of the local day in the middle of an hour."""
        middle = datetime.fromtimestamp(hour * 3_600 + 1_800, UTC)
        here = middle.astimezone(self._zone)
        return here.hour * 60 + here.minute


class _Programme:
    """What a mat is to keep, hour by hour."""

    def __init__(
        self, mat: MatPlan, known: MatState, standing: Standing, local: _LocalHours
    ) -> None:
        self.mat, self._known, self._local = mat, known, local
        self._utc_less_run_ms = standing.utc_less_run_ms
        since_ms = present_step(mat, known, self._run_ms(standing.now_utc_ms))[1]
        if known.override is not None:
            since_ms = max(since_ms, self._run_ms(known.override.at_utc_ms))
        self.since_hour = (since_ms + self._utc_less_run_ms) // HOUR_MS

    def _run_ms(self, utc_ms: int) -> Millis:
        return Millis(utc_ms - self._utc_less_run_ms)

    def setpoint_c(self, hour: int) -> float:
        """Return the setpoint in the middle of an hour [°C]."""
        run_ms = self._run_ms(hour * HOUR_MS + HOUR_MS // 2)
        override = self._known.override
        if override is not None and (
            override.until_ms is None or run_ms < override.until_ms
        ):
            return override.setpoint_mc / 1000
        step = self.mat.programme[present_step(self.mat, self._known, run_ms)[0]]
        if step.night_mc is not None and _is_night(
            self.mat.night, self._local.minute(hour)
        ):
            return step.night_mc / 1000
        return step.setpoint_mc / 1000

    def hour_of_day(self, hour: int) -> int:
        """Return which hour of the local day it is."""
        return self._local.minute(hour) // 60


def _is_night(night: Night, minute: int) -> bool:
    if night.from_minute <= night.to_minute:
        return night.from_minute <= minute < night.to_minute
    return minute >= night.from_minute or minute < night.to_minute


def _as_planned(
    standing: Standing, tray: str, programme: _Programme, hours: Hours
) -> Outlook:
    """Return the programme, with what the tray has been above or below it lately."""
    now = standing.now_utc_ms // HOUR_MS
    first = max(now - RECENT_HOURS, programme.since_hour + _SETTLING_HOURS)
    pairs = [
        (programme.hour_of_day(hour), hours[hour] - programme.setpoint_c(hour))
        for hour in range(first, now)
        if hour in hours
    ]
    if len(pairs) < _FEW:
        note = f"{tray} is taken to be at the setpoint: too little is known of it yet"
        return Outlook(programme.setpoint_c, (note,))
    mean_k = _mean(difference for _, difference in pairs)
    by_hour = _by_hour(pairs)

    def temp_c(hour: int) -> float:
        apart_k = by_hour.get(programme.hour_of_day(hour), mean_k)
        return programme.setpoint_c(hour) + apart_k

    return Outlook(temp_c, _differing(tray, programme.mat.name, mean_k))


def _differing(tray: str, mat: str, mean_k: float) -> tuple[str, ...]:
    if abs(mean_k) < _TOLD_K:
        return ()
    where = "below" if mean_k < 0 else "above"
    why = ": the mat has fallen short" if mean_k < 0 else ""
    return (
        f"{tray} was {abs(mean_k):.1f} K {where} the setpoint of mat {mat} lately{why};"
        " that is taken to go on",
    )


def _as_lately(
    standing: Standing,
    tray: str,
    hours: Hours,
    local: _LocalHours,
    notes: tuple[str, ...],
) -> Outlook | None:
    """Return the mean of the last days, hour of the day by hour."""
    now = standing.now_utc_ms // HOUR_MS
    pairs = [
        (local.minute(hour) // 60, hours[hour])
        for hour in range(now - RECENT_HOURS, now)
        if hour in hours
    ]
    if not pairs:
        return None
    mean_c, by_hour = _mean(temp for _, temp in pairs), _by_hour(pairs)
    told = f"{tray} is not heated: it is taken to stay as in the last three days"
    return Outlook(
        lambda hour: by_hour.get(local.minute(hour) // 60, mean_c), notes or (told,)
    )


def _by_hour(pairs: list[tuple[int, float]]) -> dict[int, float]:
    found: dict[int, list[float]] = {}
    for hour, value in pairs:
        found.setdefault(hour, []).append(value)
    return {hour: _mean(values) for hour, values in found.items()}


def _mean(values: Iterable[float]) -> float:
    told = list(values)
    return sum(told) / len(told)


LONGEST_MS = 400 * DAY_MS
"""Chosen: nothing is foretold beyond."""
