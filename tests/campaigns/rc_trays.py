"""Trays that sim/ does not know: three heat capacities, stepped by scipy.

Mat, lower and upper medium with conductances between them and to the room, and
a heat that nobody measures in the upper medium. Closed loops of a thermostat
or a time-proportioned PI on such trays, and on fitted models.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.linalg import expm
from scipy.signal import lfilter

STEP_S = 60.0
NOISE_K = 0.03
QUANTUM_K = 0.0625
HEAT_W = 1.0
HEAT_LASTS_S = 7200.0
DAY = 1440
SEEN = 1
"""The state in which the probe is: the lower medium, and of a model the medium."""

EXCITATIONS = ("hysteresis", "warm-up", "setback")


@dataclass(frozen=True)
class Linear:
    """A system stepped exactly: state after = carry @ state + by @ inputs.

    Attributes:
        carry: Shape (n, n).
        by: Of heat share, room and unmeasured push or heat, shape (n, 3).
        lags_s: Its time constants, the slow one first.
        gain_k: Steady rise of what the probe sees, at full power.
    """

    carry: np.ndarray
    by: np.ndarray
    lags_s: np.ndarray
    gain_k: float


def rc_tray(rng):
    """A tray of the nominal one's kind; every part differs by some 8 %."""

    def about(value, by=0.08):
        return value * np.exp(by * rng.standard_normal())

    mat_j_k, lower_j_k, upper_j_k = about(1500.0), about(9400.0), about(9400.0)
    up, leak, across, out = about(1.5), about(0.30), about(2.4), about(1.3)
    watts = about(22.0, 0.05)
    a = np.array(
        [
            [-(up + leak) / mat_j_k, up / mat_j_k, 0],
            [up / lower_j_k, -(up + across) / lower_j_k, across / lower_j_k],
            [0, across / upper_j_k, -(across + out) / upper_j_k],
        ]
    )
    b = np.array(
        [
            [watts / mat_j_k, leak / mat_j_k, 0],
            [0, 0, 0],
            [0, out / upper_j_k, 1 / upper_j_k],
        ]
    )
    block = np.zeros((6, 6))
    block[:3, :3], block[:3, 3:] = a, b
    exact = expm(block * STEP_S)
    lags = np.sort(-1 / np.linalg.eigvals(a).real)[::-1]
    gain = -np.linalg.solve(a, b)[SEEN, 0]
    return Linear(exact[:3, :3].copy(), exact[:3, 3:].copy(), lags, gain)


def a_room(days, rng):
    """Some days of a cold room: 14 °C, days and nights, weather [°C]."""
    at_s = np.arange(days * DAY) * STEP_S
    day = 4 * np.sin(2 * np.pi * (at_s / 86_400 - 0.375))
    spell = 3 * np.sin(2 * np.pi * at_s / (17 * 86_400) + rng.uniform(0, 2 * np.pi))
    hourly = lfilter([0.25], [1, -0.97], rng.standard_normal(days * 24 + 2))
    return 14 + day + spell + np.interp(at_s, 3600 * np.arange(len(hourly)), hourly)


def unmeasured(count, rng):
    """Heat that nobody measures: 1 W rms, correlated over 2 h [W]."""
    stays = np.exp(-STEP_S / HEAT_LASTS_S)
    fresh = HEAT_W * np.sqrt(1 - stays**2) * rng.standard_normal(count + 600)
    return lfilter([1], [1, -stays], fresh)[600:]


@dataclass(frozen=True)
class Policy:
    """How a mat is kept by the first tray.

    Attributes:
        setpoint_c: By day.
        band_k: From switching off to switching on; None: PI in doses of 10 min.
        night_k: By how much the setpoint is lower for a third of the day.
    """

    setpoint_c: float
    band_k: float | None = 0.5
    night_k: float = 0.0

    def setpoints(self, count):
        night = np.arange(count) % DAY >= DAY * 2 // 3
        return self.setpoint_c - self.night_k * night


LOGGED = {
    "hysteresis": (Policy(22.0), 22.0),
    "warm-up": (Policy(22.0), 14.0),
    "setback": (Policy(22.0, night_k=3.0), 22.0),
}
"""By excitation: the policy under which the log was written, the first °C."""

