"""A block of lanes from the first scan to the last.

What may live here: the order of things in a step. A lane for which nothing
changes in a scan is passed over.
"""

import numpy as np

from controller.core.response import LOOK_MS
from controller.core.units import DAY_MS, HOUR_MS
from sim.thermal import Matrix, Vector
from sim.whatif.asked import all_asked
from sim.whatif.ceiling import begin_sparing, calm, lift
from sim.whatif.cycles import MANY, follow_cycle, follow_cycles
from sim.whatif.demands import part, regulate, regulate_all
from sim.whatif.doubts import compare, cross, follow, read_at
from sim.whatif.driving import drive
from sim.whatif.felt import begin, weigh
from sim.whatif.jit import inlined
from sim.whatif.looks import budget, climb, remember, watch
from sim.whatif.relay import obey
from sim.whatif.rows import (
    ALERT,
    BUDGET_AT,
    DAY_ON,
    HIGH,
    KEPT,
    LAST,
    LOOKED,
    LOW,
    MARKED,
    MARKED_TIMES,
    NEXT,
    NEXT_ACT,
    ON,
    ON_MS,
    ROOT,
    SETPOINT,
    SINCE,
    SPARED,
)
from sim.whatif.shape import NOT, ONCE, Block, Heat, Readings, Shape
from sim.whatif.steady import count
from sim.whatif.tally import pad, set_aim, tally
from sim.whatif.verdicts import CLEAR, refuse, verdict
from sim.whatif.warmth import advance
from sim.whatif.wishes import take_up
from sim.whatif.words import (
    EVEN,
    but_lowest,
    counted,
    flagged,
    lowest,
    reached,
    smaller,
    under,
)

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
            soonest = wished(s, h, shape.lanes, k, now, change_at, change_to)
            part(s, shape.lanes)
            anew, held = KEPT, False
        if anew > 0:
            set_aim(h, shape, k)
            anew -= 1
        if k > 0:
            advance(block.modes, h, r, heat, shape, k)
        drive(h, r, shape, k)
        if k > 0 and shape.crosses:
            cross(z, r, shape, k)
        if shape.tracks:
            follow(s, z, h, r, shape, k, now)
        if k == scans - 1:
            pad(h, r, shape, scans)
            held = False
        if k & LAST == LAST or k == scans - 1:
            count(s, r, shape, k)
            tally(s, z, h, r, shape, k, held)
            held = True
            if k & LAST == LAST and not shape.tracks:
                compare(h, r, shape, k)
        if k == 0 or now - s[LOOKED] >= LOOK:
            look(s, h, heat.heard, shape, k, now)
        if now >= day * DAY:
            close_day(s, h, shape.lanes, day, now, daily)
            day += 1
            if shape.spares and s[SPARED] < 0.0 and calm(s, shape.lanes):
                begin_sparing(s, h, shape.lanes, k, now, shape.step)
        demands = decide(block, shape, k, now, demands)
        if len(told) > 0:
            tell(h, r, shape, k, told[k])
    close_day(s, h, shape.lanes, day, scans * shape.step, daily)


@inlined
def look(
    s: Vector, h: Readings, heard: Vector, shape: Shape, k: int, now: float
) -> None:
    """Let the response guards look, all lanes' at once."""
    number, first = int(s[MARKED_TIMES]), s[MARKED_TIMES] == 0.0
    passed = now - s[LOOKED]
    marks = first or now - s[MARKED] >= HOUR
    if marks:
        remember(s, h, shape.lanes, number, now)
        s[MARKED_TIMES], s[MARKED] = number + 1.0, now
    amiss = s[ALERT] > 0.0
    if first:
        begin(s, h, shape.lanes, now, heard[k])
    elif s[SPARED] >= 0.0:
        lift(s, h, heard, shape.lanes, k, now, passed)
    elif weigh(s, h, shape.lanes, now, passed, heard[k], shape.heard):
        amiss = True
    if shape.climbs and climb(h, shape, k):
        amiss = True
    if (marks or now >= s[BUDGET_AT]) and budget(s, h, shape.lanes, now):
        amiss = True
    if amiss:
        watch(s, h, shape.lanes, now)
    s[LOOKED] = now


@inlined
def wished(
    s: Vector,
    h: Readings,
    lanes: int,
    k: int,
    now: float,
    change_at: Vector,
    change_to: Vector,
) -> float:
    """Take up setpoints that may have changed; return the next step for any."""
    soonest = 1e18
    for v in range(lanes):
        if s[NEXT + v] <= k:
            take_up(s, h, v, k, now, change_at, change_to)
        soonest = smaller(soonest, s[NEXT + v])
    return soonest


@inlined
def close_day(
    s: Vector, h: Readings, lanes: int, day: int, now: float, daily: Matrix
) -> None:
    """Write down the time on of a day that is over."""
    for v in range(lanes):
        on_ms = s[ON_MS + v] + float(h[ON + v]) * (now - s[SINCE + v])
        daily[v, day - 1] = on_ms - s[DAY_ON + v]
        s[DAY_ON + v] = on_ms


@inlined
def tell(h: Readings, r: Readings, shape: Shape, k: int, told: Vector) -> None:
    """Write down what the first lane reads, wants and does."""
    for i in range(shape.zones):
        told[i] = r[read_at(i, k)] - EVEN
    told[shape.zones], told[shape.zones + 1] = h[SETPOINT], h[ON]


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
            cause = verdict(s, block.zones, h, block.read, v, shape, k)
            if cause == CLEAR and shape.is_pid:
                regulate(s, h, v, now)
        if cause != CLEAR:
            refuse(s, h, v, cause, now)
            refused |= 1 << v
        elif shape.is_pid:
            follow_cycle(s, h, v, k, shape.step)
        else:
            obey(s, h, v, ONCE if (demands >> v) & 1 != 0 else NOT, now)
    return refused
