"""Routes of bench events: what was done, and what of it was told wrongly.

An answer of 201 means that it is on the disk. What may live here: from bodies to
changes.
"""

from typing import Annotated

from starlette.responses import Response

from api.context import Context, ContextHere, LookHere, kept_with_care, no_query
from api.problems import ProblemError, quoted
from api.record_bodies import EventBody, EventFields, EventsQuery
from api.record_shapes import EventsView, EventView
from api.record_values import corrected, new_value
from api.record_views import event_view, events_view
from api.record_writer import Writer
from api.routing import Router
from api.tray_views import find_tray, mat_of
from api.wants import Depends, Query
from controller.record_wire import event_of
from controller.records.book import Book, NoSuchRecordError, event_in
from controller.records.desk import add_event, revise_event
from controller.records.events import BenchEvent, EventKind
from controller.records.trial_units import open_units
from controller.records.weaning import trial_warnings

router = Router()


@router.get("/events", dependencies=[Depends(kept_with_care)])
async def get_events(
    context: ContextHere, look: LookHere, asked: Annotated[EventsQuery, Query()]
) -> EventsView:
    """What was done at the bench, oldest first."""
    tray = find_tray(look, asked.tray) if asked.tray else None
    mat = mat_of(look, tray) if tray else None
    book = await context.records.book()
    return events_view(book, asked, mat.name if mat else None)


@router.get(
    "/events/{number}", dependencies=[Depends(no_query), Depends(kept_with_care)]
)
async def get_event(context: ContextHere, number: int) -> EventView:
    """One event, with all that it was told as before."""
    return await _shown(context, number)


@router.post("/events", status_code=201, dependencies=[Depends(no_query)])
async def post_event(writer: Writer, response: Response, body: EventBody) -> EventView:
    """Tell what was done, now or some time ago; 201: it is on the disk."""
    writer.check_time(body.at)
    event = new_value(event_of, body, utc_ms=writer.stamp.utc_ms)
    book, changes = await writer.records.write(
        lambda book: add_event(book, event, writer.stamp)
    )
    view = event_view(book, changes[0].subject)
    warnings = _warnings(writer, book, event)
    if warnings:
        view["warnings"] = warnings
    response.headers["Location"] = view["href"]
    return view


@router.patch("/events/{number}", dependencies=[Depends(no_query)])
async def patch_event(writer: Writer, number: int, body: EventFields) -> EventView:
    """Correct an event: what is not told stays; what it was told before is kept."""
    subject = str(number)
    book, _ = await writer.records.write(
        lambda book: revise_event(
            book,
            subject,
            corrected(event_of, event_in(book, subject), body),
            writer.stamp,
        )
    )
    return event_view(book, subject, whole=True)


def _warnings(writer: Writer, book: Book, event: BenchEvent) -> list[str]:
    """Return what speaks against having moved containers about."""
    if event.kind not in (EventKind.TURNED, EventKind.SWAPPED, EventKind.MOVED):
        return []
    trays = dict.fromkeys((*event.trays, *writer.trays_on(event.mats)))
    return list(trial_warnings(trays, open_units(book)))


async def _shown(context: Context, number: int) -> EventView:
    book = await context.records.book()
    try:
        return event_view(book, str(number), whole=True)
    except NoSuchRecordError as error:
        raise ProblemError(404, quoted(str(error))) from None
