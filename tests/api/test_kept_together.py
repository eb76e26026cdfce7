"""How well a tray of several probes was kept: every reading counts alike."""

from hypothesis import given
from hypothesis import strategies as st

from api.heat_views import kept_view
from controller.core.plan import TrayPlan
from controller.core.units import HOUR_MS
from controller.ports import Bucket
from controller.review.heat import HeatBucket

HOURS = st.dictionaries(
    st.integers(0, 12), st.lists(st.integers(19_000, 23_000), min_size=1), max_size=9
)
WANTED_MC = 21_000
WITHIN_MK = 700


def hours_of(readings):
    return [
        Bucket(hour * HOUR_MS, len(told), min(told), max(told), sum(told))
        for hour, told in sorted(readings.items())
    ]


@given(st.lists(HOURS, max_size=3))
def test_probes_together_are_what_all_of_their_readings_come_to(probes):
    heat = [
        HeatBucket(hour * HOUR_MS, HOUR_MS, 0, HOUR_MS, HOUR_MS * WANTED_MC, 0, 0)
        for hour in range(3, 9)
    ]
    by_probe = [hours_of(readings) for readings in probes]
    span = 0, 13 * HOUR_MS
    view = kept_view(TrayPlan(name="N1"), span, (by_probe, heat), WITHIN_MK)
    by_hour = {}
    for readings in probes:
        for hour, told in readings.items():
            by_hour.setdefault(hour, []).extend(told)
    off_mk = [
        abs(sum(told) / len(told) - WANTED_MC)
        for hour, told in by_hour.items()
        if 3 <= hour < 9
    ]
    every = [temp for told in by_hour.values() for temp in told]
    assert view["hours"] == len(by_hour)
    assert view["hours_compared"] == len(off_mk)
    assert view["hours_within"] == sum(off <= WITHIN_MK for off in off_mk)
    mean_c = round(sum(every) / len(every) / 1000, 3) if every else None
    assert view["mean_c"] == mean_c
    assert view["lowest_c"] == (min(every) / 1000 if every else None)
    assert view["highest_c"] == (max(every) / 1000 if every else None)
