"""`bottomheat simulate CONFIG`: a bench in virtual time, through the same core."""

import argparse
import json
import os
import sys
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict

from controller.adapters.clocks import utc_ms_of
from controller.adapters.season_log import DirectSeasonLog
from controller.adapters.settings import Settings, load
from controller.cli.beginning import run_header
from controller.cli.extras import missing
from controller.cli.fault_file import load_faults
from controller.cli.local_time import LocalTime
from controller.cli.output import figure, table
from controller.cli.what_rang import what_rang
from controller.core.plan import DrivenBy, MatPlan, OnOff, Plan
from controller.core.relays import on_time_ms
from controller.core.state import State, fresh_state
from controller.core.units import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    MilliK,
    Millis,
    celsius,
    kelvin_hours,
    watt_hours,
)
from controller.ports import RunHeader
from sim.faults import Fault
from sim.kinds import SHAPES
from sim.tally import MatTally

if TYPE_CHECKING:
    from controller.cli.virtual_time import Outcome
    from sim.options import WorldOptions
    from sim.room import RoomTable
    from sim.world import World

FIRST_DAY = date(2027, 2, 1)
FIRST_MINUTE = 9 * 60
START_C = 16.0
"""Chosen: a late winter's morning, media as they come into a cold room."""

_MOST_DAYS = 400
_WIDE = 88

_MATS = (
    "mat",
    "kept by",
    "setpoint",
    "band",
    "in band",
    "full duty",
    "overshoot",
    "warm after",
    "energy",
    "switched on",
)
_TRAYS = ("tray", "kept by", "mean", "spread", "lowest", "highest", "degree-hours")
_FOOT = """\
True temperatures of the root zones, minute by minute from when each mat was first
warm; spread is one standard deviation. Hours at full duty, when the mat could do no
more, count as out of band if they are. Overshoot is that of the first twelve warm
hours. Energy, switchings and degree-hours are those of the whole time. The bench is
invented: no promise for yours."""


class KeptTray(TypedDict):
    """How a tray was kept, for JSON."""

    mean_c: float
    spread_k: float
    lowest_c: float
    highest_c: float
    degree_hours_k_h: float
    base_c: float


class KeptMat(TypedDict):
    """How a mat was kept, for JSON; None where it never was warm."""

    policy: str
    setpoint_c: float
    band_k: float
    in_band_percent: float | None
    full_duty_h: int
    overshoot_k: float | None
    warm_after_h: float | None
    energy_kwh: float
    switched_on: int
    trays: dict[str, KeptTray]


