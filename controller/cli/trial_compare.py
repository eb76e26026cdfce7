"""`bottomheat trial compare`: what a trial tells.

What may live here: where units come from, by which test, and who shows it.
"""

import argparse
import json
import math
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from controller.cli.asking import Json, ask, opened_once
from controller.cli.comparison_json import as_json
from controller.cli.comparison_words import in_words
from controller.cli.over_http import AskError
from controller.cli.trial_csv import units_of
from controller.cli.trial_seen import Found, found
from controller.trials.comparison import Comparison, compared
from controller.trials.observed import Observed
from controller.trials.verdict import ALPHA, BASE_OFF_K, Answer, Chosen, Rule


@dataclass(frozen=True, slots=True)
class Compared:
    """What a trial tells, and how that came about.

    Attributes:
        result: The comparison.
        own: Its units, and what should be known beside them.
        rule: By which test.
        title: What it is called.
        end_point: What was waited for.
    """

    result: Comparison
    own: Found
    rule: Rule
    title: str
    end_point: str


def compare(args: argparse.Namespace) -> int:
    """Compare and print; return the exit status.

    Raises:
        AskError: It cannot be done.
    """
    found = compared_of(args)
    told = (found.result, found.own, found.rule)
    if args.json:
        plain = as_json(*told, indices=args.indices)
        print(json.dumps(plain, ensure_ascii=False, indent=2))
    else:
        names = found.title, found.end_point
        print("\n".join(in_words(*told, names, indices=args.indices)))
    cannot = any(one.pair.answer is Answer.CANNOT for one in found.result.pairs)
    return 1 if cannot else 0


def compared_of(args: argparse.Namespace) -> Compared:
    """Return what a trial tells.

    Args:
        args: As trial compare takes them.

    Raises:
        AskError: It cannot be compared, or nobody can be asked.
        LogError: The log cannot be used.
    """
    if args.upper is not None and args.base is None:
        raise AskError("--upper needs a --base")
    if args.days is not None and not args.days > 0:
        raise AskError(f"--days {args.days:g}: must be above 0")
    with opened_once(args):
        own, plan = _own(args)
    rule = _rule(args, own, plan)
    if not own.units:
        raise AskError(f"{args.trial}: nothing of it was stuck and looked at yet")
    try:
        result = compared(own.units, rule)
    except ValueError as error:
        raise AskError(f"{args.trial}: {error}") from None
    title = str(plan.get("title", args.trial))
    return Compared(result, own, rule, title, str(plan.get("end_point", "rooted")))


def _own(args: argparse.Namespace) -> tuple[Found, Json]:
    """Return the units of a stored trial, or of a file, and the plan if any."""
    if args.trial.isdecimal():
        trial = ask(args, "GET", f"/v1/trials/{quote(args.trial, safe='')}")
        plan = trial.get("trial")
        return found(args, trial, BASE_OFF_K), plan if isinstance(plan, dict) else {}
    if args.upper is not None:
        raise AskError("--upper: a file tells mean temperatures only: leave it out")
    base_c = args.base
    off = (0.0, -BASE_OFF_K, BASE_OFF_K)
    bases = [] if base_c is None else [base_c + one for one in off]
    units = units_of(Path(args.trial), bases)
    own = Found(units, base_c)
    if base_c is not None and any(unit.mean_c is None for unit in units):
        raise AskError(f"{args.trial}: --base needs the column mean_c of every unit")
    return own, {}


def _rule(args: argparse.Namespace, own: Found, plan: Json) -> Rule:
    test = args.test or plan.get("test")
    if test is None:
        test = _fitting(own.units).value
        own.notes.append(
            f"No test was chosen beforehand: {test} fits the shape of these units, and"
            " was not chosen by what came out. Whoever tries several errs more often."
        )
    elif plan.get("test") not in (None, test):
        own.notes.append(f"The plan had chosen {plan.get('test')}, not {test}.")
    planned, seed, alpha = plan.get("days"), plan.get("seed"), plan.get("alpha")
    days = args.days if args.days is not None else planned
    if args.seed is not None:
        seed = args.seed
    return Rule(
        Chosen(str(test)),
        own.base_c,
        by=float(days) if isinstance(days, float | int) else math.inf,
        alpha=float(alpha) if isinstance(alpha, float | int) else ALPHA,
        seed=seed if isinstance(seed, int) else 0,
    )


def _fitting(units: list[Observed]) -> Chosen:
    """Return a test that fits some units, by their shape and not by what came out."""
    ends = {end for unit in units for one in unit.seen for end in (one.left, one.right)}
    looks = [end for end in ends if 0 < end < float("inf")]
    if len(looks) > 1:
        return Chosen.TIMES
    single = all(unit.n == 1 for unit in units)
    one_block = len({unit.block for unit in units}) == 1
    return Chosen.BOSCHLOO if single and one_block else Chosen.SHARES
