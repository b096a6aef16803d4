"""What two counts leave open of their ratio, by a normal deviate: few counts are drawn as their limits are."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from flowrig.uncertainty.estimate import Array

LOWER, MIDDLE, UPPER = 0.0, 0.5, 1.0  # share of one event that the numerator is given; the denominator has the rest
NODES: Array = np.linspace(
    -8.0, 8.0, 641
)  # deviates between which the ratio is straight: 0.03 % of it off at one count
MANY, FEWER = 1000.0, 20  # from so many events on the ratio is straight between nodes so much further apart, to 1e-5


ENDLESS = 1e100  # a ratio beyond counting, which can still be reckoned with


def ratio_at_deviates(
    numerator: ArrayLike, denominator: ArrayLike, lean: float = MIDDLE, phi: ArrayLike = 1.0
) -> Array:
    """Ratio of two Poisson means at the deviates `NODES`, given a count of each.

    Parameters
    ----------
    numerator, denominator : array, shape (k,)
        Events counted.
    lean : float
        From 0 to 1. `UPPER` and `LOWER` pass through the exact upper and lower limits at every level: at the deviate
        1.96 and -1.96 they are `counts.ratio_limits` of 95 %. `MIDDLE` lies between them, for a probability that leans
        to neither side.
    phi : array, broadcast with them
        How many counts are one event, as of a `Dispersion`.

    Returns
    -------
    ratio : array, shape (k, nodes)
        Rising along the nodes. NaN for counts below 0. A numerator of 0 has 0 all along at `LOWER`, a denominator of 0
        infinity at `UPPER`.

    Notes
    -----
    Given their sum the numerator is binomial. With x and y counts the share of the numerator has a beta distribution of
    x + s and y + 1 - s: s = 1 for the upper limits, 0 for the lower ones. A t deviate in place of a normal one widens
    it as `ratio_limits` widens its limits for a spread found from repeats.

    Source
    ------
    J. Przyborowski, H. Wilenski, Biometrika 31 (1940) 313, with the limits of C. J. Clopper, E. S. Pearson, Biometrika
    26 (1934) 404 (both from memory). The middle is the posterior of Jeffreys' prior (from memory).
    """
    x, y = (np.atleast_1d(np.asarray(count, float) / np.asarray(phi, float)) for count in (numerator, denominator))
    x, y = np.broadcast_arrays(x, y)
    ratio = np.full((len(x), len(NODES)), np.nan)
    many = np.minimum(x, y) >= MANY
    for rows, nodes in ((~many & (np.minimum(x, y) >= 0.0), NODES), (many, NODES[::FEWER])):
        found = _ratio(x[rows] + lean, y[rows] + 1.0 - lean, nodes)
        for row, own in zip(np.flatnonzero(rows), found, strict=True):
            ratio[row] = own if nodes is NODES else np.interp(NODES, nodes, own)
    return ratio


def _ratio(a: Array, b: Array, nodes: Array) -> Array:
    """Odds of a beta distribution of these parameters, at deviates that have 0 among them."""
    from scipy.special import betainccinv, betaincinv, ndtr

    a, b = a[:, np.newaxis], b[:, np.newaxis]
    p, q = np.where(a == 0.0, 1.0, a), np.where(b == 0.0, 1.0, b)
    low, high = ndtr(nodes[nodes <= 0.0]), ndtr(-nodes[nodes > 0.0])  # the nearer tail keeps its digits
    with np.errstate(all="ignore"):
        below = betaincinv(p, q, low) / betainccinv(q, p, low)
        above = betainccinv(p, q, high) / betaincinv(q, p, high)
    odds = np.minimum(np.concatenate([below, above], axis=-1), ENDLESS)
    return np.where(a == 0.0, 0.0, np.where(b == 0.0, np.inf, odds))
