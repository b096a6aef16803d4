"""Exact limits of counts against published ones, other libraries and the probabilities that they promise."""

import math
import tomllib
from pathlib import Path

import mpmath
import numpy as np
import pytest
from scipy import stats

from flowrig.uncertainty.counts import (
    Dispersion,
    binomial_limits,
    dispersion,
    poisson_limits,
    poisson_upper,
    ratio_dispersion,
    ratio_limits,
    ratio_upper,
)
from tests.reference.load import rows

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "counts_worked.toml").read_text(encoding="utf-8"))


# Source: F. Garwood, Biometrika 28 (1936) 437; recomputed with two libraries, 0 and 10 also read on public pages.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("poisson_limits.csv"), ids=lambda row: row["count"])
def test_limits_of_one_count(row):
    lower, upper = poisson_limits(int(row["count"]))
    assert lower == pytest.approx(float(row["two_sided95_lower"]), abs=5.1e-5)
    assert upper == pytest.approx(float(row["two_sided95_upper"]), abs=5.1e-5)
    assert poisson_upper(int(row["count"])) == pytest.approx(float(row["one_sided95_upper"]), abs=5.1e-5)


@pytest.mark.library
@pytest.mark.parametrize("level", [0.6827, 0.95, 0.999])
@pytest.mark.parametrize("count", [1, 3, 40])
def test_the_tails_of_one_count_by_their_sums(count, level):
    """A second way: the probability of so many or more at the lower limit, so many or fewer at the upper."""
    lower, upper = (mpmath.mpf(float(each)) for each in poisson_limits(count, level))

    def up_to(k, mean):
        return mpmath.exp(-mean) * mpmath.fsum(mean**i / mpmath.factorial(i) for i in range(k + 1))

    assert float(1 - up_to(count - 1, lower)) == pytest.approx((1 - level) / 2, rel=1e-10)
    assert float(up_to(count, upper)) == pytest.approx((1 - level) / 2, rel=1e-10)


def test_what_is_no_count_has_no_limits():
    for limit in (*poisson_limits([-1.0, 2.5, np.nan, np.inf]), poisson_upper([-1.0, 2.5, np.nan, np.inf])):
        assert np.isnan(limit).all()
    for limit in (*binomial_limits([3.5, 4, -1], [9, 3, 5]), *ratio_limits([3.5, -1, 2], [9, 3, 5], [1, 1, 0])):
        assert np.isnan(limit).all()
    with pytest.raises(ValueError, match="between 0 and 1"):
        poisson_limits(3, 95)


@pytest.mark.library
@pytest.mark.parametrize("level", [0.9, 0.95])
@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (10, 10), (1, 7), (3, 4), (1885, 16898), (199999, 200000)])
def test_binomial_limits_of_another_library(hits, trials, level):
    theirs = stats.binomtest(hits, trials).proportion_ci(level, method="exact")
    lower, upper = binomial_limits(hits, trials, level)
    assert (lower, upper) == (pytest.approx(theirs.low, rel=1e-9), pytest.approx(theirs.high, rel=1e-9))


def test_no_trial_says_nothing():
    assert tuple(map(float, binomial_limits(0, 0))) == (0.0, 1.0)
    assert tuple(map(float, ratio_limits(0, 0))) == (0.0, math.inf)


# Source: conditional binomial; counts invented, recomputed.
@pytest.mark.recomputed
def test_ratio_of_two_sums_of_samples():
    worked = WORKED["exact_ratio_no_background_no_correlation"]
    exposure = worked["downstream_samples"] / worked["upstream_samples"]
    found = ratio_limits(worked["downstream_total"], worked["upstream_total"], exposure)
    wanted = [worked[f"clopper_pearson_conditional_95_{side}"] for side in ("lower", "upper")]
    assert [float(each) for each in found] == pytest.approx(wanted, abs=5.1e-9)


