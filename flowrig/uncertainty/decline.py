"""A decline to a floor, y = A exp(-k t) + C, from counts or from readings whose scatter is a share of them.

The floor is fitted with the rate. What is known of it beforehand is one more observation, so that a floor that was
measured and one that the tail of the run shows are weighed against each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flowrig.uncertainty.decline_fit import DeclineFit, Known, Road
from flowrig.uncertainty.estimate import Array

MOST_MEMORY = 0.95
CLEARLY = 2.5  # standard errors above 0, from which a memory is believed
LEFT = 0.3  # of the readings: no more of them is taken for lost to the coefficients

__all__ = ["Decline", "Known", "decline"]


@dataclass(frozen=True)
class Decline:
    """A decline as fitted.

    Attributes
    ----------
    amplitude, rate, floor : float
        A at time 0, k and C.
    u_counting : float
        Standard uncertainty of the rate by counting alone; 0 by the road of logarithms.
    u_scatter, dof : float
        By what readings scatter beyond counting, correlation in time included, and its degrees of freedom.
    by_floor : float
        Signed movement of the rate for one standard deviation of what is known of the floor; 0 where nothing is.
    u_floor : float
        Standard uncertainty of the floor.
    excess : float
        Standard deviation of that scatter, as a share of a reading.
    chi_square : float
        By counting alone; NaN by the road of logarithms.
    free : float
        Degrees of freedom of the residuals.
    residuals : array, shape (n,)
        In standard deviations of a reading, the excess included.
    design : array, shape (n, 3)
        Derivatives of the readings by ln A, k and C, over the same standard deviations.
    leads : array, shape (n,)
        Movement of the rate for a change of each reading, taken as a share of it.
    memory : float
        Correlation, from a reading to the next, of what scatters beyond counting; 0 where none is seen.
    u_memory : float
        Its standard error were there none; infinite where nothing tells it.
    held : bool
        The best floor lies below 0, and 0 was taken.
    off_floor : float
        Fitted floor less what was known of it, in standard deviations of that difference; 0 where nothing was known.
    """

    amplitude: float
    rate: float
    floor: float
    u_counting: float
    u_scatter: float
    dof: float
    by_floor: float
    u_floor: float
    excess: float
    chi_square: float
    free: float
    residuals: Array
    design: Array
    leads: Array
    memory: float
    u_memory: float
    held: bool
    off_floor: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the rate by all of these."""
        return math.sqrt(self.u_counting**2 + self.u_scatter**2 + self.by_floor**2)

    def at(self, time: ArrayLike) -> Array:
        """Signal above the floor."""
        return np.asarray(self.amplitude * np.exp(-self.rate * np.asarray(time, dtype=float)))


def decline(
    time: ArrayLike,
    reading: ArrayLike,
    exposure: ArrayLike = 1.0,
    floor: Known | None = None,
    road: Road = "counts",
) -> Decline:
    """Fit a decline to a run.

    Parameters
    ----------
    time : array, shape (n,)
        Rising, evenly spaced but for gaps.
    reading : array, shape (n,)
        Raw counts, or a concentration by the road of logarithms.
    exposure : array, broadcast with ``reading``
        What a reading is expected to be, over A exp(-k t) + C: the volume sampled.
    floor : Known, optional
        In the unit of a reading over its exposure.
    road : {'counts', 'logarithms'}
        Counts have the variance of a Poisson distribution and, where they scatter more, a share of themselves. Of other
        readings the share alone is known, from how they scatter, and the logarithms are fitted.

    Returns
    -------
    Decline

    Raises
    ------
    CalculationError
        If the readings are too few, do not tell a rate, scatter by more than themselves, or one by the road of
        logarithms is not above 0.

    Notes
    -----
    sum (n - m)/V dm/db = 0 for each coefficient b, with V = m + s^2 m^2 of the expectation m: of the count itself it
    would draw the curve below the points. s is the share that brings chi square to its degrees of freedom, and 0 where
    counting explains all. A floor below 0 has no meaning: the best curve with none is taken, and the error bar stays
    that of a floor to be found.

    Of the scatter beyond counting, Cov = s^2 m_i m_j phi^|i-j|, phi from its correlation from a reading to the next
    where that is above 0, freed of what the coefficients take out of it. Its degrees of freedom are those of chi
    square times the square of its mean share of a reading's variance, for readings that counting explains say nothing
    of it, and fewer by how far phi is known.

    Source
    ------
    Quasi-likelihood: R. W. M. Wedderburn, Biometrika 61 (1974) 439 (from memory). Excess as a variance that is added:
    as in `fit`. Degrees of freedom: our own, held by a study of coverage.
    """
    return _told(DeclineFit(time, reading, exposure, floor, road))


