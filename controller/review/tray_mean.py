"""A tray's temperature as the core saw it, from what its probes said.

The core takes probes in order of arrival and, at each reading that it takes,
the mean of those that may be used then: intake, judge and root_zone of the
core, told from the log's readings. What may live here: that mean.
"""

from collections.abc import Iterable, Iterator

from controller.core.plan import TrayPlan
from controller.ports import UNTAKEN_MC
from controller.review.thermal_ledger import Sample
from controller.review.tray_readings import Row


class TrayMean:
    """What the core knows of a tray's probes within a run.

    Attributes:
        longest_ms: Its longest stale time: a longer interval is a gap [ms].
        doubted_ms: When a reading was last not taken; run clock [ms].
    """

    def __init__(self, tray: TrayPlan) -> None:
        stale_ms = {probe.name: int(probe.stale_after_ms) for probe in tray.probes}
        self.longest_ms = max(stale_ms.values(), default=0)
        self.doubted_ms: int | None = None
        self._stale_ms = stale_ms
        self._good: dict[str, tuple[int, int]] = {}
        self._doubt: dict[str, int] = {}

    def samples(self, rows: Iterable[Row]) -> Iterator[Sample]:
        """Yield the tray's temperature at each reading that was taken."""
        stale_ms, good, doubt = self._stale_ms, self._good, self._doubt
        alone = len(stale_ms) == 1
        for _, at_ms, utc_ms, temp_mc, probe in rows:
            if probe not in stale_ms:
                continue  # it is elsewhere by this run's plan
            if temp_mc == UNTAKEN_MC:
                self._not_taken(probe, at_ms)
                continue
            good[probe] = at_ms, temp_mc
            if doubt and at_ms >= doubt.get(probe, at_ms):
                doubt.pop(probe, None)
            if alone and not doubt:
                yield at_ms, utc_ms, temp_mc
                continue
            usable = [
                last_mc
                for name, (last_ms, last_mc) in good.items()
                if name not in doubt and at_ms - last_ms <= stale_ms[name]
            ]
            if usable:
                yield at_ms, utc_ms, round(sum(usable) / len(usable))

    def _not_taken(self, probe: str, at_ms: int) -> None:
        """Doubt a probe until a good reading that is no older.

        One that is not newer than the last good reading was merely late: the
        core leaves it out of account.
        """
        known = self._good.get(probe)
        if known is None or at_ms > known[0]:
            self._doubt[probe] = self.doubted_ms = at_ms
