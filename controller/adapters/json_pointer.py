"""JSON Pointer (RFC 6901): the way to one value inside a JSON document.

Twenty lines of standard do not pay for a dependency. What may live here: the
syntax and the evaluation of section 3 and 4 of the RFC. Nothing about readings.
"""

import re
from collections.abc import Mapping, Sequence

from controller.adapters.strict_json import shown

_BAD_ESCAPE = re.compile(r"~(?![01])")
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")  # no document here has 10**9 elements


class PointerError(ValueError):
    """The pointer is malformed or leads to nothing; the message says where."""


def tokens(pointer: str) -> tuple[str, ...]:
    """Split a pointer into its unescaped reference tokens.

    Args:
        pointer: "" for the whole document, else it begins with "/".

    Raises:
        PointerError: It does not follow the syntax of RFC 6901, section 3.
    """
    if pointer == "":
        return ()
    if not pointer.startswith("/"):
        raise PointerError(
            f'JSON Pointer {pointer!a} must be empty or begin with "/"'
            f', such as "/{ascii(pointer)[1:-1]}"'
        )
    if _BAD_ESCAPE.search(pointer):
        raise PointerError(
            f'JSON Pointer {pointer!a} has a "~" that is neither "~0" (for "~") '
            'nor "~1" (for "/")'
        )
    # "~1" first: "~01" is an escaped "~" followed by a 1 (section 4)
    return tuple(
        token.replace("~1", "/").replace("~0", "~") for token in pointer[1:].split("/")
    )


def resolve(document: object, pointer: str) -> object:
    """Return the value that a pointer leads to.

    Args:
        document: What a JSON parser made of a text.
        pointer: The way to the value.

    Raises:
        PointerError: The pointer is malformed or leads to nothing.
    """
    value = document
    for token in tokens(pointer):
        value = _child(value, token)
    return value


def _child(value: object, token: str) -> object:
    if isinstance(value, Mapping):
        if token not in value:
            found = ", ".join(shown(key) for key in list(value)[:8]) or "no keys"
            raise PointerError(f"no key {shown(token)}; found {found}")
        return value[token]
    if isinstance(value, Sequence) and not isinstance(value, str):
        return _element(value, token)
    raise PointerError(f"nothing below a plain value, so no {shown(token)}")


def _element(array: Sequence[object], token: str) -> object:
    """Return an element; "-" is the one after the last and never exists."""
    if not _INDEX.fullmatch(token) or int(token) >= len(array):
        raise PointerError(
            f"no element {shown(token)}; the array has {len(array)}, counted from 0"
        )
    return array[int(token)]
