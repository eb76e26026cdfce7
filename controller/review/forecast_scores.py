"""Earlier forecasts kept, and held against what came: were their windows right?

Of each batch the first forecast is kept, and one a week after that. The first is
scored once looks show that half have rooted: its window of 90 % is right if it holds
all of the stretch in which that happened, wrong if it holds none of it, and unclear
else. What may live here: keeping and scoring. Pure.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from controller.core.units import DAY_MS
from controller.review.foretold import Foretold
from controller.review.foretold_words import Json, dates_of, local_date

WEEKLY_MS = 7 * DAY_MS


@dataclass(frozen=True, slots=True)
class Issued:
    """A forecast that was given.

    Attributes:
        code: Of which batch.
        at_utc_ms: When [ms].
        from_90: Its window of 90 %, a local date.
        to_90: The same; None: it has no end.
    """

    code: str
    at_utc_ms: int
    from_90: str
    to_90: str | None


def issued_from(kept: object) -> list[Issued]:
    """Return the forecasts that a file holds; what is none of them is left out."""
    found = kept if isinstance(kept, list) else []
    return [one for one in map(_issued, found) if one is not None]


def _issued(kept: object) -> Issued | None:
    if not isinstance(kept, dict):
        return None
    code, at = kept.get("code"), kept.get("at_utc_ms")
    low, high = kept.get("from_90"), kept.get("to_90")
    if not (isinstance(code, str) and isinstance(at, int) and isinstance(low, str)):
        return None
    return Issued(code, at, low, high if isinstance(high, str) else None)


def as_kept(history: Iterable[Issued]) -> list[Json]:
    """Return forecasts as a file holds them."""
    return [
        {
            "code": one.code,
            "at_utc_ms": one.at_utc_ms,
            "from_90": one.from_90,
            "to_90": one.to_90,
        }
        for one in history
    ]


def with_today(
    history: Sequence[Issued], told: Iterable[Foretold], timezone: str, now_utc_ms: int
) -> list[Issued]:
    """Return the history with the forecasts of now, those that are to be kept."""
    last = {one.code: one.at_utc_ms for one in history}
    return [*history, *_fresh(last, told, timezone, now_utc_ms)]


def _fresh(
    last: dict[str, int], told: Iterable[Foretold], timezone: str, now_utc_ms: int
) -> Iterator[Issued]:
    for one in told:
        dates, code = dates_of(one, timezone), one.file.code
        if dates is None or one.reached or one.file.closing is not None:
            continue
        low = dates["from_90"]
        if low is not None and now_utc_ms - last.get(code, -WEEKLY_MS) >= WEEKLY_MS:
            yield Issued(code, now_utc_ms, low, dates["to_90"])


def scores(history: Sequence[Issued], told: Iterable[Foretold], timezone: str) -> Json:
    """Return how the first forecast of each batch did, as JSON has it."""
    first: dict[str, Issued] = {}
    for one in history:
        first.setdefault(one.code, one)
    counts = {"right": 0, "wrong": 0, "unclear": 0}
    for batch in told:
        issued = first.get(batch.file.code)
        verdict = None if issued is None else verdict_on(issued, batch, timezone)
        if verdict is not None:
            counts[verdict] += 1
    return {**counts, "words": _in_words(counts)}


def verdict_on(issued: Issued, one: Foretold, timezone: str) -> str | None:
    """Return "right", "wrong" or "unclear"; None: it has not come to pass."""
    bracket = one.bracket
    if bracket is None or bracket.by_utc_ms is None:
        return None
    if issued.at_utc_ms >= bracket.by_utc_ms:  # it knew already
        return None
    after = local_date(bracket.after_utc_ms, timezone)
    by = local_date(bracket.by_utc_ms, timezone)
    if by < issued.from_90 or (issued.to_90 is not None and after > issued.to_90):
        return "wrong"
    ends_within = issued.to_90 is None or by <= issued.to_90
    return "right" if issued.from_90 <= after and ends_within else "unclear"


def _in_words(counts: dict[str, int]) -> str:
    total = sum(counts.values())
    if not total:
        return "no earlier forecast has come to pass yet"
    return (
        f"of {total} first forecasts that came to pass {counts['right']} windows of"
        f" 90 % were right, {counts['wrong']} wrong; of {counts['unclear']} the looks"
        " are too far apart to tell"
    )
