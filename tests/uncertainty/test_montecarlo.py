"""Draws: the same deviate for the same cause, wherever and whenever it is drawn."""

import math

import numpy as np
import pytest
from scipy import stats

from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import CHUNK, chunks, sample
from flowrig.uncertainty.propagate import linear

EVERY_KIND = [
    Cause("normal"),
    Cause("rectangular", shape="rectangular"),
    Cause("triangular", shape="triangular"),
    Cause("t", dof=3),
    Cause("block", n=3, dof=5),
]


def unit(cause):
    return Estimate(0.0, (), {cause: np.ones(cause.n)})


def moment(draws, power):
    """Mean of a power and its standard error."""
    powers = draws**power
    return powers.mean(), powers.std() / math.sqrt(len(draws))


@pytest.mark.parametrize("cause", EVERY_KIND, ids=lambda cause: cause.id)
def test_the_first_draws_are_the_same_however_many_are_taken(cause):
    many = sample(unit(cause), 2 * CHUNK + 10)
    for draws in (1, 100, CHUNK - 1, CHUNK, CHUNK + 1):
        np.testing.assert_array_equal(sample(unit(cause), draws), many[:draws])


def test_seed_and_cause_decide_the_draws():
    a = unit(Cause("a"))
    np.testing.assert_array_equal(sample(a, 500), sample(a, 500))
    assert not np.any(sample(a, 500) == sample(a, 500, seed=2))
    pairs = [(a, unit(Cause("b"))), (a, unit(Cause("a ")))]
    pair = Estimate(0.0, (), {Cause("pair", n=2): [1.0, 0.0]}), Estimate(0.0, (), {Cause("pair", n=2): [0.0, 1.0]})
    n = 50_000
    for x, y in [*pairs, pair]:
        assert abs(np.corrcoef(sample(x, n), sample(y, n))[0, 1]) < 4 / math.sqrt(n)
    assert abs(np.corrcoef(sample(a, n), sample(a, n, seed=2))[0, 1]) < 4 / math.sqrt(n)
    one, two = sample(a, 2 * CHUNK).reshape(2, CHUNK)
    assert abs(np.corrcoef(one, two)[0, 1]) < 4 / math.sqrt(CHUNK)


# Source: JCGM 101:2008 6.4.2, 6.4.5, 6.4.7 and 6.4.9: moments of the shapes are closed forms.
@pytest.mark.parametrize(
    ("shape", "fourth", "bound"),
    [("normal", 3.0, math.inf), ("rectangular", 9 / 5, math.sqrt(3)), ("triangular", 12 / 5, math.sqrt(6))],
)
def test_deviates_have_zero_mean_unit_variance_and_their_own_shape(shape, fourth, bound):
    draws = sample(unit(Cause("moments", shape=shape)), 200_000)
    for power, expected in ((1, 0.0), (2, 1.0), (3, 0.0), (4, fourth)):
        found, error = moment(draws, power)
        assert found == pytest.approx(expected, abs=4 * error), power
    assert np.max(np.abs(draws)) <= bound
    scale = {
        "normal": stats.norm(),
        "rectangular": stats.uniform(-bound, 2 * bound),
        "triangular": stats.triang(0.5, -bound, 2 * bound),
    }[shape]
    assert stats.kstest(draws, scale.cdf).pvalue > 1e-3


@pytest.mark.parametrize("dof", [2.5, 4, 30])
def test_few_degrees_of_freedom_draw_students_t(dof):
    draws = sample(unit(Cause("few", dof=dof)), 100_000)
    assert stats.kstest(draws, stats.t(dof).cdf).pvalue > 1e-3
    plain = sample(unit(Cause("few", dof=dof)), 100_000, normal=True)
    assert stats.kstest(plain, stats.norm().cdf).pvalue > 1e-3


# Source: JCGM 101:2008 6.4.9 for one input; multivariate t, JCGM 102:2011 5.3.2.
def test_a_block_shares_one_chi_square():
    n, dof = 200_000, 8
    block = Cause("block", n=2, dof=dof)
    x, y = (sample(Estimate(0.0, (), {block: part}), n) for part in ([1.0, 0.0], [0.0, 1.0]))
    assert abs(np.corrcoef(x, y)[0, 1]) < 4 / math.sqrt(n)
    products = x**2 * y**2
    # E[x²y²] = (dof²)/((dof−2)(dof−4)) for a shared chi-square, (dof/(dof−2))² for two
    error = products.std() / math.sqrt(n)
    assert products.mean() == pytest.approx(dof**2 / ((dof - 2) * (dof - 4)), abs=4 * error)
    assert products.mean() > (dof / (dof - 2)) ** 2 + 4 * error
    turned = sample(Estimate(0.0, (), {block: [0.6, 0.8]}), n)
    assert stats.kstest(turned, stats.t(dof).cdf).pvalue > 1e-3


