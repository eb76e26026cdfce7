"""Routes that show the bench as it is. History and control are beside this.

What may live here: from a look at the bench to a view of it.
"""

from contextlib import suppress

from api import (
    advice,
    batches,
    comparisons,
    control,
    events,
    forecasts,
    history,
    live_route,
    look_rows,
    page_files,
    photos,
    plants,
    reminders,
    sessions,
    trials,
    varieties,
)
from api.batch_views import tray_batches
from api.context import (
    ContextHere,
    LookHere,
    MatHere,
    TrayHere,
    no_query,
    reading_only,
)
from api.mat_views import mat_view, why_view
from api.moment import moment
from api.problems import ProblemError
from api.routing import Router
from api.shapes import (
    AlarmsView,
    BenchView,
    HealthView,
    MatsView,
    MatView,
    PointerView,
    ProbedView,
    TraysView,
    TrayView,
    WhyView,
)
from api.tray_views import tray_view
from api.views import (
    alarms_view,
    bench_view,
    health_view,
    mats_view,
    not_ready,
    stalled,
    trays_view,
)
from api.wants import Depends

CAUTION = (
    "bottomheat is no safety device: have an independent thermal cut-out, an RCD or "
    "GFCI and a listed mat, follow the mat's instructions and local codes, and ask a "
    "licensed electrician."
)

root = Router()
_now = Router(dependencies=[Depends(no_query)])


@root.get("/v1", dependencies=[Depends(no_query)])
async def get_pointer() -> PointerView:
    """Where to look."""
    return PointerView(
        name="bottomheat", bench="/v1/bench", openapi="/openapi.json", caution=CAUTION
    )


@_now.get("/health")
async def get_health(look: LookHere) -> HealthView:
    """Whether scans go on, and what a person should look at."""
    sentence = stalled(look)
    if sentence is not None:
        raise ProblemError(503, sentence, headers={"Retry-After": "5"})
    return health_view(look)


@_now.get("/health/live")
async def get_alive(context: ContextHere) -> ProbedView:
    """Whether scans go on, or are yet to begin; else 503, and only a restart helps.

    Alarms and a broker that is away are no reason to restart anything.
    """
    snapshot = context.bench.snapshot()
    if snapshot is not None:
        sentence = stalled(moment(snapshot, context.clock.now()))
        if sentence is not None:
            raise ProblemError(503, sentence, headers={"Retry-After": "5"})
    return ProbedView(status="ok", reasons=[])


@_now.get("/health/ready")
async def get_ready(look: LookHere) -> ProbedView:
    """Whether the bench is being kept: else 503, and its detail gives the reasons."""
    reasons = list(not_ready(look))
    if reasons:
        raise ProblemError(503, "; ".join(reasons), headers={"Retry-After": "5"})
    return ProbedView(status="ok", reasons=[])


@_now.get("/bench")
async def get_bench(look: LookHere) -> BenchView:
    """The whole bench at its last finished scan."""
    return bench_view(look)


@_now.get("/trays")
async def get_trays(look: LookHere) -> TraysView:
    """Every tray."""
    return trays_view(look)


@_now.get("/trays/{tray}")
async def get_tray(context: ContextHere, look: LookHere, tray: TrayHere) -> TrayView:
    """One tray and its root zone now, with the batches that stand in it.

    Where records cannot be read, batches are left out.
    """
    view = tray_view(look, tray)
    with suppress(ProblemError):
        book = await context.records.book()
        view["batches"] = tray_batches(book, tray.name, context.clock.now().utc_ms)
    return view


@_now.get("/mats")
async def get_mats(look: LookHere) -> MatsView:
    """Every mat."""
    return mats_view(look)


@_now.get("/mats/{mat}")
async def get_mat(look: LookHere, mat: MatHere) -> MatView:
    """One mat."""
    return mat_view(look, mat)


@_now.get("/mats/{mat}/why")
async def get_why(look: LookHere, mat: MatHere) -> WhyView:
    """Why a mat is, or is not, heating, with the numbers that decided."""
    return why_view(look, mat)


@_now.get("/alarms")
async def get_alarms(look: LookHere) -> AlarmsView:
    """The active alarms."""
    return alarms_view(look)


root.include_router(page_files.router)

v1 = Router(prefix="/v1")
v1.include_router(sessions.router)
for _part in (
    _now,
    live_route.router,
    history.router,
    control.router,
    events.router,
    batches.router,
    look_rows.router,
    plants.router,
    photos.router,
    advice.router,
    reminders.router,
    varieties.router,
    forecasts.router,
    trials.router,
    comparisons.router,
):
    v1.include_router(_part, dependencies=[Depends(reading_only)])
