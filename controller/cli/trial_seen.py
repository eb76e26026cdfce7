"""Units of a stored trial with what came of them, in days and in thermal time.

Degree-hours are asked for from stretch to stretch of each tray, each stretch once.
What may live here: from the API's answers to units.
"""

import argparse
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from urllib.parse import quote, urlencode

from controller.cli.asking import Json, ask
from controller.cli.over_http import AskError
from controller.trials.censored import Seen
from controller.trials.observed import Observed

_DAY_S = 86_400
_LEAST_MEASURED = 0.9
"""Chosen: thermal time with more missing than a tenth is not compared."""

_NO_UPPER_C = 70.0
"""As high as a base or upper may be asked for: none at all."""

_LEAST_BASE_C, _MOST_BASE_C = -10.0, 40.0


@dataclass(slots=True)
class Found:
    """What is known of a stored trial.

    Attributes:
        units: Its units that were stuck.
        base_c: Above which thermal time is counted; None: not known.
        notes: What should be known beside it.
        tugs: For each arm, how many of those tugged last held, gave.
    """

    units: list[Observed] = field(default_factory=list)
    base_c: float | None = None
    notes: list[str] = field(default_factory=list)
    tugs: dict[str, tuple[int, int]] = field(default_factory=dict)


@dataclass(slots=True)
class _Heat:
    """Thermal time of some stretch: degree-hours, hours measured, times their mean."""

    k_h: float = 0.0
    hours: float = 0.0
    warmth: float = 0.0

    def add(self, other: "_Heat") -> None:
        self.k_h += other.k_h
        self.hours += other.hours
        self.warmth += other.warmth


class _Trays:
    """Asks for degree-hours of trays, each stretch once."""

    def __init__(self, args: argparse.Namespace, upper_c: float | None) -> None:
        self._args, self._upper_c = args, upper_c
        self._known: dict[tuple[str, str, str, float], _Heat] = {}

    def heat(self, tray: str, since: str, until: str, base_c: float) -> _Heat:
        key = tray, since, until, base_c
        if key not in self._known:
            self._known[key] = self._asked(*key)
        return self._known[key]

    def _asked(self, tray: str, since: str, until: str, base_c: float) -> _Heat:
        upper = _NO_UPPER_C if self._upper_c is None else self._upper_c
        asked = {"base": base_c, "upper": upper, "from": since, "to": until}
        found = ask(self._args, "GET", _address(tray, asked))
        hours, mean = _number(found, "hours_measured"), found.get("mean_c")
        warmth = mean * hours if isinstance(mean, float | int) else 0.0
        return _Heat(_number(found, "degree_hours_k_h"), hours, warmth)


def _address(tray: str, asked: Mapping[str, object]) -> str:
    return f"/v1/trays/{quote(tray, safe='')}/degree-hours?{urlencode(asked)}"


def _number(found: Json, key: str) -> float:
    value = found.get(key)
    if not isinstance(value, float | int):
        raise AskError(f"what answers there does not tell {key}")
    return float(value)


def found(args: argparse.Namespace, trial: Json, off_k: float) -> Found:
    """Return the units of a trial.

    Args:
        args: With url and log, and base and upper if they were said.
        trial: What the API tells of it.
        off_k: Thermal time is also counted above bases so far off [K].

    Raises:
        AskError: The bench cannot be asked, or its answers are none.
    """
    plan, units = trial.get("trial"), trial.get("units")
    if not isinstance(plan, dict) or not isinstance(units, list):
        raise AskError("what answers there does not tell of a trial")
    told = [unit for unit in units if isinstance(unit, dict) and unit.get("reached")]
    result = Found()
    _note_missing(result, units, told)
    base_c, upper_c = _thresholds(args, plan, told)
    result.base_c = base_c
    trays = _Trays(args, upper_c)
    bases = [] if base_c is None else [base_c, base_c - off_k, base_c + off_k]
    bases = [one for one in bases if _LEAST_BASE_C <= one <= _MOST_BASE_C]
    bases = [one for one in bases if upper_c is None or one < upper_c]
    for unit in told:
        result.units.append(_observed(unit, trays, bases, result.notes))
        _add_tug(result, unit)
    return result


def _note_missing(result: Found, units: Sequence[Json], told: Sequence[Json]) -> None:
    missing = [str(unit.get("name")) for unit in units if unit not in told]
    if missing:
        listed = ", ".join(missing[:8]) + (", …" if len(missing) > 8 else "")  # noqa: PLR2004
        result.notes.append(
            f"{len(missing)} of {len(units)} units are left out, of which no batch was"
            f" stuck: {listed}."
        )


def _add_tug(result: Found, unit: Json) -> None:
    tug = unit.get("tugged")
    if isinstance(tug, dict):
        arm = str(unit.get("arm"))
        held, gave = result.tugs.get(arm, (0, 0))
        result.tugs[arm] = (
            held + round(_number(tug, "held")),
            gave + round(_number(tug, "gave")),
        )


