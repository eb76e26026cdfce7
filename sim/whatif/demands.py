"""What a lane's policy asks for: the twin of regulate.

simple-pid's own sums are written out in its order, since its answers must come
out to the last bit. What may live here: demand. No limits.
"""

from math import ceil

import numpy as np

from controller.core.regulate import (
    COMPUTE_EVERY_MS,
    FILTER_SHARE,
    LONGEST_STEP_MS,
    TRACKING_SHARE,
)
from sim.thermal import Vector
from sim.whatif.asked import asked
from sim.whatif.jit import inlined, unmasked
from sim.whatif.relay import mean_duty
from sim.whatif.rows import (
    DERIVATIVE_S,
    FILTER,
    FILTERED,
    GAIN,
    GAIN_BY_RATE,
    GAIN_PER_S,
    INTEGRAL_S,
    MEAN_DUTY,
    ON,
    OTHER,
    PID_AT,
    PID_DUTY,
    PID_FILTERED,
    PID_HAS,
    PID_INTEGRAL,
    PID_SETPOINT,
    RAMP,
    RATE,
    ROOT,
    SETPOINT,
    SETPOINT_C,
    SINCE,
    TOGETHER,
    TRACKING,
)
from sim.whatif.shape import Readings, Shape
from sim.whatif.words import across, divided, larger, smaller

COMPUTE_EVERY = float(COMPUTE_EVERY_MS)
LONGEST_STEP = float(LONGEST_STEP_MS)


@inlined
def summed(
    s: Vector, h: Readings, v: int, integral: float, step_s: float, rate: float
) -> None:
    """Add the parts up as simple-pid does, clamp and track the whole sum."""
    gain, setpoint_c = s[GAIN + v], s[SETPOINT_C + v]
    error_k = float(h[SETPOINT + v] - h[ROOT + v]) / 1000.0
    error = setpoint_c - (setpoint_c - error_k)
    proportional = gain * error
    # Without a step the core gives simple-pid no integral gain and one second.
    by = s[GAIN_PER_S + v] if step_s > 0.0 else 0.0
    lasting = step_s if step_s > 0.0 else 1.0
    integral += by * error * lasting
    total = proportional + integral - s[GAIN_BY_RATE + v] * rate
    duty = smaller(1.0, larger(0.0, total))
    tracking = smaller(1.0, step_s / (s[INTEGRAL_S + v] * TRACKING_SHARE))
    tracked = integral + (duty - total) * tracking
    s[PID_INTEGRAL + v] = tracked if step_s > 0.0 else integral
    s[PID_DUTY + v] = duty


@inlined
def regulate(s: Vector, h: Readings, v: int, now: float) -> None:
    """Let a lane's PID compute, if it is time to."""
    root, setpoint = float(h[ROOT + v]), float(h[SETPOINT + v])
    if s[PID_HAS + v] == 0.0:
        start = mean_duty(float(h[ON + v]), s[SINCE + v], s[MEAN_DUTY + v], now)
        s[PID_HAS + v], s[PID_AT + v], s[PID_SETPOINT + v] = 1.0, now, setpoint
        s[PID_FILTERED + v] = root
        summed(s, h, v, start, 0.0, 0.0)
        return
    lasting = now - s[PID_AT + v]
    before = s[PID_SETPOINT + v]
    if lasting < COMPUTE_EVERY and before == setpoint:
        return
    known = lasting <= LONGEST_STEP
    step_s = lasting / 1000.0 if known else 0.0
    rate, filtered = 0.0, root
    if s[DERIVATIVE_S + v] > 0.0 and step_s > 0.0:
        share = step_s / (s[DERIVATIVE_S + v] / FILTER_SHARE + step_s)
        moved = (root - s[PID_FILTERED + v]) * share
        filtered = s[PID_FILTERED + v] + moved
        rate = moved / 1000.0 / step_s
    taken = 0.0
    if known:
        held = setpoint if s[RAMP + v] > 0.0 else before
        taken = s[GAIN + v] * ((held - root) / 1000.0)
        taken -= s[GAIN + v] * ((setpoint - root) / 1000.0)
    s[PID_AT + v], s[PID_SETPOINT + v], s[PID_FILTERED + v] = now, setpoint, filtered
    summed(s, h, v, s[PID_INTEGRAL + v] + taken, step_s, rate)


@inlined
def usual_step(step: float) -> float:
    """Return from one computation to the next, as a rule [ms]."""
    return ceil(COMPUTE_EVERY / step) * step


