"""Benches asked over HTTP, many at a time, each within a time that holds for all.

A socket's own timeout begins anew with each byte, so that one bench that answers
slowly enough could keep a place for ever; here the whole answer has one deadline.
What may live here: one GET, and what goes wrong with it.
"""

import asyncio
import socket
import ssl
from urllib.parse import urlsplit

import h11

from controller.cli.asking import Json, told
from controller.cli.over_http import Answer, AskError

LARGEST = 2 * 1024 * 1024
"""Bytes of a bench's answer that are read: a hundred times what eight trays take."""

_PIECE = 64 * 1024
_LARGEST_HEAD = 64 * 1024


async def answered(url: str, path: str, secret: str | None, within_s: float) -> Json:
    """Return the JSON object that a bench answers.

    Args:
        url: Address of its API.
        path: Such as "/v1/bench".
        secret: Its token, if it has one.
        within_s: Time for all of it [s].

    Raises:
        AskError: It did not answer in time, or not as a bench does.
    """
    try:
        async with asyncio.timeout(within_s):
            answer = await _exchanged(url, path, secret)
    except TimeoutError:
        raise AskError(f"no answer within {within_s:g} s") from None
    except (OSError, h11.ProtocolError, UnicodeError) as error:
        raise AskError(_reason(error)) from None
    try:
        return told("", answer)
    except AskError as error:
        why = str(error).removeprefix(": ")
        said = f"it answered {why}" if why.startswith(f"{answer.status}:") else why
        raise AskError(said) from None


async def _exchanged(url: str, path: str, secret: str | None) -> Answer:
    parts = urlsplit(url)
    tls = ssl.create_default_context() if parts.scheme == "https" else None
    port = parts.port or (443 if tls else 80)
    reader, writer = await asyncio.open_connection(parts.hostname, port, ssl=tls)
    try:
        connection = h11.Connection(h11.CLIENT, max_incomplete_event_size=_LARGEST_HEAD)
        headers = [("Host", parts.netloc), ("Connection", "close")]
        if secret is not None:
            headers.append(("Authorization", f"Bearer {secret}"))
        target = f"{parts.path}{path}"
        for said in (
            h11.Request(method="GET", target=target, headers=headers),
            h11.EndOfMessage(),
        ):
            writer.write(connection.send(said) or b"")
        await writer.drain()
        return await _answer(connection, reader)
    finally:
        writer.transport.abort()


async def _answer(connection: h11.Connection, reader: asyncio.StreamReader) -> Answer:
    status, body = 0, bytearray()
    while True:
        event = connection.next_event()
        match event:
            case h11.NEED_DATA:
                connection.receive_data(await reader.read(_PIECE))
            case h11.Response():
                status = event.status_code
            case h11.Data():
                body += event.data
                if len(body) > LARGEST:
                    raise AskError("its answer is too large for a bench's")
            case h11.EndOfMessage() | h11.ConnectionClosed() | h11.PAUSED:
                return Answer(status, bytes(body))
            case _:  # an informational answer: the one that counts comes
                pass


def _reason(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {error.verify_message}"
    if isinstance(error, socket.gaierror):
        return "there is no such host"
    if isinstance(error, ConnectionRefusedError):
        return "nothing listens there"
    if isinstance(error, h11.ProtocolError):
        return "what answers there does not speak HTTP"
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
