"""Label codes: short, unique, hard to misread, and wrong ones are noticed.

A code is a number in base 19 with one check character behind. The characters
leave out whatever looks or sounds like another on a wet label: 0 D O Q, 1 I L,
2 Z, 5 S, 8 B, 6 G, U V. The check is a weighted sum modulo the prime 19, as in
ISBN-10 (ISO 2108, there modulo 11): with weights that differ and a prime modulus
any one wrong character and any two that were exchanged are found. What may live
here: numbers as codes and back.
"""

from collections.abc import Sequence

ALPHABET = "3479ACEFHJKMNPRTWXY"
"""Nineteen characters, in the order of their values."""

_BASE = len(ALPHABET)
_LEAST_DIGITS = 3
"""Chosen: 6,859 batches with codes of four characters; then they grow."""

LONGEST = 8
"""Chosen: characters of the longest code."""


class CodeError(ValueError):
    """A text is no label code; the message says why."""


def weighted_check(digits: Sequence[int], modulus: int) -> int:
    """Return the check digit that makes a weighted sum divisible by a modulus.

    The weights are 1 for the check digit itself, 2 for the digit before it, and so
    on to the left.

    Args:
        digits: Values from 0 to modulus - 1, fewer than modulus - 1 of them.
        modulus: A prime.
    """
    total = sum(weight * digit for weight, digit in enumerate(reversed(digits), 2))
    return -total % modulus


def code_of(number: int) -> str:
    """Return the code of a number.

    Raises:
        ValueError: It is below 1, or larger than a code can be.
    """
    if number < 1:
        raise ValueError(f"codes are counted from 1, and this is {number}")
    digits: list[int] = []
    rest = number
    while rest or len(digits) < _LEAST_DIGITS:
        rest, digit = divmod(rest, _BASE)
        digits.insert(0, digit)
    if len(digits) >= LONGEST:
        raise ValueError(f"{number} is larger than any code")
    digits.append(weighted_check(digits, _BASE))
    return "".join(ALPHABET[digit] for digit in digits)


def number_of(text: str) -> int:
    """Return the number of a code; case, spaces and hyphens do not matter.

    Raises:
        CodeError: It is none.
    """
    written = "".join(text.upper().replace("-", " ").split())
    for character in written:
        if character not in ALPHABET:
            raise CodeError(
                f"{character!r} is in no label code: they are made of {ALPHABET},"
                " which leaves out what looks alike"
            )
    if not _LEAST_DIGITS < len(written) <= LONGEST:
        raise CodeError(
            f"a label code has {_LEAST_DIGITS + 1} to {LONGEST} characters, and this"
            f" has {len(written)}"
        )
    *digits, check = map(ALPHABET.index, written)
    number = 0
    for digit in digits:
        number = number * _BASE + digit
    if weighted_check(digits, _BASE) != check or number == 0:
        raise CodeError(
            "the characters do not fit each other: one is wrong, or two were exchanged"
        )
    if code_of(number) != written:
        raise CodeError(f"this number is written {code_of(number)}")
    return number


def canonical(text: str) -> str:
    """Return a code as it is printed; raise CodeError if it is none."""
    return code_of(number_of(text))
