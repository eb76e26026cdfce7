"""Numbers that look random and that a seed gives again on any machine, for ever.

SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number
generators", OOPSLA; constants as in Vigna's public-domain version, from memory). A
plan that was shuffled with a stored seed can be made again from it in ten years,
whatever has become of a library's generator. What may live here: the generator.
"""

import math
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")

_WORD = 2**64
_STEP = 0x9E3779B97F4A7C15
_FIRST, _SECOND = 0xBF58476D1CE4E5B9, 0x94D049BB133111EB


class Shuffler:
    """A stream of numbers from a seed."""

    def __init__(self, seed: int) -> None:
        """Begin the stream of a seed, a whole number of up to 64 bits."""
        self._state = seed % _WORD

    def word(self) -> int:
        """Return the next 64 bits as a number."""
        self._state = (self._state + _STEP) % _WORD
        z = self._state
        z = (z ^ (z >> 30)) * _FIRST % _WORD
        z = (z ^ (z >> 27)) * _SECOND % _WORD
        return z ^ (z >> 31)

    def below(self, limit: int) -> int:
        """Return a number from 0 to limit - 1, each with the very same chance."""
        usable = _WORD - _WORD % limit
        while (word := self.word()) >= usable:
            pass  # the last few would make the first numbers likelier
        return word % limit

    def unit(self) -> float:
        """Return a number between 0 and 1, neither of them."""
        return ((self.word() >> 11) + 0.5) / 2**53

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """Return items in an order of which each is as likely (Fisher and Yates)."""
        found = list(items)
        for last in range(len(found) - 1, 0, -1):
            other = self.below(last + 1)
            found[last], found[other] = found[other], found[last]
        return found

    def normal(self) -> float:
        """Return a standard normal number (Box and Muller)."""
        radius = math.sqrt(-2 * math.log(self.unit()))
        return radius * math.cos(2 * math.pi * self.unit())

    def gamma(self, shape: float) -> float:
        """Return a gamma number of scale 1 (Marsaglia and Tsang 2000)."""
        if shape < 1:  # their remark: one shape more, brought back by a power
            return self.gamma(shape + 1) * math.pow(self.unit(), 1 / shape)
        d = shape - 1 / 3
        while True:
            x = self.normal()
            v = (1 + x / math.sqrt(9 * d)) ** 3
            if v > 0 and math.log(self.unit()) < x * x / 2 + d - d * v + d * math.log(
                v
            ):
                return d * v

    def beta(self, a: float, b: float) -> float:
        """Return a beta number."""
        first = self.gamma(a)
        return first / (first + self.gamma(b))

    def successes(self, n: int, share: float, alike: float = 0.0) -> int:
        """Return how many of n succeed, each with a chance, more or less together.

        Args:
            n: How many there are.
            share: The chance of each.
            alike: Correlation of two of them: 0 binomial, above beta-binomial.
        """
        if 0 < alike < 1 and 0 < share < 1:
            size = 1 / alike - 1
            share = self.beta(share * size, (1 - share) * size)
        return sum(self.unit() < share for _ in range(n))
