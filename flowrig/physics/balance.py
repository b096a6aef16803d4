"""Where a fan's curve meets what is in front of it: every crossing, each to the last digits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

STEPS = 40
DONE = 1e-8  # of the root of the drop: steps square, and what is left after one of this size is beyond the last digit
CELLS = 8  # parts of a stretch between two points in which a crossing is looked for
FINE = 1e-11  # of the place of a crossing
BEYOND = 0.5  # of the last stretch: how far the ends are continued straight, for curves that errors have moved


@dataclass(frozen=True)
class Pieces:
    """Curves through points over one common row of nodes, as cubics between them.

    Attributes
    ----------
    nodes : array, shape (k+1,)
        Where the pieces begin and end; the first and last piece are straight and lie outside the points.
    coefficients : array, shape (4, ..., k)
        Of (t - node)^3, ^2, ^1, ^0.
    """

    nodes: Array
    coefficients: Array

    def at(self, t: Array) -> Array:
        """The curves at the same places, shape (g,), for all of them: shape (..., g)."""
        k = np.clip(np.searchsorted(self.nodes, t, side="right") - 1, 0, len(self.nodes) - 2)
        return cubic(self.coefficients[..., k], t - self.nodes[k])

    def piece(self, k: NDArray[np.intp]) -> Array:
        """Coefficients of one piece for each curve, k of the curves' shape: shape (4, ...)."""
        found = np.take_along_axis(self.coefficients, k[np.newaxis, ..., np.newaxis], axis=-1)
        return np.asarray(found[..., 0])


def cubic(coefficients: Array, x: Array) -> Array:
    """Value of cubics with coefficients of x^3, x^2, x and 1."""
    a, b, c, d = coefficients
    return np.asarray(((a * x + b) * x + c) * x + d)


def shape_keeping(nodes: Array, values: Array, straightness: Array | float = 0.0) -> Pieces:
    """Smooth curves through points that rise, fall and dip where the points do, and nowhere else.

    Parameters
    ----------
    nodes : array, shape (m,)
        Rising; at least two. The same for all curves.
    values : array, shape (..., m)
        Of each curve at the nodes.
    straightness : array, shape (..., 1), or float
        0 for the smooth curve, 1 for straight lines from point to point, anything between or beyond for a mixture.

    Returns
    -------
    Pieces
        Continued straight a little beyond both ends.

    Raises
    ------
    ValueError
        If the nodes do not rise, or are fewer than two.

    Notes
    -----
    Two rows of values over the same nodes are a curve in the plane, of which the points may move both ways.

    Source
    ------
    Piecewise cubic Hermite interpolation that keeps monotony: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984)
    300 (from memory), by scipy.

    Examples
    --------
    >>> curve = shape_keeping(np.array([0.0, 1.0, 2.0]), np.array([3.0, 2.0, 0.0]))
    >>> curve.at(np.array([0.0, 1.0, 2.0])).tolist()
    [3.0, 2.0, 0.0]
    """
    from scipy.interpolate import PchipInterpolator

    nodes, values = np.asarray(nodes, dtype=float), np.asarray(values, dtype=float)
    finite = np.isfinite(values).all(axis=-1, keepdims=True)
    whole, width = bool(np.all(finite)), np.diff(nodes)
    smooth = np.moveaxis(PchipInterpolator(nodes, values if whole else np.where(finite, values, 0.0), axis=-1).c, 1, -1)
    mixed = smooth if whole else np.where(finite, smooth, np.nan)
    if np.any(straightness):
        secant = np.diff(values, axis=-1) / width
        straight = np.stack([0 * secant, 0 * secant, secant, values[..., :-1]])
        mixed = mixed * (1 - np.asarray(straightness)) + straight * np.asarray(straightness)
    a, b, c, d = mixed[..., :1], mixed[..., -1:], BEYOND * width[:1], BEYOND * width[-1:]
    first = np.stack([0 * a[0], 0 * a[0], a[2], a[3] - a[2] * c])
    slope = (3 * b[0] * width[-1:] + 2 * b[1]) * width[-1:] + b[2]
    last = np.stack([0 * slope, 0 * slope, slope, values[..., -1:] + 0 * slope])
    return Pieces(np.concatenate([nodes[:1] - c, nodes, nodes[-1:] + d]), np.concatenate([first, mixed, last], axis=-1))


