"""Fluctuations beyond counting: their two limiting cases, and how often the interval holds the truth."""

import math

import numpy as np
import pytest
from scipy import stats

from flowrig.uncertainty.fluctuation import chance_of, fluctuation_error


@pytest.mark.library
def test_the_chance_of_a_chi_square():
    np.testing.assert_allclose(chance_of([0.0, 3.0, 40.0], 4), stats.chi2.sf([0.0, 3.0, 40.0], 4))


@pytest.mark.library
@pytest.mark.parametrize("coverage", [0.68, 0.95, 0.99])
@pytest.mark.parametrize("dof", [1, 2, 5, 30])
def test_without_counting_it_is_students_t(dof, coverage):
    """Chi square far above chance: s²/n of n samples, and Student's factor in place of the normal one."""
    error = fluctuation_error(1e8, dof, dof, [0.25], [1.0], coverage)
    students = stats.t.ppf(0.5 + coverage / 2, dof) / stats.norm.ppf(0.5 + coverage / 2)
    assert error[0] == pytest.approx(math.sqrt(1e8 * 0.25) * students, rel=0.02 if dof > 1 or coverage < 0.99 else 0.15)


def test_where_chance_alone_scatters_little_is_added_and_less_the_more_channels_say_so():
    few, many = (float(fluctuation_error(1.0, 4, chance, [1.0], [1.0])[0]) for chance in (4, 200))
    assert many < 0.5 < few < 1.2
    assert float(fluctuation_error(0.2, 4, 4, [1.0], [1.0])[0]) < 0.5


@pytest.mark.coverage
@pytest.mark.parametrize("n", [3, 5])
def test_the_interval_holds_the_truth_whatever_counting_has_of_it(n):
    """Means of n samples; counting of variance 1, fluctuations from none to thirty times that of counting."""
    counting = 1 / math.sqrt(n)
    nodes = np.concatenate([[0.0], np.geomspace(0.02, 2e4, 40)])
    errors = [float(fluctuation_error(seen, n - 1, n - 1, [1 / n], [counting])[0]) for seen in nodes]
    rng = np.random.default_rng(n)
    for size in (0.0, 0.5, 1.0, 3.0, 30.0):
        x = rng.standard_normal((20_000, n)) * math.hypot(1.0, size)
        error = np.interp(np.var(x, axis=1, ddof=1), nodes, errors)
        held = np.mean(np.abs(np.mean(x, axis=1)) <= 1.959964 * np.hypot(error, counting))
        assert held > 0.95 - 0.006, size
