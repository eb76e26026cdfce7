"""Which of many nothing else beats.

One dominates another if it is nowhere worse and somewhere better (Pareto). What
may live here: that set, by the figures of the fitted model. Which of its members
cannot be told apart is another question, see jackknifed.
"""

import numpy as np
from numpy.typing import NDArray

from sim.thermal import Matrix


def nondominated(costs: Matrix) -> NDArray[np.bool_]:
    """Return which rows no other row dominates, shape (C,).

    In order of the first cost, then of the others, a row can only be dominated
    by one before it; and what is dominated is dominated by a member of the set.
    So each is compared with the members so far. Equal rows stay together.

    Args:
        costs: Shape (C, K), less is better in each column.

    Raises:
        ValueError: A cost is not a number.
    """
    if np.isnan(costs).any():
        raise ValueError("costs: one is not a number; leave that row out before")
    kept = np.zeros(len(costs), dtype=np.bool_)
    members = np.empty_like(costs)
    count = 0
    for index in np.lexsort(costs.T[::-1]):
        row, others = costs[index], members[:count]
        beaten = (others <= row).all(axis=1) & (others < row).any(axis=1)
        if not beaten.any():
            kept[index] = True
            members[count] = row
            count += 1
    return kept
