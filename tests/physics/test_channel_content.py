"""What a channel holds, against quadrature; how efficiency changes over it, on curves that are known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from flowrig.physics import content_shift, efficiency_across


@pytest.mark.library
@pytest.mark.parametrize("steepness", [-4.0, 1e-5, 0.5, 3.0, 4.0, 12.0])
@pytest.mark.parametrize("ends", [(0.3e-6, 0.4e-6), (1e-6, 2.5e-6), (0.3e-6, 10e-6)])
def test_the_mean_of_what_is_in_a_channel(steepness, ends):
    """A second way: ln d averaged over d^-n by quadrature."""
    low, high = (math.log(end / ends[0]) for end in ends)
    weight, _ = quad(lambda x: math.exp(-steepness * x), low, high)
    first, _ = quad(lambda x: x * math.exp(-steepness * x), low, high)
    below = (low + high) / 2 - first / weight
    assert content_shift(*ends, steepness) == pytest.approx(below / (high - low), abs=1e-9)


@given(width=st.floats(1.01, 100.0), steepness=st.floats(0.0, 50.0))
def test_never_beyond_the_channel(width, steepness):
    shift = float(content_shift(1e-6, width * 1e-6, steepness))
    assert 0.0 <= shift < 0.5
    assert float(content_shift(1e-6, width * 1e-6, -steepness)) == pytest.approx(-shift, abs=1e-12)


def test_channels_that_are_none():
    for low, high in ((0.0, 1e-6), (2e-6, 1e-6), (1e-6, 1e-6), (1e-6, math.inf)):
        assert np.isnan(content_shift(low, high, 4.0))


def test_a_straight_line_over_the_logarithm_changes_by_its_slope():
    edges = np.array([0.3, 0.5, 1.0, 2.5, 5.0, 10.0]) * 1e-6
    low, high = edges[:-1], edges[1:]
    means = np.log(np.sqrt(low * high))
    change = efficiency_across(0.2 * means + 3.0, low, high)
    assert change == pytest.approx(0.2 * np.log(high / low), rel=1e-12)
    assert efficiency_across(np.stack([0.2 * means, 0.0 * means]), low, high).shape == (2, 5)


def test_one_channel_tells_nothing_of_a_change():
    assert np.isnan(efficiency_across(np.array([0.5]), np.array([1e-6]), np.array([3e-6]))).all()
    assert np.isnan(efficiency_across(np.array([0.5, 0.6]), np.array([1e-6, 3e-6]), np.array([3e-6, math.inf]))).all()
    assert np.isnan(efficiency_across(np.array([0.5, 0.6]), np.array([3e-6, 1e-6]), np.array([5e-6, 3e-6]))).all()
