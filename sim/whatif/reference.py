"""The core itself in a closed loop with a model: what is true here.

What may live here: how scans are made of the model, and counting. No decisions.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from controller.core.decisions import Command
from controller.core.plan import MatPlan, Plan
from controller.core.root_zone import driving_temp, observe
from controller.core.scan import Reading, Scan
from controller.core.setpoints import on_ramp
from controller.core.state import State, fresh_state
from controller.core.step import step
from controller.core.units import DAY_MS, Millis, UtcMillis
from sim.thermal import Vector
from sim.whatif.candidate import bench, check, heard
from sim.whatif.heat import Zones, coefficients
from sim.whatif.span import REFUSALS, Counts, Outcomes, Span, Trace
from sim.zone_model import MatModel

FAR = 10**18
"""The lowest reading of a tray that was never warm [m°C]."""

LARGEST = np.iinfo(np.int64).max


class CoreScan(NamedTuple):
    """One scan of the loop.

    Attributes:
        readings_mc: What the zones' probes read [m°C].
        setpoint_mc: Setpoint in force [m°C].
        root_mc: Driving temperature [m°C].
        command: What the core decided.
        state: Its state after that.
    """

    readings_mc: list[int]
    setpoint_mc: int
    root_mc: int
    command: Command
    state: State


def on_core(model: MatModel, span: Span, mat: MatPlan) -> Iterator[CoreScan]:
    """Run a candidate on the core; yield every scan.

    Raises:
        ValueError: The plan does not fit the model, or the model the span.
    """
    check(model, [mat])
    plan = bench(span, mat)
    zones = Zones(coefficients(model, span), span)
    state, mat = fresh_state(plan), plan.mats[0]
    names = [tray.probes[0].name for tray in heard(mat)]
    names += [probe.name for probe in mat.surface]
    minutes: list[int] = span.minutes.tolist()
    for number, room_c in enumerate(span.room_c.tolist()):
        now_ms = Millis(number * span.step_ms)
        read_mc = zones.read_mc()
        readings = _readings(plan, names, read_mc, room_c, now_ms)
        scan = Scan(
            number + 1,
            now_ms,
            UtcMillis(now_ms),
            clock_ok=True,
            local_day=now_ms // DAY_MS,
            local_minute=minutes[number],
            readings=readings,
        )
        state, decisions = step(plan, state, scan)
        command = decisions.commands[0]
        known = state.mats[mat.name]
        driven = driving_temp(mat, observe(mat, state.probes, now_ms))
        setpoint_mc = 0
        if known.ramp is not None:
            setpoint_mc = on_ramp(known.ramp, mat.ramp_mk_per_h, now_ms)
        root_mc = setpoint_mc + DAY_MS if driven is None else driven[0]
        yield CoreScan(read_mc, setpoint_mc, root_mc, command, state)
        zones.advance(number, on=command.energised)


def _readings(
    plan: Plan, names: list[str], read_mc: list[int], room_c: float, now_ms: Millis
) -> tuple[Reading, ...]:
    pairs = list(zip(names, read_mc, strict=True))
    pairs += [(probe.name, round(room_c * 1000)) for probe in plan.room]
    return tuple(Reading(name, now_ms, milli) for name, milli in pairs)


def core_trace(model: MatModel, span: Span, mat: MatPlan) -> Trace:
    """Run a candidate on the core and tell every scan.

    Raises:
        ValueError: As for on_core.
    """
    scans = list(on_core(model, span, mat))
    return Trace(
        temps_mc=np.array([scan.readings_mc for scan in scans]),
        setpoint_mc=np.array([scan.setpoint_mc for scan in scans]),
        on=np.array([scan.command.energised for scan in scans]),
    )


def core_outcomes(
    model: MatModel, span: Span, mat: MatPlan, *, band_mk: int
) -> Outcomes:
    """Run a candidate on the core and count what the compiled loop counts.

    Raises:
        ValueError: As for on_core.
    """
    trays, zones = len(heard(mat)), len(model.zones)
    step_ms = span.step_ms
    on_ms = switches = driving = 0
    in_band = np.zeros(trays, np.int64)
    peak = np.full(zones, -LARGEST)
    daily = np.zeros(-(-span.steps * step_ms // DAY_MS), np.int64)
    refused = np.zeros(len(REFUSALS), np.int64)
    trip, trip_ms, was_on, last = -1, -1, False, None
    warm, squared, apart = 0, 0, 0
    low = np.full(trays, FAR, np.int64)
    for number, last in enumerate(on_core(model, span, mat)):
        read = np.array(last.readings_mc)
        peak = np.maximum(peak, read)
        in_band += abs(read[:trays] - last.setpoint_mc) <= band_mk
        driving += abs(last.root_mc - last.setpoint_mc) <= band_mk
        if warm or last.root_mc >= last.setpoint_mc - band_mk:
            warm += 1
            squared += (last.root_mc - last.setpoint_mc) ** 2
            apart += int(np.ptp(read[:trays]))
            low = np.minimum(low, read[:trays])
        on = last.command.energised
        switches += on != was_on
        was_on = on
        on_ms += on * step_ms
        daily[number * step_ms // DAY_MS] += on * step_ms
        if last.command.cause in REFUSALS:
            cause = REFUSALS.index(last.command.cause)
            refused[cause] += step_ms
            if trip < 0 and last.state.mats[mat.name].trip is not None:
                trip, trip_ms = cause, number * step_ms
    return Outcomes(
        switches=np.array([switches]),
        operations=np.array([(switches + 1) // 2]),
        on_s=np.array([on_ms / 1000]),
        daily_on_s=daily[None] / 1000,
        heat_mk_ms=_heat(last, mat),
        in_band_s=in_band[None] * step_ms / 1000,
        driving_in_band_s=np.array([driving * step_ms / 1000]),
        band_mk=band_mk,
        peak_mc=peak[None],
        margin_mk=margins(peak[None, :trays], peak[None, trays:], [mat]),
        refused_s=refused[None] / 1000,
        trip=np.array([trip]),
        trip_s=np.array([trip_ms / 1000 if trip >= 0 else -1.0]),
        by_core=np.array([True]),
        warm_s=np.array([warm * step_ms / 1000]),
        deviation_k=root_mean(np.array([squared]), np.array([warm])),
        uneven_k=mean(np.array([apart]), np.array([warm])),
        low_mc=low[None],
    )


def _heat(last: CoreScan | None, mat: MatPlan) -> Counts:
    if last is None:
        raise AssertionError("a span has at least one step")
    accounts = last.state.accounts
    return np.array([[accounts[tray.name].heat_mk_ms for tray in heard(mat)]])


def mean(sums: Counts | Vector, scans: Counts | Vector) -> Vector:
    """Return means [K] of sums [mK]; infinite where there were no scans."""
    means = np.full(len(scans), np.inf)
    np.divide(sums, scans * 1000, out=means, where=scans > 0)
    return means


def root_mean(squared: Counts | Vector, scans: Counts | Vector) -> Vector:
    """Return root mean squares [K] of sums [mK²]; infinite without scans."""
    roots: Vector = np.sqrt(mean(squared, scans * 1000))
    return roots


def margins(trays_mc: Counts, surface_mc: Counts, mats: Sequence[MatPlan]) -> Counts:
    """Return how far the hottest readings stayed below the cut-outs [mK].

    Args:
        trays_mc: Peaks, shape (mats, trays).
        surface_mc: Peaks, shape (mats, surface probes).
        mats: The candidates.
    """
    result = np.full((len(mats), 2), LARGEST)
    result[:, 0] = [mat.cutout_mc for mat in mats] - trays_mc.max(axis=1)
    if surface_mc.shape[1]:
        cutouts = np.array([mat.surface_cutout_mc for mat in mats])
        result[:, 1] = cutouts - surface_mc.max(axis=1)
    return result
