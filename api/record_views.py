"""What people saw and did, as the API shows it. Pure.

What may live here: from records to plain dicts. No requests.
"""

from api.formats import utc_text
from api.queries import instant_ms
from api.record_bodies import EventBody, EventsQuery
from api.record_shapes import EventRevisionView, EventsView, EventView
from api.record_values import as_body
from controller.records.book import Book, event_in, events
from controller.records.changes import Change, Kind
from controller.records.events import BenchEvent


def event_view(book: Book, number: str, *, whole: bool = False) -> EventView:
    """Return one event; whole: with all that it was told as before.

    Raises:
        NoSuchRecordError: There is none.
    """
    history = book.history(Kind.EVENT, number)
    event, first, last = event_in(book, number), history[0], history[-1]
    view = EventView(
        id=first.id,
        href=f"/v1/events/{first.id}",
        kind=event.kind.value,
        at=utc_text(event.utc_ms),
        who=event.who,
        trays=list(event.trays),
        mats=list(event.mats),
        probes=list(event.probes),
        water_ml=event.water_ml,
        weight_before_g=event.weight_before_g,
        weight_after_g=event.weight_after_g,
        given_ml=event.given_ml,
        photo=event.photo,
        text=event.text,
        withdrawn=event.withdrawn,
        written_at=utc_text(last.utc_ms),
        written_by=last.who,
        revisions=len(history),
    )
    if whole:
        view["history"] = [_revision(change) for change in history]
    return view


def _revision(change: Change) -> EventRevisionView:
    return EventRevisionView(
        written_at=utc_text(change.utc_ms),
        written_by=change.who,
        event=EventBody.model_validate(as_body(change.value)),
    )


def events_view(book: Book, asked: EventsQuery, mat: str | None) -> EventsView:
    """Return the events that were asked for.

    Args:
        book: The book.
        asked: Which ones.
        mat: The mat that the tray asked for stands on, if any.
    """
    found = [
        number
        for number, event in events(book, withdrawn=asked.withdrawn)
        if _is_asked(event, asked, mat)
    ]
    listed = found[-asked.limit :]
    return EventsView(
        events=[event_view(book, number) for number in listed],
        more=len(found) > len(listed),
    )


def _is_asked(event: BenchEvent, asked: EventsQuery, mat: str | None) -> bool:
    if asked.kind is not None and event.kind is not asked.kind:
        return False
    if asked.from_ is not None and event.utc_ms < instant_ms(asked.from_):
        return False
    if asked.to is not None and event.utc_ms >= instant_ms(asked.to):
        return False
    if asked.tray is None:
        return True
    return asked.tray in event.trays or mat in event.mats
