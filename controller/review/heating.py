"""When a mat was on, by a log: commands, what the relay said, and silence.

What may live here: that belief. It follows controller.core.relays where a log
can: a relay's own word counts once it is no longer the echo of the command
before, and a scan that comes too late has let the lease run out.
"""

from controller.core.plan import Plan
from controller.core.relays import GRACE_SCANS
from controller.ports import RecordedScan


class Heating:
    """Believes a mat on or off, scan by scan.

    Args:
        mat: Its name.
    """

    def __init__(self, mat: str) -> None:
        self._mat = mat
        self._switchings: list[tuple[int, bool]] = []
        self._on = False
        self._commanded = False
        self._since_ms = 0
        self._said: tuple[int, bool] | None = None
        self._last_ms: int | None = None
        self._lease_ms = self._grace_ms = 0

    def begin(self, plan: Plan) -> None:
        """Begin a run: nothing is commanded yet, and no relay has spoken."""
        self._lease_ms = int(plan.valid_for_ms)
        self._grace_ms = GRACE_SCANS * int(plan.scan_ms)
        self._commanded, self._said = False, None

    def take(self, recorded: RecordedScan) -> None:
        """Take a scan and what was commanded in it."""
        scan = recorded.scan
        if self._last_ms is not None and scan.run_ms - self._last_ms > self._lease_ms:
            self._switch(self._last_ms + self._lease_ms, on=False)
        self._last_ms = scan.run_ms
        for report in scan.relay_reports:
            if report.mat == self._mat and not report.retained:
                self._said = report.at_ms, report.energised
                self._believe(report.at_ms)
        for command in recorded.commands:
            if command.mat == self._mat and command.energised != self._commanded:
                self._commanded = command.energised
                self._since_ms = scan.run_ms
        self._believe(scan.run_ms)

    def ended(self) -> list[tuple[int, bool]]:
        """Return when it went on or off [ms], as if the lease ran out now."""
        if self._on and self._last_ms is not None:
            return [*self._switchings, (self._last_ms + self._lease_ms, False)]
        return list(self._switchings)

    def _believe(self, at_ms: int) -> None:
        if self._said is not None and self._said[0] - self._since_ms > self._grace_ms:
            self._switch(at_ms, on=self._said[1])
        else:
            self._switch(at_ms, on=self._commanded)

    def _switch(self, at_ms: int, *, on: bool) -> None:
        if on != self._on:
            last_ms = self._switchings[-1][0] if self._switchings else at_ms
            self._switchings.append((max(at_ms, last_ms), on))
            self._on = on
