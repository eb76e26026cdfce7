"""What is known of crops before anybody looked: curve, degree-hours, share.

Every value says where it comes from. What may live here: the shape of a crop, the
prior that follows from it, and which one a batch has. Nothing of files.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from controller.trials.pooling import BETWEEN_BATCHES, BETWEEN_CULTIVARS, Prior
from controller.trials.response_curves import Curve

GUESS = "no source: a guess"
"""How the source of a value begins that has none."""

_NINE_TENTHS = 1.6449
_LEAST_DOUBT = 0.08
"""Chosen: no crop file knows a crop's thermal time better than to some 8 %."""

_UNKNOWN = Prior(median=4_000.0, doubt=0.9, within=0.25, share=0.5, weight=2.0)
"""Chosen: what stands for a crop that no file has, once somebody has looked at its
batches: anything from 900 to 18 000 K·h, and any share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One crop, as cuttings or as seed.

    Attributes:
        name: What growers call it.
        also: Other names.
        seed: Whether seed is sown: emergence; else cuttings are stuck: rooting.
        kinds: Of what wood; empty: of any.
        curve: How the rate follows the temperature.
        needs: Degree-hours at which half of those that root have rooted [K·h].
        low: In nine batches of ten it is not less [K·h].
        high: And not more [K·h].
        spread: Within a batch two thirds root within this factor around the median.
        share: Share that roots.
        weight: As sure of that as after so many cuttings.
        sources: Where each value comes from, by its key.
    """

    name: str
    also: tuple[str, ...] = ()
    seed: bool = False
    kinds: tuple[str, ...] = ()
    curve: Curve
    needs: float
    low: float
    high: float
    spread: float
    share: float
    weight: float
    sources: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not 0 < self.low < self.needs < self.high < math.inf:
            raise ValueError(
                f"needs {self.needs:g} K·h, low {self.low:g}, high {self.high:g}: the"
                " one must lie between the others, all above 0"
            )
        if not 1 < self.spread < math.inf:
            raise ValueError(f"spread {self.spread:g}: a factor above 1, such as 1.25")
        if not (0 < self.share < 1 and 0 < self.weight < math.inf):
            raise ValueError(
                f"share {self.share:g}, weight {self.weight:g}: a share lies between 0"
                " and 1, and weighs more than nothing"
            )

    @property
    def key(self) -> tuple[str, bool, tuple[str, ...]]:
        """What a crop of another file must share to stand in its place."""
        return self.name.casefold(), self.seed, tuple(sorted(self.kinds))

    @property
    def guessed(self) -> tuple[str, ...]:
        """Which values have no source."""
        found = self.sources.items()
        return tuple(key for key, source in found if source.startswith(GUESS))


def prior_of(crop: Crop | None) -> Prior:
    """Return what a crop says of its batches; None: of one that nobody knows."""
    if crop is None:
        return _UNKNOWN
    whole = math.log(crop.high / crop.low) / (2 * _NINE_TENTHS)
    between = BETWEEN_BATCHES**2 + BETWEEN_CULTIVARS**2
    return Prior(
        median=crop.needs,
        doubt=math.sqrt(max(whole * whole - between, _LEAST_DOUBT**2)),
        within=math.log(crop.spread),
        share=crop.share,
        weight=crop.weight,
    )


def find_crop(
    crops: Iterable[Crop], name: str, kind: str, *, seed: bool
) -> Crop | None:
    """Return the crop of a batch; one for its kind of wood goes before one for any.

    Args:
        crops: All that are known.
        name: What the batch's crop is called; upper and lower case are alike.
        kind: Of what wood it is.
        seed: Whether it is seed.
    """
    wanted = " ".join(name.casefold().split())
    found = [
        crop
        for crop in crops
        if crop.seed == seed
        and wanted in {one.casefold() for one in (crop.name, *crop.also)}
        and (not crop.kinds or kind in crop.kinds)
    ]
    return max(found, key=lambda crop: bool(crop.kinds), default=None)


def joined(crops: Iterable[Crop], more: Iterable[Crop]) -> tuple[Crop, ...]:
    """Return crops, with those of another file added, or in place of the same."""
    known = {crop.key: crop for crop in crops}
    known.update({crop.key: crop for crop in more})
    return tuple(known.values())
