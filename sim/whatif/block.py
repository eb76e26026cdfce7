"""A block of lanes from the first scan to the last.

What may live here: the order of things in a step. A lane for which nothing
changes in a scan is passed over: whatever decides, decides lane by lane.
"""

from controller.core.response import LOOK_MS
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from sim.thermal import Matrix, Vector
from sim.whatif.demands import cycled, on_off, regulate, regulate_all
from sim.whatif.doubts import cross, follow, read_at, sample
from sim.whatif.driving import drive
from sim.whatif.felt import begin, weigh
from sim.whatif.jit import across, inlined, unmasked
from sim.whatif.looks import climb, last, remember
from sim.whatif.relay import obey
from sim.whatif.rows import (
    CYCLE,
    CYCLE_HAS,
    CYCLE_ON,
    CYCLE_START,
    DAY_ON,
    DEMAND,
    HOT,
    HOT_LINE,
    KEPT,
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
    SURFACE_HOT,
    SURFACE_LINE,
    WATCH,
)
from sim.whatif.shape import Block, Heat, Readings, Shape
from sim.whatif.steady import keep
from sim.whatif.tally import pad, set_band, tally
from sim.whatif.verdicts import CLEAR, refuse, verdict
from sim.whatif.warmth import advance
from sim.whatif.wishes import take_up

DAY, HOUR, LOOK = float(DAY_MS), float(HOUR_MS), float(LOOK_MS)
SAMPLE_EVERY = 10.0 * MINUTE_MS


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
    s, z, h = block.mats, block.zones, block.read
    scans, every = len(heat.room_c), max(1, int(SAMPLE_EVERY / shape.step))
    day, soonest, anew = 1, -1.0, 0
    for k in range(scans):
        now = k * shape.step
        if soonest <= k:
            soonest = wished(s, shape.lanes, k, now, change_at, change_to)
            anew = KEPT
        if anew > 0:
            set_band(s, h, shape, k)
            anew -= 1
        if k > 0:
            advance(s, z, h, heat, shape, k)
        drive(s, h, shape, k)
        if k > 0 and shape.crosses:
            cross(z, h, shape, k)
        if k > 0 and shape.tracks:
            follow(s, z, h, shape, k, now)
        if k % every == 0 and not shape.tracks:
            sample(s, z, h, shape, k)
        keep(s, h, shape, k)
        if k == scans - 1:
            pad(h, shape, scans)
        if k & LAST == LAST or k == scans - 1:
            tally(z, h, shape)
        if k == 0 or now - s[LOOKED] >= LOOK:
            look(s, heat.heard[k], shape, now)
        if now >= day * DAY:
            close_day(s, shape.lanes, day, now, daily)
            day += 1
        decide(s, z, h, shape, k, now)
        if len(told) > 0:
            tell(s, h, shape, k, told[k])
    close_day(s, shape.lanes, day, scans * shape.step, daily)


@inlined
def look(s: Vector, room: float, shape: Shape, now: float) -> None:
    """Let the response guards look, all lanes' at once."""
    number, first = int(s[MARKED_TIMES]), s[MARKED_TIMES] == 0.0
    passed = now - s[LOOKED]
    if first or now - s[MARKED] >= HOUR:
        remember(s, shape.lanes, number, now)
        s[MARKED_TIMES], s[MARKED] = number + 1.0, now
    if first:
        begin(s, shape.lanes, now, room)
    else:
        weigh(s, shape.lanes, now, passed, room, shape.heard)
    climb(s, shape.lanes, now, first)
    last(s, shape.lanes, now)
    s[LOOKED] = now


@inlined
def wished(
    s: Vector, lanes: int, k: int, now: float, change_at: Vector, change_to: Vector
) -> float:
    """Take up setpoints that may have changed; return the next step for any."""
    soonest = 1e18
    for v in range(lanes):
        if s[NEXT + v] <= k:
            take_up(s, v, k, now, change_at, change_to)
        soonest = min(soonest, s[NEXT + v])
    return soonest


@inlined
def close_day(s: Vector, lanes: int, day: int, now: float, daily: Matrix) -> None:
    """Write down the time on of a day that is over."""
    for v in range(lanes):
        on_ms = s[ON_MS + v] + s[ON + v] * (now - s[SINCE + v])
        daily[v, day - 1] = on_ms - s[DAY_ON + v]
        s[DAY_ON + v] = on_ms


@inlined
def tell(s: Vector, h: Readings, shape: Shape, k: int, told: Vector) -> None:
    """Write down what the first lane reads, wants and does."""
    for i in range(shape.zones):
        told[i] = h[read_at(i, k)]
    told[shape.zones], told[shape.zones + 1] = s[SETPOINT], s[ON]


@inlined
def decide(s: Vector, z: Vector, h: Readings, shape: Shape, k: int, now: float) -> None:
    """Find the lanes for which something changes now, and change it."""
    lanes, asks = shape.lanes, 0
    for v in range(across(lanes)):
        hot = (s[HOT + v] >= s[HOT_LINE + v]) | (
            s[SURFACE_HOT + v] >= s[SURFACE_LINE + v]
        )
        s[NEED + v] = 2.0 if hot | (s[WATCH + v] > 0.0) else 0.0
    if shape.is_pid:
        regulate_all(s, shape, now)
        for v in range(across(lanes)):
            due = (s[CYCLE_HAS + v] == 0.0) | (now - s[CYCLE_START + v] >= s[CYCLE + v])
            demand = 1.0 if now - s[CYCLE_START + v] < s[CYCLE_ON + v] else 0.0
            need = due | (demand != s[ON + v])
            s[NEED + v] = unmasked(1.0 if need & (s[NEED + v] == 0.0) else s[NEED + v])
            asks += 1 if s[NEED + v] > 0.0 else 0
    else:
        for v in range(across(lanes)):
            demand, free = on_off(s, v), s[NEED + v] == 0.0
            s[DEMAND + v] = unmasked(demand if free else s[DEMAND + v])
            s[NEED + v] = unmasked(1.0 if free & (demand != s[ON + v]) else s[NEED + v])
            asks += 1 if s[NEED + v] > 0.0 else 0
    if asks > 0:
        for v in range(lanes):
            if s[NEED + v] > 0.0:
                _settle(s, z, h, v, shape, k, now)


@inlined
def _settle(
    s: Vector, z: Vector, h: Readings, v: int, shape: Shape, k: int, now: float
) -> None:
    """Decide for one lane, as the core does for a mat."""
    if s[NEED + v] > 1.0:
        cause = verdict(s, z, h, v, shape, k, now)
        if cause != CLEAR:
            refuse(s, v, cause, now)
            return
        if shape.is_pid:
            regulate(s, v, now)
        else:
            s[DEMAND + v] = on_off(s, v)
    obey(s, v, cycled(s, v, now) if shape.is_pid else s[DEMAND + v], now)
