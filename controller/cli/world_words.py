"""The simulated world as a person asks for it, and what it assumes, in words.

What may live here: options from the command line, and sentences about them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from sim.drying import READY_MM, TOTAL_MM, Evaporation
from sim.options import WorldOptions, full_world
from sim.room import RoomTable
from sim.surface import Cover, Film
from sim.watering import Watering, read

_GAP_H = 3.0
"""Chosen: a room between two rows further apart than this is no longer known [h]."""

PLAIN, FULL = "plain", "full"
NEVER = "never"


def world_options(
    kind: str, waters: Sequence[str], common: WorldOptions
) -> WorldOptions:
    """Return the options of a world.

    Args:
        kind: "plain" or "full".
        waters: When trays are watered, as a person writes it; none: as the
            kind of world has it; "never": never.
        common: Seed, beginning and room.

    Raises:
        ValueError: A watering cannot be read; the message says what would be
            right.
    """
    options = common
    if kind == FULL:
        options = full_world(
            seed=common.seed,
            start_minute_of_day=common.start_minute_of_day,
            start_temp_c=common.start_temp_c,
            room_csv=common.room_csv,
        )
    if not waters:
        return options
    never = list(waters) == [NEVER]
    return replace(options, waterings=() if never else tuple(map(read, waters)))


def assumed(options: WorldOptions) -> str:
    """Return what a world assumes, in one paragraph."""
    return "Assumed: " + "; ".join(_assumed(options)) + "."


def room_words(room: RoomTable, hours: float) -> Iterator[str]:
    """Yield what a person should know of a room by a table, a sentence each.

    Args:
        room: The table.
        hours: For how long it is used.
    """
    if room.starts is not None:
        moment = room.starts.isoformat(sep=" ", timespec="minutes")
        yield f"All begins with the table, {moment}."
    steps = np.diff(room.minutes) / 60
    if len(steps) and steps.max() > _GAP_H:
        at = int(np.argmax(steps))
        yield (
            f"The table has nothing for {steps[at]:.1f} h from hour"
            f" {room.minutes[at] / 60:.1f} on: a straight line stands there."
        )
    ends_h = room.minutes[-1] / 60
    if ends_h + _GAP_H < hours:
        yield (
            f"The table ends after {ends_h:.1f} h of {hours:.1f}: from then on the"
            f" room has {room.temps_c[-1]:.1f} °C."
        )


def _assumed(options: WorldOptions) -> Iterator[str]:
    if options.room_csv is None:
        yield "a room of 11 to 17 °C by night and day"
    else:
        yield "the room of the table"
    yield _air(options.film)
    yield _evaporation(options)
    if options.drying:
        yield "media that conduct and hold the less heat the drier they are"
    else:
        yield "media as moist as they stand drained"
    yield (
        "no covers" if options.cover is Cover.NONE else f"{options.cover.value} covers"
    )
    yield _light(options)
    if options.unmeasured_w:
        rms_w, hours = options.unmeasured_w, options.unmeasured_h
        yield f"{rms_w:g} W (rms, {hours:g} h) into each tray that nobody measures"
    yield from map(_watering, options.waterings)
    if not options.waterings:
        yield "nobody waters"
    yield "plants take up no water"


def _air(film: Film) -> str:
    if film is Film.STANDARD:
        return "over each tray the film of ISO 6946, 0.10 m²K/W"
    return "natural convection and radiation over each tray"


def _evaporation(options: WorldOptions) -> str:
    if options.evaporation is Evaporation.FIXED:
        return f"{options.evaporation_mm:g} mm of water a day evaporate from each tray"
    falling = f"less from {READY_MM:g} mm on that are gone, a third from {TOTAL_MM:g}"
    if options.evaporation is Evaporation.FALLING:
        return f"3 mm a day evaporate from a wet tray, {falling}"
    humidity = 100 * options.humidity
    return (
        f"what a deficit of vapour drives in a room at {humidity:g} % humidity"
        f" evaporates, {falling}"
    )


def _light(options: WorldOptions) -> str:
    said = []
    if options.sun_w_m2:
        said.append(f"sun of at most {options.sun_w_m2:g} W/m² on each tray")
    if options.lamp_w_m2:
        said.append(f"a lamp of {options.lamp_w_m2:g} W/m²")
    return " and ".join(said) or "no sun"


def _watering(watering: Watering) -> str:
    hour, minute = divmod(watering.at_minute, 60)
    often = "day" if watering.every_days == 1 else f"{watering.every_days} days"
    who = ", ".join(watering.trays) or "all trays"
    return (
        f"{who} watered every {often} at {hour:02}:{minute:02} with"
        f" {watering.mm:g} mm of {watering.temp_c:g} °C"
    )
