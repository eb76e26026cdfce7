"""What a client may send: queries and bodies, strict, with units in the keys.

What may live here: shapes and bounds of single requests. Whether a wish makes
sense for a mat is decided elsewhere.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, WithJsonSchema

from controller.review.day_shapes import Cutoff

LONGEST_DAYS = 200
"""Chosen: a season of propagation, and what one answer may be made from."""

MOST_POINTS = 2_000
MOST_ENTRIES = 1_000
_LARGEST_ID = 2**63 - 1

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LATEST_MS = 253_402_300_799_999  # the last of the year 9999
_RFC_3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)


def instant_ms(text: str) -> int:
    """Return an instant in RFC 3339 as milliseconds since 1970.

    Raises:
        ValueError: It is none.
    """
    wanted = "an instant in RFC 3339 such as 2026-02-14T09:00:00Z"
    if not _RFC_3339.fullmatch(text):
        hint = "; in an address + is written %2B" if " " in text else ""
        msg = f"must be {wanted}{hint}"
        raise ValueError(msg)
    try:
        moment = datetime.fromisoformat(text.upper())
    except ValueError:
        msg = f"must be {wanted}: there is no such day or time"
        raise ValueError(msg) from None
    found_ms = (moment - _EPOCH) // timedelta(milliseconds=1)
    if not 0 <= found_ms <= _LATEST_MS:
        msg = f"must be {wanted}, from 1970 to 9999 in UTC"
        raise ValueError(msg)
    return found_ms


def _checked(text: str) -> str:
    instant_ms(text)
    return text


Instant3339 = Annotated[
    str,
    AfterValidator(_checked),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class _Query(BaseModel):
    """Queries are text, so numbers in them are read from text."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class TemperaturesQuery(_Query):
    """Which stretch of time, in how many points at most."""

    from_: Instant3339 | None = Field(
        None, alias="from", description="RFC 3339; default: 24 h before to"
    )
    to: Instant3339 | None = Field(None, description="RFC 3339; default: now")
    points: int = Field(500, ge=2, le=MOST_POINTS)


class KeptQuery(_Query):
    """Which stretch of time, and how near to the setpoint is near enough."""

    from_: Instant3339 | None = Field(
        None, alias="from", description=f"RFC 3339; default: {LONGEST_DAYS} d before to"
    )
    to: Instant3339 | None = Field(None, description="RFC 3339; default: now")
    within_k: float = Field(1, gt=0, le=10, description="[K]")


class DegreeHoursQuery(_Query):
    """Another base, upper cut-off or stretch: counted again from the log."""

    base: float | None = Field(
        None, ge=-10, le=40, description="base [°C]; default: the tray's own"
    )
    upper: float | None = Field(
        None,
        ge=-10,
        le=70,
        description="horizontal upper cut-off [°C]; default: the tray's own",
    )
    from_: Instant3339 | None = Field(
        None, alias="from", description=f"RFC 3339; default: {LONGEST_DAYS} d before to"
    )
    to: Instant3339 | None = Field(None, description="RFC 3339; default: now")
    days: bool = Field(
        False,  # noqa: FBT003
        description="whether to tell each local day, from the log",
    )
    cutoff: Cutoff = Field(
        Cutoff.HORIZONTAL,
        description="how daily methods take the upper (the integral: horizontal)",
    )


class LogQuery(_Query):
    """Where to go on, and how many entries at most."""

    after: int = Field(0, ge=0, le=_LARGEST_ID, description="id of the last one known")
    limit: int = Field(100, ge=1, le=MOST_ENTRIES)


class SetpointBody(_Strict):
    """A setpoint of a person's, until it is dropped or for a while."""

    setpoint_c: float = Field(ge=-50, le=150, description="wanted temperature [°C]")
    for_s: float | None = Field(
        None, ge=1, le=366 * 86_400, description="how long [s]; default: until dropped"
    )


class EnabledBody(_Strict):
    """Whether a mat may heat at all."""

    enabled: bool


def _whole_hold(minutes: float) -> float:
    if 0 < minutes < 1:
        msg = "must be from 1 to 240, or 0 to end a hold"
        raise ValueError(msg)
    return minutes


class HoldBody(_Strict):
    """How long hands are on the bench; 0 ends a hold."""

    for_min: Annotated[float, AfterValidator(_whole_hold)] = Field(
        15, ge=0, le=240, description="minutes, 1 to 240; 0 ends a hold"
    )


class ShelveBody(_Strict):
    """How long an alarm shall be silent; 0 lets it ring again."""

    for_min: float = Field(
        60, ge=0, le=7 * 24 * 60, description="minutes, up to 7 days; 0 ends it"
    )


class EmptyBody(_Strict):
    """Nothing: no body, or {}."""
