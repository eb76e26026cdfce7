"""Messages posted to an address on the web.

What may live here: HTTP. An address may hold a secret: no sentence repeats it.
"""

import http.client
import urllib.error
import urllib.request
from urllib.parse import urlsplit

from controller.adapters.addresses import Address
from controller.adapters.notify.line import Line, NotSentError
from controller.adapters.notify.memory import Letter

STEP_WITHIN_S = 10.0
"""Each step of a connection may take this long [s]."""


def _opener() -> urllib.request.OpenerDirector:
    """Return what speaks HTTP and HTTPS, and nothing else that a URL could ask.

    It follows no redirect: an address that leads elsewhere is a mistake to be
    told, and a POST that was redirected would arrive as a GET.
    """
    opener = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(),
        urllib.request.HTTPDefaultErrorHandler(),
        urllib.request.HTTPErrorProcessor(),
    ):
        opener.add_handler(handler)
    return opener


class Webhook:
    """Posts each letter as JSON."""

    def __init__(self, address: Address) -> None:
        self.shown = address.shown
        self._url = address.url
        self._line = Line()

    async def send(self, letter: Letter) -> None:
        """Deliver a letter."""
        await self._line.run(lambda: self._post(letter.body.encode()))

    def _post(self, body: bytes) -> None:
        headers = {"Content-Type": "application/json", "User-Agent": "bottomheat"}
        request = urllib.request.Request(  # noqa: S310 (http and https only: _opener)
            self._url, body, headers, method="POST"
        )
        try:
            _opener().open(request, timeout=STEP_WITHIN_S).close()
        except urllib.error.HTTPError as error:
            with error:
                raise NotSentError(_answered(error)) from None
        except urllib.error.URLError as error:
            raise NotSentError(f"no answer: {_why(error.reason)}") from None
        except (OSError, ValueError, http.client.HTTPException) as error:
            raise NotSentError(f"no answer: {_why(error)}") from None


def _answered(error: urllib.error.HTTPError) -> str:
    text = f"it answered {error.code}"
    where = error.headers.get("Location")
    if where is None:
        return text
    return f"{text}: it leads on to {_host_of(where)}; write that address instead"


def _host_of(url: str) -> str:
    try:
        parts = urlsplit(url)
        shown = f"{parts.scheme}://{parts.hostname}" if parts.hostname else "itself"
    except ValueError:
        shown = "an address that is none"
    return "".join(mark for mark in shown if mark.isprintable())[:100]


def _why(error: object) -> str:
    """Return why a connection failed; what may repeat an address is left out."""
    if isinstance(error, TimeoutError):
        return f"nothing within {STEP_WITHIN_S:g} s"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return type(error).__name__
