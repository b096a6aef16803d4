"""Numbers summed over channels: exact where counts are few, by the law of errors where they are many."""

import math

import numpy as np
import pytest
from scipy import stats

from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.counted import ThreeWays, Wanted, carried, counted_efficiency, three_ways, with_bars
from flowrig.uncertainty.alongside import one_of
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.count_draws import LOWER, MIDDLE, UPPER
from flowrig.uncertainty.counts import Dispersion, ratio_limits
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import sample
from tests.studies.counted_filters import COUNTING, SIX, filter_by_size

GAIN = Cause("counters differ", scope="calibration")


def channel(by_size, k):
    ways = three_ways(by_size)
    return Wanted(
        f"channel {k}",
        "ratio",
        "%",
        by_size.lower[k],
        by_size.upper[k],
        ThreeWays(*(one_of(x, CHANNEL, k) for x in ways.all.values())),
        bool(by_size.upper_only[k]),
    )


def plain_mean(by_size):
    def kernel(*, x):
        return {"mean": np.mean(x, axis=-1, keepdims=True)}

    ways = carried(three_ways(by_size), kernel, {}, "mean", (CHANNEL,))
    return Wanted("mean", "ratio", "%", 0.3e-6, 1e-6, ways, bool(np.all(by_size.upper_only)))


def test_one_channel_of_few_counts_has_its_exact_limits():
    """Nothing but counting: what is drawn ends where the exact limits of the table before it end."""
    by_size = filter_by_size([[300, 40], [50, 3], [2000, 1]])
    found = with_bars({str(k): channel(by_size, k) for k in range(3)}, 0.95, None, 1)
    for k in range(3):
        q = found[str(k)].quantity
        assert q.interval.source == "monte carlo"
        width = float(by_size.high[k] - by_size.low[k])
        assert float(q.value) == pytest.approx(100 * (1 - by_size.penetration.value[k]), rel=1e-12)
        assert float(q.interval.low) == pytest.approx(1 - by_size.high[k], abs=0.02 * width)
        assert float(q.interval.high) == pytest.approx(1 - by_size.low[k], abs=0.02 * width)
        assert not found[str(k)].one_sided


def test_where_nothing_came_through_the_limit_on_one_side_is_kept():
    by_size = filter_by_size([[18450, 0], [200, 0]])
    found = with_bars({str(k): channel(by_size, k) for k in range(2)}, 0.95, None, 1)
    for k in range(2):
        assert found[str(k)].one_sided
        q = found[str(k)].quantity
        assert q.bound == "at least"
        assert 1 - float(q.interval.low) == pytest.approx(by_size.high[k], rel=0.02)
        assert q.interval.high == math.inf
        assert q.interval.coverage == 0.95
    rough = with_bars({"0": channel(by_size, 0)}, 0.3, None, 1)["0"].quantity  # asked for less than one half
    assert 1 - float(rough.interval.low) == pytest.approx(-np.log(0.5) / 18450, rel=0.05)


@pytest.mark.library
def test_a_mean_of_few_counts_against_draws_of_another_library():
    """Three counts, five and none: ends by scipy's beta distributions, drawn on their own."""
    counts = np.array([[40.0, 3.0], [90.0, 5.0], [60.0, 0.0]])
    by_size = filter_by_size(counts)
    found = with_bars({"mean": plain_mean(by_size)}, 0.95, None, 1)["mean"]
    rng = np.random.default_rng(5)

    def passed(more_behind, more_before):
        columns = []
        for before, behind in counts:
            a, b = behind + more_behind, before + more_before
            share = stats.beta.rvs(a, b, size=400_000, random_state=rng) if a else np.zeros(400_000)
            columns.append(share / (1 - share))
        return 1 - np.mean(columns, axis=0)

    low = np.quantile(passed(1, 0), 0.025)
    high = np.quantile(passed(0, 1), 0.975)
    assert float(found.quantity.interval.low) == pytest.approx(low, abs=0.03 * (high - low))
    assert float(found.quantity.interval.high) == pytest.approx(high, abs=0.03 * (high - low))
    assert not found.one_sided  # one of the three channels saw nothing, not all


def test_many_counts_are_as_normal_ones_and_what_channels_share_adds_up():
    by_size = filter_by_size([[40_000, 20_000], [50_000, 10_000], [30_000, 3_000]], shared={GAIN: 0.02})
    found = with_bars({"mean": plain_mean(by_size)}, 0.95, None, 1)["mean"].quantity
    value = by_size.penetration.value
    own = value * np.sqrt(1 / by_size.counted[:, 0] + 1 / by_size.counted[:, 1])
    u = math.hypot(np.sqrt(np.sum(own**2)) / 3, 0.02 * np.mean(value))
    assert float(found.estimate.u) == pytest.approx(u, rel=1e-9)
    assert found.interval.source == "linear"
    assert float(found.interval.low) == pytest.approx(1 - np.mean(value) - 1.95996 * u, abs=0.03 * u)
    assert float(found.interval.high) == pytest.approx(1 - np.mean(value) + 1.95996 * u, abs=0.03 * u)


