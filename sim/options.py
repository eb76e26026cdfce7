"""What a simulated world is like: its weather, its instruments, its physics.

What may live here: the options, with their defaults, and sets of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sim.drying import DRY_CRUST_MM, Evaporation
from sim.light import DAY_MINUTES, LAMP_HOURS, SUN_HOURS, Hours
from sim.stack import LAYERS
from sim.surface import Cover, Film
from sim.watering import Watering

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
# Chosen together: see tests/oracle/test_full_world.py for how near root zones are
# to a world in which nothing is held for longer than a minute.
HOLD_MS = 5 * MINUTE_MS
"""How often somebody sees to lines that stand for curves."""
OFF_K = 0.007
"""By how much they may be off at a surface."""
DRIED = 0.0015
"""How much water may go meanwhile, as a share of a medium's volume."""
LONGEST_MS = 90 * MINUTE_MS
"""For how long they may be held."""


MOST_MM = 30.0
"""Chosen: no surface in a room loses so much in a day [mm]."""

_MOST_SEED = 2**64 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class WorldOptions:
    """What the weather, the instruments and the physics are like.

    With what follows `lag_s` as it is, a bench is one linear network that
    stands still: media as drained, films of the standard, evaporation as said.

    Attributes:
        seed: Of weather, noise and the probes' turns.
        start_ms: Run clock at the beginning [ms].
        start_minute_of_day: What the clock on the wall shows then.
        start_temp_c: Temperature of everything on the bench [°C].
        room_csv: A table of room temperatures instead of the model.
        evaporation_mm: From every tray [mm/day]; where it falls, from its dry
            crust; where a deficit drives it, of no account.
        evaporation_by_tray: For trays that differ, by name [mm/day].
        unevenness: Standard deviation of the heat per area between the parts
            of a mat, as a share (chosen: wires are not laid to the millimetre); at
            most 0.2, beyond which a part would cool.
        noise_k: Standard deviation of a probe's noise [K].
        lag_s: Time constant of a probe in its medium [s].
        layers: How many each tray's medium has.
        film: What lies between a surface and the room.
        evaporation: How much water leaves a tray.
        drying: Conductivity and heat capacity follow the water in the medium.
        humidity: Relative humidity of the room, as a share (0.70: chosen).
        cover: What is over every tray: it adds to the film, and keeps back
            vapour and a little light.
        cover_by_tray: For trays that differ, by name.
        sun_w_m2: What a clear day's noon gives to the top of a tray [W/m²].
        sun_hours: From which to which minute of the day the sun shines.
        lamp_w_m2: What a lamp gives to the top of a tray [W/m²].
        lamp_hours: From which to which minute of the day it is on.
        unmeasured_w: Heat into each tray that nobody measures, root mean
            square [W].
        unmeasured_h: How long that lasts: its correlation time [h].
        waterings: When trays are watered.
        hold_ms: How often somebody sees to whether the straight lines that
            stand for what is not linear still hold [ms]. They are drawn anew,
            too, whenever something is done to a tray.
        off_k: By how much they may put a surface off before they are drawn anew
            [K]; they are so, too, when DRIED of water is gone, and before
            LONGEST_MS have passed. 0, or holds of more than half of that: each
            time.

    Raises:
        ValueError: A value is out of its range; the message names it.
    """

    seed: int = 1
    start_ms: int = 0
    start_minute_of_day: int = 9 * 60
    start_temp_c: float = 16.0
    room_csv: str | None = None
    evaporation_mm: float = DRY_CRUST_MM
    evaporation_by_tray: Mapping[str, float] = field(default_factory=dict)
    unevenness: float = 0.05
    noise_k: float = 0.03
    lag_s: float = 30.0
    layers: int = LAYERS
    film: Film = Film.STANDARD
    evaporation: Evaporation = Evaporation.FIXED
    drying: bool = False
    humidity: float = 0.70
    cover: Cover = Cover.NONE
    cover_by_tray: Mapping[str, Cover] = field(default_factory=dict)
    sun_w_m2: float = 0.0
    sun_hours: Hours = SUN_HOURS
    lamp_w_m2: float = 0.0
    lamp_hours: Hours = LAMP_HOURS
    unmeasured_w: float = 0.0
    unmeasured_h: float = 2.0
    waterings: tuple[Watering, ...] = ()
    hold_ms: int = HOLD_MS
    off_k: float = OFF_K

    def __post_init__(self) -> None:
        mm_of = self.evaporation_by_tray.items()
        for name, value, low, high in (
            ("seed", self.seed, 0, _MOST_SEED),
            ("start_minute_of_day", self.start_minute_of_day, 0, DAY_MINUTES - 1),
            ("start_temp_c", self.start_temp_c, 0, 60),
            ("evaporation_mm", self.evaporation_mm, 0, MOST_MM),
            *((f"evaporation_by_tray[{n!r}]", mm, 0, MOST_MM) for n, mm in mm_of),
            ("unevenness", self.unevenness, 0, 0.2),
            ("noise_k", self.noise_k, 0, 10),
            ("lag_s", self.lag_s, 0, 24 * 3600),
            ("layers", self.layers, 1, 10_000),
            ("humidity", self.humidity, 0, 1),
            ("sun_w_m2", self.sun_w_m2, 0, 1_200),
            ("lamp_w_m2", self.lamp_w_m2, 0, 1_200),
            ("unmeasured_w", self.unmeasured_w, 0, 1_000),
            ("unmeasured_h", self.unmeasured_h, 1 / 60, 1_000),
            ("hold_ms", self.hold_ms, 1_000, LONGEST_MS),
            ("off_k", self.off_k, 0, 10),
        ):
            if not low <= value <= high:
                message = f"{name} = {value!r}: must be from {low:g} to {high:g}"
                raise ValueError(message)
        for name, (start, end) in (
            ("sun_hours", self.sun_hours),
            ("lamp_hours", self.lamp_hours),
        ):
            if not 0 <= start < end <= DAY_MINUTES:
                message = f"{name} = {(start, end)!r}: must be two minutes of a day"
                raise ValueError(message)

    @property
    def changes(self) -> bool:
        """Whether the networks change with time by themselves."""
        fixed = self.evaporation is Evaporation.FIXED
        return self.drying or not fixed or self.film is not Film.STANDARD

    @property
    def most_holds(self) -> int:
        """After how many holds lines are drawn anew at the latest."""
        return LONGEST_MS // self.hold_ms if self.off_k else 1

    @property
    def longest_ms(self) -> int:
        """For how long lines are held at most [ms]."""
        return self.hold_ms * self.most_holds

    @property
    def plain(self) -> bool:
        """Whether nothing but room, mats and a steady evaporation is at work."""
        quiet = not (self.sun_w_m2 or self.lamp_w_m2 or self.unmeasured_w)
        open_ = self.cover is Cover.NONE and not self.cover_by_tray
        return quiet and open_ and not self.waterings and not self.changes


FULL = WorldOptions(
    layers=5,
    film=Film.NATURAL,
    evaporation=Evaporation.BY_DEFICIT,
    drying=True,
    sun_w_m2=150.0,
    unmeasured_w=1.0,
    waterings=(Watering(mm=6.0, temp_c=12.0, every_days=3),),
)
"""Chosen: what a clear noon gives through a pane to a medium under leaves; 6 mm
is about what three days take."""


def full_world(**changes: object) -> WorldOptions:
    """Return options with all of the physics, and with some changes.

    Natural convection and radiation, evaporation by the deficit of vapour
    pressure, media that dry and are watered every third day, sun, and heat that
    nobody measures.

    Args:
        changes: Options that differ, by name.

    Raises:
        TypeError: There is no such option.
        ValueError: A value is out of its range.
    """
    return replace(FULL, **changes)  # type: ignore[arg-type]