def _told(fit: DeclineFit) -> Decline:
    b, excess = fit.scattered()
    mean, slopes = fit.expected(b)
    variance = fit.variance(mean, excess)
    covariance = fit.covariance(b, excess)
    counted = fit.counting(mean)
    leads = (slopes / variance[:, np.newaxis]) @ covariance[:, 1]  # of each reading to the rate
    residuals = (fit.observed - mean) / np.sqrt(variance)
    free = fit.free(b, excess)
    share = np.maximum(1.0 - counted / variance, 0.0)  # of each reading's variance, that counting does not explain
    memory, spread = _memory(residuals, share, free)
    u_scatter, dof = _scatter(leads * np.sqrt(share * variance), share, memory, spread, free)
    by_floor = off = 0.0
    if fit.floor is not None:
        by_floor = float(covariance[2, 1]) / fit.floor.u
        left = fit.floor.u**2 - float(covariance[2, 2])
        off = (float(b[2]) - fit.floor.value) / math.sqrt(left) if left > 1e-9 * fit.floor.u**2 else 0.0
    return Decline(
        amplitude=math.exp(min(float(b[0]), 700.0)),
        rate=float(b[1]),
        floor=float(b[2]),
        u_counting=math.sqrt(float(np.sum(leads**2 * counted))),
        u_scatter=u_scatter,
        dof=dof,
        by_floor=by_floor,
        u_floor=math.sqrt(float(covariance[2, 2])),
        excess=excess,
        chi_square=fit.chi_square(b, 0.0) if fit.road == "counts" else math.nan,
        free=free,
        residuals=residuals,
        design=slopes / np.sqrt(variance)[:, np.newaxis],
        leads=leads * (mean if fit.road == "counts" else 1.0),
        memory=memory,
        u_memory=spread,
        held=bool(b[2] <= 0.0),
        off_floor=off,
    )


def _memory(residuals: Array, share: Array, free: float) -> tuple[float, float]:
    """Correlation of what scatters beyond counting from a reading to the next, and its standard error.

    Counting has no memory: it is looked for where counting explains least.
    """
    together = share[:-1] * share[1:]
    whole, n = float(np.sum(together)), len(residuals)
    if whole <= 0.0:
        return 0.0, math.inf
    found = float(np.sum(np.sqrt(together) * residuals[:-1] * residuals[1:])) / whole * n / free
    spread = math.sqrt(1.0 / whole)
    if found < CLEARLY * spread:  # where counting explains nearly all, chance alone would make up a long memory
        return 0.0, spread
    found += (n - free) / n * (1.0 + 2.0 * found)  # what the coefficients take out of it
    return float(np.clip(found, 0.0, MOST_MEMORY)), spread


def _scatter(leads: Array, share: Array, memory: float, spread: float, free: float) -> tuple[float, float]:
    """Standard uncertainty of the rate by scatter beyond counting, and its degrees of freedom."""
    if not np.any(share > 0.0):
        return 0.0, free
    n = len(leads)
    dof = free * float(np.mean(share)) ** 2
    if memory == 0.0:
        return math.sqrt(float(np.sum(leads**2))), max(dof, 1.0)
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    variance = float(leads @ memory**apart @ leads)
    time, lost = (1.0 + memory) / (1.0 - memory), n - free
    variance *= free / max(n - lost * time, LEFT * n)
    dof *= (1.0 - memory**2) / (1.0 + memory**2)
    dof = 1.0 / (1.0 / dof + 2.0 * spread**2 / (1.0 - memory**2))
    return math.sqrt(max(variance, 0.0)), max(dof, 1.0)
