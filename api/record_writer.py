"""Who writes records, when, and about what bench.

What may live here: what routes that write records need of a request.
"""

from collections.abc import Iterable
from typing import Annotated

from starlette.requests import Request

from api.context import Context, ContextHere, LookHere, who_asks
from api.moment import Moment
from api.problems import ProblemError
from api.wants import Depends
from controller.core.plan import all_probes, all_trays
from controller.records.desk import Bench, Stamp


class _Writer:
    """One writer, made anew for each request.

    Attributes:
        records: Where to write.
        stamp: Who writes, and when.
    """

    def __init__(self, request: Request, context: Context, look: Moment) -> None:
        now = context.clock.now()
        self.records, self._plan = context.records, look.snapshot.plan
        self.stamp = Stamp(now.utc_ms, who_asks(request), _bench(look), now.clock_ok)

    def trays_on(self, mats: Iterable[str]) -> list[str]:
        """Return the trays that stand on some mats."""
        named = set(mats)
        on = (mat for mat in self._plan.mats if mat.name in named)
        return [tray.name for mat in on for tray in mat.trays]

    def check_time(self, told: str | None) -> None:
        """Refuse to take the present for a time when nobody knows the present."""
        if told is None and not self.stamp.clock_ok:
            detail = "the bench's clock is not known to be right: say when, with at"
            raise ProblemError(422, detail)


async def _writer(request: Request, context: ContextHere, look: LookHere) -> _Writer:
    return _Writer(request, context, look)


Writer = Annotated[_Writer, Depends(_writer)]


def _bench(look: Moment) -> Bench:
    plan = look.snapshot.plan
    return Bench(
        frozenset(tray.name for tray in all_trays(plan)),
        frozenset(mat.name for mat in plan.mats),
        frozenset(probe.name for probe in all_probes(plan)),
    )
