"""What a mat will do before it has done anything: from watts, area and media.

A bench as sim.bench builds it, asked three things: how warm full power makes
each tray, how fast, and with which settings to begin. It knows neither your
foam nor your wires: expect the rise within a fifth or so, and let a log tell
better. What may live here: answers from that network alone.
"""

from dataclasses import dataclass
from math import atan, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from controller.core.plan import MatPlan, Pid
from controller.core.units import Millis
from controller.review.simc import Model, as_pid, simc
from sim.bench import FOAM_M, MatNetwork, evaporation_w_m2, mat_network, probe_weights
from sim.thermal import Vector

Waves = NDArray[np.complex128]

PROBE_LAG_S = 30.0
"""Chosen: a steel sleeve in moist medium."""

SMOOTH = 2.0
"""Chosen: the closed loop is this many times slower than the delay asks for,
for a gain that is only expected."""

SPARE = 0.15
"""Chosen: less power to spare than this in the coldest hour is barely enough."""

MOST_GAIN_PER_K = 10.0
"""What a mat may be set to (controller.core.mat_rules); a mat so weak that it asks
for more is at full heat a tenth of a kelvin below its setpoint."""

_AGES_S = 1e7
_NEAR_S = 1e-3


@dataclass(frozen=True, slots=True)
class Expected:
    """How a tray will answer to its mat.

    Attributes:
        tray: Its name.
        gain_k: Rise at full power [K].
        cooled_k: What 1 mm of evaporation a day takes off it [K].
        surface_k: How much warmer than the room the mat gets under the middle
            tray at full power [K].
        parts_k: What each mode of the network has in the rise [K]; their sum
            is the gain.
        rates: How fast each mode goes there [1/s].
    """

    tray: str
    gain_k: float
    cooled_k: float
    surface_k: float
    parts_k: Vector
    rates: Vector

    def rise_k(self, seconds: float) -> float:
        """Return the rise so many seconds after full power begins [K]."""
        return float(self.parts_k @ -np.expm1(-self.rates * seconds))

    def warm_up_s(self, share: float) -> float:
        """Return after how long a share of the rise has come [s], by bisection."""
        low_s, high_s = 0.0, _AGES_S
        while high_s - low_s > _NEAR_S:
            middle_s = (low_s + high_s) / 2
            if self.rise_k(middle_s) < share * self.gain_k:
                low_s = middle_s
            else:
                high_s = middle_s
        return high_s

    def response(self, rate: float | Vector) -> Waves:
        """Return the answer to heat that swings so fast [rad/s], in K, complex."""
        waves = self.parts_k * self.rates / (1j * np.outer(rate, 1.0) + self.rates)
        return np.asarray(waves.sum(axis=1))


@dataclass(frozen=True, slots=True)
class Holding:
    """Whether a tray can be held.

    Attributes:
        tray: Its name.
        highest_c: How warm full power makes it [°C].
        duty: Share of full power that holds what is wanted; above 1: it cannot.
        surface_c: How warm the mat is under the middle tray at that duty, or
            at full power where that is not enough [°C].
    """

    tray: str
    highest_c: float
    duty: float
    surface_c: float

    @property
    def verdict(self) -> str:
        """The answer as one word: yes, barely, or no."""
        if self.duty > 1:
            return "no"
        return "barely" if self.duty > 1 - SPARE else "yes"


def expected(mat: MatPlan, foam_m: float = FOAM_M) -> tuple[Expected, ...]:
    """Return how each tray of a mat will answer.

    Args:
        mat: The mat.
        foam_m: How thick the foam under it is [m]; 0: there is none.

    Raises:
        ValueError: A medium is not known, two trays stand at one place, or
            there is no tray.
    """
    if not mat.trays:
        message = f"mat {mat.name}: no tray stands on it"
        raise ValueError(message)
    net = mat_network(mat, foam_m=foam_m)
    full_w = net.heat_share * mat.power_mw / 1000
    surface = np.zeros(len(full_w))
    surface[net.surface] = 1.0
    surface_k = float(_parts_k(net, full_w, surface).sum())
    wet_w = net.top_m2 * evaporation_w_m2(1.0)
    found = []
    for tray in mat.trays:
        depth_mm = tray.probes[0].depth_mm if tray.probes else None
        seen = probe_weights(net.trays[tray.name], depth_mm, len(full_w))
        parts_k = _parts_k(net, full_w, seen)
        cooled_k = float(_parts_k(net, wet_w, seen).sum())
        found.append(
            Expected(
                tray.name,
                float(parts_k.sum()),
                cooled_k,
                surface_k,
                parts_k,
                net.network.rates,
            )
        )
    return tuple(found)


def holding(
    tray: Expected, wanted_c: float, room_c: float, evaporation_mm: float
) -> Holding:
    """Return whether a tray can be held at a temperature in a room.

    Args:
        tray: How it answers.
        wanted_c: At its probe [°C].
        room_c: The room's temperature [°C].
        evaporation_mm: Water that it loses [mm/day].
    """
    unheated_c = room_c - evaporation_mm * tray.cooled_k
    duty = max(0.0, (wanted_c - unheated_c) / tray.gain_k)
    surface_c = unheated_c + min(1.0, duty) * tray.surface_k
    return Holding(tray.tray, unheated_c + tray.gain_k, duty, surface_c)


def control_model(tray: Expected, scan_s: float, cycle_ms: int) -> Model:
    """Return the one lag and the delay that the controller meets.

    Between heat and controller lie the tray, the probe's own lag, half a cycle
    of the relay and half a scan. One lag and a delay are chosen so that gain
    and phase are those of the whole where its phase is half a turn: there, not
    at rest, a loop decides whether it swings.

    Args:
        tray: The tray that will drive the mat.
        scan_s: From scan to scan [s].
        cycle_ms: Length of one cycle of the relay [ms].
    """
    waiting_s = cycle_ms / 2000 + scan_s / 2
    rates = np.geomspace(1e-6, 4 * np.pi / waiting_s, 20_000)
    whole = tray.response(rates) / (1 + 1j * rates * PROBE_LAG_S)
    phase = np.unwrap(np.angle(whole)) - rates * waiting_s
    at = int(np.argmax(phase <= -np.pi))
    rate, gain_k = float(rates[at]), float(np.abs(whole[at]))
    lag_s = sqrt((tray.gain_k / gain_k) ** 2 - 1) / rate
    return Model(tray.gain_k, lag_s, (pi - atan(rate * lag_s)) / rate)


def first_pid(model: Model, cycle_ms: int, smooth: float = SMOOTH) -> Pid:
    """Return settings of the PID to begin with: SIMC, proportional and integral.

    Args:
        model: What the controller meets.
        cycle_ms: Length of one cycle of the relay [ms].
        smooth: Wanted time constant of the closed loop, as a multiple of the
            delay; 1 is as fast as SIMC goes.

    Raises:
        ValueError: smooth is below 1.
    """
    if not smooth >= 1:
        message = f"smooth = {smooth}: from 1, as fast as is robust, upwards"
        raise ValueError(message)
    found = as_pid(simc(model, smooth * model.delay_s))
    gain_per_k = min(found.gain_per_k, MOST_GAIN_PER_K)
    return Pid(gain_per_k, found.integral_s, 0.0, Millis(cycle_ms))


def _parts_k(net: MatNetwork, heat_w: Vector, seen: Vector) -> Vector:
    """Return what each mode adds to what is seen, once steady heat has come [K]."""
    network = net.network
    parts: Vector = network.output(seen) * network.drive(heat_w) / network.rates
    return parts