def test_draws_share_what_the_channels_share():
    by_size = filter_by_size([[40_000, 20_000], [50_000, 10_000]], shared={GAIN: 0.2})
    drawn = sample(counted_efficiency(by_size, MIDDLE), 20_000)
    assert np.corrcoef(drawn.T)[0, 1] > 0.99
    bare = sample(counted_efficiency(filter_by_size([[40, 20], [50, 10]]), MIDDLE), 20_000)
    assert abs(np.corrcoef(bare.T)[0, 1]) < 0.03


def told(counts, parts, *, spread=None, low=None, high=None):
    """One channel with causes and limits of its own."""
    base = filter_by_size([counts])
    before, behind = base.counted.T
    limits = ratio_limits(behind, before, spread=spread)
    ends = [own if given is None else np.array([given]) for own, given in zip(limits, (low, high), strict=True)]
    estimate = Estimate(base.penetration.value, (CHANNEL,), parts)
    return BySize(base.lower, base.upper, estimate, *ends, base.upper_only, base.counted, 0.95)


def test_scatter_beyond_counting_stands_for_fewer_events():
    """Three times the variance of 30 and 200 counts is what 10 and 67 would have."""
    own = 0.15 * np.sqrt(3 * (1 / 30 + 1 / 200))
    by_size = told([200, 30], {COUNTING: [[own]]}, spread=Dispersion(np.asarray(3.0), np.inf, np.asarray(0.01)))
    drawn = 1 - sample(counted_efficiency(by_size, UPPER), 200_000)[:, 0]
    beta = stats.beta(30 / 3 + 1, 200 / 3)
    for p in (0.025, 0.5, 0.975):
        share = beta.ppf(p)
        assert np.quantile(drawn, p) == pytest.approx(share / (1 - share), rel=0.02)


def test_draws_end_where_the_interval_that_is_told_does():
    """False counts may be all of a few: the interval reaches down to 0, further than counting takes it."""
    shared = {GAIN: [[0.004]]}
    for parts in ({COUNTING: [[0.045]]}, {COUNTING: [[0.045]], **shared}):
        by_size = told([50, 5], parts, low=0.0, high=0.31)
        q = with_bars({"": channel(by_size, 0)}, 0.95, None, 1)[""].quantity
        assert 1 - float(q.interval.low) == pytest.approx(0.31, abs=0.004)
        assert 1 - float(q.interval.high) == pytest.approx(0.0, abs=0.004)
        assert float(q.value) == pytest.approx(90.0)


def test_less_than_nothing_after_a_background_stays_normal():
    plain = filter_by_size([[1000, 4], [1000, 40]])
    value = np.array([-0.001, 0.04])
    estimate = Estimate(value, (CHANNEL,), {COUNTING: [[0.003, 0.007]]})
    by_size = BySize(
        plain.lower, plain.upper, estimate, value - 0.006, value + 0.006, plain.upper_only, plain.counted, 0.95
    )
    drawn = 1 - sample(counted_efficiency(by_size, LOWER), 50_000)[:, 0]
    assert np.mean(drawn) == pytest.approx(-0.001, abs=1e-4)
    assert np.std(drawn) == pytest.approx(0.003, rel=0.02)


def test_few_degrees_of_freedom_widen_and_no_cause_at_all_still_counts():
    own = 0.1 * np.sqrt(1 / 2000 + 1 / 200)

    def width(parts, spread=None):
        by_size = told([2000, 200], parts, spread=spread)
        return np.ptp(np.quantile(sample(counted_efficiency(by_size, MIDDLE), 100_000)[:, 0], [0.025, 0.975]))

    known = width({COUNTING: [[own]]})
    few = width(
        {Cause("scatter", dof=4.0, each=CHANNEL): [[own]]}, Dispersion(np.asarray(1.0001), 4.0, np.asarray(0.4))
    )
    assert few / known == pytest.approx(stats.t.ppf(0.975, 4) / 1.96, rel=0.05)
    assert width({}) == pytest.approx(known, rel=0.03)  # raw counts speak for themselves
    two = {COUNTING: [[own * 0.6]], Cause("another", each=CHANNEL): [[own * 0.8]]}
    assert width(two) == pytest.approx(known, rel=0.03)


def test_a_number_without_a_value_has_no_bar():
    by_size = filter_by_size([[1000, 100], [500, 20]], SIX)
    wanted = channel(by_size, 0)
    missing = Wanted("", "ratio", "%", 0.0, 1.0, ThreeWays(*[Estimate(np.nan)] * 3), False)
    assert list(with_bars({"a": wanted, "b": missing}, 0.95, None, 1)) == ["a"]
