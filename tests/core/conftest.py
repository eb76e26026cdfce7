"""What the tests of regulation share: a heated thing that answers late.

And where the core is mutated, in which order its tests try to notice.
"""

import math
import sys
from collections import deque
from dataclasses import dataclass, field

import pytest


@dataclass
class Plant:
    """First order plus dead time, stepped exactly; an invented tray on a mat.

    Attributes:
        gain_k: Rise over the room at full heat [K].
        lag_s: Time constant [s].
        delay_s: Dead time, whole steps [s].
        room_c: Temperature of the room [°C].
        step_s: Length of a step [s].
        temp_c: Temperature now [°C].
    """

    gain_k: float = 18.0
    lag_s: float = 9_000.0
    delay_s: int = 600
    room_c: float = 12.0
    step_s: int = 30
    temp_c: float = 12.0
    on_its_way: deque[float] = field(default_factory=deque)

    def __post_init__(self) -> None:
        """Begin with no heat on its way."""
        self.on_its_way.extend([0.0] * (self.delay_s // self.step_s))

    def heat(self, share: float) -> float:
        """Heat for a step with a share of full power; return the temperature."""
        self.on_its_way.append(share)
        goal_c = self.room_c + self.gain_k * self.on_its_way.popleft()
        left = math.exp(-self.step_s / self.lag_s)
        self.temp_c = goal_c + (self.temp_c - goal_c) * left
        return self.temp_c


@pytest.fixture(scope="session")
def a_plant():
    """How a plant is made."""
    return Plant


def pytest_collection_modifyitems(items):
    """Let the quickest tests try first: most mutants need no more."""
    mutmut = sys.modules.get("mutmut.state")  # this process was forked from it
    if mutmut is not None:
        took_s = mutmut.state().duration_by_test
        items.sort(key=lambda item: took_s.get(item.nodeid, 0.0))
