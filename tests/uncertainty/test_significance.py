"""Tests of significance against another library, and how often they call on chance."""

import numpy as np
import pytest
from scipy import stats

from flowrig.uncertainty.significance import against_the_others, explained, f_tail

ONE = np.ones((12, 1))


def groups(*sizes):
    return np.repeat(np.eye(len(sizes)), sizes, axis=0)


@pytest.mark.library
def test_two_samples_are_students_test():
    values = np.random.default_rng(1).normal(size=12) + np.repeat([0.0, 0.9], [7, 5])
    sign = np.repeat([0.5, -0.5], [7, 5])[:, np.newaxis]
    found = explained(values - values.mean(), ONE, sign)
    theirs = stats.ttest_ind(values[:7], values[7:])
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-9)
    assert found.ratio == pytest.approx(theirs.statistic**2, rel=1e-9)
    assert found.sizes[0] == pytest.approx(values[:7].mean() - values[7:].mean(), rel=1e-9)
    assert found.sizes[0] / found.errors[0] == pytest.approx(theirs.statistic, rel=1e-9)
    assert (found.dof, found.rest) == (1, 10)


@pytest.mark.library
def test_several_groups_are_analysis_of_variance():
    values = np.random.default_rng(2).normal(size=12) + np.repeat([0.0, 0.5, 1.0], [3, 4, 5])
    found = explained(values - values.mean(), ONE, groups(3, 4, 5))
    theirs = stats.f_oneway(values[:3], values[3:7], values[7:])
    assert (found.ratio, found.p) == (pytest.approx(theirs.statistic, rel=1e-9), pytest.approx(theirs.pvalue, rel=1e-9))
    assert (found.dof, found.rest) == (2, 9)


@pytest.mark.library
@pytest.mark.parametrize("powers", [1, 2, 4])
def test_a_further_power_beside_a_polynomial(powers):
    """Nested fits by least squares: sums of squares with and without the further column."""
    x = np.linspace(0.0, 1.0, 12)
    base, further = x[:, np.newaxis] ** np.arange(powers), np.sin(9 * x)[:, np.newaxis]
    y = 1.0 + x + 0.4 * np.random.default_rng(3).normal(size=12)
    fitted = np.polynomial.polynomial.polyfit(x, y, powers - 1)
    residuals = y - np.polynomial.polynomial.polyval(x, fitted)
    both = np.concatenate([base, further], axis=1)
    coefficients, rest, *_ = np.linalg.lstsq(both, y, rcond=None)
    dof = 12 - powers - 1
    found = explained(residuals, base, further)
    assert (found.dof, found.rest) == (1, dof)
    assert found.ratio == pytest.approx((residuals @ residuals - rest[0]) / (rest[0] / dof), rel=1e-8)
    assert found.sizes[0] == pytest.approx(coefficients[-1], rel=1e-8)
    error = np.sqrt(np.linalg.inv(both.T @ both)[-1, -1] * rest[0] / dof)
    assert found.errors[0] == pytest.approx(error, rel=1e-8)


def test_chance_is_called_on_as_often_as_it_says():
    """Residuals of a cubic through ten points: groups that lie apart by chance alone, at 5 % and no more."""
    random = np.random.default_rng(4)
    base = np.linspace(-1.0, 1.0, 10)[:, np.newaxis] ** np.arange(4)
    frame, _ = np.linalg.qr(base)
    noise = random.normal(size=(4000, 10))
    residuals = noise - (noise @ frame) @ frame.T
    called = [explained(r, base, groups(5, 5)).p < 0.05 for r in residuals]
    assert np.mean(called) == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 4000))


def test_what_says_nothing_beside_the_model_is_not_judged():
    values = np.random.default_rng(1).normal(size=12)
    assert explained(values, ONE, ONE) is None
    assert explained(values, groups(6, 6), groups(12)) is None
    assert explained(values, ONE, np.zeros((12, 0))) is None
    assert explained(values, ONE, np.eye(12)) is None  # nothing left to judge by
    assert explained(1e-9 * values, ONE, groups(6, 6)) is None
    exact = explained(np.repeat([0.5, -0.5], 6), ONE, groups(6, 6))
    assert exact.p < 1e-12


@pytest.mark.recomputed
def test_each_point_against_the_curve_of_the_others():
    """By leaving each out in turn and fitting the rest."""
    x = np.linspace(0.0, 1.0, 9)
    y = np.sin(3 * x) + np.random.default_rng(6).normal(0.0, 0.1, 9)
    base = x[:, np.newaxis] ** np.arange(3)
    residuals = y - base @ np.linalg.lstsq(base, y, rcond=None)[0]
    off, times = against_the_others(residuals, base)
    for k in range(9):
        rest = np.arange(9) != k
        left = y - base @ np.linalg.lstsq(base[rest], y[rest], rcond=None)[0]
        assert off[k] == pytest.approx(left[k], rel=1e-9)
        robust = 1.4826 * np.median(np.abs(left[rest])) * np.sqrt(8 / 5)
        predicted = np.sqrt(1 + base[k] @ np.linalg.inv(base[rest].T @ base[rest]) @ base[k])
        assert times[k] == pytest.approx(left[k] / robust / predicted, rel=1e-9)


@pytest.mark.library
def test_tail_of_f():
    assert f_tail(3.2, 3, 8) == pytest.approx(stats.f.sf(3.2, 3, 8), rel=1e-12)
    assert f_tail(np.inf, 3, 8) == 0.0
