"""Preparing to stick: bleach, hormone and medium as amounts, and how to cut.

"1:10" is read by some as one part in ten altogether and by others as one part and
ten of water; so everything here is said as "1 part + n parts". What may live here:
that arithmetic and the words that go with it. Pure.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

PPM_PER_PERCENT = 10_000.0
"""1 % is 10,000 ppm."""

HOUSEHOLD_PERCENT = 5.25
"""Often the strength of household bleach (safety fact sheets, ehs.stanford.edu); the
label says which: 5 to 9 % are sold (cdc.gov, cleaning and disinfecting with bleach)."""

TOOLS_PERCENT = 0.5
"""One part of household bleach and nine or ten of water is about 0.5 % (Penn State
Extension: 1 gallon in 9, tools, pots and benches; common practice)."""

MOST_PERCENT = 15.0
"""Chosen: stronger stock is no household's; its label and its dangers are others."""

BLEACH_CAUTIONS = (
    "never with acid (vinegar, descaler) or ammonia, nor with any other cleaner:"
    " that gives poisonous gas",
    "open a window, wear gloves and eye protection, keep it from children",
    "what the label of the bleach says rules, also where you may pour it away",
    "clean first: dirt uses it up; then at least 10 min wet (WHO: 10 min wiped,"
    " 30 min immersed); rinse metal, which corrodes",
    "mix it fresh each day: it loses strength in light and warmth",
    "this is for tools, pots and benches; cuttings take far less, if any: only what"
    " the label allows on plants, try it on a few, and rinse",
)

CUTS = (
    "four to eight nodes each, one or two of them below the surface",
    "cut straight across above the top bud, and slanting below the basal node: then"
    " nobody sticks one upside down",
    "the basal cut about 12 mm below a node (3 to 12 mm are common)",
    "a clean sharp blade, wiped between mother plants",
    "label before you stick: code, date, cultivar",
)
"""Common practice."""

MEDIUM_POINTS = (
    "moisten by and by: begin with two thirds of the water, mix, and squeeze",
    "squeeze a handful: a drop or two between the fingers and no stream, and the lump"
    " breaks when you touch it: right; a stream: too wet; falls apart: too dry",
    "fill the containers and leave them on the warm mat overnight, so that the medium"
    " is warm before anything is stuck",
)
"""Common practice."""

WATER_ML_PER_L: Mapping[str, float] = {
    "peat": 350.0,
    "coir": 350.0,
    "compost": 250.0,
    "vermiculite": 300.0,
    "bark": 200.0,
    "perlite": 150.0,
    "pumice": 150.0,
    "sand": 100.0,
    "grit": 50.0,
}
"""Chosen, without a source, for dry material: where to begin, never where to end;
the squeeze decides."""

OTHER_ML_PER_L = 250.0

SETTLING = 0.10
"""Chosen: fine parts fall between coarse ones, and a mix is less than its parts."""


@dataclass(frozen=True, slots=True)
class Dilution:
    """One part of stock and so many of water, or of another solvent.

    Attributes:
        stock: Strength of the stock.
        wanted: Strength that is wanted, in the same unit.
        parts: So many parts to one part of stock.
        stock_ml: For the volume that was asked for [ml].
        other_ml: Of water, or of the other solvent [ml].
    """

    stock: float
    wanted: float
    parts: float
    stock_ml: float
    other_ml: float


@dataclass(frozen=True, slots=True)
class Part:
    """What of a mix is of one kind.

    Attributes:
        name: What it is.
        share: Its parts of the recipe.
        litres: How much to measure out [l].
        water_ml: How much water it takes to begin with [ml].
    """

    name: str
    share: float
    litres: float
    water_ml: float


@dataclass(frozen=True, slots=True)
class Mix:
    """A medium by its recipe.

    Attributes:
        litres: How much is wanted of it [l].
        parts: What to measure out.
        water_ml: Water to begin with, altogether [ml].
        water_ml_per_l: And for each litre of the mix [ml/l].
    """

    litres: float
    parts: tuple[Part, ...]
    water_ml: float
    water_ml_per_l: float


def dilution(stock: float, wanted: float, volume_ml: float) -> Dilution:
    """Return how to dilute: parts of the other are stock / wanted - 1.

    Args:
        stock: Strength of the stock, such as 5.25 for 5.25 %.
        wanted: Strength that is wanted, in the same unit.
        volume_ml: How much is wanted of it [ml].

    Raises:
        ValueError: It cannot be had, and why.
    """
    for name, value in (("stock", stock), ("wanted", wanted), ("volume", volume_ml)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name}: found {value:g}: must be more than 0")
    if wanted > stock:
        raise ValueError(
            f"wanted: found {wanted:g}: water makes nothing stronger than its stock,"
            f" {stock:g}"
        )
    stock_ml = volume_ml * wanted / stock
    return Dilution(stock, wanted, stock / wanted - 1, stock_ml, volume_ml - stock_ml)


def strength_of(stock: float, parts: float) -> float:
    """Return what one part of stock and so many parts of water come to."""
    return stock / (1 + parts)


def ambiguity(stock: float, unit: str = "%") -> str:
    """Return what "1:10" would come to either way."""
    total, added = strength_of(stock, 9), strength_of(stock, 10)
    return (
        f'"1:10" of {stock:g} {unit} is {total:.3g} {unit} to those who mean 1 part in'
        f" 10 altogether (1 + 9), and {added:.3g} {unit} to those who add 10 parts"
        " (1 + 10): say 1 + n"
    )


def mix(recipe: Sequence[tuple[str, float]], litres: float) -> Mix:
    """Return what to measure out for a medium.

    Args:
        recipe: Names and parts, such as [("perlite", 2), ("coir", 1)].
        litres: How much is wanted [l].

    Raises:
        ValueError: It is no recipe, or there is nothing to make.
    """
    if not recipe:
        raise ValueError("the recipe is empty: write such as 2 perlite + 1 coir")
    for name, share in recipe:
        if not (math.isfinite(share) and share > 0):
            raise ValueError(f"{name}: found {share:g} parts: must be more than 0")
    if not (math.isfinite(litres) and 0 < litres <= 10_000):  # noqa: PLR2004
        raise ValueError(f"found {litres:g} l: must be more than 0, at most 10,000")
    whole = sum(share for _, share in recipe)
    loose = litres * (1 + SETTLING) if len(recipe) > 1 else litres
    parts = tuple(_part(name, share, loose * share / whole) for name, share in recipe)
    water_ml = sum(part.water_ml for part in parts)
    return Mix(litres, parts, water_ml, water_ml / litres)


def _part(name: str, share: float, litres: float) -> Part:
    known = (ml for word, ml in WATER_ML_PER_L.items() if word in name.lower())
    return Part(name, share, litres, litres * next(known, OTHER_ML_PER_L))


def hormone_points(wanted_ppm: float, *, alcohol: bool) -> tuple[str, ...]:
    """Return what to mind with a hormone solution."""
    solvent = (
        "dilute an alcohol-based concentrate with half alcohol, half water: in water"
        " alone the hormone falls out (common practice)"
        if alcohol
        else "dilute a water-soluble salt with water"
    )
    return (
        solvent,
        "dip the bases, not the tops; quick dips take 5 s or so, as the label says",
        "pour some out for use, and never dip into the bottle",
        f"{wanted_ppm:g} ppm is {wanted_ppm / PPM_PER_PERCENT:g} %, as powders are"
        " labelled",
        "gloves; what the label says rules",
    )
