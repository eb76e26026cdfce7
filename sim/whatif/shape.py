"""What is the same for all lanes of a block. Data.

What may live here: values that compiled code takes as they are.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.thermal import Matrix, Vector

Readings = NDArray[np.float32]
"""What is of half the width in a block; see rows."""

Truths = NDArray[np.bool_]

NOT, ONCE = np.float32(0.0), np.float32(1.0)

TRAY, MEDIAN, MEAN, COOLEST, WARMEST = range(5)
"""How the driving temperature is taken; as plan.DrivenBy, in its order."""


# rows of Heat.by: of each three the slow mode comes first
DECAY, BY_HEAT, BY_ROOM, BY_PUSH, BY_NEAR, SHOWN, MAT, OUTER, START = range(0, 27, 3)
OFFSET, HALVED = 27, 28


class Block(NamedTuple):
    """A block's rows; see rows.

    Attributes:
        mats: Of the lanes' mats.
        zones: Of their zones.
        half: Of the mats, what is of half the width.
        read: The same of the zones: what probes read last, and what is counted.
        modes: And how warm they are; see heat.
    """

    mats: Vector
    zones: Vector
    half: Readings
    read: Readings
    modes: Readings


class Heat(NamedTuple):
    """A model and a span, as the loops read them.

    Attributes:
        room_c: The room's temperature [°C].
        heard: What its probe reads [m°C].
        push: Disturbances, shape (steps, zones) [K/s].
        by: heat.Coefficients in the rows above, shape (29, zones).
        half: The same, of half the width.
        driven: What drives the modes while it is off, shape (steps, 2 or 3, zones);
            see heat.driven.
        sudden: Which pushes are in both halves of a medium, shape (steps, zones);
            of length 0: none.
    """

    room_c: Vector
    heard: Vector
    push: Matrix
    by: Matrix
    half: Readings
    driven: Readings
    sudden: Truths


class Shape(NamedTuple):
    """What is the same for all lanes of a block.

    Attributes:
        lanes: Lanes in use.
        trays: Zones that are trays; the first ones.
        zones: All zones.
        plain: Trays whose probes are all in the medium; 0: not all are.
        halved: Some zone has a medium of two halves, and a third mode.
        way: How the driving temperature is taken.
        tray: The driving tray.
        is_pid: The policy.
        derives: A PID with a derivative part.
        crosses: A tray may cross a base or an upper cut-off.
        tracks: Probes that stand still are followed scan by scan.
        heard: The room has a probe.
        spares: Heat felt may have a ceiling; see ceiling.
        climbs: A tray may warm fast enough for the guard against that.
        band: What counts as in band [mK].
        step: Length of a step [ms].
    """

    lanes: int
    trays: int
    zones: int
    plain: int
    halved: bool
    way: int
    tray: int
    is_pid: bool
    derives: bool
    crosses: bool
    tracks: bool
    heard: bool
    spares: bool
    climbs: bool
    band: float
    step: float
