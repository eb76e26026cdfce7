"""Where each arm goes: neighbours along warmth make a block, and a seed shuffles it.

The warm end of a mat must not pass for a good medium. Places are put in order from
the coldest to the warmest as a log shows it; neighbours in that order are a block,
in which every arm stands equally often; which place of a block gets which arm falls
to the seed. Fixed blocks along a known gradient tell more than moving pots about
("Blocking and re-arrangement of pots in greenhouse experiments", Plant Methods 2019,
s13007-019-0527-4). What may live here: that order, blocks and the shuffle.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.trials.permutation import Sizes, smallest_p
from controller.trials.shuffling import Shuffler

COMFORT = 0.01
"""Chosen: blocks are made finer as long as so small a p stays within reach."""


@dataclass(frozen=True, slots=True)
class Place:
    """A pot or tray, before anybody knows what goes into it.

    Attributes:
        name: What it is called.
        tray: The tray that it is, or stands in.
        position: Where in the tray, counted along it; 1 where it is the tray.
        temp_c: How warm it is there [°C]; None: nobody knows.
    """

    name: str
    tray: str
    position: int = 1
    temp_c: float | None = None


@dataclass(frozen=True, slots=True)
class Placed:
    """A place with what goes into it.

    Attributes:
        place: The place.
        block: Its block.
        cultivar: What is stuck there; empty: there is but one.
        arm: The treatment.
    """

    place: Place
    block: str
    cultivar: str
    arm: str = ""


def from_cold_to_warm(places: Sequence[Place]) -> list[Place]:
    """Return places in order of warmth; those of a tray stay in order beside it.

    Where the warmth of any is not known, all stay in the order in which they came.
    """
    if any(place.temp_c is None for place in places):
        return list(places)
    order = {place.tray: n for n, place in reversed(list(enumerate(places)))}
    return sorted(
        places, key=lambda one: (one.temp_c or 0.0, order[one.tray], one.position)
    )


def block_sizes(units: int, arms: int) -> list[int]:
    """Return how large blocks may be, finest first; the last is all in one block."""
    return [size for size in range(arms, units + 1, arms) if units % size == 0]


def sizes_in_blocks(units: int, arms: Sequence[str], size: int) -> Sizes:
    """Return how many units each arm has in blocks of a size."""
    each = dict.fromkeys(arms, size // len(arms))
    return [each for _ in range(units // size)]


def fitting_block(units: int, arms: Sequence[str], alpha: float = 0.05) -> int:
    """Return the finest size of blocks that leaves a small p within reach.

    Finer blocks take more of the gradient out, and leave fewer labellings: four
    pairs of trays never give a p below 0.125, whatever comes of them.

    Args:
        units: How many there are, a multiple of the arms.
        arms: The treatments.
        alpha: At which p something will be said.
    """
    found = {
        size: smallest_p(sizes_in_blocks(units, arms, size))
        for size in block_sizes(units, len(arms))
    }
    for limit in (COMFORT, alpha):
        within = [size for size, p in found.items() if p <= limit]
        if within:
            return within[0]
    return min(found, key=lambda size: (found[size], size))


def in_blocks(
    places: Sequence[Place], size: int, cultivars: Sequence[str] = ("",)
) -> list[Placed]:
    """Return places in blocks of neighbours, from cold to warm, without arms yet.

    Cultivars take turns from block to block, so that each is spread over the whole
    of the gradient, and none is compared with another.

    Args:
        places: The places, a multiple of size.
        size: How many make a block.
        cultivars: What is stuck; a block has but one.

    Raises:
        ValueError: They do not come out even.
    """
    if not places or size < 1 or len(places) % size:
        raise ValueError(f"{len(places)} places do not make blocks of {size}")
    blocks = len(places) // size
    if blocks % len(cultivars):
        raise ValueError(
            f"{blocks} blocks cannot be shared evenly by {len(cultivars)} cultivars"
        )
    found = []
    for n, place in enumerate(from_cold_to_warm(places)):
        block = n // size
        cultivar = cultivars[block % len(cultivars)]
        found.append(Placed(place, f"{block + 1}", cultivar))
    return found


def shuffled(placed: Sequence[Placed], arms: Sequence[str], seed: int) -> list[Placed]:
    """Return places with arms: in each block every arm equally often, by the seed.

    Args:
        placed: Places in blocks, block after block.
        arms: The treatments; their number divides the size of each block.
        seed: The same seed gives the same plan, on any machine.

    Raises:
        ValueError: A block does not come out even.
    """
    stream = Shuffler(seed)
    found: list[Placed] = []
    for block in dict.fromkeys(one.block for one in placed):
        own = [one for one in placed if one.block == block]
        if len(own) % len(arms):
            raise ValueError(f"{len(own)} places cannot be shared by {len(arms)} arms")
        labels = stream.shuffled(list(arms) * (len(own) // len(arms)))
        found += [replace(one, arm=arm) for one, arm in zip(own, labels, strict=True)]
    return found
