"""An invented mat with a model of its zones, for the tests of the search."""

from dataclasses import replace

import numpy as np

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Pid,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.units import MilliC
from sim.fitting.record import Record
from sim.whatif.span import Span
from sim.zone_model import MatModel, Zone


def a_tray(name, column):
    return TrayPlan(name=name, column=column, probes=(ProbePlan(name=name),))


NORTH = MatPlan(
    name="north",
    power_mw=100_000,
    length_mm=1_200,
    width_mm=530,
    policy=Pid(),
    programme=(StepPlan(MilliC(21_000)),),
    driven_by=DrivenBy.TRAY,
    driving_tray="N2",
    relay=RelayKind.LEASE,
    ramp_mk_per_h=3_000,
    trays=(a_tray("N1", 1), a_tray("N2", 2)),
)


def a_zone(name, gain_k=17.0, medium_s=11_000.0):
    return Zone(name=name, gain_k=gain_k, mat_s=500.0, medium_s=medium_s, coupling=0.2)


MODEL = MatModel("north", (a_zone("N1", 16.0), a_zone("N2")))


def at(setpoint_c, night_c=None, **more):
    night = None if night_c is None else MilliC(round(night_c * 1000))
    step = StepPlan(MilliC(round(setpoint_c * 1000)), night)
    return replace(NORTH, programme=(step,), **more)


def a_span(days=1, room_c=13.0):
    steps = days * 1440
    minutes = np.arange(steps) % 1440
    return Span(
        step_s=60.0,
        room_c=room_c + 2 * np.sin(minutes / 1440 * 2 * np.pi),
        push=np.zeros((steps, 2)),
        minutes=minutes,
        start_c=np.full((2, 3), 20.0),
    )


def a_record(temps_c, on_share=0.4, room_c=13.0, at_mat=None, zones=None):
    """A record of the trays' temperatures, all alike or one column each."""
    temps = np.asarray(temps_c, float)
    if temps.ndim == 1:
        temps = np.column_stack([temps, temps])
    steps = len(temps)
    return Record(
        mat="north",
        start_run_ms=0,
        start_utc_ms=1_801_472_400_000,
        step_s=60.0,
        zones=zones or ("N1", "N2"),
        at_mat=at_mat or (False,) * temps.shape[1],
        on_share=np.broadcast_to(np.asarray(on_share, float), (steps,)).copy(),
        room_c=np.broadcast_to(np.asarray(room_c, float), (steps,)).copy(),
        temps_c=temps,
        local_day=np.arange(steps) // 1440,
        local_minute=np.arange(steps) % 1440,
    )
