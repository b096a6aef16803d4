"""Counts to penetration: alternating samples, swapped counters and coincidence, against worked figures."""

import math
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from flowrig.physics import (
    channel_counts,
    coincidence_corrected,
    coincidence_dead_time,
    coincidence_loss,
    geometric_mean_size,
    penetration,
    penetration_between,
    penetration_by_correlation,
    penetration_swapped,
)
from tests.reference.load import rows

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "counts_worked.toml").read_text(encoding="utf-8"))
COUNTER = tomllib.loads((REFERENCE / "particle_counter.toml").read_text(encoding="utf-8"))
PAIRS = WORKED["alternating_pairs"]
RUNS = {name: np.array(counts) for name, counts in WORKED["inputs"].items() if isinstance(counts, list)}
BEHIND, BEFORE = RUNS["background_downstream"].mean(), RUNS["background_upstream"].mean()


# Source: size ranges of ANSI/ASHRAE 52.2, read on a public page of the trade; the means recomputed, printed to 1e-4.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("size_channels.csv"), ids=lambda row: row["channel"])
def test_means_of_the_published_channels(row):
    mean = geometric_mean_size(float(row["lower_um"]), float(row["upper_um"]))
    assert mean == pytest.approx(float(row["geometric_mean_um"]), abs=5.1e-5)


def test_an_open_channel_has_no_mean():
    assert np.isnan(geometric_mean_size(10e-6, math.inf))
    assert np.isnan(geometric_mean_size(0.5e-6, 0.3e-6))


# Source: a trade article of 2020, read: one box fan, one filter, six sizes; the channels recomputed.
@pytest.mark.published
def test_printed_counts_are_of_all_larger_particles():
    table = rows("counts_toolroom.csv")
    for side in ("room", "after"):
        printed = "room_count_per_ft3" if side == "room" else "after_filter_count_per_ft3"
        found = channel_counts(np.array([float(row[printed]) for row in table]))
        assert found.tolist() == [float(row[f"bin_{side}_per_ft3"]) for row in table]


@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("counts_toolroom.csv"), ids=lambda row: row["size_ge_um"])
def test_what_a_filter_removed_in_a_tool_room(row):
    above = penetration(float(row["room_count_per_ft3"]), float(row["after_filter_count_per_ft3"]))
    assert 100 * (1 - above) == pytest.approx(float(row["removed_pct_as_printed_recomputed"]), abs=0.00501)
    within = penetration(float(row["bin_room_per_ft3"]), float(row["bin_after_per_ft3"]))
    assert 100 * (1 - within) == pytest.approx(float(row["bin_removed_pct"]), abs=0.00501)


def test_counts_that_rise_with_size_are_refused_where_they_do():
    found = channel_counts(np.array([[9.0, 5.0, 2.0], [9.0, 10.0, 2.0]]))
    assert found[0].tolist() == [4.0, 3.0, 2.0]
    assert np.isnan(found[1]).tolist() == [True, False, False]
    with pytest.raises(ValueError, match="axis of sizes"):
        channel_counts(9.0)


# Source: correlation ratio and alternating samples as in ANSI/ASHRAE 52.2 (from memory); counts invented, answers
# recomputed. The standard takes the arithmetic mean of the two samples before the filter.
@pytest.mark.recomputed
def test_correlation_ratio_by_arithmetic_means():
    before = RUNS["upstream_efficiency_run"]
    middle = (before[:-1] + before[1:]) / 2
    assert middle == pytest.approx(PAIRS["upstream_midpoints_efficiency"])
    observed = penetration(middle - BEFORE, RUNS["downstream_efficiency_run"] - BEHIND)
    assert observed == pytest.approx(np.array(PAIRS["P_obs_i"]), abs=5.1e-9)
    empty = RUNS["upstream_correlation_run_no_filter"]
    ratio = penetration((empty[:-1] + empty[1:]) / 2 - BEFORE, RUNS["downstream_correlation_run_no_filter"] - BEHIND)
    assert ratio == pytest.approx(np.array(PAIRS["R_i"]), abs=5.1e-9)
    found = penetration_by_correlation(observed.mean(), ratio.mean())
    assert found == pytest.approx(PAIRS["penetration"], abs=5.1e-9)
    assert 1 - found == pytest.approx(PAIRS["efficiency"], abs=5.1e-9)
    relative = [each.std(ddof=1) / math.sqrt(5) / each.mean() for each in (observed, ratio)]
    assert found * math.hypot(*relative) == pytest.approx(PAIRS["standard_uncertainty_scatter"], abs=5.1e-11)


