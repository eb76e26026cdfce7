"""One comparison of a trial: from a season log to JSON on standard output.

`python -m controller.cli.comparison_job LOG NUMBER` is what the daemon starts when a
comparison is asked for over HTTP, in a process of its own that gives way to everything
else and may use only so much memory and time. Exit 0: done; 2: it was not worked out;
3: it cannot be compared. Of both stderr says why.
"""

import argparse
import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.niced import give_way

if TYPE_CHECKING:
    from controller.cli.trial_compare import Compared
    from controller.trials.comparison import Arm, Between
    from controller.trials.verdict import Rule

MEMORY_BYTES = 768 * 1024 * 1024
"""Chosen: as of the forecast, some times what it takes."""

CPU_S = 300
"""Chosen: a person waits for it; a trial of a hundred pots takes some seconds."""

CANNOT = 3
"""What no interpreter ends with by itself."""

Json = dict[str, object]


def main(words: Sequence[str] | None = None) -> int:
    """Compare within limits and print it; return the exit code."""
    parser = argparse.ArgumentParser(prog="comparison_job", description=__doc__)
    parser.add_argument("log", type=Path)
    parser.add_argument("trial")
    parser.add_argument("--test")
    for option in ("--days", "--base", "--upper"):
        parser.add_argument(option, type=float)
    parser.set_defaults(seed=None, indices=False)
    args = parser.parse_args(words)
    give_way(MEMORY_BYTES, CPU_S)
    return _printed(args)


def _printed(args: argparse.Namespace) -> int:
    from controller.cli.over_http import AskError
    from controller.cli.trial_compare import compared_of

    try:
        told = as_told(compared_of(args))
    except AskError as error:
        print(str(error), file=sys.stderr)
        return CANNOT
    except MemoryError:
        print("it needs more memory than it may have", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001  # whatever it is, the daemon is told
        print(str(error) or type(error).__name__, file=sys.stderr)
        return 2
    json.dump(told, sys.stdout, ensure_ascii=False, allow_nan=False)
    return 0


def as_told(found: "Compared") -> Json:
    """Return a comparison as GET /v1/trials/{number}/comparison tells it."""
    from controller.cli.comparison_json import as_json
    from controller.cli.comparison_words import in_words

    told, rule = (found.result, found.own, found.rule), found.rule
    names = found.title, found.end_point
    return {
        "title": found.title,
        "end_point": found.end_point,
        "test": rule.chosen.value,
        "alpha": rule.alpha,
        "base_c": rule.base_c,
        "shares_by_days": None if math.isinf(rule.by) else rule.by,
        "arms": [_arm(one) for one in found.result.arms],
        "verdicts": [_verdict(one, rule) for one in found.result.pairs],
        "notes": found.own.notes,
        "words": "\n".join(in_words(*told, names, indices=False)),
        "figures": as_json(*told, indices=False),
    }


def _arm(arm: "Arm") -> Json:
    half = arm.calendar.by_when(0.5)
    return {
        "arm": arm.name,
        "units": arm.units,
        "cuttings": arm.n,
        "reached": arm.rooted,
        "share": arm.share,
        "from_95": arm.interval.low,
        "to_95": arm.interval.high,
        "half_from_days": None if half is None else half[0],
        "half_to_days": None if half is None else half[1],
        "mean_c": arm.mean_c,
    }


def _verdict(one: "Between", rule: "Rule") -> Json:
    from controller.cli.comparison_words import verdict_text

    pair = one.pair
    return {
        "arms": list(pair.arms),
        "answer": pair.answer.value,
        "better": pair.better,
        "reason": pair.reason.value,
        "p": pair.p,
        "sentence": verdict_text(one, rule),
    }


if __name__ == "__main__":
    sys.exit(main())
