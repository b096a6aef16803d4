"""Which interval is reported, and why: linear where it is honest, Monte Carlo where it is not. Never silent."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Axes, Bools, Estimate, align
from flowrig.uncertainty.montecarlo import CHUNK, chunks
from flowrig.uncertainty.propagate import Deviates, evaluate

DRAWS = 1_000_000
SHARE_OF_SHAPE = 0.45  # a rectangular (or triangular) cause above this share of the variance shapes the result
DOF_OF_SHAPE = 5.0
CURVED = 0.12  # of u: an end further off than this under all-normal causes is the kernel's doing
CHECK = 4 * CHUNK  # draws of the curvature check; its ends are good to 0.015 u
STABLE = 0.02  # of u


@dataclass(frozen=True)
class Interval:
    """A coverage interval and where it comes from.

    Attributes
    ----------
    low, high : array
    coverage : float
    factor : array
        Coverage factor at the effective degrees of freedom (of the linear interval, whichever is reported).
    source : {'linear', 'monte carlo'}
        For a batch, that of the rows not said to be drawn.
    curved : array of bool
        The kernel is not linear over the spread.
    shape : array of bool
        One cause that is not normal, or one with few degrees of freedom, decides the shape of the result.
    draws : int
        Monte Carlo draws behind the interval; 0 if linear.
    stable : bool
        Both ends settled to 0.02 u before the draws ran out.
    """

    low: Array
    high: Array
    coverage: float
    factor: Array
    source: Literal["linear", "monte carlo"]
    curved: Bools
    shape: Bools
    draws: int = 0
    stable: bool = True


def coverage_factor(coverage: float, dof: ArrayLike = math.inf) -> Array:
    """Two-sided Student factor.

    Parameters
    ----------
    coverage : float
        Probability, 0 to 1.
    dof : array
        Degrees of freedom; not truncated to a whole number.

    Raises
    ------
    ValueError
        If `coverage` is not between 0 and 1.

    Source
    ------
    JCGM 100:2008 G.3 and Table G.2.
    """
    if not 0 < coverage < 1:
        raise ValueError(f"coverage is {coverage}; a probability between 0 and 1 is expected, such as 0.95")
    tail = 0.5 * (1 + coverage)
    dof = np.asarray(dof, dtype=float)
    if np.all(np.isinf(dof)):
        return np.full(dof.shape, NormalDist().inv_cdf(tail))
    from scipy.special import stdtrit  # loaded only when there is a finite dof: it costs as much as numpy itself

    return np.asarray(stdtrit(np.minimum(dof, 1e12), tail), dtype=float)


def linear_interval(estimate: Estimate, coverage: float = 0.95) -> tuple[Array, Array, Array]:
    """Low end, high end and factor from u and the effective degrees of freedom."""
    factor = coverage_factor(coverage, estimate.dof)
    half = factor * estimate.u
    return estimate.value - half, estimate.value + half, factor


def shaped(estimate: Estimate) -> Bools:
    """Where a cause that is not normal holds over 45 % of the variance, or a dominating one has dof below 5."""
    result = np.zeros(estimate.value.shape, dtype=bool)
    for line in estimate.budget():
        if line.cause.shape != "normal" or line.cause.dof < DOF_OF_SHAPE:
            result |= np.asarray(line.share > SHARE_OF_SHAPE)
    return result


def interval(estimate: Estimate, coverage: float = 0.95, *, samples: int | None = None, seed: int = 1) -> Interval:
    """The interval to report for one result (no axes).

    Parameters
    ----------
    estimate : Estimate
    coverage : float
    samples : int, optional
        Draws to take in any case, and then report Monte Carlo; by default as many as the ends need, up to 10⁶, and
        only where the linear interval would not be honest.
    seed : int

    Notes
    -----
    Two findings are kept apart. *Curved*: with every cause made normal, an end of the interval still differs from
    the linear one by more than 0.12 u. *Shape*: see `shaped`. Either has the Monte Carlo interval reported.
    """
    if estimate.axes:
        raise ValueError("one result at a time; use batch_interval for rows")
    low, high, factor = linear_interval(estimate, coverage)
    u = float(estimate.u)
    shape = shaped(estimate)
    if estimate.node is None or not np.isfinite(u) or not np.isfinite(estimate.value):
        curved = np.zeros((), dtype=bool)
    else:
        curved = np.asarray(_curved_by_draws(estimate, coverage, u, seed))
    if samples is None and not (curved or shape):
        return Interval(low, high, coverage, factor, "linear", curved, shape)
    mc_low, mc_high, draws, stable = _monte_carlo(estimate, coverage, u, samples, seed)
    return Interval(mc_low, mc_high, coverage, factor, "monte carlo", curved, shape, draws, stable)


def _ends(draws: Array, coverage: float) -> Array:
    """Probabilistically symmetric interval, JCGM 101:2008 7.7; one column a result."""
    tail = 0.5 * (1 - coverage)
    return np.asarray(np.quantile(draws, [tail, 1 - tail], axis=0), dtype=float)


def _curved_by_draws(estimate: Estimate, coverage: float, u: float, seed: int) -> bool:
    drawn = np.concatenate([piece[0] for piece in chunks([estimate], CHECK, seed, normal=True)])
    if not np.all(np.isfinite(drawn)):
        return True
    half = float(coverage_factor(coverage)) * u
    ends = _ends(drawn, coverage)
    # an exact kernel has u = 0: then any spread beyond rounding is curvature
    allowed = max(CURVED * u, 1e-9 * abs(float(estimate.value)))
    return bool(np.max(np.abs(ends - (float(estimate.value) + np.array([-half, half])))) > allowed)


def _monte_carlo(
    estimate: Estimate, coverage: float, u: float, samples: int | None, seed: int
) -> tuple[Array, Array, int, bool]:
    """Adaptive draws, JCGM 101:2008 7.9, on the ends of the interval alone: u is quoted from the linear evaluation."""
    pieces: list[Array] = []
    ends: list[Array] = []
    stable = False
    for piece in chunks([estimate], samples or DRAWS, seed):
        pieces.append(piece[0])
        ends.append(_ends(piece[0], coverage))
        if samples is None and len(ends) >= 4:
            error = 2 * np.std(ends, axis=0, ddof=1) / math.sqrt(len(ends))
            stable = bool(np.all(error < STABLE * max(u, float(np.std(pieces[0])))))
            if stable:
                break
    drawn = np.concatenate(pieces)
    low, high = _ends(drawn[np.isfinite(drawn)], coverage)
    return np.asarray(low), np.asarray(high), len(drawn), stable or samples is not None


def probe(estimate: Estimate, coverage: float = 0.95) -> Array:
    """How far each row of a batch bends away from its own tangent, in units of u: two calls of the kernel.

    All causes are moved together, k along the gradient to either side. A kernel that is linear there gives back
    ± k·u exactly. What this cannot see is curvature across the gradient; a single result is checked by draws instead.
    """
    u = estimate.u
    k = float(coverage_factor(coverage))
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = {cause.id: np.where(u > 0, part / u, 0.0) for cause, part in estimate.parts.items()}

    def along(cause: Cause, length: int) -> tuple[Array, Axes]:
        if cause.id not in unit:
            return np.zeros((2, cause.n)), ()
        z = k * unit[cause.id]
        return np.stack([z, -z]), estimate.axes

    # a deviate of its own for each position of an axis that was reduced on the way has unrolled directions
    def for_leaf(cause: Cause, length: int) -> tuple[Array, Axes]:
        if cause.each is None or cause.each in estimate.axes:
            return along(cause, length)
        z, axes = along(cause.block(length), 1)
        return np.moveaxis(z.reshape(2, cause.n, length, *z.shape[2:]), 2, -1), (*axes, cause.each)

    deviates: Deviates = for_leaf
    [(moved, axes)] = evaluate([estimate], deviates)
    moved = align(moved, axes, estimate.axes, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        departure = np.max(np.abs(moved - estimate.value - k * u * np.array([1, -1]).reshape(2, *[1] * u.ndim)), axis=0)
        return np.where(u > 0, departure / u, 0.0)


def batch_interval(
    estimate: Estimate,
    coverage: float = 0.95,
    *,
    samples: int | None = None,
    seed: int = 1,
    most: int = 2_000,
) -> tuple[Interval, Bools]:
    """Intervals for a batch along the first axis.

    Linear for every row; Monte Carlo for the rows that the two-call probe finds curved (up to `most` of them, the
    worst first), or for every row if `samples` is given. A dominating rectangular cause makes the linear interval
    wider than it need be, never narrower, so in a batch it is only marked.

    Returns
    -------
    interval : Interval
        Arrays of one entry a row.
    drawn : array of bool
        Rows whose interval is Monte Carlo. A curved row that is not among them keeps its linear interval, and the
        caller says so.
    """
    [axis] = estimate.axes
    low, high, factor = linear_interval(estimate, coverage)
    low, high = low.copy(), high.copy()
    bend = probe(estimate, coverage)
    # not finite is not curved: a row without a value has no interval either
    curved = np.isfinite(estimate.value) & ~(bend <= CURVED)
    wanted = np.flatnonzero(np.isfinite(estimate.value)) if samples else np.argsort(-np.nan_to_num(bend))[:most]
    drawn = np.zeros(len(low), dtype=bool)
    drawn[wanted if samples else wanted[curved[wanted]]] = True
    rows = np.flatnonzero(drawn)
    draws = samples or 4 * CHUNK
    group = max(1, 2_000_000 // CHUNK)
    for start in range(0, len(rows), group):
        some = rows[start : start + group]
        ends = _ends(np.concatenate([piece[0] for piece in chunks([estimate.take(axis, some)], draws, seed)]), coverage)
        low[some], high[some] = ends
    result = Interval(low, high, coverage, factor, "linear", curved, shaped(estimate), draws if rows.size else 0)
    return result, drawn
