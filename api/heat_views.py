"""A mat's heat and how well a tray was kept, as the API shows them. Pure.

What may live here: from buckets to plain dicts. No requests.
"""

from collections.abc import Iterator, Sequence
from heapq import merge
from itertools import chain, groupby

from api.formats import utc_text
from api.shapes import HeatBucketView, HeatView, KeptView
from controller.core.plan import MatPlan, TrayPlan
from controller.core.units import watt_hours
from controller.ports import Bucket
from controller.review.envelopes import together
from controller.review.heat import HeatBucket, kept


def heat_view(
    mat: MatPlan, stretch: tuple[int, int, int], found: Sequence[HeatBucket]
) -> HeatView:
    """Return a mat's heat; stretch is from, to, and the buckets' width [ms]."""
    from_ms, to_ms, width_ms = stretch
    on_ms = sum(bucket.on_ms for bucket in found)
    return HeatView(
        mat=mat.name,
        start=utc_text(from_ms),
        end=utc_text(to_ms),
        bucket_s=width_ms / 1000,
        known_s=sum(bucket.known_ms for bucket in found) / 1000,
        on_s=on_ms / 1000,
        energy_wh=round(watt_hours(mat.power_mw, on_ms), 3),
        empty_buckets="omitted",
        buckets=[_bucket_view(bucket) for bucket in found],
    )


def _bucket_view(bucket: HeatBucket) -> HeatBucketView:
    low_mc, high_mc = bucket.low_mc, bucket.high_mc
    return HeatBucketView(
        start=utc_text(bucket.start_ms),
        known_s=bucket.known_ms / 1000,
        on_s=bucket.on_ms / 1000,
        lowest_setpoint_c=None if low_mc is None else low_mc / 1000,
        highest_setpoint_c=None if high_mc is None else high_mc / 1000,
    )


def kept_view(
    tray: TrayPlan,
    span: tuple[int, int],
    found: tuple[Sequence[Sequence[Bucket]], Sequence[HeatBucket]],
    within_mk: int,
) -> KeptView:
    """Return how well a tray was kept; found are hours by probe, and its heat."""
    by_probe, heat = found
    counted = kept(_hours(by_probe), heat, within_mk)
    all_of = together(chain.from_iterable(by_probe))
    percent = 100 * counted.within / counted.hours if counted.hours else None
    return KeptView(
        tray=tray.name,
        start=utc_text(span[0]),
        end=utc_text(span[1]),
        hours=sum(1 for _ in _hours(by_probe)),
        hours_compared=counted.hours,
        hours_within=counted.within,
        within_k=within_mk / 1000,
        percent_within=None if percent is None else round(percent, 1),
        mean_c=None if all_of is None else round(all_of.sum_mc / all_of.n / 1000, 3),
        lowest_c=None if all_of is None else all_of.min_mc / 1000,
        highest_c=None if all_of is None else all_of.max_mc / 1000,
    )


def _hours(by_probe: Sequence[Sequence[Bucket]]) -> Iterator[Bucket]:
    """Yield the hours of all probes of a tray, every reading counting alike."""
    if len(by_probe) == 1:
        yield from by_probe[0]
        return
    for start_ms, some in groupby(merge(*by_probe, key=_start_ms), key=_start_ms):
        figures = together(some)
        if figures is not None:
            yield Bucket(start_ms, *figures)


def _start_ms(hour: Bucket) -> int:
    return hour.start_ms
