"""`bottomheat check CONFIG`: is a configuration right, and what will happen?"""

import argparse
import json
import os
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.notify_words import told_in_words
from controller.cli.plan_words import bench_in_words, mat_in_words
from controller.cli.tabletop_words import tabletop_in_words, tabletop_worries
from controller.core.plan import MatPlan, RelayKind, all_trays

if TYPE_CHECKING:
    from controller.adapters.settings import Settings

CAUTIONS = (
    "This software is not a safety device. Keep an independent thermal cut-out"
    " between the mains and the mat: it must work without any computer.",
    "Your old thermostat, plugged in before the relay with its own probe in the"
    " medium, at about 30 °C (86 °F), is a good second limit.",
    "Feed the bench through an RCD (GFCI), with plugs and relays above splash"
    " height and drip loops in the cables.",
    "Use a listed heat mat made for wet places; do not fold, stack, cover or cut it.",
    "Follow the mat's instructions and your local codes; ask a licensed electrician.",
)
"""What is said of electricity, water and heat whenever a plan is shown."""


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "check",
        help="hold a configuration to its rules and say it in words",
        description=(
            "Reads a configuration and tells in words what will be kept, by what"
            " limits, and what cannot fail off. --live meets the bench itself: each"
            " probe is listened to, each relay told to switch off; broker, clock and"
            " disk are looked at. Exit 0: all well; 1: usable, but there is something"
            " to see to; 2: errors, each with its place."
        ),
    )
    parser.add_argument("config", metavar="CONFIG", type=Path, help="a TOML file")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument(
        "--live", action="store_true", help="meet probes, relays, broker and board"
    )
    parser.add_argument(
        "--for",
        dest="listen",
        metavar="TIME",
        help='how long --live listens, such as "2 min" (default: as the probes need)',
    )
    parser.add_argument(
        "--with-heat",
        action="store_true",
        help="--live also switches each relay on for a moment, when you say yes to it,"
        " and sees that it drops out by itself",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.notify import NotifyError
    from controller.adapters.settings import SettingsError, load
    from controller.cli.crop_files import crops_of

    try:
        settings = load(args.config, os.environ)
        told = tuple(told_in_words(settings, _addresses(settings)))
        crops = crops_of(settings.crops)
    except (NotifyError, SettingsError) as error:
        print(error, file=sys.stderr)
        return 2
    if args.live:
        return _live(args, settings)
    if args.listen or args.with_heat:
        print("bottomheat check: --for and --with-heat want --live", file=sys.stderr)
        return 2
    findings = tuple(worries(settings))
    if args.json:
        found = _as_json(settings, findings) | {"notify": told, "crops": len(crops)}
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(settings, findings, told)))
    return 1 if findings else 0


def _live(args: argparse.Namespace, settings: "Settings") -> int:
    """Meet the bench; return the exit status."""
    import asyncio

    from controller.adapters.clocks import SystemClock
    from controller.adapters.settings.quantities import duration
    from controller.cli import live_words
    from controller.cli.live_check import Wishes, met
    from controller.cli.person import LeftError, Terminal, attended

    try:
        listen_ms = duration(args.listen).milli if args.listen else None
    except ValueError as error:
        print(f"bottomheat check: --for {args.listen}: {error}", file=sys.stderr)
        return 2
    out = sys.stderr if args.json else sys.stdout
    wishes = Wishes(listen_ms=listen_ms, with_heat=args.with_heat)
    clock = SystemClock(settings.timezone)
    try:
        found = asyncio.run(attended(met(settings, clock, Terminal(out), wishes)))
    except (EOFError, LeftError):
        print("bottomheat check: nobody answered; heat is off", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(live_words.record(found), ensure_ascii=False, indent=2))
    else:
        print("\n".join(live_words.in_words(found)))
    return 1 if found.findings else 0


