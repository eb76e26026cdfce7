"""What `tune` and `whatif` found, as words, JSON and pictures all take it.

What may live here: that shape, and which candidates are shown side by side. No
command.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from controller.cli.asked import temperature_text
from controller.cli.modelled import Modelled
from controller.cli.prices import Price
from controller.core.plan import DrivenBy, MatPlan, OnOff
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS
from sim.thermal import Vector
from sim.tuning.candidates import DIFFERENTIALS_MK
from sim.tuning.figures import Figures
from sim.tuning.granting import OWN, Granted, Impossible, best_of_kind
from sim.tuning.jackknifed import Interval, Predicted, interval
from sim.tuning.searching import Proof, Search, front
from sim.tuning.wishes import Wish

Temps = TypeVar("Temps", float, Vector)


class Scale(NamedTuple):
    """The unit in which temperatures are told.

    Attributes:
        unit: "°C" or "°F".
        per_k: Its degrees in a kelvin.
        zero: What 0 °C is in it.
    """

    unit: str
    per_k: float
    zero: float

    def shown(self, temps_c: Temps) -> Temps:
        """Return temperatures [°C] in it."""
        return self.per_k * temps_c + self.zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """In which terms figures are told.

    Attributes:
        price: What energy costs; None: nobody said.
        rated: Operations that the relay is made for.
        fahrenheit: Temperatures in °F.
    """

    price: Price | None
    rated: int
    fahrenheit: bool

    @property
    def scale(self) -> Scale:
        """The unit of temperatures."""
        return Scale("°F", 1.8, 32.0) if self.fahrenheit else Scale("°C", 1.0, 0.0)


def held_back(figures: Figures) -> tuple[str, ...]:
    """Return what to say where heat is held back in the model, a sentence or none.

    The guards of response learn what is usual of a tray in days. A model begins
    anew and may feel its mat later than the bench does, so that a
    guard can act in it alone.
    """
    hours = figures.refused_h[OWN, 0]
    if not hours > 0:
        return ()
    return (
        f"limits or guards hold heat back for {hours:.1f} h of this time in the model,"
        " with the settings as they are. If they did not on the bench (its alarms"
        " tell), the model is at fault: in it heat can be felt later than on"
        " the bench, and the guard 'heat not felt' then acts in it alone. Figures that"
        " lean on it are wrong",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """What was found.

    Attributes:
        log: The season log, as it was named.
        of: The mat with its model.
        search: Every candidate that was run.
        tried: How many candidates there were.
        seed: From which they were drawn.
        wish: What was wished; None: nothing.
        answer: What grants it, or how near one comes; None: nothing was wished.
        proofs: Finalists run again, by candidate.
        notes: What a person should know, a sentence each.
        evening: What to do so that the next log covers more, a sentence each.
        terms: In which terms figures are told.
    """

    log: str
    of: Modelled
    search: Search
    tried: int
    seed: int
    wish: Wish | None
    answer: Granted | Impossible | None
    proofs: dict[int, Proof]
    notes: tuple[str, ...]
    evening: tuple[str, ...]
    terms: Terms

    @property
    def figures(self) -> Figures:
        """What became of every candidate."""
        return self.search.figures

    @property
    def chosen(self) -> int | None:
        """The candidate that is recommended; None: none is."""
        return self.answer.chosen if isinstance(self.answer, Granted) else None

    def ways(self) -> list[tuple[str, int]]:
        """Return the candidates that are shown, each with what it stands for."""
        found: dict[int, list[str]] = {}
        for name, index in self._ways():
            if index is not None:
                found.setdefault(index, []).append(name)
        return [(", ".join(names), index) for index, names in found.items()]

    def _ways(self) -> Iterator[tuple[str, int | None]]:
        yield "as now", OWN
        if isinstance(self.answer, Impossible):
            yield "nearest", self.answer.nearest
        yield "recommended", self.chosen
        if self.wish is not None and self.chosen is not None:
            allowed = self.search.allowed
            for kind, name in (("on-off", "best on-off"), ("pid", "best PID")):
                yield name, best_of_kind(self.wish, self.figures, allowed, kind)
        yield "narrow on-off", self.narrow()

    def narrow(self) -> int | None:
        """Return the narrow on-off at the present setpoint; None: it was not run."""
        own = self.figures.plans[OWN]
        for index, plan in enumerate(self.figures.plans):
            policy = plan.policy
            if (
                isinstance(policy, OnOff)
                and policy.differential_mk == DIFFERENTIALS_MK[0]
                and plan.programme == own.programme
                and _driver(plan) == _driver(own)
            ):
                return index
        return None

    @property
    def front(self) -> NDArray[np.bool_]:
        """Which candidates nothing beats."""
        return front(self.search, self.wish)

    def some_of_front(self, most: int) -> list[int]:
        """Return candidates that nothing beats, some of them, by energy."""
        indices = np.flatnonzero(self.front)
        order = np.argsort(self.figures.energy_kwh[indices, 0], kind="stable")
        indices = indices[order]
        if len(indices) <= most:
            return [int(index) for index in indices]
        places = np.linspace(0, len(indices) - 1, most).round().astype(int)
        return [int(indices[place]) for place in places]


def told(predicted: Predicted, index: int) -> Interval:
    """Return a candidate's figure with its interval of 90 %."""
    return interval(predicted, index)


