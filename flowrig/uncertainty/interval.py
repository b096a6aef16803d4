"""Which interval is reported, and why: linear where it is honest, Monte Carlo where it is not. Never silent."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from flowrig.progress import doing
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Bools, Estimate
from flowrig.uncertainty.montecarlo import CHUNK, chunks

DRAWS = 1_000_000
SHARE_OF_SHAPE = 0.45  # a rectangular (or triangular) cause above this share of the variance shapes the result
DOF_OF_SHAPE = 5.0
# Two readings tell next to nothing of their own scatter, and effective degrees of freedom too little of that: beside a
# known error as large, linear intervals held 93 %, beside one a third as large 88 %, as simulated.
SHARE_OF_TWO, DOF_OF_TWO = 0.1, 2.0
CURVED = 0.12  # of u: an end further off than this under all-normal causes is the kernel's doing
CHECK = 4 * CHUNK  # draws of the curvature check
# Degrees of freedom from which Student's factor is taken as the normal one: 0.1 % less, where u itself is known to 2 %
MANY = 1e3
LOOK = 128  # draws of the first look at a single result
CLEAR = 2.0  # times the limit, or the limit over so much: told by the first chunk of the check
REACH = 0.98  # coverage whose ends the first look reaches beyond
QUIET = 0.05  # of u: no draw of the first look further off than this, no need for the full check
STABLE = 0.02  # of u
SMALL = 1e-3  # of the variance
RARE = 0.02  # of what lies outside the interval
LEAST = 10  # chunks of draws before the ends can be told to have settled
NO_NARROWER = 0.9  # coverage from which the linear bar of a rectangular cause is no narrower than it should be


@dataclass(frozen=True)
class Interval:
    """A coverage interval and where it comes from.

    Attributes
    ----------
    low, high : array
    coverage : float
    factor : array
        Coverage factor at the effective degrees of freedom (of the linear interval, whichever is reported).
    source : {'linear', 'monte carlo', 'counts'}
        For a batch, that of the rows not said to be drawn.
    curved : array of bool
        The kernel is not linear over the spread.
    shape : array of bool
        One cause that is not normal, or one with few degrees of freedom, decides the shape of the result.
    draws : int
        Monte Carlo draws behind the interval; 0 if linear. For a batch, the most that any row took.
    stable : bool
        Both ends settled before the draws ran out; true of a linear interval.
    lost : array
        Share of the draws for which the kernel had no value. The interval covers the others only: it promises
        nothing where this is not small beside 1 − coverage.
    spread : array
        Standard deviation of the draws; NaN for a linear interval. Where the kernel is curved, u is not it.
    """

    low: Array
    high: Array
    coverage: float
    factor: Array
    source: Literal["linear", "monte carlo", "counts"]
    curved: Bools
    shape: Bools
    draws: int = 0
    stable: bool = True
    lost: Array = field(default_factory=lambda: np.zeros(()))
    spread: Array = field(default_factory=lambda: np.full((), np.nan))


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
    JCGM 100:2008 G.3 and Table G.2 (from memory).
    """
    if not 0 < coverage < 1:
        raise ValueError(f"coverage is {coverage}; a probability between 0 and 1 is expected, such as 0.95")
    tail = 0.5 * (1 + coverage)
    dof = np.asarray(dof, dtype=float)
    if np.all(dof > MANY):
        return np.full(dof.shape, NormalDist().inv_cdf(tail))
    from scipy.special import stdtrit  # loaded only when there is a finite dof: it costs as much as numpy itself

    return np.asarray(stdtrit(np.minimum(dof, 1e12), tail), dtype=float)


def linear_density(deviate: Array, dof: float = math.inf) -> Array:
    """Density of the deviate that the linear interval takes its factor from: Student's t, or normal above 1000.

    Parameters
    ----------
    deviate : array
        Distance from the value, in standard uncertainties.
    dof : float
        Not truncated to a whole number.

    Raises
    ------
    Nothing.

    Source
    ------
    JCGM 100:2008 G.3 (from memory).
    """
    from scipy.stats import norm, t

    return np.asarray(norm.pdf(deviate) if dof > MANY else t.pdf(deviate, dof), dtype=float)


def linear_interval(estimate: Estimate, coverage: float = 0.95) -> tuple[Array, Array, Array]:
    """Low end, high end and factor from u and the effective degrees of freedom."""
    factor = coverage_factor(coverage, estimate.dof)
    half = factor * estimate.u
    return estimate.value - half, estimate.value + half, factor


def shaped(estimate: Estimate) -> Bools:
    """Where a cause that is not normal holds over 45 % of the variance, those with dof below 5 do together, or those
    with dof below 2 hold over 10 %."""
    return hard_ended(estimate) | few_known(estimate)


