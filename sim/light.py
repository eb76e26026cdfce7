"""Light from above, and heat that nobody measures, minute by minute.

Seeded; the same at a minute however one comes to it. What may live here: how
much there is. Who gets it is the world's.
"""

import math

import numpy as np

from sim.thermal import Matrix, Vector

DAY_MINUTES = 1440
DULLEST = 0.1
"""Chosen: share of a clear day's sun on the dullest day; days are drawn evenly
between."""

Hours = tuple[int, int]
"""From which to which minute of the day."""

SUN_HOURS: Hours = (8 * 60, 17 * 60)
"""Chosen: late winter."""

LAMP_HOURS: Hours = (6 * 60, 20 * 60)


class Light:
    """What trays take up of sun and lamp.

    Args:
        seed: Of the days' weather.
        start_minute: Minute of the day at which the world begins.
        sun_w_m2: What a clear day's noon gives to a medium [W/m²].
        lamp_w_m2: What the lamp gives [W/m²].
        sun_hours: When the sun shines, with its height as half a sine.
        lamp_hours: When the lamp is on.
    """

    def __init__(
        self,
        seed: int,
        start_minute: int,
        sun_w_m2: float,
        lamp_w_m2: float = 0.0,
        *,
        sun_hours: Hours = SUN_HOURS,
        lamp_hours: Hours = LAMP_HOURS,
    ) -> None:
        self._seed, self._start_minute = seed, start_minute
        minutes = np.arange(DAY_MINUTES)
        rise, fall = sun_hours
        # Of the middle of each minute, whose mean it is but for 1e-6.
        height = np.sin(math.pi * (minutes + 0.5 - rise) / (fall - rise))
        shines = (rise <= minutes) & (minutes < fall)
        self._clear: Vector = sun_w_m2 * np.where(shines, height, 0.0)
        on = (lamp_hours[0] <= minutes) & (minutes < lamp_hours[1])
        self._lamp: Vector = np.where(on, lamp_w_m2, 0.0)
        self._day, self._of_day = -1, 0.0

    def at(self, minute: int) -> float:
        """Return it so many minutes after the beginning [W/m²]."""
        day, of_day = divmod(self._start_minute + minute, DAY_MINUTES)
        return float(self._share(day) * self._clear[of_day] + self._lamp[of_day])

    def over(self, minute: int, count: int) -> Vector:
        """Return it for so many minutes from one on [W/m²]."""
        clock = self._start_minute + minute + np.arange(count)
        days, of_day = np.divmod(clock, DAY_MINUTES)
        first = int(days[0])
        shares = np.array([self._share(d) for d in range(first, int(days[-1]) + 1)])
        found: Vector = shares[days - first] * self._clear[of_day] + self._lamp[of_day]
        return found

    def _share(self, day: int) -> float:
        """Return a day's share of a clear day; the last one asked for is kept."""
        if self._day != day:
            noise = np.random.default_rng([self._seed, 4, day])
            self._day, self._of_day = day, float(noise.uniform(DULLEST, 1.0))
        return self._of_day


class Unmeasured:
    """Heat into each tray that nobody measures: noise that lasts for a while.

    A first-order (Ornstein-Uhlenbeck) process, exact from minute to minute and
    held within it.

    Args:
        seed: Of the noise.
        trays: How many.
        rms_w: Its root mean square [W].
        hours: Its correlation time [h].
    """

    def __init__(self, seed: int, trays: int, rms_w: float, hours: float) -> None:
        self._noise = [np.random.default_rng([seed, 5, n]) for n in range(trays)]
        self._keep = math.exp(-1 / (60 * hours))
        self._rms_w = rms_w
        start = [noise.standard_normal() for noise in self._noise]
        self._last: Vector = rms_w * np.array(start)
        self._days: dict[int, Matrix] = {}
        self._known = 0

    def at(self, minute: int) -> Vector:
        """Return it so many minutes after the beginning [W], for each tray."""
        day, of_day = divmod(minute, DAY_MINUTES)
        found: Vector = self._day(day)[of_day]
        return found

    def over(self, minute: int, count: int) -> Matrix:
        """Return it for so many minutes from one on [W]: minutes by trays."""
        first, last = minute // DAY_MINUTES, (minute + count - 1) // DAY_MINUTES
        days = np.concatenate([self._day(day) for day in range(first, last + 1)])
        found: Matrix = days[minute - first * DAY_MINUTES :][:count]
        return found

    def _day(self, day: int) -> Matrix:
        """Return a day; it and the one before stay known."""
        while self._known <= day:
            self._days[self._known] = self._next_day()
            self._days.pop(self._known - 2, None)
            self._known += 1
        return self._days[day]

    def _next_day(self) -> Matrix:
        push = self._rms_w * math.sqrt(1 - self._keep**2)
        shocks = [push * noise.standard_normal(DAY_MINUTES) for noise in self._noise]
        course = np.array(shocks).reshape(-1, DAY_MINUTES).T.copy()
        course[0] += self._keep * self._last
        keep, span = self._keep, 1  # the same recurrence as in thermal.Decays.course
        while span < DAY_MINUTES:
            course[span:] += keep * course[:-span]
            keep, span = keep * keep, 2 * span
        self._last = course[-1].copy()
        return course


class Given:
    """What is given to trays: light on each, then unmeasured heat into each.

    Args:
        light: Of the sky and the lamp.
        unmeasured: Heat that nobody measures.
        through: Share of the light that comes through each tray's cover [-].

    Attributes:
        besides: Light on each tray besides [W/m²].
    """

    def __init__(self, light: Light, unmeasured: Unmeasured, through: Vector) -> None:
        self._light, self._unmeasured = light, unmeasured
        self._through = through
        self.besides: Vector = np.zeros(len(through))

    def at(self, minute: int) -> Vector:
        """Return it so many minutes after the beginning [W/m², then W]."""
        light = self._through * self._light.at(minute) + self.besides
        return np.concatenate([light, self._unmeasured.at(minute)])

    def over(self, minute: int, count: int) -> Matrix:
        """Return it for so many minutes from one on: minutes by amounts."""
        sky = self._light.over(minute, count)
        light = sky[:, np.newaxis] * self._through + self.besides
        return np.hstack([light, self._unmeasured.over(minute, count)])