# Source: as above, and -ln 0.05 for a count of 0.
@pytest.mark.recomputed
def test_nothing_came_through():
    worked = WORKED["zero_downstream"]
    upstream = worked["upstream_total"]
    assert poisson_upper(0) == pytest.approx(worked["one_sided_95_upper_poisson_mean_downstream"], abs=5.1e-8)
    assert poisson_limits(0)[1] == pytest.approx(worked["two_sided_95_upper_poisson_mean_downstream"], abs=5.1e-8)
    bound = ratio_upper(0, upstream)
    assert bound == pytest.approx(worked["penetration_upper_95_one_sided_conditional_binomial"], rel=5e-7)
    assert poisson_upper(0) / upstream == pytest.approx(worked["penetration_upper_95_fixed_upstream"], rel=5e-8)
    assert 1 - bound == pytest.approx(worked["efficiency_lower_95"], abs=5.1e-9)
    assert bound == pytest.approx(0.05 ** (-1 / upstream) - 1, rel=1e-9)  # in closed form


@pytest.mark.recomputed
def test_counts_needed_to_show_an_efficiency():
    """Printed for a count before the filter that is taken as known; that it is a count as well asks for two more."""
    needed = WORKED["zero_downstream"]["upstream_counts_needed_to_show_99.97pct_with_zero_downstream"]
    upstream = np.arange(needed - 5, needed + 5)
    assert upstream[poisson_upper(0) / upstream <= 3e-4][0] == needed
    assert upstream[ratio_upper(0, upstream) <= 3e-4][0] == needed + 2


