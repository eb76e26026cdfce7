"""What a question is put to, and what is answered. Data.

What may live here: the shape of a span of time, of the outcomes of candidates
in it, and of one candidate's trace. No loop, no decisions.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.core.decisions import Cause
from controller.core.units import SECOND_MS
from sim.thermal import Matrix, Vector
from sim.zone_model import PARTS

Counts = NDArray[np.int64]
Flags = NDArray[np.bool_]

LONGEST_STEP_S = 300
"""Beyond it a PID no longer knows what happened in between [s]."""

MOST_STEPS = 2**24
"""As many are counted exactly; half a year of seconds."""

REFUSALS = (
    Cause.TRIPPED,
    Cause.HEAT_NOT_FELT,
    Cause.OVER_CUTOUT,
    Cause.OVER_TRAY_LIMIT,
    Cause.OVER_SURFACE_CUTOUT,
    Cause.OVER_SURFACE_LIMIT,
    Cause.HEAT_FROM_ABOVE,
    Cause.RISES_TOO_FAST,
    Cause.HEATED_TOO_LONG,
    Cause.DAILY_HEAT_SPENT,
    Cause.DOUBTFUL_HOT,
    Cause.NO_DRIVING_READING,
    Cause.WARMEST_LOST,
    Cause.AWAITING_READINGS,
)
"""Why heat may be refused in a closed loop with a model; columns of
Outcomes.refused_s. The first two last until the end: nobody resets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time as a log tells it, with what no model knows.

    Inputs stand still within a step, as the exact steps of the model take them.

    Attributes:
        step_s: From scan to scan [s]; whole, even milliseconds, up to
            300 s.
        room_c: The room's temperature, shape (steps,) [°C].
        push: Smoothed disturbance of each zone, shape (steps, zones) [K/s].
        minutes: Local minute of the day at each scan, 0 to 1439, shape (steps,).
        start_c: Mat, medium or its near half, and outer half of each zone at the
            first scan, shape (zones, 3) [°C]; of a medium in one the last is not
            looked at.
        room_heard: The bench has a room probe, which its guards use.
        sudden: Where a push is in both halves of a medium, as water is, shape
            (steps, zones); None: nowhere.
    """

    step_s: float
    room_c: Vector
    push: Matrix
    minutes: Counts
    start_c: Matrix
    room_heard: bool = True
    sudden: Flags | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be run.

        Raises:
            ValueError: A shape, the step or a value is not as said above.
        """
        if not SECOND_MS <= self.step_ms <= LONGEST_STEP_S * SECOND_MS:
            raise ValueError(f"step_s = {self.step_s}: from 1 to {LONGEST_STEP_S} s")
        if self.step_ms != self.step_s * SECOND_MS or self.step_ms % 2:
            raise ValueError(f"step_s = {self.step_s}: whole, even ms are needed")
        steps, zones = len(self.room_c), len(self.start_c)
        if steps > MOST_STEPS:
            raise ValueError(f"room_c has {steps} steps: up to {MOST_STEPS} can be run")
        for name, shape in (
            ("room_c", (steps,)),
            ("push", (steps, zones)),
            ("minutes", (steps,)),
            ("start_c", (zones, PARTS)),
            ("sudden", (steps, zones)),
        ):
            values = getattr(self, name)
            if values is None:
                continue
            if values.shape != shape or not steps or not zones:
                raise ValueError(f"{name} has shape {values.shape}: {shape} is needed")
            if not np.isfinite(values).all():
                raise ValueError(f"{name} has values that are no numbers")
        if self.minutes.min() < 0 or self.minutes.max() >= 24 * 60:
            raise ValueError("minutes: from 0 to 1439 are needed")

    @property
    def step_ms(self) -> int:
        """From scan to scan [ms]."""
        return round(self.step_s * SECOND_MS)

    @property
    def steps(self) -> int:
        """How many scans there are."""
        return len(self.room_c)

    def of(self, steps: Counts) -> "Span":
        """Return a span of some of the steps, in the order given."""
        return replace(
            self,
            room_c=self.room_c[steps],
            push=self.push[steps],
            minutes=self.minutes[steps],
            sudden=None if self.sudden is None else self.sudden[steps],
        )

    def at_step(self, step_s: float) -> "Span":
        """Return the same span with shorter steps, inputs still held as they were.

        Minutes go on within a step where it is longer than one.

        Raises:
            ValueError: The present step is no whole number of the new ones.
        """
        times = round(self.step_s / step_s)
        if times < 1 or times * step_s != self.step_s:
            raise ValueError(f"{step_s} s does not divide the step of {self.step_s} s")
        ahead = np.tile(np.arange(times) * round(step_s * SECOND_MS), self.steps)
        return replace(
            self,
            step_s=step_s,
            room_c=np.repeat(self.room_c, times),
            push=np.repeat(self.push, times, axis=0),
            sudden=None
            if self.sudden is None
            else np.repeat(self.sudden, times, axis=0),
            minutes=(np.repeat(self.minutes, times) + ahead // 60_000) % (24 * 60),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcomes:
    """What became of each candidate; the first axis is the candidate.

    Each scan's command is counted as lasting for one step. Zones are those of
    the model: trays first, then surface probes.

    Attributes:
        switches: Changes of the relay, on and off.
        operations: Times switched on.
        on_s: Time on [s].
        daily_on_s: The same for each 24 hours of the span, shape (.., days) [s].
        heat_mk_ms: Thermal time of each tray over its own base and below its
            upper, as the core counts it, shape (.., trays) [mK·ms].
        in_band_s: Time with |tray - setpoint| <= band, shape (.., trays) [s].
        driving_in_band_s: The same of the driving temperature [s].
        band_mk: The band [mK].
        peak_mc: Highest reading of each zone, shape (.., zones) [m°C].
        margin_mk: From the hottest reading of a tray, and of a surface, up to
            the cut-out of each, shape (.., 2) [mK]; below 0: it was passed. A
            surface without a probe has the largest number there is.
        refused_s: Time that heat was refused, by REFUSALS, shape (.., causes) [s].
        trip: Index in REFUSALS of what locked it off; -1: it was not.
        trip_s: When, from the first scan [s]; -1: it was not.
        warm_s: Time since the driving temperature first came within the band
            below the setpoint [s]; what follows is over that time.
        deviation_k: Root mean square of the driving temperature less the
            setpoint [K]; infinite: never warm.
        uneven_k: Mean of the warmest tray less the coolest [K]; infinite: the
            same.
        low_mc: Lowest reading of each tray, shape (.., trays) [m°C]; 1e18: the
            same.
        by_core: Run on the core itself, not on its compiled twin.
    """

    switches: Counts
    operations: Counts
    on_s: Vector
    daily_on_s: Matrix
    heat_mk_ms: Counts
    in_band_s: Matrix
    driving_in_band_s: Vector
    band_mk: int
    peak_mc: Counts
    margin_mk: Counts
    refused_s: Matrix
    trip: Counts
    trip_s: Vector
    by_core: Flags
    warm_s: Vector
    deviation_k: Vector
    uneven_k: Vector
    low_mc: Counts

    @property
    def degree_hours(self) -> Matrix:
        """Thermal time of each tray, shape (.., trays) [K·h]."""
        return self.heat_mk_ms / 3.6e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One candidate, scan by scan.

    Attributes:
        temps_mc: Reading of each zone, shape (steps, zones) [m°C].
        setpoint_mc: Setpoint in force, shape (steps,) [m°C].
        on: Whether the mat was switched on by the scan, shape (steps,).
    """

    temps_mc: Counts
    setpoint_mc: Counts
    on: Flags

    @property
    def switched_at(self) -> Counts:
        """Scans at which the relay changed; it starts off."""
        before = np.concatenate([[False], self.on[:-1]])
        return np.flatnonzero(self.on != before)
