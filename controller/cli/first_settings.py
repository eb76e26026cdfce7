"""What to begin with before there is a log: rise, verdict and first settings.

No command: `tune` comes here when it is given a configuration, or a mat's own
figures, instead of a season log.
"""

import argparse
import json
import os
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TypeVar

from controller.cli.first_words import (
    DRY_MM,
    WET_MM,
    Answer,
    Asked,
    caution,
    in_words,
    record,
)
from controller.core.plan import MatPlan, OnOff, StepPlan, TrayPlan
from controller.core.units import MilliC, celsius

if TYPE_CHECKING:
    from controller.adapters.settings.quantities import Said

Read = TypeVar("Read")

_SCAN_S = 5.0
_MOST_TRAYS = 12
_THICKEST_FOAM_MM = 200


class FirstError(ValueError):
    """What was asked cannot be answered; the message says what would be right."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what may be asked before there is a log."""
    group = parser.add_argument_group(
        "before there is a log",
        "with a configuration instead of LOG, or with nothing but a mat's figures:"
        " can it hold what you want, and what to begin with (extra demo)",
    )
    group.add_argument("--hold", metavar="TEMP", help="what the roots shall have")
    group.add_argument(
        "--room", metavar="TEMP", help='in its coldest hour ("10 °C")', default="10 °C"
    )
    group.add_argument(
        "--foam", metavar="LENGTH", help='under the mat ("25 mm")', default="25 mm"
    )
    group.add_argument("--power", metavar="WATTS", help='such as "100 W"')
    group.add_argument("--area", metavar="SIDES", help='such as "1.2 m x 0.53 m"')
    group.add_argument("--medium", metavar="NAME", default="peat-perlite")
    group.add_argument("--depth", metavar="LENGTH", help='("60 mm")', default="60 mm")
    group.add_argument(
        "--trays", metavar="N", type=int, help="in a row on the mat (3)", default=3
    )


def is_asked(args: argparse.Namespace) -> bool:
    """Whether the words ask for what comes before a log."""
    return args.log is None or args.log.suffix == ".toml"


def run_first(args: argparse.Namespace) -> int:
    """Answer; return the exit status: 1 where a tray cannot be held.

    Raises:
        FirstError: Something was asked that has no answer.
    """
    from sim.first_start import expected, holding

    answers = []
    for asked in _asked(args):
        try:
            trays = expected(asked.mat, asked.foam_mm / 1000)
        except ValueError as error:
            raise FirstError(str(error)) from error
        bare = expected(asked.mat, 0.0)
        held = {
            mm: [holding(tray, asked.wanted_c, asked.room_c, mm) for tray in trays]
            for mm in (DRY_MM, WET_MM)
        }
        without = [holding(one, asked.wanted_c, asked.room_c, DRY_MM) for one in bare]
        answers.append(Answer(asked, trays, held[DRY_MM], held[WET_MM], without))
    if args.json:
        told = {"mats": [record(answer) for answer in answers]}
        print(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        print("\n\n".join("\n".join(in_words(answer)) for answer in answers))
        print("\n" + "\n".join(caution()))
    failed = any(one.verdict == "no" for answer in answers for one in answer.wet)
    return 1 if failed else 0


# -------------------------------------------------------------------- reading


def _asked(args: argparse.Namespace) -> Iterator[Asked]:
    """Yield what is asked of each mat."""
    from controller.adapters.settings.quantities import length, temperature

    room = _read("--room", args.room, temperature)
    foam_mm = _read("--foam", args.foam, length).milli
    if not 0 <= foam_mm <= _THICKEST_FOAM_MM:
        raise FirstError(f"--foam {args.foam}: from 0 mm, none, to 200 mm")
    hold = None if args.hold is None else _read("--hold", args.hold, temperature)
    for plan, scan_s in _plans(args, hold):
        planned_mc = plan.programme[0].setpoint_mc
        wanted_c = celsius(planned_mc if hold is None else MilliC(hold.milli))
        yield Asked(
            plan,
            scan_s,
            wanted_c,
            celsius(MilliC(room.milli)),
            foam_mm,
            f"{wanted_c:g} °C" if hold is None else hold.text,
            room.text,
        )


def _plans(
    args: argparse.Namespace, hold: "Said | None"
) -> Iterator[tuple[MatPlan, float]]:
    """Yield mats, each with the time from scan to scan [s]."""
    from controller.adapters.settings import load

    if args.log is None:
        yield _described(args, hold), _SCAN_S
        return
    if args.power or args.area:
        raise FirstError("--power, --area: stand in the configuration already")
    settings = load(args.log, os.environ)
    found = [mat for mat in settings.plan.mats if args.mat in {None, mat.name}]
    if not found:
        raise FirstError(f"--mat {args.mat}: {args.log} has no such mat")
    for mat in found:
        yield mat, settings.plan.scan_ms / 1000


def _described(args: argparse.Namespace, hold: "Said | None") -> MatPlan:
    """Return the mat that the words describe."""
    from controller.adapters.settings.quantities import area, length, power

    if args.power is None or args.area is None or hold is None:
        raise FirstError(
            "a season log, a configuration (.toml), or --power, --area and --hold"
            " are needed"
        )
    if not 1 <= args.trays <= _MOST_TRAYS:
        raise FirstError(f"--trays {args.trays}: from 1 to {_MOST_TRAYS}")
    sides = _read("--area", args.area, area)
    depth_mm = _read("--depth", args.depth, length).milli
    power_mw = _read("--power", args.power, power).milli
    for name, text, value in (
        ("--depth", args.depth, depth_mm),
        ("--area", args.area, sides.width_mm),
        ("--power", args.power, power_mw),
    ):
        if value < 1:
            raise FirstError(f"{name} {text}: above 0 is needed")
    trays = tuple(
        TrayPlan(name=f"{n}", column=n, medium=args.medium, depth_mm=depth_mm)
        for n in range(1, args.trays + 1)
    )
    return MatPlan(
        name=args.mat or "mat",
        power_mw=power_mw,
        length_mm=sides.length_mm,
        width_mm=sides.width_mm,
        policy=OnOff(),
        programme=(StepPlan(MilliC(hold.milli)),),
        trays=trays,
    )


def _read(name: str, text: str, how: Callable[[object], Read]) -> Read:
    try:
        return how(text)
    except ValueError as error:
        raise FirstError(f"{name} {text!r}: {error}") from error
