"""One block: from the table into its arrays, through the season, and out again.

What may live here: filling a block from the table and emptying it into the
outcomes. No decisions.
"""

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from sim.thermal import Matrix, Vector
from sim.whatif import rows
from sim.whatif.block import season
from sim.whatif.jit import compiled
from sim.whatif.rows import LANES, ZONE
from sim.whatif.seldom import asides
from sim.whatif.shape import HALVED, SHOWN, START, Block, Heat, Readings, Shape
from sim.whatif.span import Counts
from sim.whatif.steady import SUMS
from sim.whatif.tally import COLDEST, FARTHEST, spare
from sim.whatif.words import EVEN

CAUSES = 14
"""As many as span.REFUSALS."""

NEVER = 1e18

LINE = 64
"""Bytes that a processor fetches and puts back at once: a row that begins where
they do is never in two halves."""

season_compiled = compiled(season, asides)
season_plain = season

IDLE = {
    rows.NEXT: NEVER,
    rows.LONGEST_ON: NEVER,
    rows.DAILY_ON: NEVER,
    rows.ALLOWANCE: NEVER,
    rows.PID_HAS: 1.0,
    rows.PID_AT: NEVER,
    rows.CYCLE_HAS: 1.0,
    rows.CYCLE_START: NEVER,
    rows.CYCLE_ON: -2 * NEVER,
}
"""What makes a lane that is not in use ask for nothing."""

IDLE_HALF = {
    rows.HOT_LINE: NEVER,
    rows.SURFACE_LINE: NEVER,
    rows.CLIMB_BY: NEVER,
    rows.LOW: -NEVER,
    rows.ALLOWED: NEVER,
    rows.NEXT_ACT: NEVER,
}
"""The same of half the width."""

Number = TypeVar("Number", np.float32, np.float64)


class Work(NamedTuple):
    """Blocks to run: what each candidate is, and room for answers.

    Attributes:
        blocks: First lane, lanes, policy, way of driving, driving tray,
            crosses, tracks, spares; shape (blocks, 8).
        lanes: The candidate of each lane, block after block.
        plans: As in table.Table, and so on; shape (candidates, ..).
        base: Base temperatures.
        upper: Upper cut-offs.
        first: Where changes of setpoint begin.
        change_at: Steps of changes of all candidates.
        change_to: Setpoints of all candidates.
        result: Switches, time on, trip, when, strange, of the driving temperature
            in band, doubted, windows still; shape (candidates, 8).
        peak: Shape (candidates, zones).
        heat: Shape (candidates, trays).
        in_band: Steps, shape (candidates, trays).
        refused: Steps, shape (candidates, causes).
        daily: Shape (candidates, days).
        steady: Scans since warm, squares, distances, then the trays' lowest
            readings; shape (candidates, 3 + trays).
        told: Trace of a lone candidate, or of length 0.
    """

    blocks: Counts
    lanes: Counts
    plans: Matrix
    base: Matrix
    upper: Matrix
    first: Counts
    change_at: Vector
    change_to: Vector
    result: Matrix
    peak: Matrix
    heat: Matrix
    in_band: Matrix
    refused: Matrix
    daily: Matrix
    steady: Matrix
    told: Matrix