FULL_POWER = Policy(28.0)
"""In cold nights a mat of this kind runs at full power and falls short of it."""

OTHERS = (
    Policy(20.0),
    Policy(22.0, 2.0),
    Policy(25.0, 1.0),
    Policy(22.0, night_k=3.0),
    Policy(20.0, None),
    Policy(25.0, None),
    FULL_POWER,
)
"""Policies to predict."""

NIGHT = slice(21 * 60, 31 * 60)
"""From 21:00 to 07:00, minutes."""

AT_FULL_POWER = 6 * 60
"""Without a pause for so long, minutes, and still short: a saturated night."""


def saturated_nights(on, temps, policy):
    """Return which steps lie in nights that a mat could not hold.

    Args:
        on: Share of each step in which it was on.
        temps: Of the driving tray [°C].
        policy: What was asked for, on-off.
    """
    found = np.zeros(len(on), dtype=bool)
    whole = np.convolve(on, np.ones(AT_FULL_POWER))[: len(on)] >= AT_FULL_POWER
    short = whole & (temps < policy.setpoints(len(on)) - policy.band_k / 2)
    for midnight in range(0, len(on) - NIGHT.stop + 1, DAY):
        night = slice(midnight + NIGHT.start, midnight + NIGHT.stop)
        found[night] = short[night].any()
    return found


def kept(policy, trays, rooms, pushes, noise, first_c):
    """Keep trays by a policy; return readings, on-shares and temperatures.

    Args:
        policy: How.
        trays: Linear systems; the first one drives.
        rooms: What each tray takes for the room [°C], shape (N, trays).
        pushes: Third input of each, shape (N, trays).
        noise: Of the probes [K], shape (N, trays).
        first_c: Where all of it begins.
    """
    setpoints = policy.setpoints(len(rooms))
    return kept_at(setpoints, policy.band_k, trays, rooms, pushes, noise, first_c)


def kept_at(setpoints, band_k, trays, rooms, pushes, noise, first_c):
    """Keep trays at setpoints [°C], shape (N,); the rest as in kept."""
    carry = np.stack([tray.carry for tray in trays])
    by = np.stack([tray.by for tray in trays])
    band = -1.0 if band_k is None else band_k
    return _kept(carry, by, rooms, pushes, noise, setpoints, band, first_c)


@njit  # in one piece: what it compiles knows no objects
def _kept(  # noqa: C901, PLR0912, PLR0913, PLR0917
    carry, by, rooms, pushes, noise, setpoints, band, first_c
):
    count, trays = rooms.shape
    said, temps = np.empty((count, trays)), np.empty((count, trays))
    on_share = np.empty(count)
    states = np.full((trays, carry.shape[1]), first_c)
    on, since, integral, at_s, on_s = 0.0, 1e9, 0.3, 600.0, 0.0
    for n in range(count):
        for tray in range(trays):
            temps[n, tray] = states[tray, SEEN]
            raw = (states[tray, SEEN] + noise[n, tray]) / QUANTUM_K
            said[n, tray] = np.round(raw) * QUANTUM_K
        low = setpoints[n] - said[n, 0]
        wanted = on
        if band >= 0:
            if on == 1.0 and low < -band / 2 and since >= 120:
                wanted = 0.0
            elif on == 0.0 and low > band / 2 and since >= 120:
                wanted = 1.0
        else:
            if at_s >= 600.0:
                at_s = 0.0
                integral = min(1.0, max(0.0, integral + 3e-5 * low * 600.0))
                on_s = 600.0 * min(1.0, max(0.0, 0.15 * low + integral))
                if on_s < 60.0:
                    on_s = 0.0
            wanted = 1.0 if at_s < on_s else 0.0
            at_s += STEP_S
        since = STEP_S if wanted != on else since + STEP_S
        on = wanted
        on_share[n] = on
        for tray in range(trays):
            inputs = np.array([on, rooms[n, tray], pushes[n, tray]])
            states[tray] = carry[tray] @ states[tray] + by[tray] @ inputs
    return said, on_share, temps