# ---------------------------------------------------------------------- thresholds


def _thresholds(
    args: argparse.Namespace, plan: Json, units: Sequence[Json]
) -> tuple[float | None, float | None]:
    """Return base and upper: as said, as planned, of the batches, of the trays."""
    if args.base is not None:
        return args.base, args.upper
    if isinstance(plan.get("base_c"), float | int):
        return _pair(plan)
    own = {_pair(unit) for unit in units if unit.get("base_c") is not None}
    if len(own) == 1 and all(unit.get("base_c") is not None for unit in units):
        return own.pop()
    if own:
        raise AskError("the batches count above different bases: say which, --base °C")
    trays = {str(stay.get("tray")) for unit in units for stay in _stays(unit)}
    of_trays = {
        _pair(ask(args, "GET", _address(tray, {})))
        for tray in sorted(trays - {"None", ""})
    }
    if len(of_trays) > 1:
        raise AskError("the trays count above different bases: say which, --base °C")
    return of_trays.pop() if of_trays else (None, None)


def _pair(told: Json) -> tuple[float | None, float | None]:
    base, upper = told.get("base_c"), told.get("upper_c")
    return (
        float(base) if isinstance(base, float | int) else None,
        float(upper) if isinstance(upper, float | int) else None,
    )


# ---------------------------------------------------------------------------- units


def _observed(
    unit: Json, trays: _Trays, bases: Sequence[float], notes: list[str]
) -> Observed:
    stuck, name = str(unit.get("stuck_at")), str(unit.get("name"))
    reached = _dicts(unit.get("reached"))
    if not all(one.get("agrees", True) for one in reached):
        notes.append(f"The looks at unit {name} contradict each other.")
    ends = [(one.get("after"), one.get("by"), _number(one, "count")) for one in reached]
    seen = [
        Seen(_days(stuck, after), _days(stuck, by), count) for after, by, count in ends
    ]
    times = {str(at) for after, by, _ in ends for at in (after, by) if at is not None}
    marks = sorted({stuck, *times}, key=datetime.fromisoformat)
    warm: dict[float, tuple[Seen, ...]] = {}
    mean_c = None
    for base_c in bases:
        heats = _heats(unit, marks, trays, base_c)
        whole = heats[marks[-1]]
        elapsed_h = 24 * _days(stuck, marks[-1])
        if whole is None or whole.hours < _LEAST_MEASURED * elapsed_h:
            notes.append(
                f"Unit {name}: thermal time is known of {_share(whole, elapsed_h)} of"
                " the time only, and is not compared."
            )
            break
        mean_c = whole.warmth / whole.hours if whole.hours else None
        warm[base_c] = tuple(_warm_seen(end, heats) for end in ends)
    arm, block = str(unit.get("arm")), str(unit.get("block"))
    return Observed(name, arm, block, tuple(seen), warm, mean_c)


def _share(heat: _Heat | None, elapsed_h: float) -> str:
    if heat is None or elapsed_h == 0:
        return "0 %"
    return f"{100 * heat.hours / elapsed_h:.0f} %"


def _warm_seen(
    end: tuple[object, object, float], heats: Mapping[str, _Heat | None]
) -> Seen:
    after, by, count = end
    left, right = heats[str(after)], None if by is None else heats[str(by)]
    low = 0.0 if left is None else left.k_h
    high = math.inf if right is None else max(low, right.k_h)
    return Seen(low, high or 1e-9, count)


def _heats(
    unit: Json, marks: Sequence[str], trays: _Trays, base_c: float
) -> dict[str, _Heat | None]:
    """Return the thermal time of a unit from sticking up to each of some times."""
    total = _Heat()
    found: dict[str, _Heat | None] = {marks[0]: _Heat()}
    for start, end in pairwise(marks):
        for stay in _stays(unit):
            tray = stay.get("tray")
            since = max(start, str(stay.get("since")), key=datetime.fromisoformat)
            until = end
            if stay.get("until") is not None:
                until = min(end, str(stay.get("until")), key=datetime.fromisoformat)
            before = datetime.fromisoformat(since) < datetime.fromisoformat(until)
            if isinstance(tray, str) and tray and before:
                total.add(trays.heat(tray, since, until, base_c))
        found[end] = _Heat(total.k_h, total.hours, total.warmth)
    return found


def _stays(unit: Json) -> list[Json]:
    return _dicts(unit.get("stays"))


def _dicts(value: object) -> list[Json]:
    found = value if isinstance(value, list) else []
    return [one for one in found if isinstance(one, dict)]


def _days(since: str, until: object) -> float:
    """Return how many days lie between two times; infinite: there is no end."""
    if until is None:
        return math.inf
    span = datetime.fromisoformat(str(until)) - datetime.fromisoformat(since)
    return max(0.0, span.total_seconds() / _DAY_S)
