"""Which interval is reported: linear where it is honest, draws where it is not, and never without saying so."""

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy import stats

from flowrig.uncertainty.batch import batch_interval, probe
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import CHECK, LOOK, coverage_factor, interval, intervals, linear_interval
from flowrig.uncertainty.montecarlo import CHUNK, sample
from flowrig.uncertainty.propagate import linear
from tests.reference.load import rows


def half_width(result):
    return float(result.high - result.low) / 2


def end_error(draws, coverage=0.95):
    """Standard error of the upper end of the interval of these draws, from the order statistics around it."""
    tail = 0.5 * (1 - coverage)
    step = math.sqrt(tail * (1 - tail) / len(draws))
    low, high = np.quantile(draws, [1 - tail - step, 1 - tail + step])
    return float(high - low) / 2


def add(**terms):
    return {"y": sum(terms.values())}


def total(us, shape):
    inputs = {f"x{i}": Estimate(0.0, (), {Cause(f"x{i}", shape=shape): [u]}) for i, u in enumerate(us)}
    return linear(add, inputs, (), {"y": ()})["y"]


def square(value, u):
    x = Estimate(value, (), {Cause("x"): [u]})
    return linear(lambda x: {"y": x**2}, {"x": x}, (), {"y": ()})["y"]


# Student factors


# Source: JCGM 100:2008 Table G.2, layout; every figure recomputed at the exact one, two and three sigma probabilities.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("unc_student_t.csv"), ids=lambda row: row["nu"])
def test_student_factors(row):
    sigma = {"68.27": 1, "95.45": 2, "99.73": 3}
    dof = math.inf if row["nu"] in {"inf", "infinity"} else float(row["nu"])
    for column, figure in row.items():
        if column.startswith("t_"):
            name = column.removeprefix("t_")
            p = 2 * NormalDist().cdf(sigma[name]) - 1 if name in sigma else float(name) / 100
            assert float(coverage_factor(p, dof)) == pytest.approx(float(figure), rel=5e-6), name


def test_coverage_factor_takes_arrays_and_fractions_and_refuses_no_probability():
    factors = coverage_factor(0.95, [3.0, 3.5, 1e15, math.inf])
    assert factors[0] > factors[1] > factors[2]
    assert factors[2] == pytest.approx(factors[3], rel=1e-9)
    assert float(factors[3]) == pytest.approx(1.959963984540054, rel=1e-11)
    for wrong in (0.0, 1.0, 95, math.nan):
        with pytest.raises(ValueError, match="probability"):
            coverage_factor(wrong)


# what is found


def test_a_square_at_zero_is_curved_though_its_tangent_is_flat():
    y = square(0.0, 1.0)
    assert float(y.u) == pytest.approx(0.0, abs=1e-12)
    found = interval(y)
    assert (found.source, bool(found.curved), bool(found.shape)) == ("monte carlo", True, False)
    # x² of a normal x is chi-square of one degree of freedom
    assert (float(found.low), float(found.high)) == pytest.approx(tuple(stats.chi2(1).ppf([0.025, 0.975])), abs=0.1)
    assert found.stable


@pytest.mark.parametrize(("value", "curved"), [(1.0, True), (3.0, True), (14.0, True), (18.0, False), (1000.0, False)])
def test_a_square_far_from_zero_is_straight(value, curved):
    # the ends of x² depart from its tangent by k² u² beside 2 k u x: by 0.12 of 2 u x at x = 16
    found = interval(square(value, 1.0))
    assert bool(found.curved) is curved
    assert found.source == ("monte carlo" if curved else "linear")


@pytest.mark.parametrize(("value", "draws"), [(1000.0, LOOK), (40.0, LOOK + CHUNK), (18.0, LOOK + CHECK)])
def test_the_nearer_to_the_limit_the_more_draws_tell_curved_from_straight(value, draws):
    taken = []

    def squared(x):
        taken.append(len(x))
        return {"y": x**2}

    y = linear(squared, {"x": Estimate(value, (), {Cause("x"): [1.0]})}, (), {"y": ()})["y"]
    taken.clear()
    assert not interval(y).curved
    assert sum(taken) == draws


@pytest.mark.parametrize("coverage", [0.5, 0.95, 0.99, 0.999, 0.9999])
def test_a_straight_kernel_is_called_straight_at_any_coverage(coverage):
    y = total([1.0, 2.0, 3.0], "normal")
    assert not interval(y, coverage).curved
    assert interval(y, coverage).source == "linear"


