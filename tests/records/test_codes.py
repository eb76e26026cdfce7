"""Label codes: unique, decoded whatever hand wrote them, wrong ones noticed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.records.codes import (
    ALPHABET,
    LONGEST,
    CodeError,
    canonical,
    code_of,
    number_of,
    weighted_check,
)

NUMBERS = st.integers(1, 19 ** (LONGEST - 1) - 1)
LOOK_ALIKE = ["0DOQ", "1IL", "2Z", "5S", "8B", "6G", "UV"]


@given(number=NUMBERS)
def test_a_code_gives_its_number_back(number):
    assert number_of(code_of(number)) == number


@given(number=NUMBERS, spaces=st.lists(st.sampled_from([" ", "-", ""]), min_size=9))
def test_case_spaces_and_hyphens_do_not_matter(number, spaces):
    written = code_of(number).lower()
    loose = "".join(a + b for a, b in zip(written, spaces, strict=False))
    assert canonical(f"  {loose}\t") == code_of(number)


@given(number=NUMBERS, data=st.data())
def test_any_one_wrong_character_is_noticed(number, data):
    code = code_of(number)
    at = data.draw(st.integers(0, len(code) - 1))
    other = data.draw(st.sampled_from([c for c in ALPHABET if c != code[at]]))
    with pytest.raises(CodeError, match="do not fit each other"):
        number_of(code[:at] + other + code[at + 1 :])


@given(number=NUMBERS, data=st.data())
def test_any_two_characters_that_were_exchanged_are_noticed(number, data):
    code = list(code_of(number))
    places = st.integers(0, len(code) - 1)
    one, other = data.draw(places), data.draw(places)
    if code[one] == code[other]:
        return
    code[one], code[other] = code[other], code[one]
    with pytest.raises(CodeError):
        number_of("".join(code))


def test_codes_differ_are_short_and_sort_out_at_once():
    first = [code_of(number) for number in range(1, 6_859)]
    assert len(set(first)) == len(first)
    assert {len(code) for code in first} == {4}
    assert len(code_of(6_859)) == 5


def test_no_two_characters_look_alike():
    assert len(set(ALPHABET)) == len(ALPHABET) == 19
    for alike in LOOK_ALIKE:
        assert len(set(ALPHABET) & set(alike)) == 0, alike


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "4 to 8 characters, and this has 0"),
        ("34", "and this has 2"),
        ("A0K7", "'0' is in no label code: they are made of 3479ACEF"),
        ("3333", "do not fit"),  # number 0
        ("347479AC4", "and this has 9"),
        ("3" + code_of(5), "this number is written"),
    ],
)
def test_what_is_no_code_is_refused_with_why(text, words):
    with pytest.raises(CodeError, match=words):
        number_of(text)


@pytest.mark.parametrize("number", [0, -1, 19**7])
def test_numbers_without_a_code_are_refused(number):
    with pytest.raises(ValueError, match=r"counted from 1|larger than any"):
        code_of(number)


@pytest.mark.oracle
@pytest.mark.parametrize(("body", "check"), [("030640615", 2), ("019853453", 1)])
def test_the_check_is_that_of_isbn_10(body, check):
    """ISBN-10 (ISO 2108:1992): weights 10 to 2, check digit by modulo 11.

    0-306-40615-2 is the example that the ISBN users' manual prints; both from memory.
    """
    assert weighted_check([int(digit) for digit in body], 11) == check
