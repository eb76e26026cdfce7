"""What is the same for all lanes of a block. Data.

What may live here: values that compiled code takes as they are.
"""

from typing import NamedTuple

from sim.thermal import Matrix, Vector

TRAY, MEDIAN, MEAN, COOLEST, WARMEST = range(5)
"""How the driving temperature is taken; as plan.DrivenBy, in its order."""


class Heat(NamedTuple):
    """A model and a span, as the loops read them; see heat.Coefficients.

    What is heard of the room is what its probe reads [m°C].
    """

    room_c: Vector
    heard: Vector
    push: Matrix
    decay: Matrix
    by_heat: Matrix
    by_room: Matrix
    by_push: Matrix
    offset_c: Vector
    shown: Matrix
    mat: Matrix
    start: Matrix


class Shape(NamedTuple):
    """What is the same for all lanes of a block.

    Attributes:
        lanes: Lanes in use.
        trays: Zones that are trays; the first ones.
        zones: All zones.
        way: How the driving temperature is taken.
        tray: The driving tray.
        is_pid: The policy.
        derives: A PID with a derivative part.
        crosses: A tray may cross a base or an upper cut-off.
        tracks: Probes that stand still are followed scan by scan.
        heard: The room has a probe.
        band: What counts as in band [mK].
        step: Length of a step [ms].
    """

    lanes: int
    trays: int
    zones: int
    way: int
    tray: int
    is_pid: bool
    derives: bool
    crosses: bool
    tracks: bool
    heard: bool
    band: float
    step: float
