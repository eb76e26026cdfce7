"""`bottomheat run`: the daemon on a real bench."""

import argparse
import asyncio
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.access import FileAccess
    from controller.adapters.settings import Settings
    from controller.cli.opening import Opening

ENDED_BY_ITSELF = 3
"""Exit status when a part of the daemon ended by itself."""

ANOTHER_RUNS = 4
"""Exit status when an older controller keeps this bench on this broker: to be
started again at once would help nobody."""


BRINGING_UP_S = 1_800
"""Chosen: what a board may take to bring an older season log up to this version;
a service manager that waited less would kill it in the middle, again and again [s]."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "run",
        help="run the controller of a bench",
        description=(
            "Reads the probes of a bench, keeps its mats, logs every scan and serves"
            " the JSON API, until SIGTERM, SIGHUP or Ctrl-C; the mats are off when it"
            " ends. The configuration is read at the start only: a changed one is"
            " taken up by a new run. Exit 0: stopped; 2: configuration, or another"
            " daemon writes this season log; 3: a part of it ended by itself; 4:"
            " another controller keeps this bench on this broker."
        ),
    )
    parser.add_argument(
        "--config",
        type=Path,
        default=Path("config/bench.toml"),
        help="the configuration (default: %(default)s)",
    )


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.clocks import SystemClock
    from controller.adapters.season_log import TripFile, is_former, trips_beside
    from controller.adapters.settings import load
    from controller.adapters.watchdog import service_manager
    from controller.cli.entrance import access_of, entrance_worries
    from controller.cli.opening import opened
    from controller.endings import warn

    settings = load(args.config, os.environ)
    try:
        trips = TripFile(trips_beside(settings.log.path)).load()
    except ValueError as error:
        print(f"bottomheat run: {error}", file=sys.stderr)
        return 2
    if is_former(settings.log.path):
        text = f"brings {settings.log.path} up to this version"
        service_manager(os.environ).busy(text, BRINGING_UP_S)
        warn(f"bottomheat run: {text}; heat waits")
    access = access_of(settings, warn)
    for sentence in entrance_worries(settings.api, access):
        warn(f"bottomheat run: {sentence}")
    opening = opened(settings, SystemClock(settings.timezone).now(), trips, warn)
    try:
        return asyncio.run(_live(settings, opening, access))
    finally:
        opening.log.close()


async def _live(settings: "Settings", opening: "Opening", access: "FileAccess") -> int:
    from controller.adapters.clocks import SystemClock
    from controller.adapters.one_wire import OneWire
    from controller.adapters.watchdog import service_manager, watchdog_worries
    from controller.cli.entrance import address_of
    from controller.cli.live import (
        Stage,
        daemon_on,
        own_broker,
        run_with_api,
        stopped_by_signals,
    )
    from controller.core.plan import all_probes
    from controller.endings import causes, say, warn

    plan, zone = settings.plan, settings.timezone
    if opening.before:
        say(f"bottomheat run: {opening.before}")
    for sentence in (*opening.notes, *watchdog_worries(os.environ, plan.scan_ms)):
        warn(f"bottomheat run: {sentence}")
    clock = SystemClock(zone, opening.begun.run_ms)
    here = {w.probe: w.one_wire for w in settings.wiring.probes if w.one_wire}
    every_ms = {probe.name: probe.every_ms for probe in all_probes(plan)}
    async with own_broker(settings) as wired:
        stage = Stage(
            settings=wired,
            clock=clock,
            begun=opening.begun,
            log=opening.log,
            sources=[OneWire(here, every_ms, clock)] if here else [],
            watchdog=service_manager(os.environ),
            notes=opening.notes,
            access=access,
            on_api=lambda port: say(
                f"bench {plan.bench}: {address_of(settings.api, port)}/"
                " (as data: /v1/bench)"
            ),
        )
        try:
            async with stopped_by_signals() as stop:
                await run_with_api(stage, daemon_on(stage), stop)
        except ExceptionGroup as group:
            for cause in causes(group):
                warn(f"bottomheat run: {cause}; every mat was told to switch off")
            return _status(group)
    return 0


def _status(group: ExceptionGroup) -> int:
    from controller.adapters.presence import AnotherControllerError

    another = group.subgroup(AnotherControllerError) is not None
    return ANOTHER_RUNS if another else ENDED_BY_ITSELF
