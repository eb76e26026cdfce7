"""How a message travels: a webhook, the bench's own broker, or apprise.

Each takes a letter and either delivers it or says in a sentence why not; no
sentence repeats an address, which may hold a secret. What may live here: which
address is whose, and reading it.
"""

from collections.abc import Awaitable, Callable
from typing import Protocol

from controller.adapters.addresses import Way, address_of
from controller.adapters.notify.by_apprise import ByApprise, NoAppriseError
from controller.adapters.notify.line import NotSentError
from controller.adapters.notify.memory import Letter
from controller.adapters.notify.webhook import Webhook
from controller.wiring import NotifyWire

PublishNotice = Callable[[str], Awaitable[None]]
"""Publishes a payload as the bench's notice; raises ConnectionError."""


class NotifyError(ValueError):
    """A target cannot be used; the text names it and what would be right."""


class Sender(Protocol):
    """Brings letters to one target."""

    @property
    def shown(self) -> str:
        """The address as people may see it."""
        ...

    async def send(self, letter: Letter) -> None:
        """Deliver a letter.

        Raises:
            NotSentError: It could not be delivered now.
        """
        ...


class OnBroker:
    """Publishes each letter on the bench's own broker."""

    shown = "mqtt"

    def __init__(self, publish: PublishNotice) -> None:
        self._publish = publish

    async def send(self, letter: Letter) -> None:
        """Deliver a letter."""
        try:
            await self._publish(letter.body)
        except ConnectionError as error:
            raise NotSentError(f"the broker did not take it: {error}") from None


def sender_for(wire: NotifyWire, publish: PublishNotice) -> Sender:
    """Return what brings letters to a target.

    Args:
        wire: The target.
        publish: How a notice gets on the bench's own broker.

    Raises:
        NotifyError: Its address cannot be read or used.
    """
    at = f"notify {wire.name}"
    text = wire.url or _first_line(at, wire)
    try:
        address = address_of(text)
        match address.way:
            case Way.WEBHOOK:
                return Webhook(address)
            case Way.MQTT:
                return OnBroker(publish)
            case Way.APPRISE:
                return ByApprise(address)
    except (NoAppriseError, ValueError) as error:
        raise NotifyError(f"{at}: {error}") from None


def _first_line(at: str, wire: NotifyWire) -> str:
    path = wire.url_file
    try:
        lines = path.read_text(encoding="utf-8").splitlines() if path else []
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no UTF-8 text"
        message = f"{at}: url_file {path}: cannot be read: {why}"
        raise NotifyError(message) from None
    if not lines or not lines[0].strip():
        message = f"{at}: url_file {path}: is empty: its first line is the address"
        raise NotifyError(message)
    return lines[0].strip()
