"""Off the heat: first the container that is rooted, the mat last, step by step.

A mat warms whatever stands on it, so whoever steps it down does so to all of them:
it is proposed only when every open batch on it has rooted, and who else is affected
is always named. What may live here: proposals for containers and mats, and the steps
of weaning. Pure.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from controller.core.units import DAY_MS
from controller.records.batches import BatchKind, Cover
from controller.records.tracks import BaseSeen, TopsSeen, Tracks

STEP_MK = 3_000
STEP_DAYS = 3
LEAST_MC = 18_000
"""Common practice, in steps that are ours: 24, 21, 18 °C, off, three days each."""

COVER_DAYS = 7
"""Chosen: the cover is opened a week after the heat went off: one change at a time."""


@dataclass(frozen=True, slots=True)
class Placed:
    """An open batch where it stands.

    Attributes:
        code: Its label code.
        name: Crop and cultivar.
        tray: Its container; empty: off the bench.
        mat: The mat below it; empty: none, so no heat.
        kind: Of what wood, or seed.
        seen: What is known of it.
        cover: What stands over it.
    """

    code: str
    name: str
    tray: str
    mat: str
    kind: BatchKind
    seen: Tracks
    cover: Cover | None = None

    @property
    def done(self) -> bool:
        """Whether it needs the heat no longer: rooted, or emerged."""
        if self.kind is BatchKind.SEED:
            return self.seen.tops is TopsSeen.LEAFED
        return self.seen.has_roots


@dataclass(frozen=True, slots=True)
class OffTheHeat:
    """A container that may leave the heat.

    Attributes:
        tray: Which.
        mat: The mat that it stands on.
        rooted: Codes of its batches that are rooted, or emerged.
        others: Of the others in it, code and what is known.
        sentence: What to do.
        warnings: Against doing it.
    """

    tray: str
    mat: str
    rooted: tuple[str, ...]
    others: tuple[tuple[str, str], ...]
    sentence: str
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WeanStep:
    """One change.

    Attributes:
        after_days: How many days after the first one.
        setpoint_mc: What the mat is set to [m°C]; None: off, or no matter of heat.
        words: What to do; a {} in it stands for the setpoint.
    """

    after_days: int
    setpoint_mc: int | None
    words: str


@dataclass(frozen=True, slots=True)
class MatDown:
    """Whether a mat may be stepped down.

    Attributes:
        mat: Which.
        affected: Everyone on it: code, container and what is known.
        steps: The changes, one after the other; none where it may not.
        sentence: What to do, or why not.
        warnings: Against doing it.
        allowed: Every open batch on it has rooted or emerged.
    """

    mat: str
    affected: tuple[tuple[str, str, str], ...]
    steps: tuple[WeanStep, ...]
    sentence: str
    warnings: tuple[str, ...] = ()
    allowed: bool = True


def containers_off(
    placed: Sequence[Placed], units: Mapping[str, str]
) -> list[OffTheHeat]:
    """Return which containers on a mat may leave it: that comes before the mat.

    Args:
        placed: All open batches.
        units: Containers that are units of open trials, with the trial's name.
    """
    trays = dict.fromkeys(one.tray for one in placed if one.tray and one.mat)
    found = []
    for tray in trays:
        here = [one for one in placed if one.tray == tray]
        if any(one.done for one in here):
            found.append(_off(tray, here, units))
    return found


def _off(tray: str, here: list[Placed], units: Mapping[str, str]) -> OffTheHeat:
    done = [one for one in here if one.done]
    others = [one for one in here if not one.done]
    codes = ", ".join(one.code for one in done)
    if others:
        rest = ", ".join(f"{one.code} ({_known(one)})" for one in others)
        sentence = (
            f"{codes} in {tray} could leave the heat; it shares the container with"
            f" {rest}: move {codes} alone, or wait for the others"
        )
    else:
        sentence = f"move {tray} off the heat: all that is in it, {codes}, is done"
    return OffTheHeat(
        tray,
        done[0].mat,
        tuple(one.code for one in done),
        tuple((one.code, _known(one)) for one in others),
        sentence,
        tuple(trial_warnings([tray], units)),
    )


def _known(one: Placed) -> str:
    if one.kind is BatchKind.SEED:
        return "emerged" if one.done else "not emerged"
    base = one.seen.base
    return "roots not looked for" if base is BaseSeen.NOT_LOOKED else base.value


def mat_down(
    mat: str,
    placed: Sequence[Placed],
    air_mc: tuple[int | None, int | None],
    units: Mapping[str, str],
) -> MatDown:
    """Return whether a mat may be stepped down, and how.

    Args:
        mat: Which.
        placed: All open batches.
        air_mc: What the mat is set to, and the room's air [m°C]; None: not known.
        units: Containers that are units of open trials, with the trial's name.
    """
    here = [one for one in placed if one.mat == mat]
    waiting = [one for one in here if not one.done]
    affected = tuple((one.code, one.tray, _known(one)) for one in here)
    setpoint_mc, room_mc = air_mc
    if waiting:
        names = ", ".join(
            f"{one.code} in {one.tray} ({_known(one)})" for one in waiting
        )
        sentence = f"leave the mat {mat} as it is: {names} still needs it"
        return MatDown(mat, affected, (), sentence, allowed=False)
    who = ", ".join(f"{one.code} in {one.tray}" for one in here) or "no open batch"
    covers = [one.cover for one in here]
    steps = () if setpoint_mc is None else tuple(wean(setpoint_mc, room_mc, covers))
    sentence = f"the mat {mat} may be stepped down; that affects {who}"
    warnings = tuple(trial_warnings(sorted({one.tray for one in here}), units))
    return MatDown(mat, affected, steps, sentence, warnings)


def wean(
    setpoint_mc: int, room_mc: int | None, covers: Iterable[Cover | None]
) -> Iterator[WeanStep]:
    """Yield the steps by which a mat goes off, and then a cover comes off.

    By 3 K each three days, down to 18 °C and never to below the room, then off; a
    closed cover is vented a week later, and any cover off a week after that.

    Args:
        setpoint_mc: What the mat is set to now [m°C].
        room_mc: The room's air [m°C]; None: not known.
        covers: What stands over those concerned.
    """
    floor_mc = max(LEAST_MC, (room_mc + 1) if room_mc is not None else LEAST_MC)
    day, step_mc = 0, setpoint_mc - STEP_MK
    while step_mc >= floor_mc:
        yield WeanStep(day, step_mc, "set the mat to {}")
        day, step_mc = day + STEP_DAYS, step_mc - STEP_MK
    yield WeanStep(day, None, "switch the mat off")
    known = set(covers)
    if Cover.CLOSED in known:
        day += COVER_DAYS
        yield WeanStep(day, None, "vent the cover")
    if known & {Cover.CLOSED, Cover.VENTED}:
        yield WeanStep(day + COVER_DAYS, None, "take the cover off")


def step_utc_ms(start_utc_ms: int, step: WeanStep) -> int:
    """Return when a step is due [ms], if the first is taken at some time [ms]."""
    return start_utc_ms + step.after_days * DAY_MS


def trial_warnings(trays: Iterable[str], units: Mapping[str, str]) -> Iterator[str]:
    """Yield what speaks against turning, swapping or moving containers.

    In a trial a container stands where chance put it: blocks along the bench's
    gradient beat moving pots about, and swaps raise the error (Plant Methods 2019,
    s13007-019-0527-4, and 2013, 9:5; abstracts).

    Args:
        trays: Which containers.
        units: Containers that are units of open trials, with the trial's name.
    """
    for tray in trays:
        if tray in units:
            yield (
                f"{tray} is a unit of the open trial {units[tray]}: leave it where the"
                " plan put it; turning, swapping or moving it blurs the comparison"
            )