@pytest.mark.recomputed
def test_by_logarithms_the_same_samples_differ_in_second_order_only():
    before, behind = RUNS["upstream_efficiency_run"] - BEFORE, RUNS["downstream_efficiency_run"] - BEHIND
    found = penetration_between(before[:-1], behind, before[1:])
    step = np.log(before[1:] / before[:-1])
    # arithmetic over geometric mean is cosh of half the step
    assert found / np.array(PAIRS["P_obs_i"]) == pytest.approx(np.cosh(step / 2), abs=1e-7)


# Counting alone: each mean of n samples has the variance mean/n, the background the same, and is one cause in both runs
# only if it is said to be; the reference takes it twice, as independent.
@pytest.mark.recomputed
def test_pooled_counts_and_their_counting_uncertainty():
    pooled = WORKED["pooled_poisson"]
    names = [
        "upstream_efficiency_run",
        "downstream_efficiency_run",
        "upstream_correlation_run_no_filter",
        "downstream_correlation_run_no_filter",
    ]
    backgrounds = ["background_upstream", "background_downstream"] * 2
    levels = np.array([RUNS[name].mean() for name in names + backgrounds])
    u = np.array([math.sqrt(RUNS[name].mean() / len(RUNS[name])) for name in names + backgrounds])

    def result(x):
        observed, ratio = penetration(x[0] - x[4], x[1] - x[5]), penetration(x[2] - x[6], x[3] - x[7])
        return observed, ratio, penetration_by_correlation(observed, ratio)

    observed, ratio, found = result(levels)
    assert observed == pytest.approx(pooled["P_obs"], abs=5.1e-9)
    assert ratio == pytest.approx(pooled["R"], abs=5.1e-9)
    assert found == pytest.approx(pooled["penetration"], abs=5.1e-9)
    moved = [(result(levels + step)[2] - result(levels - step)[2]) / 2e-3 for step in np.diag(1e-3 * u)]
    assert math.hypot(*moved) == pytest.approx(pooled["standard_uncertainty_counting_only"], rel=1e-7)


rate = st.floats(-0.5, 0.5)
share = st.floats(0.001, 1.5)


@given(drift=rate, through=share, place=st.floats(0.0, 1.0))
def test_an_exponential_drift_cancels(drift, through, place):
    before, between, after = (1e6 * math.exp(drift * time) for time in (0.0, place, 1.0))
    assert penetration_between(before, through * between, after, place) == pytest.approx(through, rel=1e-12)


@given(through=share, gain_a=st.floats(0.2, 2.0), gain_b=st.floats(0.2, 2.0), drift=rate)
def test_what_two_counters_see_cancels_when_they_swap(through, gain_a, gain_b, drift):
    first, second = 1e8, 1e8 * math.exp(drift)
    found = penetration_swapped(gain_a * first, gain_b * through * first, gain_b * second, gain_a * through * second)
    assert found == pytest.approx(through, rel=1e-12)


def test_a_difference_in_size_cuts_does_not_cancel():
    """Counter B cuts 5 % higher, in a spectrum falling as d^-3, with a filter that lets fewer of the larger through."""

    def counted(cut, through):
        size = np.linspace(cut, 1.67 * cut, 20001)
        return np.trapezoid(size**-3.0 * through(size), size)

    cuts = {"a": 0.3, "b": 0.315}
    up = {name: counted(cut, np.ones_like) for name, cut in cuts.items()}
    down = {name: counted(cut, lambda size: np.exp(-size / 0.3)) for name, cut in cuts.items()}
    found = penetration_swapped(up["a"], down["b"], up["b"], down["a"])
    assert abs(found / (down["a"] / up["a"]) - 1) > 0.02


def test_nothing_came_through_or_more_than_went_in():
    assert penetration(100.0, 0.0) == 0.0
    assert penetration(100.0, 130.0) == pytest.approx(1.3)
    assert penetration(100.0, -2.0) == pytest.approx(-0.02)
    assert penetration_between(100.0, 0.0, 100.0) == 0.0
    assert penetration_swapped(100.0, 0.0, 100.0, 5.0) == 0.0
    assert np.isnan(penetration(0.0, 10.0))
    assert np.isnan(penetration_between(100.0, 10.0, 0.0))
    assert np.isnan(penetration_between(100.0, 10.0, 100.0, 1.1))
    assert np.isnan(penetration_swapped(100.0, -5.0, 100.0, -5.0))
    assert np.isnan(penetration_by_correlation(0.2, 0.0))


LOSS = COUNTER["coincidence"]
FLOW, TIME = LOSS["flow_cm3_per_s"], LOSS["dead_time_s"]  # per cm3 and cm3/s: only their product matters


