"""Rubbish that almost makes sense: bytes changed from good examples.

Pure chance is refused at the first byte; what breaks a parser is nearly right.
So every input starts from an example and is spoiled once or a few times, by
blind changes of bytes and by changes that know numbers, words and JSON. All of
it hangs on the Random that is handed in: the same one makes the same input.
"""

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random

NUMBERS = (
    *(b"0", b"-0", b"0.0", b"1", b"-1", b"+1", b"--1", b"1.", b".5", b"5e", b"1e1"),
    *(b"21.5", b"85", b"-127", b"127.94", b"1000", b"1000.0005", b"-1000.0005"),
    *(b"1e308", b"1.7976931348623159e308", b"1e309", b"-1e309", b"1e-308", b"1e-400"),
    *(b"1e999999999999999999999", b"1e-999999999999999999999", b"9" * 64, b"9" * 65),
    *(b"0." + b"0" * 61 + b"1", b"1E+2", b"1_000", b"1,5", b"0x10", b"0b1", b"1 000"),
    *(b"2147483647", b"-2147483649", b"4294967296", b"9007199254740992"),
    *(b"9007199254740993", b"9223372036854775807", b"9223372036854775808"),
    *(b"18446744073709551616", b"268435455.999", b"268435456", b"1800000000"),
    *(b"NaN", b"nan", b"Infinity", b"-Infinity", b"inf", b"true", b"false", b"null"),
    # Digits and signs of other scripts, as wide as ours, raised, or a minus sign:
    *("\u0662\u0661\u066b\u0665".encode(), "\uff12\uff11".encode()),
    *("\u00b2".encode(), "\u22121".encode()),
)
"""Numbers at the edges of what may be read, and what only looks like one."""

