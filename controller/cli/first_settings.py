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
from controller.cli.terms import RATED, SEED
from controller.core.mat_rules import HIGHEST_CUTOUT_MC, setpoint_problem
from controller.core.plan import MatPlan, OnOff, Plan, StepPlan, TrayPlan
from controller.core.plan_rules import problems
from controller.core.units import MilliC, celsius

if TYPE_CHECKING:
    from controller.adapters.settings.quantities import Said

Read = TypeVar("Read")

_SCAN_S = 5.0
_MOST_TRAYS = 12
_THICKEST_FOAM_MM = 200
_ROOM_MC = (-40_000, 60_000)
"""Chosen: no room with cuttings is colder or warmer."""

_ROOM, _FOAM, _MEDIUM, _DEPTH, _TRAYS = "10 °C", "25 mm", "peat-perlite", "60 mm", 3

_DESCRIBING = ("power", "area", "medium", "depth", "trays")
_BEFORE_A_LOG = ("hold", "room", "foam", *_DESCRIBING)
_WITH_A_LOG = {
    "wish": None,
    "rooting": None,
    "price": None,
    "rated": RATED,
    "next_days": None,
    "candidates": None,
    "seed": SEED,
    "config": None,
    "write": None,
    "overwrite": False,
    "pictures": None,
    "exact": False,
}
"""Options that would do nothing without a log, with what they are unless given."""


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
        "--room", metavar="TEMP", help=f'in its coldest hour ("{_ROOM}")'
    )
    group.add_argument("--foam", metavar="LENGTH", help=f'under the mat ("{_FOAM}")')
    group.add_argument("--power", metavar="WATTS", help='such as "100 W"')
    group.add_argument("--area", metavar="SIDES", help='such as "1.2 m x 0.53 m"')
    group.add_argument("--medium", metavar="NAME", help=f"({_MEDIUM})")
    group.add_argument("--depth", metavar="LENGTH", help=f'("{_DEPTH}")')
    group.add_argument(
        "--trays", metavar="N", type=int, help=f"in a row on the mat ({_TRAYS})"
    )


def is_asked(args: argparse.Namespace) -> bool:
    """Whether the words ask for what comes before a log."""
    return args.log is None or args.log.suffix == ".toml"


def check_alone(args: argparse.Namespace) -> None:
    """Refuse what would do nothing: options of a log without one, and the other way.

    Raises:
        FirstError: There is such an option.
    """
    usual = _WITH_A_LOG if is_asked(args) else dict.fromkeys(_BEFORE_A_LOG)
    said = [name for name, value in usual.items() if getattr(args, name) != value]
    if said:
        flags = ", ".join(f"--{name.removesuffix('_days')}" for name in said)
        why = "a season log is needed" if is_asked(args) else "only without a log"
        raise FirstError(f"{flags}: {why}")


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

    room = _read("--room", args.room or _ROOM, temperature)
    coldest_mc, warmest_mc = _ROOM_MC
    if not coldest_mc <= room.milli <= warmest_mc:
        raise FirstError(f"--room {args.room}: from -40 °C to 60 °C")
    foam_mm = _read("--foam", args.foam or _FOAM, length).milli
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
    said = [f"--{name}" for name in _DESCRIBING if getattr(args, name) is not None]
    if said:
        raise FirstError(f"{', '.join(said)}: stands in the configuration already")
    settings = load(args.log, os.environ)
    found = [mat for mat in settings.plan.mats if args.mat in {None, mat.name}]
    if not found:
        raise FirstError(f"--mat {args.mat}: {args.log} has no such mat")
    for mat in found:
        if hold is not None and (problem := setpoint_problem(mat, hold.milli)):
            raise FirstError(f"--hold {hold.text}: {problem}")
        yield mat, settings.plan.scan_ms / 1000


def _described(args: argparse.Namespace, hold: "Said | None") -> MatPlan:
    """Return the mat that the words describe."""
    from controller.adapters.settings.quantities import area, length, power

    if args.power is None or args.area is None or hold is None:
        raise FirstError(
            "a season log, a configuration (.toml), or --power, --area and --hold"
            " are needed"
        )
    count = _TRAYS if args.trays is None else args.trays
    if not 1 <= count <= _MOST_TRAYS:
        raise FirstError(f"--trays {args.trays}: from 1 to {_MOST_TRAYS}")
    sides = _read("--area", args.area, area)
    depth_mm = _read("--depth", args.depth or _DEPTH, length).milli
    medium = args.medium or _MEDIUM
    trays = tuple(
        TrayPlan(name=f"{n}", column=n, medium=medium, depth_mm=depth_mm)
        for n in range(1, count + 1)
    )
    mat = MatPlan(
        name=args.mat or "mat",
        power_mw=_read("--power", args.power, power).milli,
        length_mm=sides.length_mm,
        width_mm=sides.width_mm,
        policy=OnOff(),
        programme=(StepPlan(MilliC(hold.milli)),),
        warn_mc=MilliC(HIGHEST_CUTOUT_MC - 1),
        cutout_mc=MilliC(HIGHEST_CUTOUT_MC),
        trays=trays,
    )
    for problem in problems(Plan(bench="bench", mats=(mat,))):
        raise FirstError(str(problem))
    return mat


def _read(name: str, text: str, how: Callable[[object], Read]) -> Read:
    try:
        return how(text)
    except ValueError as error:
        raise FirstError(f"{name} {text!r}: {error}") from error
