"""What differs between two ways of keeping a mat, key by key of the settings.

What may live here: which keys a new way changes, and to what. How they are
written in a file is not known here.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from controller.core.plan import DrivenBy, MatPlan, OnOff, Pid
from controller.core.units import SECOND_MS


@dataclass(frozen=True, slots=True)
class Temperature:
    """A temperature [m°C]."""

    milli: int


@dataclass(frozen=True, slots=True)
class Difference:
    """A temperature difference [mK]."""

    milli: int


@dataclass(frozen=True, slots=True)
class Rate:
    """A change per hour [mK/h]; None: at once."""

    milli: int | None


@dataclass(frozen=True, slots=True)
class Duration:
    """A time span [ms]."""

    milli: int


Value = Temperature | Difference | Rate | Duration | str | float | None
"""What a key shall say; None: it shall not be there."""

Changes = dict[str, Value]
"""By key, such as "setpoint" or "pid.gain_per_k"."""


def changes(before: MatPlan, after: MatPlan) -> Changes:
    """Return the keys that make one way of keeping a mat into another.

    Keys whose default goes with the policy are all said where it changes.
    Programmes of several steps are taken to be alike.
    """
    return dict(_changes(before, after))


def _changes(before: MatPlan, after: MatPlan) -> Iterator[tuple[str, Value]]:
    other_policy = before.policy.kind != after.policy.kind
    if other_policy:
        yield "policy", after.policy.kind
    yield from _setpoints(before, after)
    yield from _policy(before.policy, after.policy)
    if _driver(before) != _driver(after):
        yield "driven_by", _driver(after)
    if other_policy or before.min_on_ms != after.min_on_ms:
        yield "min_on", Duration(after.min_on_ms)
    if other_policy or before.min_off_ms != after.min_off_ms:
        yield "min_off", Duration(after.min_off_ms)
    if other_policy or before.ramp_mk_per_h != after.ramp_mk_per_h:
        yield "ramp", Rate(after.ramp_mk_per_h)


def _setpoints(before: MatPlan, after: MatPlan) -> Iterator[tuple[str, Value]]:
    old, new = before.programme[0], after.programme[0]
    if len(after.programme) > 1:
        return
    if old.setpoint_mc != new.setpoint_mc:
        yield "setpoint", Temperature(new.setpoint_mc)
    if old.night_mc != new.night_mc:
        night_mc = new.night_mc
        yield "night_setpoint", None if night_mc is None else Temperature(night_mc)


def _policy(before: OnOff | Pid, after: OnOff | Pid) -> Iterator[tuple[str, Value]]:
    old, new = dict(_said(before)), dict(_said(after))
    for key in old:
        if key not in new:
            yield key, None
    for key, value in new.items():
        if old.get(key) != value:
            yield key, value


def _said(policy: OnOff | Pid) -> Iterator[tuple[str, Value]]:
    if isinstance(policy, OnOff):
        yield "differential", Difference(policy.differential_mk)
        return
    yield "cycle", Duration(policy.cycle_ms)
    yield "pid.gain_per_k", policy.gain_per_k
    yield "pid.integral_time", Duration(round(policy.integral_s * SECOND_MS))
    yield "pid.derivative_time", Duration(round(policy.derivative_s * SECOND_MS))


def _driver(mat: MatPlan) -> str:
    if mat.driven_by is DrivenBy.TRAY:
        return mat.driving_tray or ""
    way: str = mat.driven_by.value
    return way