Results = Mapping[str, Mapping[str, KeptMat]]
"""By who kept the bench, then by mat."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "simulate",
        help="run a bench in virtual time and write its season log",
        description=(
            "Puts the bench of a configuration on simulated mats, media and room,"
            " runs the same controller in virtual time, writes a season log, and"
            " prints how well each mat was kept. No broker, no hardware, no wait."
        ),
        epilog=_kinds(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("config", metavar="CONFIG", type=Path, help="the configuration")
    parser.add_argument(
        "--days", type=float, required=True, help="how long, in days of 24 hours"
    )
    parser.add_argument(
        "--out", metavar="LOG", type=Path, required=True, help="the log, a new file"
    )
    parser.add_argument("--seed", type=int, default=1, help="of weather and noise")
    parser.add_argument(
        "--room",
        metavar="CSV",
        type=Path,
        help=(
            "room temperatures by time for the day-and-night model, straight lines"
            " between, held at its ends; where its times are moments, the run begins"
            " at the first of them"
        ),
    )
    parser.add_argument(
        "--world",
        choices=("plain", "full"),
        default="plain",
        help=(
            "plain: media as drained, a steady evaporation (the usual); full: media"
            " dry and are watered, surfaces breathe, the sun shines"
        ),
    )
    parser.add_argument(
        "--water",
        metavar="WHEN",
        action="append",
        default=[],
        help=(
            'as "every 3 days 08:00 6 mm 12 °C", or "N1, N2: every day 07:30 4 mm 15'
            ' °C"; more than once if need be; "never"'
        ),
    )
    parser.add_argument(
        "--faults",
        metavar="FILE",
        type=Path,
        help="what goes wrong and what people do, at which times: see below",
    )
    parser.add_argument(
        "--beside-thermostat",
        action="store_true",
        help=(
            "then run a plain one-probe on-off thermostat of 1 °C differential"
            " through the same weather and print both; its log is named"
            " .thermostat"
        ),
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def _kinds() -> str:
    """Return how faults are written, and each kind with what it can be told."""
    lines = [
        "A file of faults is TOML; times, sizes and temperatures with their units:",
        "",
        "  [[fault]]",
        '  at = "2 d 3 h"               # after the beginning, which is at 09:00',
        '  kind = "probe-slips-out"',
        '  probe = "S1"',
        '  lasts = "6 h"                # left out: as usual, else to the end',
        "",
        "Kinds, what they befall, and the keys that they may have:",
    ]
    for kind, shape in SHAPES.items():
        keys = [shape.about.value, "with" if shape.other else "", *shape.sizes]
        keys += [*shape.flags, "lasts" if shape.lasts else ""]
        said = ", ".join(key for key in keys if key)
        lines += ["", f"  {kind.value}" + (f" ({said})" if said else "")]
        lines += textwrap.wrap(
            shape.what, 74, initial_indent=" " * 4, subsequent_indent=" " * 4
        )
    return "\n".join(lines)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    problem = _problem(args) or missing("demo", "a simulated bench", "numpy")
    if problem:
        print(f"bottomheat simulate: {problem}", file=sys.stderr)
        return 2
    settings = load(args.config, os.environ)
    try:
        results, words, rang = _ran(args, settings)
    except _NoUseError as error:
        print(f"bottomheat simulate: {error}", file=sys.stderr)
        return 2
    said = "\n".join(textwrap.wrap(words, _WIDE))
    if args.json:
        print(said, file=sys.stderr)
        print(json.dumps(results, indent=2))
    else:
        print(f"{args.days:g} days, seed {args.seed}; logged in {args.out}\n")
        print(f"{said}\n")
        print("\n\n".join([*_in_words(results), rang]))
    return 0


def _ran(
    args: argparse.Namespace, settings: Settings
) -> tuple[dict[str, dict[str, KeptMat]], str, str]:
    """Let a bench run; return how it was kept, what was assumed and what rang."""
    from controller.cli.world_words import assumed, room_words  # bring numpy

    _refuse_less_than_a_scan(args.days, settings.plan)
    faults = load_faults(args.faults, settings.plan) if args.faults else ()
    runs = {"bottomheat": (settings.plan, args.out)}
    if args.beside_thermostat:
        runs["thermostat"] = plain_thermostat(settings.plan), _beside(args.out)
    room = None if args.room is None else _room(args.room)
    began_utc_ms = _began_utc_ms(room, settings.timezone)
    options = _world_options(args, settings, began_utc_ms)
    rung: dict[str, str] = {}
    results: dict[str, dict[str, KeptMat]] = {}
    for name, (plan, log) in runs.items():
        header = _header(settings, plan, began_utc_ms)
        loop = header, _world(args, plan, options)
        outcome = _run(args, settings, loop, log, faults)
        results[name] = {
            mat: _kept(tally, outcome.state) for mat, tally in outcome.tallies.items()
        }
        rung[name] = what_rang(outcome.rung, settings.display_unit)
    known = () if room is None else room_words(room, args.days * 24)
    return results, " ".join([assumed(options), *known]), rung["bottomheat"]


def _refuse_less_than_a_scan(days: float, plan: Plan) -> None:
    if days * DAY_MS < plan.scan_ms:
        scan_s = plan.scan_ms / SECOND_MS
        message = f"--days {days:g}: must be at least a scan, {scan_s:g} s"
        raise _NoUseError(message)


class _NoUseError(Exception):
    """A file is of no use for a simulation; the message says which and why."""


def _problem(args: argparse.Namespace) -> str | None:
    """Return what is wrong with the arguments; None: nothing."""
    if not 0 < args.days <= _MOST_DAYS:
        return f"--days {args.days:g}: must be above 0 and at most {_MOST_DAYS}"
    if args.seed < 0:
        return f"--seed {args.seed}: must be 0 or more"
    outs = [args.out, _beside(args.out)] if args.beside_thermostat else [args.out]
    for path in outs:
        if path.exists():
            return f"--out {path}: is there already; name a new file"
    return None


def _beside(out: Path) -> Path:
    return out.with_name(f"{out.stem}.thermostat{out.suffix}")


def plain_thermostat(plan: Plan) -> Plan:
    """Return a plan that keeps each mat as one probe on a thermostat would.

    On-off with a differential of 1 °C, no minimum times, no ramp, driven by
    one tray: the one that drives the mat anyway, or its first with a probe.
    """
    return replace(plan, mats=tuple(_plain(mat) for mat in plan.mats))


def _plain(mat: MatPlan) -> MatPlan:
    first = next((tray.name for tray in mat.trays if tray.probes), None)
    return replace(
        mat,
        policy=OnOff(MilliK(1_000)),
        driven_by=DrivenBy.TRAY if first else mat.driven_by,
        driving_tray=mat.driving_tray or first,
        min_on_ms=Millis(0),
        min_off_ms=Millis(0),
        ramp_mk_per_h=None,
    )


def _began_utc_ms(room: "RoomTable | None", timezone: str) -> int:
    """Return when a run begins [ms]: with its room's first moment, if that has any."""
    if room is None or room.starts is None:
        return utc_ms_of(FIRST_DAY, FIRST_MINUTE, timezone)
    return int(room.starts.timestamp()) // 60 * MINUTE_MS


