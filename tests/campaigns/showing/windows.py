"""Windows of the shown season as they stood, and what was true.

What may live here: foretelling on a day, keeping it as a daemon does, and scoring.
"""

from dataclasses import dataclass

from controller.cli.forecast_job import (
    forecast_beside,
    foretold_in,
    read_result,
    write_result,
)
from controller.core.units import DAY_MS
from controller.review.forecast_scores import (
    as_kept,
    issued_from,
    scores,
    with_today,
)
from controller.review.foretold_words import report


@dataclass(frozen=True)
class Window:
    """One forecast of one batch.

    Attributes:
        code: Of which batch.
        at_ms: When it was made [ms].
        when_ms: Ends of its windows and its median [ms], as parts 5, 25, 50, 75 and
            95 %; None: not within a year.
        needs: The same [K·h].
    """

    code: str
    at_ms: int
    when_ms: tuple[int | None, ...]
    needs: tuple[float, ...]

    def holds(self, half_ms, low, high):
        """Whether a window, told by its ends' places, holds what was true."""
        begin, end = self.when_ms[low], self.when_ms[high]
        if begin is None:
            return False
        return begin <= half_ms and (end is None or half_ms <= end)

    def within(self, half_ms):
        """Return the narrowest window that holds what was true: "50", "90", "out"."""
        if self.holds(half_ms, 1, 3):
            return "50"
        return "90" if self.holds(half_ms, 0, 4) else "out"

    def off_days(self, half_ms):
        """Return how many days the median was late; None: it had no date."""
        median = self.when_ms[2]
        return None if median is None else (median - half_ms) / DAY_MS


def foretell(log, crops, at_ms):
    """Work the forecast of a day out, keep it beside the log, return its windows."""
    told, standing, newest = foretold_in(log, crops, at_ms)
    zone, path = standing.timezone, forecast_beside(log)
    before = issued_from(read_result(path).get("history"))
    history = with_today(before, told, zone, at_ms)
    kept = report(told, zone, at_ms, scores(history, told, zone))
    write_result(path, {**kept, "history": as_kept(history), "newest": newest})
    return [
        Window(one.file.code, at_ms, one.when_ms, one.needs)
        for one in told
        if one.when_ms and one.file.closing is None and not one.reached
    ]