def _addresses(settings: "Settings") -> dict[str, str]:
    """Return the addresses of those who are told, as people may see them.

    Raises:
        NotifyError: One cannot be read or used.
    """
    from controller.adapters.mqtt import publish_notice_once
    from controller.adapters.notify import sender_for

    publish = partial(publish_notice_once, settings.wiring)
    wires = settings.wiring.notify
    return {wire.name: sender_for(wire, publish).shown for wire in wires}


def worries(settings: "Settings") -> Iterator[str]:
    """Yield what a person should see to, though the plan can be followed."""
    for mat in settings.plan.mats:
        yield from _mat_worries(mat)
    for tray in all_trays(settings.plan):
        if not tray.probes:
            yield f"tray {tray.name} has no probe: its temperature is not known"
    nights = any(step.night_mc for mat in settings.plan.mats for step in mat.programme)
    if nights and "[bench] timezone" not in settings.written:
        yield "there are night setpoints but no timezone: night is told by UTC"
    yield from tabletop_worries(settings)
    yield from _notify_worries(settings)
    yield from _api_worries(settings)


def _api_worries(settings: "Settings") -> Iterator[str]:
    """Yield what of the way in needs somebody; run refuses some of it."""
    from controller.adapters.access import AccessError
    from controller.cli.entrance import access_of, entrance_worries

    try:
        access = access_of(settings, lambda _: None)
    except AccessError as error:
        yield f"run will not start: {error}"
    else:
        yield from entrance_worries(settings.api, access)


def _notify_worries(settings: "Settings") -> Iterator[str]:
    wires = settings.wiring.notify
    if wires and all(wire.url == "mqtt" for wire in wires):
        yield "whoever is told of alarms hears nothing when the broker is lost"
    timed = any(wire.quiet or wire.all_is_well is not None for wire in wires)
    if timed and "[bench] timezone" not in settings.written:
        yield "notify goes by the time of day but there is no timezone: UTC counts"


def _mat_worries(mat: MatPlan) -> Iterator[str]:
    at = f"mat {mat.name}"
    match mat.relay:
        case RelayKind.PLAIN:
            yield (
                f"{at}: CANNOT BE SURE TO FAIL OFF: a plain relay that last heard"
                " its on word stays on when nobody speaks to it any more; the broker"
                " says its off word when this program dies, but not when the broker"
                " or the network does: set the relay's own auto-off timer to a few"
                " minutes, or use one with leases"
            )
        case RelayKind.PIN:
            yield (
                f"{at}: CANNOT BE SURE TO FAIL OFF: a pin keeps its level while the"
                " board hangs, and from when this program is killed until it is"
                " started again; switch on the board's hardware watchdog, or use a"
                " relay with leases"
            )
        case RelayKind.LEASE | None:
            pass
    if mat.relay is not None and not mat.surface:
        yield f"{at} has no surface probe: its surface limits cannot act"
    if mat.relay in {RelayKind.PLAIN, RelayKind.LEASE} and not mat.reports:
        yield f"{at}: its relay reports nothing: whether it obeys is not known"


def _in_words(
    settings: "Settings", findings: tuple[str, ...], told: tuple[str, ...]
) -> Iterator[str]:
    yield f"{settings.source}: a configuration that can be followed"
    yield ""
    yield from bench_in_words(settings)
    yield from tabletop_in_words(settings)
    yield ""
    yield from told
    yield ""
    yield "To see to:" if findings else "Nothing in it to see to."
    yield from (f"  - {finding}" for finding in findings)
    yield ""
    yield "Before you plug anything in:"
    yield from (f"  - {caution}" for caution in CAUTIONS)


def _as_json(settings: "Settings", findings: tuple[str, ...]) -> dict[str, object]:
    return {
        "config": settings.source,
        "bench": settings.plan.bench,
        "mats": [
            {"name": mat.name, "in_words": list(mat_in_words(settings, mat))}
            for mat in settings.plan.mats
        ],
        "findings": list(findings),
        "cautions": list(CAUTIONS),
        "written": dict(settings.written),
    }
