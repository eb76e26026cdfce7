"""What a mat will do before there is a log, in words and as JSON. No command."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller.cli.output import table
from controller.core.plan import MatPlan, OnOff, Pid
from controller.core.regulate import band
from controller.core.units import MilliC, celsius

if TYPE_CHECKING:
    from sim.first_start import Expected, Holding

WET_MM, DRY_MM = 3.0, 1.0
"""Evaporation [mm/day] from a freshly watered surface, and from a dry crust."""

CYCLE_MS = 600_000
SMOOTHS = (("quick", 1.0), ("to begin with", 2.0), ("gentle", 3.0))

_WIDE = 88


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of one mat.

    Attributes:
        mat: The mat.
        scan_s: From scan to scan [s].
        wanted_c: To be held at [°C].
        room_c: In the coldest hour [°C].
        foam_mm: Under the mat [mm].
        wanted: The first, as it was written.
        room: The second, as it was written.
    """

    mat: MatPlan
    scan_s: float
    wanted_c: float
    room_c: float
    foam_mm: int
    wanted: str
    room: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What is answered of one mat.

    Attributes:
        asked: What was asked.
        trays: How each tray answers to full power.
        dry: Whether it can be held with a dry crust.
        wet: Whether it can be held just after watering.
        bare: The same as dry, without foam.
    """

    asked: Asked
    trays: "tuple[Expected, ...]"
    dry: "list[Holding]"
    wet: "list[Holding]"
    bare: "list[Holding]"


def in_words(answer: Answer) -> Iterator[str]:
    """Yield lines for people."""
    asked, mat = answer.asked, answer.asked.mat
    area_m2 = mat.length_mm * mat.width_mm / 1e6
    watts = mat.power_mw / 1000
    yield (
        f"Mat {mat.name}: {watts:g} W on {mat.length_mm} x {mat.width_mm} mm"
        f" ({watts / area_m2:.0f} W/m²), {_foam(asked.foam_mm)};"
        " expected from physics, not measured"
    )
    yield ""
    yield table(
        ("tray", "medium", "depth", "full power adds", "half of it after", "95 %"),
        [
            (
                tray.tray,
                plan.medium or "peat-perlite",
                f"{plan.depth_mm} mm",
                f"{tray.gain_k:.1f} K",
                _hours(tray.warm_up_s(0.5)),
                _hours(tray.warm_up_s(0.95)),
            )
            for tray, plan in zip(answer.trays, mat.trays, strict=True)
        ],
    )
    yield ""
    yield (f"Held at {asked.wanted} while the room has {asked.room}, with heat on for:")
    yield ""
    yield table(
        ("tray", "crust dry", "", "just watered", "", "at most", "mat then"),
        [
            (
                dry.tray,
                *_held(dry),
                *_held(wet),
                f"{wet.highest_c:.1f} °C",
                f"{wet.surface_c:.0f} °C",
            )
            for dry, wet in zip(answer.dry, answer.wet, strict=True)
        ],
    )
    yield ""
    yield from textwrap.wrap(_verdict(answer), _WIDE)
    yield ""
    yield from _begin(answer)


def _held(held: "Holding") -> tuple[str, str]:
    share = "all the time" if held.duty > 1 else f"{100 * held.duty:.0f} % of the time"
    return share, held.verdict


def _verdict(answer: Answer) -> str:
    """Return what the weakest tray decides, and what foam does."""
    asked = answer.asked
    wet = max(answer.wet, key=lambda held: held.duty)
    dry = max(answer.dry, key=lambda held: held.duty)
    bare = max(answer.bare, key=lambda held: held.duty)
    at = f"{asked.wanted} in a room of {asked.room}"
    if wet.verdict == "yes":
        said = (
            f"Yes, it should hold {at}, with"
            f" {100 * (1 - wet.duty):.0f} % of its power to spare just after watering."
        )
    elif wet.duty <= 1:
        said = (
            f"Barely: {at} takes {100 * wet.duty:.0f} % of its power just after"
            " watering, and less than 15 % to spare is little for a colder night."
        )
    elif dry.duty <= 1:
        said = (
            f"Not just after watering: {at} is reached only once the crust has dried;"
            f" until then tray {wet.tray} stays at {wet.highest_c:.1f} °C or less."
        )
    else:
        said = (
            f"No: in a room of {asked.room} tray {dry.tray} gets no warmer than"
            f" {dry.highest_c:.1f} °C. More watts per area, thicker foam below, a cover"
            " or a warmer room would help."
        )
    if asked.foam_mm and bare.duty > dry.duty:
        said += (
            f" Without the foam tray {bare.tray} would get no warmer than"
            f" {bare.highest_c:.1f} °C."
        )
    return said + _left_on(answer)


def _left_on(answer: Answer) -> str:
    """Return what a relay that sticks would do; empty: no tray would be too warm."""
    dry = max(answer.dry, key=lambda held: held.highest_c)
    cutout_c = celsius(answer.asked.mat.cutout_mc)
    if dry.highest_c <= cutout_c:
        return ""
    return (
        f" Left on, by a relay that sticks say, it would bring tray {dry.tray} to"
        f" {dry.highest_c:.0f} °C, above its cut-out of {cutout_c:g} °C, and no program"
        " can end that: an independent thermal cut-out can, and fewer watts per area"
        " would do less harm."
    )


def _begin(answer: Answer) -> Iterator[str]:
    """Yield settings of both policies to begin with."""
    from sim.first_start import control_model, first_pid

    asked = answer.asked
    driver = _driver(answer)
    yield f"To begin with, as tray {driver.tray} answers:"
    cycle_ms = CYCLE_MS
    if isinstance(asked.mat.policy, Pid):
        cycle_ms = asked.mat.policy.cycle_ms
    model = control_model(driver, asked.scan_s, cycle_ms)
    for name, smooth in SMOOTHS:
        pid = first_pid(model, cycle_ms, smooth)
        yield (
            f"  PID, {name}: gain_per_k = {pid.gain_per_k:.2f},"
            f' integral_time = "{pid.integral_s / 60:.0f} min"'
        )
    yield f"  {_on_off(answer, driver)}"


def _driver(answer: Answer) -> "Expected":
    named = answer.asked.mat.driving_tray
    known = {tray.tray: tray for tray in answer.trays}
    return known.get(named or "", answer.trays[len(answer.trays) // 2])


def _on_off(answer: Answer, driver: "Expected") -> str:
    from controller.review.limit_cycle import on_off_cycle
    from sim.first_start import control_model

    asked = answer.asked
    policy = asked.mat.policy
    if not isinstance(policy, OnOff):
        policy = OnOff()
    low_mc, high_mc = band(policy, MilliC(round(asked.wanted_c * 1000)))
    said = f'on-off: differential = "{policy.differential_mk / 1000:g} K"'
    model = control_model(driver, asked.scan_s, 0)
    unheated_c = asked.room_c - DRY_MM * driver.cooled_k
    try:
        cycle = on_off_cycle(model, unheated_c, celsius(low_mc), celsius(high_mc))
    except ValueError:
        return f"{said}, which is not reached, or needs no heat, in that room"
    return (
        f"{said} swings from {cycle.trough_c:.1f} to {cycle.peak_c:.1f} °C and closes"
        f" the relay {cycle.operations_a_day:.0f} times a day"
    )


def caution() -> Iterator[str]:
    """Yield what none of it says."""
    yield from textwrap.wrap(
        "Nobody has measured your foam, contact, wires and draught: expect the rise"
        " within a fifth or so, and let a log tell better (bottomheat fit). This is no"
        " word on safety: keep an independent thermal cut-out on the mat and an RCD"
        " (GFCI) on the supply; follow the mat's instructions and your local codes.",
        _WIDE,
    )


def record(answer: Answer) -> dict[str, object]:
    """Return the same for JSON."""
    from sim.first_start import control_model, first_pid

    asked, driver = answer.asked, _driver(answer)
    model = control_model(driver, asked.scan_s, CYCLE_MS)
    return {
        "mat": asked.mat.name,
        "wanted_c": asked.wanted_c,
        "room_c": asked.room_c,
        "foam_mm": asked.foam_mm,
        "expected": True,
        "trays": [
            {
                "tray": tray.tray,
                "gain_k": tray.gain_k,
                "cooled_k_by_1_mm_day": tray.cooled_k,
                "half_after_s": tray.warm_up_s(0.5),
                "duty_crust_dry": dry.duty,
                "duty_just_watered": wet.duty,
                "highest_just_watered_c": wet.highest_c,
                "verdict_just_watered": wet.verdict,
                "highest_without_foam_c": bare.highest_c,
            }
            for tray, dry, wet, bare in zip(
                answer.trays, answer.dry, answer.wet, answer.bare, strict=True
            )
        ],
        "driving": driver.tray,
        "pid": {
            name: {
                "gain_per_k": (pid := first_pid(model, CYCLE_MS, smooth)).gain_per_k,
                "integral_s": pid.integral_s,
            }
            for name, smooth in SMOOTHS
        },
    }


def _foam(foam_mm: int) -> str:
    return f"{foam_mm} mm of foam under it" if foam_mm else "no foam under it"


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h"
