"""What is over and around the trays of a bench, by its options.

What may live here: how options become covers, surfaces and what is given.
"""

from collections.abc import Sequence

import numpy as np

from sim.light import Given, Light, Unmeasured
from sim.options import WorldOptions
from sim.surface import COVER_LIGHT, COVER_M2K_W, COVER_VAPOUR, Cover, Surfaces
from sim.thermal import Vector


def covers(names: Sequence[str], options: WorldOptions) -> list[Cover]:
    """Return what is over each tray.

    Raises:
        ValueError: A tray is named that is not there.
    """
    for name in options.cover_by_tray:
        if name not in names:
            message = f"cover of tray {name}: there is no such tray"
            raise ValueError(message)
    return [options.cover_by_tray.get(name, options.cover) for name in names]


def surfaces(
    length_m: Vector, over: Sequence[Cover], options: WorldOptions
) -> Surfaces:
    """Return the surfaces of trays, by area over rim [m] and what is over each."""
    return Surfaces(
        options.film,
        length_m,
        np.array([COVER_M2K_W[cover] for cover in over]),
        np.array([COVER_VAPOUR[cover] for cover in over]),
        options.humidity,
    )


def given(over: Sequence[Cover], options: WorldOptions) -> Given:
    """Return what is given to trays, by what is over each."""
    light = Light(
        options.seed,
        options.start_minute_of_day,
        options.sun_w_m2,
        options.lamp_w_m2,
        sun_hours=options.sun_hours,
        lamp_hours=options.lamp_hours,
    )
    unmeasured = Unmeasured(
        options.seed, len(over), options.unmeasured_w, options.unmeasured_h
    )
    return Given(light, unmeasured, np.array([COVER_LIGHT[cover] for cover in over]))
