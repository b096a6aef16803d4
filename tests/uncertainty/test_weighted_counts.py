"""Ratios of weighted sums of counts: against exact limits, another library, and the probabilities that they promise."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from flowrig.uncertainty.counts import Dispersion, ratio_limits, ratio_upper
from flowrig.uncertainty.weighted_counts import weighted_ratio_limits, weighted_ratio_upper


@given(
    hits=st.lists(st.integers(0, 300), min_size=1, max_size=5),
    misses=st.lists(st.integers(0, 300), min_size=1, max_size=5),
    weight=st.floats(0.01, 100.0),
    exposure=st.floats(0.1, 10.0),
)
def test_sums_of_one_weight_are_the_exact_limits_of_their_totals(hits, misses, weight, exposure):
    found = weighted_ratio_limits(hits, weight, misses, weight * exposure)
    np.testing.assert_allclose(found, ratio_limits(sum(hits), sum(misses), exposure), rtol=1e-9)
    one_sided = weighted_ratio_upper(hits, weight, misses, weight * exposure)
    np.testing.assert_allclose(one_sided, ratio_upper(sum(hits), sum(misses), exposure), rtol=1e-9)


# A second road: the conditional binomial of another library, exposures in the odds.
@pytest.mark.library
@pytest.mark.parametrize(("hits", "misses"), [(3, 40), (0, 18450), (1885, 15013), (140, 2)])
def test_limits_by_another_library(hits, misses):
    theirs = stats.binomtest(hits, hits + misses).proportion_ci(0.95, method="exact")
    low, high = weighted_ratio_limits([hits], 2.0, [misses], 3.0)
    assert low == pytest.approx(2.0 / 3.0 * theirs.low / (1 - theirs.low), rel=1e-9)
    assert high == pytest.approx(2.0 / 3.0 * theirs.high / (1 - theirs.high), rel=1e-9)


# Source: Fay and Feuer 1997: limits of one weighted sum are quantiles of gamma distributions.
@pytest.mark.library
def test_over_a_count_without_error_they_are_gamma_quantiles():
    n, w = np.array([3, 0, 7]), np.array([0.5, 2.0, 1.0])
    y, v = np.sum(w * n), np.sum(w * w * n)
    low, high = weighted_ratio_limits(n, w, [10**12], 1e-12)
    assert low == pytest.approx(stats.gamma.ppf(0.025, y * y / v, scale=v / y), rel=1e-5)
    y, v = y + 2.0, v + 4.0
    assert high == pytest.approx(stats.gamma.ppf(0.975, y * y / v, scale=v / y), rel=1e-5)


@pytest.mark.library
@pytest.mark.parametrize("means", [(0.3, 0.2), (2.0, 1.0), (1.0, 8.0), (20.0, 30.0)])
def test_sums_of_unequal_weights_hold_the_truth_as_often_as_they_promise(means):
    """Every outcome that matters with its probability; counts before the filter are many."""
    weights, truth = np.array([1.0, 3.0]), means[0] + 3.0 * means[1]
    n = [np.arange(60), np.arange(90)]
    chance = np.outer(*(stats.poisson.pmf(k, m) for k, m in zip(n, means, strict=True)))
    first, second = np.meshgrid(*n, indexing="ij")
    counts = np.stack([first, second], axis=-1)
    low, high = weighted_ratio_limits(counts, weights, np.full((*first.shape, 1), 10**9), 1e-9)
    held = np.sum(chance[(low <= truth) & (high >= truth)]) + 1 - np.sum(chance)
    assert 0.95 <= held <= 1.0


def test_scatter_beyond_counting_widens_as_it_does_for_plain_counts():
    spread = Dispersion(np.asarray(3.0), 4, np.asarray(0.01))
    found = weighted_ratio_limits([10, 20], 1.0, [40, 60], 1.0, spread=spread)
    np.testing.assert_allclose(found, ratio_limits(30, 100, spread=spread), rtol=1e-9)
    assert weighted_ratio_upper([0, 0], 1.0, [40, 60], 1.0, spread=spread) > weighted_ratio_upper(
        [0, 0], 1.0, [40, 60], 1.0
    )


def test_what_is_no_count_has_no_limits():
    for bad in ([2.5, 1.0], [-1.0, 1.0], [math.nan, 1.0]):
        assert np.isnan(weighted_ratio_limits(bad, 1.0, [10, 10], 1.0)).all()
        assert np.isnan(weighted_ratio_limits([10, 10], 1.0, bad, 1.0)).all()
    with pytest.raises(ValueError, match="between 0 and 1"):
        weighted_ratio_limits([1], 1.0, [1], 1.0, level=95)
