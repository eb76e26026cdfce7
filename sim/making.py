"""What a world is made of, by its options.

What may live here: which room, which warmth, which waterings. No time.
"""

import numpy as np

from controller.core.plan import Plan, all_trays
from sim.moist_warmth import MoistWarmth
from sim.options import WorldOptions
from sim.room import DayAndNight, Room, room_table
from sim.warmth import Warmth, evaporation_mm
from sim.watering import Waterings


def warmth(plan: Plan, options: WorldOptions, room_c: float) -> Warmth:
    """Return the warmth of a bench, with as much physics as options ask for.

    Args:
        plan: The bench.
        options: Its physics.
        room_c: The room in the beginning [°C].

    Raises:
        ValueError: A medium or a tray that is named is not there.
    """
    noise = np.random.default_rng([options.seed, 3])
    if not options.plain:
        return MoistWarmth(plan, options, room_c, noise)
    by_tray = evaporation_mm(plan, options.evaporation_mm, options.evaporation_by_tray)
    start_c, unevenness = options.start_temp_c, options.unevenness
    return Warmth(plan, start_c, unevenness, noise, by_tray, options.layers)


def room(options: WorldOptions) -> Room:
    """Return the room of a world.

    Raises:
        ValueError: The room's table is of no use.
    """
    if options.room_csv is not None:
        return room_table(options.room_csv)
    return DayAndNight(options.seed, options.start_minute_of_day)


def waterings(plan: Plan, options: WorldOptions) -> Waterings:
    """Return the waterings of a world.

    Raises:
        ValueError: A tray is named that the bench does not have.
    """
    names = [tray.name for tray in all_trays(plan)]
    return Waterings(options.waterings, names, options.start_minute_of_day)
