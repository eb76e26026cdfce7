"""A mat's heat and how well a tray was kept, as the API shows them. Pure.

What may live here: from buckets to plain dicts. No requests.
"""

from collections.abc import Sequence

from api.formats import utc_text
from api.shapes import HeatBucketView, HeatView, KeptView
from controller.core.plan import MatPlan, TrayPlan
from controller.core.units import watt_hours
from controller.ports import Bucket
from controller.review.envelopes import Figures, added
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
    hours = _together(by_probe)
    counted = kept(hours, heat, within_mk)
    n = sum(hour.n for hour in hours)
    percent = 100 * counted.within / counted.hours if counted.hours else None
    return KeptView(
        tray=tray.name,
        start=utc_text(span[0]),
        end=utc_text(span[1]),
        hours=len(hours),
        hours_compared=counted.hours,
        hours_within=counted.within,
        within_k=within_mk / 1000,
        percent_within=None if percent is None else round(percent, 1),
        mean_c=round(sum(hour.sum_mc for hour in hours) / n / 1000, 3) if n else None,
        lowest_c=min(hour.min_mc for hour in hours) / 1000 if hours else None,
        highest_c=max(hour.max_mc for hour in hours) / 1000 if hours else None,
    )


def _together(by_probe: Sequence[Sequence[Bucket]]) -> list[Bucket]:
    """Return the hours of all probes of a tray, every reading counting alike."""
    found: dict[int, Figures] = {}
    for hours in by_probe:
        for hour in hours:
            more = Figures(hour.n, hour.min_mc, hour.max_mc, hour.sum_mc)
            added(found, hour.start_ms, more)
    return [Bucket(start_ms, *found[start_ms]) for start_ms in sorted(found)]
