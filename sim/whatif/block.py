"""A block of lanes from the first scan to the last.

What may live here: the order of things in a step. A lane for which nothing
changes in a scan is passed over: whatever decides, decides lane by lane.
"""

from controller.core.response import LOOK_MS
from controller.core.units import DAY_MS, HOUR_MS
from sim.thermal import Matrix, Vector
from sim.whatif.ceiling import begin_sparing, calm, lift
from sim.whatif.demands import cycled, on_off, part, regulate, regulate_all
from sim.whatif.doubts import SAMPLE_MS, cross, follow, read_at, sample
from sim.whatif.driving import drive
from sim.whatif.felt import TWICE, begin, weigh
from sim.whatif.jit import across, any_flagged, flagged, inlined, lowest, unmasked_half
from sim.whatif.looks import budget, climb, remember, watch
from sim.whatif.relay import obey
from sim.whatif.rows import (
    ALERT,
    BUDGET_AT,
    CYCLE,
    CYCLE_HAS,
    CYCLE_ON,
    CYCLE_START,
    DAY_ON,
    DEMAND,
    HOT,
    HOT_LINE,
    KEPT,
    LANES,
    LAST,
    LOOKED,
    MARKED,
    MARKED_TIMES,
    NEED,
    NEXT,
    ON,
    ON_MS,
    SETPOINT,
    SINCE,
    SPARED,
    SURFACE_HOT,
    SURFACE_LINE,
    WATCH,
    WORD,
)
from sim.whatif.shape import NOT, ONCE, Block, Heat, Readings, Shape
from sim.whatif.steady import count, keep
from sim.whatif.tally import pad, set_aim, tally
from sim.whatif.verdicts import CLEAR, refuse, verdict
from sim.whatif.warmth import advance
from sim.whatif.wishes import take_up

DAY, HOUR, LOOK = float(DAY_MS), float(HOUR_MS), float(LOOK_MS)
SAMPLE_EVERY = float(SAMPLE_MS)


@inlined
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
    scans, every = len(heat.room_c), max(1, int(SAMPLE_EVERY / shape.step))
    day, soonest, anew = 1, -1.0, 0
    for k in range(scans):
        now = k * shape.step
        if soonest <= k:
            soonest = wished(s, h, shape.lanes, k, now, change_at, change_to)
            part(s, shape.lanes)
            anew = KEPT
        if anew > 0:
            set_aim(h, shape, k)
            anew -= 1
        if k > 0:
            advance(z, h, r, heat, shape, k)
        drive(h, r, shape, k)
        if k > 0 and shape.crosses:
            cross(z, r, shape, k)
        if k > 0 and shape.tracks:
            follow(s, z, h, r, shape, k, now)
        if k % every == 0 and not shape.tracks:
            sample(h, r, shape, k)
        keep(h, r, shape, k)
        if k == scans - 1:
            pad(h, r, shape, scans)
        if k & LAST == LAST or k == scans - 1:
            count(s, r, shape, k)
            tally(s, z, h, r, shape, k)
        if k == 0 or now - s[LOOKED] >= LOOK:
            look(s, h, heat.heard, shape, k, now)
        if now >= day * DAY:
            close_day(s, h, shape.lanes, day, now, daily)
            day += 1
            if shape.spares and s[SPARED] < 0.0 and calm(s, shape.lanes):
                begin_sparing(s, h, shape.lanes, k, now, shape.step)
        decide(s, z, h, r, shape, k, now)
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
    if climb(h, shape, k):
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
        soonest = min(soonest, s[NEXT + v])
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
        told[i] = r[read_at(i, k)]
    told[shape.zones], told[shape.zones + 1] = h[SETPOINT], h[ON]


@inlined
def decide(
    s: Vector, z: Vector, h: Readings, r: Readings, shape: Shape, k: int, now: float
) -> None:
    """Find the lanes for which something changes now, and change it."""
    lanes = shape.lanes
    if shape.is_pid:
        for v in range(across(lanes)):
            h[NEED + v] = TWICE if _asked(h, v) else NOT
        regulate_all(s, h, shape, now, alone=not any_flagged(h, NEED))
        for v in range(across(lanes)):
            since, need = now - s[CYCLE_START + v], h[NEED + v]
            due = (s[CYCLE_HAS + v] == 0.0) | (since >= s[CYCLE + v])
            demand = ONCE if since < s[CYCLE_ON + v] else NOT
            changes = due | (demand != h[ON + v])
            h[NEED + v] = unmasked_half(ONCE if changes & (need == NOT) else need)
    else:
        for v in range(across(lanes)):
            demand = on_off(h, v)
            h[DEMAND + v] = unmasked_half(demand)
            changes = ONCE if demand != h[ON + v] else NOT
            h[NEED + v] = TWICE if _asked(h, v) else changes
    for first in range(0, LANES, WORD):
        asks = flagged(h, NEED + first)
        while asks != 0:
            _settle(s, z, h, r, first + lowest(asks), shape, k)
            asks &= asks - 1


@inlined
def _asked(h: Readings, v: int) -> bool:
    """Whether protect must look at a lane."""
    hot = (h[HOT + v] >= h[HOT_LINE + v]) | (h[SURFACE_HOT + v] >= h[SURFACE_LINE + v])
    asked: bool = hot | (h[WATCH + v] > NOT)
    return asked


@inlined
def _settle(
    s: Vector, z: Vector, h: Readings, r: Readings, v: int, shape: Shape, k: int
) -> None:
    """Decide for one lane, as the core does for a mat."""
    now = k * shape.step
    if h[NEED + v] > ONCE:
        cause = verdict(s, z, h, r, v, shape, k)
        if cause != CLEAR:
            refuse(s, h, v, cause, now)
            return
        if shape.is_pid:
            regulate(s, h, v, now)
    obey(s, h, v, cycled(s, v, now) if shape.is_pid else float(h[DEMAND + v]), now)
