"""Routes of advice: what to do next, from what was seen; a person decides.

What may live here: from a look at the bench and the book to advice.
"""

from api.advice_shapes import AdviceView, OneAdviceView
from api.advice_views import advice_view, one_advice_view
from api.context import ContextHere, LookHere, no_query
from api.problems import ProblemError, quoted
from api.routing import Router
from api.wants import Depends
from controller.records.book import NoSuchRecordError, batch_in
from controller.records.trial_units import open_units

router = Router(dependencies=[Depends(no_query)])


@router.get("/advice")
async def get_advice(context: ContextHere, look: LookHere) -> AdviceView:
    """What to do next with every open batch, and with containers and mats."""
    book = await context.records.book()
    return advice_view(look, book, open_units(book))


@router.get("/batches/{code}/advice")
async def get_batch_advice(
    context: ContextHere, look: LookHere, code: str
) -> OneAdviceView:
    """What to do next with one batch, its container and its mat."""
    book = await context.records.book()
    try:
        file = batch_in(book, code)
    except NoSuchRecordError as error:
        raise ProblemError(404, quoted(str(error))) from None
    return one_advice_view(look, book, file, open_units(book))
