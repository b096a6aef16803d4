"""A curve through points with errors in both axes. The fit is a kernel: its coefficients keep the causes of the points.

Points are weighed by the errors that are their own, one independent of the next. What they share (a reference's
calibration, a manometer) has no say in the weights and goes straight through to the coefficients.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from flowrig.errors import CalculationError
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.propagate import linear

STEPS = 60
DONE = 1e-12  # of a coefficient's own size
HALVINGS = 12
COMPLEX = 1e-30  # step of the derivative by an imaginary part: exact to the last digit
NAMES = ("b0", "b1", "b2", "b3")  # coefficients as the kernel returns them


@dataclass(frozen=True)
class Curve:
    """A family of curves y = f(x; b) with p coefficients.

    Attributes
    ----------
    p : int
    value, slope : callable
        ``value(x, b)`` and dy/dx, for x of shape (..., n) and b of shape (..., p); analytic in b, so that a complex b
        gives the derivative.
    start : callable
        ``start(x, y)`` to a first guess of b, shape (..., p).
    """

    p: int
    value: Callable[[Array, Array], Array]
    slope: Callable[[Array, Array], Array]
    start: Callable[[Array, Array], Array]


def polynomial(powers: Sequence[int]) -> Curve:
    """y = Σ b_k x^k over the powers named: (0, 1) is a straight line, (1,) one through zero."""
    exponents = np.asarray(powers)

    def value(x: Array, b: Array) -> Array:
        return np.asarray(np.sum(b[..., np.newaxis, :] * x[..., np.newaxis] ** exponents, axis=-1))

    def slope(x: Array, b: Array) -> Array:
        lower = np.maximum(exponents - 1, 0)
        return np.asarray(np.sum(b[..., np.newaxis, :] * exponents * x[..., np.newaxis] ** lower, axis=-1))

    def start(x: Array, y: Array) -> Array:
        design = x[..., np.newaxis] ** exponents
        size = np.sqrt(np.sum(design**2, axis=-2, keepdims=True))
        return np.asarray(_solved(design / size, y) / size[..., 0, :])

    return Curve(len(powers), value, slope, start)


def fitted(curve: Curve, x: Array, y: Array, u_x: Array, u_y: Array, cov: Array) -> Array:
    """Coefficients of the curve nearest to the points.

    Parameters
    ----------
    x, y : array, shape (..., n)
    u_x, u_y, cov : array, shape (n,)
        Standard uncertainty of each point's own independent error in either direction, and their covariance.

    Returns
    -------
    b : array, shape (..., p)
        NaN where the points do not determine the curve.

    Notes
    -----
    Minimises the sum of (y − f)²/(u_y² + f'² u_x² − 2 f' cov), the slope at the observed x. For a straight line with
    independent axes that is the exact least-squares line; for a curve it holds where the slope changes little over
    u_x. Gauss-Newton, steps halved while they do not help.

    Source
    ------
    York, Evensen, Martinez and De Basabe Delgado, Am. J. Phys. 72 (2004) 367; effective variance: Orear, Am. J. Phys.
    50 (1982) 912 (from memory).
    """

    def residual(b: Array) -> Array:
        slope = curve.slope(x, b)
        variance = u_y**2 + slope**2 * u_x**2 - 2 * slope * cov
        return np.asarray((y - curve.value(x, b)) / np.sqrt(variance))

    with np.errstate(all="ignore"):
        b = curve.start(x, y)
        r = residual(b)
        for _ in range(STEPS):
            design = _derivative(residual, b)
            size = np.sqrt(np.sum(design**2, axis=-2, keepdims=True))
            step = -_solved(design / size, r) / size[..., 0, :]
            before = np.sum(r**2, axis=-1)
            for _ in range(HALVINGS):
                r = residual(b + step)
                # at the bottom nothing helps any more: there the last digits of the sum decide nothing
                worse = ~(np.sum(r**2, axis=-1) <= before * (1 + 1e-9) + 1e-24)
                if not np.any(worse):
                    break
                step = np.where(worse[..., np.newaxis], step / 2, step)
            b = b + step
            if np.all(np.abs(step) <= DONE * np.maximum(np.abs(b), 1 / np.squeeze(size, -2))):
                break
        return np.asarray(np.where(np.isfinite(b), b, np.nan))


def _derivative(of: Callable[[Array], Array], b: Array) -> Array:
    """By each coefficient, along a further axis at the end."""
    steps = COMPLEX * 1j * np.eye(b.shape[-1])
    return np.stack([of(b + step).imag / COMPLEX for step in steps], axis=-1)


def _solved(design: Array, y: Array) -> Array:
    """Least squares of stacked systems; NaN where the columns do not tell the coefficients apart."""
    if not np.all(np.isfinite(design)):
        design = np.where(np.all(np.isfinite(design), axis=(-2, -1), keepdims=True), design, np.nan)
    normal = np.swapaxes(design, -1, -2) @ design
    right = np.swapaxes(design, -1, -2) @ y[..., np.newaxis]
    try:
        # once more on what is left: columns that are nearly alike cost the first solution half its digits
        first = np.linalg.solve(normal, right)
        left = np.swapaxes(design, -1, -2) @ (y[..., np.newaxis] - design @ first)
        return np.asarray((first + np.linalg.solve(normal, left))[..., 0])
    except np.linalg.LinAlgError:
        return np.full((*y.shape[:-1], design.shape[-1]), np.nan)


@dataclass(frozen=True)
class Fit:
    """A fitted curve.

    Attributes
    ----------
    coefficients : list of Estimate
        With every cause of the points, and with what the points scatter beyond their known errors.
    residuals : array, shape (n,)
        y − f.
    design : array, shape (n, p)
        df/db.
    weights : array, shape (n,)
        Standard deviation of each residual by the independent errors of its point, the excess included.
    chi_square : float
        Of the known independent errors alone.
    dof : int
        Points less coefficients.
    excess : float
        Standard deviation of the scatter that the known errors do not explain, in the unit of y; 0 where they do.
    """

    coefficients: list[Estimate]
    residuals: Array
    design: Array
    weights: Array
    chi_square: float
    dof: int
    excess: float


def own_errors(x: Estimate, y: Estimate, axis: str = "point") -> tuple[Array, Array, Array]:
    """Variance of x, of y and their covariance, point by point, from errors that move no other point."""
    n = y.value.size
    found = np.zeros((3, n))
    none = np.zeros((1, n))
    for cause in {*x.parts, *y.parts}:
        of_x, of_y = (np.broadcast_to(e.parts.get(cause, none), (cause.n, n)) for e in (x, y))
        for move_x, move_y in zip(of_x, of_y, strict=True):
            if cause.each != axis and np.count_nonzero((move_x != 0) | (move_y != 0)) > 1:
                continue
            found += [move_x**2, move_y**2, move_x * move_y]
    return found[0], found[1], found[2]


def fit(curve: Curve, x: Estimate, y: Estimate, excess_id: str, label: str, spent: int = 0) -> Fit:
    """Fit a curve to points with errors.

    Parameters
    ----------
    curve : Curve
    x, y : Estimate
        With the axis ``point``.
    excess_id, label : str
        Identity and name of the scatter about the curve.
    spent : int
        Degrees of freedom that were spent on the points before, as on an offset of each mounting.

    Raises
    ------
    CalculationError
        If the points are too few, or do not determine the coefficients.

    Notes
    -----
    Scatter beyond what the known independent errors explain (χ²/ν > 1) is one more error of every point, of one size,
    found as the size that brings χ² to ν, with ν degrees of freedom. Where χ²/ν is below 1 nothing is shrunk: chance
    has been kind, and the known errors stand.

    Source
    ------
    Excess as a variance that is added: Paule and Mandel, J. Res. NBS 87 (1982) 377 (from memory).
    """
    n = y.value.size
    dof = n - curve.p - spent
    if len(np.unique(x.value)) < curve.p or dof < 1:
        raise CalculationError(f"{n} points at {len(np.unique(x.value))} places do not tell {curve.p} numbers and more")
    var_x, var_y, cov = own_errors(x, y)
    size = float(np.std(y.value)) or float(np.max(np.abs(y.value))) or 1.0
    least = (1e-9 * size) ** 2  # points without any error of their own weigh alike

    def tried(excess: float) -> tuple[Array, float]:
        options = {"u_x": np.sqrt(var_x), "u_y": np.sqrt(var_y + excess**2 + least), "cov": cov}
        b = fitted(curve, x.value, y.value, **options)
        return b, float(np.sum(_standard(curve, x.value, y.value, b, **options) ** 2))

    b, chi_square = tried(0.0)
    if not np.all(np.isfinite(b)):
        raise CalculationError("the points do not determine the curve: they lie too close together, or have no value")
    excess = 0.0
    if chi_square > dof:
        from scipy.optimize import brentq

        most = 2 * math.sqrt(float(np.sum((y.value - curve.value(x.value, b)) ** 2)))
        while tried(most)[1] > dof:
            most *= 2
        excess = float(brentq(lambda s: tried(s)[1] - dof, 0.0, most, xtol=1e-12 * size, rtol=1e-10))
    inputs = {"x": x, "y": y}
    if excess:
        cause = Cause(excess_id, dof=dof, each="point", scope="calibration", label=label)
        inputs["y"] = Estimate(y.value, y.axes, {**y.parts, cause: np.full((1, n), excess)}, y.node, y.output, y.taken)
    options = {"u_x": np.sqrt(var_x), "u_y": np.sqrt(var_y + excess**2 + least), "cov": cov}
    wanted: dict[str, tuple[str, ...]] = dict.fromkeys(NAMES[: curve.p], ())
    found = linear(kernel, inputs, ("point",), wanted, curve=curve, **options)
    b = np.array([float(found[name].value) for name in wanted])
    slope = curve.slope(x.value, b)
    variance = options["u_y"] ** 2 + slope**2 * var_x - 2 * slope * cov
    residuals = y.value - curve.value(x.value, b)
    design = _derivative(lambda b: curve.value(x.value, b), b)
    return Fit([found[name] for name in wanted], residuals, design, np.sqrt(variance), chi_square, dof, excess)


def _standard(curve: Curve, x: Array, y: Array, b: Array, *, u_x: Array, u_y: Array, cov: Array) -> Array:
    slope = curve.slope(x, b)
    return np.asarray((y - curve.value(x, b)) / np.sqrt(u_y**2 + slope**2 * u_x**2 - 2 * slope * cov))


def kernel(*, x: Array, y: Array, curve: Curve, u_x: Array, u_y: Array, cov: Array) -> dict[str, Array]:
    """Coefficients of the nearest curve, points along the last axis."""
    x, y = np.broadcast_arrays(x, y)
    b = fitted(curve, x, y, u_x, u_y, cov)
    return {NAMES[k]: b[..., k : k + 1] for k in range(curve.p)}
