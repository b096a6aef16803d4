"""Curves through points with errors in both axes: against figures in print, other libraries, and brute force."""

import math

import numpy as np
import pytest
from GTC import type_b, ureal
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit, minimize

from flowrig.errors import CalculationError
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.fit import Curve, fit, fitted, kernel, own_errors, polynomial
from flowrig.uncertainty.propagate import linear
from tests.reference.load import rows

LINE = polynomial((0, 1))
NOISE = Cause("noise", each="point")


def columns(name, *wanted):
    table = rows(name)
    return [np.array([float(row[column]) for row in table]) for column in wanted]


def printed(name, column="published"):
    """Figures in print; where a row has none, it is left out."""
    return {row["quantity"]: float(row[column].split()[0]) for row in rows(name) if row[column]}


def points(values, own=None, **parts):
    """Points with noise of their own; keywords name causes that all of them share."""
    shared = {Cause(name): np.broadcast_to(part, (1, len(values))) for name, part in parts.items()}
    noise = {} if own is None else {Cause("noise of " + own[0], each="point"): [np.broadcast_to(own[1], len(values))]}
    return Estimate(values, ("point",), {**shared, **noise})


def line(x, y, u_x=0.0, u_y=0.0, **options):
    """The fit of points with independent noise."""
    return fit(LINE, points(x, ("x", u_x)), points(y, ("y", u_y)), "excess", "excess", **options)


def propagated(curve, x, y):
    """Coefficients at the weights of the known errors alone: what `fit` does where it finds nothing beyond them."""
    var_x, var_y, cov = own_errors(x, y)
    names = [f"b{k}" for k in range(curve.p)]
    options = {"u_x": np.sqrt(var_x), "u_y": np.sqrt(var_y), "cov": cov}
    found = linear(kernel, {"x": x, "y": y}, ("point",), dict.fromkeys(names, ()), curve=curve, **options)
    return [found[name] for name in names]


def covariance(coefficients):
    return np.array([[float(one.cov(other)) for other in coefficients] for one in coefficients])


# figures in print


# Source: K. Pearson's data with D. York's weights; line: Neri et al., J. Phys. E 22 (1989) 215; u by propagation of the
# observed data: Kalantar, Meas. Sci. Technol. 3 (1992) 1113; chi-square: Murray 1994. All read in GTC's test suite.
@pytest.mark.published
def test_pearsons_data_with_yorks_weights():
    x, w_x, y, w_y = columns("unc_york.csv", "x", "weight_x", "y", "weight_y")
    known = printed("unc_york_results.csv")
    a, b = propagated(LINE, points(x, ("x", w_x**-0.5)), points(y, ("y", w_y**-0.5)))
    assert float(a.value) == pytest.approx(known["intercept a"], abs=5e-9)
    assert float(b.value) == pytest.approx(known["slope b"], abs=5e-10)
    assert float(a.u) == pytest.approx(known["u(a) by propagation of the observed data"], abs=6e-6)
    assert float(b.u) == pytest.approx(known["u(b) by propagation of the observed data"], abs=6e-7)
    assert float(a.cov(b)) == pytest.approx(known["cov(a,b) by propagation"], abs=5e-5)
    found = line(x, y, w_x**-0.5, w_y**-0.5)
    assert found.chi_square == pytest.approx(known["chi2"], abs=5e-4)
    assert found.chi_square / found.dof == pytest.approx(known["chi2/(N-2)"], abs=5e-5)
    assert found.excess > 0.0  # chi-square is above 8, and the error bars are no longer those in print
    assert found.coefficients[1].u > b.u


# Source: ISO/TS 28037:2010, worked example of a line with equal weights; read in GTC's test suite.
@pytest.mark.published
def test_weighted_line_of_iso_ts_28037():
    known = printed("unc_iso28037_wls1.csv")
    found = line(np.arange(1.0, 7.0), np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1]), 0.0, 0.5)
    a, b = found.coefficients
    assert float(a.value) == pytest.approx(known["a"], abs=5e-4)
    assert float(b.value) == pytest.approx(known["b"], abs=5e-4)
    assert float(a.u) == pytest.approx(known["u(a)"], abs=5e-4)
    assert float(b.u) == pytest.approx(known["u(b)"], abs=5e-4)
    assert float(a.cov(b)) == pytest.approx(known["cov(a,b)"], abs=5e-4)
    assert found.chi_square == pytest.approx(known["chi2"], abs=5e-4)
    assert (found.dof, found.excess) == (4, 0.0)
    # the line read backwards, as the example does
    back = linear(
        lambda a, b, y: {"x": (y - a) / b}, {"a": a, "b": b, "y": Estimate(10.5, (), {Cause("y"): [0.5]})},
        outputs={"x": ()},
    )["x"]  # fmt: skip
    assert float(back.value) == pytest.approx(known["x at y=10.5 (u=0.5)"], abs=5e-4)
    assert float(back.u) == pytest.approx(known["u(x)"], abs=5e-4)