@pytest.mark.parametrize("dof", [1, 3, 4.9])
def test_few_readings_that_dominate_are_a_matter_of_shape(dof):
    few = Estimate(0.0, (), {Cause("few", dof=dof): [2.0]})
    y = linear(add, {"few": few, "many": Estimate(0.0, (), {Cause("many"): [1.0]})}, (), {"y": ()})["y"]
    found = interval(y)
    assert (found.source, bool(found.curved), bool(found.shape)) == ("monte carlo", False, True)
    alone = interval(few)
    error = end_error(sample(few, alone.draws))
    assert half_width(alone) == pytest.approx(2 * stats.t(dof).ppf(0.975), abs=4 * error)


def test_what_does_not_dominate_has_no_say_in_the_shape():
    for cause in (Cause("box", shape="rectangular"), Cause("few", dof=3)):
        below = Estimate(0.0, (), {cause: [math.sqrt(0.44)], Cause("rest"): [math.sqrt(0.56)]})
        above = Estimate(0.0, (), {cause: [math.sqrt(0.46)], Cause("rest"): [math.sqrt(0.54)]})
        assert interval(below).source == "linear"
        assert interval(above).source == "monte carlo"
    assert not interval(Estimate(0.0, (), {Cause("enough", dof=5): [1.0]})).shape


def test_samples_force_draws_and_few_of_them_are_not_called_stable():
    y = total([1.0], "normal")
    forced = interval(y, samples=1_000)
    assert (forced.source, forced.draws, forced.stable) == ("monte carlo", 1_000, False)
    for wrong in (0, 1, -5):
        with pytest.raises(ValueError, match="samples"):
            interval(y, samples=wrong)
        with pytest.raises(ValueError, match="samples"):
            batch_interval(Estimate([0.0], ("row",)), samples=wrong)


def test_draws_stop_when_both_ends_are_stable():
    found = interval(total([1, 1, 1, 10], "rectangular"))
    assert found.stable
    assert 4 * CHUNK <= found.draws < 1_000_000
    assert found.draws % CHUNK == 0
    # the tail of t with one degree of freedom is so long that a twentieth of u is still missing after 10⁶ draws
    wild = interval(Estimate(0.0, (), {Cause("two readings", dof=1): [1.0]}), coverage=0.999, samples=20 * CHUNK)
    assert not wild.stable


def test_a_number_without_a_value_has_an_interval_without_one():
    for cause in (Cause("a"), Cause("box", shape="rectangular")):
        for samples in (None, 100):
            found = interval(Estimate(math.nan, (), {cause: [1.0]}), samples=samples)
            assert np.isnan(found.low)
            assert np.isnan(found.high)
            assert found.source == "linear"


def test_an_exact_number_is_its_own_interval():
    for y in (Estimate(3.0), linear(lambda x: {"y": 2 * x}, {"x": Estimate(1.5)}, (), {"y": ()})["y"]):
        for samples in (None, 100):
            found = interval(y, samples=samples)
            assert (float(found.low), float(found.high), bool(found.curved)) == (3.0, 3.0, False)


def test_draws_without_a_value_are_counted_and_called_curved():
    # a plain root: a fifth of the draws are below zero, where it has no value
    x = Estimate(1.0, (), {Cause("x"): [1.0 / 0.8416]})

    def root(x):
        return {"y": np.sqrt(np.where(x >= 0, x, np.nan))}

    found = interval(linear(root, {"x": x}, (), {"y": ()})["y"])
    assert found.curved
    assert float(found.lost) == pytest.approx(0.2, abs=4 * math.sqrt(0.16 / found.draws))
    assert np.isfinite(found.low)
    assert float(interval(square(1.0, 1.0)).lost) == 0.0


