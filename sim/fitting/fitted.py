"""What a fit answers: a model, how sure it is, and what cannot be told.

What may live here: these shapes.
"""

from dataclasses import dataclass
from enum import Enum

from sim.fitting.record import WindowStart
from sim.thermal import Matrix
from sim.zone_model import MatModel, Zone

PARAMETERS = ("ln gain_k", "ln mat_s", "ln medium_s", "ln coupling", "offset_k")
"""In which covariances are given: logarithms, and the offset in K. Where the medium
is of two halves ln between_s comes after them, and then the leak."""


@dataclass(frozen=True, slots=True)
class Noise:
    """What a zone does beside its model, and its probe beside the zone.

    Attributes:
        push_k_s: Standard deviation of the push, anew in each step of the
            record and independent of the step before [K/s].
        reading_k: Standard deviation of a temperature on the grid [K].
    """

    push_k_s: float
    reading_k: float


class Told(Enum):
    """Whether a log tells a figure."""

    YES = "identified"
    NO = "not identifiable"


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its error, or that the log does not tell it.

    Attributes:
        value: The figure; None: not identifiable.
        error: Its standard error, by jackknife over days and by what a push that
            lasts would have otherwise; None with no value.
        why: Why it is not identifiable, in words; empty where it is.
    """

    value: float | None
    error: float | None
    why: str = ""

    @property
    def told(self) -> Told:
        """Whether the log tells it."""
        return Told.NO if self.value is None else Told.YES


@dataclass(frozen=True, slots=True)
class Residuals:
    """What is left of the readings when the model has had its say.

    Attributes:
        count: How many one-step predictions were compared.
        rms_k: Their root mean square error [K].
        mean_k: Their mean [K].
        whiteness: Probability of correlations at least as large, were the
            errors independent of each other (Ljung-Box).
        skewness: Third standardised moment [-].
        excess_kurtosis: Fourth, less 3 [-].
        words: The same in words, a sentence each.
    """

    count: int
    rms_k: float
    mean_k: float
    whiteness: float
    skewness: float
    excess_kurtosis: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A zone's model, fitted.

    Attributes:
        name: Name of the zone.
        at_mat: Whether it is a surface probe.
        zone: The model that is replayed, of two lags or of three; None: the log
            allows none.
        noise: What it leaves unexplained; None with no model.
        gain_k: Rise at full power above room and offset [K].
        slow_s: The largest time constant, of three where the log shows so many
            (`layered`), else of two [s].
        fast_s: The smallest, likewise [s].
        delay_s: Effective dead time of the model, by the half rule [s].
        offset_k: What the medium is warmer than the room without heat [K].
        covariance: Of PARAMETERS, over the replicates, shape (5, 5), or (7, 7) of
            a medium of two halves; all NaN where there is no model.
        replicates: The model fitted without one block of days, for each
            block, and led some way to where a push lasts (`lasting`), or does not
            where it does in the model: errors of anything computed from the model
            follow from jackknife_error of it over them.
        condition: Condition number of the scaled sensitivities.
        verdicts: What cannot be told and why, a sentence each; empty: all can.
        residuals: What is left; None with no model.
        room_known: Share of the steps whose room was measured [-].
    """

    name: str
    at_mat: bool
    zone: Zone | None
    noise: Noise | None
    gain_k: Estimate
    slow_s: Estimate
    fast_s: Estimate
    delay_s: Estimate
    offset_k: Estimate
    covariance: Matrix
    replicates: tuple[Zone, ...]
    condition: float
    verdicts: tuple[str, ...]
    residuals: Residuals | None
    room_known: float = 1.0

    @property
    def whys(self) -> tuple[str, ...]:
        """Why something is not told, a sentence each; more than the verdicts.

        A figure may err too much to be told where predictions, of which the errors
        go with it, are still of use.
        """
        told = (self.gain_k, self.slow_s, self.fast_s, self.delay_s, self.offset_k)
        return tuple(
            dict.fromkeys([*self.verdicts, *(one.why for one in told if one.why)])
        )

    @property
    def usable(self) -> bool:
        """Whether predictions may lean on it: there is a model and no verdict."""
        return self.zone is not None and not self.verdicts


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedMat:
    """A mat's zones, fitted to one record.

    Attributes:
        mat: Name of the mat.
        start_utc_ms: Where the record begins, wall clock [ms].
        step_s: Length of its steps [s].
        steps: How many it has.
        on_share: Share of the time in which the mat was on [-].
        windows: Where a model began anew.
        zones: Each zone's fit, trays first.
    """

    mat: str
    start_utc_ms: int
    step_s: float
    steps: int
    on_share: float
    windows: tuple[WindowStart, ...]
    zones: tuple[Fitted, ...]

    @property
    def model(self) -> MatModel:
        """The zones that have a model, as the replay takes them."""
        zones = (fitted.zone for fitted in self.zones)
        return MatModel(self.mat, tuple(zone for zone in zones if zone is not None))
