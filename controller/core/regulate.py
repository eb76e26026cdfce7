"""Regulation: how much heat the driving temperature asks for.

On-off with a differential, or PID on simple-pid. What may live here: demand.
Nothing here knows a limit, a relay or a person; what is demanded is not
thereby permitted.
"""

from dataclasses import dataclass

from simple_pid import PID

from controller.core.plan import OnOff, Pid
from controller.core.state import PidState
from controller.core.units import MilliC, Millis, kelvin

LONGEST_STEP_MS = 300_000
"""After a longer pause the integral stays as it was: what happened in between
is not known, and one long step would fill it at once."""

COMPUTE_EVERY_MS = 30_000
"""Chosen: probes speak about this often, and the medium moves far slower."""

TRACKING_SHARE = 1.0
"""Tracking time of the back-calculation as a share of the integral time."""

FILTER_SHARE = 8
"""The derivative's filter is this much faster than the derivative time."""


@dataclass(frozen=True, slots=True)
class Driving:
    """The temperature that drives a mat.

    Attributes:
        root_mc: The temperature [m°C].
        driver: Which trays it comes from, in words.
    """

    root_mc: MilliC
    driver: str


def band(policy: OnOff, setpoint_mc: MilliC) -> tuple[MilliC, MilliC]:
    """Return where on-off regulation switches on, and where off [m°C]."""
    low_mc = setpoint_mc - policy.differential_mk // 2
    return MilliC(low_mc), MilliC(low_mc + policy.differential_mk)


def on_off(
    policy: OnOff, setpoint_mc: MilliC, root_mc: MilliC, demand_before: bool
) -> bool:
    """Demand heat below the band, none above it, and as before within it."""
    low_mc, high_mc = band(policy, setpoint_mc)
    if root_mc < low_mc:
        return True
    if root_mc > high_mc:
        return False
    return demand_before


def pid(
    policy: Pid,
    setpoint_mc: MilliC,
    driving: Driving,
    before: PidState | None,
    now_ms: Millis,
    *,
    ramped: bool,
    mean_duty: float,
) -> PidState:
    """Compute the share of full power that holds the setpoint.

    The proportional and integral parts are simple-pid's, called through its
    public interface with an explicit time step and no limits; the clamp, the
    back-calculation that keeps the integral from winding up (Astrom and
    Hagglund's tracking), and the derivative of the filtered measurement are
    ours, because the library offers none of the three.

    Args:
        policy: Gains.
        setpoint_mc: The setpoint in force [m°C].
        driving: The driving temperature.
        before: What the PID remembers; None at the very first.
        now_ms: Run clock [ms].
        ramped: Setpoint changes come as a ramp, which the proportional part
            shall follow; otherwise a change is taken over without a bump.
        mean_duty: The share of time that the mat was on lately: where a PID
            without a memory begins.

    Returns:
        The memory with the new duty. Before COMPUTE_EVERY_MS has passed it is
        the old one.
    """
    error_k = kelvin(setpoint_mc - driving.root_mc)
    if before is None:
        begun = _begun(policy, setpoint_mc, driving, error_k, now_ms, mean_duty)
        return _computed(policy, begun, 0.0, 0.0)
    lasting_ms = now_ms - before.at_ms
    if lasting_ms < COMPUTE_EVERY_MS and before.setpoint_mc == setpoint_mc:
        return before
    step_s = lasting_ms / 1000 if 0 < lasting_ms <= LONGEST_STEP_MS else 0.0
    filtered_mc, rate_k_per_s = _filtered(policy, before, driving, step_s)
    moved = 0.0
    if lasting_ms <= LONGEST_STEP_MS:
        moved = _transfer(policy, before, setpoint_mc, driving, ramped)
    carried = PidState(
        now_ms,
        before.integral + moved,
        policy.gain_per_k,
        error_k,
        setpoint_mc,
        driving.driver,
        filtered_mc,
        before.duty,
    )
    return _computed(policy, carried, step_s, rate_k_per_s)


def _begun(
    policy: Pid,
    setpoint_mc: MilliC,
    driving: Driving,
    error_k: float,
    now_ms: Millis,
    mean_duty: float,
) -> PidState:
    return PidState(
        now_ms,
        mean_duty,
        policy.gain_per_k,
        error_k,
        setpoint_mc,
        driving.driver,
        float(driving.root_mc),
        mean_duty,
    )


def _computed(
    policy: Pid, carried: PidState, step_s: float, rate_k_per_s: float
) -> PidState:
    """Let simple-pid add up its parts, then clamp and track the whole sum."""
    gain = policy.gain_per_k
    library = PID(
        gain,
        gain / policy.integral_s if step_s else 0.0,
        0.0,
        setpoint=kelvin(carried.setpoint_mc),
        sample_time=None,
        output_limits=(None, None),
        auto_mode=False,
        time_fn=_no_clock,
    )
    library.set_auto_mode(True, last_output=carried.integral)
    input_c = kelvin(carried.setpoint_mc) - carried.error_k
    library(input_c, dt=step_s or 1.0)
    proportional, integral, _ = library.components
    total = proportional + integral - gain * policy.derivative_s * rate_k_per_s
    duty = min(1.0, max(0.0, total))
    if step_s:
        tracking_s = policy.integral_s * TRACKING_SHARE
        integral += (duty - total) * min(1.0, step_s / tracking_s)
    return PidState(
        carried.at_ms,
        integral,
        gain,
        carried.error_k,
        carried.setpoint_mc,
        carried.driver,
        carried.filtered_mc,
        duty,
    )


def _no_clock() -> float:
    """Stand in for the clock that simple-pid reads even when given a step."""
    return 0.0


def _transfer(
    policy: Pid, before: PidState, setpoint_mc: MilliC, driving: Driving, ramped: bool
) -> float:
    """Return what the integral takes over, so that the output does not jump.

    It is the proportional part with the gain, setpoint and trays of before,
    less the one with those of now: nothing where none of them has changed.
    """
    held_mc = setpoint_mc if ramped else before.setpoint_mc
    root_mc = int(driving.root_mc)
    if driving.driver != before.driver:
        root_mc = before.setpoint_mc - round(before.error_k * 1000)
    error_k = kelvin(setpoint_mc - driving.root_mc)
    return before.gain_per_k * kelvin(held_mc - root_mc) - policy.gain_per_k * error_k


def _filtered(
    policy: Pid, before: PidState, driving: Driving, step_s: float
) -> tuple[float, float]:
    """Return the filtered measurement [m°C] and its rate [K/s].

    First order. Other trays, or a time of which nothing is known, begin it
    anew: a jump from one tray's temperature to another's is no rate.
    """
    root_mc = float(driving.root_mc)
    if not (policy.derivative_s and step_s and driving.driver == before.driver):
        return root_mc, 0.0
    share = step_s / (policy.derivative_s / FILTER_SHARE + step_s)
    moved_mk = (root_mc - before.filtered_mc) * share
    return before.filtered_mc + moved_mk, moved_mk / 1000 / step_s
