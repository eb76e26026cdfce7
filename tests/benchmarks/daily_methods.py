"""A year of hours: what daily methods make of it, beside the integral.

Prints, for two places and some thresholds, the sum of each daily method and by
how much it differs from the integral of the hourly readings. Data: see
tests/year_of_hours.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from controller.review.daily_degree_days import DailyMethod
from controller.review.day_shapes import Cutoff
from controller.review.day_table import methods_for
from tests.year_of_hours import PLACES, hours, summary

CASES = ((10_000, None), (10_000, 18_000), (5_000, None))


def main() -> int:
    """Print the table; return 0."""
    print(
        "method            place    base   upper  integral     daily  differs   worst"
    )
    print("                             °C      °C       K·d       K·d        %  day K")
    for place in PLACES:
        samples = hours(place)
        for base_mc, upper_mc in CASES:
            for method in methods_for(upper_mc, Cutoff.HORIZONTAL):
                _row(place, samples, base_mc, upper_mc, method)
    return 0


def _row(
    place: str,
    samples: list[tuple[int, int]],
    base_mc: int,
    upper_mc: int | None,
    method: DailyMethod,
) -> None:
    integral, daily, worst = summary(samples, base_mc, upper_mc, method)
    upper = "-" if upper_mc is None else f"{upper_mc / 1000:g}"
    print(
        f"{method.value:16}  {place:8} {base_mc / 1000:4g}  {upper:>6}"
        f"  {integral:8.1f}  {daily:8.1f}  {(daily / integral - 1) * 100:+7.1f}"
        f"  {worst:5.2f}"
    )


if __name__ == "__main__":
    sys.exit(main())
