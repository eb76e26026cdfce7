"""Cuttings of one tray do alike: shares of trays, more apart than chance makes them.

Counts of a tray are beta-binomial: a tray's own share is a beta number around that
of its arm, so that two of its cuttings are correlated by rho, the same in all arms
(Williams 1975, Biometrics 31: 949-952; from memory). What may live here: that fit,
and plainer measures of the same.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from controller.trials.proportions import Interval
from controller.trials.special import (
    chi_square_above,
    crossing,
    highest,
    ln_beta,
    ln_choose,
    student_quantile,
)

Counts = Sequence[tuple[int, int]]
"""How many rooted, of how many, tray by tray."""

_GRID = (0.0, *(0.002 * 1.18**n for n in range(38)))
_EDGE = 1e-9


@dataclass(frozen=True, slots=True)
class ArmShare:
    """The share of an arm whose trays differ.

    Attributes:
        share: The likeliest.
        interval: Where it may lie.
    """

    share: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class Together:
    """What trays tell of all arms.

    Attributes:
        arms: Each arm's share.
        rho: The likeliest correlation of two cuttings of one tray, 0 or above.
        log_likelihood: How likely the counts are.
    """

    arms: Mapping[str, ArmShare]
    rho: float
    log_likelihood: float


def ln_chance(rooted: int, n: int, share: float, rho: float) -> float:
    """Return ln of the beta-binomial chance of so many of n.

    Args:
        rooted: How many.
        n: Of how many.
        share: The mean share.
        rho: Correlation of two; 0: binomial.
    """
    if share <= 0 or share >= 1:
        sure = n if share >= 1 else 0
        return 0.0 if rooted == sure else -math.inf
    ways = ln_choose(n, rooted)
    if rho < 1e-8:  # noqa: PLR2004 - the same to rounding
        return ways + rooted * math.log(share) + (n - rooted) * math.log1p(-share)
    size = 1 / rho - 1
    a, b = share * size, (1 - share) * size
    return ways + ln_beta(a + rooted, b + n - rooted) - ln_beta(a, b)


def _ln_all(counts: Counts, share: float, rho: float) -> float:
    return sum(ln_chance(rooted, n, share, rho) for rooted, n in counts)


def _likeliest(counts: Counts, rho: float) -> tuple[float, float]:
    """Return the likeliest share at a correlation, and ln of its likelihood."""
    if all(rooted == 0 for rooted, _ in counts):
        return 0.0, 0.0
    if all(rooted == n for rooted, n in counts):
        return 1.0, 0.0
    return highest(lambda share: _ln_all(counts, share, rho), _EDGE, 1 - _EDGE)


def together(arms: Mapping[str, Counts], level: float = 0.95) -> Together:
    """Return the shares of arms from their trays, with profile-likelihood intervals.

    The cut is that of Student's t on as many degrees of freedom as there are trays
    less arms, not the normal one, which is too narrow for few trays (chosen, after
    the same change in linear models). Without any degree of freedom an interval is
    0 to 1: one tray tells nothing of how trays differ.

    Args:
        arms: For each arm its trays.
        level: How often such an interval holds the true share, about.

    Raises:
        ValueError: An arm has no tray, or a tray no cuttings.
    """
    for arm, counts in arms.items():
        if not counts or any(not 0 <= rooted <= n or n < 1 for rooted, n in counts):
            raise ValueError(f"arm {arm}: found {list(counts)}: rooted of n, n from 1")
    tops = {
        arm: [_likeliest(counts, rho) for rho in _GRID] for arm, counts in arms.items()
    }
    sums = [sum(tops[arm][k][1] for arm in arms) for k in range(len(_GRID))]
    best = sums.index(max(sums))
    low, high = _GRID[max(0, best - 1)], _GRID[min(len(_GRID) - 1, best + 1)]
    rho, peak = highest(
        lambda at: sum(_likeliest(counts, at)[1] for counts in arms.values()), low, high
    )
    if rho < 1e-6 or sums[0] >= peak - 1e-9:  # noqa: PLR2004 - rounding
        rho, peak = 0.0, sums[0]
    freedom = sum(map(len, arms.values())) - len(arms)
    shares: dict[str, ArmShare] = {}
    for arm, counts in arms.items():
        others = [whole - own[1] for whole, own in zip(sums, tops[arm], strict=True)]
        share = _likeliest(counts, rho)[0]
        cut = (
            peak - student_quantile((1 + level) / 2, freedom) ** 2 / 2
            if freedom
            else -math.inf
        )
        shares[arm] = ArmShare(share, _interval(counts, others, share, cut))
    return Together(shares, rho, peak)


def _interval(
    counts: Counts, others: Sequence[float], share: float, cut: float
) -> Interval:
    """Return where the profile likelihood of a share lies above a cut."""

    def profile(at: float) -> float:
        pairs = zip(_GRID, others, strict=True)
        return _peak([_ln_all(counts, at, rho) + rest for rho, rest in pairs])

    low, high = 0.0, 1.0
    if share > 0 and profile(_EDGE) < cut:
        low = crossing(lambda at: profile(at) - cut, _EDGE, share, 1e-6)
    if share < 1 and profile(1 - _EDGE) < cut:
        high = crossing(lambda at: cut - profile(at), share, 1 - _EDGE, 1e-6)
    return Interval(low, high)


def _peak(heights: Sequence[float]) -> float:
    """Return the height of a peak by the parabola through its three highest places."""
    at = max(range(len(heights)), key=lambda n: heights[n])
    if at in (0, len(heights) - 1):
        return heights[at]
    left, middle, right = heights[at - 1 : at + 2]
    bend = 2 * middle - left - right
    return middle + (right - left) ** 2 / (8 * bend) if bend > 0 else middle


# ----------------------------------------------------------------- plainer measures


@dataclass(frozen=True, slots=True)
class Dispersion:
    """How much more trays differ within arms than chance would make them.

    Attributes:
        factor: Pearson's chi-square over its degrees of freedom; 1: as chance has it.
        p: How often chance alone would make them differ as much; None: one tray an
            arm, or nothing that could differ.
        intraclass: The correlation of two cuttings of a tray by analysis of
            variance; may be negative; None: as p.
    """

    factor: float | None
    p: float | None
    intraclass: float | None


def dispersion(arms: Mapping[str, Counts]) -> Dispersion:
    """Return how much trays differ within arms.

    The correlation is that of Fleiss ("Statistical Methods for Rates and
    Proportions", ch. on correlated binary data; from memory).
    """
    square, freedom = 0.0, 0
    for counts in arms.values():
        share = sum(rooted for rooted, _ in counts) / sum(n for _, n in counts)
        if 0 < share < 1:
            freedom += len(counts) - 1
            square += sum(
                (rooted - n * share) ** 2 / (n * share * (1 - share))
                for rooted, n in counts
            )
    if freedom == 0:
        return Dispersion(None, None, None)
    p = chi_square_above(square, freedom)
    return Dispersion(square / freedom, p, _intraclass(arms))


def _intraclass(arms: Mapping[str, Counts]) -> float | None:
    within = between = 0.0
    trays = cuttings = 0
    excess = 0.0
    for counts in arms.values():
        total = sum(n for _, n in counts)
        share = sum(rooted for rooted, _ in counts) / total
        within += sum(rooted * (n - rooted) / n for rooted, n in counts)
        between += sum(n * (rooted / n - share) ** 2 for rooted, n in counts)
        trays, cuttings = trays + len(counts), cuttings + total
        excess += total - sum(n * n for _, n in counts) / total
    freedom = trays - len(arms)
    if freedom == 0 or cuttings == trays:
        return None
    usual = excess / freedom
    mean_between, mean_within = between / freedom, within / (cuttings - trays)
    spread = mean_between + (usual - 1) * mean_within
    return (mean_between - mean_within) / spread if spread else None


def design_effect(per_tray: float, rho: float) -> float:
    """Return by how much more cuttings are needed when trays hold so many each.

    1 + (m - 1) rho (Kish, "Survey Sampling"; common practice).
    """
    return 1 + (per_tray - 1) * rho
