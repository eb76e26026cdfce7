"""The HTTP server, inside the daemon's own event loop.

uvicorn with every switch set on purpose: no signal handlers of its own (the
daemon switches the mats off first and ends this afterwards), a bounded
farewell, bounded connections and request heads, and its own short answers in
the same error shape as ours. What may live here: serving. No routes.
"""

import asyncio
import contextlib
import errno
import socket
import ssl
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from pathlib import Path
from weakref import WeakSet

import h11
import uvicorn
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.door import LARGEST_HEAD
from api.problems import problem

FAREWELL_S = 1
"""Chosen: time that open answers get when the daemon ends, so that with all that
follows the API is down within 2 s."""

MOST_CONNECTIONS = 128
"""Chosen: far more than a household has pages open, far less than a flood."""

SPARE_CONNECTIONS = 32
"""Chosen: so many more are told that there are too many; the rest is dropped."""

MOST_FROM_ONE = 32
"""Chosen: connections from one address that is neither this machine nor a proxy of
ours; a browser has six for each page."""

HEAD_WITHIN_S = 10.0
"""Chosen: time for a request's head; a silent connection is dropped."""

QUIET_WITHIN_S = 15
"""Chosen: how long a connection waits for its next request."""

STUCK_S = 20.0
"""Chosen: a client that takes nothing of its answer for so long is dropped."""

BACKLOG = 64


@dataclass(frozen=True, slots=True)
class Listen:
    """Where to listen, and for whom.

    Attributes:
        host: A name or address of this machine.
        port: TCP port; 0: any free one.
        guarded: Whether tokens are asked for; else only loopback will do.
        tls_cert: File of the certificate and what vouches for it; None: no TLS.
        tls_key: File of its key.
        proxies: Addresses or networks of proxies, behind which many are.
    """

    host: str
    port: int
    guarded: bool = False
    tls_cert: Path | None = None
    tls_key: Path | None = None
    proxies: tuple[str, ...] = ()


class ListenError(OSError):
    """The address cannot be listened on; the message says what would be right."""


async def serve(app: ASGIApp, at: Listen, ready: Callable[[int], None]) -> None:
    """Serve an app until cancelled; then end within FAREWELL_S and a little.

    Args:
        app: The app.
        at: Where to listen, and for whom.
        ready: Called once with the port when requests are taken.

    Raises:
        ListenError: The host is not of this machine, or would need tokens; the
            port is taken; or the certificate is of no use.
    """
    tls = None if at.tls_cert is None else tls_of(at.tls_cert, at.tls_key)
    with contextlib.closing(await _listening(at)) as listener:
        server = _Server(_config(app, tls, at.proxies), ready)
        serving = asyncio.create_task(server.serve(sockets=[listener]))
        try:
            await asyncio.shield(serving)
        except asyncio.CancelledError:
            server.should_exit = True
            await serving
            raise


def tls_of(cert: Path, key: Path | None) -> ssl.SSLContext:
    """Return what encrypts: Python's own choice of protocols, TLS 1.2 or newer.

    Raises:
        ListenError: The files are of no use.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    named = f"[api] tls_cert = {str(cert)!r}, tls_key = {str(key)!r}"
    try:
        # Never ask for a password: nobody is there to type it.
        context.load_cert_chain(cert, key, password="")
    except OSError as error:  # among them ssl.SSLError
        why = error.strerror or str(error)
        msg = (
            f"{named}: {why}; a certificate and its key in PEM, the key without a"
            " password and readable for this user, are right"
        )
        raise ListenError(msg) from error
    return context


class _Config(uvicorn.Config):
    """uvicorn's settings, and addresses from which any number may connect."""

    many_from: tuple[IPv4Network | IPv6Network, ...] = ()


def _config(
    app: ASGIApp, tls: ssl.SSLContext | None, proxies: Sequence[str]
) -> _Config:
    config = _Config(
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
        ssl_context_factory=None if tls is None else lambda *_: tls,
    )
    own = ("127.0.0.0/8", "::1/128")
    config.many_from = tuple(ip_network(one, strict=False) for one in (*own, *proxies))
    return config


