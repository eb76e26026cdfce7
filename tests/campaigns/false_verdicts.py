"""Trials without any difference: how often is it said that one arm beats another?

    ./dev false-verdicts [--trials 2000] [--seed 1] [--workers 2]

Each trial never was: its cuttings need so much thermal time, units share luck, looks
come every few days. The verdict is that of `bottomheat trial compare`. Beside it
stand the tests alone, by the calendar and in thermal time: where one arm stood
warmer, the calendar finds "a good medium". Exit 1 when verdicts err in more than
6 of 100 trials of any kind, or when the calendar would not have erred where warmth
and medium are confounded, since then the trials show nothing.
"""

import argparse
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import repeat
from math import sqrt
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from controller.cli.output import table
from controller.trials.observed import Observed
from controller.trials.shuffling import Shuffler
from controller.trials.simulated import Spot, Truth, grown
from controller.trials.verdict import (
    ALPHA,
    BASE_OFF_K,
    Answer,
    Chosen,
    Rule,
    verdicts,
)

MOST = 0.06
BASE_C, MID_C, GRADIENT_K = 10.0, 21.0, 2.0
MEDIAN_KH = 18 * 24 * (MID_C - BASE_C)
PLAIN = Truth(MEDIAN_KH, base_c=BASE_C)
ALIKE = replace(PLAIN, spread=0.1)
OFTEN = replace(ALIKE, every_days=3.0, until_days=36.0)
SOME = replace(PLAIN, rootable=0.6)


@dataclass(frozen=True)
class Kind:
    """One kind of trial.

    Attributes:
        name: In the table.
        spots: Its units.
        truth: What is so.
        chosen: The test that decides.
        base_c: What the grower takes for the base; None: no log.
        warmth_known: Whether mean temperatures are known at all.
        confounded: Whether one arm has the warm places.
        naive: Whether it shows what happens without knowing of warmth: no gate.
        differs: Whether there is a difference: its verdicts are right ones.
    """

    name: str
    spots: tuple[Spot, ...]
    truth: Truth
    chosen: Chosen = Chosen.TIMES
    base_c: float | None = BASE_C
    warmth_known: bool = True
    confounded: bool = False
    naive: bool = False
    differs: bool = False

    def with_warmth(self) -> "Kind":
        """Return the same, told to be confounded with warmth."""
        return replace(self, confounded=True)


def pots(temp: Callable[[int], float], block: Callable[[int], str], arms="AB", n=24):
    """Return single pots; arms take turns, from cold to warm."""
    many = len(arms)
    return tuple(Spot(f"{i}", arms[i % many], block(i), 1, temp(i)) for i in range(n))


def trays(temp: Callable[[int], float], block: Callable[[int], str], n=8, each=12):
    """Return trays in which arms take turns."""
    return tuple(Spot(f"{i}", "AB"[i % 2], block(i), each, temp(i)) for i in range(n))