def places(pieces: Pieces) -> Array:
    """Places close enough together that a crossing between two of them is alone."""
    parts = [np.linspace(*ends, CELLS, endpoint=False) for ends in zip(pieces.nodes, pieces.nodes[1:], strict=False)]
    return np.concatenate([*parts, pieces.nodes[-1:]])


def crossing_cells(apart: Array, falling: bool) -> Bools:
    """Between which neighbouring places two curves change sides.

    Parameters
    ----------
    apart : array, shape (..., g)
        The first less the second at places in a row.
    falling : bool
        Whether the first, above before, is below after, or the other way round.

    Returns
    -------
    found : array of bool, shape (..., g-1)

    Raises
    ------
    Nothing.

    Source
    ------
    Intermediate value theorem.

    Examples
    --------
    >>> crossing_cells(np.array([2.0, 1.0, -1.0, 1.0]), falling=True).tolist()
    [False, True, False]
    """
    before, after = apart[..., :-1], apart[..., 1:]
    return np.asarray((before > 0) & (after <= 0) if falling else (before <= 0) & (after > 0))


def stage_drop(
    flow: Array | float,
    area: Array | float,
    linear: Array | float,
    quadratic: Array | float,
    factor: Array | float,
    exponent: Array | float,
    gap: Array | float,
    density: Array | float,
) -> Array | float:
    """Pressure drop of filters side by side, and of the gaps beside them, at their flow together.

    Parameters
    ----------
    flow : float or array, shape (...)
        [m^3/s]
    area : array, shape (..., j)
        Face area of each; 0 for one that is not there. [m^2]
    linear, quadratic : array, shape (..., j)
        Coefficients of dp = a v + b v^2 of each, where its ``factor`` is 0. [Pa*s/m, Pa*s^2/m^2]
    factor, exponent : array, shape (..., j)
        Of dp = c v^n, n from 1 to 2, for those that follow a power law. [Pa*s^n/m^n, 1]
    gap : array, shape (..., j)
        Area of the gap beside each times its discharge coefficient. [m^2]
    density : float or array, shape (...)
        Of the air. [kg/m^3]

    Returns
    -------
    drop : shape of the broadcast inputs without j
        Signed as ``flow``. NaN where nothing is there to pass the flow. [Pa]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    The flow rises with the root of the drop and bends upwards only, so that Newton's steps from above never overshoot.

    Source
    ------
    Conservation of mass; `filter_velocity`, `power_law_velocity`, `gap_flow`.

    Examples
    --------
    >>> one = [np.array([x]) for x in (0.25, 38.0, 14.0, 0.0, 1.0, 0.0)]
    >>> round(float(stage_drop(0.125, *one, 1.2)), 6)
    22.5
    """
    q = np.abs(np.asarray(flow, dtype=float))
    members = [
        [np.asarray(x, dtype=float)[..., j] for x in (area, linear, quadratic, factor, exponent, gap)]
        for j in range(np.shape(area)[-1])
    ]
    with np.errstate(all="ignore"):
        hole = np.sqrt(2.0 / np.asarray(density, dtype=float))
        bent = [bool(np.any(f > 0.0)) for _, _, _, f, _, _ in members]  # a power of every element is dear
        s: Array | float = np.inf
        for (a, b, c, f, n, g), power in zip(members, bent, strict=True):  # above the root: as if it passed all of it
            v = q / a
            own = (b + c * v) * v
            if power:
                own = np.where(f > 0.0, f * np.power(v, n), own)
            own = np.where(a > 0.0, own, np.inf)
            s = np.minimum(np.minimum(s, np.sqrt(own)), np.where(g > 0.0, q / (g * hole), np.inf))
        s = np.where(np.isfinite(s), s, np.nan)
        if len(members) > 1 or np.any(members[0][5] > 0.0):
            for _ in range(STEPS):
                passed, slope = np.zeros_like(s), np.zeros_like(s)
                drop = np.square(s)
                for (a, b, c, f, n, g), power in zip(members, bent, strict=True):
                    root = np.sqrt(np.square(b) + 4.0 * c * drop)
                    v, dv = 2.0 * drop / (b + root), 2.0 * s / root
                    if power:
                        v = np.where(f > 0.0, np.power(drop / f, 1.0 / n), v)
                        dv = np.where(f > 0.0, 2.0 / n * v / s, dv)
                    there = a > 0.0
                    passed = passed + np.where(there, a * v, 0.0) + g * hole * s
                    slope = slope + np.where(there, a * dv, 0.0) + g * hole
                step = np.where(q > 0.0, (passed - q) / slope, s)
                s = np.maximum(s - step, s / 4)  # an exponent drawn beyond 2 bends the other way
                if not np.any(np.abs(step) > DONE * s):
                    break
        return np.copysign(np.square(s), flow)[()]


