"""Forty to sixty minutes of a mat's surface: is it warmed, and by how much? Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

SHORTEST_MS, LONGEST_MS = 40 * 60_000, 60 * 60_000
"""Chosen: a mat under trays is most of its way after 40 minutes [ms]."""

HOTTEST_MC = 40_000
"""Chosen: below the surface limit that a mat has unless you write another one
(42 °C): the test ends there [m°C]."""

LEAST_MK = 2_000
"""Chosen: a mat of 40 W/m² in still air, the weakest that is sold for this, warms its
surface by some 4 K (0.10 K per W/m²: ISO 6946's film) [mK]."""

STEADY_MK = 300
"""A surface that moved by less in ten minutes is where it stays [mK]."""

SILENT_MS = 180_000
"""Chosen: no heat for longer without a word from a probe that guards it; a mat in
the open warms by a few kelvin in that time [ms]."""

_TEN_MINUTES_MS = 600_000


@dataclass(frozen=True, slots=True)
class Verdict:
    """What to do with a mat that is being tested.

    Attributes:
        over: Whether the test is over.
        well: Whether the mat does what a mat does.
        text: What was seen, in a sentence.
    """

    over: bool
    well: bool
    text: str


def judged(samples: Sequence[tuple[int, int]], now_ms: int) -> Verdict:
    """Return what to think of a mat that has been on since the first sample.

    Args:
        samples: When [ms] and how warm [m°C] its surface was; at least one.
        now_ms: The present time [ms].
    """
    (began_ms, first), (last_ms, last) = samples[0], samples[-1]
    risen_mk, gone_ms = last - first, now_ms - began_ms
    seen = f"{risen_mk / 1000:.1f} K warmer after {gone_ms / 60_000:.0f} min"
    if now_ms - last_ms > SILENT_MS:
        return Verdict(over=True, well=False, text="its surface probe fell silent")
    if last >= HOTTEST_MC:
        text = f"reached {last / 1000:.0f} °C, {seen}: it needs its limits"
        return Verdict(over=True, well=True, text=text)
    early = gone_ms < SHORTEST_MS or (gone_ms < LONGEST_MS and not _steady(samples))
    text, well = f"{seen}, {last / 1000:.1f} °C at the end", risen_mk >= LEAST_MK
    if not well:
        text = f"only {seen}: is it plugged into this relay, and is the probe on it?"
    return Verdict(over=not early, well=well, text=seen if early else text)


def _steady(samples: Sequence[tuple[int, int]]) -> bool:
    last_ms, last = samples[-1]
    before = [milli for at, milli in samples if at <= last_ms - _TEN_MINUTES_MS]
    return bool(before) and abs(last - before[-1]) < STEADY_MK