def difference(predicted: Predicted, index: int, other: int) -> Interval:
    """Return a figure of one candidate less another's, paired model by model."""
    return interval(predicted[index : index + 1] - predicted[other], 0)


def apart(found: Interval) -> bool:
    """Whether a difference is told from 0."""
    if found.low is None or found.high is None:
        return False
    return found.low > 0 or found.high < 0


# ------------------------------------------------------------------------ in words


def kept_at(mat: MatPlan, *, fahrenheit: bool) -> str:
    """Return at which setpoints a mat is kept."""
    step = mat.programme[0]
    if len(mat.programme) > 1:
        return "its programme"
    text = temperature_text(step.setpoint_mc, fahrenheit=fahrenheit)
    if step.night_mc not in {None, step.setpoint_mc}:
        night = temperature_text(step.night_mc or 0, fahrenheit=fahrenheit)
        text += f", night {night}"
    return text


def kept_by(mat: MatPlan) -> str:
    """Return by which policy a mat is kept."""
    shortest = mat.min_on_ms, mat.min_off_ms
    least = " and ".join(dict.fromkeys(time_text(ms) for ms in shortest))
    if isinstance(mat.policy, OnOff):
        return f"on-off {mat.policy.differential_mk / 1000:g} K, min {least}"
    pid = mat.policy
    return (
        f"PID {pid.gain_per_k:g}/K, {time_text(round(pid.integral_s * SECOND_MS))},"
        f" cycle {time_text(pid.cycle_ms)}, min {least}"
    )


def driven_by(mat: MatPlan) -> str:
    """Return what drives a mat."""
    return f"by {_driver(mat)}"


def way_text(mat: MatPlan, *, fahrenheit: bool) -> str:
    """Return how a mat is kept, on one line."""
    at = kept_at(mat, fahrenheit=fahrenheit)
    return f"{at}, {driven_by(mat)}, {kept_by(mat)}"


def time_text(span_ms: int) -> str:
    """Return a time span with its unit."""
    for unit_ms, unit in ((HOUR_MS, "h"), (MINUTE_MS, "min")):
        if span_ms and span_ms % unit_ms == 0:
            return f"{span_ms // unit_ms} {unit}"
    return f"{span_ms / SECOND_MS:g} s"


def _driver(mat: MatPlan) -> str:
    if mat.driven_by is DrivenBy.TRAY:
        return mat.driving_tray or ""
    way: str = mat.driven_by.value
    return way
