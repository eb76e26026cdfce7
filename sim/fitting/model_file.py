"""Fitted models as a file: JSON with a format name and a version.

What may live here: writing it, and reading it back with every value checked.
"""

from math import inf
from typing import Annotated, Literal

import numpy as np
from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
)

from sim.fitting.fitted import (
    PARAMETERS,
    Estimate,
    Fitted,
    FittedMat,
    Noise,
    Residuals,
)
from sim.fitting.record import WindowStart
from sim.zone_model import Zone

FORMAT: Literal["bottomheat-model"] = "bottomheat-model"
VERSION: Literal[3] = 3
"""Version 1 has two lags throughout, version 2 no mat that leaks."""

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Size = Field(min_length=len(PARAMETERS), max_length=len(PARAMETERS) + 2)
Row = Annotated[tuple[Finite, ...], Size]


def _square(rows: tuple[tuple[float, ...], ...]) -> tuple[tuple[float, ...], ...]:
    if any(len(row) != len(rows) for row in rows):
        raise ValueError(f"{len(rows)} rows: so many columns are needed")
    return rows


Square = Annotated[tuple[Row, ...], Size, AfterValidator(_square)]


def _rows(matrix: object) -> object:
    """Return a matrix as nested tuples; None where nothing is known."""
    if not isinstance(matrix, np.ndarray):
        return matrix
    known = bool(np.isfinite(matrix).all())
    return tuple(tuple(row) for row in matrix.tolist()) if known else None


def _finite(number: object) -> object:
    """Return a number that JSON can hold; None for one that is not finite."""
    return None if number == inf else number


class ModelFileError(ValueError):
    """A file is no model file; the message says where and why."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, from_attributes=True)


class ZonePart(_Part):
    """The numbers of a zone model."""

    gain_k: Positive
    mat_s: Positive
    medium_s: Positive
    coupling: Positive
    offset_k: Finite
    between_s: Positive | None = None
    leak: NotNegative = 0.0


class EstimatePart(_Part):
    """A figure with its error, or why there is none."""

    value: Finite | None
    error: NotNegative | None
    why: str = ""


class NoisePart(_Part):
    """Standard deviations of push and readings."""

    push_k_s: NotNegative
    reading_k: NotNegative


class ResidualsPart(_Part):
    """What one-step predictions leave."""

    count: Annotated[int, Field(gt=0)]
    rms_k: NotNegative
    mean_k: Finite
    whiteness: Share
    skewness: Finite
    excess_kurtosis: Finite
    words: tuple[str, ...]


class FittedPart(_Part):
    """One zone's fit."""

    name: Annotated[str, Field(min_length=1)]
    at_mat: bool
    zone: ZonePart | None
    noise: NoisePart | None
    gain_k: EstimatePart
    slow_s: EstimatePart
    fast_s: EstimatePart
    delay_s: EstimatePart
    offset_k: EstimatePart
    covariance: Annotated[Square | None, BeforeValidator(_rows)]
    replicates: tuple[ZonePart, ...]
    condition: Annotated[Positive | None, BeforeValidator(_finite)]
    verdicts: tuple[str, ...]
    residuals: ResidualsPart | None
    room_known: Share


class WindowPart(_Part):
    """Where a model began anew."""

    step: Annotated[int, Field(ge=0)]
    why: str
    zone: str


class MatPart(_Part):
    """One mat's fit."""

    mat: Annotated[str, Field(min_length=1)]
    start_utc_ms: int
    step_s: Positive
    steps: Annotated[int, Field(gt=0)]
    on_share: Share
    windows: tuple[WindowPart, ...]
    zones: tuple[FittedPart, ...]


class ModelFile(_Part):
    """The whole file."""

    format: Literal["bottomheat-model"]
    version: Literal[1, 2, 3]
    log: str
    mats: tuple[MatPart, ...]


def written(log: str, mats: tuple[FittedMat, ...]) -> str:
    """Return fits as the text of a file.

    Args:
        log: Name of the log they come from.
        mats: The fits.
    """
    parts = tuple(MatPart.model_validate(mat) for mat in mats)
    whole = ModelFile(format=FORMAT, version=VERSION, log=log, mats=parts)
    return whole.model_dump_json(indent=1) + "\n"


def read(text: str) -> tuple[FittedMat, ...]:
    """Return the fits that a file holds.

    Raises:
        ModelFileError: It is no model file, of another version, or a value in
            it cannot be.
    """
    try:
        whole = ModelFile.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(step) for step in first["loc"]) or "the file"
        raise ModelFileError(f"{place}: {first['msg']}") from error
    return tuple(_mat(part) for part in whole.mats)


def _mat(part: MatPart) -> FittedMat:
    return FittedMat(
        mat=part.mat,
        start_utc_ms=part.start_utc_ms,
        step_s=part.step_s,
        steps=part.steps,
        on_share=part.on_share,
        windows=tuple(WindowStart(**start.model_dump()) for start in part.windows),
        zones=tuple(_fitted(zone) for zone in part.zones),
    )


def _fitted(part: FittedPart) -> Fitted:
    size = len(PARAMETERS)

    def zone_of(numbers: ZonePart) -> Zone:
        return Zone(name=part.name, at_mat=part.at_mat, **numbers.model_dump())

    return Fitted(
        name=part.name,
        at_mat=part.at_mat,
        zone=None if part.zone is None else zone_of(part.zone),
        noise=None if part.noise is None else Noise(**part.noise.model_dump()),
        gain_k=Estimate(**part.gain_k.model_dump()),
        slow_s=Estimate(**part.slow_s.model_dump()),
        fast_s=Estimate(**part.fast_s.model_dump()),
        delay_s=Estimate(**part.delay_s.model_dump()),
        offset_k=Estimate(**part.offset_k.model_dump()),
        covariance=np.full((size, size), np.nan)
        if part.covariance is None
        else np.array(part.covariance),
        replicates=tuple(zone_of(numbers) for numbers in part.replicates),
        condition=inf if part.condition is None else part.condition,
        verdicts=part.verdicts,
        residuals=None
        if part.residuals is None
        else Residuals(**part.residuals.model_dump()),
        room_known=part.room_known,
    )
