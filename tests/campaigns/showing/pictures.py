"""Pictures of the shown season, as SVG of our own; all labelled invented.

What may live here: marks for windows and for the trial.
"""

import math

from controller.core.units import DAY_MS
from controller.review.drawing import Line, Page, Text, fitted, svg
from tests.campaigns.showing.bench import BEGIN_MS
from tests.campaigns.showing.plants import ARMS, FASTER, NEVER

WIDE = 230.0
LEFT, RIGHT, TOP = 52.0, 8.0, 30.0
ROW, GAP = 1.9, 3.4
_GREY = {ARMS[0]: 0.0, ARMS[1]: 0.55}


class _Scale:
    """From values to millimetres along a picture."""

    def __init__(self, low, high, left, right):
        self._low, self._high, self._left, self._right = low, high, left, right

    def __call__(self, value):
        """Return the place of a value, kept inside."""
        part = (value - self._low) / (self._high - self._low)
        return self._left + min(1.0, max(0.0, part)) * (self._right - self._left)


def _steps(span):
    return next(n for n in (1, 2, 5, 7, 14, 28, 56, 112) if span / n <= 12)


def windows(batches, told, end_ms):
    """Return the picture of windows as they stood.

    Args:
        batches: The batches, in order.
        told: All windows.
        end_ms: When it ended [ms].
    """
    rows = [(one, [w for w in told if w.code == one.code]) for one in batches]
    rows = [(one, own) for one, own in rows if own]
    known = [one.half_ms for one, _ in rows if one.half_ms is not None]
    last = max([end_ms, *known])
    last += (last - BEGIN_MS) // 20
    span = (last - BEGIN_MS) / DAY_MS
    x = _Scale(0, span, LEFT, WIDE - RIGHT)
    high = TOP + sum(len(own) * ROW + GAP for _, own in rows) + 10
    marks = [
        Text(
            x=6, y=8, text="When half had rooted: foretold, and true", size=5, bold=True
        ),
        Text(
            x=6,
            y=14,
            text=(
                "An invented season: bench, cultivars, cuttings and their truth are"
                " drawn from a seed; nothing here was grown."
            ),
            size=3,
        ),
        Text(
            x=6,
            y=18.5,
            text=(
                "From top to bottom forecasts made later. Thin: nine times of ten."
                " Thick: as likely as not. Bar: the median. Short bar: made then."
                " Dashed: true."
            ),
            size=3,
        ),
    ]
    step = _steps(span)
    for day in range(0, int(span) + 1, step):
        marks.append(Line(x1=x(day), y1=TOP - 2, x2=x(day), y2=high - 8, grey=0.85))
        marks.append(
            Text(x=x(day), y=TOP - 4, text=f"day {day}", size=2.6, anchor="middle")
        )
    y = TOP + 1
    for one, own in rows:
        marks += _row(one, own, y, x)
        y += len(own) * ROW + GAP
    return svg(Page(WIDE, high, tuple(marks)))


def _day(utc_ms):
    return (utc_ms - BEGIN_MS) / DAY_MS


def _row(one, own, y, x):
    stuck = one.stuck
    # Two lines of text need some room; a single forecast has less.
    name = fitted(f"{one.code}  {stuck.crop}", 3, LEFT - 9, bold=True)
    yield Text(x=6, y=y + 2, text=name, size=3, bold=True)
    if len(own) > 1:
        text = fitted(f"{stuck.cultivar}, {len(one.roots)} in {stuck.tray}", 2.6, 42)
        yield Text(x=6, y=y + 5.4, text=text, size=2.6, grey=0.3)
    for n, window in enumerate(own):
        at = y + n * ROW + 0.6
        yield from _window(window, at, x)
    if one.half_ms is not None:
        true = x(_day(one.half_ms))
        low = y + len(own) * ROW
        yield Line(x1=true, y1=y - 1.2, x2=true, y2=low + 0.4, width=0.35, dashed=True)


def _window(window, y, x):
    far = 10_000.0
    ends = [far if one is None else _day(one) for one in window.when_ms]
    made = x(_day(window.at_ms))
    yield Line(x1=made, y1=y - 0.6, x2=made, y2=y + 0.6, width=0.3, grey=0.5)
    yield Line(x1=x(ends[0]), y1=y, x2=x(ends[4]), y2=y, width=0.25, grey=0.35)
    yield Line(x1=x(ends[1]), y1=y, x2=x(ends[3]), y2=y, width=1.0, grey=0.55)
    if ends[2] < far:
        median = x(ends[2])
        yield Line(x1=median, y1=y - 0.75, x2=median, y2=y + 0.75, width=0.5)


