"""What a block does seldom, or for seldom a block.

Each of these is compiled by itself, meanwhile by another process if there is a
processor for it: together that takes half as long. The loop hands over whole
blocks and calls for an answer, which takes a little longer than if it were part
of the loop; so nothing that every step needs is here. What may live here: that,
in a block's words. No rules.
"""

from controller.core.units import HOUR_MS
from sim.thermal import Matrix, Vector
from sim.whatif.beside import Aside, called
from sim.whatif.ceiling import begin_sparing, calm, lift
from sim.whatif.demands import regulate
from sim.whatif.doubts import cross, follow, read_at
from sim.whatif.felt import begin, weigh
from sim.whatif.jit import aside
from sim.whatif.looks import budget, climb, remember, watch
from sim.whatif.rows import (
    ALERT,
    BUDGET_AT,
    DAY_ON,
    LOOKED,
    MARKED,
    MARKED_TIMES,
    NEXT,
    ON,
    ON_MS,
    SETPOINT,
    SINCE,
    SPARED,
)
from sim.whatif.shape import Block, Heat, Shape
from sim.whatif.tally import pad
from sim.whatif.verdicts import CLEAR, verdict
from sim.whatif.wishes import take_up
from sim.whatif.words import EVEN, smaller

HOUR = float(HOUR_MS)


def asides(
    block: Block,
    heat: Heat,
    shape: Shape,
    change_at: Vector,
    change_to: Vector,
    daily: Matrix,
    told: Matrix,
) -> list[Aside]:
    """Return all that is here, with arguments of the kinds that a season hands over.

    The longest to compile first.
    """
    k, v, now = 0, 0, 0.0
    return [
        called(look, block, heat.heard, shape, k, now),
        called(judged, block, v, shape, k),
        called(wished, block, shape, k, now, change_at, change_to),
        called(crossed, block, shape, k),
        called(spared, block, shape, k, now),
        called(close_day, block, shape, k, now, daily),
        called(followed, block, shape, k, now),
        called(padded, block, shape, k),
        called(tell, block, shape, k, told),
    ]


@aside
def look(block: Block, heard: Vector, shape: Shape, k: int, now: float) -> None:
    """Let the response guards look, all lanes' at once."""
    s, h, r = block.mats, block.half, block.read
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
        lift(s, h, r, heard, shape.lanes, k, shape.step)
    elif weigh(s, h, shape.lanes, now, passed, heard[k], shape.heard):
        amiss = True
    if shape.climbs and climb(h, shape, k):
        amiss = True
    if (marks or now >= s[BUDGET_AT]) and budget(s, h, shape.lanes, now):
        amiss = True
    if amiss:
        watch(s, h, shape.lanes, now)
    s[LOOKED] = now


@aside
def judged(block: Block, v: int, shape: Shape, k: int) -> int:
    """Return why a lane is refused heat, or CLEAR; then its PID has computed."""
    s, h = block.mats, block.half
    cause = verdict(s, block.zones, h, block.read, v, shape, k)
    if cause == CLEAR and shape.is_pid:
        regulate(s, h, v, k * shape.step)
    return cause


@aside
def wished(
    block: Block,
    shape: Shape,
    k: int,
    now: float,
    change_at: Vector,
    change_to: Vector,
) -> float:
    """Take up setpoints that may have changed; return the next step for any."""
    s, h, soonest = block.mats, block.half, 1e18
    for v in range(shape.lanes):
        if s[NEXT + v] <= k:
            take_up(s, h, v, k, now, change_at, change_to)
        soonest = smaller(soonest, s[NEXT + v])
    return soonest


@aside
def crossed(block: Block, shape: Shape, k: int) -> None:
    """Put heat right where a line crosses a base or an upper cut-off."""
    cross(block.zones, block.read, shape, k)


@aside
def close_day(block: Block, shape: Shape, day: int, now: float, daily: Matrix) -> None:
    """Write down the time on of a day that is over."""
    s, h = block.mats, block.half
    for v in range(shape.lanes):
        on_ms = s[ON_MS + v] + float(h[ON + v]) * (now - s[SINCE + v])
        daily[v, day - 1] = on_ms - s[DAY_ON + v]
        s[DAY_ON + v] = on_ms


@aside
def spared(block: Block, shape: Shape, k: int, now: float) -> None:
    """Spare a block looks from the look at k on, if it is calm."""
    s = block.mats
    if calm(s, shape.lanes):
        begin_sparing(s, block.half, shape.lanes, k, now, shape.step)


@aside
def followed(block: Block, shape: Shape, k: int, now: float) -> None:
    """Follow the probes in a scan, and see what only the core can judge."""
    follow(block.mats, block.zones, block.half, block.read, shape, k, now)


@aside
def padded(block: Block, shape: Shape, scans: int) -> None:
    """Fill up the last eight readings where the scans end."""
    pad(block.half, block.read, shape, scans)


@aside
def tell(block: Block, shape: Shape, k: int, told: Matrix) -> None:
    """Write down what the first lane reads, wants and does."""
    r, h = block.read, block.half
    for i in range(shape.zones):
        told[k, i] = r[read_at(i, k)] - EVEN
    told[k, shape.zones], told[k, shape.zones + 1] = h[SETPOINT], h[ON]
