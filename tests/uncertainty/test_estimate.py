"""Estimates by themselves: parts, budget, degrees of freedom, covariance, rows, and the form handed to users."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowrig.uncertainty.cause import Cause, CauseConflict
from flowrig.uncertainty.estimate import Estimate, align
from flowrig.uncertainty.propagate import linear

NOISE = Cause("noise", each="row")
SHARED = Cause("barometer")
ROWS = Estimate(np.arange(5.0) + 10, ("row",), {NOISE: [[1.0, 2.0, 3.0, 4.0, 5.0]], SHARED: np.full((1, 5), 0.5)})


def difference(a, b):
    return {"difference": a - b}


def mean(x):
    return {"mean": x.mean(axis=-1, keepdims=True)}


# shapes


@pytest.mark.parametrize(
    ("value", "axes", "parts", "said"),
    [
        ([1.0, 2.0], (), {}, "1 dimensions but the axes are"),
        (1.0, ("row",), {}, "0 dimensions but the axes are"),
        (1.0, (), {Cause("a", n=2): [1.0]}, "expected 2 directions"),
        (1.0, (), {Cause("a"): 1.0}, "expected 1 directions"),
        (1.0, (), {NOISE: [1.0]}, "not an axis of the value"),
        (np.zeros((2, 3)), ("row", "point"), {Cause("a", n=3): np.zeros((3, 3))}, "beside a value of"),
    ],
)
def test_what_does_not_fit_together_is_refused(value, axes, parts, said):
    with pytest.raises(ValueError, match=said):
        Estimate(value, axes, parts)


def test_one_number_a_direction_belongs_to_the_direction_not_to_the_row():
    # as many directions as rows: plain broadcasting would lay the directions along the rows
    x = Estimate([1.0, 1.0, 1.0], ("row",), {Cause("fit", n=3): [3.0, 4.0, 0.0]})
    np.testing.assert_allclose(x.u, [5.0, 5.0, 5.0])


def test_the_value_is_a_frozen_copy():
    mine = np.array([1.0, 2.0])
    x = Estimate(mine, ("row",))
    mine[0] = 99.0
    assert x.value[0] == 1.0

    def rude(x):
        x += 1.0
        return {"y": x}

    with pytest.raises(ValueError, match="read-only"):
        linear(rude, {"x": x}, ("row",), {"y": ("row",)})


def test_align_moves_and_stretches_axes():
    array = np.arange(6.0).reshape(2, 3)
    assert align(array, ("point", "row"), ("row", "column", "point")).shape == (3, 1, 2)
    np.testing.assert_array_equal(align(array, ("point", "row"), ("row", "point")), array.T)
    assert align(np.zeros((7, 2, 3)), ("point", "row"), ("row", "point"), lead=1).shape == (7, 3, 2)
    with pytest.raises(ValueError, match="point"):
        align(array, ("point", "row"), ("row",))


# variance, budget, degrees of freedom


@settings(deadline=None)
@given(st.lists(st.floats(-1e3, 1e3).map(lambda part: round(part, 3)), min_size=1, max_size=8))
def test_the_budget_sums_to_the_variance(parts):
    x = Estimate(1.0, (), {Cause(f"cause {i}"): [part] for i, part in enumerate(parts)})
    budget = x.budget()
    assert sum(float(line.u) ** 2 for line in budget) == pytest.approx(float(x.variance), rel=1e-12)
    if x.u > 0:
        assert sum(float(line.share) for line in budget) == pytest.approx(1.0, rel=1e-12)
    shares = [float(line.share) for line in budget]
    assert shares == sorted(shares, reverse=True)


@settings(deadline=None)
@given(st.floats(0.0, 1.0), st.floats(0.1, 10.0), st.floats(-5.0, 5.0))
def test_a_source_split_in_two_gives_the_same_u(fraction, u, other):
    whole = Estimate(1.0, (), {Cause("a"): [u], Cause("b"): [other]})
    split = {Cause("a1"): [u * math.sqrt(fraction)], Cause("a2"): [u * math.sqrt(1 - fraction)], Cause("b"): [other]}
    joined = {Cause("a", n=2): [u * math.sqrt(fraction), u * math.sqrt(1 - fraction)], Cause("b"): [other]}
    for parts in (split, joined):
        assert float(Estimate(1.0, (), parts).u) == pytest.approx(float(whole.u), rel=1e-12)


def test_a_block_counts_its_degrees_of_freedom_once():
    # Welch-Satterthwaite, JCGM 100:2008 eq. G.2b; a block has one chi-square, so its directions are added first
    block = Estimate(0.0, (), {Cause("fit", n=2, dof=6): [3.0, 4.0]})
    assert float(block.dof) == pytest.approx(6.0)
    two = Estimate(0.0, (), {Cause("a", dof=6): [3.0], Cause("b", dof=6): [4.0]})
    assert float(two.dof) == pytest.approx(25**2 / (81 / 6 + 256 / 6))
    # two sizes from the same readings are one: u² is 25 s², and s² has its 6 degrees of freedom
    same = Estimate(0.0, (), {Cause("a", dof=6): [3.0], Cause("b", dof=6, sized_with="a"): [4.0]})
    assert float(same.dof) == pytest.approx(6.0)
    assert math.isinf(Estimate(0.0, (), {Cause("a"): [3.0]}).dof)
    assert math.isinf(Estimate(0.0).dof)


def test_a_row_without_a_value_leaves_the_budget_of_the_others_alone():
    x = Estimate([1.0, np.nan, 3.0], ("row",), {SHARED: [[1.0, np.nan, 1.0]], NOISE: [[2.0, np.nan, 2.0]]})
    first, second = x.budget()
    assert (first.cause, second.cause) == (NOISE, SHARED)
    np.testing.assert_allclose(first.share, [0.8, 0.0, 0.8])
    np.testing.assert_allclose(x.u, [math.sqrt(5), np.nan, math.sqrt(5)])


# covariance


def test_covariance_is_a_dot_product_over_shared_causes():
    fit = Cause("fit", n=2)
    a = Estimate(1.0, (), {fit: [1.0, 2.0], Cause("a"): [5.0]})
    b = Estimate(1.0, (), {fit: [3.0, -1.0], Cause("b"): [7.0]})
    assert float(a.cov(b)) == pytest.approx(1.0)
    assert float(a.cov(a)) == pytest.approx(float(a.variance))


def test_covariance_of_rows_with_one_number_pairs_directions_not_rows():
    fit = Cause("fit", n=3)
    rows = Estimate(np.zeros(3), ("row",), {fit: np.arange(9.0).reshape(3, 3)})
    one = Estimate(0.0, (), {fit: [1.0, 0.0, 10.0]})
    expected = [0 + 60, 1 + 70, 2 + 80]
    np.testing.assert_allclose(rows.cov(one), expected)
    np.testing.assert_allclose(one.cov(rows), expected)


def test_covariance_of_rows_with_their_own_mean():
    average = linear(mean, {"x": ROWS}, ("row",), {"mean": ()})["mean"]
    np.testing.assert_allclose(ROWS.cov(average), np.array([1.0, 4.0, 9.0, 16.0, 25.0]) / 5 + 0.25)


def test_covariance_refuses_two_meanings_and_two_orders():
    x = Estimate(0.0, (), {Cause("a", dof=5): [1.0]})
    with pytest.raises(CauseConflict):
        x.cov(Estimate(0.0, (), {Cause("a", dof=6): [1.0]}))
    with pytest.raises(ValueError, match="same axes"):
        ROWS.cov(Estimate(np.zeros(5), ("point",), {SHARED: np.ones((1, 5))}))


# rows


def test_over_unrolls_independent_noise_and_nothing_else():
    unrolled = ROWS.over("row")
    np.testing.assert_allclose(unrolled.u, ROWS.u)
    np.testing.assert_allclose(unrolled.parts[NOISE.block(5)], np.diag([1.0, 2.0, 3.0, 4.0, 5.0]))
    assert unrolled.parts[SHARED] is not None
    square = Estimate(np.zeros((2, 3)), ("point", "row"), {NOISE: np.arange(6.0).reshape(1, 2, 3)}).over("row")
    part = square.parts[NOISE.block(3)]
    for row in range(3):
        np.testing.assert_allclose(part[row, :, row], [row, 3.0 + row])
    assert np.count_nonzero(part) == 5  # six numbers, one of them zero


def test_rows_taken_apart_do_not_share_their_noise():
    third, fourth = ROWS.take("row", [2]), ROWS.take("row", [3])
    result = linear(difference, {"a": third, "b": fourth}, ("row",), {"difference": ("row",)})["difference"]
    assert float(result.u[0]) == pytest.approx(5.0)  # 3 and 4 in quadrature; the barometer cancels
    np.testing.assert_allclose(third.cov(fourth), [0.25])
    same = linear(difference, {"a": third, "b": ROWS.take("row", [2])}, ("row",), {"difference": ("row",)})
    assert float(same["difference"].u[0]) == pytest.approx(0.0, abs=1e-12)


def test_a_row_taken_still_shares_its_noise_with_the_mean_of_all():
    average = linear(mean, {"x": ROWS}, ("row",), {"mean": ()})["mean"]
    row = ROWS.take("row", [4])
    result = linear(difference, {"a": row, "b": average}, ("row",), {"difference": ("row",)})["difference"]
    assert float(result.variance[0]) == pytest.approx((5 * 0.8) ** 2 + (1 + 4 + 9 + 16) / 25)


def test_take_understands_positions_masks_and_repeated_taking():
    mask = np.array([False, False, True, True, False])
    np.testing.assert_array_equal(ROWS.take("row", mask).value, [12.0, 13.0])
    np.testing.assert_array_equal(ROWS.take("row", -1).value, [14.0])
    twice = ROWS.take("row", [1, 3, 4]).take("row", [2])
    np.testing.assert_allclose(twice.cov(ROWS.take("row", [4])), [25.25])
    np.testing.assert_allclose(twice.over("row").parts[NOISE.block(5)][:, 0], [0, 0, 0, 0, 5.0])
    with pytest.raises(IndexError):
        ROWS.take("row", [5])


# the form handed to users


def test_numbers_handed_to_users_are_correlated_like_ours():
    kernel = lambda x, y: {"sum": x + y, "product": x * y}  # noqa: E731
    x = Estimate(3.0, (), {SHARED: [0.1], Cause("x"): [0.2]})
    y = Estimate(5.0, (), {SHARED: [-0.3], Cause("y", n=2): [0.1, 0.2]})
    out = linear(kernel, {"x": x, "y": y}, (), {"sum": (), "product": ()})
    total, product = out["sum"].to_ufloat(), out["product"].to_ufloat()
    assert total.nominal_value == pytest.approx(8.0)
    assert total.std_dev == pytest.approx(float(out["sum"].u))
    assert (total + product).std_dev ** 2 == pytest.approx(
        float(out["sum"].variance + out["product"].variance + 2 * out["sum"].cov(out["product"]))
    )
    assert (x.to_ufloat() + y.to_ufloat() - total).std_dev == pytest.approx(0.0, abs=1e-12)


def test_rows_handed_to_users_keep_their_places():
    numbers = ROWS.to_ufloat()
    assert numbers.shape == (5,)
    taken = ROWS.take("row", [3]).to_ufloat()[0]
    assert (numbers[3] - taken).std_dev == pytest.approx(0.0, abs=1e-12)
    assert (numbers[0] - taken).std_dev == pytest.approx(math.hypot(1.0, 4.0))
    average = linear(mean, {"x": ROWS}, ("row",), {"mean": ()})["mean"]
    assert (sum(numbers) / 5 - average.to_ufloat()).std_dev == pytest.approx(0.0, abs=1e-12)


def test_an_exact_number_is_handed_over_without_a_warning():
    assert Estimate(2.0).to_ufloat().std_dev == 0.0
    assert [n.nominal_value for n in Estimate([1.0, 2.0], ("row",)).to_ufloat()] == [1.0, 2.0]
