"""Routes that read the season log: temperatures, degree-hours, the journal.

What may live here: what is asked, bounded in range, and what is answered.
"""

from typing import Annotated

from api.context import (
    Context,
    ContextHere,
    LookHere,
    MatHere,
    TrayHere,
    kept_with_care,
)
from api.formats import utc_text
from api.heat_views import heat_view, kept_view
from api.moment import Moment
from api.problems import Fault, ProblemError
from api.queries import (
    LONGEST_DAYS,
    DegreeHoursQuery,
    KeptQuery,
    LogQuery,
    TemperaturesQuery,
    instant_ms,
)
from api.routing import Router
from api.season import Log, UnreadableError, reading
from api.shapes import (
    DegreeHoursView,
    HeatView,
    KeptView,
    LogView,
    TemperaturesView,
)
from api.thermal_views import Stretch, logged_degree_hours
from api.tray_views import live_degree_hours, mat_of
from api.views import log_view, probe_temperatures_view
from api.wants import Depends, Query
from controller.core.plan import TrayPlan
from controller.core.units import DAY_MS, HOUR_MS
from controller.review.degree_hours import NoSuchTrayError, recount
from controller.review.envelopes import bucket_width_ms
from controller.review.heat import heat_buckets
from controller.review.recounted import Recount, Span, Thresholds

router = Router()


@router.get("/trays/{tray}/temperatures", dependencies=[Depends(kept_with_care)])
async def get_temperatures(
    context: ContextHere,
    tray: TrayHere,
    asked: Annotated[TemperaturesQuery, Query()],
) -> TemperaturesView:
    """What a tray's probes read: least, mean and greatest in equal buckets."""
    from_ms, to_ms = _stretch(context, asked.from_, asked.to, DAY_MS)

    width_ms = bucket_width_ms(from_ms, to_ms, asked.points)

    def read(log: Log) -> TemperaturesView:
        return TemperaturesView(
            tray=tray.name,
            start=utc_text(from_ms),
            end=utc_text(to_ms),
            bucket_s=width_ms / 1000,
            empty_buckets="omitted",
            probes=[
                probe_temperatures_view(
                    probe.name, log.envelope(probe.name, from_ms, to_ms, asked.points)
                )
                for probe in tray.probes
            ],
        )

    return await reading(context, read)


@router.get("/trays/{tray}/degree-hours", dependencies=[Depends(kept_with_care)])
async def get_degree_hours(
    context: ContextHere,
    look: LookHere,
    tray: TrayHere,
    asked: Annotated[DegreeHoursQuery, Query()],
) -> DegreeHoursView:
    """Thermal time of a tray, with its base; the log has more than the counter.

    Other bases and stretches of time, the list of gaps and the days come from
    the log. Without any of them asked for, the live counter answers.
    """
    thresholds = _thresholds(tray, asked)
    live = thresholds == Thresholds(tray.base_mc, tray.upper_mc)
    if live and asked.from_ is None and asked.to is None and not asked.days:
        return live_degree_hours(look, tray)
    from_ms, to_ms = _stretch(context, asked.from_, asked.to, LONGEST_DAYS * DAY_MS)
    span = Span(from_ms, to_ms, newest_utc_ms=to_ms)
    counted = await reading(
        context, lambda log: _recount(log, tray.name, thresholds, span)
    )
    stretch = Stretch(from_ms, to_ms, asked.days, asked.cutoff)
    return logged_degree_hours(look, tray, counted, stretch)


@router.get("/mats/{mat}/heat")
async def get_heat(
    context: ContextHere, mat: MatHere, asked: Annotated[TemperaturesQuery, Query()]
) -> HeatView:
    """How much of the time a mat was told to be on, and its setpoint, in buckets."""
    from_ms, to_ms = _stretch(context, asked.from_, asked.to, DAY_MS)
    width_ms = bucket_width_ms(from_ms, to_ms, asked.points)

    def read(log: Log) -> HeatView:
        told = log.heated(mat.name, from_ms, to_ms)
        found = heat_buckets(told, from_ms, to_ms, width_ms)
        return heat_view(mat, (from_ms, to_ms, width_ms), found)

    return await reading(context, read)


@router.get("/trays/{tray}/kept")
async def get_kept(
    context: ContextHere,
    look: LookHere,
    tray: TrayHere,
    asked: Annotated[KeptQuery, Query()],
) -> KeptView:
    """In how many hours a tray was near to what was wanted of its mat."""
    default_ms = LONGEST_DAYS * DAY_MS
    from_ms, to_ms = _stretch(context, asked.from_, asked.to, default_ms)
    within_mk = round(asked.within_k * 1000)
    return await reading(
        context,
        lambda log: _kept(log, look, tray, (from_ms, to_ms), within_mk),
    )


def _kept(
    log: Log, look: Moment, tray: TrayPlan, span: tuple[int, int], within_mk: int
) -> KeptView:
    mat = mat_of(look, tray)
    hours = -(-(span[1] - span[0]) // HOUR_MS) + 1
    by_probe = [log.envelope(probe.name, *span, hours) for probe in tray.probes]
    told = iter(()) if mat is None else log.heated(mat.name, *span)
    heat = heat_buckets(told, *span, HOUR_MS)
    return kept_view(tray, span, (by_probe, heat), within_mk)


@router.get("/log", dependencies=[Depends(kept_with_care)])
async def get_log(
    context: ContextHere, _look: LookHere, asked: Annotated[LogQuery, Query()]
) -> LogView:
    """Changes, alarms, answers and refusals, oldest first."""
    return await reading(
        context,
        lambda reader: log_view(reader.journal(asked.after, asked.limit), asked.after),
    )


def _thresholds(tray: TrayPlan, asked: DegreeHoursQuery) -> Thresholds:
    """Return base and upper as asked for, which must count something."""
    base_mc: int = tray.base_mc if asked.base is None else round(asked.base * 1000)
    upper_mc: int | None = tray.upper_mc
    if asked.upper is not None:
        upper_mc = round(asked.upper * 1000)
    try:
        return Thresholds(base_mc, upper_mc)
    except ValueError:
        detail = f"upper must lie above base, here {base_mc / 1000:g} °C"
        found = f"{(upper_mc or 0) / 1000:g}"
        fault = Fault(detail=detail, parameter="upper", found=found)
        sentence = f"the query is not right: {detail}"
        raise ProblemError(400, sentence, faults=[fault]) from None


def _recount(log: Log, tray: str, thresholds: Thresholds, span: Span) -> Recount:
    try:
        return recount(log, tray, thresholds, span)
    except NoSuchTrayError:
        sentence = "the season log does not know this tray yet"
        raise ProblemError(503, sentence, headers={"Retry-After": "5"}) from None
    except ValueError as error:
        raise UnreadableError from error


def _stretch(
    context: Context, from_: str | None, to: str | None, default_ms: int
) -> tuple[int, int]:
    """Return the stretch of time that was asked for [ms], bounded."""
    to_ms = context.clock.now().utc_ms if to is None else instant_ms(to)
    from_ms = to_ms - default_ms if from_ is None else instant_ms(from_)
    detail = None
    if from_ms >= to_ms:
        detail = f"must lie before to, here {utc_text(to_ms)}"
    elif to_ms - from_ms > LONGEST_DAYS * DAY_MS:
        detail = f"must lie at most {LONGEST_DAYS} days before to"
    if detail is not None:
        fault = Fault(detail=detail, parameter="from", found=str(from_))
        raise ProblemError(
            400, f"the query is not right: from: {detail}", faults=[fault]
        )
    return from_ms, to_ms
