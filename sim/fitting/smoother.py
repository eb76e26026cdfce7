"""The push that a log's temperatures ask for: what no model knows, step by step.

A fixed-interval smoother in its disturbance form (Koopman 1993, Biometrika
80:117-126, "Disturbance smoother for state space models"; equivalent to
Rauch-Tung-Striebel). With the noise entering as the push does, the model
stepped exactly under the smoothed push goes through the smoothed temperatures,
to the last digits. What may live here: what goes into that recursion, and what
comes out of it; the loops are in two_states and three_states.
"""

from dataclasses import dataclass

import numpy as np

from sim.fitting.fitted import Noise
from sim.fitting.record import Record, Truths, gaps
from sim.fitting.three_states import smoothed_three, stepped_three
from sim.fitting.two_states import smoothed_two, stepped_two
from sim.thermal import Matrix, Vector
from sim.zone_model import PARTS, Steps, Zone, steps

USUAL = Noise(push_k_s=2e-5, reading_k=0.03)
"""Chosen: about 1 W of unmeasured heat in a tray, and a one-wire probe's noise."""

_ANY_JUMP_K = 20.0
"""What the temperature may jump where a window begins [K], standard deviation."""


@dataclass(frozen=True, slots=True)
class Smoothed:
    """What a zone did, by its model and all of its readings.

    Attributes:
        push: In each step [K/s], shape (N,).
        start: The zone's temperatures where the first step begins [°C], shape
            (parts,).
        states: The same where each step begins [°C], shape (N, parts).
        bridged: Steps of gaps, in which the push is 0 because nothing was
            measured; at the end of a gap one step makes up for it.
        sudden: Steps of which the push is in both halves of a medium of two.
    """

    push: Vector
    start: Vector
    states: Matrix
    bridged: Truths
    sudden: Truths


def smoothed_push(
    zone: Zone, record: Record, index: int, noise: Noise = USUAL
) -> Vector:
    """Return the smoothed push of a zone in each step [K/s], shape (N,).

    Args:
        zone: Its model.
        record: What the log tells.
        index: Which of the record's zones.
        noise: How much is push and how much the probe's noise; that of the fit.

    Raises:
        ValueError: The zone or the room was never measured.
    """
    return smoothed(zone, record, index, noise).push


def smoothed(zone: Zone, record: Record, index: int, noise: Noise = USUAL) -> Smoothed:
    """Return what a zone did, by its model and all of its readings.

    Args and errors are those of smoothed_push.
    """
    temps = record.temps_c[:, index]
    if not np.isfinite(temps).any():
        message = f"zone {record.zones[index]}: no temperature was measured"
        raise ValueError(message)
    step = steps(zone, record.step_s)
    room = record.room_everywhere_c() + zone.offset_k
    known = np.outer(record.on_share, step.by_heat) + np.outer(room, step.by_room)
    bridged = gaps(temps)
    spread = np.where(bridged, 0.0, noise.push_k_s)
    sudden = sudden_steps(record, index)
    spread[sudden] = _ANY_JUMP_K / (step.by_push + step.by_near)[1]
    seen = 0 if zone.at_mat else 1
    did = smoothed_two if zone.between_s is None else smoothed_three
    push, start = did(step, known, temps, (spread, sudden), (noise.reading_k, seen))
    states = stepped(step, start, known, push, sudden)
    return Smoothed(push, start, states, bridged, sudden)


def sudden_steps(record: Record, index: int) -> Truths:
    """Return in which steps a zone may be pushed by any amount, as by water.

    They are those before a window begins and at the ends of gaps. Such a push is
    in both halves of a medium of two at once.

    Args:
        record: What the log tells.
        index: Which of the record's zones.
    """
    bridged = gaps(record.temps_c[:, index])
    jumps = [start for start in record.starts_of(index) if start > 0]
    ends = np.flatnonzero(bridged[:-1] & ~bridged[1:]) + 1
    found = np.zeros(len(record), dtype=np.bool_)
    found[np.array([*jumps, *ends], dtype=int) - 1] = True
    return found


def stepped(
    step: Steps,
    start: Vector,
    known: Matrix,
    push: Vector,
    sudden: Truths | None = None,
) -> Matrix:
    """Return a zone's temperatures where each step begins [°C], shape (N, parts).

    Args:
        step: The zone's exact step.
        start: Its temperatures where the first step begins [°C]; more than it has
            parts are not looked at.
        known: What heat and room add in each step [K], shape (N, parts).
        push: In each step [K/s].
        sudden: Steps of which the push is in both halves; None: in none.
    """
    added = known + np.outer(push, step.by_push)
    if len(step.by_push) < PARTS:
        return stepped_two(step, start, added)
    if sudden is not None:
        added += np.outer(np.where(sudden, push, 0.0), step.by_near)
    return stepped_three(step, start, added)
