"""Offsets of probes that hang in one cup of stirred water. Pure.

In one cup all probes are as warm as each other: what they differ by is their own
error. Ice and water beside each other tell the true value, too: 0 °C (the ice point,
ASTM E563), where most of the cup is crushed ice and all of it is stirred.
"""

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

STEADY_MK = 130
"""Chosen: two steps of a 12-bit one-wire probe; more is a cup that is not stirred,
or not at rest yet [mK]."""

SAMPLES = 3
WINDOW_MS, SPAN_MS = 120_000, 60_000
"""Three equal readings are usual (common practice), and within two minutes, over one
at least: a probe that is read each second is as slow as any other [ms]."""

FARTHEST_MK = 3_000
"""Chosen: six times what makers of such probes promise; who differs by more is not in
the water, or broken [mK]."""

ICE_MC = 0
STEP_MK = 10


@dataclass(frozen=True, slots=True)
class Cup:
    """What a cup tells.

    Attributes:
        offsets_mk: What is to be added to each probe's readings [mK].
        reference_mc: What counted as true [m°C].
        unsteady: Probes that still move.
        silent: Probes that have not spoken often enough.
        astray: Probes that are not in this water.
    """

    offsets_mk: Mapping[str, int]
    reference_mc: int | None = None
    unsteady: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    astray: tuple[str, ...] = ()

    @property
    def steady(self) -> bool:
        """Whether the offsets can be taken."""
        return not (self.unsteady or self.silent or self.astray or not self.offsets_mk)


def offsets(
    samples: Mapping[str, Sequence[tuple[int, int]]], now_ms: int, *, ice: bool = False
) -> Cup:
    """Return what a cup tells of the probes in it.

    Args:
        samples: When [ms] and what [m°C] each probe said in it, without offset.
        now_ms: The present time [ms].
        ice: Whether it is ice and water.
    """
    late = {
        address: [one for one in said if one[0] > now_ms - WINDOW_MS]
        for address, said in samples.items()
    }
    silent = tuple(sorted(a for a, said in late.items() if not _enough(said)))
    last = {a: [m for _, m in said] for a, said in late.items() if a not in silent}
    unsteady = tuple(
        sorted(a for a, said in last.items() if max(said) - min(said) > STEADY_MK)
    )
    # The later half: what is still coming to rest is nearer to it there.
    means = {a: statistics.mean(said[len(said) // 2 :]) for a, said in last.items()}
    if not means:
        return Cup({}, None, unsteady, silent)
    reference = ICE_MC if ice else round(statistics.median(means.values()))
    found = {
        a: STEP_MK * round((reference - mean) / STEP_MK) for a, mean in means.items()
    }
    astray = tuple(sorted(a for a, mk in found.items() if abs(mk) > FARTHEST_MK))
    return Cup(found, reference, unsteady, silent, astray)


def _enough(said: Sequence[tuple[int, int]]) -> bool:
    return len(said) >= SAMPLES and said[-1][0] - said[0][0] >= SPAN_MS
