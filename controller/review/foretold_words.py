"""The rooting forecast as dates, words and JSON.

What may live here: that telling, as api.forecast_shapes has its shape.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.review.foretold import Foretold
from controller.review.looks_as_evidence import is_seed
from controller.trials.crops import GUESS, Crop
from controller.trials.pooling import Posterior
from controller.trials.response_curves import bounds_in_words

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DATES = ("from_90", "from_50", "median", "to_50", "to_90")

Json = dict[str, object]

MEANING = (
    "a date says by when half of those that will root (of seed: come up) have; its"
    " windows hold that as likely as not, and nine times of ten"
)


def local_date(utc_ms: int, timezone: str) -> str:
    """Return the local date of a moment [ms], such as "2027-03-08"."""
    at = (_EPOCH + timedelta(milliseconds=utc_ms)).astimezone(ZoneInfo(timezone))
    return at.date().isoformat()


def dates_of(one: Foretold, timezone: str) -> dict[str, str | None] | None:
    """Return the dates that are foretold of a batch; None: there are none."""
    if one.why_none:
        return None
    return {
        name: None if at is None else local_date(at, timezone)
        for name, at in zip(_DATES, one.when_ms, strict=True)
    }


def batch_json(one: Foretold, timezone: str, now_utc_ms: int) -> Json:
    """Return what is foretold of a batch, as JSON has it."""
    batch, code = one.file.batch, one.file.code
    dates = dates_of(one, timezone)
    return {
        "id": code,
        "code": code,
        "href": f"/v1/batches/{code}",
        "crop": batch.crop,
        "cultivar": batch.cultivar,
        "half_rooted": dates,
        "why_none": one.why_none or None,
        "share_rooted": _share(one.posterior),
        "own_share": 0.0 if one.posterior is None else round(one.posterior.own, 3),
        "reached": one.reached,
        "degree_hours_k_h": None if one.so_far is None else round(one.so_far, 1),
        "base_c": None if one.curve is None else one.curve.base_c,
        "needs_k_h": _needs(one),
        "words": _text(_sentences(one, dates, timezone, now_utc_ms)),
        "notes": list(one.notes),
        "sources": _sources(one.crop),
    }


def _text(sentences: Iterable[str]) -> str:
    return " ".join(f"{said[:1].upper()}{said[1:]}." for said in sentences)


def _share(known: Posterior | None) -> Json | None:
    if known is None:
        return None
    return {
        "expected": round(known.share(), 3),
        "from_90": round(known.share_at(0.05), 3),
        "to_90": round(known.share_at(0.95), 3),
    }


def _needs(one: Foretold) -> Json | None:
    if not one.needs:
        return None
    low, _, median, _, high = one.needs
    return {
        "from_90": round(low, 1),
        "median": round(median, 1),
        "to_90": round(high, 1),
    }


def _sources(crop: Crop | None) -> list[str]:
    return [] if crop is None else [f"{k}: {said}" for k, said in crop.sources.items()]


def _sentences(
    one: Foretold, dates: dict[str, str | None] | None, timezone: str, now_utc_ms: int
) -> Iterator[str]:
    if dates is None:
        yield one.why_none
    else:
        yield _dated(one, dates, timezone, now_utc_ms)
    if one.so_far is not None and one.needs and one.curve is not None:
        low, _, median, _, high = one.needs
        yield (
            f"{one.so_far:,.0f} of some {median:,.0f} K·h ({low:,.0f} to {high:,.0f}),"
            f" counted {bounds_in_words(one.curve)}"
        )
    if one.posterior is not None:
        yield _whose(one)
        yield _share_words(one.posterior, seed=is_seed(one.file))


def _dated(
    one: Foretold, dates: dict[str, str | None], timezone: str, now_utc_ms: int
) -> str:
    done = "come up" if is_seed(one.file) else "rooted"
    will = "come up" if is_seed(one.file) else "root"
    bracket = one.bracket
    if bracket is not None and bracket.by_utc_ms is not None:
        after = local_date(bracket.after_utc_ms, timezone)
        by = local_date(bracket.by_utc_ms, timezone)
        return (
            f"half of those that {will} had {done} between {after} and {by}, by the"
            " looks"
        )
    text = (
        f"half of those that will {will} have {done} by {dates['median']}, as likely"
        f" as not {_span(dates['from_50'], dates['to_50'])}, nine times of ten"
        f" {_span(dates['from_90'], dates['to_90'])}"
    )
    today = local_date(now_utc_ms, timezone)
    if dates["median"] is not None and dates["median"] < today:
        text += ": by now it is more likely than not, so have a look"
    return text


def _span(low: str | None, high: str | None) -> str:
    return f"after {low}" if high is None else f"from {low} to {high}"


def _share_words(known: Posterior, *, seed: bool) -> str:
    low, high = known.share_at(0.05), known.share_at(0.95)
    verb = "come up" if seed else "root"
    return (
        f"{100 * known.share():.0f} % are expected to {verb}"
        f" ({100 * low:.0f} to {100 * high:.0f} %)"
    )


def _whose(one: Foretold) -> str:
    """Return how much of what is known is the grower's own."""
    own = 0.0 if one.posterior is None else one.posterior.own
    if one.crop is None:
        return "all that is known of this crop is from your own looks"
    needs = one.crop.sources.get("needs", "")
    what = (
        "the crop file, a guess without a source"
        if needs.startswith(GUESS)
        else "the crop file"
    )
    if own < 0.005:  # noqa: PLR2004  # less than half a per cent is told as none
        return f"all of that is from {what}, none yet from your own looks"
    return f"{100 * own:.0f} % of that is from your own looks, the rest from {what}"


def report(
    told: Sequence[Foretold], timezone: str, now_utc_ms: int, scores: Json
) -> Json:
    """Return the whole forecast as JSON has it, without its history."""
    opened = [one for one in told if one.file.closing is None]
    at = (_EPOCH + timedelta(milliseconds=now_utc_ms)).replace(tzinfo=None)
    return {
        "at": at.isoformat(timespec="milliseconds") + "Z",
        "batches": [batch_json(one, timezone, now_utc_ms) for one in opened],
        "scores": scores,
        "words": MEANING if opened else "there is no open batch to foretell",
    }
