"""What can be said of a trial on the command line. What may live here: options."""

import argparse
from typing import TypeAlias

from controller.cli.asking import add_options
from controller.cli.log_words import A_TIME
from controller.records.trials import EndPoint, TestName, UnitKind

_Parsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001


def add_plan(what: _Parsers) -> None:
    """Add the parser of trial plan."""
    plan = what.add_parser(
        "plan",
        help="lay a trial out, before a single cutting is stuck",
        description=(
            "Puts places in order of warmth as the bench's log shows it, makes"
            " neighbours a block, and lets a seed say which place of a block gets"
            " which arm. Tells the smallest p that can come out and how often a"
            " stated difference would be found. Exit 1: it cannot answer."
        ),
    )
    plan.add_argument("--arms", nargs="+", required=True, metavar="ARM")
    plan.add_argument(
        "--factor", default="medium", help="what differs between them (medium)"
    )
    plan.add_argument("--title", help="what it is to find out")
    plan.add_argument(
        "--pots",
        nargs="+",
        metavar="TRAY=N",
        help="single pots: how many stand in which tray, counted along it",
    )
    plan.add_argument("--trays", nargs="+", metavar="TRAY", help="whole trays instead")
    plan.add_argument(
        "--cuttings", type=int, default=1, metavar="N", help="in each pot or tray (1)"
    )
    plan.add_argument(
        "--cultivars", nargs="+", metavar="NAME", help="take turns from block to block"
    )
    plan.add_argument("--block", type=int, metavar="N", help="units in each block")
    plan.add_argument(
        "--test",
        choices=[test.value for test in TestName],
        help="that will decide; else one that fits the plan",
    )
    plan.add_argument(
        "--end-point",
        choices=[end.value for end in EndPoint],
        default=EndPoint.ROOTED.value,
        help="what counts as success (rooted)",
    )
    plan.add_argument("--days", type=float, help="shares are counted up to then")
    plan.add_argument("--base", type=float, help="thermal time counts above [°C]")
    plan.add_argument("--upper", type=float, help="and no faster above [°C]")
    plan.add_argument("--seed", type=int, help="to make a plan again")
    _add_warmth(plan)
    _add_stated(plan)
    plan.add_argument("--store", action="store_true", help="keep it in the season log")
    add_options(plan)


def _add_warmth(plan: argparse.ArgumentParser) -> None:
    plan.add_argument("--from", dest="first", metavar="TIME", help=f"warmth: {A_TIME}")
    plan.add_argument("--to", dest="last", metavar="TIME", help="until then")
    plan.add_argument(
        "--temps", nargs="+", metavar="TRAY=°C", help="how warm trays are instead"
    )
    plan.add_argument(
        "--as-listed",
        action="store_true",
        help="do not ask: trays are named from the coldest place to the warmest",
    )


def _add_stated(plan: argparse.ArgumentParser) -> None:
    plan.add_argument(
        "--shares",
        nargs=2,
        type=float,
        default=(60.0, 80.0),
        metavar="%",
        help="a difference in shares not to be missed (60 80)",
    )
    plan.add_argument(
        "--faster", type=float, default=1.5, help="or in speed: so many times (1.5)"
    )
    plan.add_argument(
        "--alike",
        type=float,
        default=0.05,
        help="correlation of two cuttings of one unit (0.05)",
    )
    plan.add_argument(
        "--median",
        type=float,
        default=18.0,
        help="half have rooted by then [days] (18)",
    )
    plan.add_argument(
        "--every", type=float, default=7.0, help="a look every so many days (7)"
    )
    plan.add_argument(
        "--until", type=float, default=35.0, help="the last look [days] (35)"
    )


def add_compare(what: _Parsers) -> None:
    """Add the parser of trial compare."""
    compare = what.add_parser(
        "compare",
        help="what a trial tells, by the calendar and in thermal time",
        description=(
            "Compares arms by the trial's own randomisation. A CSV file in place of"
            " a number needs no bench: columns unit, arm, and looked_at, n, rooted (so"
            " many had by then) or left, right, n (so many within those days; right"
            " empty: not seen to); if there are any: block, mean_c. Exit 1: the trial"
            " cannot answer."
        ),
    )
    compare.add_argument("trial", metavar="TRIAL", help="number, or FILE.csv")
    compare.add_argument(
        "--test",
        choices=[test.value for test in TestName],
        help="that decides; else the plan's own",
    )
    compare.add_argument("--days", type=float, help="shares are counted up to then")
    compare.add_argument("--base", type=float, help="thermal time counts above [°C]")
    compare.add_argument("--upper", type=float, help="and no faster above [°C]")
    compare.add_argument("--seed", type=int, help="for labellings that are drawn")
    compare.add_argument(
        "--indices", action="store_true", help="also the usual germination indices"
    )
    add_options(compare)


POT, TRAY = UnitKind.POT.value, UnitKind.TRAY.value
