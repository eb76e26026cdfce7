"""Errors as RFC 9457 application/problem+json, in one shape everywhere.

Members: type, title, status, detail, and errors where single places are at
fault: in a body by "pointer" (RFC 6901 as a URI fragment), in the address by
"parameter". What may live here: that shape, and how errors of the library
become it.
"""

import json
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import NotRequired
from urllib.parse import quote

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from typing_extensions import TypedDict

MEDIA_TYPE = "application/problem+json"

_LONGEST = 200
"""Characters of somebody else's text that an answer repeats."""


class Fault(TypedDict):
    """One place that is at fault."""

    detail: str
    pointer: NotRequired[str]
    parameter: NotRequired[str]
    found: NotRequired[str]
    allowed: NotRequired[str]


class Problem(TypedDict):
    """An error (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    errors: NotRequired[list[Fault]]


class ProblemError(HTTPException):
    """A request that is not granted.

    Attributes:
        faults: Single places that are at fault; may be empty.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        faults: Sequence[Fault] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(status, detail, headers)
        self.faults = tuple(faults)


def problem(
    status: int,
    detail: str,
    *,
    faults: Sequence[Fault] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return the answer to a request that is not granted."""
    body = Problem(
        type="about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
    )
    if faults:
        body["errors"] = list(faults)
    # Plain ASCII, so that no half of a surrogate pair can break the encoding.
    text = json.dumps(body, ensure_ascii=True, allow_nan=False)
    return Response(text, status, headers, media_type=MEDIA_TYPE)


def answer_to(error: ProblemError) -> Response:
    """Return the answer to a request that is not granted, from what says so."""
    return problem(
        error.status_code, error.detail, faults=error.faults, headers=error.headers
    )


def quoted(value: object) -> str:
    """Return somebody else's value as short printable text."""
    text = repr(value) if not isinstance(value, str) else value
    shown = "".join(c if c.isprintable() else "�" for c in text[: _LONGEST + 1])
    return shown if len(shown) <= _LONGEST else shown[:_LONGEST] + "…"


async def on_http_error(request: Request, error: Exception) -> Response:
    """Answer an error of the library's or our own."""
    if not isinstance(error, HTTPException):
        raise error
    if isinstance(error, ProblemError):
        return answer_to(error)
    detail = error.detail
    if error.status_code in _DETAILS:
        place = quoted(request.url.path)
        detail = _DETAILS[error.status_code].format(place=place)
    return problem(error.status_code, detail, headers=error.headers)


_DETAILS = {
    400: "the body cannot be read: it is not JSON in UTF-8",
    404: "there is nothing at {place}; GET /openapi.json lists what there is",
}
"""Sentences for errors that the library raises by itself."""


async def on_validation_error(_request: Request, error: Exception) -> Response:
    """Answer a body, a query or a path that does not have the right shape."""
    if not isinstance(error, RequestValidationError):
        raise error
    found = [_Found(item) for item in error.errors()]
    faults = [item.fault() for item in found]
    if any(item.where == "path" for item in found):
        return problem(404, "there is nothing under this name or number")
    if any(item.where == "query" for item in found):
        return problem(400, _summary("the query", faults), faults=faults)
    if any(item.kind == "json_invalid" for item in found):
        return problem(400, _summary("the body", faults), faults=faults)
    return problem(422, _summary("the body", faults), faults=faults)


async def on_any_error(_request: Request, _error: Exception) -> Response:
    """Answer a mistake of our own, without its inner parts."""
    return problem(500, "a mistake in this program; its own log says more")


def _summary(what: str, faults: Sequence[Fault]) -> str:
    places = ", ".join(
        f"{fault.get('parameter') or fault.get('pointer')}: {fault['detail']}"
        for fault in faults[:3]
    )
    return f"{what} is not right: {places}"


class _Found:
    """One error of pydantic's, as FastAPI passes it on."""

    def __init__(self, item: Mapping[str, object]) -> None:
        loc = item.get("loc")
        parts = tuple(loc) if isinstance(loc, Sequence) else ()
        self.kind = str(item.get("type"))
        self.where = str(parts[0]) if parts else ""
        self._rest = parts[1:]
        self._detail = str(item.get("msg"))
        self._item = item

    def fault(self) -> Fault:
        if self.kind == "json_invalid":
            reason = self._item.get("ctx")
            why = reason.get("error") if isinstance(reason, Mapping) else None
            at = self._rest[0] if self._rest else 0
            return Fault(detail=f"not JSON at character {at}: {why}", pointer="#")
        fault = Fault(detail=quoted(_plain(self._detail)))
        if self.where == "query":
            fault["parameter"] = quoted(".".join(map(str, self._rest)))
        else:
            fault["pointer"] = quoted("#" + "".join(map(_token, self._rest)))
        if self.kind not in {"missing", "extra_forbidden"}:
            fault["found"] = quoted(self._item.get("input"))
        return fault


def _plain(message: str) -> str:
    """Take pydantic's own words off a message that is ours already."""
    if message == "Extra inputs are not permitted":
        return "is not known here"
    return message.removeprefix("Value error, ")


def _token(part: object) -> str:
    """Return one token of a JSON Pointer in a URI fragment (RFC 6901, 3 and 6)."""
    token = str(part).replace("~", "~0").replace("/", "~1")
    return "/" + quote(token, safe="", errors="replace")
