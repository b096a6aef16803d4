"""What counters print, back to whole counts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.records.raw_counts import raw_counts

COUNTS = np.array([[15969.0, 1678, 479, 139, 22, 8], [11691, 971, 193, 38, 3, 0]])


@given(
    counts=st.lists(st.integers(0, 10**6), min_size=6, max_size=12),
    step=st.sampled_from([0.1, 1.0, 2.5, 10.0, 20.0, 100.0, 353.0]),
    off=st.floats(-0.015, 0.015),
)
def test_counts_come_back_from_multiples_of_any_step(counts, step, off):
    """The volume as stated is a little off the one that the counter reckons with."""
    printed = np.array([counts], float) * step
    raw = raw_counts(printed, np.array([(1 + off) / step]))
    if np.gcd.reduce([int(n) for n in counts if n] or [1]) == 1 and any(counts):
        np.testing.assert_array_equal(raw.counts, [counts])
        assert raw.whole
        assert raw.times.tolist() == [1.0]


def test_a_smaller_sample_than_stated_is_found():
    raw = raw_counts(100 * COUNTS, np.full(2, 0.1))
    np.testing.assert_array_equal(raw.counts, COUNTS)
    assert raw.times.tolist() == [10.0, 10.0]
    plain = raw_counts(10 * COUNTS, np.ones(2))
    np.testing.assert_array_equal(plain.counts, COUNTS)


def test_few_even_counts_are_no_smaller_sample():
    raw = raw_counts(np.array([[8.0, 4, 2], [6, 0, 0]]), np.ones(2))
    assert raw.times.tolist() == [1.0, 1.0]
    assert raw.counts.sum() == 20


def test_rounded_concentrations_are_whole_as_far_as_rounding_can_tell():
    volume = 2.83e-3
    printed = np.round(np.array([[1.0, 5, 9, 1200]]) / volume)
    raw = raw_counts(printed, np.array([volume]))
    assert raw.counts.tolist() == [[1, 5, 9, 1200]]
    assert raw.whole


@pytest.mark.parametrize("share", [1 / 3, 0.4])
def test_means_of_samples_are_no_whole_counts(share):
    raw = raw_counts(np.array([[7 + share, 2 + share, 5.0]]) / 1.7, np.array([1.7]))
    assert not raw.whole
    assert raw.counts.tolist() == [[7, 2, 5]]


def test_samples_of_several_volumes_are_looked_at_apart():
    printed = np.array([[30.0, 10, 70], [15, 5, 40]])
    raw = raw_counts(printed, np.array([0.1, 0.2]))
    assert raw.counts.tolist() == [[3, 1, 7], [3, 1, 8]]
    assert raw.whole


def test_nothing_but_none_is_whole():
    raw = raw_counts(np.zeros((2, 3)), np.ones(2))
    assert raw.counts.sum() == 0
