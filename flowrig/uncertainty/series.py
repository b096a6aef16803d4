"""Repeated or logged results to their mean and its standard error, autocorrelation included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.uncertainty.estimate import Array

LOG_FROM = 30  # results in a row before their autocorrelation can be told from noise; below, they count as repeats
STRETCHES = 30.0


@dataclass(frozen=True)
class Series:
    """What a run of results says about its own mean.

    Attributes
    ----------
    mean : float
    u : float
        Standard uncertainty of the mean.
    dof : float
    s : float
        Standard deviation of a single result.
    n : int
    stretches : float
        Number of independent stretches the run is worth, n over the integrated autocorrelation time.
    few : bool
        A log worth fewer than 30 independent stretches: u is a rough estimate and no coverage is promised.
    drift : float
        Difference between the means of the two halves over its own standard error.
    """

    mean: float
    u: float
    dof: float
    s: float
    n: int
    stretches: float
    few: bool
    drift: float


def mean_of(results: Array) -> Series:
    """Mean of a run of results and its standard error.

    Parameters
    ----------
    results : array, shape (n,)
        In the order in which they were taken, evenly spaced in time where there are 30 or more.

    Raises
    ------
    ValueError
        With fewer than two results.

    Notes
    -----
    Below 30 results: s/√n with n − 1 degrees of freedom (JCGM 100:2008 4.2.3). From 30 on, the sum of
    autocorrelations up to a lag of five times itself (self-consistent window) gives τ; the run is worth n/τ
    stretches, the variance is freed of the part lost to the common mean, u = s √(τ/n), dof = n/τ − 1.

    Source
    ------
    Sokal, Monte Carlo methods in statistical mechanics (1996 lecture notes), section 3, window constant 5
    (from memory); Zieba, Metrol. Meas. Syst. 17 (2010) 3, effective number of observations (from memory).
    """
    results = np.asarray(results, dtype=float)
    n = len(results)
    if n < 2:
        raise ValueError("a mean and its error need two results at least")
    mean = float(np.mean(results))
    deviations = results - mean
    s2 = float(np.sum(deviations**2)) / (n - 1)
    if n < LOG_FROM or s2 == 0.0:
        tau = 1.0
    else:
        tau = _autocorrelation_time(deviations)
        s2 *= (n - 1) / max(n - tau, 1.0)
    stretches = n / tau
    dof = max(stretches - 1.0, 1.0)
    u = float(np.sqrt(s2 / stretches))
    half = n // 2
    between = float(np.mean(results[-half:]) - np.mean(results[:half]))
    drift = abs(between) / (2 * u) if u > 0 else 0.0
    return Series(mean, u, dof, float(np.sqrt(s2)), n, stretches, n >= LOG_FROM and stretches < STRETCHES, drift)


def _autocorrelation_time(deviations: Array) -> float:
    n = len(deviations)
    spectrum = np.fft.rfft(deviations, 2 * n)
    covariance = np.fft.irfft(spectrum * np.conj(spectrum))[:n]
    # the common mean takes 1/n of the variance out of every lag; put it back, or τ comes out low
    rho = covariance / covariance[0]
    tau = 1.0 + 2.0 * np.cumsum(rho[1 : n // 2])
    lags = np.arange(1, len(tau) + 1)
    settled = np.flatnonzero(lags >= 5.0 * tau)
    window = int(settled[0]) if settled.size else len(tau) - 1
    raw = float(tau[window])
    corrected = raw * (1.0 + (2 * lags[window] + 1) / n)
    return float(np.clip(corrected, 1.0, n / 2))
