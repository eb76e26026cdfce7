"""Parts of bottomheat that are installed when they are wanted. No command."""

from importlib.util import find_spec


class ExtraMissingError(Exception):
    """Something is not installed; the message says how to install it."""


def need(extra: str, what: str, *packages: str) -> None:
    """Check that the packages of an extra are installed.

    Args:
        extra: Its name, such as "replay".
        what: What needs them, for the message.
        packages: Their names as they are imported.

    Raises:
        ExtraMissingError: One is not.
    """
    for package in packages:
        if find_spec(package) is None:
            raise ExtraMissingError(
                f"{what} needs {package}, which is not installed:"
                f' pip install "bottomheat[{extra}]" (64-bit systems only)'
            )


def have(package: str) -> bool:
    """Whether a package is installed."""
    return find_spec(package) is not None
