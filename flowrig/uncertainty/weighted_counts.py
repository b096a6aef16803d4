"""Limits of a ratio of sums of counts that do not all count alike: samples of other volumes, places or times."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from flowrig.uncertainty.counts import Dispersion, checked_level, odds_limit, widened
from flowrig.uncertainty.estimate import Array


def weighted_ratio_limits(
    numerator: ArrayLike,
    numerator_weights: ArrayLike,
    denominator: ArrayLike,
    denominator_weights: ArrayLike,
    level: float = 0.95,
    spread: Dispersion | None = None,
) -> tuple[Array, Array]:
    """Two-sided limits of the ratio of two weighted sums of Poisson means, from a count of each mean.

    Parameters
    ----------
    numerator, numerator_weights : array, shape (..., n), broadcast together
        Events counted, whole numbers, and what each of them counts for. Weights are of one sign but for a few.
    denominator, denominator_weights : array, shape (..., m), broadcast together
        The same; the axes in front are those of the numerator.
    level : float
        Probability with which the limits hold the ratio.
    spread : Dispersion, optional
        As in `counts.poisson_limits`; its ratio has the axes in front.

    Returns
    -------
    lower, upper : array, shape (...)
        NaN where a count is none. 0 and infinite as in `counts.ratio_limits`.

    Raises
    ------
    ValueError
        For a level outside 0 to 1, or if the shapes do not broadcast.

    Notes
    -----
    A weighted sum y of counts with the variance v is taken as gamma distributed: the lower limit from shape y²/v and
    scale v/y, the upper one with one more event of the greatest weight w in it, y + w and v + w². The ratio of two such
    is a scaled F. Where all weights of a sum are alike, these are the limits of `counts.ratio_limits`; where they
    differ, they hold the truth a little more often than they promise.

    Source
    ------
    M. P. Fay, E. J. Feuer, Statistics in Medicine 16 (1997) 791 (from memory), there of one sum; its ratio with a second
    sum by the exact limits of a ratio of Poisson means.
    """
    phi, tail = widened((1.0 - checked_level(level)) / 2.0, spread)
    above, below = _sums(numerator, numerator_weights, phi), _sums(denominator, denominator_weights, phi)
    return _limit(above, below, tail, "lower"), _limit(above, below, tail, "upper")


def weighted_ratio_upper(
    numerator: ArrayLike,
    numerator_weights: ArrayLike,
    denominator: ArrayLike,
    denominator_weights: ArrayLike,
    level: float = 0.95,
    spread: Dispersion | None = None,
) -> Array:
    """One-sided upper limit of the same ratio: what counts of none above the line still leave possible.

    Parameters
    ----------
    numerator, numerator_weights, denominator, denominator_weights : array
        As in `weighted_ratio_limits`.
    level : float
        Probability with which the ratio lies below.
    spread : Dispersion, optional
        As in `weighted_ratio_limits`.

    Returns
    -------
    upper : array, shape (...)

    Raises
    ------
    ValueError
        As in `weighted_ratio_limits`.

    Source
    ------
    As `weighted_ratio_limits`.
    """
    phi, tail = widened(1.0 - checked_level(level), spread)
    above, below = _sums(numerator, numerator_weights, phi), _sums(denominator, denominator_weights, phi)
    return _limit(above, below, tail, "upper")


Sums = tuple[Array, Array, Array]  # weighted sum, its variance, and what one more event may add


def _sums(count: ArrayLike, weights: ArrayLike, phi: Array) -> Sums:
    n, w = np.broadcast_arrays(np.asarray(count, float), np.asarray(weights, float))
    whole = np.isfinite(n) & (n >= 0.0) & (n == np.round(n))
    total = np.where(np.all(whole, axis=-1), np.sum(w * n, axis=-1), np.nan)
    return total, phi * np.sum(w * w * n, axis=-1), phi * np.max(np.abs(w), axis=-1)


def _limit(above: Sums, below: Sums, tail: Array, side: str) -> Array:
    lower = side == "lower"
    with np.errstate(all="ignore"):
        hits, scale = _gamma(*above, more=not lower)
        misses, scale_below = _gamma(*below, more=lower)
        # what is handed over as a count has one more added to it at its upper end
        return odds_limit(hits - (not lower), misses - lower, scale_below / scale, tail, side)


def _gamma(total: Array, variance: Array, most: Array, more: bool) -> tuple[Array, Array]:
    """Shape and scale; of no event at all and none more, a shape of 0."""
    y, v = (total + most, variance + most**2) if more else (total, variance)
    none = v == 0.0
    return np.where(none & ~np.isnan(y), 0.0, y * y / np.where(none, 1.0, v)), np.where(none, 1.0, v / y)
