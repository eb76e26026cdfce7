"""SenML against the worked examples of its standard.

Source of all packs and expected values: RFC 8428 (Jennings, Shelby, Arkko,
Keranen, Bormann, Sensor Measurement Lists (SenML), August 2018), sections 4
and 5. Numbers are compared exactly, as decimals.
"""

import json
from decimal import Decimal

import pytest

from controller.adapters import senml

DEVICE = "urn:dev:ow:10e2073a01080063"

MULTIPLE_MEASUREMENTS = """
[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
   "bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]
"""

RESOLVED_DATA = """
[
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}
]
"""


def pack(text):
    return json.loads(text, parse_int=Decimal, parse_float=Decimal)


@pytest.mark.oracle
def test_single_data_point():
    """Section 5.1.1: a temperature taken approximately now by a 1-wire sensor."""
    (record,) = senml.resolve(
        pack('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]')
    )
    assert (DEVICE, "Cel", Decimal("23.1")) == (record.name, record.unit, record.value)
    assert Decimal(0) == record.time_s
    assert record.is_relative


@pytest.mark.oracle
def test_multiple_data_points_now():
    """Section 5.1.2, first example: voltage and current at an unspecified time."""
    records = senml.resolve(
        pack(
            '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},'
            '{"n":"current","u":"A","v":1.2}]'
        )
    )
    assert [
        (f"{DEVICE}:voltage", "V", Decimal("120.1")),
        (f"{DEVICE}:current", "A", Decimal("1.2")),
    ] == [(record.name, record.unit, record.value) for record in records]


@pytest.mark.oracle
def test_multiple_data_points_of_the_last_five_seconds():
    """Section 5.1.2, second example: current at each second of the previous 5.

    It is Tue Jun 8 18:01:16.001 UTC 2010; the pack is of version 5.
    """
    records = senml.resolve(
        pack(
            '[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,'
            '"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},'
            '{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},'
            '{"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},'
            '{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]'
        )
    )
    assert [record.unit for record in records] == ["V", "A", "A", "A", "A", "A", "A"]
    assert [
        (Decimal("1276020071.001"), Decimal("1.2")),
        (Decimal("1276020072.001"), Decimal("1.3")),
        (Decimal("1276020073.001"), Decimal("1.4")),
        (Decimal("1276020074.001"), Decimal("1.5")),
        (Decimal("1276020075.001"), Decimal("1.6")),
        (Decimal("1276020076.001"), Decimal("1.7")),
    ] == [(record.time_s, record.value) for record in records[1:]]
    assert not any(record.is_relative for record in records)


@pytest.mark.oracle
def test_multiple_measurements_resolve_to_the_resolved_data():
    """Section 5.1.3 resolved is section 5.1.4, record by record."""
    expected = senml.resolve(pack(RESOLVED_DATA))
    assert expected == senml.resolve(pack(MULTIPLE_MEASUREMENTS))
    assert len(expected) == 13


@pytest.mark.oracle
def test_resolved_data_is_itself():
    """Section 5.1.4: a resolved pack has nothing left to apply."""
    assert [
        (fields["n"], fields["u"], fields["t"], fields["v"])
        for fields in pack(RESOLVED_DATA)
    ] == [
        (record.name, record.unit, record.time_s, record.value)
        for record in senml.resolve(pack(RESOLVED_DATA))
    ]


@pytest.mark.oracle
def test_multiple_data_types():
    """Section 5.1.5: a number, a string, a boolean and data."""
    temp, label, is_open, reader = senml.resolve(
        pack(
            '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},'
            '{"n":"label","vs":"Machine Room"},{"n":"open","vb":false},'
            '{"n":"nfc-reader","vd":"aGkgCg"}]'
        )
    )
    assert (f"{DEVICE}:temp", Decimal("23.1")) == (temp.name, temp.value)
    assert (f"{DEVICE}:label", "Machine Room") == (label.name, label.text)
    assert (f"{DEVICE}:open", False) == (is_open.name, is_open.flag)
    assert (f"{DEVICE}:nfc-reader", "aGkgCg") == (reader.name, reader.text)
    assert [label.value, is_open.value, reader.value] == [None, None, None]


@pytest.mark.oracle
def test_collection_of_resources():
    """Section 5.1.6: the last record has the 3rd's base name, the 1st's time."""
    records = senml.resolve(
        pack(
            '[{"bn":"2001:db8::2/","bt":1.320078429e+09,'
            '"n":"temperature","u":"Cel","v":25.2},'
            '{"n":"humidity","u":"%RH","v":30},'
            '{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},'
            '{"n":"humidity","u":"%RH","v":67}]'
        )
    )
    assert [
        ("2001:db8::2/temperature", "Cel", Decimal("25.2")),
        ("2001:db8::2/humidity", "%RH", Decimal(30)),
        ("2001:db8::1/temperature", "Cel", Decimal("12.3")),
        ("2001:db8::1/humidity", "%RH", Decimal(67)),
    ] == [(record.name, record.unit, record.value) for record in records]
    assert {Decimal(1320078429)} == {record.time_s for record in records}