# Source: exponential loss and its inverse, doi 10.1080/02786826.2012.737049 (abstract read); the dead time invented.
@pytest.mark.recomputed
def test_coincidence_undone():
    measured, true = np.array(LOSS["measured_per_cm3"]), np.array(LOSS["true_per_cm3"])
    found = coincidence_corrected(measured[:, np.newaxis], FLOW, TIME)[:, 0]
    assert found == pytest.approx(true, rel=5e-8)
    lost = coincidence_loss(measured[:, np.newaxis], FLOW, TIME)[:, 0]
    assert 100 * lost == pytest.approx(np.array(LOSS["loss_pct"]), rel=3e-7)
    example = coincidence_corrected(LOSS["inverse_example_measured_per_cm3"], FLOW, TIME)
    assert example == pytest.approx(LOSS["inverse_example_true_per_cm3"], abs=5.1e-6)
    most = LOSS["max_concentration_for_10pct_loss_per_cm3"]
    assert coincidence_dead_time(most, 0.1, FLOW) == pytest.approx(TIME, rel=5e-9)


@pytest.mark.recomputed
def test_coincidence_makes_a_filter_look_worse_and_the_correction_mends_it():
    bias = COUNTER["efficiency_bias"]
    up, down = bias["measured_upstream"], bias["measured_downstream"]
    assert 1 - penetration(up, down) == pytest.approx(bias["apparent_efficiency"], rel=5e-8)
    mended = penetration(coincidence_corrected(up, FLOW, TIME), coincidence_corrected(down, FLOW, TIME))
    assert 1 - mended == pytest.approx(bias["true_efficiency"], rel=5e-8)


@given(true=st.lists(st.floats(1.0, 300.0), min_size=2, max_size=6))
def test_every_channel_loses_the_same_share_by_the_sum_of_all(true):
    true = np.array(true) * min(1.0, 2000.0 / sum(true))
    shown = true * np.exp(-FLOW * TIME * true.sum())
    assert coincidence_corrected(shown, FLOW, TIME) == pytest.approx(true, rel=1e-6)


@pytest.mark.library
@pytest.mark.parametrize("shown", [1e-3, 10.0, 400.0, 700.0, 779.0])
def test_coincidence_against_a_root_finder(shown):
    found = brentq(lambda n: n * math.exp(-FLOW * TIME * n) - shown, 0.0, 1 / (FLOW * TIME), xtol=1e-14, rtol=1e-14)
    assert coincidence_corrected(shown, FLOW, TIME) == pytest.approx(found, rel=1e-9)


def test_no_concentration_shows_more_than_the_peak():
    peak = math.exp(-1) / (FLOW * TIME)
    split = np.array([[0.6], [0.4]]).T * peak
    assert np.isnan(coincidence_corrected(split * 1.0001, FLOW, TIME)).all()
    assert coincidence_corrected(split * 0.999999, FLOW, TIME).sum() == pytest.approx(1 / (FLOW * TIME), rel=0.002)
    assert np.isnan(coincidence_loss(peak * 1.0001, FLOW, TIME))
    assert coincidence_loss(peak * (1 - 1e-12), FLOW, TIME) == pytest.approx(1 - math.exp(-1), rel=1e-5)


def test_coincidence_of_many_rows_at_once_is_that_of_each():
    shown = np.random.default_rng(7).uniform(0, 60, (3, 5, 6))
    flows, times = np.array([47.0, 20.0, 47.0])[:, np.newaxis, np.newaxis], 1e-5
    together = coincidence_corrected(shown, flows, times)
    assert together.shape == shown.shape
    assert coincidence_loss(shown, flows, times).shape == (3, 5, 1)
    for i, j in np.ndindex(3, 5):
        assert together[i, j] == pytest.approx(coincidence_corrected(shown[i, j], float(flows[i, 0, 0]), times))
    holed = shown.copy()
    holed[0, 0, 3], holed[1, 1, 2] = np.nan, -1.0
    found = np.isnan(coincidence_corrected(holed, flows, times)).all(axis=-1)
    assert np.argwhere(found).tolist() == [[0, 0], [1, 1]]


@pytest.mark.parametrize(("flow", "time"), [(0.0, 1e-5), (47.0, 0.0)])
def test_no_dead_time_no_loss(flow, time):
    assert coincidence_corrected(np.array([5.0, 0.0]), flow, time).tolist() == [5.0, 0.0]
    assert coincidence_loss(np.array([5.0, 0.0]), flow, time).tolist() == [0.0]


def test_alternating_results_share_their_samples():
    """Neighbours share the sample between them: its error moves both, by half each."""
    before = np.array([1000.0, 1010.0, 990.0])
    results = [penetration_between(a, 100.0, b) for a, b in pairwise(before)]
    before[1] *= 1.02
    moved = [penetration_between(a, 100.0, b) for a, b in pairwise(before)]
    assert np.array(moved) / results == pytest.approx([1.02**-0.5] * 2, rel=1e-12)
