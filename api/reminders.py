"""Routes of reminders: what is due at the bench, and when.

What may live here: from the book and the mats' programmes to that answer.
"""

from collections.abc import Iterator

from typing_extensions import TypedDict

from api.context import ContextHere, LookHere, no_query
from api.formats import short_temp_text, utc_text
from api.moment import Moment, wall_ms
from api.routing import Router
from api.wants import Depends
from controller.core.plan import MatPlan
from controller.core.units import DAY_MS
from controller.records.book import batches
from controller.records.reminders import MatStep, Reminder, reminders

router = Router(dependencies=[Depends(no_query)])


class ReminderView(TypedDict):
    """Something that is due; uid stays the same for the same thing."""

    uid: str
    due: str
    overdue: bool
    summary: str
    description: str


class RemindersView(TypedDict):
    """Everything that is due, the most urgent first."""

    reminders: list[ReminderView]


@router.get("/reminders")
async def get_reminders(context: ContextHere, look: LookHere) -> RemindersView:
    """Looks, wraps, covers, plants to be counted, and steps of mats that end."""
    book = await context.records.book()
    found = reminders(batches(book), mat_steps(look))
    now_ms = context.clock.now().utc_ms
    return RemindersView(reminders=[_view(one, now_ms) for one in found])


def mat_steps(look: Moment) -> Iterator[MatStep]:
    """Yield the steps of the mats' programmes that end by themselves."""
    for mat in look.snapshot.plan.mats:
        known = look.snapshot.state.mats[mat.name]
        days = mat.programme[known.step].days
        if days is None or known.step + 1 >= len(mat.programme):
            continue
        ends_ms = wall_ms(look, known.step_since_ms + round(days * DAY_MS))
        words = _following(look, mat, known.step + 1)
        yield MatStep(mat.name, known.step + 1, ends_ms, words)


def _following(look: Moment, mat: MatPlan, number: int) -> str:
    step = mat.programme[number]
    temp = short_temp_text(step.setpoint_mc, look.snapshot.display_unit)
    return f"{temp}: {step.title}" if step.title else temp


def _view(one: Reminder, now_utc_ms: int) -> ReminderView:
    return ReminderView(
        uid=one.uid,
        due=utc_text(one.due_utc_ms),
        overdue=one.due_utc_ms <= now_utc_ms,
        summary=one.summary,
        description=one.description,
    )
