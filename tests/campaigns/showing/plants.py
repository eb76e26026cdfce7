"""The plants of the shown season: invented, and drawn; their truth is known.

Each crop's true thermal time, its cultivars', its batches' and each single cutting's
are drawn around what the crop file says, as wide as the forecast takes them to be.
So windows that hold show that records, log and arithmetic hang together, and nothing
about real plants. What may live here: who is stuck where and when, and what becomes
of each cutting.
"""

import math
import random
from dataclasses import dataclass, field

from controller.core.units import DAY_MS, HOUR_MS
from controller.review.batch_warmth import WarmthPath
from controller.trials.crops import find_crop, prior_of
from tests.campaigns.forecast_coverage import World

HARDWOOD, SEED = "hardwood", "seed"
FASTER = 1.45
"""Cuttings of the trial in coir-perlite truly root so many times as fast."""

ARMS = ("coir-perlite", "bark-sand")
TRIAL_DAY, TRIAL_BASE_C = 3.0, 5.0

NEVER = math.inf


@dataclass(frozen=True)
class Stuck:
    """One batch as it is to be stuck, on a day of the season [d]."""

    crop: str
    kind: str
    cultivar: str
    tray: str
    count: int
    day: float
    medium: str
    early_leaf: bool = False


GRAPE, GOOSE, QUINCE = "grapevine", "gooseberry", "quince rootstock"

BATCHES = (
    Stuck(GRAPE, HARDWOOD, "Saddle Row", "N1", 30, 1.0, "coir-perlite"),
    Stuck(GOOSE, HARDWOOD, "Hollow Lane", "N2", 24, 1.0, "bark-sand"),
    Stuck(QUINCE, HARDWOOD, "Mill Pier", "N3", 30, 2.0, "peat-perlite"),
    Stuck("chilli", SEED, "Tin Lantern", "S1", 40, 3.0, "peat-perlite"),
    Stuck("aubergine", SEED, "Night Barge", "S2", 40, 3.0, "coir-perlite"),
    Stuck(GOOSE, HARDWOOD, "Fen Button", "N2", 24, 5.0, "bark-sand"),
    Stuck(GRAPE, HARDWOOD, "Cold Ladder", "N1", 18, 8.0, "coir-perlite", True),
    Stuck(QUINCE, HARDWOOD, "Wheel Yard", "N3", 18, 9.0, "peat-perlite"),
    Stuck("chilli", SEED, "Tin Lantern", "S1", 40, 24.0, "peat-perlite"),
    Stuck("aubergine", SEED, "Night Barge", "S2", 40, 24.0, "coir-perlite"),
)
"""Nothing here exists: no such cultivar, no such bench."""


@dataclass
class Plants:
    """One batch, with the truth of each of its cuttings.

    Attributes:
        code: Its label.
        stuck: What was stuck.
        roots: When each roots, or comes up [K·h]; infinite: never.
        leafs: When each leafs [K·h].
        path: The true thermal time of its tray from when it was stuck.
        unit: Its unit of the trial; empty: of none.
    """

    code: str
    stuck: Stuck
    roots: list[float]
    leafs: list[float]
    path: WarmthPath
    unit: str = ""
    seen: dict[str, int] = field(default_factory=dict)

    @property
    def half(self):
        """When the half-way one of those that root did [K·h]; None: none roots."""
        rooting = sorted(one for one in self.roots if one < NEVER)
        return rooting[math.ceil(len(rooting) / 2) - 1] if rooting else None

    @property
    def half_ms(self):
        """When that was [ms]; None: none roots."""
        return None if self.half is None else self.path.when(self.half)

    def rooted_by(self, utc_ms):
        """How many truly had rooted."""
        heat = self.path.at(utc_ms)
        return sum(one <= heat for one in self.roots)


class Population:
    """Draws plants, from a seed alone."""

    def __init__(self, seed, crops, hours):
        """Draw from what crops say, on the true root zones of trays."""
        self._draw = random.Random(seed)
        self._crops, self._hours = crops, hours
        self._worlds = {}
        self._cultivars = {}

    def _world(self, stuck):
        crop = find_crop(self._crops, stuck.crop, stuck.kind, seed=stuck.kind == SEED)
        if crop.key not in self._worlds:
            self._worlds[crop.key] = World(prior_of(crop), self._draw)
        known = self._cultivars.setdefault(crop.key, [])
        if stuck.cultivar not in known:
            known.append(stuck.cultivar)
        return crop, self._worlds[crop.key], known.index(stuck.cultivar)

    def path(self, stuck, stuck_ms):
        """Return the true thermal time of a batch in its tray."""
        crop, _, _ = self._world(stuck)
        known = self._hours[stuck.tray]
        pieces = [
            (max(hour * HOUR_MS, stuck_ms), (hour + 1) * HOUR_MS, temp_c)
            for hour, temp_c in sorted(known.items())
            if (hour + 1) * HOUR_MS > stuck_ms
        ]
        # Whatever comes later than the season comes as if it went on like its last
        # days: nobody is foretold anything by that, it only dates the truth.
        last = [temp_c for _, _, temp_c in pieces[-72:]]
        end_ms = pieces[-1][1]
        pieces.append((end_ms, end_ms + 200 * DAY_MS, sum(last) / len(last)))
        return WarmthPath(
            stuck_ms, [(a, b, crop.curve.warmth(temp)) for a, b, temp in pieces]
        )

    def plants(self, code, stuck, stuck_ms):
        """Draw a batch."""
        _, world, cultivar = self._world(stuck)
        roots = list(world.batch(cultivar, stuck.count).times)
        return self._grown(code, stuck, stuck_ms, roots, world)

    def pots(self, units, stuck_ms):
        """Draw the trial: one batch of single pots, two media.

        Args:
            units: Code, unit, tray and arm of each.
            stuck_ms: When all of them were stuck [ms].
        """
        like = Stuck(GOOSE, HARDWOOD, "Hollow Lane", "N1", 1, TRIAL_DAY, "")
        _, world, cultivar = self._world(like)
        times = list(world.batch(cultivar, len(units)).times)
        for (code, unit, tray, arm), time in zip(units, times, strict=True):
            stuck = Stuck(GOOSE, HARDWOOD, "Hollow Lane", tray, 1, TRIAL_DAY, arm)
            roots = [time / FASTER if arm == ARMS[0] else time]
            one = self._grown(code, stuck, stuck_ms, roots, world)
            one.unit = unit
            yield one

    def _grown(self, code, stuck, stuck_ms, roots, world):
        early = 0.3 if stuck.early_leaf else 1.25
        usual = math.log(world.prior.median * early)
        leafs = [math.exp(self._draw.gauss(usual, 0.15)) for _ in roots]
        if stuck.kind == SEED:
            leafs = roots
        return Plants(code, stuck, roots, leafs, self.path(stuck, stuck_ms))

    def sample(self, plants, some):
        """Return which cuttings are looked at."""
        return sorted(self._draw.sample(range(len(plants.roots)), some))
