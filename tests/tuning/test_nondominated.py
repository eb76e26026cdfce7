"""The non-dominated set against its definition, tried pair by pair."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sim.tuning.nondominated import nondominated


def by_definition(costs):
    """Every pair, as the definition says it."""
    return [
        not any(
            all(other <= own for other, own in zip(there, here, strict=True))
            and any(other < own for other, own in zip(there, here, strict=True))
            for there in costs
        )
        for here in costs
    ]


@given(
    arrays(
        np.float64,
        st.tuples(st.integers(0, 30), st.integers(1, 4)),
        elements=st.integers(0, 5).map(float),
    )
)
def test_it_is_what_its_definition_says(costs):
    assert nondominated(costs).tolist() == by_definition(costs.tolist())


def test_of_a_thousand_too():
    costs = np.random.default_rng(7).normal(size=(400, 3))
    assert nondominated(costs).tolist() == by_definition(costs.tolist())


def test_equals_stay_together():
    assert nondominated(np.array([[1.0, 2.0], [1.0, 2.0], [1.0, 3.0]])).tolist() == [
        True,
        True,
        False,
    ]


def test_what_is_no_number_is_refused():
    with pytest.raises(ValueError, match=r"^costs: one is not a number"):
        nondominated(np.array([[np.nan, 1.0]]))
