"""Routes that ask for something: each wish enters the next scan.

The core decides, not HTTP: the answer is 202 with a number, under which
/v1/requests tells what became of it. What is plainly out of bounds is refused
at once. What may live here: from bodies to wishes.
"""

from typing import Annotated

from starlette.requests import Request
from starlette.responses import Response

from api.context import (
    AlarmHere,
    Context,
    ContextHere,
    HeatedMat,
    LookHere,
    no_query,
    remember,
    retry_after,
    who_asks,
)
from api.moment import Moment
from api.problems import Fault, ProblemError
from api.queries import EmptyBody, EnabledBody, HoldBody, SetpointBody, ShelveBody
from api.routing import Router
from api.shapes import AcceptedView, RequestView
from api.wants import Body, Depends
from controller.core.plan import MatPlan
from controller.core.plan_rules import setpoint_problem
from controller.core.scan import (
    Acknowledge,
    Hold,
    NextStep,
    Reset,
    SetEnabled,
    SetSetpoint,
    Shelve,
    Wish,
)
from controller.core.units import MINUTE_MS, MilliC, Millis

router = Router(dependencies=[Depends(no_query)])

_FORGOTTEN_AFTER = 2
"""A wish enters the next scan: this many later, no answer is forgotten."""


class _Asker:
    """One client's way to the bench, made anew for each request."""

    def __init__(
        self, request: Request, response: Response, context: Context, look: Moment
    ) -> None:
        self._who = who_asks(request)
        self._response = response
        self._context = context
        self._look = look

    def ask(self, wish: Wish) -> AcceptedView:
        """Queue a wish for the next scan."""
        number = _queued(self._context, self._look, self._who, wish)
        href = f"/v1/requests/{number}"
        self._response.headers["Location"] = href
        return AcceptedView(request=number, href=href)


async def _asker(
    request: Request, response: Response, context: ContextHere, look: LookHere
) -> _Asker:
    return _Asker(request, response, context, look)


Asker = Annotated[_Asker, Depends(_asker)]


@router.put("/mats/{mat}/setpoint", status_code=202)
async def put_setpoint(
    asker: Asker, mat: HeatedMat, body: SetpointBody
) -> AcceptedView:
    """Keep a mat at another setpoint, for a while or until it is dropped."""
    setpoint_mc = MilliC(round(body.setpoint_c * 1000))
    _check_setpoint(mat, setpoint_mc)
    for_ms = None if body.for_s is None else Millis(round(body.for_s * 1000))
    return asker.ask(SetSetpoint(mat.name, setpoint_mc, for_ms))


@router.delete("/mats/{mat}/setpoint", status_code=202)
async def delete_setpoint(asker: Asker, mat: HeatedMat) -> AcceptedView:
    """Let a mat follow its programme again."""
    return asker.ask(SetSetpoint(mat.name, None))


@router.put("/mats/{mat}/enabled", status_code=202)
async def put_enabled(asker: Asker, mat: HeatedMat, body: EnabledBody) -> AcceptedView:
    """Switch a mat's heating off for good, or let it heat again."""
    return asker.ask(SetEnabled(mat.name, body.enabled))


@router.post("/mats/{mat}/reset", status_code=202)
async def post_reset(
    asker: Asker, mat: HeatedMat, _body: Annotated[EmptyBody | None, Body()] = None
) -> AcceptedView:
    """Unlock a mat that was locked off, or let it start without a season log."""
    return asker.ask(Reset(mat.name))


@router.post("/mats/{mat}/hold", status_code=202)
async def post_hold(
    asker: Asker, mat: HeatedMat, body: Annotated[HoldBody | None, Body()] = None
) -> AcceptedView:
    """Keep a mat cold while hands are on the bench: 15 minutes unless said."""
    minutes = (body or HoldBody.model_validate({})).for_min
    return asker.ask(Hold(mat.name, Millis(round(minutes * MINUTE_MS))))


@router.post("/mats/{mat}/step", status_code=202)
async def post_step(
    asker: Asker, mat: HeatedMat, _body: Annotated[EmptyBody | None, Body()] = None
) -> AcceptedView:
    """End the present step of a mat's programme."""
    return asker.ask(NextStep(mat.name))


@router.post("/alarms/{alarm}/acknowledge", status_code=202)
async def post_acknowledge(
    asker: Asker, alarm: AlarmHere, _body: Annotated[EmptyBody | None, Body()] = None
) -> AcceptedView:
    """Say that a person has seen an alarm: it rings no more until it comes anew."""
    return asker.ask(Acknowledge(alarm.kind.value, alarm.subject))


@router.post("/alarms/{alarm}/shelve", status_code=202)
async def post_shelve(
    asker: Asker, alarm: AlarmHere, body: Annotated[ShelveBody | None, Body()] = None
) -> AcceptedView:
    """Silence an alarm for a while: an hour unless said."""
    minutes = (body or ShelveBody.model_validate({})).for_min
    for_ms = Millis(round(minutes * MINUTE_MS))
    return asker.ask(Shelve(alarm.kind.value, alarm.subject, for_ms))


@router.get("/requests/{number}")
async def get_request(context: ContextHere, look: LookHere, number: int) -> RequestView:
    """What became of a wish."""
    answer = context.bench.answer(number)
    if answer is not None:
        return RequestView(
            request=number,
            status="accepted" if answer.accepted else "refused",
            sentence=answer.sentence,
        )
    asked_in = context.asked.get(number)
    if asked_in is None:
        raise ProblemError(404, "nobody asked for anything under this number")
    if look.snapshot.scan.seq > asked_in + _FORGOTTEN_AFTER:
        raise ProblemError(404, "what became of this wish is no longer remembered")
    return RequestView(
        request=number, status="waiting", sentence="the next scan decides"
    )


def _check_setpoint(mat: MatPlan, setpoint_mc: MilliC) -> None:
    broken = setpoint_problem(mat, setpoint_mc)
    if broken is not None:
        fault = Fault(
            detail=str(broken),
            pointer="#/setpoint_c",
            found=broken.found,
            allowed=broken.allowed,
        )
        raise ProblemError(422, str(broken), faults=[fault])


def _queued(context: Context, look: Moment, who: str, wish: Wish) -> int:
    try:
        number = context.bench.request(who, wish)
    except OverflowError:
        raise ProblemError(
            429,
            "too many wishes wait for the next scan",
            headers=retry_after(look),
        ) from None
    remember(context, number, look.snapshot.scan.seq)
    return number
