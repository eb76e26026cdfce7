"""A block of lanes from the first scan to the last.

What may live here: the order of things in a step. A lane for which nothing
changes in a scan is passed over.
"""

import numpy as np

from controller.core.response import LOOK_MS
from controller.core.units import DAY_MS, HOUR_MS
from sim.thermal import Matrix, Vector
from sim.whatif.asked import all_asked
from sim.whatif.ceiling import lift
from sim.whatif.cycles import MANY, follow_cycle, follow_cycles
from sim.whatif.demands import part, regulate_all
from sim.whatif.doubts import compare
from sim.whatif.driving import drive, heed
from sim.whatif.jit import inlined
from sim.whatif.relay import obey
from sim.whatif.rows import (
    ALERT,
    BUDGET_AT,
    HIGH,
    KEPT,
    LAST,
    LOOKED,
    LOW,
    MARKED,
    NEXT_ACT,
    ON,
    ROOT,
    SPARED,
)
from sim.whatif.seldom import (
    close_day,
    crossed,
    followed,
    judged,
    look,
    padded,
    spared,
    tell,
    wished,
)
from sim.whatif.shape import NOT, ONCE, Block, Heat, Shape
from sim.whatif.steady import count
from sim.whatif.tally import set_aim, tally
from sim.whatif.verdicts import CLEAR, refuse
from sim.whatif.warmth import advance
from sim.whatif.words import but_lowest, counted, flagged, lowest, reached, under

DAY, HOUR, LOOK = float(DAY_MS), float(HOUR_MS), float(LOOK_MS)


def season(
    block: Block,
    heat: Heat,
    shape: Shape,
    change_at: Vector,
    change_to: Vector,
    daily: Matrix,
    told: Matrix,
) -> None:
    """Run a block; the lanes' rows are those of a first scan to come."""
    s, z, h, r = block.mats, block.zones, block.half, block.read
    scans = len(heat.room_c)
    day, soonest, anew, held, demands = 1, -1.0, 0, True, 0
    for k in range(scans):
        now = k * shape.step
        if soonest <= k:
            soonest = wished(block, shape, k, now, change_at, change_to)
            part(s, shape.lanes)
            anew, held = KEPT, False
        if anew > 0:
            set_aim(h, shape, k)
            anew -= 1
        driven = False
        if k > 0:
            advance(block.modes, h, r, heat, shape, k)
            driven = heed(h, r, shape, k)
        if not driven:
            drive(h, r, shape, k)
        if k > 0 and shape.crosses:
            crossed(block, shape, k)
        if shape.tracks:
            followed(block, shape, k, now)
        if k == scans - 1:
            padded(block, shape, scans)
            held = False
        if k & LAST == LAST or k == scans - 1:
            count(s, h, r, shape, k)
            tally(s, z, h, r, shape, k, held)
            held = True
            if k & LAST == LAST and not shape.tracks:
                compare(h, r, shape, k)
        if k == 0 or now - s[LOOKED] >= LOOK:
            if glances(s, shape, now):
                lift(s, h, r, heat.heard, shape.lanes, k, shape.step)
                s[LOOKED] = now
            else:
                look(block, heat.heard, shape, k, now)
        if now >= day * DAY:
            close_day(block, shape, day, now, daily)
            day += 1
            if shape.spares and s[SPARED] < 0.0:
                spared(block, shape, k, now)
        demands = decide(block, shape, k, now, demands)
        if len(told) > 0:
            tell(block, shape, k, told)
    close_day(block, shape, day, scans * shape.step, daily)


@inlined
def glances(s: Vector, shape: Shape, now: float) -> bool:
    """Whether all that a look would do is to lift ceilings; see seldom.look."""
    quiet = s[SPARED] >= 0.0 and s[ALERT] == 0.0 and not shape.climbs
    return quiet and now - s[MARKED] < HOUR and now < s[BUDGET_AT]


@inlined
def decide(block: Block, shape: Shape, k: int, now: float, demanded: int) -> int:
    """Find the lanes for which something changes now, and change it.

    Takes a bit for each lane that is on below and off above and has demanded heat up
    to now; returns the same for the next scan.
    """
    if shape.is_pid:
        _proportion(block, shape, k, now)
        return demanded
    return _turn(block, shape, k, demanded)


@inlined
def _turn(block: Block, shape: Shape, k: int, demanded: int) -> int:
    """Decide for lanes that are on below and off above."""
    h = block.half
    below, above = under(h, ROOT, LOW), under(h, HIGH, ROOT)
    demands = (demanded & ~above) | below
    protects = all_asked(block.mats, h, shape)
    asks = protects | (demands ^ flagged(h, ON))
    return demands & ~_settle(block, asks, protects, demands, shape, k)


@inlined
def _proportion(block: Block, shape: Shape, k: int, now: float) -> None:
    """Decide for lanes whose PIDs ask for a share of a cycle."""
    s, h = block.mats, block.half
    protects, acts = all_asked(s, h, shape), reached(h, NEXT_ACT, np.float32(k))
    regulate_all(s, h, shape, now, alone=protects == 0)
    if protects == 0 and counted(acts) >= MANY:
        follow_cycles(s, h, shape.lanes, k, shape.step)
    else:
        _settle(block, protects | acts, protects, 0, shape, k)


@inlined
def _settle(
    block: Block, asks: int, protects: int, demands: int, shape: Shape, k: int
) -> int:
    """Decide for lanes that ask for it, as the core does for a mat.

    Args:
        block: The block.
        asks: A bit for each lane that asks.
        protects: A bit for each of them at which protect must look.
        demands: A bit for each that demands heat, unless a PID does.
        shape: What is the same for all lanes.
        k: The scan.

    Returns:
        A bit for each that is refused heat.
    """
    s, h, now, refused = block.mats, block.half, k * shape.step, 0
    while asks != 0:
        v, cause = lowest(asks), CLEAR
        asks = but_lowest(asks)
        if (protects >> v) & 1 != 0:
            cause = judged(block, v, shape, k)
        if cause != CLEAR:
            refuse(s, h, v, cause, now)
            refused |= 1 << v
        elif shape.is_pid:
            follow_cycle(s, h, v, k, shape.step)
        else:
            obey(s, h, v, ONCE if (demands >> v) & 1 != 0 else NOT, now)
    return refused
