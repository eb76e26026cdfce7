"""Faults: what happens to a simulated bench at which time, checked against it.

A fault begins at a time and, where that makes sense, lasts for a while. What
may live here: one fault, and what is wrong with one. The kinds are in kinds.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from controller.core.plan import Plan, all_probes, all_trays
from sim.kinds import SHAPES, About, Kind

__all__ = ["DAY_MS", "SHAPES", "About", "Fault", "Kind", "names", "problems"]

DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that happens.

    Attributes:
        kind: What.
        at_ms: When it begins, after the beginning of the simulation [ms].
        lasts_ms: How long it lasts [ms]; None: as usual for its kind.
        subject: The probe, tray or mat; empty for the bench.
        other: The second probe, where two are swapped.
        sizes: In thousandths of their units, by key; usual ones may be left out.
        flags: True or false, by key; usual ones may be left out.
    """

    kind: Kind
    at_ms: int
    lasts_ms: int | None = None
    subject: str = ""
    other: str = ""
    sizes: Mapping[str, int] = field(default_factory=dict)
    flags: Mapping[str, bool] = field(default_factory=dict)

    def size(self, key: str) -> float:
        """Return a size in its unit: °C, K, s, mm, W/m², or a share of 1."""
        usual = SHAPES[self.kind].sizes[key].usual
        return self.sizes.get(key, usual or 0) / 1000

    def flag(self, key: str) -> bool:
        """Return whether something is so."""
        return self.flags.get(key, SHAPES[self.kind].flags[key])

    @property
    def ends_ms(self) -> int | None:
        """When it ends [ms]; None: never."""
        lasts_ms = self.lasts_ms
        if lasts_ms is None:
            lasts_ms = SHAPES[self.kind].usual_ms
        return None if lasts_ms is None else self.at_ms + lasts_ms


def names(plan: Plan, about: About) -> tuple[str, ...]:
    """Return what a plan has of something."""
    if about is About.PROBE:
        return tuple(probe.name for probe in all_probes(plan))
    if about is About.TRAY:
        return tuple(tray.name for tray in all_trays(plan))
    if about is About.MAT:
        return tuple(mat.name for mat in plan.mats)
    return ()


def problems(plan: Plan, fault: Fault) -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong with a fault: the key, what stands there, what may."""
    shape = SHAPES[fault.kind]
    known = names(plan, shape.about)
    if known and fault.subject not in known:
        yield shape.about.value, fault.subject, f"known here: {', '.join(known)}"
    if shape.other and (fault.other not in known or fault.other == fault.subject):
        yield "with", fault.other, "name another probe of the bench"
    for key, size in shape.sizes.items():
        value = fault.sizes.get(key, size.usual)
        if value is None:
            yield key, "", "it is needed"
        elif not size.low <= value <= size.high:
            span = f"from {size.low / 1000:g} to {size.high / 1000:g}"
            yield key, f"{value / 1000:g}", f"{span} ({size.unit.value})"