def _world(args: argparse.Namespace, plan: Plan, options: "WorldOptions") -> "World":
    from sim.world import World  # brings numpy

    try:
        return World(plan, options)
    except ValueError as error:
        message = f"{args.config}: {error}"
        raise _NoUseError(message) from error


def _header(settings: Settings, plan: Plan, began_utc_ms: int) -> RunHeader:
    started = LocalTime(settings.timezone).instant(0, began_utc_ms)
    return run_header("simulate", plan, fresh_state(plan), started, settings.timezone)


def _run(
    args: argparse.Namespace,
    settings: Settings,
    loop: "tuple[RunHeader, World]",
    path: Path,
    faults: "tuple[Fault, ...]",
) -> "Outcome":
    """Run a plan through the seed's weather."""
    from controller.cli.virtual_time import simulated  # brings numpy

    log = DirectSeasonLog(path, fold_after_ms=settings.log.fold_after_ms)
    try:
        return simulated(*loop, log, round(args.days * DAY_MS), faults)
    finally:
        log.close()


def _world_options(
    args: argparse.Namespace, settings: Settings, began_utc_ms: int
) -> "WorldOptions":
    """Return what the world is like."""
    from controller.cli.world_words import world_options  # brings numpy
    from sim.making import waterings
    from sim.options import WorldOptions

    common = WorldOptions(
        seed=args.seed,
        start_minute_of_day=LocalTime(settings.timezone).at(began_utc_ms)[1],
        start_temp_c=START_C,
        room_csv=None if args.room is None else _text(args.room),
    )
    try:
        options = world_options(args.world, args.water, common)
        waterings(settings.plan, options)
    except ValueError as error:
        message = f"--water: {error}"
        raise _NoUseError(message) from error
    return options


def _room(path: Path) -> "RoomTable":
    """Return a table of room temperatures."""
    from sim.room import room_table  # brings numpy

    try:
        return room_table(_text(path))
    except ValueError as error:
        message = f"{path}: {error}"
        raise _NoUseError(message) from error


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8-sig")


def _kept(tally: MatTally, state: State) -> KeptMat:
    relay = state.mats[tally.plan.name].relay
    on_ms = on_time_ms(relay, state.run_ms)
    return KeptMat(
        policy=tally.plan.policy.kind,
        setpoint_c=celsius(tally.plan.programme[0].setpoint_mc),
        band_k=tally.tolerance_k(),
        in_band_percent=100 * tally.within / tally.minutes if tally.minutes else None,
        full_duty_h=tally.full_hours,
        overshoot_k=tally.overshoot_k if tally.minutes else None,
        warm_after_h=None if tally.warm_ms is None else tally.warm_ms / HOUR_MS,
        energy_kwh=watt_hours(tally.plan.power_mw, on_ms) / 1000,
        switched_on=relay.operations,
        trays={name: _kept_tray(tally, state, name) for name in tally.trays},
    )


def _kept_tray(tally: MatTally, state: State, name: str) -> KeptTray:
    spread, account = tally.trays[name], state.accounts[name]
    return KeptTray(
        mean_c=spread.mean(),
        spread_k=spread.deviation(),
        lowest_c=spread.lowest,
        highest_c=spread.highest,
        degree_hours_k_h=kelvin_hours(account.heat_mk_ms),
        base_c=celsius(account.base_mc),
    )


def _in_words(results: Results) -> Iterator[str]:
    mats = [
        (mat, name, kept[mat])
        for mat in next(iter(results.values()))
        for name, kept in results.items()
    ]
    trays = [
        (tray, name, kept[mat]["trays"][tray])
        for mat, first in next(iter(results.values())).items()
        for tray in first["trays"]
        for name, kept in results.items()
        if tray in kept[mat]["trays"]
    ]
    yield table(_MATS, [_mat_row(*row) for row in mats])
    yield table(_TRAYS, [_tray_row(*row) for row in trays])
    yield _FOOT


def _mat_row(name: str, keeper: str, kept: KeptMat) -> tuple[str, ...]:
    return (
        name,
        f"{keeper}, {kept['policy']}",
        figure(kept["setpoint_c"], 1, " °C"),
        f"±{kept['band_k']:g} K",
        figure(kept["in_band_percent"], 1, " %"),
        f"{kept['full_duty_h']} h",
        figure(kept["overshoot_k"], 2, " K"),
        figure(kept["warm_after_h"], 1, " h"),
        figure(kept["energy_kwh"], 1, " kWh"),
        str(kept["switched_on"]),
    )


def _tray_row(name: str, keeper: str, kept: KeptTray) -> tuple[str, ...]:
    return (
        name,
        keeper,
        figure(kept["mean_c"], 2, " °C"),
        figure(kept["spread_k"], 2, " K"),
        figure(kept["lowest_c"], 1, " °C"),
        figure(kept["highest_c"], 1, " °C"),
        f"{kept['degree_hours_k_h']:.0f} K·h over {kept['base_c']:g} °C",
    )
