"""What people ask of `tune` and `whatif`, in words of the settings. No command.

What may live here: settings of a mat as they are typed after --set, and sums; and
settings as a file writes them. Units are always said.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from controller.adapters.settings import quantities, words
from controller.adapters.settings.convert import (
    ON_OFF_MIN_MS,
    PID_MIN_MS,
    PID_RAMP_MK_PER_H,
)
from controller.cli.prices import AskedError
from controller.core.mat_rules import RESERVED
from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Night,
    OnOff,
    Pid,
    StepPlan,
)
from controller.core.units import SECOND_MS, MilliC, MilliK, Millis
from sim.tuning.changes import (
    Changes,
    Difference,
    Duration,
    Rate,
    Temperature,
    Value,
)
from sim.tuning.figures import Rooting

_ROOTING = re.compile(
    r"\s*(\d{1,7}(?:\.\d{1,3})?)\s*(K|°?F)\s*[·*]?\s*h\s+above\s+(\S.*?)\s*"
)


def rooting(text: str) -> Rooting:
    """Return the sum of degree-hours that was typed after --rooting.

    Raises:
        AskedError: It is none.
    """
    found = _ROOTING.fullmatch(text)
    ask = (
        f"--rooting {text!r}: write the sum and its base, such as"
        ' "3200 K·h above 10 °C"'
    )
    if found is None:
        raise AskedError(ask)
    heat = Fraction(found[1]) * (1 if found[2] == "K" else Fraction(5, 9))
    try:
        base = quantities.temperature(found[3])
    except ValueError as error:
        raise AskedError(f"{ask}; {found[3]!r}: {error}") from None
    if not heat:
        raise AskedError(f"{ask}; it must be above 0")
    return Rooting(float(heat), base.milli)


# ---------------------------------------------------------------- settings to plans


def _number(text: object) -> float:
    return float(str(text))


_READERS: Mapping[str, Callable[[object], object]] = {
    "policy": str,
    "setpoint": quantities.temperature,
    "night_setpoint": quantities.temperature,
    "night": words.night,
    "differential": quantities.difference,
    "driven_by": str,
    "cycle": quantities.duration,
    "min_on": quantities.duration,
    "min_off": quantities.duration,
    "ramp": words.ramp,
    "pid.gain_per_k": _number,
    "pid.integral_time": quantities.duration,
    "pid.derivative_time": quantities.duration,
}

_BELONGS = {
    "differential": "on-off",
    "cycle": "pid",
    "pid.gain_per_k": "pid",
    "pid.integral_time": "pid",
    "pid.derivative_time": "pid",
}


def mat_with(own: MatPlan, pairs: Sequence[str]) -> MatPlan:
    """Return a mat with other settings, as typed: "setpoint=22 °C".

    What the settings leave to the policy goes with it where it changes. The
    rules of a plan are not asked here.

    Raises:
        AskedError: A setting is none, or cannot be asked of a model.
    """
    said = _said(pairs)
    kind = str(said.get("policy", own.policy.kind))
    if kind not in {"on-off", "pid"}:
        raise AskedError(f'--set policy={kind}: write "on-off" or "pid"')
    for key, belongs in _BELONGS.items():
        if key in said and belongs != kind:
            raise AskedError(f'--set {key}: it belongs to policy = "{belongs}"')
    changed = kind != own.policy.kind
    on_off = kind == "on-off"
    usual_ms = ON_OFF_MIN_MS if on_off else PID_MIN_MS
    usual_ramp = None if on_off else PID_RAMP_MK_PER_H
    ramp = usual_ramp if changed else own.ramp_mk_per_h
    ways = _driver(own, said)
    programme = _programme(own, said)
    if "night" in said and all(step.night_mc is None for step in programme):
        raise AskedError("--set night: there is no night_setpoint, so it does nothing")
    return replace(
        own,
        policy=_policy(None if changed else own.policy, kind, said),
        programme=programme,
        night=_night(own, said),
        driven_by=ways[0],
        driving_tray=ways[1],
        min_on_ms=Millis(
            _milli(said, "min_on", usual_ms if changed else own.min_on_ms)
        ),
        min_off_ms=Millis(
            _milli(said, "min_off", usual_ms if changed else own.min_off_ms)
        ),
        ramp_mk_per_h=_milli(said, "ramp", ramp or 0) or None,
    )


def _said(pairs: Sequence[str]) -> dict[str, object]:
    said: dict[str, object] = {}
    for pair in pairs:
        key, equals, text = pair.partition("=")
        key, text = key.strip(), text.strip().strip('"')
        if not equals or key not in _READERS:
            known = ", ".join(_READERS)
            raise AskedError(
                f"--set {pair}: write KEY=VALUE, such as setpoint=22°C; a model"
                f" answers for {known}"
            )
        if key in said:
            raise AskedError(f"--set {key}: it is said twice")
        try:
            none = key == "night_setpoint" and text == "none"
            said[key] = None if none else _READERS[key](text)
        except ValueError as error:
            why = "write a number, such as 0.4" if key.endswith("per_k") else error
            raise AskedError(f"--set {key}={text}: {why}") from None
    return said


def _milli(said: Mapping[str, object], key: str, usual: int) -> int:
    value = said.get(key)
    return value.milli if isinstance(value, quantities.Said) else usual


def _policy(
    own: OnOff | Pid | None, kind: str, said: Mapping[str, object]
) -> OnOff | Pid:
    if kind == "on-off":
        on_off = own if isinstance(own, OnOff) else OnOff()
        return OnOff(MilliK(_milli(said, "differential", on_off.differential_mk)))
    pid = own if isinstance(own, Pid) else Pid()
    gain = said.get("pid.gain_per_k", pid.gain_per_k)
    integral_ms = _milli(said, "pid.integral_time", round(pid.integral_s * SECOND_MS))
    derivative_ms = _milli(
        said, "pid.derivative_time", round(pid.derivative_s * SECOND_MS)
    )
    return Pid(
        gain_per_k=float(str(gain)),
        integral_s=integral_ms / SECOND_MS,
        derivative_s=derivative_ms / SECOND_MS,
        cycle_ms=Millis(_milli(said, "cycle", pid.cycle_ms)),
    )


def _programme(own: MatPlan, said: Mapping[str, object]) -> tuple[StepPlan, ...]:
    if not {"setpoint", "night_setpoint"} & said.keys():
        return own.programme
    first = own.programme[0]
    night_mc = first.night_mc
    if "night_setpoint" in said:
        night = said["night_setpoint"]
        night_mc = None if night is None else MilliC(_milli(said, "night_setpoint", 0))
    setpoint_mc = MilliC(_milli(said, "setpoint", first.setpoint_mc))
    return (StepPlan(setpoint_mc, night_mc, title=first.title),)


def _night(own: MatPlan, said: Mapping[str, object]) -> Night:
    ends = said.get("night")
    return Night(*ends) if isinstance(ends, tuple) else own.night


def _driver(own: MatPlan, said: Mapping[str, object]) -> tuple[DrivenBy, str | None]:
    if "driven_by" not in said:
        return own.driven_by, own.driving_tray
    way = str(said["driven_by"])
    return (DrivenBy(way), None) if way in RESERVED else (DrivenBy.TRAY, way)


# ---------------------------------------------------------------- settings in a file


def as_toml(found: Changes, *, fahrenheit: bool) -> dict[str, str | None]:
    """Return settings as a file writes them; None: the key goes."""
    return {
        key: toml_text(value, fahrenheit=fahrenheit) for key, value in found.items()
    }


def toml_text(value: Value, *, fahrenheit: bool) -> str | None:
    """Return a value as a settings file writes it."""
    match value:
        case None:
            text = None
        case Temperature(milli):
            text = f'"{temperature_text(milli, fahrenheit=fahrenheit)}"'
        case Difference(milli):
            text = f'"{milli / 1000:.10g} K"'
        case Rate(milli):
            text = '"none"' if milli is None else f'"{milli / 1000:.10g} K/h"'
        case Duration(milli):
            text = f'"{_time(milli)}"'
        case str():
            text = f'"{value}"'
        case _:
            text = repr(float(value))
    return text


def temperature_text(milli: int, *, fahrenheit: bool) -> str:
    """Return a temperature [m°C] with its unit, read again as the very same."""
    if fahrenheit:
        exact = Fraction(milli, 1000) * 9 / 5 + 32
        for digits in range(4):
            text = f"{float(exact):.{digits}f} °F"
            if quantities.temperature(text).milli == milli:
                return text
    return f"{milli / 1000:.10g} °C"


def _time(milli: int) -> str:
    for unit_ms, unit in ((3_600_000, "h"), (60_000, "min"), (1_000, "s")):
        if milli % unit_ms == 0 and (milli or unit == "s"):
            return f"{milli // unit_ms} {unit}"
    return f"{milli} ms"