def power(start):
    return Curve(
        2,
        lambda x, b: b[..., :1] * x ** b[..., 1:],
        lambda x, b: b[..., :1] * b[..., 1:] * x ** (b[..., 1:] - 1),
        lambda x, y: np.broadcast_to(np.array(start), (*y.shape[:-1], 2)),
    )


def saturation(start):
    return Curve(
        2,
        lambda x, b: b[..., :1] * (1 - np.exp(-b[..., 1:] * x)),
        lambda x, b: b[..., :1] * b[..., 1:] * np.exp(-b[..., 1:] * x),
        lambda x, y: np.broadcast_to(np.array(start), (*y.shape[:-1], 2)),
    )


# Source: NIST Statistical Reference Datasets, DanielWood and Misra1a, certified values, from both starts stated there.
@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "curve", "column"),
    [
        ("danwood", power((1.0, 5.0)), "certified_or_reference"),
        ("danwood", power((0.7, 4.0)), "certified_or_reference"),
        ("misra1a", saturation((500.0, 1e-4)), "certified"),
        ("misra1a", saturation((250.0, 5e-4)), "certified"),
    ],
)
def test_certified_non_linear_fits(name, curve, column):
    y, x = columns(f"unc_nist_{name}.csv", "y", "x")
    known = printed(f"unc_nist_{name}_results.csv", column)
    found = fit(curve, points(x), points(y), "excess", "excess")
    b = np.array([float(c.value) for c in found.coefficients])
    np.testing.assert_allclose(b, [known["b1"], known["b2"]], rtol=5e-11)
    assert float(np.sum(found.residuals**2)) == pytest.approx(known["RSS"], rel=5e-11)
    # no error of the points was known: what they scatter is the residual standard deviation
    assert found.excess**2 == pytest.approx(known["RSS"] / found.dof, rel=1e-6)
    # certified standard deviations are those of s^2 (J'J)^-1; J by the imaginary step
    step = 1e-30 * 1j * np.diag(b)
    design = np.stack([curve.value(x, b + step[k]).imag / 1e-30 / b[k] for k in range(2)], axis=-1)
    certified = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * known["RSS"] / found.dof)
    np.testing.assert_allclose(certified, [known["sd(b1)"], known["sd(b2)"]], rtol=5e-10)
    # propagation of the observed data keeps the curvature of the curve too, a term that falls with the residuals
    np.testing.assert_allclose([float(c.u) for c in found.coefficients], certified, rtol=0.01)


# Source: C. Ghiaus, Dynamic Models for Building Energy Management, blower-door tutorial (an open textbook): C, n, s_n.
# s_lnC and the covariance are those formulas evaluated again.
@pytest.mark.published
def test_power_law_as_a_line_of_logarithms():
    drop, flow = columns("powerlaw_data.csv", "dp_Pa", "Q_m3_h")
    known, again = printed("powerlaw_worked.csv"), printed("powerlaw_worked.csv", "recomputed")
    found = fit(LINE, points(np.log(drop)), points(np.log(flow)), "excess", "excess")
    height, slope = found.coefficients
    assert float(slope.value) == pytest.approx(known["n"], abs=5e-5)
    assert math.exp(height.value) == pytest.approx(known["C"], abs=5e-5)
    assert float(slope.u) == pytest.approx(known["sn"], abs=5e-5)
    assert float(height.u) == pytest.approx(again["slnC"], rel=1e-6)
    assert float(height.cov(slope)) == pytest.approx(again["cov"], rel=1e-6)
    assert float(slope.dof) == float(height.dof) == found.dof == 4
    assert found.excess == pytest.approx(again["sy"], rel=1e-6)


# other libraries


