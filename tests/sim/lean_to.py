"""An invented bench for the tests of the simulator: two mats, five trays."""

from dataclasses import replace

from controller.core.plan import (
    MatPlan,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    StepPlan,
    TrayPlan,
)
from controller.core.units import MilliC
from sim.world import World, WorldOptions

BOTH_ON = {"north": True, "south": True}
BOTH_OFF = {"north": False, "south": False}
MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR


def a_tray(name, column=1, *, medium="peat-perlite", depth_mm=60, probe_mm=40):
    probe = ProbePlan(name=name, depth_mm=probe_mm)
    return TrayPlan(
        name=name, column=column, medium=medium, depth_mm=depth_mm, probes=(probe,)
    )


NORTH = MatPlan(
    name="north",
    power_mw=100_000,
    length_mm=1_200,
    width_mm=530,
    policy=Pid(),
    programme=(StepPlan(MilliC(21_000)),),
    surface=(ProbePlan(name="north-mat"),),
    trays=(
        a_tray("N1", 1, medium="coir-perlite"),
        a_tray("N2", 2, medium="bark-sand"),
        a_tray("N3", 3, medium="peat-perlite"),
    ),
)
SOUTH = MatPlan(
    name="south",
    power_mw=80_000,
    length_mm=900,
    width_mm=450,
    policy=OnOff(),
    programme=(StepPlan(MilliC(26_000)),),
    surface=(ProbePlan(name="south-mat"),),
    trays=(
        a_tray("S1", 1, depth_mm=50, probe_mm=35),
        a_tray("S2", 2, medium="coir-perlite", depth_mm=50, probe_mm=35),
    ),
)
PLAN = Plan(bench="lean-to", mats=(NORTH, SOUTH), room=(ProbePlan(name="room"),))


def flat_room(temp_c):
    """A room that never changes, as a table."""
    return f"time,temp_c\n0,{temp_c}\n1,{temp_c}\n"


def a_world(plan=PLAN, **options):
    return World(plan, WorldOptions(**options))


def with_trays(*trays, mat=NORTH):
    """A bench of one mat with other trays."""
    return replace(PLAN, mats=(replace(mat, trays=trays),))
