"""`bottomheat run`: the daemon on a real bench."""

import argparse
import asyncio
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.season_log import SeasonLogWriter
    from controller.adapters.settings import Settings
    from controller.core.state import Trip

ENDED_BY_ITSELF = 3
"""Exit status when a part of the daemon ended by itself."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "run",
        help="run the controller of a bench",
        description=(
            "Reads the probes of a bench, keeps its mats, logs every scan and serves"
            " the JSON API, until SIGTERM or Ctrl-C; the mats are off when it ends."
            " Exit 0: stopped; 2: configuration; 3: a part of it ended by itself."
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
    from controller.adapters.season_log import SeasonLogWriter, TripFile, trips_beside
    from controller.adapters.settings import load

    settings = load(args.config, os.environ)
    try:
        trips = TripFile(trips_beside(settings.log.path)).load()
    except ValueError as error:
        print(f"bottomheat run: {error}", file=sys.stderr)
        return 2
    log = SeasonLogWriter(
        settings.log.path, commit_every_ms=settings.log.commit_every_ms
    )
    try:
        return asyncio.run(_live(settings, log, trips))
    finally:
        log.close()


async def _live(
    settings: "Settings", log: "SeasonLogWriter", trips: "Mapping[str, Trip]"
) -> int:
    from controller.adapters.clocks import SystemClock
    from controller.adapters.one_wire import OneWire
    from controller.cli.beginning import beginning
    from controller.cli.live import (
        Silent,
        Stage,
        causes,
        daemon_on,
        own_broker,
        run_with_api,
        say,
        stopped_by_signals,
    )
    from controller.core.plan import all_probes

    plan, zone = settings.plan, settings.timezone
    begun = beginning(settings.log.path, plan, SystemClock(zone).now(), trips)
    clock = SystemClock(zone, begun.run_ms)
    here = {w.probe: w.one_wire for w in settings.wiring.probes if w.one_wire}
    every_ms = {probe.name: probe.every_ms for probe in all_probes(plan)}
    async with own_broker(settings) as wired:
        stage = Stage(
            settings=wired,
            clock=clock,
            begun=begun,
            log=log,
            sources=[OneWire(here, every_ms, clock)] if here else [],
            watchdog=Silent(),
            on_api=lambda port: say(
                f"bench {plan.bench}: http://{settings.api.host}:{port}/v1/bench"
            ),
        )
        try:
            async with stopped_by_signals() as stop:
                await run_with_api(stage, daemon_on(stage), stop)
        except ExceptionGroup as group:
            for cause in causes(group):
                say(f"bottomheat run: {cause}; every mat was told to switch off")
            return ENDED_BY_ITSELF
    return 0