def test_results_are_drawn_together_without_spoiling_each_other():
    x = Estimate(0.5, (), {Cause("x"): [1.0]})
    out = linear(
        lambda x: {"square": x**2, "line": 3 * x, "root": np.sqrt(np.where(x >= 0, x, np.nan)), "none": np.nan * x},
        {"x": x}, (), dict.fromkeys(("square", "line", "root", "none"), ()),
    )  # fmt: skip
    found = intervals(out)
    assert {name: found[name].source for name in found} == {
        "square": "monte carlo", "line": "linear", "root": "monte carlo", "none": "linear"
    }  # fmt: skip
    drawn = sample(out["square"], found["square"].draws)
    assert float(found["square"].high) == pytest.approx(np.quantile(drawn, 0.975), rel=1e-12)
    assert float(found["square"].lost) == 0.0
    with pytest.raises(ValueError, match="batch_interval"):
        interval(Estimate([1.0], ("row",)))
    assert intervals({}) == {}


# batches


def batch(values, us, kernel, scale=1.0):
    x = Estimate(np.asarray(values, float), ("row",), {Cause("noise", each="row"): np.asarray(us, float)[np.newaxis]})
    return linear(lambda x: {"y": scale * kernel(x)}, {"x": x}, ("row",), {"y": ("row",)})["y"]


def signed_root(x):
    return np.sign(x) * np.sqrt(np.abs(x))


@pytest.mark.parametrize("scale", [1e-12, 1.0, 1e12])
def test_only_rows_where_the_root_bends_are_drawn(scale):
    values = np.array([0.0, 0.3, 1.0, 2.0, 50.0, 100.0, 400.0])
    y = batch(values, np.ones(7), signed_root, scale)
    found, drawn = batch_interval(y)
    np.testing.assert_array_equal(drawn, [True, True, True, True, False, False, False])
    np.testing.assert_array_equal(found.curved, drawn)
    assert found.source == "linear"
    assert not found.stable  # an end of the fourth row lies where the root is upright: 0.02 u takes 10⁷ draws there
    assert batch_interval(y.take("row", [0, 1, 2, 4]))[0].stable
    low, _, _ = linear_interval(y)
    np.testing.assert_array_equal(found.low[~drawn], low[~drawn])
    # a monotone kernel takes the ends of its input along
    k = NormalDist().inv_cdf(0.975)
    for i in range(4):
        draws = sample(y, found.draws)[:, i]
        assert found.high[i] == pytest.approx(scale * signed_root(values[i] + k), abs=4 * end_error(draws))
        assert found.low[i] == pytest.approx(scale * signed_root(values[i] - k), abs=4 * end_error(-draws))


def test_a_huge_offset_does_not_hide_or_feign_curvature():
    y = batch([0.0, 100.0], [1.0, 1.0], lambda x: 1e6 + signed_root(x))
    np.testing.assert_array_equal(batch_interval(y)[1], [True, False])
    straight = batch([1e6, 1e6], [1e-9, 1e-6], lambda x: 3.3 * x)
    assert not np.any(batch_interval(straight)[1])


def test_a_flat_tangent_is_no_certainty():
    y = batch([0.0, 0.0, 5.0], [1.0, 0.0, 0.01], np.square)
    found, drawn = batch_interval(y)
    np.testing.assert_array_equal(drawn, [True, False, False])
    assert found.high[0] == pytest.approx(stats.chi2(1).ppf(0.975), abs=0.1)
    assert found.high[1] == found.low[1] == 0.0


def test_curvature_across_the_gradient_is_seen():
    # as in the mass calibration: the tangent knows one input, the product of two others does the rest
    u = np.ones(4)
    parts = {name: {Cause(name, each="row"): u[np.newaxis]} for name in "abc"}
    a, b, c = (Estimate(np.array([0.0, 0.0, 1e3, 1e3]), ("row",), parts[name]) for name in "abc")
    weight = Estimate([0.0, 1.0, 0.0, 1.0], ("row",))
    kernel = lambda a, b, c, weight: {"y": a + weight * b * c}  # noqa: E731
    y = linear(kernel, {"a": a, "b": b, "c": c, "weight": weight}, ("row",), {"y": ("row",)})["y"]
    np.testing.assert_array_equal(batch_interval(y)[1], [False, True, False, False])


def test_rows_without_a_value_stay_without_and_spoil_nothing():
    def root(x):
        return np.sqrt(np.where(x >= 0, x, np.nan))

    y = batch([np.nan, 0.5, 100.0, -5.0], np.ones(4), root)
    found, drawn = batch_interval(y)
    np.testing.assert_array_equal(drawn, [False, True, False, False])
    assert np.isnan(found.low[[0, 3]]).all()
    assert np.isfinite(found.low[[1, 2]]).all()
    assert found.lost[1] == pytest.approx(NormalDist().cdf(-0.5), abs=0.02)
    assert found.lost[2] == 0.0
    forced, all_drawn = batch_interval(y, samples=20_000)
    np.testing.assert_array_equal(all_drawn, [False, True, True, False])
    assert forced.high[2] == pytest.approx(found.high[2], abs=0.02)


