"""Three lags of a mat that leaks, under a push that lasts, where a log shows them.

Taken for new in each step, heat that lingers bends gain and lags, and so does a
mat that is taken to give all of its heat to the medium: on benches that have both
the slow lag comes out too short by a tenth, and nights at full power are missed by
what no longer log mends. `lasting` fixes both figures, and is an error; here both
are free, and the answer is theirs where the log proves them and they have the gain
about as three lags without them have it. Where the two differ in that, as in a log
of one setpoint under sun and drying, neither is to be believed more than the other.
What may live here: that search, and when it is taken.
"""

from dataclasses import replace

import numpy as np

from sim.fitting.lasting import LASTS_S, LEAK
from sim.fitting.layered import INSIDE_LEAKING, PROVEN, Layered, best_from
from sim.fitting.sight import Sight

AGREED = 0.07
"""Chosen: the two gains' logarithms differ by no more. On benches of three capacities
they differ by up to 5 %, in a log of one setpoint in the full world by 9 to 50 %."""


def leaking(seen: Sight, three: Layered) -> Layered | None:
    """Return the best model of a leaking mat; None: the log does not show it.

    The noise is that of three lags without: in a replay the push is smoothed as one
    that is new in each step.

    Args:
        seen: What a probe in a medium offers.
        three: The best model of three lags without leak and lasting push.
    """
    start = np.array([*three.where, LEAK, np.log(LASTS_S)])
    found = best_from(seen, start, INSIDE_LEAKING)
    better = np.log(np.sum(three.errors**2) / np.sum(found.errors**2))
    if not found.credible or seen.counted * better <= PROVEN:
        return None
    if abs(np.log(found.gain_k / three.gain_k)) > AGREED:
        return None
    return replace(found, noise=three.noise)
