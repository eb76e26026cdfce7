"""`bottomheat demo`: an invented bench in one process, with nothing installed."""

import argparse
import asyncio
import sys
from collections.abc import AsyncIterator, Iterator
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.bench_on_mqtt import BenchOnMqtt
    from controller.adapters.settings import Settings
    from controller.core.plan import MatPlan, TrayPlan
    from controller.ports import Clock, Snapshot

FASTEST = 100
"""Faster, and leases and commits would lose their meaning."""

_DAY = date(2027, 2, 1)
_MINUTE = 9 * 60
_START_C = 16.0
_STEP_MS = 5_000

_LINES_EVERY_S = 2.0


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "demo",
        help="run a simulated bench: no hardware needed",
        description=(
            "Starts a broker of its own, an invented bench of two mats and five"
            " trays with simulated media, the controller, its page and JSON API, all in"
            " this process and on this machine only. The bench's day begins at"
            " 09:00 with media at 16 °C, with invented batches that were told of in"
            " the weeks before. Ctrl-C ends it with the mats off; what it logged is"
            " thrown away."
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

    from controller.cli.extras import missing

    problem = missing("demo", "the demo", "amqtt", "numpy")
    if problem:
        print(f"bottomheat demo: {problem}", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="bottomheat-demo-") as folder:
        return asyncio.run(_demo(args, Path(folder)))


async def _demo(args: argparse.Namespace, folder: Path) -> int:
    from controller.adapters.bench_on_mqtt import BenchOnMqtt
    from controller.adapters.broker import embedded_broker
    from controller.adapters.clocks import FastClock, utc_ms_of
    from controller.adapters.season_log import SeasonLogWriter
    from controller.cli.beginning import beginning
    from controller.cli.live import (
        Silent,
        Stage,
        daemon_on,
        run_with_api,
        stopped_by_signals,
    )
    from controller.endings import causes, say
    from sim.world import World, WorldOptions

    async with embedded_broker() as broker_port, stopped_by_signals() as stop:
        settings = _settings(folder, args.port, broker_port)
        zone = settings.timezone
        clock = FastClock(args.speed, utc_ms_of(_DAY, _MINUTE, zone), zone)
        options = WorldOptions(start_minute_of_day=_MINUTE, start_temp_c=_START_C)
        world = World(settings.plan, options)
        bench = BenchOnMqtt(world, settings.wiring, clock, step_ms=_STEP_MS)
        log = SeasonLogWriter(settings.log.path)
        answers: asyncio.Future[int] = asyncio.get_running_loop().create_future()
        stage = Stage(
            settings=settings,
            clock=clock,
            begun=beginning(settings.log.path, settings.plan, clock.now(), {}),
            log=log,
            sources=[],
            watchdog=Silent(),
            on_api=partial(_where, answers, broker_port, args.speed),
        )
        daemon = daemon_on(stage)
        if args.once is not None:
            asyncio.get_running_loop().call_later(args.once, stop.set)
        try:
            async with asyncio.TaskGroup() as group:
                beside = [
                    group.create_task(bench.serve()),
                    group.create_task(_show(daemon.subscribe(), args.speed)),
                    group.create_task(_tell(answers, daemon.subscribe(), clock)),
                ]
                await run_with_api(stage, daemon, stop)
                off = await _all_off(bench, clock)
                for task in beside:
                    task.cancel()
        except ExceptionGroup as error:
            for cause in causes(error):
                say(f"bottomheat demo: {cause}; every mat was told to switch off")
            return 3
        _sum_up(daemon.snapshot(), off=off)
    return 0 if off else 3


def _settings(folder: Path, port: int, broker_port: int) -> "Settings":
    """Return the invented bench, on a broker and a log of the demo's own."""
    from dataclasses import replace

    from controller.adapters.settings import load
    from controller.cli.paths import config_dir
    from controller.wiring import BrokerWire

    settings = load(config_dir() / "bench.toml", {})
    broker = BrokerWire(host="127.0.0.1", port=broker_port, embedded=True)
    return replace(
        settings,
        wiring=replace(settings.wiring, broker=broker),
        log=replace(settings.log, path=folder / "season.db"),
        api=replace(settings.api, host="127.0.0.1", port=port),
    )


def _where(
    answers: asyncio.Future[int], broker_port: int, speed: float, port: int
) -> None:
    """Say where to look; answers gets the port of the API."""
    answers.set_result(port)
    print(
        "An invented bench and invented batches, simulated: no hardware is touched.\n"
        f"  look at  http://127.0.0.1:{port}/  (as data: /v1/bench; in a terminal:"
        f" bottomheat trays --url http://127.0.0.1:{port})\n"
        f"  listen   mqtt://127.0.0.1:{broker_port}  topics lean-to/# bottomheat/#\n"
        f"  speed    {speed:g} bench seconds a second; Ctrl-C ends it, mats off\n",
        flush=True,
    )


async def _tell(
    answers: asyncio.Future[int], snapshots: AsyncIterator["Snapshot"], clock: "Clock"
) -> None:
    """Tell the bench of batches of the weeks before, once it has a first scan."""
    from controller.cli.demo_records import tell
    from controller.cli.over_http import AskError
    from controller.endings import say

    began_utc_ms = clock.now().utc_ms
    port = await answers
    await anext(snapshots)
    try:
        await asyncio.to_thread(tell, f"http://127.0.0.1:{port}", began_utc_ms)
    except AskError as error:
        say(f"bottomheat demo: its invented batches are not all there: {error}")


async def _show(snapshots: AsyncIterator["Snapshot"], speed: float) -> None:
    """Print a line for each tray every few real seconds, for ever."""
    shown_ms: int | None = None
    async for snapshot in snapshots:
        now_ms = snapshot.scan.run_ms
        if shown_ms is None or now_ms - shown_ms >= _LINES_EVERY_S * 1000 * speed:
            shown_ms = now_ms
            print("\n".join(_lines(snapshot)) + "\n", flush=True)


async def _all_off(bench: "BenchOnMqtt", clock: "Clock") -> bool:
    """Wait a lease's time at most until every simulated relay is off."""
    until_ms = clock.now().run_ms + 20_000
    while any(bench.energised().values()):
        now_ms = clock.now().run_ms
        if now_ms >= until_ms:
            return False
        await clock.sleep_until(now_ms + 500)
    return True


def _lines(snapshot: "Snapshot") -> Iterator[str]:
    """Yield the bench now: a line for each tray, and what its mat does."""
    from controller.core.relays import on_time_ms

    state = snapshot.state
    hour, minute = divmod(snapshot.scan.local_minute, 60)
    commands = {command.mat: command for command in snapshot.decisions.commands}
    for mat in snapshot.plan.mats:
        heat = "heating" if commands[mat.name].energised else "off"
        on_min = on_time_ms(state.mats[mat.name].relay, state.run_ms) / 60_000
        for tray in mat.trays:
            yield (
                f"{hour:02}:{minute:02}  {_kept(snapshot, mat, tray)}  mat {mat.name}"
                f" {heat} ({commands[mat.name].cause.value}), {on_min:.0f} min so far"
            )


def _kept(snapshot: "Snapshot", mat: "MatPlan", tray: "TrayPlan") -> str:
    """Return a tray's temperature, setpoint and degree-hours, in words."""
    from controller.core.root_zone import tray_temp_mc
    from controller.core.setpoints import on_ramp
    from controller.core.units import celsius, kelvin_hours

    state = snapshot.state
    known, account = state.mats[mat.name], state.accounts[tray.name]
    wanted_mc = mat.programme[known.step].setpoint_mc
    if known.ramp is not None:
        wanted_mc = on_ramp(known.ramp, mat.ramp_mk_per_h, state.run_ms)
    temp_mc = tray_temp_mc(tray, state.probes, state.run_ms)
    temp = "no reading" if temp_mc is None else f"{celsius(temp_mc):.2f} °C"
    return (
        f"{tray.name:4} {temp:>10} of {celsius(wanted_mc):.1f} °C"
        f"  {kelvin_hours(account.heat_mk_ms):7.2f} K·h above"
        f" {celsius(account.base_mc):g} °C"
    )


def _sum_up(last: "Snapshot | None", *, off: bool) -> None:
    relays = "every relay is off" if off else "A RELAY IS STILL ON"
    if last is None:
        print(f"Ended before a first scan (all invented), {relays}.", flush=True)
    else:
        print("\n".join(_summary(last, relays)), flush=True)


def _summary(snapshot: "Snapshot", relays: str) -> Iterator[str]:
    """Yield what came of it."""
    state = snapshot.state
    minutes = (state.run_ms - state.started_ms) / 60_000
    yield f"After {minutes:.0f} bench minutes (all invented), {relays}:"
    for mat in snapshot.plan.mats:
        yield from (f"  {_kept(snapshot, mat, tray)}" for tray in mat.trays)
    alarms = (
        ", ".join(f"{a.kind.value} {a.subject}" for a in state.alarms if a.active)
        or "none"
    )
    yield f"Messages refused: {snapshot.refused}. Alarms: {alarms}."