async def _listening(at: Listen) -> socket.socket:
    address = await _address(at)
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    # asyncio sends small answers at once (TCP_NODELAY) only where it is told that
    # this is TCP; else head and body wait for each other, 40 ms.
    listener = _Listener(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setblocking(False)  # noqa: FBT003
        listener.bind((address, at.port))
    except OSError as error:
        listener.close()
        raise ListenError(_reason(error, at.host, at.port)) from error
    return listener


async def _address(at: Listen) -> str:
    """Return the address that a host name stands for, which must be guarded."""
    loop, host = asyncio.get_running_loop(), at.host
    try:
        found = await loop.getaddrinfo(host, at.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        msg = f"[api] host = {host!r}: there is no such host; 127.0.0.1 is this machine"
        raise ListenError(msg) from error
    addresses = [str(address[0]) for *_, address in found]
    for address in addresses:
        if not ip_address(address).is_loopback and not at.guarded:
            raise ListenError(unguarded(host))
    return addresses[0]


def unguarded(
    host: str,
    harm: str = "could heat",
    make: str = "bottomheat token add NAME --may operate",
) -> str:
    """Return why nobody is listened to who could come in without a token.

    Args:
        host: Where it should listen.
        harm: What whoever is in the network could do.
        make: What makes a token.
    """
    return (
        f"[api] host = {host!r}: other machines can reach that, and there is no token:"
        f" whoever is in your network {harm}. Make one first, with {make}; or write"
        " 127.0.0.1"
    )


class _Listener(socket.socket):
    """A socket that accepts only so many connections, those still encrypting too.

    Handles are shared with the log and the broker's link, which must never find
    that strangers have taken them all.
    """

    def __init__(self, family: int, kind: int, protocol: int) -> None:
        super().__init__(family, kind, protocol)
        self._accepted: WeakSet[socket.socket] = WeakSet()

    def accept(self) -> tuple[socket.socket, object]:
        """Accept a connection, or drop it at once."""
        connection, address = super().accept()
        if len(self._accepted) >= MOST_CONNECTIONS + SPARE_CONNECTIONS:
            connection.close()
            raise ConnectionAbortedError(errno.ECONNABORTED, "too many connections")
        self._accepted.add(connection)
        return connection, address


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
        """Listen; unlike uvicorn's, not for ever to who never ends a handshake."""
        config, loop = self.config, asyncio.get_running_loop()

        def made() -> asyncio.Protocol:
            return _Protocol(config, self.server_state, {}, loop)

        self.servers = [
            await loop.create_server(
                made,
                sock=listener,
                ssl=config.ssl,
                backlog=config.backlog,
                ssl_handshake_timeout=HEAD_WITHIN_S if config.ssl else None,
            )
            for listener in sockets or []
        ]
        self.started = True
        for listener in sockets or []:
            self._ready(listener.getsockname()[1])

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals to the daemon."""
        yield


class _Protocol(H11Protocol):
    """uvicorn's protocol with our error shape and bounds on who is slow."""

    _head_timer: asyncio.TimerHandle | None = None
    _stuck_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if not isinstance(transport, asyncio.Transport):
            raise TypeError(transport)
        super().connection_made(transport)
        # uvicorn would answer in plain text.
        most, self.limit_concurrency = self.limit_concurrency, None
        if self._crowd() or (most is not None and len(self.connections) > most):
            self.app = _overloaded
        self._expect_head()

    def _crowd(self) -> bool:
        """Whether one address has more connections than a household needs."""
        if self.client is None:
            return False
        host, many_from = self.client[0], getattr(self.config, "many_from", ())
        if any(ip_address(host) in network for network in many_from):
            return False
        others = (getattr(one, "client", None) for one in self.connections)
        return sum(bool(one and one[0] == host) for one in others) > MOST_FROM_ONE

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._expect_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._forget_head()
        self.resume_writing()
        super().connection_lost(exc)

    # -------------------------------------------------- who sends too slowly

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
            self._hang_up()

    def _forget_head(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    # -------------------------------------------------- who takes too slowly

    def pause_writing(self) -> None:
        super().pause_writing()
        if self._stuck_timer is None:
            self._stuck_timer = self.loop.call_later(STUCK_S, self.transport.abort)

    def resume_writing(self) -> None:
        if self._stuck_timer is not None:
            self._stuck_timer.cancel()
            self._stuck_timer = None
        super().resume_writing()

    def timeout_keep_alive_handler(self) -> None:
        super().timeout_keep_alive_handler()
        self._hang_up()

    def _hang_up(self) -> None:
        """Close, and do not wait for ever until what was sent is taken."""
        self.transport.close()
        self.loop.call_later(STUCK_S, self.transport.abort)

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
