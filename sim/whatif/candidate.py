"""A mat's plan as the loops use it, and whether it fits the model.

What may live here: what a candidate must have, and the bench around its mat.
No loop.
"""

from collections.abc import Sequence
from dataclasses import replace

from controller.core.plan import MatPlan, Plan, ProbePlan, TrayPlan
from controller.core.units import MilliK, Millis
from sim.whatif.span import Span
from sim.zone_model import MatModel

ROOM = "room"


def check(model: MatModel, mats: Sequence[MatPlan]) -> None:
    """Refuse candidates that the model cannot answer for.

    Raises:
        ValueError: One has no relay, or other zones than the model.
    """
    found: set[tuple[int, int]] = set()
    for mat in mats:
        if mat.relay is None:
            raise ValueError(f"mat {mat.name}: relay = none: only a mat with one heats")
        same = id(mat.trays), id(mat.surface)  # as most of them have it in common
        if same not in found:
            _check_zones(model, mat)
            found.add(same)


def _check_zones(model: MatModel, mat: MatPlan) -> None:
    trays = heard(mat)
    named = [tray.name for tray in trays] + [probe.name for probe in mat.surface]
    known = [zone.name for zone in model.zones]
    if named != known or not trays:
        raise ValueError(
            f"mat {mat.name}: trays with probes and surface probes are "
            f"{', '.join(named) or 'none'}; the model has {', '.join(known) or 'none'}"
        )


def heard(mat: MatPlan) -> tuple[TrayPlan, ...]:
    """Return the trays that have a probe."""
    return tuple(tray for tray in mat.trays if tray.probes)


def bench(span: Span, mat: MatPlan) -> Plan:
    """Return a bench of this mat alone whose probes speak in every scan.

    The model has one temperature for each tray, hence one probe, the first; it
    reads what the core shall see, hence no offset.
    """
    step_ms = Millis(span.step_ms)

    def speaking(probe: ProbePlan) -> ProbePlan:
        stale_ms = Millis(max(probe.stale_after_ms, 3 * step_ms))
        return replace(
            probe, every_ms=step_ms, stale_after_ms=stale_ms, offset_mk=MilliK(0)
        )

    trays = tuple(
        replace(tray, probes=tuple(speaking(probe) for probe in tray.probes[:1]))
        for tray in mat.trays
    )
    names = {probe.name for tray in trays for probe in tray.probes}
    room = ROOM
    while room in names or room in {probe.name for probe in mat.surface}:
        room += "_"
    surface = tuple(speaking(probe) for probe in mat.surface)
    return Plan(
        bench="what-if",
        scan_ms=step_ms,
        mats=(replace(mat, trays=trays, surface=surface),),
        room=(speaking(ProbePlan(name=room)),) if span.room_heard else (),
    )
