"""Routes of trials: planned, shown, corrected.

An answer of 201 means that it is on the disk. What may live here: from bodies to
changes. Comparing arms takes longer than a request may, and is done elsewhere.
"""

from typing import Annotated

from starlette.responses import Response

from api.context import ContextHere, LookHere, no_query
from api.problems import ProblemError, quoted
from api.record_values import corrected, new_value
from api.record_writer import Writer
from api.routing import Router
from api.trial_bodies import TrialBody, TrialFields, TrialsQuery
from api.trial_shapes import TrialFileView, TrialsView
from api.trial_views import trial_file_view, trials_view
from api.wants import Depends, Query
from controller.record_wire import trial_of
from controller.records.book import NoSuchRecordError, trial_in
from controller.records.trial_desk import add_trial, revise_trial

router = Router()
_told = Router(dependencies=[Depends(no_query)])


@router.get("/trials")
async def get_trials(
    context: ContextHere, _look: LookHere, asked: Annotated[TrialsQuery, Query()]
) -> TrialsView:
    """Trials, in the order in which they were told, and how their arms stand."""
    return trials_view(await context.records.book(), withdrawn=asked.withdrawn)


@_told.get("/trials/{number}")
async def get_trial(
    context: ContextHere, _look: LookHere, number: int
) -> TrialFileView:
    """All that is known of a trial: its plan, and what came of each unit."""
    book = await context.records.book()
    try:
        return trial_file_view(book, str(number))
    except NoSuchRecordError as error:
        raise ProblemError(404, quoted(str(error))) from None


@_told.post("/trials", status_code=201)
async def post_trial(
    writer: Writer, response: Response, body: TrialBody
) -> TrialFileView:
    """Store a plan, with the seed that shuffled it and the test that will decide."""
    trial = new_value(trial_of, body)
    book, changes = await writer.records.write(
        lambda book: add_trial(book, trial, writer.stamp)
    )
    view = trial_file_view(book, changes[0].subject)
    response.headers["Location"] = view["href"]
    return view


@_told.patch("/trials/{number}")
async def patch_trial(writer: Writer, number: int, body: TrialFields) -> TrialFileView:
    """Correct a plan, or say which batch was stuck into which unit."""
    subject = str(number)
    book, _ = await writer.records.write(
        lambda book: revise_trial(
            book,
            subject,
            corrected(trial_of, trial_in(book, subject), body),
            writer.stamp,
        )
    )
    return trial_file_view(book, subject)


router.include_router(_told)
