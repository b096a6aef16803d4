"""What counts scatter beyond counting: whether it is chance, and how much of it is left in their mean."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from flowrig.uncertainty.estimate import Array
from flowrig.uncertainty.interval import coverage_factor

MIXED = 400  # sizes of a fluctuation that are mixed
FURTHEST = 40.0  # times the greatest standard deviation: no interval reaches so far


def chance_of(square: ArrayLike, dof: float) -> Array:
    """Probability that chance alone gives a chi square of so much or more.

    Parameters
    ----------
    square : array
    dof : float

    Source
    ------
    Tail of the chi-square distribution; any textbook of statistics.
    """
    from scipy.special import chdtrc

    return np.asarray(chdtrc(dof, np.asarray(square, float)), np.float64)


def fluctuation_error(
    seen: float, dof: int, chance: float, carried: ArrayLike, counting: ArrayLike, coverage: float = 0.95
) -> Array:
    """Error of a mean by a fluctuation that its samples share, such that with that of counting it gives the coverage.

    Parameters
    ----------
    seen : float
        Chi square of the samples about their mean, over its degrees of freedom: 1 where counting alone scatters.
    dof : int
        Degrees of freedom of the fluctuation.
    chance : float
        Of counting: more, where several channels that are counted apart tell of one fluctuation.
    carried : array, shape (k,)
        Variance of the mean for each by which `seen` is above 1.
    counting : array, shape (k,)
        Standard error of the mean by counting.
    coverage : float

    Returns
    -------
    error : array, shape (k,)
        Of which, taken as normal and together with that of counting, `coverage_factor` times is the interval.

    Notes
    -----
    How large the fluctuation is, is known by few degrees of freedom: the normal distributions of all sizes that go with
    what was seen are mixed, those below none as none. Without counting this is Student's t. Without a fluctuation it
    adds little, and the less the more channels say so. A positive estimate of its variance with its degrees of freedom
    by Welch and Satterthwaite held the truth in 82 to 92 % of cases where both are alike, three to five samples taken.

    Source
    ------
    Own convention; chi square as in Fisher's index of dispersion (from memory).
    """
    from scipy.optimize import elementwise
    from scipy.special import chdtri, ndtr

    carried, counting = np.broadcast_arrays(np.asarray(carried, float), np.asarray(counting, float))
    places = (np.arange(MIXED) + 0.5) / MIXED
    counted, fluctuated = chdtri(chance, places) / chance, chdtri(dof, places) / dof
    excess = np.maximum(0.0, (seen - counted) / fluctuated)
    variance = 1.0 + excess[:, np.newaxis] * carried / counting**2  # (mixed, k), of that by counting
    tail = 0.5 * (1.0 + coverage)

    def missed(h: Array, column: Array) -> Array:
        share = ndtr(h / np.sqrt(variance[:, column.astype(int)]))
        return np.asarray(np.mean(share, axis=0) - tail)

    least, most = float(coverage_factor(coverage)), FURTHEST * float(np.sqrt(np.max(variance)))
    ends = np.full(counting.shape, 0.5 * least), np.full(counting.shape, most)
    found = elementwise.find_root(missed, ends, args=(np.arange(len(counting), dtype=float),))
    return np.asarray(counting * np.sqrt(np.maximum((found.x / least) ** 2 - 1.0, 0.0)))