def test_the_worst_rows_come_first_when_not_all_can_be_drawn():
    values = np.array([100.0, 1.0, 0.2, -0.1, 400.0, 3.0])
    with np.errstate(invalid="ignore"):
        y = batch(values, np.ones(6), lambda x: np.sqrt(np.where(x >= -0.5, np.abs(x), np.nan)))
        found, drawn = batch_interval(y, most=2)
    np.testing.assert_array_equal(found.curved, [False, True, True, True, False, True])
    assert drawn.sum() == 2
    assert not np.any(drawn & ~found.curved)
    assert np.all(np.sort(probe(y)[drawn]) >= np.max(probe(y)[~drawn]))


def test_a_batch_row_agrees_with_the_same_result_alone():
    y = batch([0.5, 30.0, 0.1], [1.0, 1.0, 1.0], signed_root)
    found, _ = batch_interval(y)
    for i in range(3):
        single = linear(
            lambda x: {"y": signed_root(x)}, {"x": Estimate(y.node.inputs["x"].value[i], (), {Cause("one"): [1.0]})},
            (), {"y": ()},
        )["y"]  # fmt: skip
        alone = interval(single)
        assert bool(alone.curved) == bool(found.curved[i])
        error = end_error(sample(single, alone.draws or 50_000))
        assert float(alone.high) == pytest.approx(found.high[i], abs=4 * error)


def test_few_readings_in_a_batch_are_drawn_and_rectangles_only_marked():
    def one(cause):
        x = Estimate([1.0, 2.0], ("row",), {cause: [[1.0, 1.0]], Cause("rest"): [[0.1, 2.0]]})
        return batch_interval(linear(lambda x: {"y": x}, {"x": x}, ("row",), {"y": ("row",)})["y"])

    found, drawn = one(Cause("few", dof=2))
    np.testing.assert_array_equal(drawn, [True, False])
    assert found.high[0] - 1.0 == pytest.approx(stats.t(2).ppf(0.975), abs=0.2)
    found, drawn = one(Cause("box", shape="rectangular"))
    np.testing.assert_array_equal(found.shape, [True, False])
    assert not np.any(drawn)
    assert not np.any(found.curved)


def test_the_probe_follows_noise_that_was_reduced_or_unrolled_on_the_way():
    points, n = 4, 3
    noise = Cause("point noise", each="point")
    x = Estimate(np.array([[100.0] * points, [0.2] * points, [0.0] * points]), ("row", "point"),
                 {noise: np.ones((1, n, points)), Cause("shared"): np.full((1, n, points), 0.5)})  # fmt: skip
    kernel = lambda x: {"mean": signed_root(x).mean(axis=-1, keepdims=True)}  # noqa: E731
    y = linear(kernel, {"x": x}, ("row", "point"), {"mean": ("row",)})["mean"]
    np.testing.assert_array_equal(batch_interval(y)[1], [False, True, True])
    each = Estimate([100.0, 0.2, 0.0], ("row",), {Cause("noise", each="row"): np.ones((1, 3))})
    first = linear(lambda x: {"z": 2 * x}, {"x": each}, ("row",), {"z": ("row",)})["z"]
    both = {"root": ("row",), "mean": ()}
    two = lambda z: {"root": signed_root(z), "mean": z.mean(axis=-1, keepdims=True)}  # noqa: E731
    second = linear(two, {"z": first}, ("row",), both)["root"]
    plain = linear(two, {"z": first}, ("row",), {"root": ("row",)})["root"]
    np.testing.assert_allclose(probe(second), probe(plain), rtol=1e-6)
    np.testing.assert_array_equal(batch_interval(second)[1], [False, True, True])


