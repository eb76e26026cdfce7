"""Which numbers in a message could be a temperature? Pure.

A board that nobody has told the program of says something; the program looks whether
it is a plain number, or JSON with numbers in it, and where.
"""

import json
from collections.abc import Iterator

from controller.core.judge import HIGHEST_MC, LOWEST_MC

MOST = 40
_LOW_C, _HIGH_C = LOWEST_MC / 1000, HIGHEST_MC / 1000
_NAMES = ("temp", "celsius", "value")


def temperatures(topic: str, payload: bytes) -> dict[str, int]:
    """Return what may be temperatures, by address [m°C].

    The address is the topic, with "#" and a JSON Pointer (RFC 6901) behind it where
    the number stands in JSON. Where names say what is a temperature, others are left
    out: a battery is no probe.

    Args:
        topic: Where it was said.
        payload: What.
    """
    try:
        found: object = json.loads(payload)
    except (ValueError, RecursionError):
        return {}
    numbers = list(_numbers(found, ""))[:MOST]
    named = [(p, n) for p, n in numbers if any(word in p.casefold() for word in _NAMES)]
    fit = [(p, n) for p, n in named or numbers if _LOW_C <= n <= _HIGH_C]
    return {f"{topic}#{p}" if p else topic: round(1000 * n) for p, n in fit}


def _numbers(found: object, pointer: str) -> Iterator[tuple[str, float]]:
    if isinstance(found, bool):
        return
    if isinstance(found, int | float):
        yield pointer, float(found)
    elif isinstance(found, dict):
        for key, value in found.items():
            end = str(key).replace("~", "~0").replace("/", "~1")
            yield from _numbers(value, f"{pointer}/{end}")
    elif isinstance(found, list):
        for number, value in enumerate(found):
            yield from _numbers(value, f"{pointer}/{number}")
