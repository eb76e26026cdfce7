"""Parts of bottomheat that are installed when they are wanted. No command."""

import os
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
    found = missing(extra, what, *packages)
    if found is not None:
        raise ExtraMissingError(found)


def missing(extra: str, what: str, *packages: str) -> str | None:
    """Return what is not installed and how it is, or None; as need."""
    one_thread()
    for package in packages:
        if not have(package):
            return (
                f"{what} needs {package}, which is not installed:"
                f" {how_to_get(extra)} (64-bit systems only)"
            )
    return None


def how_to_get(extra: str) -> str:
    """Return how an extra is had: in an environment of one's own, or on a board."""
    return (
        f'pip install "bottomheat[{extra}]", or, where ./dev install put it, in the'
        f" folder that it came from: sudo ./dev install --extras board,notify,{extra}"
    )


def one_thread() -> None:
    """Keep linear algebra to one thread, unless the environment says otherwise.

    What is multiplied here is tall and thin: more threads wait for each other
    longer than they work, on a busy board ten times as long. To be called before
    numpy is first imported.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def have(package: str) -> bool:
    """Whether a package is installed."""
    return find_spec(package) is not None
