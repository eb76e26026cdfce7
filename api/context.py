"""What routes need of the world, and how they get at it.

What may live here: the context that the app carries, and the dependencies that
turn a request into a look at the bench, a tray or a mat. They never wait, and are
coroutines all the same: others would be run in threads, one after the other.
"""

import math
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated

from anyio import CapacityLimiter
from pydantic import BaseModel, ConfigDict
from starlette.requests import Request
from starlette.responses import Response

from api.callers import Caller, Reception, address_of, caller_of, nobody
from api.hours_memory import HoursMemory
from api.live import Feed
from api.mat_views import find_mat
from api.moment import Moment, moment
from api.problems import ProblemError, quoted
from api.record_book import Records
from api.tray_views import find_tray
from api.views import alarm_id
from api.wants import Depends, Query
from controller.core.plan import MatPlan, TrayPlan
from controller.core.state import Alarm
from controller.ports import Bench, Clock, Comparer, ForecastKept, SeasonReader

READERS = 2
"""Chosen: threads that may read the season log at once; control needs a core."""

WAITING_READERS = 8
"""Chosen: more than this many waiting readers are turned away."""

REMEMBERED = 1_000
"""Chosen: numbers of wishes that are still known to have been asked."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What is worked out beside the daemon, in processes of their own.

    Attributes:
        forecast: Tells the rooting forecast as it is kept, called in a thread;
            None: nobody works one out.
        comparer: Works out what trials tell; None: nobody does.
    """

    forecast: Callable[[], ForecastKept] | None = None
    comparer: Comparer | None = None


NOTHING_BESIDE = Beside()


@dataclass(frozen=True, slots=True)
class Context:
    """What the app carries.

    Attributes:
        bench: The running daemon.
        reader: Opens the season log for reading; None: there is none.
        clock: The present.
        limiter: Bounds the threads that read the season log.
        records: What people saw and did.
        hours: Thermal time of batches that was counted already.
        asked: The scan in which each wish was asked for, by its number.
        reception: Tells who asks.
        feed: The bench as it changes, for those who stay.
        forecast: Tells the rooting forecast as it is kept, called in a thread;
            None: nobody works one out.
        comparer: Works out what trials tell; None: nobody does.
    """

    bench: Bench
    reader: Callable[[], SeasonReader] | None
    clock: Clock
    limiter: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(READERS))
    records: Records = field(default_factory=lambda: Records(None, None))
    hours: HoursMemory = field(default_factory=HoursMemory)
    asked: OrderedDict[int, int] = field(default_factory=OrderedDict)
    reception: Reception = field(default_factory=lambda: Reception(None, lambda: 0))
    feed: Feed = field(default_factory=Feed)
    forecast: Callable[[], ForecastKept] | None = None
    comparer: Comparer | None = None


def remember(context: Context, request_id: int, scan: int) -> None:
    """Keep in mind that a wish was asked for; the oldest is forgotten."""
    context.asked[request_id] = scan
    while len(context.asked) > REMEMBERED:
        context.asked.popitem(last=False)


async def _context(request: Request) -> Context:
    context: Context = request.app.state.context
    return context


ContextHere = Annotated[Context, Depends(_context)]


async def _reception(request: Request) -> Reception:
    """Return who receives; every app of ours has one, whatever else it has."""
    reception: Reception = request.app.state.context.reception
    return reception


ReceptionHere = Annotated[Reception, Depends(_reception)]


async def _caller(request: Request) -> Caller:
    caller = caller_of(request.scope)
    if caller is None:
        raise nobody(request.url.path)
    return caller


CallerHere = Annotated[Caller, Depends(_caller)]


async def reading_only(_caller: CallerHere) -> None:
    """Refuse whoever is nobody; the gate has refused those who may not operate."""


async def kept_with_care(response: Response) -> None:
    """Let an answer that changes rarely be kept, and asked for anew by its ETag."""
    response.headers["Cache-Control"] = "private, no-cache"


class NoQuery(BaseModel):
    """A route that knows no query parameter; a mistyped one is an error."""

    model_config = ConfigDict(extra="forbid")


async def no_query(_query: Annotated[NoQuery, Query()]) -> None:
    """Refuse any query parameter."""


async def _look(context: ContextHere) -> Moment:
    snapshot = context.bench.snapshot()
    if snapshot is None:
        raise ProblemError(
            503,
            "the bench has not finished its first scan yet",
            headers={"Retry-After": "1"},
        )
    return moment(snapshot, context.clock.now())


LookHere = Annotated[Moment, Depends(_look)]


async def _tray(look: LookHere, tray: str) -> TrayPlan:
    found = find_tray(look, tray)
    if found is None:
        raise ProblemError(404, f"there is no tray {quoted(tray)}; see /v1/trays")
    return found


async def _mat(look: LookHere, mat: str) -> MatPlan:
    found = find_mat(look, mat)
    if found is None:
        raise ProblemError(404, f"there is no mat {quoted(mat)}; see /v1/mats")
    return found


async def _heated_mat(mat: Annotated[MatPlan, Depends(_mat)]) -> MatPlan:
    if mat.relay is None:
        detail = f"mat {mat.name} is only watched: it has no relay to command"
        raise ProblemError(409, detail)
    return mat


async def _alarm(look: LookHere, alarm: str) -> Alarm:
    found = [a for a in look.snapshot.state.alarms if alarm_id(a) == alarm]
    if not found:
        raise ProblemError(404, f"there is no alarm {quoted(alarm)}; see /v1/alarms")
    return found[0]


AlarmHere = Annotated[Alarm, Depends(_alarm)]
TrayHere = Annotated[TrayPlan, Depends(_tray)]
MatHere = Annotated[MatPlan, Depends(_mat)]
HeatedMat = Annotated[MatPlan, Depends(_heated_mat)]


def retry_after(look: Moment) -> dict[str, str]:
    """Return the header that says when the next scan takes wishes."""
    return {"Retry-After": str(math.ceil(look.snapshot.plan.scan_ms / 1000))}


def who_asks(request: Request) -> str:
    """Return who asks and from where, for the log."""
    caller = caller_of(request.scope)
    return f"nobody, from {address_of(request.scope)}" if caller is None else caller.who
