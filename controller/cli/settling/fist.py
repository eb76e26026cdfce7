"""Which probe is in the fist? Pure: from values as they come."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

CLEAR_MK = 2_500
"""Chosen: a hand has some 33 °C, and a probe in a room of 15 to 25 °C rises by that
within a minute or two, which nothing else on a table does [mK]."""

OTHERS = 0.5
"""Chosen: of a second probe that rises by this share of the first, nobody can say
which of the two is meant."""

WARM_ROOM_MC = 29_000
"""Where probes are as warm as that a fist warms none: cold water tells them apart."""


@dataclass(frozen=True, slots=True)
class Fist:
    """What became of it.

    Attributes:
        address: The probe; None: none yet.
        risen_mk: By how much it has moved [mK].
        rivals: Others that moved as well.
    """

    address: str | None
    risen_mk: int = 0
    rivals: tuple[str, ...] = ()


def needs_cold(values: Mapping[str, int]) -> bool:
    """Whether the room is too warm for a fist."""
    ordered = sorted(values.values())
    return bool(ordered) and ordered[len(ordered) // 2] >= WARM_ROOM_MC


def in_the_fist(
    rounds: Sequence[Mapping[str, int]], known: Sequence[str], *, cold: bool = False
) -> Fist:
    """Return which probe was warmed, or cooled.

    A probe that was let go falls while the next one rises: what counts is by how much
    each stands above its lowest value of this round.

    Args:
        rounds: Values by address [m°C], in order of time, of this round.
        known: Addresses that have a name already.
        cold: Whether it is cooled instead.
    """
    sign = -1 if cold else 1
    moved: dict[str, int] = {}
    lowest: dict[str, int] = {}
    for values in rounds:
        for address, milli in values.items():
            warmth = sign * milli
            lowest[address] = min(lowest.get(address, warmth), warmth)
            moved[address] = warmth - lowest[address]
    unknown = {address: by for address, by in moved.items() if address not in known}
    if not unknown:
        return Fist(None)
    first = max(unknown, key=lambda address: (unknown[address], address))
    rivals = tuple(
        sorted(
            a for a, by in moved.items() if a != first and by > OTHERS * moved[first]
        )
    )
    if unknown[first] < CLEAR_MK:
        return Fist(None, unknown[first])
    return Fist(None if rivals else first, unknown[first], rivals)
