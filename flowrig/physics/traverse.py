"""Where to put the probe, and what else its readings could mean between the points.

Positions are fractions of the side or of the diameter, from the wall, and depend on the rule alone. They are derived
here from what each rule sets out to integrate exactly, not looked up.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowrig.physics.si import Floats, si, within

_Array = NDArray[np.float64]
_WALL_POWER = 1.0 / 7.0


def _equal_weight_nodes(count: int, where: str) -> _Array:
    """Nodes t on [-1, 1] whose plain mean integrates every polynomial up to degree ``count`` (Chebyshev).

    Their power sums are count/(k+1) for even k and 0 for odd k. Newton's identities turn these into the polynomial with
    the nodes as roots; it is even or odd, so it is solved for t^2.
    """
    elementary = [1.0]
    for half in range(1, count // 2 + 1):
        total = sum(elementary[half - back] * count / (2 * back + 1) for back in range(1, half + 1))
        elementary.append(-total / (2 * half))
    squares = np.roots(elementary)
    if not (np.isrealobj(squares) and np.all(squares > 0.0)):
        raise ValueError(
            f"No log-Tchebycheff rule exists for {where}: {count} inner points of equal weight are not all real. "
            "Choose a smaller number of points."
        )
    half_nodes = np.sqrt(squares)
    return np.sort(np.concatenate([half_nodes, -half_nodes, np.zeros(count % 2)]))


def _ring_means(inner: Floats, outer: Floats) -> tuple[_Array, _Array]:
    """Area means of ln(1-r) and of 1-r over the ring between two radii, the duct radius being 1."""

    def logarithm(wall: _Array) -> _Array:
        safe = np.maximum(wall, 1e-300)  # w ln w is 0 at the wall
        return 2.0 * (wall * np.log(safe) - wall) - (wall**2 * np.log(safe) - wall**2 / 2.0)

    def distance(wall: _Array) -> _Array:
        return wall**2 - 2.0 * wall**3 / 3.0

    near, far = 1.0 - np.asarray(outer), 1.0 - np.asarray(inner)
    area = np.asarray(outer) ** 2 - np.asarray(inner) ** 2
    return (logarithm(far) - logarithm(near)) / area, (distance(far) - distance(near)) / area


def _outermost(n: int) -> _Array:
    """Wall distance over radius of the one point of the outermost ring of area 1/n."""
    logarithm, _ = _ring_means(np.sqrt(np.array([1.0 - 1.0 / n])), 1.0)
    return np.exp(logarithm)


def _fewest(n: int, fewest: int, rule: str) -> None:
    if n < fewest:
        raise ValueError(f"The {rule} rule needs at least {fewest} points here; {n} asked for.")


def _unknown(rule: str) -> ValueError:
    return ValueError(f"No traverse rule is called {rule!r}; choose log-linear, log-tchebycheff or equal-area.")


@si("1", n="1")
def side_positions(rule: str, n: int) -> NDArray[np.float64]:
    """Positions along one side of a rectangle.

    Parameters
    ----------
    rule : str
        ``log-tchebycheff`` or ``equal-area``.
    n : int
        Number of points along the side. [1]

    Returns
    -------
    positions : array (n,)
        Distance from one wall over the length of the side, ascending. [1]

    Raises
    ------
    ValueError
        If the rule has no points of equal weight for this number (log-Tchebycheff: 10, 12 and above), is not known, or
        is the log-linear one.

    Notes
    -----
    Equal area: the middles of n equal strips. Log-Tchebycheff: the strip at each wall has one point where ln y equals
    its mean over the strip, y = 1/(n e); the n - 2 between are Chebyshev's nodes of equal weight. The mean is the plain
    mean of the readings in both.

    Source
    ------
    ISO 3966, ISO 5802, ASHRAE 111: the printed rows for 5, 6 and 7 follow to every digit. Derived, see Notes.

    Examples
    --------
    >>> side_positions("log-tchebycheff", 5).round(3)
    array([0.074, 0.288, 0.5  , 0.712, 0.926])
    """
    if rule == "equal-area":
        _fewest(n, 1, rule)
        return (np.arange(n) + 0.5) / n
    if rule == "log-linear":
        raise ValueError(
            "The log-linear rule on a rectangle needs unequal weights that no source here gives. "
            "Choose log-tchebycheff or equal-area."
        )
    if rule != "log-tchebycheff":
        raise _unknown(rule)
    _fewest(n, 3, rule)
    inner = 0.5 + (0.5 - 1.0 / n) * _equal_weight_nodes(n - 2, f"{n} points along a side")
    wall = np.array([1.0 / (n * np.e)])
    return np.concatenate([wall, inner, 1.0 - wall])


@si("1", n="1")
def radius_positions(rule: str, n: int) -> NDArray[np.float64]:
    """Positions along one radius of a circle.

    Parameters
    ----------
    rule : str
        ``log-linear``, ``log-tchebycheff`` or ``equal-area``.
    n : int
        Number of points on each radius. [1]

    Returns
    -------
    positions : array (n,)
        Distance from the wall over the diameter, ascending, all below one half. [1]

    Raises
    ------
    ValueError
        If the rule has no points of equal weight for this number (log-Tchebycheff: 9, 11 and above) or is not known.

    Notes
    -----
    Equal area: the radius that halves the area of each of n rings of equal area. Log-Tchebycheff: one point in the
    outermost ring of area 1/n where ln(1-r) equals its area mean; inside, Chebyshev's nodes of equal weight in r^2.
    Log-linear: rings of area 2/n, in each the pair of points that takes the area means of ln(1-r) and of 1-r exactly;
    for an odd number the outermost ring is that of log-Tchebycheff. The mean is the plain mean of the readings in all.

    Source
    ------
    ISO 3966, ISO 5802, ASHRAE 111; equal area 40 CFR 60 appendix A method 1. Derived, see Notes: log-linear within
    2.5e-4 and log-Tchebycheff within 5.2e-5 of a
    remembered table.

    Examples
    --------
    >>> radius_positions("log-linear", 3).round(3)
    array([0.032, 0.135, 0.321])
    """
    if rule == "equal-area":
        _fewest(n, 1, rule)
        radii = np.sqrt((np.arange(n) + 0.5) / n)
        return np.sort(1.0 - radii) / 2.0
    _fewest(n, 2, rule)
    if rule == "log-tchebycheff":
        nodes = _equal_weight_nodes(n - 1, f"{n} points on a radius")
        radii = np.sqrt((1.0 - 1.0 / n) * (1.0 + nodes) / 2.0)
        return np.sort(np.concatenate([_outermost(n), 1.0 - radii])) / 2.0
    if rule != "log-linear":
        raise _unknown(rule)
    edges = np.sqrt(np.arange(0.0, n + 1.0 - n % 2, 2.0) / n)
    logarithm, distance = _ring_means(edges[:-1], edges[1:])
    apart = np.sqrt(distance**2 - np.exp(2.0 * logarithm))
    single = _outermost(n)[: n % 2]
    return np.sort(np.concatenate([single, distance - apart, distance + apart])) / 2.0


@si("1", n="1")
def diameter_positions(rule: str, n: int) -> NDArray[np.float64]:
    """Positions across a whole diameter of a circle.

    Parameters
    ----------
    rule : str
        As for `radius_positions`.
    n : int
        Number of points on each radius. [1]

    Returns
    -------
    positions : array (2 n,)
        Distance from one wall over the diameter, ascending. [1]

    Raises
    ------
    ValueError
        As `radius_positions`.

    Source
    ------
    As `radius_positions`.

    Examples
    --------
    >>> diameter_positions("equal-area", 2).round(3)
    array([0.067, 0.25 , 0.75 , 0.933])
    """
    near = radius_positions(rule, n)
    return np.concatenate([near, 1.0 - near[::-1]])


def _ascending(positions: _Array) -> NDArray[np.bool_]:
    """Whether the points stand in order and inside the walls, one answer for the last axis."""
    first, last = positions[..., :1] > 0.0, positions[..., -1:] < 1.0
    ordered: NDArray[np.bool_] = first & last & np.all(np.diff(positions, axis=-1) > 0.0, axis=-1, keepdims=True)
    return ordered


def _with_ends(inner_left: _Array, inner_right: _Array, first: _Array, last: _Array) -> _Array:
    """Add up what each interval gives its left and right point, and what each end gives the outermost points."""
    weights: _Array = np.concatenate([first, inner_right], axis=-1) + np.concatenate([inner_left, last], axis=-1)
    return weights


@si("1", positions="1")
def wall_law_weights_side(positions: NDArray[np.float64]) -> Floats:
    """Weights of the mean along a side if the profile is straight between the points and a power law at the walls.

    Parameters
    ----------
    positions : array, points on the last axis
        Distance from one wall over the length of the side, ascending, between 0 and 1. [1]

    Returns
    -------
    weights : shape of ``positions``
        The mean is the sum of weights times readings. They add up to less than 1, since the air stands still at the
        wall. NaN if the points are not ascending inside the walls. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    From the outermost point to its wall u = u_1 (y/y_1)^(1/7), which gives it 7 y_1/8. A second reading of the same
    numbers, kept to see how much the answer depends on what happens between the points.

    Source
    ------
    None; our own interpolant. The 1/7 power law is common practice.

    Examples
    --------
    >>> wall_law_weights_side(np.array([0.1, 0.5, 0.9])).round(4)
    array([0.2875, 0.4   , 0.2875])
    """
    positions = np.asarray(positions, dtype=np.float64)
    half = np.diff(positions, axis=-1) / 2.0
    share = 1.0 / (1.0 + _WALL_POWER)
    weights = _with_ends(half, half, share * positions[..., :1], share * (1.0 - positions[..., -1:]))
    return within(_ascending(positions), weights)


@si("1", positions="1")
def wall_law_weights_diameter(positions: NDArray[np.float64]) -> Floats:
    """Weights of the mean over a circle from one diameter, straight between points and a power law at the walls.

    Parameters
    ----------
    positions : array, points on the last axis
        Distance from one wall over the diameter, ascending, between 0 and 1, with points on both halves. [1]

    Returns
    -------
    weights : shape of ``positions``
        The mean over the circle is the sum of weights times readings; each half of the diameter stands for half of the
        circle. They add up to less than 1. NaN if the points are not ascending inside the walls or leave a half
        without any. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    Mean = integral of v |c| dc for c from -1 to 1 across the diameter, v straight between points, also over the centre.
    With w the wall distance of the outermost point over the radius, its wall part is 7 w/8 - 7 w^2/15.

    Source
    ------
    None; our own interpolant. The 1/7 power law is common practice.

    Examples
    --------
    >>> wall_law_weights_diameter(np.array([0.067, 0.25, 0.75, 0.933])).round(4)
    array([0.245 , 0.2388, 0.2388, 0.245 ])
    """
    positions = np.asarray(positions, dtype=np.float64)
    across = 2.0 * positions - 1.0
    left, right = across[..., :-1], across[..., 1:]
    # Integrals of |c| and c|c| over each interval; |c| has the antiderivative c|c|/2, c|c| has |c|^3/3.
    zeroth = np.diff(across * np.abs(across), axis=-1) / 2.0
    first = np.diff(np.abs(across) ** 3, axis=-1) / 3.0
    with np.errstate(all="ignore"):
        to_left, to_right = (right * zeroth - first) / (right - left), (first - left * zeroth) / (right - left)

    def wall(distance: _Array) -> _Array:
        return distance / (1.0 + _WALL_POWER) - distance**2 / (2.0 + _WALL_POWER)

    weights = _with_ends(to_left, to_right, wall(1.0 + across[..., :1]), wall(1.0 - across[..., -1:]))
    halves = (across[..., :1] < 0.0) & (across[..., -1:] > 0.0)
    return within(_ascending(positions) & halves, weights)


@si("1", positions="1")
def face_weights_side(positions: NDArray[np.float64]) -> Floats:
    """Weights of the mean along a side of a free face, where no wall slows the air.

    Parameters
    ----------
    positions : array, points on the last axis
        Distance from one edge over the length of the side, ascending, between 0 and 1. [1]

    Returns
    -------
    weights : shape of ``positions``
        The mean is the sum of weights times readings; they add up to 1. NaN if the points are not ascending inside the
        edges. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    Straight between points, and straight on beyond the outermost ones: what the middles of equal areas miss of a
    profile that falls or rises towards the edges.

    Source
    ------
    None; our own interpolant.

    Examples
    --------
    >>> face_weights_side(np.array([0.1, 0.5, 0.9])).round(4)
    array([0.3125, 0.375 , 0.3125])
    """
    positions = np.asarray(positions, dtype=np.float64)
    between = np.diff(positions, axis=-1)
    near, far = positions[..., :1], 1.0 - positions[..., -1:]
    weights = _with_ends(between / 2.0, between / 2.0, near, far)
    if not between.shape[-1]:
        return within(_ascending(positions), weights)
    with np.errstate(all="ignore"):
        carried = np.zeros_like(weights)
        for edge, end, step in ((near, (0, 1), between[..., :1]), (far, (-1, -2), between[..., -1:])):
            beyond = (edge**2 / (2.0 * step))[..., 0]
            carried[..., end[0]] += beyond
            carried[..., end[1]] -= beyond
    return within(_ascending(positions), weights + carried)


@si("1", side="m")
def points_rule(side: Floats) -> Floats:
    """Smallest number of points along a side of a rectangular duct.

    Parameters
    ----------
    side : float or array
        Length of the side. [m]

    Returns
    -------
    count : shape of the input
        5, 6 or 7; NaN for a side not above 0. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    5 below 762 mm (30 in), 6 up to 914.4 mm (36 in), 7 above; with 5 both ways, the 25 points of the same rule follow.

    Source
    ------
    ASHRAE 111 practice, read on public pages (secondary).

    Examples
    --------
    >>> points_rule(np.array([0.4, 0.8, 1.2]))
    array([5., 6., 7.])
    """
    return within(side > 0.0, np.where(side < 0.762, 5.0, np.where(side <= 0.9144, 6.0, 7.0)))


@si("1", diameter="m")
def points_per_diameter(diameter: Floats) -> Floats:
    """Smallest number of points across a diameter of a round duct.

    Parameters
    ----------
    diameter : float or array
        Diameter of the duct. [m]

    Returns
    -------
    count : shape of the input
        6 or 8, that is 3 or 4 on each radius; NaN for a diameter not above 0. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    6 up to 250 mm, 8 or 10 above; three diameters at 60 degrees or two at 90 degrees.

    Source
    ------
    ASHRAE and ISO 3966 practice, read on public pages (secondary).

    Examples
    --------
    >>> points_per_diameter(np.array([0.2, 0.4]))
    array([6., 8.])
    """
    return within(diameter > 0.0, np.where(diameter <= 0.25, 6.0, 8.0))