def trial(pots, stuck_ms, last_ms):
    """Return the picture of the trial: the truth, and what looks showed of it."""
    x_days = _Scale(0, (last_ms - stuck_ms) / DAY_MS, 22, 108)
    heat = max(one.path.at(last_ms) for one in pots)
    x_heat = _Scale(0, heat, 132, 218)
    marks = [
        Text(x=6, y=8, text="The trial: gooseberry in two media", size=5, bold=True),
        Text(
            x=6,
            y=14,
            text=(
                "Invented: in truth coir-perlite is"
                f" {FASTER:g} times as fast. Lines: what was true."
                " Crosses: what the looks had shown by then."
            ),
            size=3,
        ),
    ]
    marks += _frame(x_days, (last_ms - stuck_ms) / DAY_MS, "days since stuck")
    marks += _frame(x_heat, heat, "K·h in the true root zone")
    for arm in ARMS:
        own = [one for one in pots if one.stuck.medium == arm]
        marks += _true(
            own, arm, x_days, lambda o, k: (o.path.when(k) - stuck_ms) / DAY_MS
        )
        marks += _true(own, arm, x_heat, lambda _, k: k)
        marks += _seen(own, arm, x_days, lambda _, ms: (ms - stuck_ms) / DAY_MS)
        marks += _seen(own, arm, x_heat, lambda o, ms: o.path.at(ms))
    return svg(Page(WIDE, 112, tuple(marks)))


_LOW, _HIGH = 96.0, 24.0


def _y(share):
    return _LOW + share * (_HIGH - _LOW)


def _frame(x, most, title):
    left, right = x(0), x(most)
    for tenth in range(0, 11, 5):
        y = _y(tenth / 10)
        yield Line(x1=left, y1=y, x2=right, y2=y, grey=0.85)
        said = f"{10 * tenth} %"
        yield Text(x=left - 1.5, y=y + 1, text=said, size=2.8, anchor="end")
    step = _steps(most) if most < 100 else 10 ** int(math.log10(most)) // 2
    for value in range(0, int(most) + 1, step):
        yield Line(x1=x(value), y1=_LOW, x2=x(value), y2=_LOW + 1.2)
        said = f"{value:,}"
        yield Text(x=x(value), y=_LOW + 4.6, text=said, size=2.8, anchor="middle")
    middle = (left + right) / 2
    yield Text(x=middle, y=_LOW + 10, text=title, size=3, anchor="middle")


def _true(own, arm, x, where):
    grey, share, at = _GREY[arm], 0.0, x(0)
    for one in sorted(own, key=lambda one: one.roots[0]):
        if one.roots[0] == NEVER:
            continue
        there = x(where(one, one.roots[0]))
        yield Line(x1=at, y1=_y(share), x2=there, y2=_y(share), width=0.5, grey=grey)
        more = share + 1 / len(own)
        yield Line(x1=there, y1=_y(share), x2=there, y2=_y(more), width=0.5, grey=grey)
        share, at = more, there
    yield Line(x1=at, y1=_y(share), x2=x(NEVER), y2=_y(share), width=0.5, grey=grey)
    y = _y(share) - 1.2 if arm == ARMS[0] else _y(share) + 3.6
    right = x(NEVER)
    yield Text(x=right, y=y, text=arm, size=3, bold=True, anchor="end", grey=grey)


def _seen(own, arm, x, where):
    found = sorted(
        where(one, one.seen["off"])
        for one in own
        if one.seen.get("closed") and "off" in one.seen
    )
    for n, at in enumerate(found, 1):
        if n < len(found) and found[n] - at < 0.03 * found[-1]:
            continue  # looked at together; two trays differ by a little
        here, y = x(at), _y(n / len(own))
        for up in (-1.1, 1.1):
            yield Line(
                x1=here - 1.1,
                y1=y - up,
                x2=here + 1.1,
                y2=y + up,
                width=0.4,
                grey=_GREY[arm],
            )