def test_the_probe_of_rows_that_depend_on_each_other():
    x = Estimate([100.0, 0.2, 50.0, 0.0], ("row",), {Cause("noise", each="row"): np.ones((1, 4))})
    first = linear(lambda x: {"z": signed_root(x)}, {"x": x}, ("row",), {"z": ("row",)})["z"]
    offset = linear(lambda x: {"m": x.mean(axis=-1, keepdims=True)}, {"x": x}, ("row",), {"m": ()})["m"]
    centred = lambda z, m: {"y": z - 0.001 * m}  # noqa: E731
    y = linear(centred, {"z": first, "m": offset}, ("row",), {"y": ("row",)})["y"]
    np.testing.assert_array_equal(batch_interval(y)[1], [False, True, False, True])
    apart = lambda z: {"y": z - 0.001 * z.mean(axis=-1, keepdims=True)}  # noqa: E731
    y = linear(apart, {"z": first}, ("row",), {"y": ("row",)})["y"]
    np.testing.assert_array_equal(batch_interval(y)[1], [False, True, False, True])


def test_a_batch_needs_its_axis():
    with pytest.raises(ValueError, match="one axis"):
        batch_interval(Estimate(1.0))


def test_what_is_bell_shaped_is_drawn_as_one_and_changes_nothing():
    """Ends of a shape-only interval against draws of every direction (JCGM 101), within their own noise."""
    parts = {Cause("limit", shape="rectangular"): [3.0], Cause("few", dof=3): [2.0]}
    parts |= {Cause(f"normal {i}"): [0.4] for i in range(8)}
    parts |= {Cause("points", n=60, shape="rectangular"): np.full(60, 0.1)}
    made = linear(lambda x: {"y": 1.0 * x}, {"x": Estimate(10.0, (), parts)}, (), {"y": ()})["y"]
    found = interval(made)
    assert found.source == "monte carlo"
    drawn = sample(made, 400_000)
    for end, q in ((found.low, 0.025), (found.high, 0.975)):
        assert float(end) == pytest.approx(float(np.quantile(drawn, q)), abs=0.06 * float(made.u))


@pytest.mark.parametrize(("dof", "share", "drawn"), [(1.0, 0.2, True), (1.0, 0.05, False), (2.0, 0.2, False)])
def test_the_scatter_of_two_readings_is_drawn_where_it_counts(dof, share, drawn):
    bar = interval(two_sources(share, dof))
    assert (bar.source == "monte carlo") is drawn


# Source: a normal error beside one of Student's t, quantile by numerical integration of their convolution.
@pytest.mark.library
@pytest.mark.parametrize("share", [0.12, 0.3, 0.6])
def test_it_then_has_the_interval_of_the_convolution(share):
    from scipy import integrate, optimize, stats

    known, own = np.sqrt(1 - share), np.sqrt(share)

    def within(half):
        inside = lambda t: stats.norm.cdf((half - own * t) / known) * stats.t.pdf(t, 1)  # noqa: E731
        return 2 * integrate.quad(inside, -np.inf, np.inf, limit=400, points=None)[0] - 1

    half = optimize.brentq(lambda x: within(x) - 0.95, 1.0, 40.0)
    bar = interval(two_sources(share, 1.0))
    assert bar.high == pytest.approx(half, rel=0.03)
    assert bar.low == pytest.approx(-half, rel=0.03)


# Linear intervals beside a known error as large hold 93 %, beside one a third as large 88 %; drawn ones 95 % and more.
@pytest.mark.coverage
@pytest.mark.parametrize("ratio", [1.0, 3.0])
def test_two_readings_beside_a_known_error_are_covered(ratio):
    from scipy import stats

    rng = np.random.default_rng(7)
    n = 20_000
    spread = ratio * np.abs(rng.normal(size=n))
    off = np.abs(rng.normal(size=n) + ratio * rng.normal(size=n))
    steps = np.concatenate([[0.0], np.geomspace(0.02, 5 * ratio, 12)])
    halves = [float(interval(two_sources(s**2 / (1 + s**2), 1.0)).high) * np.sqrt(1 + s**2) for s in steps]
    drawn = np.mean(off < np.interp(spread, steps, halves))
    u = np.sqrt(1 + spread**2)
    linear = np.mean(off < stats.t.ppf(0.975, (u / spread) ** 4) * u)
    assert linear < 0.94
    assert drawn > 0.94


def two_sources(share, dof):
    """A number of variance 1: a known error, and scatter of so large a share with few degrees of freedom."""
    parts = {Cause("known"): [np.sqrt(1 - share)], Cause("scatter", dof=dof): [np.sqrt(share)]}
    return Estimate(0.0, (), parts)