def bracketed(
    apart: Callable[..., Array], near: Array, step: float, ends: tuple[float, float], index: NDArray[np.intp]
) -> tuple[Array, Array]:
    """Two places around a crossing, found from a place near it by steps to both sides that grow.

    Parameters
    ----------
    apart : callable
        ``apart(t, index)``, element by element.
    near : array, shape (n,)
        NaN where nothing is looked for.
    step : float
    ends : tuple of float
        Between which to stay.
    index : array of int, shape (n,)
        Of the curves.

    Returns
    -------
    low, high : array, shape (n,)
        NaN where none was found.

    Raises
    ------
    Nothing.

    Source
    ------
    By scipy.

    Examples
    --------
    >>> low, high = bracketed(lambda t, i: 2.0 - t**2, np.array([1.4]), 0.1, (0.0, 9.0), np.array([0]))
    >>> bool(low[0] < 2**0.5 < high[0])
    True
    """
    from scipy.optimize.elementwise import bracket_root

    low, high = np.full(near.shape, np.nan), np.full(near.shape, np.nan)
    good = np.isfinite(near)
    if np.any(good):
        first = np.clip(near[good], ends[0] + step, ends[1] - step)
        with np.errstate(all="ignore"):
            found = bracket_root(
                apart, first - step / 2, first + step / 2, xmin=ends[0], xmax=ends[1], args=(index[good],), maxiter=30
            )
        low[good] = np.where(found.success, found.bracket[0], np.nan)
        high[good] = np.where(found.success, found.bracket[1], np.nan)
    return low, high


def refined(apart: Callable[..., Array], low: Array, high: Array, args: tuple[NDArray[Any], ...]) -> Array:
    """The place of a crossing between two places that it lies between.

    Parameters
    ----------
    apart : callable
        ``apart(t, *args)``, element by element.
    low, high : array
        NaN where there is no crossing.
    args : tuple of array
        Broadcast with ``low``.

    Returns
    -------
    t : shape of the broadcast inputs

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Source
    ------
    Chandrupatla, Adv. Eng. Software 28 (1997) 145 (from memory), by scipy.

    Examples
    --------
    >>> low, high = np.array([0.0]), np.array([2.0])
    >>> round(float(refined(lambda t, b: b - t**2, low, high, (np.array([2.0]),))[0]), 9)
    1.414213562
    """
    from scipy.optimize.elementwise import find_root

    given = np.broadcast_arrays(low, high, *args)
    good = np.isfinite(given[0]) & np.isfinite(given[1])
    t = np.full(given[0].shape, np.nan)
    if np.any(good):
        with np.errstate(all="ignore"):
            ends, others = (given[0][good], given[1][good]), tuple(x[good] for x in given[2:])
            found = find_root(apart, ends, args=others, tolerances={"xrtol": FINE})
        t[good] = np.where(found.success, found.x, np.nan)
    return t
