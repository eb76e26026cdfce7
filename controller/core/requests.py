"""A person's wishes: granted or refused, each with a sentence.

A refused wish changes nothing. What may live here: what a person may change.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple, assert_never

from controller.core.decisions import AlarmChange, AlarmKind, AlarmTurn, Answer
from controller.core.plan import MatPlan, Plan
from controller.core.plan_rules import setpoint_problem
from controller.core.protect import reset_refusal
from controller.core.root_zone import observe
from controller.core.scan import (
    Acknowledge,
    AlarmWish,
    Hold,
    MatWish,
    NextStep,
    Request,
    Reset,
    Scan,
    SetEnabled,
    SetSetpoint,
)
from controller.core.state import MODE_TABLE, Condition, MatState, Override, State
from controller.core.units import DAY_MS, HOUR_MS, Millis, celsius

LONGEST_SHELF_MS = 7 * DAY_MS
"""Chosen: a silenced alarm comes back before it is forgotten."""

LONGEST_HOLD_MS = 4 * HOUR_MS
"""Chosen: longer than any watering; a forgotten hold still ends the same day."""


class Grants(NamedTuple):
    """What became of a scan's wishes.

    Attributes:
        state: The state after them.
        answers: One for each, in their order.
        alarm_changes: What they did to alarms.
    """

    state: State
    answers: tuple[Answer, ...]
    alarm_changes: tuple[AlarmChange, ...]


@dataclass(frozen=True, slots=True)
class _Granted:
    mat: MatState
    sentence: str
    log_ready: bool = False


def grant(plan: Plan, state: State, scan: Scan, now_ms: Millis) -> Grants:
    """Take a scan's wishes in order."""
    answers: list[Answer] = []
    changes: list[AlarmChange] = []
    for request in scan.requests:
        wish = request.wish
        if isinstance(wish, AlarmWish):
            state, answer = _alarm(state, request, wish, now_ms, changes)
        else:
            state, answer = _one(plan, state, scan, request, wish, now_ms)
        answers.append(answer)
    return Grants(state, tuple(answers), tuple(changes))


def _one(
    plan: Plan,
    state: State,
    scan: Scan,
    request: Request,
    wish: MatWish,
    now_ms: Millis,
) -> tuple[State, Answer]:
    mat = next((mat for mat in plan.mats if mat.name == wish.mat), None)
    if mat is None:
        return state, _refusal(request, f"there is no mat {wish.mat}")
    if mat.relay is None:
        sentence = f"mat {mat.name} is only watched: it has no relay to command"
        return state, _refusal(request, sentence)
    outcome = _wish(mat, state, scan, request.who, wish, now_ms)
    if isinstance(outcome, str):
        return state, _refusal(request, outcome)
    mats: Mapping[str, MatState] = {**state.mats, mat.name: outcome.mat}
    ready = state.log_ready or outcome.log_ready
    return (
        replace(state, mats=mats, log_ready=ready),
        Answer(request.id, accepted=True, sentence=outcome.sentence),
    )


def _alarm(
    state: State,
    request: Request,
    wish: AlarmWish,
    now_ms: Millis,
    changes: list[AlarmChange],
) -> tuple[State, Answer]:
    """Acknowledge or shelve an alarm that is known of."""
    found = next(
        (a for a in state.alarms if (a.kind.value, a.subject) == _named(wish)), None
    )
    of = f" of {wish.subject}" if wish.subject else ""
    if found is None:
        return state, _refusal(request, f"there is no alarm {wish.alarm}{of}")
    if isinstance(wish, Acknowledge):
        after, turn = replace(found, acknowledged=True), AlarmTurn.ACKNOWLEDGED
        sentence = f"{wish.alarm}{of} is acknowledged"
    elif not 0 <= wish.for_ms <= LONGEST_SHELF_MS:
        longest_h = LONGEST_SHELF_MS // HOUR_MS
        return state, _refusal(request, f"silence lasts from 0 to {longest_h} hours")
    else:
        until_ms = Millis(now_ms + wish.for_ms) if wish.for_ms else None
        after = replace(found, shelved_until_ms=until_ms)
        turn = AlarmTurn.SHELVED if until_ms else AlarmTurn.UNSHELVED
        lasting = f"silent for {wish.for_ms / 60_000:.0f} min"
        sentence = f"{wish.alarm}{of} is {lasting if until_ms else 'silent no more'}"
    if after != found:
        changes.append(AlarmChange(found.kind, found.subject, turn, who=request.who))
    alarms = tuple(after if alarm is found else alarm for alarm in state.alarms)
    answer = Answer(request.id, accepted=True, sentence=sentence)
    seen = after.acknowledged and found.kind is AlarmKind.LOG_SET_ASIDE
    aside = state.log_set_aside and not seen
    return replace(state, alarms=alarms, log_set_aside=aside), answer


