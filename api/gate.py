"""The gate: who asks, and whether they may change anything. Before any body is read.

Every request that is no mere reading needs a caller who may operate; whether a
route that reads wants a caller is the route's own part (context.reading_only), so
that no spelling of a path slips by. What may live here: that rule.
"""

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from api.callers import (
    CSRF_HEADER,
    Caller,
    Reception,
    csrf_agrees,
    nobody,
)
from api.problems import ProblemError, answer_to
from controller.ports import May

SESSION_PATH = "/v1/session"

_READS = frozenset({"GET", "HEAD", "OPTIONS"})

_SECRETS_IN_QUERY = ("token=", "access_token=", "bottomheat_session=", "api_key=")


class Gate:
    """ASGI middleware that knows who asks, and lets nobody operate who may not."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        reception: Reception = scope["app"].state.context.reception
        await reception.turn()
        try:
            _check_query(scope)
            caller = await reception.received(scope)
            _check_change(scope, caller)
        except ProblemError as error:
            await answer_to(error)(scope, receive, send)
            return
        state = {**scope.get("state", {}), "caller": caller}
        await self._app({**scope, "state": state}, receive, send)


def _check_query(scope: Scope) -> None:
    """Refuse secrets in an address, where they end in histories and logs."""
    query = scope.get("query_string", b"").decode("latin-1").lower()
    parts = query.split("&")
    if any(part.startswith(_SECRETS_IN_QUERY) for part in parts):
        raise ProblemError(
            400, "a token does not belong into an address: send it as a header"
        )


def _check_change(scope: Scope, caller: Caller | None) -> None:
    method, path = scope["method"], scope["path"]
    if method in _READS or (method == "POST" and path == SESSION_PATH):
        return
    if caller is None:
        raise nobody(path)
    headers = Headers(scope=scope)
    if caller.by == "session" and not csrf_agrees(caller, headers.get(CSRF_HEADER, "")):
        raise ProblemError(
            403, "X-CSRF-Token must be what GET /v1/session gives as csrf"
        )
    logs_out = method == "DELETE" and path == SESSION_PATH
    if caller.may is not May.OPERATE and not logs_out:
        words = 'Bearer realm="bottomheat", error="insufficient_scope"'
        raise ProblemError(
            403,
            f"the token {caller.name} may read, not operate",
            headers={"WWW-Authenticate": words},
        )
