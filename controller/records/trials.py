"""Trials as they were planned: arms, units, blocks, seed and test, before sticking.

The plan is written down with the seed that shuffled it, so that what comes of it can
be judged by the same randomisation, and by the test that was chosen beforehand. What
may live here: the shape of a plan and its rules. Statistics are in controller.trials.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from controller.records.batches import MOST
from controller.records.codes import CodeError, canonical
from controller.records.faults import (
    LONGEST_TEXT,
    Fault,
    fault,
    name_faults,
    number_faults,
    refuse,
    text_faults,
)

MOST_UNITS = 400
"""Chosen: more pots than a bench for one person holds."""

MOST_SEED = 2**53 - 1
"""Chosen: a JSON number keeps so large a one exactly (RFC 8259, section 6)."""

_LEAST_ARMS, _MOST_ARMS = 2, 12


class UnitKind(StrEnum):
    """What was filled and placed by itself: that is what an arm is given to."""

    POT = "pot"
    TRAY = "tray"


class EndPoint(StrEnum):
    """What counts as success."""

    ROOTED = "rooted"
    ESTABLISHED = "established"


class TestName(StrEnum):
    """The test that decides, chosen before anything is seen."""

    __test__ = False  # nothing for pytest

    BOSCHLOO = "boschloo"
    SHARES = "permutation-shares"
    TIMES = "permutation-times"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """The difference that the plan was made to find.

    Attributes:
        low: Share of the poorer arm.
        high: Of the better one.
        faster: Or by how much that is faster.
        alike: Correlation of two cuttings of a unit.
    """

    low: float = 0.6
    high: float = 0.8
    faster: float = 1.5
    alike: float = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialUnit:
    """One pot or tray of a trial.

    Attributes:
        name: What it is called.
        arm: What it got.
        block: Within which it could have got another.
        tray: The tray that it is or stands in; empty: none of the bench.
        position: Where in the tray, counted along it.
        cultivar: What is stuck in it; empty: all have the same.
        mean_c: How warm it is there by the log of before [°C]; None: not known.
        batch: The batch that was stuck into it; empty: not yet.
    """

    name: str
    arm: str
    block: str
    tray: str = ""
    position: int = 1
    cultivar: str = ""
    mean_c: float | None = None
    batch: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A trial as it was planned.

    Attributes:
        title: What it is to find out.
        factor: What differs between arms, such as the medium.
        arms: What it is compared.
        unit: What is labelled.
        cuttings: How many are stuck into each unit.
        units: All units, with what fell to them.
        seed: What shuffled them.
        test: The test that decides.
        end_point: What counts as success.
        days: Shares are counted up to then, after sticking; None: up to the end.
        base_mc: Thermal time counts above [m°C]; None: the batches' or trays' own.
        upper_mc: And no faster above [m°C].
        alpha: The p at which a difference is said to be one.
        smallest_p: The smallest that can come out, as was told beforehand.
        power: How often the stated difference would be found, as was told.
        stated: That difference.
        text: Whatever else.
        withdrawn: It was told by mistake and counts no longer.
    """

    title: str
    factor: str = "medium"
    arms: tuple[str, ...]
    unit: UnitKind
    cuttings: int
    units: tuple[TrialUnit, ...]
    seed: int
    test: TestName
    end_point: EndPoint = EndPoint.ROOTED
    days: float | None = None
    base_mc: int | None = None
    upper_mc: int | None = None
    alpha: float = 0.05
    smallest_p: float | None = None
    power: float | None = None
    stated: Stated = Stated()
    text: str = ""
    withdrawn: bool = False


def check_trial(trial: Trial) -> None:
    """Hold a plan to its rules; raise RecordError with every fault."""
    refuse(_faults(trial))


def _faults(trial: Trial) -> Iterator[Fault]:
    yield from text_faults("title", trial.title)
    if not trial.title.strip():
        yield fault("title", "nothing", "must say what it is to find out")
    yield from text_faults("factor", trial.factor)
    yield from text_faults("text", trial.text, LONGEST_TEXT)
    yield from _number_faults(trial)
    yield from _arm_faults(trial)
    yield from _unit_faults(trial)
    yield from _test_faults(trial)


