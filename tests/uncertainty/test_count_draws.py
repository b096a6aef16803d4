"""Draws of a ratio of counts against the exact limits, and against the F distribution of another library."""

import tomllib
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from flowrig.uncertainty.count_draws import LOWER, MIDDLE, NODES, UPPER, ratio_at_deviates
from flowrig.uncertainty.counts import Dispersion, ratio_limits

WORKED = tomllib.loads((Path(__file__).parents[1] / "reference" / "counts_worked.toml").read_text(encoding="utf-8"))
Z = NormalDist().inv_cdf(0.975)


def at(numerator, denominator, side, z, phi=1.0):
    [row] = ratio_at_deviates([numerator], [denominator], side, phi)
    return float(np.interp(z, NODES, row))


@pytest.mark.parametrize(("x", "y"), [(3, 50), (1, 1), (0, 20), (40, 300), (1885, 15013)])
def test_the_outer_two_pass_through_the_exact_limits(x, y):
    low, high = ratio_limits(x, y)
    assert at(x, y, UPPER, Z) == pytest.approx(float(high), rel=1e-3)
    assert at(x, y, LOWER, -Z) == pytest.approx(float(low), rel=1e-3)


# Source: conditional binomial limits of 1885 counts over 15013, recomputed for the reference; five samples to six.
@pytest.mark.recomputed
def test_limits_of_the_reference():
    exact = WORKED["exact_ratio_no_background_no_correlation"]
    x, y = exact["downstream_total"], exact["upstream_total"]
    scale = exact["upstream_samples"] / exact["downstream_samples"]
    assert at(x, y, UPPER, Z) * scale == pytest.approx(exact["clopper_pearson_conditional_95_upper"], rel=1e-5)
    assert at(x, y, LOWER, -Z) * scale == pytest.approx(exact["clopper_pearson_conditional_95_lower"], rel=1e-5)


# Source: one-sided limit of no count behind against 18450 before, recomputed for the reference.
@pytest.mark.recomputed
def test_none_of_many():
    zero = WORKED["zero_downstream"]
    found = at(0, zero["upstream_total"], UPPER, NormalDist().inv_cdf(0.95))
    assert found == pytest.approx(zero["penetration_upper_95_one_sided_conditional_binomial"], rel=1e-3)
    assert at(0, 100, LOWER, 3.0) == 0.0
    assert at(0, 100, MIDDLE, -3.0) > 0.0


@pytest.mark.library
def test_the_middle_is_a_ratio_of_two_gammas():
    """A second way: the share of a beta of 3.5 and 50.5 has odds of an F with 7 and 101 degrees of freedom."""
    z = np.array([-6.0, -1.0, 0.0, 2.0, 5.0])
    [row] = ratio_at_deviates([3], [50], MIDDLE)
    found = np.interp(z, NODES, row)
    p = stats.norm.cdf(z)
    q = stats.norm.sf(z)
    expected = np.where(z < 0, stats.f.ppf(p, 7, 101), stats.f.isf(q, 7, 101)) * 3.5 / 50.5
    assert found == pytest.approx(expected, rel=1e-6)


@given(x=st.integers(0, 10_000), y=st.integers(1, 10_000), phi=st.floats(1.0, 30.0))
def test_they_rise_and_the_middle_lies_between(x, y, phi):
    low, middle, high = (ratio_at_deviates([x], [y], side, phi)[0] for side in (LOWER, MIDDLE, UPPER))
    for row in (low, middle, high):
        assert np.all(np.diff(row) >= 0.0)
    assert np.all(low <= middle * (1 + 1e-9))
    assert np.all(middle <= high * (1 + 1e-9))


def test_clumps_widen_as_limits_do():
    for dof in (np.inf, 4.0):
        low, high = ratio_limits(30, 200, spread=Dispersion(np.asarray(3.0), dof, np.asarray(0.01)))
        t = stats.t.ppf(0.975, dof) if np.isfinite(dof) else Z
        assert at(30, 200, UPPER, t, 3.0) == pytest.approx(float(high), rel=1e-3)
        assert at(30, 200, LOWER, -t, 3.0) == pytest.approx(float(low), rel=1e-3)


def test_what_is_no_count_and_nothing_before():
    assert np.all(np.isnan(ratio_at_deviates([-1.0], [5.0], MIDDLE)))
    assert np.all(np.isinf(ratio_at_deviates([2.0], [0.0], UPPER)))
    assert np.all(np.isinf(ratio_at_deviates([0.0], [0.0], UPPER)))
    assert np.all(ratio_at_deviates([0.0], [0.0], LOWER) == 0.0)
