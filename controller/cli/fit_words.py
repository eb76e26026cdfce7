"""What a fit says, in a grower's words and in an engineer's figures."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from textwrap import fill

from controller.cli.output import table
from sim.fitting.fitted import Estimate, Fitted, FittedMat

_GROWER = (
    "tray",
    "mat fully on warms it by",
    "most of a change after",
    "feels the mat after",
    "with the mat off",
)

_ENGINEER = (
    "zone",
    "gain",
    "slow lag",
    "fast lag",
    "dead time",
    "offset",
    "condition",
    "push",
    "reading",
    "one step",
)

_FOOT = """\
± is one standard error, found by leaving out one day after the other, and by taking
sun and other heat that nobody measures as lasting for hours, as well. Warmer by: above
the room, if the mat were never switched off. Most of a change: 63 % of it. With the mat
off: above the room (evaporation makes it negative)."""

_ENGINEER_FOOT = """\
Slow and fast lag: of three where the log shows that the medium warms in two steps, else
of two; dead time: of the model that is replayed, by the half rule; condition: of the
scaled sensitivities (above 30 figures mix); push and reading: standard deviations of
the noise per step and of a reading; one step: root mean square error of the predictions
from step to step."""

_UNTOLD = "not identifiable"

_MOST_WINDOWS = 12


def in_words(fit: FittedMat) -> Iterator[str]:
    """Yield blocks of text about one mat's fit."""
    lasting = timedelta(seconds=fit.step_s * fit.steps)
    begin = datetime.fromtimestamp(fit.start_utc_ms / 1000, UTC)
    yield (
        f"Mat {fit.mat}: {begin:%Y-%m-%d %H:%MZ} to {begin + lasting:%Y-%m-%d %H:%MZ},"
        f" {lasting / timedelta(days=1):.1f} days, on {fit.on_share:.0%} of the time."
    )
    trays = [zone for zone in fit.zones if not zone.at_mat]
    if trays:
        yield table(_GROWER, [_grower(zone) for zone in trays])
        yield _FOOT
    if fit.zones:
        yield table(_ENGINEER, [_engineer(zone) for zone in fit.zones])
        yield _ENGINEER_FOOT
        yield from _leaks(fit)
    else:
        yield "No tray of it has a probe: there is nothing to fit."
    untold = [
        _paragraph(f"{zone.name}: {why}.") for zone in fit.zones for why in zone.whys
    ]
    if untold:
        yield "\n".join(["The log cannot tell:", *untold])
    said = [
        _paragraph(f"{zone.name}: {'; '.join(zone.residuals.words)}.")
        for zone in fit.zones
        if zone.residuals is not None
    ]
    if said:
        yield "\n".join(["What the model leaves unexplained:", *said])
    if fit.windows:
        yield "\n".join(["The model begins anew:", *_windows(fit)])


def _leaks(fit: FittedMat) -> Iterator[str]:
    """Yield a word on zones under which the mat leaks."""
    named = [zone.name for zone in fit.zones if zone.zone and zone.zone.leak > 0]
    if named:
        yield fill(
            f"The log shows a mat that loses heat past the medium ({', '.join(named)}),"
            " and unmeasured heat that lasts: gain, offset and lags are of such a"
            " model. Thicker foam under the mat, and at its edges, would save heat.",
            88,
        )


def _grower(zone: Fitted) -> tuple[str, ...]:
    return (
        zone.name,
        _figure(zone.gain_k, 1, "K"),
        _figure(zone.slow_s, 1, "h", 3600),
        _figure(zone.delay_s, 1, "min", 60),
        _figure(zone.offset_k, 1, "K", sign="+"),
    )


def _engineer(zone: Fitted) -> tuple[str, ...]:
    noise, left = zone.noise, zone.residuals
    return (
        zone.name,
        _figure(zone.gain_k, 2, "K"),
        _figure(zone.slow_s, 0, "s"),
        _figure(zone.fast_s, 0, "s"),
        _figure(zone.delay_s, 0, "s"),
        _figure(zone.offset_k, 2, "K", sign="+"),
        f"{zone.condition:.3g}",
        "-" if noise is None else f"{noise.push_k_s * 1e6:.0f} µK/s",
        "-" if noise is None else f"{noise.reading_k * 1000:.0f} mK",
        "-" if left is None else f"{left.rms_k * 1000:.0f} mK",
    )


def _figure(
    estimate: Estimate, digits: int, unit: str, per: float = 1.0, sign: str = ""
) -> str:
    if estimate.value is None or estimate.error is None:
        return _UNTOLD
    value, error = estimate.value / per, estimate.error / per
    return f"{value:{sign}.{digits}f} ± {error:.{digits}f} {unit}"


def _windows(fit: FittedMat) -> Iterator[str]:
    for start in fit.windows[:_MOST_WINDOWS]:
        at_s = fit.start_utc_ms / 1000 + start.step * fit.step_s
        at = datetime.fromtimestamp(at_s, UTC)
        where = f"{start.zone}: " if start.zone else ""
        yield f"  {at:%Y-%m-%d %H:%MZ}  {where}{start.why}"
    if len(fit.windows) > _MOST_WINDOWS:
        yield f"  … {len(fit.windows)} in all; --json has every one"


def _paragraph(text: str) -> str:
    return fill(text, 88, initial_indent="  ", subsequent_indent="    ")