@pytest.mark.library
def test_york_line_of_another_library():
    x, w_x, y, w_y = columns("unc_york.csv", "x", "weight_x", "y", "weight_y")
    theirs = type_b.line_fit_wtls(
        [ureal(v, w**-0.5) for v, w in zip(x, w_x, strict=True)],
        [ureal(v, w**-0.5) for v, w in zip(y, w_y, strict=True)],
    )
    a, b = propagated(LINE, points(x, ("x", w_x**-0.5)), points(y, ("y", w_y**-0.5)))
    for ours, their in zip((a, b), theirs.a_b, strict=True):
        assert float(ours.value) == pytest.approx(their.x, rel=2e-8)  # they stop there; Neri's digits are ours
        assert float(ours.u) == pytest.approx(their.u, rel=1e-5)


@pytest.mark.library
@given(seed=st.integers(0, 10_000), correlation=st.floats(-0.9, 0.9))
def test_points_whose_axes_go_together_against_brute_force(seed, correlation):
    """A noise that moves x and y of one point at once, as where both come from one manometer."""
    random = np.random.default_rng(seed)
    x = np.sort(random.uniform(0.0, 5.0, 8))
    y = 1.0 + 0.7 * x + random.normal(0.0, 0.1, 8)
    u_x, u_y = random.uniform(0.05, 0.2, 8), random.uniform(0.05, 0.2, 8)
    cov = correlation * u_x * u_y
    b = fitted(LINE, x, y, u_x, u_y, cov)

    def misfit(b):
        return np.sum((y - b[0] - b[1] * x) ** 2 / (u_y**2 + b[1] ** 2 * u_x**2 - 2 * b[1] * cov))

    best = minimize(misfit, [1.0, 0.7], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    assert misfit(b) <= best.fun * (1 + 1e-9)
    np.testing.assert_allclose(b, best.x, rtol=2e-4, atol=2e-4)


@pytest.mark.library
@pytest.mark.parametrize("powers", [(1,), (0, 1), (0, 1, 2), (0, 1, 2, 3)])
def test_polynomials_with_weights_and_their_covariance(powers):
    random = np.random.default_rng(4)
    x, u = np.linspace(0.2, 3.0, 12), random.uniform(0.01, 0.05, 12)
    truth = np.array([0.7, -1.2, 0.4, 0.1])[list(powers)]
    y = np.sum(truth * x[:, np.newaxis] ** np.array(powers), axis=-1) + 0.3 * u * random.normal(size=12)
    found = fit(polynomial(powers), points(x), points(y, ("y", u)), "excess", "excess")
    assert found.excess == 0.0
    b, cov = curve_fit(
        lambda x, *b: sum(c * x**k for c, k in zip(b, powers, strict=True)), x, y, np.ones(len(powers)), u,
        absolute_sigma=True,
    )  # fmt: skip
    np.testing.assert_allclose([float(c.value) for c in found.coefficients], b, rtol=1e-5)
    np.testing.assert_allclose(covariance(found.coefficients), cov, rtol=1e-5)


@settings(max_examples=40)
@given(b=st.lists(st.floats(-3.0, 3.0), min_size=4, max_size=4), u=st.floats(1e-4, 1.0))
def test_points_on_a_cubic_give_it_back(b, u):
    x = np.linspace(0.1, 1.3, 9)
    curve = polynomial((0, 1, 2, 3))
    y = curve.value(x, np.array(b))
    found = fit(curve, points(x, ("x", 0.01)), points(y, ("y", u)), "excess", "excess")
    np.testing.assert_allclose([float(c.value) for c in found.coefficients], b, atol=1e-7)
    assert found.excess == 0.0


# what is shared, what is averaged


@pytest.mark.parametrize("n", [10, 100])
def test_what_all_points_share_is_not_averaged(n):
    """A reference 1 % high: the line is 1 % high, with ten points or a hundred. Noise falls with their number."""
    x = np.linspace(1.0, 5.0, n)
    y = 0.3 + 2.0 * x
    found = fit(LINE, points(x), points(y, ("y", 0.1), reference=0.01 * y), "excess", "excess")
    for coefficient in found.coefficients:
        moved = float(coefficient.parts[Cause("reference")][0])
        assert moved == pytest.approx(0.01 * float(coefficient.value), rel=1e-6)
    a, b = found.coefficients
    middle = linear(lambda a, b: {"y": a + 3.0 * b}, {"a": a, "b": b}, outputs={"y": ()})
    own = [part for cause, part in middle["y"].parts.items() if cause.id.startswith("noise")]
    assert math.sqrt(sum(np.sum(part**2) for part in own)) == pytest.approx(0.1 / math.sqrt(n), rel=1e-6)


def test_what_is_shared_has_no_say_in_the_weights():
    x, y, u = np.array([1.0, 2.0, 3.0, 5.0]), np.array([1.0, 2.3, 2.9, 5.2]), np.array([0.3, 0.1, 0.2, 0.4])
    plain = line(x, y, 0.0, u)
    shared = fit(LINE, points(x), points(y, ("y", u), reference=[5.0, 0.1, 3.0, 2.0]), "excess", "excess")
    for one, other in zip(plain.coefficients, shared.coefficients, strict=True):
        assert float(one.value) == pytest.approx(float(other.value), rel=1e-12)
    # an error that is called by one name and moves one point alone is that point's own
    var = own_errors(points(x), points(y, gap=[0.0, 0.0, 0.5, 0.0], all=0.2))[1]
    np.testing.assert_allclose(var, [0.0, 0.0, 0.25, 0.0])


def test_an_instrument_in_both_axes_cancels_where_it_moves_along_the_curve():
    """Drop of the box and drop of a nozzle by one manometer, 1 % high: ln q by half of it, ln dp by all of it."""
    x = np.linspace(0.0, 3.0, 7)
    found = fit(LINE, points(x, None, gain=0.01), points(0.5 * x, ("y", 0.02), gain=0.005), "excess", "excess")
    height, slope = found.coefficients
    assert abs(height.parts.get(Cause("gain"), np.zeros(1))[0]) < 1e-9
    apart = fit(LINE, points(x, None, other=0.01), points(0.5 * x, ("y", 0.02), gain=0.005), "excess", "excess")
    height, slope = apart.coefficients
    assert math.hypot(*(float(height.parts[Cause(c)][0]) for c in ("gain", "other"))) == pytest.approx(
        0.005 * math.sqrt(2), rel=1e-6
    )
    assert abs(float(slope.parts.get(Cause("gain"), np.zeros(1))[0])) < 1e-9


@pytest.mark.recomputed
def test_error_bars_of_points_with_common_noise_are_those_of_many_repetitions():
    """Ten points, x and y of each moved together: repeated 40 000 times, each line by a closed form.

    With equal points the nearest line is the least eigenvector of scatter over covariance of the noise (Deming).
    """
    random = np.random.default_rng(11)
    n, slope, u_x, u_y, rho = 10, 0.8, 0.05, 0.08, 0.7
    x = np.linspace(0.0, 2.0, n)
    noise = np.array([[u_x**2, rho * u_x * u_y], [rho * u_x * u_y, u_y**2]])
    both, alone = (Cause(name, each="point") for name in ("manometer", "nozzle"))
    root = np.linalg.cholesky(noise)  # of x only the first direction
    parts = {both: np.full((1, n), root[1, 0]), alone: np.full((1, n), root[1, 1])}
    of_x = Estimate(x, ("point",), {both: np.full((1, n), root[0, 0])})
    found = fit(LINE, of_x, Estimate(0.3 + slope * x, ("point",), parts), "excess", "excess")

    drawn = np.stack([x, 0.3 + slope * x]) + root @ random.normal(size=(40_000, 2, n))
    middle = drawn.mean(axis=-1)
    centred = drawn - middle[..., np.newaxis]
    scatter = centred @ np.swapaxes(centred, -1, -2)
    values, vectors = np.linalg.eig(np.linalg.inv(noise) @ scatter)
    least = vectors[np.arange(len(vectors)), :, np.argmin(values, axis=-1)]
    slopes = -least[:, 0] / least[:, 1]
    heights = middle[:, 1] - slopes * middle[:, 0]
    np.testing.assert_allclose(covariance(found.coefficients), np.cov(heights, slopes), rtol=0.04)
    # as if they were independent: not the same
    independent = line(x, 0.3 + slope * x, u_x, u_y)
    assert float(independent.coefficients[1].u) > 1.3 * float(np.std(slopes))


# scatter


def test_kind_points_do_not_shrink_the_error_bars():
    x = np.linspace(0.0, 4.0, 6)
    exact, kind = line(x, 1.0 + x, 0.0, 0.2), line(x, 1.0 + x + 0.02 * (-1.0) ** np.arange(6), 0.0, 0.2)
    assert kind.chi_square / kind.dof < 0.1
    design = np.stack([np.ones(6), x], axis=-1)
    expected = np.linalg.inv(design.T @ design) * 0.2**2
    for found in (exact, kind):
        np.testing.assert_allclose(covariance(found.coefficients), expected, rtol=1e-6)
        assert found.excess == 0.0
        assert all(c.dof == math.inf for c in found.coefficients)


@settings(max_examples=25)
@given(seed=st.integers(0, 10_000), spent=st.integers(0, 2))
def test_scatter_beyond_the_known_errors_brings_chi_square_to_its_degrees_of_freedom(seed, spent):
    random = np.random.default_rng(seed)
    x, u = np.linspace(0.0, 4.0, 9), random.uniform(0.01, 0.05, 9)
    found = line(x, 1.0 + x + random.normal(0.0, 0.3, 9), 0.02, u, spent=spent)
    assert found.dof == 7 - spent
    assert found.chi_square > found.dof
    assert float(np.sum((found.residuals / found.weights) ** 2)) == pytest.approx(found.dof, rel=1e-6)
    b = float(found.coefficients[1].value)
    np.testing.assert_allclose(found.weights**2, u**2 + found.excess**2 + (0.02 * b) ** 2, rtol=1e-9)
    [cause] = [c for c in found.coefficients[0].parts if c.id == "excess"]
    assert (cause.dof, cause.n) == (found.dof, 9)


def test_points_without_any_error_have_the_error_bar_of_their_scatter():
    """Ordinary least squares: s^2 (X'X)^-1 with n - 2 degrees of freedom."""
    x, y = np.array([0.0, 1.0, 2.0, 4.0, 7.0]), np.array([1.1, 1.9, 3.2, 4.8, 8.1])
    found = fit(LINE, points(x), points(y), "excess", "excess")
    design = np.stack([np.ones(5), x], axis=-1)
    b, rest, *_ = np.linalg.lstsq(design, y, rcond=None)
    np.testing.assert_allclose([float(c.value) for c in found.coefficients], b, rtol=1e-9)
    np.testing.assert_allclose(
        covariance(found.coefficients), np.linalg.inv(design.T @ design) * rest[0] / 3, rtol=1e-6
    )
    assert [float(c.dof) for c in found.coefficients] == [3.0, 3.0]
    exact = fit(LINE, points(x), points(2.0 + 3.0 * x), "excess", "excess")
    assert exact.excess == 0.0
    assert all(c.u == 0.0 for c in exact.coefficients)


@settings(max_examples=25)
@given(scale_x=st.floats(1e-6, 1e6), scale_y=st.floats(1e-6, 1e6), seed=st.integers(0, 1000))
def test_the_units_do_not_matter(scale_x, scale_y, seed):
    random = np.random.default_rng(seed)
    x = np.linspace(1.0, 4.0, 8)
    y = 1.0 + x + random.normal(0.0, 0.2, 8)
    one, other = line(x, y, 0.05, 0.1), line(scale_x * x, scale_y * y, scale_x * 0.05, scale_y * 0.1)
    factors = (scale_y, scale_y / scale_x)
    for coefficient, scaled, factor in zip(one.coefficients, other.coefficients, factors, strict=True):
        assert float(scaled.value) == pytest.approx(factor * float(coefficient.value), rel=1e-6, abs=1e-9 * factor)
        assert float(scaled.u) == pytest.approx(factor * float(coefficient.u), rel=1e-5)
    assert other.excess == pytest.approx(scale_y * one.excess, rel=1e-5, abs=1e-9 * scale_y)


# what does not determine a curve


def test_too_few_points_or_points_at_one_place():
    for x in ([1.0, 2.0], [1.0], [2.0, 2.0, 2.0, 2.0], []):
        with pytest.raises(CalculationError, match="do not"):
            line(np.array(x), np.array(x), 0.0, 0.1)
    x = np.array([1.0, 2.0, 3.0] * 3)
    with pytest.raises(CalculationError, match="3 places do not tell 4 numbers"):
        fit(polynomial((0, 1, 2, 3)), points(x), points(x, ("y", 0.1)), "excess", "excess")
    with pytest.raises(CalculationError, match="do not tell 2 numbers"):
        line(np.arange(4.0), np.arange(4.0), 0.0, 0.1, spent=2)
    with pytest.raises(CalculationError, match="no value"):
        line(np.arange(4.0), np.array([0.0, math.nan, 2.0, 3.0]), 0.0, 0.1)


def test_stacked_points_are_fitted_each_by_itself():
    x = np.linspace(0.0, 1.0, 5)
    y = np.stack([1.0 + x, 2.0 - 3.0 * x, np.full(5, math.nan)])
    b = fitted(LINE, x, y, np.full(5, 0.01), np.full(5, 0.1), np.zeros(5))
    np.testing.assert_allclose(b[:2], [[1.0, 1.0], [2.0, -3.0]], atol=1e-12)
    assert np.all(np.isnan(b[2]))