def run_block(
    work: Work,
    number: int,
    heat: Heat,
    band: float,
    step: float,
    *,
    heard: bool,
    climbs: bool,
    bare: bool,
) -> None:
    """Run one block; its answers are in the work's arrays afterwards."""
    lane, lanes, policy, way, tray, crosses, tracks, spares = work.blocks[
        number
    ].tolist()
    zones, trays = heat.push.shape[1], work.base.shape[1]
    in_medium = bool((heat.by[SHOWN : SHOWN + 2, :trays] == 1.0).all())
    halved = bool(heat.by[HALVED].any())
    shape = Shape(
        lanes,
        trays,
        zones,
        trays if in_medium else 0,
        halved,
        way,
        tray,
        policy > 0,
        policy > 1,
        crosses > 0,
        tracks > 0,
        heard,
        spares > 0,
        climbs,
        band,
        step,
    )
    made = Block(
        _aligned(rows.ROWS, np.float64),
        _aligned(zones * ZONE, np.float64),
        _aligned(rows.HALVES, np.float32),
        _aligned(rows.READ + zones * rows.READS, np.float32),
        _aligned(zones * rows.MODES, np.float32),
    )
    these = work.lanes[lane : lane + lanes]
    _fill(made, work, these, shape, heat)
    daily = np.zeros((lanes, work.daily.shape[1]))
    run = season_plain if bare else season_compiled
    run(made, heat, shape, work.change_at, work.change_to, daily, work.told)
    work.daily[these] = daily
    _empty(made, work, these, shape, heat)


def made_ready() -> bool:
    """Whether the loop is compiled, or fetched from where that is kept."""
    return bool(getattr(season_compiled, "ready", True))


def _aligned(size: int, kind: type[Number]) -> NDArray[Number]:
    """Return zeros that begin at the begin of a line."""
    items = LINE // np.dtype(kind).itemsize
    whole = np.zeros(size + items, kind)
    begin = -whole.ctypes.data % LINE // whole.itemsize
    return whole[begin : begin + size]


