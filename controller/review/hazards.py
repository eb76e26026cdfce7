"""Hazards: what a row of their table holds, and how the tables are written.

The rows are in hazards_on_the_bench and hazards_in_the_wires. What may live
here: the shape of a row and the rendering of tables for documents. No rows.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from controller.core.decisions import AlarmKind, Cause


@dataclass(frozen=True, slots=True)
class Threshold:
    """From where on a hazard is found, every time.

    Attributes:
        scenario: The scenario of the fault campaign that it is measured in.
        at_least: Its severity.
        unit: What the severity is, with its unit.
        within_h: How long it takes at most, until heat is off or the alarm
            rings [h].
    """

    scenario: str
    at_least: float
    unit: str
    within_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One thing that can go wrong, and what is done about it.

    Attributes:
        name: Short and fixed.
        when: What happens, in a grower's words.
        in_plain_words: What comes of it, in a grower's words.
        detected: How it is found.
        then: What the controller does.
        bound: What the root zone can suffer below the threshold, or until then.
        thresholds: From where on it is found; empty: by a test, or no fault.
        causes: Causes of "off", one of which says so.
        alarms: Alarms, one of which says so.
        injected_by: Scenarios of the fault campaign, and tests by their id.
        advice_only: No software can do anything about it.
    """

    name: str
    when: str
    in_plain_words: str
    detected: str
    then: str
    bound: str
    thresholds: tuple[Threshold, ...] = ()
    causes: tuple[Cause, ...] = ()
    alarms: tuple[AlarmKind, ...] = ()
    injected_by: tuple[str, ...] = ()
    advice_only: bool = False

    @property
    def scenarios(self) -> tuple[str, ...]:
        """Its scenarios in the fault campaign."""
        return tuple(name for name in self.injected_by if "::" not in name)

    @property
    def tests(self) -> tuple[str, ...]:
        """The tests that inject it, by their id."""
        return tuple(name for name in self.injected_by if "::" in name)


def growers_table(hazards: Iterable[Hazard]) -> str:
    """Return the table for people who grow: what happens when."""
    head = ("when…", "what happens")
    return _table(head, [(h.when, h.in_plain_words) for h in hazards])


def developers_table(hazards: Iterable[Hazard]) -> str:
    """Return the table for people who change the program."""
    head = (
        "hazard",
        "found by",
        "from, within",
        "then",
        "root zone until then, or below that",
        "injected by",
    )
    return _table(head, [_row(hazard) for hazard in hazards])


def _row(hazard: Hazard) -> tuple[str, ...]:
    said = [f"`{c.value}`" for c in hazard.causes]
    said += [
        f"`{a.value}`"
        for a in hazard.alarms
        if a.value not in {c.value for c in hazard.causes}
    ]
    then = hazard.then + (f" ({', '.join(said)})" if said else "")
    return (
        f"`{hazard.name}`",
        hazard.detected,
        "; ".join(_from(threshold) for threshold in hazard.thresholds) or "-",
        then,
        hazard.bound,
        ", ".join(f"`{name}`" for name in hazard.injected_by) or "-",
    )


def _from(threshold: Threshold) -> str:
    return f"{threshold.at_least:g} {threshold.unit}, {in_hours(threshold.within_h)}"


def in_hours(hours: float) -> str:
    """Return a time in the unit in which it reads best."""
    if hours < 1 / 60:
        return f"{hours * 3600:.0f} s"
    if hours < 1:
        return f"{hours * 60:.0f} min"
    return f"{hours:g} h"


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "\n".join(f"| {' | '.join(_cell(c) for c in line)} |" for line in lines)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
