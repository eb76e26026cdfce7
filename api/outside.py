"""Routes for other programs: figures for collectors, a calendar to subscribe to.

Such programs may show a token as the password of HTTP Basic, since they can do
nothing else. What may live here: those routes.
"""

from starlette.requests import Request
from starlette.responses import Response

from api.calendar_views import bench_entries, written_at
from api.context import ContextHere, LookHere, no_query, reading_only
from api.forecasts import forecast_now
from api.metrics import MEDIA_TYPE as METRICS
from api.metrics import metrics_text
from api.routing import Router, Told
from api.wants import Depends
from controller.calendar import MEDIA_TYPE as CALENDAR
from controller.calendar import calendar_text

router = Router(dependencies=[Depends(reading_only), Depends(no_query)])


def _text(media_type: str) -> dict[int, Told]:
    return {200: Told({media_type: {"schema": {"type": "string"}}})}


@router.get("/metrics", answers=_text(METRICS))
async def get_metrics(
    request: Request, context: ContextHere, look: LookHere
) -> Response:
    """Figures of the bench as OpenMetrics 1.0.0."""
    version: str = request.app.version
    text = metrics_text(look, version, context.feed.streams)
    return Response(text, headers={"Content-Type": METRICS})


@router.get("/calendar.ics", answers=_text(CALENDAR))
async def get_calendar(context: ContextHere, look: LookHere) -> Response:
    """Steps to come, open batches, reminders and forecast windows, as iCalendar."""
    book, forecast = await context.records.book(), await forecast_now(context)
    name = f"Bench {look.snapshot.plan.bench}"
    entries = bench_entries(look, book, forecast)
    text = calendar_text(name, entries, written_at(look, book, forecast))
    headers = {"Content-Type": CALENDAR, "Cache-Control": "private, no-cache"}
    return Response(text, headers=headers)
