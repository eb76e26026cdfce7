"""How early each cutting rooted, as one number, from looks that only bound it.

Scores of weighted log-rank tests for stretches of time (Finkelstein 1986, Biometrics
42: 845-854; Sun 1996, Statistics in Medicine 15: 1387-1395), in the form of Fay and
Shaw 2010 (Journal of Statistical Software 36(2)). They come from the distribution of
all cuttings together, add up to 0, and are greater the earlier it was. What may live
here: scores.
"""

import math
from collections.abc import Sequence
from enum import StrEnum
from functools import lru_cache
from itertools import accumulate

from controller.trials.censored import Seen, cover, turnbull


class Score(StrEnum):
    """Which log-rank score."""

    SUN = "sun"
    FINKELSTEIN = "finkelstein"


def scores(seen: Sequence[Seen], kind: Score = Score.SUN) -> list[float]:
    """Return the score of one cutting of each of what was seen.

    Only the order of times matters, so that the same order in days and in thermal
    time, or above two bases, gives the same scores and is worked out once.

    Raises:
        ValueError: There is nothing, or a stretch ends before it begins.
    """
    ends = sorted({end for one in seen for end in (one.left, one.right)})
    ranks = {end: float(rank) for rank, end in enumerate(ends)}
    ranked = tuple(Seen(ranks[one.left], ranks[one.right], one.count) for one in seen)
    return list(_scores(ranked, kind))


@lru_cache(maxsize=32)
def _scores(seen: tuple[Seen, ...], kind: Score) -> tuple[float, ...]:
    told, masses = cover(seen), turnbull(seen).masses
    gone = [0.0, *accumulate(masses)]
    left = [max(0.0, 1 - share) for share in gone]
    left[-1] = 0.0
    hazards = (
        mass / before if before > 0 else 0.0
        for mass, before in zip(masses, left, strict=False)
    )
    hazard = [0.0, *accumulate(hazards)]

    def weight(at: int) -> float:
        share = left[at]
        if share <= 1e-12:  # noqa: PLR2004 - rounding
            return 0.0
        log = math.log(share) if kind is Score.FINKELSTEIN else -hazard[at]
        return share * log

    return tuple(
        (weight(start) - weight(end)) / (gone[end] - gone[start])
        for start, end in told.ranges
    )