def _named(wish: AlarmWish) -> tuple[str, str]:
    return wish.alarm, wish.subject


def _refusal(request: Request, sentence: str) -> Answer:
    return Answer(request.id, accepted=False, sentence=sentence)


def _wish(
    mat: MatPlan,
    state: State,
    scan: Scan,
    who: str,
    wish: MatWish,
    now_ms: Millis,
) -> _Granted | str:
    """Return what a wish makes of the mat, or why it is refused."""
    known = state.mats[mat.name]
    match wish:
        case SetSetpoint():
            return _setpoint(mat, known, scan, who, wish, now_ms)
        case SetEnabled():
            word = "may heat" if wish.enabled else "is switched off"
            return _Granted(replace(known, enabled=wish.enabled), f"{mat.name} {word}")
        case Hold():
            return _hold(mat, known, wish, now_ms)
        case NextStep():
            return _next_step(mat, known, now_ms)
        case Reset():
            return _reset(mat, known, state, now_ms)
        case _:
            assert_never(wish)


def _setpoint(
    mat: MatPlan,
    known: MatState,
    scan: Scan,
    who: str,
    wish: SetSetpoint,
    now_ms: Millis,
) -> _Granted | str:
    if wish.setpoint_mc is None:
        if known.override is None:
            return f"{mat.name} has no setpoint of a person's to drop"
        return _Granted(
            replace(known, override=None), f"{mat.name} follows its programme"
        )
    problem = setpoint_problem(mat, wish.setpoint_mc)
    if problem is not None:
        return str(problem)
    if wish.for_ms is not None and wish.for_ms <= 0:
        return "a setpoint must last for more than no time"
    until_ms = None if wish.for_ms is None else Millis(now_ms + wish.for_ms)
    planned_mc = mat.programme[known.step].setpoint_mc
    override = Override(wish.setpoint_mc, who, scan.utc_ms, until_ms, planned_mc)
    sentence = f"{mat.name} heads for {celsius(wish.setpoint_mc):.2f} °C"
    return _Granted(replace(known, override=override), sentence)


def _hold(mat: MatPlan, known: MatState, wish: Hold, now_ms: Millis) -> _Granted | str:
    if not 0 <= wish.for_ms <= LONGEST_HOLD_MS:
        return f"a hold lasts from 0 to {LONGEST_HOLD_MS // HOUR_MS} hours"
    if wish.for_ms == 0:
        return _Granted(
            replace(known, hold_until_ms=None), f"the hold on {mat.name} ends"
        )
    until_ms = Millis(now_ms + wish.for_ms)
    sentence = f"{mat.name} stays cold for {wish.for_ms / 60_000:.0f} min"
    return _Granted(replace(known, hold_until_ms=until_ms), sentence)


def _next_step(mat: MatPlan, known: MatState, now_ms: Millis) -> _Granted | str:
    if known.step + 1 >= len(mat.programme):
        return f"{mat.name} is in the last step of its programme"
    moved = replace(known, step=known.step + 1, step_since_ms=now_ms)
    return _Granted(moved, f"{mat.name} begins step {moved.step + 1}")


def _reset(
    mat: MatPlan, known: MatState, state: State, now_ms: Millis
) -> _Granted | str:
    if known.trip is None:
        if not state.log_ready:
            return _Granted(
                known, "the bench starts without a season log", log_ready=True
            )
        return f"{mat.name} is not locked off"
    refusal = reset_refusal(mat, known.trip, observe(mat, state.probes, now_ms))
    if refusal is not None:
        return f"{mat.name} stays locked off: {refusal}"
    mode = MODE_TABLE[known.mode][Condition.RESET]
    return _Granted(
        replace(known, trip=None, mode=mode, mode_since_ms=now_ms),
        f"{mat.name} is unlocked and waits for good readings",
    )