def test_rows_of_one_noise_share_the_chi_square_and_not_the_deviate():
    n, dof = 100_000, 8
    rows = Estimate(np.zeros(2), ("row",), {Cause("pooled", each="row", dof=dof): np.ones((1, 2))})
    x, y = sample(rows, n).T
    assert abs(np.corrcoef(x, y)[0, 1]) < 4 / math.sqrt(n)
    products = x**2 * y**2
    error = products.std() / math.sqrt(n)
    assert products.mean() == pytest.approx(dof**2 / ((dof - 2) * (dof - 4)), abs=4 * error)


def test_results_made_apart_stay_aligned_draw_by_draw():
    x = Estimate(2.0, (), {Cause("x"): [0.1], Cause("shared"): [0.2]})
    y = Estimate(3.0, (), {Cause("shared"): [-0.5]})
    one = linear(lambda x: {"p": x**2}, {"x": x}, (), {"p": ()})["p"]
    two = linear(lambda y: {"q": np.exp(y)}, {"y": y}, (), {"q": ()})["q"]
    both = linear(lambda x, y: {"s": x**2 + np.exp(y)}, {"x": x, "y": y}, (), {"s": ()})["s"]
    staged = linear(lambda p, q: {"s": p + q}, {"p": one, "q": two}, (), {"s": ()})["s"]
    n = CHUNK + 100
    np.testing.assert_allclose(sample(one, n) + sample(two, n), sample(both, n), rtol=1e-12)
    np.testing.assert_allclose(sample(staged, n), sample(both, n), rtol=1e-12)
    together = [np.concatenate(column) for column in zip(*chunks([one, staged], n), strict=True)]
    np.testing.assert_array_equal(together[0], sample(one, n))


def batch(n):
    noise, fit = Cause("noise", each="row", dof=7), Cause("fit", n=2)
    x = Estimate(np.arange(1.0, n + 1), ("row",), {noise: np.full((1, n), 0.1), fit: np.full((2, n), 0.2)})
    scale = Estimate(2.0, (), {fit: [0.1, -0.1]})
    return linear(lambda x, scale: {"y": scale * np.sqrt(x)}, {"x": x, "scale": scale}, ("row",), {"y": ("row",)})["y"]


def test_a_row_is_the_same_alone_and_among_others():
    whole = sample(batch(6), 300)
    assert whole.shape == (300, 6)
    np.testing.assert_array_equal(sample(batch(6).take("row", [4, 1]), 300), whole[:, [4, 1]])
    np.testing.assert_array_equal(sample(batch(3), 300), whole[:, :3])


def test_unrolled_rows_are_drawn_like_rows():
    result = batch(4)
    leaf = result.node.inputs["x"]
    np.testing.assert_allclose(sample(leaf.over("row"), 200), sample(leaf, 200), rtol=1e-12)
    mean = lambda y: {"m": y.mean(axis=-1, keepdims=True)}  # noqa: E731
    average = linear(mean, {"y": result}, ("row",), {"m": ()})["m"]
    np.testing.assert_allclose(sample(average, 200), sample(result, 200).mean(axis=1), rtol=1e-12)


def test_a_mean_over_all_rows_stays_whole_when_rows_are_taken():
    zero = Estimate(np.arange(5.0), ("row",), {Cause("zero noise", each="row"): np.ones((1, 5))})
    offset = linear(lambda z: {"m": z.mean(axis=-1, keepdims=True)}, {"z": zero}, ("row",), {"m": ()})["m"]
    x = Estimate(np.full(5, 10.0), ("row",), {Cause("noise", each="row"): np.ones((1, 5))})
    out = linear(lambda x, m: {"y": x - m}, {"x": x, "m": offset}, ("row",), {"y": ("row",)})["y"]
    np.testing.assert_allclose(sample(out.take("row", [4]), 100)[:, 0], sample(out, 100)[:, 4], rtol=1e-12)
    assert float(out.take("row", [4]).value[0]) == 8.0


def test_exact_and_stretched_results_have_the_shape_they_promise():
    assert sample(Estimate(3.0), 5).tolist() == [3.0] * 5
    x = Estimate(np.zeros(3), ("row",))
    c = Estimate([1.0], ("row",), {Cause("c"): [[1.0]]})
    out = linear(lambda x, c: {"y": c + 0 * x, "z": c}, {"x": x, "c": c}, ("row",), {"y": ("row",), "z": ("row",)})
    assert sample(out["y"], 7).shape == (7, 3)
    assert sample(out["z"], 7).shape == (7, 3)


def test_sizes_from_the_same_readings_are_drawn_with_one_chi_square():
    """The sum is t with 4 degrees of freedom times s √2, and where one is large so is the other."""
    a, b, c = Cause("a", dof=4), Cause("b", dof=4, sized_with="a"), Cause("c", dof=4)
    both = sample(Estimate(0.0, (), {a: [1.0], b: [1.0]}), 200_000)
    for share in (0.9, 0.975, 0.99):
        assert np.quantile(both, share) == pytest.approx(math.sqrt(2) * stats.t(4).ppf(share), rel=0.02)
    one, two, other = (np.abs(sample(Estimate(0.0, (), {cause: [1.0]}), 200_000)) for cause in (a, b, c))
    assert stats.spearmanr(one, two).statistic > 0.1
    assert abs(stats.spearmanr(one, other).statistic) < 0.01