def halves(n: int, each: int, temp: Callable[[int], float]):
    """Return units of which the cold half is A and the warm half B."""
    return tuple(Spot(f"{i}", "AB"[i >= n // 2], "", each, temp(i)) for i in range(n))


def level(_: int) -> float:
    """Return the same warmth everywhere."""
    return MID_C


def slope(n: int) -> Callable[[int], float]:
    """Return warmth that grows over n places."""
    return lambda i: MID_C + GRADIENT_K * (i / (n - 1) - 0.5)


def step_up(n: int) -> Callable[[int], float]:
    """Return warmth of two mats: the second half is warmer."""
    return lambda i: MID_C + GRADIENT_K * ((i >= n // 2) - 0.5)


def whole(_: int) -> str:
    """Return one block for all."""
    return ""


def pairs(i: int) -> str:
    """Return a block for each two."""
    return f"{i // 2}"


def kinds() -> list[Kind]:
    """Return every kind of trial."""
    faster = (("A", 1.5),)
    return [
        Kind("12 pairs of pots, times", pots(level, pairs), PLAIN),
        Kind("12 pairs of pots, shares", pots(level, pairs), SOME, Chosen.SHARES),
        Kind("12 + 12 pots, Boschloo", pots(level, whole), SOME, Chosen.BOSCHLOO),
        Kind("4 + 4 trays of 12, times", trays(level, whole), ALIKE),
        Kind("4 + 4 trays of 12, shares", trays(level, whole), SOME, Chosen.SHARES),
        Kind("6 pairs of trays of 12, times", trays(level, pairs, 12), ALIKE),
        Kind("3 arms of 8 pots, times", pots(level, whole, "ABC"), PLAIN),
        Kind("12 pairs along 2 K, times", pots(slope(24), pairs), PLAIN),
        *_confounded(),
        Kind(
            "1.5 times as fast, 12 pairs of pots",
            pots(level, pairs),
            replace(PLAIN, faster=faster),
            differs=True,
        ),
        Kind(
            "1.5 times as fast, 4 + 4 trays of 12",
            trays(level, whole),
            replace(ALIKE, faster=faster),
            differs=True,
        ),
        Kind(
            "1.5 times as fast, in the cold half",
            halves(8, 24, step_up(8)),
            replace(OFTEN, faster=faster),
            confounded=True,
            differs=True,
        ),
    ]


def _confounded() -> list[Kind]:
    cold_and_warm = halves(8, 24, step_up(8))
    return [
        Kind(
            "12 cold, 12 warm pots, 2 K", halves(24, 1, step_up(24)), PLAIN
        ).with_warmth(),
        Kind(
            "4 cold, 4 warm trays along 2 K", halves(8, 24, slope(8)), OFTEN
        ).with_warmth(),
        Kind("4 cold, 4 warm trays, 2 K", cold_and_warm, OFTEN).with_warmth(),
        Kind(
            "the same, base taken 2 K too low",
            cold_and_warm,
            OFTEN,
            base_c=BASE_C - BASE_OFF_K,
        ).with_warmth(),
        Kind(
            "the same, base taken 2 K too high",
            cold_and_warm,
            OFTEN,
            base_c=BASE_C + BASE_OFF_K,
        ).with_warmth(),
        Kind(
            "the same, shares by day 15", cold_and_warm, OFTEN, Chosen.SHARES
        ).with_warmth(),
        Kind("the same, no log", cold_and_warm, OFTEN, base_c=None).with_warmth(),
        Kind(
            "the same, nothing known of warmth",
            cold_and_warm,
            OFTEN,
            base_c=None,
            warmth_known=False,
            naive=True,
        ).with_warmth(),
    ]


def main(words: list[str] | None = None) -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(prog="./dev false-verdicts", description=__doc__)
    parser.add_argument("--trials", type=int, default=2_000, help="of each kind (2000)")
    parser.add_argument("--seed", type=int, default=1, help="of all luck (1)")
    parser.add_argument("--workers", type=int, default=2, help="processes (2)")
    args = parser.parse_args(words)
    every = kinds()
    counts = _counted(every, args.trials, args.seed, args.workers)
    print(f"{args.trials} trials of each kind, seed {args.seed}\n")
    cells, wrong = told(every, counts, args.trials)
    print(table(HEAD, cells))
    for sentence in wrong:
        print(sentence)
    return 1 if wrong else 0


HEAD = (
    "trials",
    "verdicts",
    "± 2 se",
    "p by calendar",
    "p in K·h",
    "p of shares",
    "gate",
)
Counts = dict[str, int]


def _counted(every: list[Kind], trials: int, seed: int, workers: int) -> list[Counts]:
    if workers < 2:
        return [one(kind, trials, seed) for kind in every]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(one, every, repeat(trials), repeat(seed)))


def one(kind: Kind, trials: int, seed: int) -> Counts:
    """Return in how many trials of a kind what was found."""
    stream = Shuffler(seed)
    counts = dict.fromkeys(("beats", "calendar", "thermal", "shares"), 0)
    by = 15.0 if kind.chosen is Chosen.SHARES and kind.confounded else float("inf")
    rule = Rule(kind.chosen, kind.base_c, by=by)
    base_c = kind.base_c
    bases = [] if base_c is None else [base_c, base_c - BASE_OFF_K, base_c + BASE_OFF_K]
    for _ in range(trials):
        units = [
            _as_known(unit, kind)
            for unit in grown(kind.spots, kind.truth, stream, bases)
        ]
        found = verdicts(units, rule)
        counts["beats"] += any(pair.answer is Answer.BEATS for pair in found)
        counts["calendar"] += found[0].calendar.p <= ALPHA
        counts["shares"] += found[0].shares.p <= ALPHA
        if base_c is not None:
            counts["thermal"] += found[0].thermal[base_c].p <= ALPHA
    return counts


def _as_known(unit: Observed, kind: Kind) -> Observed:
    return unit if kind.warmth_known else replace(unit, mean_c=None)


def told(
    every: list[Kind], counts: list[Counts], trials: int
) -> tuple[list[tuple[str, ...]], list[str]]:
    """Return the rows of the table, and what is wrong with them in sentences."""
    rows, wrong = [], []
    for kind, count in zip(every, counts, strict=True):
        share = count["beats"] / trials
        gated = not kind.naive and not kind.differs
        if gated and share > MOST:
            wrong.append(f"{kind.name}: {share:.1%} false verdicts, at most {MOST:.0%}")
        calendar = count["calendar"] / trials
        if kind.confounded and not kind.differs and calendar <= MOST:
            wrong.append(f"{kind.name}: the calendar did not err, which shows nothing")
        rows.append(
            (
                kind.name,
                f"{share:.1%}",
                f"{2 * sqrt(share * (1 - share) / trials):.1%}",
                f"{calendar:.1%}",
                "-" if kind.base_c is None else f"{count['thermal'] / trials:.1%}",
                f"{count['shares'] / trials:.1%}",
                "≤ 6 %" if gated else "right" if kind.differs else "shown",
            )
        )
    return rows, wrong


if __name__ == "__main__":
    sys.exit(main())
