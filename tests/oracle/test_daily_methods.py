"""Daily degree-day methods against the paper that names them."""

import math

import pytest

from controller.review.daily_degree_days import (
    mcmaster_wilhelm_method_1,
    mcmaster_wilhelm_method_2,
)

pytestmark = pytest.mark.oracle

MAX_C = [20, 10, 8, 6, 10, 5, -2, -5, 10, 15]
MIN_C = [10, 1, -2, 0, 5, -5, -7, -10, -2, 2]
METHOD_1 = [15, 5.5, 3, 3, 7.5, 0, 0, 0, 4, 8.5]
METHOD_2 = [15, 5.5, 4, 3, 7.5, 2.5, 0, 0, 5, 8.5]
"""McMaster and Wilhelm 1997, "Growing degree-days: one equation, two
interpretations", Agric. For. Meteorol. 87:291-300, Table 1 (base 0 °C), as
coded in the test data of the R package degday (mcmaster97_tbl1)."""


@pytest.mark.parametrize(
    ("method", "days", "total"),
    [
        (mcmaster_wilhelm_method_1, METHOD_1, 46.5),
        (mcmaster_wilhelm_method_2, METHOD_2, 51.0),
    ],
    ids=["method-1", "method-2"],
)
def test_days_and_sum_are_those_of_table_1(method, days, total):
    found = [method(hi, lo, 0) for hi, lo in zip(MAX_C, MIN_C, strict=True)]
    assert found == days
    assert sum(found) == total


@pytest.mark.parametrize("base_c", [-5.0, 4.0, 10.0])
def test_methods_differ_only_where_the_base_lies_between_the_readings(base_c):
    """McMaster and Wilhelm 1997, abstract: Method 1 gives less where the lowest
    temperature alone is below the base; else they agree.
    """
    for hi, lo in zip(MAX_C, MIN_C, strict=True):
        first = mcmaster_wilhelm_method_1(hi, lo, base_c)
        second = mcmaster_wilhelm_method_2(hi, lo, base_c)
        assert (first < second) is (lo < base_c < hi)
        assert first <= second


@pytest.mark.parametrize(
    "method", [mcmaster_wilhelm_method_1, mcmaster_wilhelm_method_2]
)
def test_readings_that_cannot_be_are_refused_with_their_name(method):
    with pytest.raises(ValueError, match=r"^max_c = 4: at least min_c, which is 5 °C$"):
        method(4, 5, 0)
    for at, name in enumerate(("max_c", "min_c", "base_c")):
        for value in (math.nan, math.inf, -math.inf):
            readings = [20.0, 10.0, 0.0]
            readings[at] = value
            with pytest.raises(ValueError, match=f"^{name} = {value}: a temperature"):
                method(*readings)
    assert method(5, 5, 0) == 5
