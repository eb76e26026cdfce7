"""The zones of a block of lanes, one step on, and what their probes read then.

What may live here: the physics, the same operations in the same order as in
heat, and what all trays are to the policy and the limits. No decisions.
"""

import numpy as np

from sim.thermal import Vector
from sim.whatif.demands import whole
from sim.whatif.jit import across, inlined, unmasked_half
from sim.whatif.rows import (
    COOL,
    FAR,
    HOT,
    LANES,
    LAST,
    ON,
    READ,
    READS,
    SUM,
    SURFACE_HOT,
    Z0,
    Z1,
    Z2,
    ZONE,
)
from sim.whatif.shape import (
    BY_HEAT,
    BY_NEAR,
    BY_PUSH,
    BY_ROOM,
    DECAY,
    HALVED,
    NOT,
    OFFSET,
    SHOWN,
    Heat,
    Readings,
    Shape,
)

COLDEST = np.float32(-1e18)
AT_ONCE = 4


@inlined
def advance(
    z: Vector, h: Readings, r: Readings, heat: Heat, shape: Shape, k: int
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
            if heat.by[i, HALVED] > 0.0:
                _third(z, h, r, heat, shape, i, k)
    _heed(h, r, shape, READ + (k & LAST) * LANES)


@inlined
def _heed(h: Readings, r: Readings, shape: Shape, row: int) -> None:
    """Take the zones' readings for what they are to the policy and the limits."""
    done = 1
    if shape.trays >= 2 * AT_ONCE:
        _heed_eight(h, r, row & FAR, shape.lanes)
        done = 2 * AT_ONCE
    else:
        at = row & FAR
        for v in range(across(shape.lanes)):
            temp = r[at + v]
            h[HOT + v], h[COOL + v], h[SUM + v] = temp, temp, temp
    for i in range(done, shape.trays):
        at = (row + i * READS) & FAR
        for v in range(across(shape.lanes)):
            temp = r[at + v]
            h[HOT + v] = unmasked_half(max(h[HOT + v], temp))
            h[COOL + v] = unmasked_half(min(h[COOL + v], temp))
            h[SUM + v] += temp
    for i in range(shape.trays, shape.zones):
        at = (row + i * READS) & FAR
        for v in range(across(shape.lanes)):
            before = h[SURFACE_HOT + v] if i > shape.trays else COLDEST
            h[SURFACE_HOT + v] = unmasked_half(max(before, r[at + v]))


@inlined
def _heed_eight(h: Readings, r: Readings, at: int, lanes: int) -> None:
    for v in range(across(lanes)):
        a, b = r[at + v], r[at + READS + v]
        c, d = r[at + 2 * READS + v], r[at + 3 * READS + v]
        e, f = r[at + 4 * READS + v], r[at + 5 * READS + v]
        g, top = r[at + 6 * READS + v], r[at + 7 * READS + v]
        hot, hotter = max(a, b, c, d), max(e, f, g, top)
        cool, cooler = min(a, b, c, d), min(e, f, g, top)
        h[HOT + v], h[COOL + v] = max(hot, hotter), min(cool, cooler)
        h[SUM + v] = ((a + b) + (c + d)) + ((e + f) + (g + top))


@inlined
def _driven(heat: Heat, i: int, k: int) -> tuple[float, float, float, float]:
    """Return what drives the two modes of a zone, off and on."""
    room = heat.room_c[k - 1] + heat.by[i, OFFSET]
    push = heat.push[k - 1, i]
    off0 = heat.by[i, BY_ROOM] * room + heat.by[i, BY_PUSH] * push
    off1 = heat.by[i, BY_ROOM + 1] * room + heat.by[i, BY_PUSH + 1] * push
    return off0, off1, heat.by[i, BY_HEAT] + off0, heat.by[i, BY_HEAT + 1] + off1


@inlined
def _one(
    z: Vector, h: Readings, r: Readings, heat: Heat, i: int, k: int, lanes: int
) -> None:
    """Let a step pass for a zone."""
    at, read = (i * ZONE) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    off0, off1, on0, on1 = _driven(heat, i, k)
    d0, d1 = heat.by[i, DECAY], heat.by[i, DECAY + 1]
    m0, m1 = heat.by[i, SHOWN], heat.by[i, SHOWN + 1]
    for v in range(across(lanes)):
        on = h[ON + v] > NOT
        z0 = d0 * z[at + Z0 + v] + (on0 if on else off0)
        z1 = d1 * z[at + Z1 + v] + (on1 if on else off1)
        z[at + Z0 + v], z[at + Z1 + v] = z0, z1
        r[read + v] = whole(m0 * z0 + m1 * z1)


@inlined
def _third(
    z: Vector, h: Readings, r: Readings, heat: Heat, shape: Shape, i: int, k: int
) -> None:
    """Let the step pass for a third mode, and water; read the zone anew."""
    at, read = (i * ZONE) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    push, more = heat.push[k - 1, i], 0.0
    off = heat.by[i, BY_ROOM + 2] * (heat.room_c[k - 1] + heat.by[i, OFFSET])
    off += heat.by[i, BY_PUSH + 2] * push
    on, decay = heat.by[i, BY_HEAT + 2] + off, heat.by[i, DECAY + 2]
    m0, m1, m2 = heat.by[i, SHOWN], heat.by[i, SHOWN + 1], heat.by[i, SHOWN + 2]
    if len(heat.sudden) > 0 and heat.sudden[k - 1, i]:
        more = heat.by[i, BY_NEAR + 2] * push
        _pour(z, at, heat.by[i, BY_NEAR] * push, heat.by[i, BY_NEAR + 1] * push, shape)
    for v in range(across(shape.lanes)):
        z2 = decay * z[at + Z2 + v] + (on if h[ON + v] > NOT else off) + more
        z[at + Z2 + v] = z2
        r[read + v] = whole(m0 * z[at + Z0 + v] + m1 * z[at + Z1 + v] + m2 * z2)


@inlined
def _pour(z: Vector, at: int, more0: float, more1: float, shape: Shape) -> None:
    """Add what water does to the first two modes of a zone."""
    for v in range(across(shape.lanes)):
        z[at + Z0 + v] += more0
        z[at + Z1 + v] += more1


@inlined
def _four(
    z: Vector, h: Readings, r: Readings, heat: Heat, i: int, k: int, lanes: int
) -> None:
    """Let a step pass for four trays whose probes are in the medium."""
    at, read = (i * ZONE) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    a_off0, a_off1, a_on0, a_on1 = _driven(heat, i, k)
    b_off0, b_off1, b_on0, b_on1 = _driven(heat, i + 1, k)
    c_off0, c_off1, c_on0, c_on1 = _driven(heat, i + 2, k)
    d_off0, d_off1, d_on0, d_on1 = _driven(heat, i + 3, k)
    a0, a1, b0, b1 = _decays(heat, i)
    c0, c1, d0, d1 = _decays(heat, i + 2)
    for v in range(across(lanes)):
        on, to, into = h[ON + v] > NOT, at + v, read + v
        x0 = a0 * z[to + Z0] + (a_on0 if on else a_off0)
        x1 = a1 * z[to + Z1] + (a_on1 if on else a_off1)
        z[to + Z0], z[to + Z1] = x0, x1
        r[into] = whole(x0 + x1)
        x0 = b0 * z[to + ZONE + Z0] + (b_on0 if on else b_off0)
        x1 = b1 * z[to + ZONE + Z1] + (b_on1 if on else b_off1)
        z[to + ZONE + Z0], z[to + ZONE + Z1] = x0, x1
        r[into + READS] = whole(x0 + x1)
        x0 = c0 * z[to + 2 * ZONE + Z0] + (c_on0 if on else c_off0)
        x1 = c1 * z[to + 2 * ZONE + Z1] + (c_on1 if on else c_off1)
        z[to + 2 * ZONE + Z0], z[to + 2 * ZONE + Z1] = x0, x1
        r[into + 2 * READS] = whole(x0 + x1)
        x0 = d0 * z[to + 3 * ZONE + Z0] + (d_on0 if on else d_off0)
        x1 = d1 * z[to + 3 * ZONE + Z1] + (d_on1 if on else d_off1)
        z[to + 3 * ZONE + Z0], z[to + 3 * ZONE + Z1] = x0, x1
        r[into + 3 * READS] = whole(x0 + x1)


@inlined
def _decays(heat: Heat, i: int) -> tuple[float, float, float, float]:
    """Return how two zones' modes decay."""
    return (
        heat.by[i, DECAY],
        heat.by[i, DECAY + 1],
        heat.by[i + 1, DECAY],
        heat.by[i + 1, DECAY + 1],
    )
