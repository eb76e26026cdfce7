"""Germination indices of an arm from what was seen of its units.

What may live here: from stretches of time to daily counts.
"""

import math
from collections.abc import Sequence

from controller.trials.germination import Indices, indices
from controller.trials.observed import Observed


def arm_indices(units: Sequence[Observed]) -> Indices | None:
    """Return the indices of some units together; None: there was no look.

    The day of the look at which one was seen is taken for its day.
    """
    seen = [one for unit in units for one in unit.seen]
    ends = {end for one in seen for end in (one.left, one.right)}
    at = sorted(end for end in ends if 0 < end < math.inf)
    if not at:
        return None
    counts = [round(sum(one.count for one in seen if one.right == day)) for day in at]
    return indices(counts, at, sum(unit.n for unit in units))