@inlined
def regulate_all(s: Vector, h: Readings, shape: Shape, now: float, alone: bool) -> None:
    """Let the PIDs of all lanes that need nothing else compute.

    As a rule all lanes go on as usual together, as they did the last time: then
    there is nothing to be asked of each.

    Args:
        s: Rows of the mats.
        h: Of half the width.
        shape: What is the same for all lanes.
        now: Run clock [ms].
        alone: Protect need look at none of them.
    """
    usual = usual_step(shape.step)
    lasting = now - s[TOGETHER]
    if s[TOGETHER] >= 0.0 and alone and not shape.derives:
        if lasting == usual:
            _go_on(s, h, shape.lanes, usual / 1000.0)
            s[TOGETHER] = now
            return
        if lasting < COMPUTE_EVERY:
            return
    part(s, shape.lanes)
    if _each(s, h, shape, now) == shape.lanes and not shape.derives:
        s[TOGETHER] = now


@inlined
def part(s: Vector, lanes: int) -> None:
    """Let each lane know when its PID computed."""
    if s[TOGETHER] >= 0.0:
        for v in range(lanes):
            s[PID_AT + v] = s[TOGETHER]
        s[TOGETHER] = -1.0


@inlined
def _go_on(s: Vector, h: Readings, lanes: int, step_s: float) -> None:
    """Compute a usual step of all lanes."""
    for v in range(across(lanes)):
        gain, setpoint_c = s[GAIN + v], s[SETPOINT_C + v]
        off = np.float64(h[SETPOINT + v] - h[ROOT + v])
        error = setpoint_c - (setpoint_c - divided(off, 1000.0))
        integral = s[PID_INTEGRAL + v] + s[GAIN_PER_S + v] * error * step_s
        total = gain * error + integral
        duty = smaller(1.0, larger(0.0, total))
        s[PID_INTEGRAL + v] = integral + (duty - total) * s[TRACKING + v]
        s[PID_DUTY + v] = duty


@inlined
def _each(s: Vector, h: Readings, shape: Shape, now: float) -> int:
    """Let those that go on as usual compute, and see to the rest one by one.

    The former are done without a branch and with what a usual step makes
    constant; the values are those of regulate. Returns how many they are.
    """
    usual = usual_step(shape.step)
    step_s = usual / 1000.0
    if shape.derives:
        for v in range(across(shape.lanes)):
            moved = (float(h[ROOT + v]) - s[PID_FILTERED + v]) * s[FILTER + v]
            s[RATE + v] = moved / 1000.0 / step_s
            s[FILTERED + v] = s[PID_FILTERED + v] + moved
    others, plains = 0, 0
    for v in range(across(shape.lanes)):
        setpoint, gain = float(h[SETPOINT + v]), s[GAIN + v]
        at, before, was = s[PID_AT + v], s[PID_INTEGRAL + v], s[PID_DUTY + v]
        free, lasting = not asked(h, v), now - at
        same = (s[PID_HAS + v] > 0.0) & (s[PID_SETPOINT + v] == setpoint)
        plain = free & same & (lasting == usual)
        rate = s[RATE + v] if shape.derives else 0.0
        setpoint_c = s[SETPOINT_C + v]
        off = np.float64(h[SETPOINT + v] - h[ROOT + v])
        error = setpoint_c - (setpoint_c - divided(off, 1000.0))
        integral = before + s[GAIN_PER_S + v] * error * step_s
        total = gain * error + integral - s[GAIN_BY_RATE + v] * rate
        duty = smaller(1.0, larger(0.0, total))
        integral += (duty - total) * s[TRACKING + v]
        s[PID_AT + v] = unmasked(now if plain else at)
        s[PID_INTEGRAL + v] = unmasked(integral if plain else before)
        s[PID_DUTY + v] = unmasked(duty if plain else was)
        waits = same & (lasting < COMPUTE_EVERY)
        other = free & (not plain) & (not waits)
        s[OTHER + v] = 1.0 if other else 0.0
        others += 1 if other else 0
        plains += 1 if plain else 0
    if shape.derives:
        for v in range(across(shape.lanes)):
            filtered = s[FILTERED + v]
            new = (s[PID_AT + v] == now) & (s[OTHER + v] == 0.0)
            s[PID_FILTERED + v] = unmasked(filtered if new else s[PID_FILTERED + v])
    if others > 0:
        for v in range(across(shape.lanes)):
            if s[OTHER + v] > 0.0:
                regulate(s, h, v, now)
    return plains