def _number_faults(trial: Trial) -> Iterator[Fault]:
    stated = trial.stated
    yield from number_faults("cuttings", trial.cuttings, 1, MOST, "")
    yield from number_faults("seed", trial.seed, 0, MOST_SEED, "")
    yield from number_faults("days", trial.days, 0.5, 2_000, "days")
    yield from number_faults("alpha", trial.alpha, 0.001, 0.2, "")
    yield from number_faults("smallest_p", trial.smallest_p, 0, 1, "")
    yield from number_faults("power", trial.power, 0, 1, "")
    yield from number_faults("stated.low", stated.low, 0, 1, "")
    yield from number_faults("stated.high", stated.high, 0, 1, "")
    yield from number_faults("stated.faster", stated.faster, 1, 20, "")
    yield from number_faults("stated.alike", stated.alike, 0, 0.95, "")
    base, upper = trial.base_mc, trial.upper_mc
    for field, temp_mc in (("base_mc", base), ("upper_mc", upper)):
        if temp_mc is not None and not -10_000 <= temp_mc <= 70_000:  # noqa: PLR2004
            yield fault(field, f"{temp_mc / 1000:g} °C", "must be from -10 to 70 °C")
    if upper is not None and (base is None or upper <= base):
        right = "must lie above the base, which must be told with it"
        yield fault("upper_mc", f"{upper / 1000:g} °C", right)


def _arm_faults(trial: Trial) -> Iterator[Fault]:
    arms = trial.arms
    if not _LEAST_ARMS <= len(arms) <= _MOST_ARMS or len(set(arms)) < len(arms):
        right = f"must be {_LEAST_ARMS} to {_MOST_ARMS} different ones"
        yield fault("arms", ", ".join(arms) or "none", right)
    for arm in arms:
        yield from text_faults("arms", arm)
        if not arm.strip():
            yield fault("arms", arm, "an arm must have a name")
    for arm in arms:
        if not any(unit.arm == arm for unit in trial.units):
            yield fault("units", f"none with {arm}", "every arm needs a unit at least")


def _unit_faults(trial: Trial) -> Iterator[Fault]:
    if len(trial.units) > MOST_UNITS:
        yield fault("units", len(trial.units), f"must be {MOST_UNITS} at most")
    names: set[str] = set()
    codes: set[str] = set()
    for unit in trial.units[:MOST_UNITS]:
        yield from _one_unit_faults(trial, unit)
        if unit.name in names:
            yield fault("units", unit.name, "is there twice; each has its own name")
        if unit.batch and unit.batch in codes:
            yield fault("units", unit.batch, "a batch stands in one unit only")
        names.add(unit.name)
        codes.add(unit.batch)


def _one_unit_faults(trial: Trial, unit: TrialUnit) -> Iterator[Fault]:
    for text in (unit.name, unit.arm, unit.block, unit.cultivar):
        yield from text_faults("units", text)
    if not unit.name.strip():
        yield fault("units", "nothing", "a unit must have a name")
    if unit.arm not in trial.arms:
        there = ", ".join(trial.arms)
        yield fault("units", unit.arm, f"is no arm; there are: {there}")
    yield from name_faults("units", [unit.tray] if unit.tray else [])
    yield from number_faults("units", unit.position, 1, 10_000, "")
    yield from number_faults("units", unit.mean_c, -40, 100, "°C")
    if unit.batch and not _is_code(unit.batch):
        yield fault("units", unit.batch, "is no label code as it is printed")


def _is_code(text: str) -> bool:
    try:
        return canonical(text) == text
    except CodeError:
        return False


def _test_faults(trial: Trial) -> Iterator[Fault]:
    blocks = {unit.block for unit in trial.units}
    if trial.test is TestName.BOSCHLOO and (trial.cuttings > 1 or len(blocks) > 1):
        right = (
            "takes every cutting for itself: with several in a unit, or blocks, take"
            " a test by the trial's own randomisation"
        )
        yield fault("test", trial.test.value, right)
