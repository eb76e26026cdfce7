"""A real server in a thread with a loop of its own, since a browser needs this one."""

import asyncio
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Coroutine, Sequence

Parts = Sequence[Coroutine[object, object, object]]


class InThread(ABC):
    """A server that is started, stopped, and started again on the same port."""

    port = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @abstractmethod
    def parts(self, took: Callable[[int], None]) -> Parts:
        """Return what runs side by side; took: told the port once it is listened on."""

    def start(self) -> None:
        """Serve, on the same port as before."""
        ready = threading.Event()
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self._serve(ready)), daemon=True
        )
        self._thread.start()
        assert ready.wait(10)

    def stop(self) -> None:
        """End it, if it runs: its port is closed."""
        if not self._thread.is_alive():
            return
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(10)
        assert not self._thread.is_alive()

    async def _serve(self, ready: threading.Event) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()

        def took(port: int) -> None:
            self.port = port
            ready.set()

        tasks = [asyncio.ensure_future(part) for part in self.parts(took)]
        await self._stop.wait()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