def hard_ended(estimate: Estimate) -> Bools:
    result = np.zeros(estimate.value.shape, dtype=bool)
    for cause in estimate.parts:
        if cause.shape != "normal":
            result |= estimate.share(cause) > SHARE_OF_SHAPE
    return result


def few_known(estimate: Estimate) -> Bools:
    few, two = np.zeros(estimate.value.shape), np.zeros(estimate.value.shape)
    for cause in estimate.parts:
        if cause.dof < DOF_OF_SHAPE:
            few += estimate.share(cause)
        if cause.dof < DOF_OF_TWO:
            two += estimate.share(cause)
    return np.asarray((few > SHARE_OF_SHAPE) | (two > SHARE_OF_TWO))


def interval(estimate: Estimate, coverage: float = 0.95, *, samples: int | None = None, seed: int = 1) -> Interval:
    """The interval to report for one result (no axes). See `intervals`."""
    return intervals({"": estimate}, coverage, samples=samples, seed=seed)[""]


def intervals(
    estimates: Mapping[str, Estimate],
    coverage: float = 0.95,
    *,
    samples: int | None = None,
    seed: int = 1,
    tolerance: float = STABLE,
) -> dict[str, Interval]:
    """The intervals to report for results that were computed together, drawn together.

    Parameters
    ----------
    estimates : mapping of str to Estimate
        Results without axes.
    coverage : float
    samples : int, optional
        Draws to take in any case, and then report Monte Carlo; by default as many as the ends need, up to 10⁶, and
        only where the linear interval would not be honest.
    seed : int
    tolerance : float
        To what share of u the ends of a drawn interval are to settle.

    Raises
    ------
    ValueError
        If a result has axes, or `samples` is below 2.

    Notes
    -----
    Two findings are kept apart. *Curved*: with every cause made normal, an end of the interval differs by more than
    0.12 u from the end that the result's tangent has on the same draws. *Shape*: see `shaped`. Either has the Monte
    Carlo interval reported. A result without a value has no interval.
    """
    if any(x.axes for x in estimates.values()):
        raise ValueError("one result at a time; use batch_interval for rows")
    check_samples(samples)
    computed = {name: x for name, x in estimates.items() if x.node is not None and np.isfinite(x.value)}
    curved = dict(zip(computed, _curved_by_draws(list(computed.values()), coverage, seed), strict=True))
    results: dict[str, Interval] = {}
    wanted: dict[str, Estimate] = {}
    for name, x in estimates.items():
        low, high, factor = linear_interval(x, coverage)
        results[name] = Interval(low, high, coverage, factor, "linear", curved.get(name, np.zeros((), bool)), shaped(x))
        if np.isfinite(x.value) and (samples is not None or results[name].curved):
            wanted[name] = x
        elif np.isfinite(x.value) and results[name].shape:
            wanted[name] = _condensed(x)  # found straight: its parts carry the shape, and the kernel need not run again
    if wanted:
        ends, draws, stable = draw_ends(list(wanted.values()), coverage, samples, seed, tolerance=tolerance)
        for name, (low, high, lost, spread) in zip(wanted, ends, strict=True):
            results[name] = replace(
                results[name],
                low=low,
                high=high,
                source="monte carlo",
                draws=draws,
                stable=stable,
                lost=lost,
                spread=spread,
            )
    return results


def check_samples(samples: int | None) -> None:
    if samples is not None and samples < 2:
        raise ValueError(f"samples is {samples}; at least 2 draws are needed, and 10 000 for a 95 % interval")


def _ends(draws: Array, coverage: float) -> Array:
    """Probabilistically symmetric interval, JCGM 101:2008 7.7 (from memory), of the draws that have a value."""
    tail = 0.5 * (1 - coverage)
    if np.all(np.isfinite(draws)):
        return np.asarray(np.quantile(draws, [tail, 1 - tail], axis=0), dtype=float)
    valued = np.where(np.isfinite(draws), draws, np.nan)
    empty = np.all(np.isnan(valued), axis=0)
    ends = np.asarray(np.nanquantile(np.where(empty, 0.0, valued), [tail, 1 - tail], axis=0), dtype=float)
    return np.where(empty, np.nan, ends)


def tangent(estimate: Estimate) -> Estimate:
    """What the estimate would be if its kernel were linear: its parts alone, without the way it was made."""
    return Estimate(estimate.value, estimate.axes, estimate.parts, taken=estimate.taken)


def _condensed(estimate: Estimate) -> Estimate:
    """The tangent of one result with everything bell-shaped in one direction, so that only what shapes it is drawn.

    Normal causes add up to a normal one. Directions of a thousandth of the variance or less each, whatever their
    shape, act together like one: what they leave of their own shape is beyond what draws can show.
    """
    variance = float(estimate.variance)
    rest = 0.0
    parts: dict[Cause, Array] = {}
    for cause, part in estimate.parts.items():
        own = float(np.sum(part**2))
        if (cause.shape == "normal" and cause.dof == math.inf) or np.max(part**2) <= SMALL * variance:
            rest += own
        else:
            parts[cause] = part
    return Estimate(estimate.value, (), {**parts, Cause("everything bell-shaped"): [math.sqrt(rest)]})


