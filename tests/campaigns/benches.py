"""The benches of the fault campaign: the demo bench and others unlike it. Invented."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from controller.core.plan import (
    DrivenBy,
    MatPlan,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)

POLICIES = {"on-off": OnOff(), "pid": Pid()}


@dataclass(frozen=True)
class Bench:
    """A bench and the mat on it that faults befall.

    Attributes:
        name: Its name, with the policy.
        plan: The plan.
        mat: Name of the mat.
        seed: Of weather and noise.
    """

    name: str
    plan: Plan
    mat: str
    seed: int

    @property
    def mat_plan(self) -> MatPlan:
        """The mat that faults befall."""
        return next(mat for mat in self.plan.mats if mat.name == self.mat)

    @property
    def driving_tray(self) -> str:
        """The tray that drives it, or its first with a probe."""
        mat = self.mat_plan
        return mat.driving_tray or next(t.name for t in mat.trays if t.probes)

    @property
    def driving_probe(self) -> str:
        """The first probe of the driving tray."""
        return self._probe_of(self.driving_tray)

    @property
    def drives(self) -> bool:
        """Whether that tray alone drives the mat."""
        return self.mat_plan.driving_tray is not None or self.other_tray is None

    @property
    def other_tray(self) -> str | None:
        """Another tray with a probe on the same mat."""
        others = (t.name for t in self.mat_plan.trays if t.probes)
        return next((name for name in others if name != self.driving_tray), None)

    @property
    def other_probe(self) -> str | None:
        """The first probe of the other tray."""
        return None if self.other_tray is None else self._probe_of(self.other_tray)

    @property
    def strange_probe(self) -> str | None:
        """A probe in a tray of another mat."""
        others = (m for m in self.plan.mats if m.name != self.mat)
        return next((t.probes[0].name for m in others for t in m.trays), None)

    @property
    def setpoint_c(self) -> float:
        """What its roots shall have [°C]."""
        return self.mat_plan.programme[0].setpoint_mc / 1000

    @property
    def plain(self) -> bool:
        """Whether its relay cannot count a lease."""
        return self.mat_plan.relay is RelayKind.PLAIN

    def _probe_of(self, tray: str) -> str:
        trays = self.mat_plan.trays
        return next(t.probes[0].name for t in trays if t.name == tray)


def a_tray(name, column=1, *, medium="peat-perlite", depth=60, probe=40, probes=1):
    """Return a tray with one probe, or none."""
    made = (ProbePlan(name=name, depth_mm=probe),) if probes else ()
    return TrayPlan(
        name=name, column=column, medium=medium, depth_mm=depth, probes=made
    )


NORTH = MatPlan(
    name="north",
    power_mw=100_000,
    length_mm=1_200,
    width_mm=530,
    policy=Pid(),
    programme=(StepPlan(21_000),),
    driven_by=DrivenBy.TRAY,
    driving_tray="N2",
    relay=RelayKind.LEASE,
    reports=True,
    min_on_ms=60_000,
    min_off_ms=60_000,
    ramp_mk_per_h=3_000,
    surface=(ProbePlan(name="north-mat"),),
    trays=(
        a_tray("N1", 1, medium="coir-perlite"),
        a_tray("N2", 2, medium="bark-sand"),
        a_tray("N3", 3),
    ),
)
SOUTH = MatPlan(
    name="south",
    power_mw=80_000,
    length_mm=900,
    width_mm=450,
    policy=OnOff(),
    programme=(StepPlan(26_000),),
    driven_by=DrivenBy.TRAY,
    driving_tray="S1",
    relay=RelayKind.LEASE,
    reports=True,
    surface=(ProbePlan(name="south-mat"),),
    trays=(
        a_tray("S1", 1, depth=50, probe=35),
        a_tray("S2", 2, medium="coir-perlite", depth=50, probe=35),
    ),
)
ROOM = (ProbePlan(name="room"),)
DEMO = Plan(bench="lean-to", mats=(NORTH, SOUTH), room=ROOM)

BARE = {"surface": (), "driven_by": DrivenBy.MEDIAN, "driving_tray": None}

_PLANS = {
    "lean-to": (DEMO, "north"),
    "seed": (replace(DEMO, mats=(SOUTH,)), "south"),
    # One probe in all: no surface, no room, no report.
    "lone-probe": (
        Plan(
            bench="lone",
            mats=(
                replace(
                    SOUTH,
                    programme=(StepPlan(24_000),),
                    reports=False,
                    trays=(a_tray("L1", depth=60), a_tray("L2", 2, probes=0)),
                    **BARE,
                ),
            ),
        ),
        "south",
    ),
    # Three probes for five containers; the median drives.
    "five-trays": (
        Plan(
            bench="five",
            mats=(
                replace(
                    NORTH,
                    trays=tuple(a_tray(f"F{n}", n, probes=n % 2) for n in range(1, 6)),
                    **BARE,
                ),
            ),
            room=ROOM,
        ),
        "north",
    ),
    # A plain relay that neither counts a lease nor reports.
    "plain-relay": (
        replace(DEMO, mats=(replace(SOUTH, relay=RelayKind.PLAIN, reports=False),)),
        "south",
    ),
    "wattmeter": (replace(DEMO, mats=(replace(NORTH, wattmeter=True),)), "north"),
    # Plugs of 30 mm on a strong mat: everything happens fast.
    "plugs": (
        Plan(
            bench="plugs",
            mats=(
                replace(
                    SOUTH,
                    power_mw=81_000,  # 200 W/m²
                    programme=(StepPlan(25_000),),
                    driving_tray="P1",
                    trays=(
                        a_tray("P1", 1, depth=30, probe=20),
                        a_tray("P2", 2, depth=30, probe=20),
                    ),
                ),
            ),
            room=ROOM,
        ),
        "south",
    ),
    # A deep bin on a weak mat: everything happens slowly.
    "deep-bin": (
        Plan(
            bench="bin",
            mats=(
                replace(
                    NORTH,
                    power_mw=64_000,  # 100 W/m²
                    programme=(StepPlan(20_000),),
                    driven_by=DrivenBy.TRAY,
                    driving_tray="B1",
                    trays=(
                        a_tray("B1", 1, medium="coir-perlite", depth=150, probe=110),
                        a_tray("B2", 2, depth=150, probe=110),
                    ),
                ),
            ),
            room=ROOM,
        ),
        "north",
    ),
}


def _benches() -> Iterator[Bench]:
    for number, (name, (plan, mat)) in enumerate(_PLANS.items()):
        for other, (policy_name, policy) in enumerate(POLICIES.items()):
            mats = tuple(
                replace(m, policy=policy) if m.name == mat else m for m in plan.mats
            )
            yield Bench(
                f"{name}/{policy_name}",
                replace(plan, mats=mats),
                mat,
                seed=10 * number + other + 1,
            )


BENCHES = tuple(_benches())
"""Every bench under both policies, each in a weather of its own."""
