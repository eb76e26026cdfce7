"""How a switched heat cycles in a process of one lag and a delay: closed forms.

What may live here: the limit cycle of a relay, exactly and as the describing
function has it, and where a loop would oscillate by itself. The describing
function takes the answer for a sine: by a mat thermostat's own cycling it
misjudges the ultimate gain by up to a factor of two, so that it serves here to
be compared with, and the exact cycle to be used.
"""

from dataclasses import dataclass
from math import atan, exp, hypot, inf, log, pi, sqrt

from controller.review.simc import Model


@dataclass(frozen=True, slots=True)
class OnOffCycle:
    """What on-off regulation settles to.

    Attributes:
        peak_c: Highest temperature [°C].
        trough_c: Lowest temperature [°C].
        on_s: Time on in each cycle [s].
        off_s: Time off in each cycle [s].
    """

    peak_c: float
    trough_c: float
    on_s: float
    off_s: float

    @property
    def duty(self) -> float:
        """Share of time on [-]."""
        return self.on_s / (self.on_s + self.off_s)

    @property
    def operations_a_day(self) -> float:
        """How often the relay closes in 24 hours."""
        return 86_400 / (self.on_s + self.off_s)


@dataclass(frozen=True, slots=True)
class Oscillation:
    """A steady oscillation.

    Attributes:
        size: Its amplitude [K], or the gain at which it stands [1/K].
        period_s: Its period [s].
    """

    size: float
    period_s: float


def on_off_cycle(
    model: Model, room_c: float, low_c: float, high_c: float
) -> OnOffCycle:
    """Return the cycle of on-off heat, without minimum times.

    By hand from dT/dt = (room + gain · heat(t - delay) - T) / lag: past a
    switch the old heat goes on for the delay, and from there on it is the
    exponential to the other end.

    Args:
        model: The process; a second lag is not part of the closed form.
        room_c: Where it ends without heat [°C].
        low_c: It switches on below this [°C].
        high_c: It switches off above this [°C].

    Raises:
        ValueError: A second lag, a band that is none, or one that full heat or
            none never leaves.
    """
    _one_lag(model)
    hot_c = room_c + model.gain_k
    if not room_c < low_c <= high_c < hot_c:
        raise ValueError(
            f"low_c = {low_c}, high_c = {high_c}: must lie between the room,"
            f" {room_c} °C, and full heat, {hot_c} °C"
        )
    left = exp(-model.delay_s / model.lag_s)
    peak_c = hot_c - (hot_c - high_c) * left
    trough_c = room_c + (low_c - room_c) * left
    on_s = model.delay_s + model.lag_s * log((hot_c - trough_c) / (hot_c - high_c))
    off_s = model.delay_s + model.lag_s * log((peak_c - room_c) / (low_c - room_c))
    return OnOffCycle(peak_c, trough_c, on_s, off_s)


def relay_cycle(model: Model, height: float, hysteresis_k: float = 0.0) -> Oscillation:
    """Return the limit cycle under a relay that gives plus or minus `height`.

    Åström and Hägglund 1984, Automatica 20:645-651, is the experiment; the
    formula is the one above with both ends equally far.

    Args:
        model: The process.
        height: What the relay gives to either side [-].
        hysteresis_k: How far past the middle it switches [K].

    Raises:
        ValueError: A second lag; no height; a hysteresis that is never passed.
    """
    _one_lag(model)
    reach_k = model.gain_k * height
    if not 0 <= hysteresis_k < reach_k < inf:
        raise ValueError(
            f"hysteresis_k = {hysteresis_k}: from 0 to below {reach_k} K, which is"
            " gain times height"
        )
    left = exp(-model.delay_s / model.lag_s)
    size_k = reach_k * (1 - left) + hysteresis_k * left
    half_s = model.delay_s + model.lag_s * log(
        (reach_k + size_k) / (reach_k - hysteresis_k)
    )
    return Oscillation(size_k, 2 * half_s)


def describing_function(
    amplitude_k: float, height: float, hysteresis_k: float = 0.0
) -> complex:
    """Return the gain of a relay with hysteresis for a sine [1/K].

    N(a) = 4 d / (π a) · (√(1 - (ε/a)²) - i ε/a).

    Raises:
        ValueError: The sine is too small to switch the relay.
    """
    if not 0 <= hysteresis_k <= amplitude_k or amplitude_k == 0:
        raise ValueError(
            f"amplitude_k = {amplitude_k}: a relay with a hysteresis of"
            f" {hysteresis_k} K switches from that amplitude on"
        )
    share = hysteresis_k / amplitude_k
    return 4 * height / (pi * amplitude_k) * complex(sqrt(1 - share * share), -share)


def ultimate(model: Model) -> Oscillation:
    """Return the gain [1/K] at which a proportional loop oscillates, and how.

    Where the phase of one or two lags and the delay reaches half a turn; found
    by bisection.

    Raises:
        ValueError: There is no delay, and so no such gain.
    """
    if not 0 < model.delay_s < inf:
        raise ValueError(f"delay_s = {model.delay_s}: above 0 is needed")
    low, high = 0.0, pi / model.delay_s
    for _ in range(200):
        middle = (low + high) / 2
        lags = atan(middle * model.lag_s) + atan(middle * model.second_lag_s)
        if middle * model.delay_s + lags < pi:
            low = middle
        else:
            high = middle
    rate = (low + high) / 2
    falls = hypot(1, rate * model.lag_s) * hypot(1, rate * model.second_lag_s)
    return Oscillation(falls / model.gain_k, 2 * pi / rate)


def _one_lag(model: Model) -> None:
    if model.second_lag_s:
        raise ValueError(
            f"second_lag_s = {model.second_lag_s}: the closed form is for one lag"
        )
