"""Ratios of counts from plain samples: worked figures, what cancels, and limits by a second road."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from flowrig.physics.particles import penetration_between, penetration_swapped
from flowrig.studies.by_size import BySize
from flowrig.studies.counted_ratio import Ratio, counted_ratio
from flowrig.studies.counter import Counter
from flowrig.studies.counting import Background, Given, Observed, by_size, observed
from flowrig.studies.samples import samples_of
from flowrig.uncertainty.counts import poisson_limits, ratio_limits, ratio_upper

WORKED = tomllib.loads((Path(__file__).parents[1] / "reference" / "counts_worked.toml").read_text(encoding="utf-8"))
LOWER, UPPER = np.array([0.3e-6]), np.array([0.5e-6])
EXACT = Counter("", "counter", size_limit=0.0, flow_limit=0.0, count_limit=0.0)


def in_turn(upstream, downstream, volume=1.0, **more) -> Ratio:
    """Samples of one counter, upstream first; a number, or a row of channels, for each."""
    rows, up = [], []
    for i in range(max(len(upstream), len(downstream))):
        for values, side in ((upstream, True), (downstream, False)):
            if i < len(values):
                rows.append(np.atleast_1d(values[i]))
                up.append(side)
    k = len(rows[0])
    lower = 0.3e-6 * 2.0 ** np.arange(k)
    return counted_ratio(samples_of(np.array(rows, float), up, lower, 2 * lower, volume, **more))


def free(ratio: Ratio, background=None, counters=None, run="in use", k=1) -> Observed:
    lower = 0.3e-6 * 2.0 ** np.arange(k)
    given = Given("record", counters or {"": EXACT}, background or {})
    return observed(ratio, run, given, lower, 2 * lower)


def sized(one: Observed, other: Observed | None = None, k=1, told=True) -> BySize:
    lower = 0.3e-6 * 2.0 ** np.arange(k)
    return by_size(one, lower, 2 * lower, other, false_told=told)


# Source: structure of ANSI/ASHRAE 52.2 (from memory): alternating samples, background, correlation ratio; counts
# invented, recomputed.
@pytest.mark.recomputed
def test_alternating_samples_with_background_and_correlation_ratio():
    told = WORKED["inputs"]
    runs = {
        run: in_turn(told[f"upstream_{run}"], told[f"downstream_{run}"])
        for run in ("efficiency_run", "correlation_run_no_filter")
    }
    false = {
        ("", up): Background(np.array([float(sum(told[f"background_{side}"]))]), 3.0, f"record:zero|{side}")
        for up, side in ((True, "upstream"), (False, "downstream"))
    }
    with_filter, without = (free(ratio, false, run=run) for run, ratio in runs.items())
    found = sized(with_filter, without)
    pairs, pooled = WORKED["alternating_pairs"], WORKED["pooled_poisson"]
    # theirs is a mean of ratios over arithmetic means: these counts differ from ours in the fifth digit
    assert with_filter.estimate.value == pytest.approx(pairs["P_obs_mean"], rel=2e-4)
    assert without.estimate.value == pytest.approx(pairs["R_mean"], rel=2e-4)
    assert found.penetration.value == pytest.approx(pairs["penetration"], rel=2e-4)
    assert found.efficiency.value == pytest.approx(pairs["efficiency"], rel=2e-4)
    # the counts scatter less than chance would have it, which five samples do not quite tell: little more than counting
    u = float(found.penetration.u[0])
    assert pooled["standard_uncertainty_counting_only"] < u < 1.06 * pooled["standard_uncertainty_counting_only"]
    low, high = (1 - float(end[0]) for end in (found.high, found.low))
    assert low == pytest.approx(pooled["efficiency_interval_95_counting_only_lower"], abs=8e-4)
    assert high == pytest.approx(pooled["efficiency_interval_95_counting_only_upper"], abs=8e-4)


# Source: conditional binomial, two libraries; counts invented, recomputed.
@pytest.mark.recomputed
def test_nothing_came_through():
    told = WORKED["zero_downstream"]
    found = sized(free(in_turn([told["upstream_total"]], [0])))
    assert found.upper_only.all()
    assert found.penetration.value == 0.0
    assert found.low == 0.0
    assert found.high == pytest.approx(told["penetration_upper_95_one_sided_conditional_binomial"], rel=1e-6)
    assert 1 - found.high == pytest.approx(told["efficiency_lower_95"], abs=5e-9)


@pytest.mark.library
@pytest.mark.parametrize(("before", "behind"), [(120, 3), (40, 1), (14, 1), (8, 2), (5000, 9)])
def test_few_counts_have_exact_limits_of_another_library(before, behind):
    """One pair, so that nothing but counting is there: tails of the binomial distribution given the sum."""
    found = sized(free(in_turn([before], [behind])))
    theirs = stats.binomtest(behind, behind + before).proportion_ci(0.95, method="exact")
    assert found.low == pytest.approx(theirs.low / (1 - theirs.low), rel=1e-9)
    assert found.high == pytest.approx(theirs.high / (1 - theirs.high), rel=1e-9)


@given(drift=st.floats(-0.2, 0.2), through=st.floats(0.01, 1.0), start=st.floats(0.0, 30.0))
def test_an_exponential_drift_cancels(drift, through, start):
    """Whatever the times between samples."""
    time = start + np.array([0.0, 1.0, 2.5, 3.0, 5.0, 5.5, 7.0])
    up = np.arange(7) % 2 == 0
    counts = np.round(1e12 * np.exp(drift * time) * np.where(up, 1.0, through))[:, np.newaxis]
    found = counted_ratio(samples_of(counts, up, LOWER, UPPER, 1.0, time=time))
    assert found.value == pytest.approx(through, rel=1e-6)


def test_three_samples_are_the_penetration_between_two():
    found = in_turn([2000, 1620], [180])
    assert found.value == pytest.approx(penetration_between(2000.0, 180.0, 1620.0))


def test_a_drift_that_few_counts_cannot_tell_is_that_of_smaller_sizes():
    drift = np.exp(-0.3 * np.arange(5))
    large = [8, 4, 4]  # of expected 8, 4.4, 2.4
    up = np.round(np.stack([9000 * drift[::2], large], axis=1))
    behind = np.round(np.stack([900 * drift[1::2], [0, 1]], axis=1))
    found = in_turn(up, behind)
    carried = np.sum(drift[1::2]) / np.sum(drift[::2])
    assert found.value[1] == pytest.approx(1 / (16 * carried), rel=1e-3)
    assert found.drift_error[0] == 0.0
    # that it may drift otherwise: the whole of what was taken out, as a limit
    assert found.drift_error[1] == pytest.approx(abs(math.log(carried * 3 / 2)) / math.sqrt(3), rel=0.05)
    assert not found.untold.any()


def test_too_few_counts_for_any_drift_are_told():
    found = in_turn([[6, 2], [9, 1]], [[1, 0]])
    assert found.untold.all()
    assert found.value[0] == pytest.approx(2 / 15)


def test_samples_upstream_without_one_between_them_are_one():
    up = [True, True, True, False, False, True, True]
    counts = np.array([[3000.0], [3300], [2700], [900], [1000], [1000], [1600]])
    found = counted_ratio(samples_of(counts, up, LOWER, UPPER, 1.0))
    # the means 3000 at time 1 and 1300 at 5.5; samples behind at 3 and 4
    level = [3000 * (1300 / 3000) ** ((t - 1) / 4.5) for t in (3, 4)]
    assert found.value == pytest.approx(1900 / sum(level))
    assert found.counted.tolist() == [[11600, 1900]]


def test_samples_outside_those_upstream_are_carried_on_and_told():
    found = in_turn([8000, 4000], [400, 200])
    assert found.outside == 1
    # levels sqrt(8000 4000) and, half a step further on, 4000/sqrt(2)
    assert found.value == pytest.approx(600 / (math.sqrt(32e6) * 1.5))


@given(
    gain=st.floats(0.3, 3.0),
    drift=st.floats(0.5, 2.0),
    through=st.floats(0.02, 0.9),
)
def test_what_each_of_two_swapped_counters_sees_cancels(gain, drift, through):
    seen = 1e7 * np.array([1.0, gain * through, gain * drift, through * drift])
    counts = np.round(seen)[:, np.newaxis]
    samples = samples_of(
        counts,
        [True, False, True, False],
        LOWER,
        UPPER,
        1.0,
        time=np.array([0.0, 0, 1, 1]),
        counter=["A", "B", "B", "A"],
    )
    found = counted_ratio(samples)
    assert found.value == pytest.approx(penetration_swapped(*counts[:, 0]))
    assert found.value == pytest.approx(through, rel=1e-4)


def test_few_counts_behind_two_swapped_counters_are_summed():
    """A half in which none came through makes no root of nothing."""
    time, counter = np.array([0.0, 0, 1, 1]), ["A", "B", "B", "A"]
    counts = np.array([[1000.0], [0], [800], [4]])
    found = counted_ratio(samples_of(counts, [True, False, True, False], LOWER, UPPER, 1.0, time=time, counter=counter))
    assert found.value == pytest.approx(4 / 1800)
    low, high = ratio_limits(4, 1800)
    assert (found.low[0], found.high[0]) == (pytest.approx(float(low)), pytest.approx(float(high)))


def test_counters_that_were_not_swapped_have_all_their_errors_in_the_bar():
    counts = np.array([[2e6], [4e5]] * 3)
    counters = {name: Counter(name, name, size_limit=0.0, flow_limit=0.05, count_limit=0.1) for name in "AB"}
    samples = samples_of(
        counts, [True, False] * 3, LOWER, UPPER, 1.0, time=np.repeat(np.arange(3.0), 2), counter=["A", "B"] * 3
    )
    found = sized(free(counted_ratio(samples), counters=counters))
    each = (0.05**2 + 0.1**2) / 3
    assert found.penetration.u[0] / 0.2 == pytest.approx(math.sqrt(2 * each), rel=0.01)
    alone = samples_of(counts, [True, False] * 3, LOWER, UPPER, 1.0, counter=["A"] * 6)
    assert sized(free(counted_ratio(alone), counters=counters)).penetration.u[0] / 0.2 < 0.01


@pytest.mark.recomputed
def test_sizes_cut_differently_count_with_the_slope_of_the_spectrum():
    """Two counters, not swapped, a spectrum that falls as d^-3: limits that are off by a share move counts by threefold
    that share, and each limit by itself by its own density."""
    edges = np.geomspace(0.3e-6, 4.8e-6, 5)
    n = 1e8 * (edges[:-1] ** -3 - edges[1:] ** -3) / edges[0] ** -3
    counters = {name: Counter(name, name, size_limit=0.06, flow_limit=0.0, count_limit=0.0) for name in "AB"}
    samples = samples_of(
        np.round([n, 0.5 * n]), [True, False], edges[:-1], edges[1:], 1.0, time=np.zeros(2), counter=["A", "B"]
    )
    given = Given("record", counters)
    found = by_size(observed(counted_ratio(samples), "in use", given, edges[:-1], edges[1:]), edges[:-1], edges[1:])
    parts = {cause.label: part for cause, part in found.penetration.parts.items()}
    u = 0.06 / math.sqrt(3)
    for name in "AB":
        alike = parts[f"counter {name} size of all limits alike"]
        np.testing.assert_allclose(np.abs(alike[0]) / 0.5, 3 * u, rtol=1e-3)
    apart = parts["counter A size of each limit"] / 0.5
    density = 3 / (1 - 2.0**-3)
    np.testing.assert_allclose(np.diag(np.abs(apart[:4])), math.sqrt(0.5) * u * density, rtol=1e-3)
    # what a limit takes from one channel it gives to the one below
    assert np.all(apart[1, 0] * apart[1, 1] < 0)


def test_the_size_of_one_counter_counts_by_what_the_filter_lets_through_elsewhere():
    edges = np.geomspace(0.3e-6, 4.8e-6, 5)
    n = 1e8 * np.array([1, 0.1, 0.01, 0.001])
    given = Given("record", {"": Counter("", "counter", flow_limit=0.0, count_limit=0.0)})

    def u(through):
        samples = samples_of(np.round([n, n * through]), [True, False], edges[:-1], edges[1:], 1.0)
        one = observed(counted_ratio(samples), "in use", given, edges[:-1], edges[1:])
        parts = by_size(one, edges[:-1], edges[1:]).penetration.parts
        return sum(np.sum(p**2, axis=0) for cause, p in parts.items() if "size" in cause.label) ** 0.5

    assert np.max(u(np.full(4, 0.3))) < 1e-4  # the same at every size
    assert np.all(u(np.array([0.5, 0.4, 0.3, 0.2])) / 0.3 > 0.01)


@pytest.mark.recomputed
@pytest.mark.parametrize("edges", [np.geomspace(0.3e-6, 4.8e-6, 5), np.array([0.3e-6, 0.5e-6, 1e-6, 2.5e-6, 5e-6])])
def test_limits_of_size_that_move_change_a_penetration_by_what_is_told(edges):
    """A spectrum of d^-2.6 for each ln d and a penetration of d^-0.55, counted again with all limits a little higher:
    channels far wider than they are apart in penetration, where the middle of a channel says too little."""

    def ratio(moved):
        counts = [1e6 * (moved[:-1] ** p - moved[1:] ** p) / -p / edges[0] ** -2.6 for p in (-2.6, -3.15)]
        return counts[0], counts[1] * edges[0] ** 0.55 * 0.6

    n, behind = ratio(edges)
    step = 1e-4
    raised = np.divide(*ratio(edges * (1 + step))[::-1]) / (behind / n)
    given = Given("record", {"": Counter("", "counter", size_limit=0.1, flow_limit=0.0, count_limit=0.0)})
    samples = samples_of(np.round([n, behind]), [True, False], edges[:-1], edges[1:], 1.0)
    found = by_size(observed(counted_ratio(samples), "in use", given, edges[:-1], edges[1:]), edges[:-1], edges[1:])
    parts = {cause.label: part for cause, part in found.penetration.parts.items()}
    alike = parts["counter size of all limits alike"][0] / found.penetration.value  # what is to be put right
    np.testing.assert_allclose(alike / (0.1 / math.sqrt(3)), (1 - raised) / step, rtol=0.03)


def test_false_counts_are_taken_off_and_their_own_limits_widen():
    false = {("", up): Background(np.array([6.0]), 4.0, "zero") for up in (True, False)}
    found = sized(free(in_turn([4000], [20]), false))
    assert found.penetration.value == pytest.approx((20 - 1.5) / (4000 - 1.5))
    bare = sized(free(in_turn([4000], [20])))
    b_low, b_high = (float(x) / 4 for x in poisson_limits(6))
    down = math.hypot(20 / 4000 - float(bare.low[0]), (b_high - 1.5) / 4000)
    up = math.hypot(float(bare.high[0]) - 20 / 4000, (1.5 - b_low) / 4000)
    value = (20 - 1.5) / 4000
    assert found.low == pytest.approx(value - down, rel=2e-3)
    assert found.high == pytest.approx(value + up, rel=2e-3)


def test_less_than_false_counts_is_kept_as_measured():
    false = {("", up): Background(np.array([40.0]), 4.0, "zero") for up in (True, False)}
    found = sized(free(in_turn([4000], [4]), false))
    assert found.penetration.value < 0.0
    assert found.low < found.penetration.value < found.high
    none = sized(free(in_turn([4000], [0]), false))
    assert none.penetration.value == 0.0  # none of nothing was false
    assert none.high == pytest.approx(float(ratio_upper(0, 4000 - 10)), rel=2e-3)


def test_more_behind_than_before_is_kept_as_measured():
    found = sized(free(in_turn([100, 100], [130])))
    assert found.penetration.value == pytest.approx(1.3)
    assert found.efficiency.value == pytest.approx(-0.3)


def test_without_a_zero_filter_few_counts_have_no_lower_limit():
    ratio = in_turn([4000], [5])
    told, untold = sized(free(ratio), told=True), sized(free(ratio), told=False)
    assert told.low > 0.0
    assert untold.low == 0.0
    assert untold.high == told.high
    many = in_turn([4000], [50])
    assert sized(free(many), told=False).low == sized(free(many), told=True).low


@pytest.mark.library
@pytest.mark.parametrize("n", [3, 4, 8])
def test_samples_that_scatter_far_beyond_counting_have_students_interval(n):
    """Ratios of two samples at once, counts without number: the textbook mean of n, and its t."""
    ratios = 0.2 * (1 + 0.03 * np.array([0.3, -1.2, 0.8, -0.1, 1.1, -0.9, 0.2, -0.4][:n]))
    counts = np.concatenate([[[1e12], [np.round(r * 1e12)]] for r in ratios])
    counter = ["A", "B"] * n
    samples = samples_of(counts, [True, False] * n, LOWER, UPPER, 1.0, time=np.repeat(np.arange(n), 2), counter=counter)
    found = sized(free(counted_ratio(samples), counters=dict.fromkeys("AB", EXACT)))
    half = stats.t.ppf(0.975, n - 1) * np.std(ratios, ddof=1) / math.sqrt(n)
    assert float(found.high[0] - found.low[0]) / 2 == pytest.approx(half, rel=0.03)


def test_samples_that_scatter_as_chance_has_it_are_hardly_wider_than_counting():
    rng = np.random.default_rng(5)
    through = np.array([0.5, 0.4, 0.3, 0.2])
    up, behind = (rng.poisson(4000 * np.ones(4), (11, 4)), rng.poisson(4000 * through, (10, 4)))
    found = in_turn(up, behind)
    assert np.all(found.unsteady < found.u / found.value)


def test_a_channel_that_bursts_has_wider_limits_than_its_neighbours():
    up, behind = np.full((11, 3), 4000.0), np.full((10, 3), 1000.0)
    behind += np.array([[12, -20, 9, 4, -31, 22, -8, 15, -3, 0]]).T
    behind[:, 1] += np.array([0, 0, 900, 0, 0, 0, 700, 0, 0, 0])
    found = in_turn(up, behind)
    assert found.burst is not None
    assert np.isfinite(found.burst.ratio).tolist() == [False, True, False]
    assert found.high[1] - found.low[1] > 1.8 * (found.high[0] - found.low[0])


def test_points_of_the_outlet_count_by_their_velocity():
    up = [True, False, True, False, True]
    samples = samples_of(
        np.array([[10000.0], [1000], [10000], [3000], [10000]]), up, LOWER, UPPER, 1.0,
        point=["", "left", "", "right", ""], velocity=np.array([np.nan, 3.0, np.nan, 1.0, np.nan]),
    )  # fmt: skip
    found = counted_ratio(samples)
    assert found.value == pytest.approx(0.75 * 0.1 + 0.25 * 0.3)
    assert found.weighting == pytest.approx((0.2 - 0.15) / 0.2)
    # two points a factor of three apart: their mean is unsure by as much as they differ
    assert found.points == pytest.approx(np.std([0.1, 0.3], ddof=1) * math.hypot(0.75, 0.25) / 0.2, rel=0.01)
    assert found.points_dof == 1


def test_nothing_before_the_filter_tells_nothing():
    found = sized(free(in_turn([[100, 0], [100, 0]], [[10, 0]]), k=2), k=2)
    assert np.isnan(found.penetration.value).tolist() == [False, True]
    assert np.isnan([found.low[1], found.high[1]]).all()
    assert not found.upper_only[0]


def test_a_correlation_run_with_few_counts_widens_by_its_own_limits():
    one, other = free(in_turn([1e6], [2e5])), free(in_turn([30], [28]), run="no filter")
    found = sized(one, other)
    low, high = ratio_limits(28, 30)
    assert found.low == pytest.approx(0.2 / float(high), rel=2e-3)
    assert found.high == pytest.approx(0.2 / float(low), rel=2e-3)
