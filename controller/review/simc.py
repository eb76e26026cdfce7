"""Settings of the PID from a model of what it heats: SIMC.

Skogestad 2003, J. Process Control 13:291-309, "Simple analytic rules for model
reduction and PID controller tuning". What may live here: his half rule, his
settings, and their conversion to the form that our PID has. How a model comes
about is another matter.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from controller.core.plan import Pid


@dataclass(frozen=True, slots=True)
class Model:
    """A process: one or two lags and a delay.

    Attributes:
        gain_k: Change of temperature at full heat [K].
        lag_s: The larger lag [s].
        delay_s: Effective delay [s].
        second_lag_s: The smaller lag [s]; 0: none.
    """

    gain_k: float
    lag_s: float
    delay_s: float
    second_lag_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Series:
    """Settings in the series form, in which SIMC gives them.

    Attributes:
        gain_per_k: Gain Kc [1/K].
        integral_s: Integral time [s].
        derivative_s: Derivative time [s]; 0: a PI controller.
    """

    gain_per_k: float
    integral_s: float
    derivative_s: float = 0.0


def half_rule(
    gain_k: float,
    lags_s: Sequence[float],
    *,
    delay_s: float = 0.0,
    inverse_s: Sequence[float] = (),
    kept: int = 1,
) -> Model:
    """Reduce a chain of lags to one or two and an effective delay.

    Of the largest lag that is left out, one half goes to the smallest that is
    kept and one half to the delay. All smaller lags, and the times of inverse
    response, go to the delay. A lead in the numerator is first taken off a lag
    near it by the caller: (4 s + 1) / (9 s + 1) is a lag of 5 s.

    Args:
        gain_k: Change of temperature at full heat [K].
        lags_s: Lags [s], in any order.
        delay_s: True delay [s].
        inverse_s: Times of zeros in the right half plane, -T s + 1, each T [s].
        kept: Lags to keep: 1 for PI, 2 for PID.

    Raises:
        ValueError: Fewer lags than are to be kept, a time below 0, or a number
            of lags to keep that SIMC has no settings for.
    """
    for time_s in (*lags_s, *inverse_s, delay_s):
        if not 0 <= time_s < inf:
            raise ValueError(f"lag or delay = {time_s} s: a time from 0 is needed")
    if kept not in (1, 2):
        raise ValueError(f"kept = {kept}: 1 lag for PI or 2 for PID")
    if len(lags_s) < kept:
        raise ValueError(f"lags_s = {list(lags_s)}: at least {kept} to be kept")
    lags = sorted(lags_s, reverse=True)
    half_s = lags[kept] / 2 if len(lags) > kept else 0.0
    lags[kept - 1] += half_s
    delay_s += half_s + sum(lags[kept + 1 :]) + sum(inverse_s)
    largest_first = sorted(lags[:kept], reverse=True)
    return Model(gain_k, largest_first[0], delay_s, sum(largest_first[1:]))


def simc(model: Model, closed_lag_s: float | None = None) -> Series:
    """Return SIMC's settings: PI for one lag, PID for two.

    Args:
        model: The process.
        closed_lag_s: Wanted time constant of the closed loop [s], the one knob;
            None: the effective delay, SIMC's own choice for tight and robust.

    Raises:
        ValueError: Gain or lag are not above 0, or neither the delay nor the
            wanted time constant says how fast is fast enough.
    """
    closed_s = model.delay_s if closed_lag_s is None else closed_lag_s
    answer_s = closed_s + model.delay_s
    for name, value in (
        ("gain_k", model.gain_k),
        ("lag_s", model.lag_s),
        ("delay_s and closed_lag_s together", answer_s),
    ):
        if not 0 < value < inf:
            raise ValueError(f"{name} = {value}: above 0 is needed")
    return Series(
        gain_per_k=model.lag_s / (model.gain_k * answer_s),
        integral_s=min(model.lag_s, 4 * answer_s),
        derivative_s=model.second_lag_s,
    )


def as_pid(series: Series) -> Pid:
    """Return the policy of a mat with these settings.

    Our PID has one gain before all three parts, where the series form has its
    derivative before the other two.
    """
    share = series.derivative_s / series.integral_s
    return Pid(
        gain_per_k=series.gain_per_k * (1 + share),
        integral_s=series.integral_s + series.derivative_s,
        derivative_s=series.derivative_s / (1 + share),
    )