# Source: a trade article of 2020; raw counts taken as the printed ones over 100, as all of them are whole hundreds.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("counts_toolroom.csv"), ids=lambda row: row["size_ge_um"])
def test_limits_of_real_counts(row):
    lower, upper = ratio_limits(int(row["bin_after_per_ft3"]) // 100, int(row["bin_room_per_ft3"]) // 100)
    assert 100 * (1 - upper) == pytest.approx(float(row["bin_eff95_low_pct"]), abs=0.0501)
    assert 100 * (1 - lower) == pytest.approx(float(row["bin_eff95_high_pct"]), abs=0.0501)


def test_ratios_far_from_one_keep_their_digits():
    """The limits of a ratio are those of the upside-down one, upside down."""
    down, up = np.array([0, 1, 3, 10, 5]), np.array([10**9, 10**7, 18450, 3, 0])
    lower, upper = ratio_limits(down, up, 0.7)
    turned_lower, turned_upper = ratio_limits(up, down, 1 / 0.7)
    with np.errstate(divide="ignore"):
        assert lower == pytest.approx(1 / turned_upper, rel=1e-12)
        assert upper == pytest.approx(1 / turned_lower, rel=1e-12)
    assert np.isinf(upper[-1])


@pytest.mark.parametrize("mean", [0.3, 1.0, 2.9957, 7.3, 30.0])
def test_limits_of_a_count_hold_what_they_promise(mean):
    k = np.arange(200)
    chance = stats.poisson.pmf(k, mean)
    lower, upper = poisson_limits(k)
    assert chance[lower > mean].sum() <= 0.025 + 1e-12
    assert chance[upper < mean].sum() <= 0.025 + 1e-12
    assert chance[poisson_upper(k) < mean].sum() <= 0.05 + 1e-12


@pytest.mark.parametrize(("upstream", "ratio"), [(3.0, 0.2), (20.0, 0.15), (60.0, 0.02), (40.0, 1.1)])
def test_limits_of_a_ratio_hold_what_they_promise(upstream, ratio):
    down, up = np.meshgrid(np.arange(130), np.arange(130), indexing="ij")
    chance = stats.poisson.pmf(down, ratio * upstream) * stats.poisson.pmf(up, upstream)
    assert chance.sum() == pytest.approx(1.0, abs=1e-9)
    lower, upper = ratio_limits(down, up)
    assert chance[lower > ratio].sum() <= 0.025 + 1e-12
    assert chance[upper < ratio].sum() <= 0.025 + 1e-12
    assert chance[ratio_upper(down, up) < ratio].sum() <= 0.05 + 1e-12


def known(ratio):
    return Dispersion(np.asarray(ratio), math.inf, np.asarray(np.nan))


def test_limits_of_clumps_are_those_of_their_number():
    """Every event is counted twice: half as many counts, twice their limits, and nothing else for a ratio."""
    k, m = np.arange(30), np.arange(30)[::-1] + 5
    for twice, once in zip(poisson_limits(2 * k, spread=known(2.0)), poisson_limits(k), strict=True):
        assert twice == pytest.approx(2 * once, rel=1e-14)
    assert poisson_upper(2 * k, spread=known(2.0)) == pytest.approx(2 * poisson_upper(k), rel=1e-14)
    for twice, once in zip(ratio_limits(2 * k, 2 * m, spread=known(2.0)), ratio_limits(k, m), strict=True):
        assert twice == pytest.approx(once, rel=1e-14)
    assert ratio_upper(4, 30, spread=known(2.0)) == pytest.approx(float(ratio_upper(2, 15)), rel=1e-14)


def test_counts_that_scatter_too_little_have_limits_no_narrower():
    assert poisson_limits(7, spread=known(0.4)) == poisson_limits(7)
    assert ratio_limits(7, 30, spread=known(0.4)) == ratio_limits(7, 30)
    assert poisson_upper(0, spread=known(np.nan)) == poisson_upper(0)  # nothing known: counting alone is left


@pytest.mark.parametrize("spread", [1.5, 3.0])
@pytest.mark.parametrize(("upstream", "ratio"), [(30.0, 0.1), (100.0, 0.15), (100.0, 0.03), (60.0, 0.8)])
def test_limits_hold_for_counts_that_scatter_more(upstream, ratio, spread):
    """Negative-binomial counts of known spread, each pair of counts with its probability."""
    down, up = np.meshgrid(np.arange(400), np.arange(400), indexing="ij")

    def chance(k, mean):
        return stats.nbinom.pmf(k, mean / (spread - 1), 1 / spread)

    both = chance(down, ratio * upstream) * chance(up, upstream)
    assert both.sum() == pytest.approx(1.0, abs=1e-9)
    lower, upper = ratio_limits(down, up, spread=known(spread))
    assert both[lower > ratio].sum() <= 0.025
    assert both[upper < ratio].sum() <= 0.025
    plain = ratio_limits(down, up)
    assert both[(plain[0] > ratio) | (plain[1] < ratio)].sum() > both[(lower > ratio) | (upper < ratio)].sum()


@pytest.mark.library
def test_many_counts_have_students_interval_of_their_repeats():
    """Far from few, the limits become mean and standard error of repeats with Student's factor, and half an event."""
    counts = np.array([1041000, 998000, 1015000, 970500, 1032000])
    total, spread = counts.sum(), dispersion(counts)
    lower, upper = poisson_limits(total, spread=spread)
    half = 5 * stats.t.ppf(0.975, 4) * counts.std(ddof=1) / math.sqrt(5)
    assert (upper - lower) / 2 == pytest.approx(half + spread.ratio / 2, rel=1e-4)


@pytest.mark.parametrize("spread", [1.0, 1.5, 3.0])
@pytest.mark.parametrize(
    ("upstream", "ratio", "repeats"), [(500, 0.006, 6), (500, 0.15, 4), (30, 0.1, 6), (500, 0.1, 10)]
)
def test_limits_hold_where_the_spread_is_from_the_same_repeats(upstream, ratio, repeats, spread):
    """In a room whose concentration halves over the run, which is none of the ratio's business."""
    random = np.random.default_rng(9)
    level = upstream * np.exp(-math.log(2) * np.linspace(0, 1, repeats)) * np.ones((8000, 1))

    def counted(mean):
        return random.poisson(mean) if spread == 1 else random.negative_binomial(mean / (spread - 1), 1 / spread)

    down, up = counted(ratio * level), counted(level)
    lower, upper = ratio_limits(down.sum(-1), up.sum(-1), spread=ratio_dispersion(down, up))
    few = spread == 3.0 and repeats <= 6  # as `ratio_limits` says
    chance = 3 * math.sqrt(0.95 * 0.05 / 8000)
    assert np.mean((lower <= ratio) & (ratio <= upper)) >= (0.94 if few else 0.95) - chance


@pytest.mark.library
def test_dispersion_of_a_ratio_is_that_of_a_table_of_two_rows():
    down, up = np.array([37, 52, 41, 60]), np.array([310, 280, 355, 290])
    theirs = stats.chi2_contingency([down, up], correction=False)
    found = ratio_dispersion(down, up)
    assert found.ratio * found.dof == pytest.approx(theirs.statistic, rel=1e-12)
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-12)


