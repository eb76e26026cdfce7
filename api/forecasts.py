"""The route of the rooting forecast: what was last worked out, never anew.

What may live here: from what is kept to an answer.
"""

import logging

import anyio.to_thread
from pydantic import TypeAdapter, ValidationError

from api.context import Context, ContextHere, no_query
from api.forecast_shapes import ForecastFailureView, ForecastView
from api.formats import utc_text
from api.routing import Router
from api.wants import Depends
from controller.ports import ForecastKept

router = Router()

NOT_YET = "no forecast has been worked out yet: it is, soon after a start and daily"
NEVER_HERE = "this bench works out no forecast: it keeps no season log"

_VIEW: TypeAdapter[ForecastView] = TypeAdapter(ForecastView)
_logger = logging.getLogger("bottomheat.api")


@router.get("/forecast", dependencies=[Depends(no_query)])
async def get_forecast(context: ContextHere) -> ForecastView:
    """By when half of those of each open batch that will root have rooted.

    It is worked out once a day and after something was told of batches, in a process
    of its own; this is the last result, and says of when it is.
    """
    return await forecast_now(context)


async def forecast_now(context: Context) -> ForecastView:
    """Return the forecast as it is kept."""
    kept = context.forecast
    if kept is None:
        return ForecastView(at=None, batches=[], words=NEVER_HERE)
    return forecast_view(await anyio.to_thread.run_sync(kept))


def forecast_view(kept: ForecastKept) -> ForecastView:
    """Return what is kept, if it has the right shape, with a failure if there is."""
    view = ForecastView(at=None, batches=[], words=NOT_YET)
    if kept.result is not None:
        try:
            view = _VIEW.validate_python(kept.result)
        except ValidationError as error:
            _logger.warning("the kept forecast has another shape: %s", error)
            view["words"] = "what was kept of the forecast cannot be used"
    if kept.failed_utc_ms is not None:
        at = utc_text(kept.failed_utc_ms)
        view["failed"] = ForecastFailureView(at=at, why=kept.why_failed)
    return view
