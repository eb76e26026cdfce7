"""What a sweep says, as a table: a row for each bench and mat."""

import textwrap
from collections.abc import Iterator, Sequence

from controller.cli.output import table
from controller.cli.sweep_rows import Answer, Figure, Row, Told, ZoneRow

_HEAD = ("bench", "mat", "log", "days", "warms by", "slow lag", "fast lag", "on")

_FOOT = """\
Warms by: above the room, were the mat never switched off; lags: of the slow and the
fast time constant; of the coolest and the warmest tray where they differ; - where the
log does not tell. On: of the time, in the log. Energy is of a closed loop in the
fitted model, ± 90 %."""

_UNTOLD = "-"
_WIDE = 88


def in_words(rows: Sequence[Row], wish: str | None) -> Iterator[str]:
    """Yield the table, and what it means.

    Args:
        rows: What each mat of each log tells.
        wish: What was wished; None: nothing.
    """
    if wish is not None:
        yield f"Wish: {wish}"
        yield ""
    last = "with the wish" if wish is not None else ""
    told = [_said(row) for row in rows]
    wide = max(len(text) for text in (last, *(text for _, text in told)))
    lines = [(*cells, text.ljust(wide)) for cells, text in told]
    yield table((*_HEAD, last.ljust(wide)), lines)
    yield ""
    yield _FOOT
    failed = [row for row in rows if row.why]
    if failed:
        yield f"{len(failed)} of {len(rows)} told nothing:"
    for row in failed:
        which = f"{row.log}, mat {row.mat}" if row.mat else row.log
        yield from textwrap.wrap(
            f"{which}: {row.why}", _WIDE, initial_indent="  ", subsequent_indent="    "
        )


def _said(row: Row) -> tuple[tuple[str, ...], str]:
    """Return the figures of a row, and its words."""
    if row.told is None:
        cells = (_UNTOLD, row.mat or _UNTOLD, row.log, *(_UNTOLD,) * (len(_HEAD) - 3))
        return cells, "nothing, see below"
    told = row.told
    trays = [zone for zone in told.zones if not zone.at_mat]
    cells = (
        told.bench,
        row.mat,
        row.log,
        f"{told.hours / 24:.1f}",
        _from_to([zone.gain_k for zone in trays], 1, "K"),
        _from_to([zone.slow_s for zone in trays], 1, "h", 3600),
        _from_to([zone.fast_s for zone in trays], 0, "min", 60),
        f"{told.duty:.0%}",
    )
    return cells, _words(told, trays)


def _from_to(
    figures: Sequence[Figure], digits: int, unit: str, per: float = 1.0
) -> str:
    """Return least and greatest of what is told; their errors are in --json."""
    values = [one.value / per for one in figures if one.value is not None]
    if not values:
        return _UNTOLD
    low, high = f"{min(values):.{digits}f}", f"{max(values):.{digits}f}"
    return f"{low} {unit}" if low == high else f"{low}-{high} {unit}"


def _words(told: Told, trays: Sequence[ZoneRow]) -> str:
    if told.answer is not None:
        return _recommended(told.answer)
    doubts = [zone.name for zone in trays if zone.verdicts]
    return f"not all is told of {', '.join(doubts)}" if doubts else ""


def _recommended(answer: Answer) -> str:
    if answer.recommended is None:
        return f"none: {answer.why_none}"
    if answer.unchanged:
        return "leave it as it is"
    now, then = answer.as_now.energy_kwh, answer.recommended.energy_kwh
    half = "" if then.high is None else f" ± {then.high - then.value:.2f}"
    return f"{answer.recommended.way}: {then.value:.2f}{half} of {now.value:.2f} kWh"
