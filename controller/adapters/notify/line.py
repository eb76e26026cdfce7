"""Calls that may hang, each on a line of its own.

What may live here: that, and what is said when it fails. No connection.
"""

import asyncio
import threading
from collections.abc import Callable

ALL_WITHIN_S = 30.0
"""A message may take this long to be delivered; then it counts as not [s]."""


class NotSentError(Exception):
    """A message was not delivered; the text says why, in words for people."""


class Line:
    """Runs one blocking call at a time, in a thread that nobody has to wait for.

    A pool's threads are joined at the end of the process, and the disk's work
    shares the loop's own pool: a service that hangs shall delay neither.
    """

    def __init__(self) -> None:
        self._last: asyncio.Future[None] | None = None

    async def run(self, work: Callable[[], None]) -> None:
        """Run a call.

        Raises:
            NotSentError: It said so, or it took too long, or the one before
                still hangs.
        """
        if self._last is not None and not self._last.done():
            raise NotSentError("the attempt before has not ended yet")
        loop = asyncio.get_running_loop()
        done: asyncio.Future[None] = loop.create_future()

        def call() -> None:
            error: Exception | None = None
            try:
                work()
            except Exception as found:  # noqa: BLE001 (raised again where it is awaited)
                error = found
            try:
                loop.call_soon_threadsafe(_settle, done, error)
            except RuntimeError:
                return  # the loop has ended: nobody waits for it any more

        self._last = done
        threading.Thread(target=call, daemon=True, name="notify").start()
        await asyncio.wait({done}, timeout=ALL_WITHIN_S)
        if not done.done():
            raise NotSentError(f"not done within {ALL_WITHIN_S:g} s")
        done.result()


def _settle(done: asyncio.Future[None], error: Exception | None) -> None:
    if done.done():
        return
    if error is None:
        done.set_result(None)
    else:
        done.set_exception(error)
        done.exception()  # seen: nobody may be waiting for it any more
