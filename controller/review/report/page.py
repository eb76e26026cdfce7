"""The whole report, from a story to one page.

What may live here: which sections there are and in which order.
"""

from collections.abc import Sequence

from controller.review.forecast_scores import Issued
from controller.review.report.html import page, para
from controller.review.report.judged_sections import forecasts, trials
from controller.review.report.plant_sections import plants
from controller.review.report.sections import Telling, alarms, done, mats, overview

_HOW = (
    "Energy is the time that a mat was on times its rated power: nobody metered it"
    " here. Degree-hours are the integral of the straight line between good readings"
    " above a base; a gap is counted, never bridged. Setpoints are shown as decisions"
    " told them. Bottomheat is no safety device: have an independent cut-out, an RCD or"
    " GFCI and a listed mat, and follow its instructions and local codes."
)


def season_page(
    telling: Telling,
    source: str,
    more: Sequence[str] = (),
    issued: Sequence[Issued] = (),
) -> str:
    """Return the report.

    Args:
        telling: What is told, and how.
        source: From which log, in words.
        more: Further sections, as HTML, before what was done.
        issued: Forecasts that were given, oldest first.
    """
    season = telling.season
    parts = [
        *overview(telling),
        *plants(telling),
        *trials(telling),
        *forecasts(telling, issued),
        *mats(telling),
        *more,
        *alarms(telling),
        *done(telling),
        f"<footer>{para(_HOW)}{para(_source(telling, source))}</footer>",
    ]
    return page(f"{season.bench}: season report", parts)


def _source(telling: Telling, source: str) -> str:
    season = telling.season
    runs = f"{season.runs} runs" if season.runs != 1 else "1 run"
    return (
        f"From {source}: {season.scans:,} scans in {runs}; mats and trays are those of"
        " the last one."
    )
