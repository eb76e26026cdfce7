"""The shape of answers about what people saw and did.

Clients ignore keys that they do not know; new ones may come. What may live here:
names and types. How values come about is in record_views.
"""

from typing import NotRequired

from typing_extensions import TypedDict

from api.record_bodies import EventBody


class EventRevisionView(TypedDict):
    """An event as it was told at one time."""

    written_at: str
    written_by: str
    event: EventBody


class EventView(TypedDict):
    """What was done at the bench.

    given_ml is the water as told, or by weight. A corrected event has more than
    one revision; asked for alone, it comes with all of them. warnings come in the
    answer to what was told, such as of a trial that it blurs.
    """

    id: int
    href: str
    kind: str
    at: str
    who: str
    trays: list[str]
    mats: list[str]
    probes: list[str]
    water_ml: float | None
    weight_before_g: float | None
    weight_after_g: float | None
    given_ml: float | None
    photo: str
    text: str
    withdrawn: bool
    written_at: str
    written_by: str
    revisions: int
    history: NotRequired[list[EventRevisionView]]
    warnings: NotRequired[list[str]]


class EventsView(TypedDict):
    """Events in the order in which they happened; more: older ones are left out."""

    events: list[EventView]
    more: bool