NASTY = (
    *(b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff\x00", b"\x00", b"\x7f", b"\x80"),
    *(b"\xed\xa0\x80", b"\xc0\x80", b"\xf4\x90\x80\x80", b"\xe2\x80\xa8", b"\xc2\xa0"),
    *("\u202e".encode(), "😀".encode(), "\u0301".encode(), "ß".encode(), "İ".encode()),
    *(rb"\ud800", rb"\udfff", rb"\ud83d\ude00", rb"\u0000", rb"\x00", rb"\"", b"\\"),
    *(b"\r\n", b"\r", b"\n", b"\t", b" ", b"\x1b[31m", b"'", b'"', b'"""', b"#"),
    *(b"[", b"]", b"{", b"}", b"[]", b"{}", b":", b",", b",,", b"=", b"/", b"~", b"%s"),
    *(b'{"a":', b"[1,", b"//", b"/*", b"<!--", b"$(id)", b"`id`", b"../", b"~01"),
)
"""Marks, halves of characters, ends of lines and signs that mean something."""

_NUMBER = re.compile(rb"-?[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?")
_DEPTHS = (2, 30, 400, 900, 990, 1_000, 1_010, 2_000, 20_000)
_MOST = 8

Change = Callable[["Mutator", Random, bytes], bytes]


@dataclass(frozen=True)
class Mutator:
    """Makes inputs.

    Attributes:
        seeds: Good examples, or bad ones that broke something once.
        words: What means something to this parser: keys, units, names.
        longest: Inputs are cut here [bytes].
        unspoiled: How often an example comes as it is.
    """

    seeds: Sequence[bytes]
    words: Sequence[bytes]
    longest: int = 10_000
    unspoiled: float = 0.02

    def made(self, rng: Random) -> bytes:
        """Return the next input."""
        content = rng.choice(self.seeds)
        if rng.random() < self.unspoiled:
            return content
        for _ in range(min(_MOST, 1 + int(rng.expovariate(0.8)))):
            content = rng.choice(CHANGES)(self, rng, content)
        return content[: self.longest]


def _place(rng: Random, content: bytes) -> int:
    return rng.randrange(len(content) + 1)


def _put(content: bytes, at: int, what: bytes, instead_of: int = 0) -> bytes:
    return content[:at] + what + content[at + instead_of :]


def _flip(_: Mutator, rng: Random, content: bytes) -> bytes:
    if not content:
        return b"\x01"
    at = rng.randrange(len(content))
    return _put(content, at, bytes([content[at] ^ 1 << rng.randrange(8)]), 1)


def _byte(_: Mutator, rng: Random, content: bytes) -> bytes:
    return _put(content, _place(rng, content), bytes([rng.randrange(256)]), 1)


def _nasty(_: Mutator, rng: Random, content: bytes) -> bytes:
    what, instead_of = rng.choice(NASTY), rng.choice((0, 0, 1))
    return _put(content, _place(rng, content), what, instead_of)


def _word(mutator: Mutator, rng: Random, content: bytes) -> bytes:
    what = rng.choice(mutator.words)
    return _put(content, _place(rng, content), what, rng.choice((0, 1, len(what))))


def _cut(_: Mutator, rng: Random, content: bytes) -> bytes:
    return _put(content, _place(rng, content), b"", rng.randrange(1, 12))


def _end(_: Mutator, rng: Random, content: bytes) -> bytes:
    return content[: _place(rng, content)]


def _twice(_: Mutator, rng: Random, content: bytes) -> bytes:
    at, length = _place(rng, content), rng.randrange(1, 40)
    times = rng.choice((1, 1, 1, 3, 100))
    return _put(content, at, content[at : at + length] * times)


def _splice(mutator: Mutator, rng: Random, content: bytes) -> bytes:
    other = rng.choice(mutator.seeds)
    return content[: _place(rng, content)] + other[_place(rng, other) :]


def _number(_: Mutator, rng: Random, content: bytes) -> bytes:
    found = list(_NUMBER.finditer(content))
    if not found:
        return _put(content, _place(rng, content), rng.choice(NUMBERS))
    at, end = rng.choice(found).span()
    return _put(content, at, rng.choice(NUMBERS), end - at)


def _deep(_: Mutator, rng: Random, content: bytes) -> bytes:
    before, after = rng.choice(((b"[", b"]"), (b'{"a":', b"}"), (b"[{", b"}]")))
    depth = rng.choice(_DEPTHS) if rng.random() < 0.3 else rng.randrange(1, 20)
    if rng.random() < 0.5:
        return before * depth + content + after * depth
    found = list(_NUMBER.finditer(content))
    at, end = rng.choice(found).span() if found else (0, 0)
    return _put(content, at, before * depth + b"1" + after * depth, end - at)


def _tree(mutator: Mutator, rng: Random, content: bytes) -> bytes:
    """Change one value or key inside JSON, and leave the text well formed."""
    try:
        document = json.loads(content)
    except (ValueError, RecursionError):
        return _word(mutator, rng, content)
    # A string stands where the new value shall be written, as no JSON can say it.
    changed, mark = _replaced(rng, document, depth=0), b'"\\u0001"'
    return json.dumps(changed).encode().replace(mark, _value(mutator, rng), 1)


def _replaced(rng: Random, value: object, *, depth: int) -> object:
    if depth >= 30 or rng.random() < 0.1:
        return "\u0001"
    if isinstance(value, dict) and value:
        return _object(rng, value, depth=depth + 1)
    if isinstance(value, list) and value:
        at = rng.randrange(len(value))
        instead = [_replaced(rng, value[at], depth=depth + 1)]
        return value[:at] + instead[rng.random() < 0.2 :] + value[at + 1 :]
    return "\u0001"


def _object(rng: Random, fields: dict[str, object], *, depth: int) -> object:
    key = rng.choice(list(fields))
    match rng.randrange(8):
        case 0:
            return {k: v for k, v in fields.items() if k != key}
        case 1:
            return {**fields, key + rng.choice(("_", " ", "\u0001", "x")): fields[key]}
    return {**fields, key: _replaced(rng, fields[key], depth=depth)}


def _value(mutator: Mutator, rng: Random) -> bytes:
    match rng.randrange(4):
        case 0:
            return b'"' + rng.choice(mutator.words) + b'"'
        case 1:
            return rng.choice((b"[]", b"{}", b'""', b"null", b"true", b"false", b"[1]"))
        case 2:
            return b'"' + rng.choice(NUMBERS) + b'"'
        case _:
            return rng.choice(NUMBERS)


CHANGES: tuple[Change, ...] = (
    *(_flip, _byte, _nasty, _word, _cut, _end, _twice, _splice),
    *(_number, _number, _deep, _tree, _tree, _tree),
)
