"""Tubes, bypass and spectra against definitions, and against a second way by quadrature."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from flowrig.physics.sampling import (
    bypass_share,
    density_at_limits,
    mean_log_size,
    spectrum_slope,
    tube_volumes,
)


def test_a_tube_is_flushed_by_its_own_volume_once():
    volume = np.pi / 4 * 0.006**2 * 2.0
    assert tube_volumes(2.0, 0.006, 47e-6, volume / 47e-6) == pytest.approx(1.0)
    assert np.isnan(tube_volumes([0.0, 2.0, 2.0], [0.006, 0.0, 0.006], [47e-6, 47e-6, -1.0], 1.0)).all()


# Source: total efficiency with bypass, E_total = E_media (1 - beta), tests/reference README; gap air unfiltered.
@given(media=st.floats(0.0, 0.99), share=st.floats(-0.2, 0.99))
def test_the_share_that_went_round_comes_back_from_the_balance(media, share):
    system = share + (1.0 - share) * media
    assert bypass_share(system, media) == pytest.approx(share, abs=1e-9)


def test_a_medium_that_holds_nothing_back_tells_no_bypass():
    assert np.isnan(bypass_share(1.0, 1.0))


def at_limits(counts, lower, upper):
    return density_at_limits(spectrum_slope(counts, lower, upper), lower, upper)


@pytest.mark.recomputed
@pytest.mark.parametrize("power", [-5.0, -3.0, -1.0, 0.0, 0.7])
def test_densities_at_the_limits_are_those_of_the_spectrum(power):
    edges = np.array([0.3, 0.5, 1.0, 2.5, 5.0, 10.0])
    counts = np.array([quad(lambda x: np.exp(power * x), *np.log(edges[i : i + 2]))[0] for i in range(5)])
    low, high = at_limits(1e6 * counts, edges[:-1], edges[1:])
    # the slope is that of channel means at geometric mean sizes: exact for equal channels, else to some per cent
    np.testing.assert_allclose(low, edges[:-1] ** power / counts, rtol=0.12)
    np.testing.assert_allclose(high, edges[1:] ** power / counts, rtol=0.3)


@pytest.mark.recomputed
def test_a_limit_that_moves_changes_the_counts_as_told():
    edges = np.geomspace(0.3, 9.6, 6)

    def within(a, b):
        return quad(lambda x: np.exp(-2.5 * x), np.log(a), np.log(b))[0]

    counts = np.array([within(*edges[i : i + 2]) for i in range(5)])
    low, high = at_limits(1e5 * counts, edges[:-1], edges[1:])
    step = 1e-4
    for i in range(5):
        raised = within(edges[i] * (1 + step), edges[i + 1]) / counts[i] - 1
        assert raised == pytest.approx(-step * low[i], rel=1e-3)
        widened = within(edges[i], edges[i + 1] * (1 + step)) / counts[i] - 1
        assert widened == pytest.approx(step * high[i], rel=1e-3)


def test_an_open_channel_has_the_slope_of_its_neighbours_and_no_upper_limit():
    low, high = at_limits([800.0, 100.0, 14.0], [1.0, 2.0, 4.0], [2.0, 4.0, np.inf])
    assert low[2] == pytest.approx(3.0)
    assert high[2] == 0.0


def test_a_single_open_channel_tells_nothing():
    low, high = at_limits([12.0], [1.0], [np.inf])
    assert np.isnan(low).all()
    assert np.isnan(high).all()
    low, high = at_limits([12.0], [1.0], [2.0])
    assert low == pytest.approx(1 / np.log(2))
    assert high == pytest.approx(low)


def test_counts_of_none_and_below_have_a_density_or_none():
    low, _ = at_limits([[100.0, 0.0, 3.0], [100.0, -1.0, 3.0]], [1.0, 2.0, 4.0], [2.0, 4.0, 8.0])
    assert np.isfinite(low[0]).all()
    assert np.isnan(low[1, 1])


@pytest.mark.recomputed
@pytest.mark.parametrize("power", [-5.0, -1.0, 0.0, 2.0])
def test_the_mean_size_of_a_channel_is_that_of_its_particles(power):
    low, high = np.log(0.5), np.log(1.0)
    number = quad(lambda x: np.exp(power * x), low, high)[0]
    mean = quad(lambda x: x * np.exp(power * x), low, high)[0] / number
    assert mean_log_size(power, 0.5, 1.0) == pytest.approx(mean, rel=1e-9)
    open_ = quad(lambda x: x * np.exp(-3.0 * x), low, 30.0)[0] / quad(lambda x: np.exp(-3.0 * x), low, 30.0)[0]
    assert mean_log_size(-3.0, 0.5, np.inf) == pytest.approx(open_, rel=1e-6)