def _fill(made: Block, work: Work, these: Counts, shape: Shape, heat: Heat) -> None:
    own = slice(0, shape.lanes)
    table = made.mats.reshape(-1, LANES)
    for row, value in IDLE.items():
        table[row // LANES] = value
    for row in (rows.CLIMB_UNTIL, rows.REST_UNTIL, rows.TRIP):
        table[row // LANES] = -1.0
    for row in (
        rows.NEXT,
        rows.PID_HAS,
        rows.PID_AT,
        rows.CYCLE_HAS,
        rows.CYCLE_START,
        rows.CYCLE_ON,
    ):
        table[row // LANES, own] = 0.0
    table[: rows.PARAMETERS, own] = work.plans[these].T
    table[rows.TARGET // LANES, own] = work.first[these]
    table[rows.COUNTED_AT // LANES] = -2.0
    made.mats[rows.SPARED] = made.mats[rows.TOGETHER] = -1.0
    table[rows.WARM_FROM // LANES, own] = NEVER
    zones = made.zones.reshape(shape.zones, -1, LANES)
    zones[:, rows.BASE // LANES], zones[:, rows.UPPER // LANES] = -NEVER, NEVER
    zones[: shape.trays, rows.BASE // LANES, own] = work.base[these].T
    zones[: shape.trays, rows.UPPER // LANES, own] = work.upper[these].T
    modes = made.modes.reshape(shape.zones, -1, LANES)
    modes[:] = heat.half[START : START + 3].T[:, :, np.newaxis]
    _fill_half(made, work.plans[these], heat, shape)


def _fill_half(made: Block, plans: Matrix, heat: Heat, shape: Shape) -> None:
    """Fill the rows of half the width; the probes' first readings are there."""
    own, table = slice(0, shape.lanes), made.half.reshape(-1, LANES)
    for row, value in IDLE_HALF.items():
        table[row // LANES] = value
    limits = [rows.SURFACE_LIMIT // LANES, rows.SURFACE_CUTOUT // LANES]
    table[rows.SURFACE_LINE // LANES, own] = plans[:, limits].min(axis=1)
    for row, of_plan in (
        (rows.CLIMB_BY, rows.RISE_LIMIT),
        (rows.MOST_DUE, rows.MOST_RISE),
        (rows.HALF_DUE, rows.HALF_ALLOWANCE),
        (rows.ALLOWED, rows.ALLOWANCE),
    ):
        table[row // LANES, own] = plans[:, of_plan // LANES]
    table[rows.NEXT_ACT // LANES, own] = 0.0
    table[rows.CLIMB_FROM // LANES] = NEVER
    pads = made.read[: rows.READ].reshape(-1, LANES)
    pads[rows.PAD_LOW // LANES], pads[rows.PAD_HIGH // LANES] = -np.inf, np.inf
    temps, kept = _first(heat), _kept(made, shape)
    kept[:, 0] = temps[:, np.newaxis] + EVEN
    kept[:, rows.PEAK // LANES], kept[:, rows.LEAST // LANES] = COLDEST, FARTHEST
    trays = temps[: shape.trays]
    table[rows.HOT // LANES], table[rows.SUM // LANES] = trays.max(), trays.sum()
    pads[rows.SPREAD // LANES] = np.ptp(trays)
    table[rows.SURFACE_HOT // LANES] = temps[shape.trays :].max(initial=-NEVER)


def _kept(made: Block, shape: Shape) -> NDArray[np.float32]:
    """Return the rows of the zones' readings and what was counted of them."""
    own = made.read[rows.READ :].reshape(shape.zones, -1, LANES)
    return np.asarray(own, np.float32)


def _first(heat: Heat) -> Vector:
    """Return what the probes read at the first scan [m°C]."""
    by = heat.half
    first, second, third = by[SHOWN : SHOWN + 3] * by[START : START + 3]
    read: Vector = np.rint(first + second + third).astype(np.float64)
    return read


def _empty(made: Block, work: Work, these: Counts, shape: Shape, heat: Heat) -> None:
    own = slice(0, shape.lanes)
    table = made.mats.reshape(-1, LANES)[:, own]
    zones = made.zones.reshape(shape.zones, -1, LANES)[:, :, own]
    half = made.half.reshape(-1, LANES)[:, own]
    told = [rows.SWITCHES, rows.DAY_ON, rows.TRIP, rows.TRIP_AT, rows.STRANGE]
    told_half = [rows.DRIVING_IN_BAND, rows.DOUBTED, rows.STILL_MOST]
    work.result[these, : len(told)] = table[[row // LANES for row in told]].T
    work.result[these, len(told) :] = half[[row // LANES for row in told_half]].T
    scans = len(heat.room_c)
    warm = np.maximum(0.0, scans - table[rows.WARM_FROM // LANES])
    work.steady[these, 0] = warm
    apart = table[rows.APART // LANES] + half[rows.APART_LATELY // LANES]
    work.steady[these, 1], work.steady[these, 2] = table[rows.SQUARED // LANES], apart
    first = rows.REFUSED // LANES
    work.refused[these] = table[first : first + CAUSES].T
    kept = _kept(made, shape)[:, :, own]
    work.peak[these] = (kept[:, rows.PEAK // LANES] - EVEN).T
    trays, least = zones[: shape.trays], kept[: shape.trays, rows.LEAST // LANES] - EVEN
    work.steady[these, SUMS:] = np.where(warm > 0, least.astype(np.float64), NEVER).T
    work.in_band[these] = kept[: shape.trays, rows.IN_BAND // LANES].T
    trays[:, rows.HEAT // LANES] += kept[: shape.trays, rows.TOTAL // LANES]
    work.heat[these] = _heat(trays, kept[: shape.trays, rows.LAST], shape, heat).T


def _heat(trays: Matrix, last: Readings, shape: Shape, heat: Heat) -> Matrix:
    """Return thermal time: each step has the mean of its ends.

    Of the sum of all, half the outer two are too many.
    """
    base, upper = trays[:, rows.BASE // LANES], trays[:, rows.UPPER // LANES]
    begins = np.clip(_first(heat)[: shape.trays, np.newaxis], base, upper)
    ends = np.clip((last - EVEN).astype(np.float64), base, upper)
    scans = len(heat.room_c)
    total = trays[:, rows.HEAT // LANES] - spare(scans) * ends
    plain = (total - (begins + ends) / 2.0 - (scans - 1) * base) * shape.step
    return plain + trays[:, rows.FIX // LANES]
