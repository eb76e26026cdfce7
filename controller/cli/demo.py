"""`bottomheat demo`: an invented bench in one process, with nothing installed."""

import argparse
import asyncio
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.settings import Settings
    from controller.ports import Clock, Snapshot

FASTEST = 100
"""Faster, and leases and commits would lose their meaning."""

_DAY = date(2027, 2, 1)
_MINUTE = 9 * 60
_START_C = 16.0
_STEP_MS = 5_000

_LINE_EVERY_S = 2.0


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "demo",
        help="run a simulated bench: no hardware needed",
        description=(
            "Starts a broker of its own, an invented bench of two mats and five"
            " trays with simulated media, the controller and its JSON API, all in"
            " this process and on this machine only. The bench's day begins at"
            " 09:00 with media at 16 °C. Ctrl-C ends it with the mats off; what it"
            " logged is thrown away."
        ),
    )
    parser.add_argument("--port", type=_port, default=8000, help="of the API")
    parser.add_argument(
        "--speed",
        type=_speed,
        default=60.0,
        help=f"bench seconds for each real one, 1 to {FASTEST} (default: 60)",
    )
    parser.add_argument(
        "--once",
        type=_seconds,
        metavar="SECONDS",
        help="run for so many real seconds, print a summary and end",
    )


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65_535:  # noqa: PLR2004
        message = f"{text}: must be a port from 0 (any free one) to 65535"
        raise argparse.ArgumentTypeError(message)
    return int(text)


def _speed(text: str) -> float:
    return _number(text, 1, FASTEST)


def _seconds(text: str) -> float:
    return _number(text, 1, 86_400)


def _number(text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        message = f"{text}: must be a number from {low:g} to {high:g}"
        raise argparse.ArgumentTypeError(message)
    return value


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    import tempfile

    missing = _missing()
    if missing:
        print(
            f"bottomheat demo: {missing} is not installed; the demo needs the extra"
            " bottomheat[demo]",
            file=sys.stderr,
        )
        return 2
    with tempfile.TemporaryDirectory(prefix="bottomheat-demo-") as folder:
        return asyncio.run(_demo(args, Path(folder)))


def _missing() -> str | None:
    from importlib.util import find_spec

    return next((name for name in ("amqtt", "numpy") if find_spec(name) is None), None)


async def _demo(args: argparse.Namespace, folder: Path) -> int:
    from controller.adapters.bench_on_mqtt import BenchOnMqtt
    from controller.adapters.broker import embedded_broker
    from controller.adapters.clocks import FastClock, utc_ms_of
    from controller.adapters.season_log import SeasonLogWriter
    from controller.cli.beginning import beginning
    from controller.cli.live import (
        Silent,
        Stage,
        causes,
        daemon_on,
        run_with_api,
        say,
        stopped_by_signals,
    )
    from sim.world import World, WorldOptions

    async with embedded_broker() as broker_port, stopped_by_signals() as stop:
        settings = _settings(folder, args.port, broker_port)
        zone = settings.timezone
        clock = FastClock(args.speed, utc_ms_of(_DAY, _MINUTE, zone), zone)
        world = World(
            settings.plan,
            WorldOptions(start_minute_of_day=_MINUTE, start_temp_c=_START_C),
        )
        bench = BenchOnMqtt(world, settings.wiring, clock, step_ms=_STEP_MS)
        log = SeasonLogWriter(settings.log.path)
        stage = Stage(
            settings=settings,
            clock=clock,
            begun=beginning(settings.log.path, settings.plan, clock.now(), {}),
            log=log,
            sources=[],
            watchdog=Silent(),
            on_api=lambda port: _where(port, broker_port, args.speed),
        )
        daemon = daemon_on(stage)
        show = _Show(args.once, stop)
        try:
            async with asyncio.TaskGroup() as group:
                playing = group.create_task(bench.serve())
                showing = group.create_task(show.follow(daemon.subscribe(), stop))
                await run_with_api(stage, daemon, stop)
                showing.cancel()
                playing.cancel()
        except ExceptionGroup as error:
            for cause in causes(error):
                say(f"bottomheat demo: {cause}; every mat was told to switch off")
            return 3
        last = daemon.snapshot()
        if last is not None:
            print("\n".join(_summary(last)), flush=True)
    return 0
