"""JSON Pointer against the examples of its standard.

Source of all expected values: RFC 6901 (Bryan, Zyp, Nottingham, JavaScript
Object Notation (JSON) Pointer, April 2013), sections 3 to 5.
"""

import json

import pytest

from controller.adapters import json_pointer

# Section 5, the document and the twelve pointers, as JSON text
DOCUMENT = json.loads(
    r"""
    {
       "foo": ["bar", "baz"],
       "": 0,
       "a/b": 1,
       "c%d": 2,
       "e^f": 3,
       "g|h": 4,
       "i\\j": 5,
       "k\"l": 6,
       " ": 7,
       "m~n": 8
    }
    """
)
EXAMPLES = [
    (r'""', DOCUMENT),
    (r'"/foo"', ["bar", "baz"]),
    (r'"/foo/0"', "bar"),
    (r'"/"', 0),
    (r'"/a~1b"', 1),
    (r'"/c%d"', 2),
    (r'"/e^f"', 3),
    (r'"/g|h"', 4),
    (r'"/i\\j"', 5),
    (r'"/k\"l"', 6),
    (r'"/ "', 7),
    (r'"/m~0n"', 8),
]


@pytest.mark.oracle
@pytest.mark.parametrize(("as_json", "expected"), EXAMPLES, ids=repr)
def test_examples_of_rfc_6901_section_5(as_json, expected):
    """Each pointer of section 5 leads to the value printed beside it."""
    assert expected == json_pointer.resolve(DOCUMENT, json.loads(as_json))


@pytest.mark.oracle
def test_tilde_zero_one_is_tilde_one_and_not_a_slash():
    """Section 4: '~01' correctly becomes '~1' after transformation."""
    assert json_pointer.tokens("/~01") == ("~1",)


@pytest.mark.oracle
@pytest.mark.parametrize("pointer", ["foo", "/~", "/~2", "/a~", "/~~0"])
def test_a_pointer_outside_the_grammar_is_an_error(pointer):
    """Section 3: each token follows a '/', and '~' only as '~0' or '~1'."""
    with pytest.raises(json_pointer.PointerError):
        json_pointer.resolve(DOCUMENT, pointer)


@pytest.mark.oracle
@pytest.mark.parametrize(
    "index", ["-", "00", "01", "+1", "-1", "1e0", "\u0660", "2", "bar", ""]
)
def test_an_array_index_has_no_leading_zero_and_exists(index):
    """Section 4: '0' or digits without a leading '0'; '-' never exists."""
    with pytest.raises(json_pointer.PointerError):
        json_pointer.resolve(DOCUMENT, f"/foo/{index}")


@pytest.mark.oracle
@pytest.mark.parametrize("pointer", ["/nothing", "/foo/0/x", "/a~1b/0", "/foo/0/0"])
def test_a_pointer_to_nothing_is_an_error(pointer):
    """Section 7: a pointer that references a nonexistent value is an error."""
    with pytest.raises(json_pointer.PointerError):
        json_pointer.resolve(DOCUMENT, pointer)
