"""Somebody who answers from a list, and a clock that jumps ahead."""

from collections.abc import Callable, Sequence

from controller.adapters.clocks import ManualClock
from controller.ports import Instant


class Scripted:
    """A person whose answers are known by a part of the question.

    What is not known is answered as usual; what was told and asked is kept.
    """

    def __init__(self, *answers: tuple[str, str | Sequence[str]]) -> None:
        self._answers = {
            part: [said] if isinstance(said, str) else list(said)
            for part, said in reversed(answers)  # the first one counts
        }
        self.told: list[str] = []
        self.asked: list[str] = []
        self.during: Callable[[str], None] = lambda _: None

    def tell(self, text: str) -> None:
        self.told.append(text)

    async def ask(self, question: str, usual: str = "") -> str:
        self.asked.append(question)
        self.during(question)
        for part, answers in self._answers.items():
            if part in question:
                return answers.pop(0) if len(answers) > 1 else answers[0]
        return usual


class Turn:
    """Awaited, it lets everybody else who is ready go on first."""

    def __await__(self):
        yield


class JumpingClock:
    """Time passes only where all wait for it, and then at once to the first of them."""

    def __init__(self) -> None:
        self._clock = ManualClock(utc_ms=1_801_000_000_000)
        self._waited: list[int] = []
        self.passed: Callable[[int], None] = lambda _: None

    def now(self) -> Instant:
        return self._clock.now()

    async def sleep_until(self, run_ms: int) -> None:
        self._waited.append(run_ms)
        try:
            while self.now().run_ms < run_ms:
                for _ in range(4):
                    await Turn()
                by_ms = run_ms - self.now().run_ms
                if by_ms > 0 and run_ms == min(self._waited):
                    self._clock.advance(by_ms)
                    self.passed(by_ms)
        finally:
            self._waited.remove(run_ms)
