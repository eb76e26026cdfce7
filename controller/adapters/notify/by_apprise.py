"""Messages handed to apprise, a library that knows many services.

The only module that knows apprise, which is an extra.
"""

from controller.adapters.addresses import Address
from controller.adapters.notify.line import Line, NotSentError
from controller.adapters.notify.memory import Letter


class NoAppriseError(Exception):
    """It cannot be used; the text says why and what would be right."""


class ByApprise:
    """Hands each letter to apprise.

    Raises:
        NoAppriseError: It is not installed, or does not know such an address.
    """

    def __init__(self, address: Address) -> None:
        try:
            import apprise  # noqa: PLC0415 (an extra)
        except ImportError:
            message = (
                f"{address.shown} needs apprise, which is not installed;"
                ' say: pip install "bottomheat[notify]"'
            )
            raise NoAppriseError(message) from None
        self.shown = address.shown
        asset = apprise.AppriseAsset(
            app_id="bottomheat", app_desc="bottomheat", app_url=""
        )
        self._service = apprise.Apprise(asset=asset)
        self._line = Line()
        self._types = {
            "high": apprise.NotifyType.FAILURE,
            "medium": apprise.NotifyType.WARNING,
            "low": apprise.NotifyType.INFO,
        }
        if not self._service.add(address.url):
            message = f"{address.shown}: apprise cannot use this address"
            raise NoAppriseError(message)

    async def send(self, letter: Letter) -> None:
        """Deliver a letter."""
        await self._line.run(lambda: self._notify(letter))

    def _notify(self, letter: Letter) -> None:
        try:
            done = self._service.notify(
                body=letter.text,
                title=letter.title,
                notify_type=self._types[letter.priority],
            )
        except Exception as error:  # noqa: BLE001 (a plug-in for a stranger's service)
            raise NotSentError(f"apprise failed: {type(error).__name__}") from None
        if not done:
            raise NotSentError("apprise could not deliver it")
