"""One block: the function that is compiled.

What may live here: filling a block from the table and emptying it into the
outcomes. No decisions.
"""

from typing import NamedTuple

from sim.thermal import Matrix, Vector
from sim.whatif import rows
from sim.whatif.block import season
from sim.whatif.demands import whole
from sim.whatif.jit import compiled, inlined
from sim.whatif.rows import LANES, MOST, PARAMETERS, ZONE, ZONES
from sim.whatif.shape import Heat, Shape
from sim.whatif.span import Counts
from sim.whatif.steady import answer, ready

CAUSES = 14
"""As many as span.REFUSALS."""

NEVER = 1e18


class Work(NamedTuple):
    """Blocks to run: lane by lane what each candidate is, and room for answers.

    Attributes:
        blocks: First lane, lanes, policy, way of driving, driving tray,
            crosses, tracks; shape (blocks, 7).
        plans: As in table.Table, and so on; shape (lanes, ..).
        base: Base temperatures.
        upper: Upper cut-offs.
        first: Where changes of setpoint begin.
        change_at: Steps of changes of all candidates.
        change_to: Setpoints of all candidates.
        result: Switches, time on, of the driving temperature in band, trip,
            when, suspect, strange; shape (lanes, 7).
        peak: Shape (lanes, zones).
        heat: Shape (lanes, trays).
        in_band: Steps, shape (lanes, trays).
        refused: Steps, shape (lanes, causes).
        daily: Shape (lanes, days).
        steady: As steady.answer has them, shape (lanes, 3 + trays).
        told: Trace of a lone candidate, or of length 0.
    """

    blocks: Counts
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
    s: Vector,
    work: Work,
    number: int,
    heat: Heat,
    band: float,
    step: float,
    heard: bool,
) -> None:
    """Run one block; its answers are in the work's arrays afterwards."""
    zones, trays = heat.push.shape[1], work.base.shape[1]
    block = work.blocks[number]
    lane, lanes = block[0], block[1]
    shape = Shape(
        lanes,
        trays,
        zones,
        block[3],
        block[4],
        block[2] > 0,
        block[2] > 1,
        block[5] > 0,
        block[6] > 0,
        heard,
        band,
        step,
    )
    _fill(s, work, lane, shape)
    ready(s, shape)
    season(
        s,
        heat,
        shape,
        work.change_at,
        work.change_to,
        work.daily[lane : lane + lanes],
        work.told,
    )
    _empty(s, work, lane, shape, heat)


@inlined
def _fill(s: Vector, work: Work, lane: int, shape: Shape) -> None:
    for v in range(shape.lanes & MOST):
        for row in range(PARAMETERS):
            s[row * LANES + v] = work.plans[lane + v, row]
        s[rows.SURFACE_LINE + v] = min(
            s[rows.SURFACE_LIMIT + v], s[rows.SURFACE_CUTOUT + v]
        )
        s[rows.TARGET + v] = float(work.first[lane + v])
        s[rows.CLIMB_UNTIL + v] = s[rows.REST_UNTIL + v] = s[rows.TRIP + v] = -1.0
        s[rows.COUNTED_AT + v] = -2.0
        s[rows.PAD_LOW + v], s[rows.PAD_HIGH + v] = -NEVER, NEVER
    for i in range(shape.trays):
        at = ZONES + i * ZONE
        for v in range(shape.lanes):
            s[at + rows.BASE + v] = work.base[lane + v, i]
            s[at + rows.UPPER + v] = work.upper[lane + v, i]


@inlined
def _between(s: Vector, at: int, temp: float) -> float:
    """Return a tray's temperature, not below its base, nor above its upper."""
    base: float = s[at + rows.BASE]
    upper: float = s[at + rows.UPPER]
    return min(max(temp, base), upper)


@inlined
def _empty(s: Vector, work: Work, lane: int, shape: Shape, heat: Heat) -> None:
    for v in range(shape.lanes & MOST):
        result = work.result[lane + v]
        result[0], result[1] = s[rows.SWITCHES + v], s[rows.DAY_ON + v]
        result[2] = s[rows.DRIVING_IN_BAND + v]
        result[3], result[4] = s[rows.TRIP + v], s[rows.TRIP_AT + v]
        result[5], result[6] = s[rows.SUSPECT + v], s[rows.STRANGE + v]
        answer(s, v, shape, work.steady[lane + v])
        for cause in range(CAUSES):
            work.refused[lane + v, cause] = s[rows.REFUSED + cause * LANES + v]
        for i in range(shape.zones):
            at = ZONES + i * ZONE + v
            work.peak[lane + v, i] = s[at + rows.PEAK]
            if i < shape.trays:
                # Each step has the mean of its ends: of all, less half the outer two.
                z0, z1 = heat.start[i, 0], heat.start[i, 1]
                first = whole(heat.shown[i, 0] * z0 + heat.shown[i, 1] * z1)
                ends = _between(s, at, first) + _between(s, at, s[at + rows.TEMP])
                base = (len(heat.room_c) - 1) * s[at + rows.BASE]
                plain = (s[at + rows.HEAT] - ends / 2.0 - base) * shape.step
                work.heat[lane + v, i] = plain + s[at + rows.FIX]
                work.in_band[lane + v, i] = s[at + rows.IN_BAND]


run_compiled = compiled(run_block)
