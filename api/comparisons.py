"""The route of what a trial tells, which is worked out beside the daemon.

What may live here: from a question to what became of it.
"""

import logging
from functools import cache
from typing import Annotated

from pydantic import TypeAdapter, ValidationError
from starlette.responses import JSONResponse, Response

from api.comparison_shapes import ComparisonQuery, ComparisonView, WorkingView
from api.context import ContextHere
from api.problems import ProblemError, quoted
from api.routing import Router, Told
from api.wants import Query
from controller.ports import Compared, Comparison
from controller.records.book import NoSuchRecordError, trial_in

router = Router()

NOT_HERE = (
    "this bench compares no trials over HTTP, since no daemon writes its season log:"
    " use bottomheat trial compare"
)
SOON_S = 3

_logger = logging.getLogger("bottomheat.api")


@router.get(
    "/trials/{number}/comparison",
    answers={202: Told(WorkingView, "It is worked out: ask again")},
)
async def get_comparison(
    context: ContextHere, number: int, asked: Annotated[ComparisonQuery, Query()]
) -> ComparisonView | Response:
    """What a trial tells: shares, times and verdicts, by the calendar and by warmth.

    It is worked out in a process of its own, and kept until something more is told.
    202 says that it takes longer: ask again. 409: there is nothing to compare.
    """
    if asked.upper is not None and asked.base is None:
        raise ProblemError(400, "upper needs a base")
    book = await context.records.book()
    try:
        trial_in(book, str(number))
    except NoSuchRecordError as error:
        raise ProblemError(404, quoted(str(error))) from None
    if context.comparer is None:
        raise ProblemError(503, NOT_HERE)
    found = await context.comparer.compared(
        Comparison(
            trial=str(number),
            newest=book.newest,
            test=None if asked.test is None else asked.test.value,
            days=asked.days,
            base_c=asked.base,
            upper_c=asked.upper,
        )
    )
    return _answer(found)


def _answer(found: Compared) -> ComparisonView | Response:
    retry = {"Retry-After": str(SOON_S)}
    if found.working:
        view = WorkingView(status="working", words=found.working)
        return JSONResponse(view, 202, retry)
    if found.cannot:
        raise ProblemError(409, f"it cannot be compared: {found.cannot}")
    if found.failed:
        detail = f"it was not worked out: {found.failed}"
        raise ProblemError(503, detail, headers={"Retry-After": "60"})
    try:
        return _view().validate_python(found.result)
    except ValidationError as error:
        _logger.warning("a comparison has another shape: %s", error)
        raise ProblemError(503, "what was worked out cannot be used") from None


@cache
def _view() -> TypeAdapter[ComparisonView]:
    """Return the shape, built when the first trial is compared."""
    return TypeAdapter(ComparisonView)
