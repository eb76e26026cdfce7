"""What energy costs, as people type it after --price. No command.

A report needs it, too, on a board that has neither numpy nor the simulator.
"""

import re
from dataclasses import dataclass


class AskedError(Exception):
    """What was asked for makes no sense; the message says where and why."""


@dataclass(frozen=True, slots=True)
class Price:
    """What energy costs.

    Attributes:
        per_kwh: In the currency, for each kWh.
        currency: Its name, as it was written; may be empty.
    """

    per_kwh: float
    currency: str

    def of(self, energy_kwh: float) -> str:
        """Return what energy costs, as text."""
        return f"{energy_kwh * self.per_kwh:.2f} {self.currency}".rstrip()


_PRICE = re.compile(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*([^\d\s]\S{0,11})?\s*per\s+kWh\s*")


def price(text: str) -> Price:
    """Return a price that was typed after --price.

    Raises:
        AskedError: It is none.
    """
    found = _PRICE.fullmatch(text)
    if found is None or found[2] == "per":
        raise AskedError(
            f"--price {text!r}: write what a kilowatt-hour costs, such as"
            ' "0.30 per kWh" or "0.30 EUR per kWh"'
        )
    return Price(float(found[1]), found[2] or "")
