"""The HTTP server, inside the daemon's own event loop.

uvicorn with every switch set on purpose: no signal handlers of its own (the
daemon switches the mats off first and ends this afterwards), a bounded
farewell, bounded connections and request heads, and its own short answers in
the same error shape as ours. What may live here: serving. No routes.
"""

import asyncio
import contextlib
import errno
import ipaddress
import socket
from collections.abc import Callable, Iterator

import h11
import uvicorn
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.problems import problem

FAREWELL_S = 1
"""Chosen: time that open answers get when the daemon ends, so that with all that
follows the API is down within 2 s."""

MOST_CONNECTIONS = 128
"""Chosen: far more than a household has pages open, far less than a flood."""

LARGEST_HEAD = 16 * 1024
"""Bytes of a request line with its headers."""

HEAD_WITHIN_S = 10.0
"""Chosen: time for a request's head; a silent connection is dropped."""

QUIET_WITHIN_S = 15
"""Chosen: how long a connection waits for its next request."""

BACKLOG = 64


class ListenError(OSError):
    """The address cannot be listened on; the message says what would be right."""


async def serve(
    app: ASGIApp, host: str, port: int, ready: Callable[[int], None]
) -> None:
    """Serve an app until cancelled; then end within FAREWELL_S and a little.

    Args:
        app: The app.
        host: A loopback name or address.
        port: TCP port; 0: any free one.
        ready: Called once with the port when requests are taken.

    Raises:
        ListenError: The host is not of this machine's loopback, or the port is
            taken.
    """
    with contextlib.closing(await _listening(host, port)) as listener:
        server = _Server(_config(app), ready)
        serving = asyncio.create_task(server.serve(sockets=[listener]))
        try:
            await asyncio.shield(serving)
        except asyncio.CancelledError:
            server.should_exit = True
            await serving
            raise


def _config(app: ASGIApp) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        http=_Protocol,
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        limit_concurrency=MOST_CONNECTIONS,
        backlog=BACKLOG,
        timeout_keep_alive=QUIET_WITHIN_S,
        timeout_graceful_shutdown=FAREWELL_S,
        h11_max_incomplete_event_size=LARGEST_HEAD,
    )


async def _listening(host: str, port: int) -> socket.socket:
    address = await _loopback(host, port)
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setblocking(False)  # noqa: FBT003
        listener.bind((address, port))
    except OSError as error:
        listener.close()
        raise ListenError(_reason(error, host, port)) from error
    return listener


async def _loopback(host: str, port: int) -> str:
    """Return the loopback address that a host name stands for."""
    loop = asyncio.get_running_loop()
    try:
        found = await loop.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        msg = f"[api] host = {host!r}: there is no such host; 127.0.0.1 is this machine"
        raise ListenError(msg) from error
    addresses = [str(address[0]) for *_, address in found]
    for address in addresses:
        if not ipaddress.ip_address(address).is_loopback:
            msg = (
                f"[api] host = {host!r} is {address}: the API has no tokens and "
                "listens on this machine only; write 127.0.0.1"
            )
            raise ListenError(msg)
    return addresses[0]


def _reason(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            f"[api] port = {port}: another program listens on {host}:{port}; "
            "stop it or choose another port"
        )
    return f"[api] port = {port}: cannot listen on {host}:{port}: {error.strerror}"


class _Server(uvicorn.Server):
    """uvicorn's server without its signal handlers; tells when it is ready."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[int], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        for listener in sockets or []:
            self._ready(listener.getsockname()[1])

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals to the daemon."""
        yield


class _Protocol(H11Protocol):
    """uvicorn's protocol with our error shape and a bound on slow heads."""

    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if not isinstance(transport, asyncio.Transport):
            raise TypeError(transport)
        super().connection_made(transport)
        # uvicorn would answer in plain text.
        most, self.limit_concurrency = self.limit_concurrency, None
        if most is not None and len(self.connections) > most:
            self.app = _overloaded
        self._expect_head()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._expect_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._forget_head()
        super().connection_lost(exc)

    def _expect_head(self) -> None:
        """Run the timer while no answer is being made and more must come."""
        if self._answering():
            self._forget_head()
        elif self._head_timer is None:
            self._head_timer = self.loop.call_later(HEAD_WITHIN_S, self._too_slow)

    def _answering(self) -> bool:
        return self.conn.our_state in {h11.SEND_RESPONSE, h11.SEND_BODY}

    def _too_slow(self) -> None:
        self._head_timer = None
        if not self._answering():
            self.transport.close()

    def _forget_head(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP, in our error shape."""
        answer = problem(400, msg)
        headers = [*answer.raw_headers, (b"connection", b"close")]
        head = h11.Response(status_code=400, headers=headers, reason=b"Bad Request")
        with contextlib.suppress(h11.LocalProtocolError):  # an answer is under way
            for event in (head, h11.Data(data=bytes(answer.body)), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        self.transport.close()


async def _overloaded(scope: Scope, receive: Receive, send: Send) -> None:
    headers = {"Retry-After": "2", "Connection": "close"}
    answer = problem(503, "too many connections are open", headers=headers)
    await answer(scope, receive, send)
