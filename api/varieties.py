"""Routes of varieties: what came of each, and what follows for next season.

What may live here: from the book to that answer.
"""

from datetime import UTC, datetime, timedelta
from typing import Annotated
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field

from api.context import ContextHere, LookHere
from api.moment import Moment
from api.queries import Instant3339, instant_ms
from api.routing import Router
from api.variety_shapes import (
    NextView,
    ResultRowView,
    ResultView,
    VarietiesView,
    VarietyView,
)
from api.wants import Query
from controller.records.book import BatchFile, batches
from controller.records.varieties import (
    SURETY,
    Next,
    Result,
    Row,
    Variety,
    area_mm2,
    varieties,
)

router = Router()

SPACING_MM = 50.0
"""Chosen: from cutting to cutting; small ones take less, leafy ones more."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MM2_PER_M2 = 1e6


class VarietiesQuery(BaseModel):
    """Which batches, and how sure next season shall be."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    from_: Instant3339 | None = Field(
        None, alias="from", description="stuck from then on; RFC 3339"
    )
    to: Instant3339 | None = Field(None, description="and before; RFC 3339")
    surety: float = Field(SURETY, gt=0, lt=1, description="of enough plants")
    spacing_mm: float = Field(SPACING_MM, gt=0, le=1000, description="between cuttings")


@router.get("/varieties")
async def get_varieties(
    context: ContextHere, look: LookHere, asked: Annotated[VarietiesQuery, Query()]
) -> VarietiesView:
    """What was wanted, stuck, rooted and alive of each variety, and what follows."""
    book = await context.records.book()
    zone = ZoneInfo(look.snapshot.timezone)
    files = [file for file in batches(book) if _is_asked(asked, file)]
    now_ms = context.clock.now().utc_ms
    found = varieties(files, now_ms, lambda ms: f"{_at(ms, zone):%Y-%m}", asked.surety)
    views = [_variety(one, asked.spacing_mm) for one in found]
    return VarietiesView(
        surety=asked.surety,
        spacing_mm=asked.spacing_mm,
        area_m2=round(sum(view["next"]["area_m2"] or 0 for view in views), 4),
        bench_m2=_bench_m2(look),
        varieties=views,
    )


def _at(utc_ms: int, zone: ZoneInfo) -> datetime:
    return (_EPOCH + timedelta(milliseconds=utc_ms)).astimezone(zone)


def _is_asked(asked: VarietiesQuery, file: BatchFile) -> bool:
    stuck_ms = file.batch.stuck_utc_ms
    if stuck_ms is None:
        return False
    begun = asked.from_ is None or stuck_ms >= instant_ms(asked.from_)
    return begun and (asked.to is None or stuck_ms < instant_ms(asked.to))


def _bench_m2(look: Moment) -> float:
    mats = look.snapshot.plan.mats
    return round(sum(mat.length_mm * mat.width_mm for mat in mats) / _MM2_PER_M2, 4)


def _variety(one: Variety, spacing_mm: float) -> VarietyView:
    return VarietyView(
        crop=one.crop,
        cultivar=one.cultivar,
        codes=list(one.codes),
        result=_result(one.result),
        by_medium=[_row(row) for row in one.by_medium],
        by_source=[_row(row) for row in one.by_source],
        by_month=[_row(row) for row in one.by_month],
        next=_next(one.next, spacing_mm),
    )


def _result(found: Result) -> ResultView:
    return ResultView(
        batches=found.batches,
        open=found.open,
        wanted=found.wanted,
        stuck=found.stuck,
        rooted=found.rooted.good,
        rooted_of=found.rooted.of,
        at_least=found.at_least,
        alive=found.alive.good,
        alive_of=found.alive.of,
        here=found.here,
    )


def _row(row: Row) -> ResultRowView:
    return ResultRowView(key=row.key, **_result(row.result))


def _next(found: Next, spacing_mm: float) -> NextView:
    stick = found.stick_widened
    area = None if stick is None else area_mm2(stick, spacing_mm) / _MM2_PER_M2
    return NextView(
        verdict=found.verdict.value,
        sentence=found.sentence,
        stick=found.stick,
        stick_widened=stick,
        give_away=found.give_away,
        area_m2=None if area is None else round(area, 4),
    )
