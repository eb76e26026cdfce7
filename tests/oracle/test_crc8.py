"""The checksum of one-wire devices against published examples."""

import pytest

from controller.adapters.one_wire import crc8

pytestmark = pytest.mark.oracle


@pytest.mark.parametrize(
    ("data", "crc"),
    [("02 1c b8 01 00 00 00", 0xA2), ("02 1c b8 01 00 00 00 a2", 0x00), ("02", 0xBC)],
)
def test_the_application_notes_example(data, crc):
    """The worked example of the maker's application note 27."""
    assert crc8(bytes.fromhex(data)) == crc


def test_the_catalogues_check_value():
    """Catalogues of checksums give A1 for "123456789" (CRC-8/MAXIM)."""
    assert crc8(b"123456789") == 0xA1
