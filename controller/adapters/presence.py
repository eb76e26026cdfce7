"""Two controllers of one bench are never right: how they find each other.

Each says on bottomheat/<bench>/controller, never retained, that it is there and
for how long: {"run": …, "held_ms": …}. Whoever hears another answers it by
name, {…, "hears": <its run>}, and only who is answered by name judges: what a
dead run left on its way to the broker names nobody. The younger one ends. What
may live here: those words and that judgement. No connection.
"""

import json
from dataclasses import dataclass

from controller.adapters import strict_json
from controller.adapters.relay_words import strict_json_integer
from controller.ports import Clock

YOUNGER_MS = 1_000
"""One that is younger by more than this ends."""

ALIKE_MS = 2_000
"""Of two that are as old as that alike, the one whose run sorts last ends. This
is twice the other, so that as long as a question and its answer take less than
a second, both may end, but never neither."""


class AnotherControllerError(Exception):
    """An older controller keeps this bench; the message says what to do."""


@dataclass(frozen=True, slots=True)
class _Word:
    """What a controller said."""

    run: str
    held_ms: int
    hears: str | None


class Presence:
    """One controller among those on a broker that claim a bench's name.

    Args:
        bench: Name of the bench.
        run: Identity of our run.
        clock: The bench's clock; how long the run has lasted is told by it, so
            that no two wall clocks are compared.
    """

    def __init__(self, bench: str, run: str, clock: Clock) -> None:
        self._bench = bench
        self._run = run
        self._clock = clock
        self._since_ms = clock.now().run_ms

    def word(self, hears: str | None = None) -> str:
        """Return what to say: that we are here, and whom we hear."""
        body: dict[str, object] = {"run": self._run, "held_ms": self._held_ms()}
        if hears is not None:
            body["hears"] = hears
        return json.dumps(body)

    def heard(self, payload: bytes, *, retained: bool) -> str | None:
        """Take what was said; return what to answer, None: nothing.

        Raises:
            AnotherControllerError: Its sender is there, knows of us, and is
                the older one.
        """
        word = None if retained else _understood(payload)
        if word is None or word.run == self._run:
            return None
        if word.hears is None:
            return self.word(hears=word.run)
        if word.hears == self._run and self._must_end(word):
            text = (
                f"another controller (run {word.run}) has kept bench {self._bench}"
                f" on this broker for {word.held_ms // 1000} s: two would switch the"
                " same relays against each other, so this one, the younger, ends;"
                " stop the other one first, or give this bench a name of its own"
            )
            raise AnotherControllerError(text)
        return None

    def _must_end(self, other: _Word) -> bool:
        lead_ms = self._held_ms() - other.held_ms
        alike = abs(lead_ms) <= ALIKE_MS
        return lead_ms < -YOUNGER_MS or (alike and self._run > other.run)

    def _held_ms(self) -> int:
        return self._clock.now().run_ms - self._since_ms


def _understood(payload: bytes) -> _Word | None:
    try:
        body = strict_json.document(payload)
    except ValueError:
        return None
    if not isinstance(body, dict):
        return None
    run, held_ms = body.get("run"), strict_json_integer(body.get("held_ms"))
    hears = body.get("hears")
    if not isinstance(run, str) or held_ms is None:
        return None
    return _Word(run, held_ms, hears if isinstance(hears, str) else None)
