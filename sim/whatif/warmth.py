"""The zones of a block of lanes, one step on, and what their probes read then.

What may live here: the physics, the same operations in the same order as in
heat, and what all trays are to the policy and the limits. No decisions.
"""

from sim.thermal import Vector
from sim.whatif.demands import whole
from sim.whatif.jit import across, inlined, unmasked
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
    ZONE,
)
from sim.whatif.shape import (
    BY_HEAT,
    BY_PUSH,
    BY_ROOM,
    DECAY,
    OFFSET,
    SHOWN,
    Heat,
    Readings,
    Shape,
)

COLDEST, WARMEST = -1e18, 1e18
AT_ONCE = 4


@inlined
def advance(
    s: Vector, z: Vector, h: Readings, heat: Heat, shape: Shape, k: int
) -> None:
    """Let the step before scan k pass; read what is there at its end."""
    _forget(s, shape)
    four = shape.plain // AT_ONCE
    for number in range(four):
        _four(s, z, h, heat, number * AT_ONCE, k, shape.lanes)
    for i in range(four * AT_ONCE, shape.zones):
        _one(s, z, h, heat, shape, i, k)


@inlined
def _forget(s: Vector, shape: Shape) -> None:
    for v in range(across(shape.lanes)):
        s[HOT + v], s[SURFACE_HOT + v] = COLDEST, COLDEST
        s[SUM + v], s[COOL + v] = 0.0, WARMEST


@inlined
def _heed(s: Vector, h: Readings, shape: Shape, i: int, read: int) -> None:
    """Take a zone's readings for what they are to the others."""
    at = read & FAR
    if i < shape.trays:
        for v in range(across(shape.lanes)):
            temp = float(h[at + v])
            s[HOT + v] = unmasked(max(s[HOT + v], temp))
            s[COOL + v] = unmasked(min(s[COOL + v], temp))
            s[SUM + v] += temp
    else:
        for v in range(across(shape.lanes)):
            s[SURFACE_HOT + v] = unmasked(max(s[SURFACE_HOT + v], float(h[at + v])))


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
    s: Vector, z: Vector, h: Readings, heat: Heat, shape: Shape, i: int, k: int
) -> None:
    """Let a step pass for a zone."""
    at, read = (i * ZONE) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    off0, off1, on0, on1 = _driven(heat, i, k)
    d0, d1 = heat.by[i, DECAY], heat.by[i, DECAY + 1]
    m0, m1 = heat.by[i, SHOWN], heat.by[i, SHOWN + 1]
    for v in range(across(shape.lanes)):
        on = s[ON + v] > 0.0
        z0 = d0 * z[at + Z0 + v] + (on0 if on else off0)
        z1 = d1 * z[at + Z1 + v] + (on1 if on else off1)
        z[at + Z0 + v], z[at + Z1 + v] = z0, z1
        h[read + v] = whole(m0 * z0 + m1 * z1)
    _heed(s, h, shape, i, read)


@inlined
def _four(
    s: Vector, z: Vector, h: Readings, heat: Heat, i: int, k: int, lanes: int
) -> None:
    """Let a step pass for four trays whose probes are in the medium.

    Four at once are half the work of one by one, for what all trays are to the
    others stays in a register from the first to the last of them.
    """
    at, read = (i * ZONE) & FAR, (READ + i * READS + (k & LAST) * LANES) & FAR
    a_off0, a_off1, a_on0, a_on1 = _driven(heat, i, k)
    b_off0, b_off1, b_on0, b_on1 = _driven(heat, i + 1, k)
    c_off0, c_off1, c_on0, c_on1 = _driven(heat, i + 2, k)
    d_off0, d_off1, d_on0, d_on1 = _driven(heat, i + 3, k)
    a0, a1, b0, b1 = _decays(heat, i)
    c0, c1, d0, d1 = _decays(heat, i + 2)
    for v in range(across(lanes)):
        on, to = s[ON + v] > 0.0, at + v
        x0 = a0 * z[to + Z0] + (a_on0 if on else a_off0)
        x1 = a1 * z[to + Z1] + (a_on1 if on else a_off1)
        z[to + Z0], z[to + Z1] = x0, x1
        a = whole(x0 + x1)
        x0 = b0 * z[to + ZONE + Z0] + (b_on0 if on else b_off0)
        x1 = b1 * z[to + ZONE + Z1] + (b_on1 if on else b_off1)
        z[to + ZONE + Z0], z[to + ZONE + Z1] = x0, x1
        b = whole(x0 + x1)
        x0 = c0 * z[to + 2 * ZONE + Z0] + (c_on0 if on else c_off0)
        x1 = c1 * z[to + 2 * ZONE + Z1] + (c_on1 if on else c_off1)
        z[to + 2 * ZONE + Z0], z[to + 2 * ZONE + Z1] = x0, x1
        c = whole(x0 + x1)
        x0 = d0 * z[to + 3 * ZONE + Z0] + (d_on0 if on else d_off0)
        x1 = d1 * z[to + 3 * ZONE + Z1] + (d_on1 if on else d_off1)
        z[to + 3 * ZONE + Z0], z[to + 3 * ZONE + Z1] = x0, x1
        d = whole(x0 + x1)
        r = read + v
        h[r], h[r + READS], h[r + 2 * READS], h[r + 3 * READS] = a, b, c, d
        hot, cool = max(s[HOT + v], a), min(s[COOL + v], a)
        hot, cool = max(hot, b), min(cool, b)
        hot, cool = max(hot, c), min(cool, c)
        s[HOT + v], s[COOL + v] = max(hot, d), min(cool, d)
        s[SUM + v] += a + b + c + d


@inlined
def _decays(heat: Heat, i: int) -> tuple[float, float, float, float]:
    """Return how two zones' modes decay."""
    return (
        heat.by[i, DECAY],
        heat.by[i, DECAY + 1],
        heat.by[i + 1, DECAY],
        heat.by[i + 1, DECAY + 1],
    )