def rounding(estimate: Estimate) -> Array:
    """A departure this small is arithmetic, not curvature."""
    return np.asarray(1e-9 * np.abs(estimate.value))


@doing("drawing intervals")
def _curved_by_draws(estimates: Sequence[Estimate], coverage: float, seed: int) -> list[Bools]:
    if not estimates:
        return []
    both = [*estimates, *map(tangent, estimates)]
    # a first look with few draws: where none leaves the tangent by a fraction of the limit, the ends cannot
    [first] = chunks(both, LOOK, seed, normal=True)
    if coverage <= REACH and all(
        np.max(np.abs(drawn - straight)) <= max(QUIET * x.u, rounding(x))
        for x, drawn, straight in zip(estimates, first, first[len(estimates) :], strict=False)
    ):
        return [np.zeros((), dtype=bool) for _ in estimates]
    pieces: list[list[Array]] = []
    bends: list[float] = []
    for piece in chunks(both, CHECK, seed, normal=True):
        pieces.append(piece)
        if len(pieces) in (1, CHECK // CHUNK):
            drawn = [np.concatenate(column) for column in zip(*pieces, strict=True)]
            pairs = zip(estimates, drawn, drawn[len(estimates) :], strict=False)
            bends = [_bend(x, draws, straight, coverage) for x, draws, straight in pairs]
            if not any(1 / CLEAR < bend < CLEAR for bend in bends):
                break  # the same draws on both sides: the rest of them moves a departure by little
    return [np.asarray(bend > 1.0) for bend in bends]


def _bend(estimate: Estimate, draws: Array, straight: Array, coverage: float) -> float:
    """How far an end lies from that of the tangent on the same draws, over what is still called straight.

    Draws without a value are as far from straight as can be, unless they are too few to move an end: a rectangular
    humidity made normal leaves the range of its equation once in some ten thousand.
    """
    departure = float(np.max(np.abs(_ends(draws, coverage) - _ends(straight, coverage))))
    limit = float(np.maximum(CURVED * estimate.u, rounding(estimate)))
    lost = float(np.mean(~np.isfinite(draws))) / (RARE * (1 - coverage))
    if math.isnan(departure) or departure > limit == 0.0:
        return math.inf
    return max(departure / limit if limit else 0.0, lost)


@doing("drawing intervals")
def draw_ends(
    estimates: Sequence[Estimate],
    coverage: float,
    samples: int | None,
    seed: int,
    *,
    most: int = DRAWS,
    least: int = LEAST,
    tolerance: float = STABLE,
) -> tuple[list[tuple[Array, Array, Array, Array]], int, bool]:
    """Adaptive draws, JCGM 101:2008 7.9 (from memory), on the ends alone: u is quoted from the linear evaluation.

    Returns
    -------
    list of (low, high, share of draws without a value, their standard deviation), one an estimate; draws; stable
    """
    pieces: list[list[Array]] = [[] for _ in estimates]
    ends: list[list[Array]] = [[] for _ in estimates]
    stable = False
    for drawn in chunks(estimates, samples or most, seed):
        for i, piece in enumerate(drawn):
            pieces[i].append(piece)
            if len(piece) == CHUNK:
                ends[i].append(_ends(piece, coverage))
        if len(ends[0]) >= least:
            stable = all(_settled(x, own, tolerance) for x, own in zip(estimates, ends, strict=True))
            if stable and samples is None:
                break
    found = []
    for own in pieces:
        together = np.concatenate(own)
        low, high = _ends(together, coverage)
        valued = np.isfinite(together)
        found.append((low, high, np.mean(~valued, axis=0), _spread(together)))
    return found, sum(map(len, pieces[0])), stable


def _spread(draws: Array) -> Array:
    """Standard deviation of the draws that have a value."""
    valued = np.isfinite(draws)
    count = np.maximum(valued.sum(axis=0), 1)
    mean = np.where(valued, draws, 0.0).sum(axis=0) / count
    return np.asarray(np.sqrt((np.where(valued, draws - mean, 0.0) ** 2).sum(axis=0) / count))


def _settled(estimate: Estimate, ends: list[Array], tolerance: float) -> bool:
    error = 2 * np.std(ends, axis=0, ddof=1) / math.sqrt(len(ends))
    scale = np.fmax(estimate.u, 0.25 * (ends[0][1] - ends[0][0]))  # u is no scale where the tangent is flat
    return bool(np.all((error <= tolerance * scale) | np.isnan(error)))
