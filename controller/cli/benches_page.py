"""The page of many benches, served: from what is known of each to what is shown.

What may live here: that, and its beginning and end. The page itself is in
api/benches_page/, the looking in benches_watch.
"""

import argparse
import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING

from api.benches_app import create_benches_app
from api.benches_shapes import BenchesView, FarAlarm, FarBench, FarDue, FarMat, FarTray
from api.server import ListenError, serve
from controller.adapters.clocks import SystemClock
from controller.adapters.settings import ApiSettings, api_of
from controller.cli.bench_list import PORT, Asked
from controller.cli.bench_told import Told
from controller.cli.benches_watch import Seen, Watch
from controller.cli.entrance import (
    access_beside,
    address_of,
    entrance_worries,
    listen_for,
    reach_of,
)
from controller.cli.live import stopped_by_signals
from controller.endings import Stopped, causes, for_ever, say, until, warn

if TYPE_CHECKING:
    from controller.adapters.access import FileAccess

ENDED_BY_ITSELF = 3


def served(args: argparse.Namespace, benches: Sequence[Asked], api: object) -> int:
    """Serve the page until told to stop; return the exit status.

    Args:
        args: Of the command.
        benches: The benches.
        api: What the list has as [api].

    Raises:
        AccessError: Others could reach it, and there is no token.
        SettingsError: [api] is wrong.
    """
    source = "" if args.list is None else str(args.list)
    at = api_of(api, source, PORT)
    access = None
    if args.list is not None:
        access = access_beside(
            args.list,
            at,
            "UTC",
            say,
            harm="could look at your benches",
            make=f"bottomheat token add NAME --may read --list {args.list}",
        )
        for sentence in entrance_worries(at, access):
            warn(f"bottomheat benches: {sentence}")
    return asyncio.run(_served(args, benches, at, access))


async def _served(
    args: argparse.Namespace,
    benches: Sequence[Asked],
    at: ApiSettings,
    access: "FileAccess | None",
) -> int:
    clock = SystemClock("UTC")
    watch = Watch(
        benches,
        clock,
        at_once=args.at_once,
        within_s=args.within,
        stale_s=args.stale,
        every_s=args.every,
    )
    app = create_benches_app(
        lambda: benches_view(watch.seen(), args.every), clock, access, reach_of(at)
    )

    def ready(port: int) -> None:
        count = "the bench" if len(benches) == 1 else f"{len(benches)} benches"
        say(f"{count}: {address_of(at, port)}/ (as data: /v1/benches)")

    async def listening() -> None:
        await serve(app, listen_for(at, access), ready)

    parts = {"the page": listening, "the looking": watch.serve}
    if access is not None:
        parts["the tokens"] = access.serve
    try:
        async with stopped_by_signals() as stop, asyncio.TaskGroup() as group:
            for what, part in parts.items():
                group.create_task(for_ever(part, what))
            group.create_task(until(stop))
    except ExceptionGroup as ends:
        if ends.subgroup(Stopped):
            return 0
        for cause in causes(ends):
            warn(f"bottomheat benches: {cause}")
        return 2 if ends.subgroup(ListenError) else ENDED_BY_ITSELF
    return ENDED_BY_ITSELF


def benches_view(seen: Sequence[Seen], every_s: float) -> BenchesView:
    """Return what the page gets, what needs a person first.

    Args:
        seen: The benches, in the order of the list.
        every_s: How often each is asked [s].
    """
    numbered = sorted(enumerate(seen), key=lambda pair: pair[1].glance.order)
    return BenchesView(
        needed=sum(one.glance.needed for one in seen),
        every_s=every_s,
        benches=[_bench(number, one) for number, one in numbered],
    )


def _bench(number: int, seen: Seen) -> FarBench:
    glance, told = seen.glance, seen.glance.told
    return FarBench(
        key=number,
        name=glance.name,
        page=f"{seen.asked.page or seen.asked.url}/",
        state=glance.state,
        needed=glance.needed,
        what=glance.what,
        trouble=glance.trouble,
        silent_s=seen.silent_s,
        heard_s=seen.heard_s,
        scan_age_s=glance.scan_age_s,
        old=glance.old,
        unit=told.unit if told else "°C",
        trays=_trays(told),
        mats=_mats(told),
        alarms=_alarms(told),
        due=[FarDue(summary=one.summary, overdue=one.overdue) for one in glance.due],
        left_out=told.left_out if told else 0,
    )


def _trays(told: Told | None) -> list[FarTray]:
    return [
        FarTray(
            name=one.name,
            mat=one.mat,
            temp_c=one.temp_c,
            temp_text=one.temp_text,
            wanted_c=one.wanted_c,
            measured=one.measured,
        )
        for one in (told.trays if told else ())
    ]


def _mats(told: Told | None) -> list[FarMat]:
    return [
        FarMat(name=one.name, on=one.on, mode=one.mode, mode_text=one.mode_text)
        for one in (told.mats if told else ())
    ]


def _alarms(told: Told | None) -> list[FarAlarm]:
    return [
        FarAlarm(
            priority=one.priority,
            rings=one.rings,
            active=one.active,
            sentence=one.sentence,
        )
        for one in (told.alarms if told else ())
        if not one.explained
    ]
