"""Readings of a block of lanes that need a second look.

What may live here: lines that cross a base or an upper cut-off, probes that
stand still, and readings that only the core can judge. No decisions.
"""

import numpy as np

from controller.core.judge import HIGHEST_MC, LOWEST_MC, RATE_MK_PER_S, STEP_MK
from controller.core.units import HOUR_MS
from sim.thermal import Vector
from sim.whatif.jit import inlined, unmasked_half
from sim.whatif.rows import (
    BASE,
    FAR,
    FIX,
    FROZEN,
    KEPT,
    LANES,
    LAST,
    READ,
    READS,
    ROOT,
    SAME_SINCE,
    STILL,
    STILL_AT,
    STILL_MOST,
    STRANGE,
    STUCK_AFTER,
    UPPER,
    ZONE,
)
from sim.whatif.shape import NOT, ONCE, Readings, Shape
from sim.whatif.words import EVEN, across, alike, larger, rounded, smaller

HOUR = float(HOUR_MS)

AMID = 3
"""Chosen: of eight readings the one that is compared with both at the ends. A held
mat reads the same now and then at two times, and seldom at three."""

LOWEST, HIGHEST = float(LOWEST_MC), float(HIGHEST_MC)
STEP, RATE = float(STEP_MK), float(RATE_MK_PER_S)


@inlined
def read_at(i: int, k: int) -> int:
    """Return the row of a zone's readings at scan k."""
    return (READ + i * READS + (k & LAST) * LANES) & FAR


@inlined
def cross(z: Vector, r: Readings, shape: Shape, k: int) -> None:
    """Put the plain sum right where a line crosses a base or an upper cut-off."""
    for i in range(shape.trays):
        at, crossings = (i * ZONE) & FAR, 0
        was, read = read_at(i, k - 1), read_at(i, k)
        for v in range(across(shape.lanes)):
            before, temp = float(r[was + v] - EVEN), float(r[read + v] - EVEN)
            base, upper = z[at + BASE + v], z[at + UPPER + v]
            low = (before - base) * (temp - base) < 0.0
            high = (before - upper) * (temp - upper) < 0.0
            crossings += 1 if low | high else 0
        if crossings > 0:
            for v in range(across(shape.lanes)):
                z[at + FIX + v] += _amiss(
                    float(r[was + v] - EVEN),
                    float(r[read + v] - EVEN),
                    z[at + BASE + v],
                    z[at + UPPER + v],
                    shape.step,
                )


@inlined
def _amiss(before: float, temp: float, base: float, upper: float, step: float) -> float:
    """Return what thermal_time.heat_along has beyond the plain sum [mK ms]."""
    low = (before - base) * (temp - base) < 0.0
    if not low and not (before - upper) * (temp - upper) < 0.0:
        return 0.0
    twice = _above(before, temp, base) - _above(before, temp, upper)
    exact = rounded(twice * step / (2.0 * abs(temp - before)))
    ends = (
        smaller(larger(before, base), upper)
        + smaller(larger(temp, base), upper)
        - 2.0 * base
    )
    return exact - ends * step / 2.0


@inlined
def _above(before: float, temp: float, threshold: float) -> float:
    low, high = larger(0.0, before - threshold), larger(0.0, temp - threshold)
    return abs(high * high - low * low)


def still_windows(step_ms: float) -> int:
    """Return how many whole windows of eight scans an hour without a change has.

    It has so many scans and one more, and may begin and end within a window.
    """
    return int((HOUR // step_ms + 1 - LAST) // KEPT)


@inlined
def compare(h: Readings, r: Readings, shape: Shape, k: int) -> None:
    """Count in how many windows in a row, up to scan k, a probe may have stood still.

    Most probes did not: then nothing is put down, and a count holds where the window
    before was counted.
    """
    window = np.float32(k // KEPT)
    for i in range(shape.zones):
        own = (READ + i * READS) & FAR
        amid, end = own + AMID * LANES, own + LAST * LANES
        if alike(r, own, end) & alike(r, own, amid) != 0:
            goes_on = r[own + STILL_AT] == window - ONCE
            r[own + STILL_AT] = window
            for v in range(across(shape.lanes)):
                temp, before = r[own + v], r[own + STILL + v] if goes_on else NOT
                same = (temp == r[end + v]) & (temp == r[amid + v])
                still = before + ONCE if same else NOT
                r[own + STILL + v] = unmasked_half(still)
                h[STILL_MOST + v] = unmasked_half(larger(h[STILL_MOST + v], still))


@inlined
def follow(
    s: Vector, z: Vector, h: Readings, r: Readings, shape: Shape, k: int, now: float
) -> None:
    """Follow the probes scan by scan, and see what only the core can judge.

    That is a reading that it would doubt: one beyond what a probe can say, a
    jump, or the very same one for too long.
    """
    jump = STEP + RATE * shape.step // 1000.0
    for v in range(shape.lanes):
        h[FROZEN + v] = NOT
        for i in range(shape.zones):
            at = i * ZONE + v
            temp = float(r[read_at(i, k) + v] - EVEN)
            before = float(r[read_at(i, k - 1) + v] - EVEN) if k > 0 else temp
            if temp != before:
                z[at + SAME_SINCE] = now
            same = now - z[at + SAME_SINCE]
            if i < shape.trays and temp == h[ROOT + v] and same >= HOUR:
                h[FROZEN + v] = ONCE
            beyond = temp < LOWEST or temp > HIGHEST or abs(temp - before) > jump
            if beyond or same > s[STUCK_AFTER + v]:
                s[STRANGE + v] = 1.0