def test_dispersion_of_a_ratio_where_nothing_can_be_said():
    found = ratio_dispersion([[0, 0], [1, 0], [1.5, 2], [1, 2]], [[9, 8], [5, 0], [5, 5], [5, 5]])
    assert np.isnan(found.ratio).tolist() == [True, True, True, False]
    with pytest.raises(ValueError, match="one repeat"):
        ratio_dispersion([3], [4])


@pytest.mark.library
def test_dispersion_is_pearsons_chi_square():
    counts, exposure = np.array([104, 230, 87, 95, 112]), np.array([1.0, 2.0, 1.0, 1.0, 1.0])
    found = dispersion(counts, exposure)
    theirs = stats.chisquare(counts, exposure * counts.sum() / exposure.sum())
    assert found.dof == 4
    assert found.ratio == pytest.approx(theirs.statistic / 4, rel=1e-12)
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-12)


# Source: the invented counts of the worked example scatter less than counting alone would, as is said beside them.
@pytest.mark.recomputed
@pytest.mark.parametrize("run", ["upstream_efficiency_run", "downstream_efficiency_run"])
def test_counts_that_scatter_too_little_are_not_mended(run):
    found = dispersion(WORKED["inputs"][run])
    assert found.ratio < 1
    assert found.p > 0.5


def test_dispersion_of_chance_and_of_more():
    random = np.random.default_rng(5)
    poisson = dispersion(random.poisson(8.0, (20000, 6)))
    assert poisson.ratio.mean() == pytest.approx(1.0, abs=0.02)
    assert np.mean(poisson.p < 0.05) == pytest.approx(0.05, abs=0.006)
    # Variance three times the mean. Given their sum such counts are Dirichlet-multinomial, and six of them show
    # (sum + 6*4)/(1 + 6*4) of what counting would: 2.88, as a sum that came out large excuses its own scatter.
    wider = dispersion(random.negative_binomial(4.0, 1 / 3.0, (20000, 6)))
    assert wider.ratio.mean() == pytest.approx((48 + 24) / 25, rel=0.015)


def test_dispersion_about_a_drift_is_not_that_of_the_drift():
    drift = np.exp(-0.3 * np.arange(8))
    counts = np.random.default_rng(6).poisson(5000 * drift, (2000, 8))
    assert dispersion(counts, drift, fitted=1).ratio.mean() == pytest.approx(1.0, abs=0.03)
    assert dispersion(counts).ratio.mean() > 100


def test_dispersion_where_nothing_can_be_said():
    found = dispersion([[0, 0, 0], [1, np.nan, 2], [1, 0, 2]])
    assert np.isnan(found.ratio).tolist() == [True, True, False]
    assert np.isnan(found.p).tolist() == [True, True, False]
    with pytest.raises(ValueError, match="no degree of freedom"):
        dispersion([5])
    with pytest.raises(ValueError, match="no degree of freedom"):
        dispersion(5)
