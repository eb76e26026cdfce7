"""Routes of a browser's session: log in with a token, ask who one is, log out.

The token comes in a body, never in an address. What may live here: those routes
and the cookie.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from api.callers import COOKIE, address_of, cookie_in
from api.context import CallerHere, ReceptionHere, no_query
from api.problems import ProblemError
from api.routing import Router
from api.shapes import SessionView
from api.wants import Depends

router = Router(dependencies=[Depends(no_query)])

_LASTS_S = 200 * 86_400
"""As long as a session is kept; a revoked token ends it at once."""


class SessionBody(BaseModel):
    """What is shown to be let in."""

    model_config = ConfigDict(extra="forbid", strict=True)

    token: Annotated[str, Field(min_length=1, max_length=200)]


@router.post("/session", status_code=204)
async def post_session(
    request: Request, response: Response, reception: ReceptionHere, body: SessionBody
) -> None:
    """Log in: show a token, get a cookie that lasts for a season."""
    access = reception.access
    if access is None:
        raise ProblemError(409, "no token is asked for here: go in")
    address = address_of(request.scope)
    holder = await reception.admitted(body.token, address)
    before = cookie_in(request.headers)
    if before is not None:
        await access.close_session(before)
    secret = await access.open_session(holder)
    _set_cookie(request, response, secret, _LASTS_S)


@router.get("/session")
async def get_session(response: Response, caller: CallerHere) -> SessionView:
    """Who one is, and what a page must send as X-CSRF-Token with each change."""
    response.headers["Cache-Control"] = "no-store"
    return SessionView(name=caller.name, may=caller.may.value, csrf=caller.csrf)


@router.delete("/session", status_code=204)
async def delete_session(
    request: Request, response: Response, reception: ReceptionHere, _caller: CallerHere
) -> None:
    """Log out."""
    access, secret = reception.access, cookie_in(request.headers)
    if access is not None and secret is not None:
        await access.close_session(secret)
    _set_cookie(request, response, "", 0)


def _set_cookie(
    request: Request, response: Response, secret: str, lasts_s: int
) -> None:
    response.set_cookie(
        COOKIE,
        secret,
        max_age=lasts_s,
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )
