"""What a target of the fuzz campaign is.

An input is made of plain Python values, so that its repr is the whole of it:
what broke something can be pasted into a corpus and tried again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Any


@dataclass(frozen=True)
class Target:
    """Something that reads what strangers write.

    Attributes:
        name: What it is called.
        share: How many of a thousand inputs it gets.
        made: Makes an input.
        check: Feeds it; returns whether it was taken for good, and raises
            whatever the target raised or a broken promise as AssertionError.
    """

    name: str
    share: float
    made: Callable[[Random], Any]
    check: Callable[[Any], bool]