@pytest.mark.oracle
def test_setting_an_actuator():
    """Section 5.1.7: a first record that only sets the base name is no value."""
    records = senml.resolve(
        pack(
            '[{"bn":"urn:dev:ow:10e2073a01080063:"},'
            '{"n":"temp","u":"Cel","v":23.1},'
            '{"n":"heat","u":"/","v":1},{"n":"fan","u":"/","v":0}]'
        )
    )
    assert [
        (f"{DEVICE}:temp", "Cel", Decimal("23.1")),
        (f"{DEVICE}:heat", "/", Decimal(1)),
        (f"{DEVICE}:fan", "/", Decimal(0)),
    ] == [(record.name, record.unit, record.value) for record in records]


@pytest.mark.oracle
def test_setting_lights_a_tenth_of_a_second_ahead():
    """Section 5.1.7, last example: base unit and time hold for all records."""
    records = senml.resolve(
        pack(
            '[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},'
            '{"n":"2001:db8::4","v":0.5},{"n":"2001:db8::3","t":0.1,"v":0},'
            '{"n":"2001:db8::4","t":0.1,"v":0}]'
        )
    )
    assert [Decimal("1320078429.1")] * 2 == [record.time_s for record in records[2:]]
    assert [record.unit for record in records] == ["/"] * 4


@pytest.mark.oracle
def test_times_are_absolute_from_two_to_the_twenty_eighth():
    """Section 4.5.3: below 268,435,456 relative to now, from it on absolute."""
    below, at = senml.resolve(
        pack('[{"n":"a","v":1,"t":268435455.999},{"n":"a","v":1,"t":268435456}]')
    )
    assert (below.is_relative, at.is_relative) == (True, False)


@pytest.mark.oracle
def test_base_value_and_base_sum_are_added():
    """Sections 4.1 and 4.5.4: base value and base sum are added to an entry's."""
    first, second = senml.resolve(
        pack('[{"bn":"a","bv":20,"bs":100,"v":1.5,"s":7},{"t":-1,"s":-1}]')
    )
    assert (Decimal("21.5"), Decimal(107)) == (first.value, first.sum)
    assert (None, Decimal(99)) == (second.value, second.sum)


@pytest.mark.oracle
def test_a_later_base_field_replaces_an_earlier_one():
    """Section 4: a base field holds up to the next record with the same field."""
    records = senml.resolve(
        pack('[{"bn":"a","bu":"Cel","v":1},{"bn":"b","v":2},{"bu":"K","v":3}]')
    )
    assert [(record.name, record.unit) for record in records] == [
        ("a", "Cel"),
        ("b", "Cel"),
        ("b", "K"),
    ]


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("broken", "rule"),
    [
        ('[{"n":"a","v":1,"future_":2}]', "4.4: an unknown label ending in _"),
        ('[{"n":"a","v":1,"bver":11}]', "4.4: a version larger than understood"),
        ('[{"n":"a","v":1,"bver":5},{"n":"a","v":1,"bver":6}]', "4.4: two versions"),
        ('[{"n":"a","v":1,"bver":0}]', "4.1: version is a positive integer"),
        ('[{"n":"a","v":1,"bver":9.5}]', "4.1: version is a positive integer"),
        ('[{"v":1}]', "4.2: neither name nor base name"),
        ('[{"n":"-a","v":1}]', "4.5.1: begins with letter or digit"),
        ('[{"n":"a b","v":1}]', "4.5.1: no space"),
        ('[{"n":"ä","v":1}]', "4.5.1: no other letters"),
        ('[{"n":"a"}]', "4.2: a value is required"),
        ('[{"n":"a","v":1,"vs":"x"}]', "4.2: exactly one value"),
        ('[{"n":"a","v":"1"}]', "4.3: v is a number"),
        ('[{"n":"a","v":true}]', "4.3: v is a number"),
        ('[{"n":"a","vb":1}]', "4.3: vb is a boolean"),
        ('[{"n":1,"v":1}]', "4.3: n is a string"),
        ('{"n":"a","v":1}', "5: the root is an array"),
        ("[1]", "5: of objects"),
    ],
)
def test_a_pack_that_breaks_a_rule_is_refused(broken, rule):
    """The rule, with its section of RFC 8428, stands beside each pack."""
    with pytest.raises(senml.SenmlError):
        senml.resolve(pack(broken))
    assert rule


@pytest.mark.oracle
def test_unknown_labels_are_ignored():
    """Section 4.4: fields that are not recognised must be ignored."""
    (record,) = senml.resolve(pack('[{"n":"a","v":1,"colour":"red","foo":[1]}]'))
    assert Decimal(1) == record.value
