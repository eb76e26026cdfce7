"""What a request gives to the function of its route.

What must be given first is asked for in order, each function once; one that refuses
(by raising) ends it, and what does not have the right shape is gathered, so that an
answer names all of it. What may live here: from a request to arguments.
"""

import json
from collections.abc import Iterator

from pydantic import BaseModel, TypeAdapter, ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from api.problems import NOT_JSON, Unfit, UnfitError
from api.wants import Giver, PathPart, Shaped, Wants

_WHOLE = TypeAdapter(int)
_NOTHING = object()
"""A body of no bytes; one of null is None."""

_UNREADABLE = 400


async def given(wants: Wants, request: Request, answer: Response) -> dict[str, object]:
    """Return the arguments of a route's function.

    Args:
        wants: What it wants.
        request: The request.
        answer: Where functions write headers of the answer.

    Raises:
        UnfitError: Something does not have the right shape.
        HTTPException: The body cannot be read, or what is asked first refuses.
    """
    body = _NOTHING if wants.body is None else await _read(request)
    asked = _Asked(request, answer, body)
    found = await asked.arguments(wants)
    if asked.unfit:
        raise UnfitError(asked.unfit)
    return found


async def _read(request: Request) -> object:
    """Return what a body says, in JSON (RFC 8259)."""
    text = await request.body()
    if not text:
        return _NOTHING
    try:
        read: object = json.loads(text)
    except json.JSONDecodeError as error:
        detail = f"not JSON at character {error.pos}: {error.msg}"
        raise UnfitError([Unfit("body", (), NOT_JSON, detail)]) from None
    except (ValueError, RecursionError):
        # No UTF-8, a number of thousands of digits, brackets nested too deep.
        raise HTTPException(_UNREADABLE) from None
    return read


class _Asked:
    """One request while its arguments are gathered.

    Attributes:
        unfit: What does not have the right shape so far.
    """

    def __init__(self, request: Request, answer: Response, body: object) -> None:
        self._request, self._answer, self._body = request, answer, body
        self._known: dict[Giver, object] = {}
        self.unfit: list[Unfit] = []

    async def arguments(self, wants: Wants) -> dict[str, object]:
        """Return arguments; some are missing if something was unfit."""
        found: dict[str, object] = {}
        for name, needed in wants.first:
            known = needed.call in self._known or await self._learnt(needed)
            if known and name is not None:
                found[name] = self._known[needed.call]
        return found | dict(self._own(wants))

    async def _learnt(self, needed: Wants) -> bool:
        """Ask a function that must be asked first; whether it could be asked."""
        before = len(self.unfit)
        arguments = await self.arguments(needed)
        if len(self.unfit) > before:
            return False
        self._known[needed.call] = await needed.call(**arguments)
        return True

    def _own(self, wants: Wants) -> Iterator[tuple[str, object]]:
        """Yield what is taken from the request itself."""
        for part in wants.parts:
            yield part.name, self._part(part)
        for name, header in wants.headers:
            yield name, self._request.headers.get(header)
        if wants.query is not None:
            said = dict(self._request.query_params)
            yield wants.query.name, self._shaped(wants.query.model, said, "query")
        if wants.body is not None:
            yield wants.body.name, self._of_body(wants.body)
        if wants.request is not None:
            yield wants.request, self._request
        if wants.answer is not None:
            yield wants.answer, self._answer

    def _part(self, part: PathPart) -> object:
        text = self._request.path_params[part.name]
        if not part.whole:
            return text
        try:
            return _WHOLE.validate_python(text)
        except ValidationError as error:
            self._note(error, "path", part.name)
            return None

    def _of_body(self, wanted: Shaped) -> object:
        said = self._body
        if not wanted.needed and (said is _NOTHING or said is None):
            return None
        if said is _NOTHING:
            detail = "a body is needed, a JSON object"
            self.unfit.append(Unfit("body", (), "missing", detail))
            return None
        return self._shaped(wanted.model, said, "body")

    def _shaped(self, model: type[BaseModel], said: object, where: str) -> object:
        try:
            return model.model_validate(said)
        except ValidationError as error:
            self._note(error, where)
            return None

    def _note(self, error: ValidationError, where: str, *place: str) -> None:
        self.unfit += [
            Unfit(where, (*place, *one["loc"]), one["type"], one["msg"], one["input"])
            for one in error.errors(include_url=False, include_context=False)
        ]
