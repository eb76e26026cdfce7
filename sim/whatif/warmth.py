"""The zones of a block of lanes, one step on, and what their probes read then.

What may live here: the physics, the same operations in the same order as in
heat. No decisions.
"""

import numpy as np

from sim.whatif.jit import inlined
from sim.whatif.rows import (
    FAR,
    LANES,
    LAST,
    MODES,
    ON,
    READ,
    READS,
    Z0,
    Z1,
    Z2,
)
from sim.whatif.shape import (
    BY_HEAT,
    BY_NEAR,
    DECAY,
    HALVED,
    NOT,
    SHOWN,
    Heat,
    Readings,
    Shape,
)
from sim.whatif.words import (
    EVEN,
    across,
    fused,
)

AT_ONCE = 4


@inlined
def advance(
    z: Readings, h: Readings, r: Readings, heat: Heat, shape: Shape, k: int
) -> None:
    """Let the step before scan k pass; read what is there at its end."""
    done = 0
    # Where rows lie is written out: a compiler that knows it asks nothing of them.
    if shape.plain >= AT_ONCE:
        _four(z, h, r, heat, 0, k, shape.lanes)
        done = AT_ONCE
    if shape.plain >= 2 * AT_ONCE:
        _four(z, h, r, heat, AT_ONCE, k, shape.lanes)
        done = 2 * AT_ONCE
    for i in range(done, shape.zones):
        _one(z, h, r, heat, i, k, shape.lanes)
    if shape.halved:
        for i in range(shape.zones):
            if heat.by[HALVED, i] > 0.0:
                _third(z, h, r, heat, shape, i, k)


@inlined
def _driven(
    by: Readings, driven: Readings, i: int, k: int
) -> tuple[np.float32, np.float32, np.float32, np.float32]:
    """Return what drives two modes of a zone in the step before scan k, off and on."""
    off0, off1 = driven[k - 1, 0, i], driven[k - 1, 1, i]
    return off0, off1, off0 + by[BY_HEAT, i], off1 + by[BY_HEAT + 1, i]


@inlined
def _one(
    z: Readings,
    h: Readings,
    r: Readings,
    heat: Heat,
    i: int,
    k: int,
    lanes: int,
) -> None:
    """Let a step pass for a zone."""
    at, read = (i * MODES) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    by = heat.half
    off0, off1, on0, on1 = _driven(by, heat.driven, i, k)
    d0, d1 = _of_two(by, i, DECAY)
    m0, m1 = _of_two(by, i, SHOWN)
    for v in range(across(lanes)):
        on = h[ON + v] > NOT
        z0 = fused(d0, z[at + Z0 + v], on0 if on else off0)
        z1 = fused(d1, z[at + Z1 + v], on1 if on else off1)
        z[at + Z0 + v], z[at + Z1 + v] = z0, z1
        r[read + v] = (m0 * z0 + m1 * z1) + EVEN


@inlined
def _third(
    z: Readings,
    h: Readings,
    r: Readings,
    heat: Heat,
    shape: Shape,
    i: int,
    k: int,
) -> None:
    """Let the step pass for a third mode, and water; read the zone anew."""
    at, read = (i * MODES) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    off, more = heat.driven[k - 1, 2, i], NOT
    on, decay = off + heat.half[BY_HEAT + 2, i], heat.half[DECAY + 2, i]
    m0, m1 = _of_two(heat.half, i, SHOWN)
    m2 = heat.half[SHOWN + 2, i]
    if len(heat.sudden) > 0 and heat.sudden[k - 1, i]:
        push = heat.push[k - 1, i]
        more = np.float32(heat.by[BY_NEAR + 2, i] * push)
        _pour(z, at, heat.by[BY_NEAR, i] * push, heat.by[BY_NEAR + 1, i] * push, shape)
    for v in range(across(shape.lanes)):
        z2 = fused(decay, z[at + Z2 + v], on if h[ON + v] > NOT else off) + more
        z[at + Z2 + v] = z2
        r[read + v] = (m0 * z[at + Z0 + v] + m1 * z[at + Z1 + v] + m2 * z2) + EVEN


@inlined
def _pour(z: Readings, at: int, more0: float, more1: float, shape: Shape) -> None:
    """Add what water does to the first two modes of a zone."""
    first, second = np.float32(more0), np.float32(more1)
    for v in range(across(shape.lanes)):
        z[at + Z0 + v] += first
        z[at + Z1 + v] += second


@inlined
def _four(
    z: Readings,
    h: Readings,
    r: Readings,
    heat: Heat,
    i: int,
    k: int,
    lanes: int,
) -> None:
    """Let a step pass for four trays whose probes are in the medium."""
    at, read = (i * MODES) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    by, driven = heat.half, heat.driven
    a_off0, a_off1, a_on0, a_on1 = _driven(by, driven, i, k)
    b_off0, b_off1, b_on0, b_on1 = _driven(by, driven, i + 1, k)
    c_off0, c_off1, c_on0, c_on1 = _driven(by, driven, i + 2, k)
    d_off0, d_off1, d_on0, d_on1 = _driven(by, driven, i + 3, k)
    (a0, a1), (b0, b1) = _of_two(by, i, DECAY), _of_two(by, i + 1, DECAY)
    (c0, c1), (d0, d1) = _of_two(by, i + 2, DECAY), _of_two(by, i + 3, DECAY)
    for v in range(across(lanes)):
        on, to, into = h[ON + v] > NOT, at + v, read + v
        x0 = fused(a0, z[to + Z0], a_on0 if on else a_off0)
        x1 = fused(a1, z[to + Z1], a_on1 if on else a_off1)
        z[to + Z0], z[to + Z1] = x0, x1
        r[into] = (x0 + x1) + EVEN
        x0 = fused(b0, z[to + MODES + Z0], b_on0 if on else b_off0)
        x1 = fused(b1, z[to + MODES + Z1], b_on1 if on else b_off1)
        z[to + MODES + Z0], z[to + MODES + Z1] = x0, x1
        r[into + READS] = (x0 + x1) + EVEN
        x0 = fused(c0, z[to + 2 * MODES + Z0], c_on0 if on else c_off0)
        x1 = fused(c1, z[to + 2 * MODES + Z1], c_on1 if on else c_off1)
        z[to + 2 * MODES + Z0], z[to + 2 * MODES + Z1] = x0, x1
        r[into + 2 * READS] = (x0 + x1) + EVEN
        x0 = fused(d0, z[to + 3 * MODES + Z0], d_on0 if on else d_off0)
        x1 = fused(d1, z[to + 3 * MODES + Z1], d_on1 if on else d_off1)
        z[to + 3 * MODES + Z0], z[to + 3 * MODES + Z1] = x0, x1
        r[into + 3 * READS] = (x0 + x1) + EVEN


@inlined
def _of_two(by: Readings, i: int, column: int) -> tuple[np.float32, np.float32]:
    """Return a coefficient of the first two modes of a zone."""
    return by[column, i], by[column + 1, i]
