"""Degree-hours once more, from the readings that the season log kept.

The same account as the live counter, fed with the log's samples: so another
base, another upper cut-off or another stretch of time gives what the counter
would have said, with the one difference that the log's wall clock stands in
for the run clock. What may live here: the order of samples and the mean of a
tray's probes.
"""

import heapq
from collections.abc import Iterable, Mapping

from controller.core.state import ThermalAccount
from controller.core.thermal_time import add_sample
from controller.core.units import MilliC, Millis

Sample = tuple[int, int]
"""Time [ms] and temperature [m°C]."""


def counted(
    account: ThermalAccount,
    samples: Mapping[str, Iterable[Sample]],
    stale_after_ms: Mapping[str, int],
) -> ThermalAccount:
    """Carry an account through the readings of a tray's probes.

    At each reading the tray's temperature is the mean of the probes that are
    not stale then, as in the live counter.

    Args:
        account: The account to go on from.
        samples: By probe, oldest first.
        stale_after_ms: By probe: silent for longer than this it is lost [ms].
    """
    latest: dict[str, Sample] = {}
    longest_ms = max(stale_after_ms.values(), default=0)
    for at_ms, probe, temp_mc in heapq.merge(
        *(_named(probe, series) for probe, series in samples.items())
    ):
        latest[probe] = at_ms, temp_mc
        fresh = [
            last_mc
            for name, (last_ms, last_mc) in latest.items()
            if at_ms - last_ms <= stale_after_ms[name]
        ]
        mean_mc = MilliC(round(sum(fresh) / len(fresh)))
        account = add_sample(account, Millis(at_ms), mean_mc, longest_ms)
    return account


def _named(probe: str, series: Iterable[Sample]) -> Iterable[tuple[int, str, int]]:
    return ((at_ms, probe, temp_mc) for at_ms, temp_mc in series)
