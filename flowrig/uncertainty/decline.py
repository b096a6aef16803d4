"""A decline to a floor, y = A exp(-k t) + C, from counts or from readings whose scatter is a share of them.

The floor is fitted with the rate. What is known of it beforehand is one more observation, so that a floor that was
measured and one that the tail of the run shows are weighed against each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from flowrig.errors import CalculationError
from flowrig.uncertainty.estimate import Array
from flowrig.uncertainty.series import FOLLOWING

Road = Literal["counts", "logarithms"]

STEPS = 100
DONE = 1e-11  # of each coefficient's own standard deviation, or of its size
HALVINGS = 20
LEAST = 0.25  # of a count: what is expected of a sample is taken as no less, or a sample of 0 would have no error
PH=True
SEEN = 1.0  # lag-one autocorrelation, in units of 1/√n, from which it is looked at: chance alone makes it in 1 run of 6
MOST = 1e3  # largest scatter looked for, as a share of the reading
RATES = 61  # tried before the first step


@dataclass(frozen=True)
class Known:
    """What is known of the floor beforehand.

    Attributes
    ----------
    value : float
    u : float
        Standard uncertainty, above 0.
    """

    value: float
    u: float


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
        Standard uncertainty of the fitted floor.
    excess : float
        Standard deviation of that scatter, as a share of a reading.
    chi_square : float
        Of counting alone, and NaN by the road of logarithms.
    free : float
        Degrees of freedom of the residuals.
    residuals : array, shape (n,)
        In standard deviations of a reading, the excess included.
    design : array, shape (n, 3)
        Derivatives of the readings by ln A, k and C, over the same standard deviations.
    memory : float
        Correlation, from a reading to the next, of what scatters beyond counting; 0 where none is seen.
    follows : bool
        It is more than chance makes in 1 run of 40.
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
    memory: float
    follows: bool
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
        Rising.
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
        If the readings are too few, do not decline enough to tell a rate, or one by the road of logarithms is not
        above 0.

    Notes
    -----
    Counts: sum (n - m)/V dm/db = 0 for each coefficient, with V = m + s^2 m^2 of the expectation m, not of the count,
    which would draw the curve below the points. s is the share that brings chi square to its degrees of freedom, 0
    where counting explains all; the excess then has as many degrees of freedom. A floor below 0 has no meaning: the
    best curve with none is taken, and its error bar is still that of a floor to be found. From 30 readings on the
    error by scatter is widened by the root of the autocorrelation time of the residuals.

    Source
    ------
    Quasi-likelihood: R. W. M. Wedderburn, Biometrika 61 (1974) 439 (from memory). Excess as a variance that is added:
    as in `fit`.
    """
    run = _Run(time, reading, exposure, floor, road)
    start = run.start()
    b, excess = run.scattered(start)
    return run.told(b, excess)


class _Run:
    """Readings of a run, and the equations of its fit; coefficients are ln A, k and C."""

    def __init__(self, time: ArrayLike, reading: ArrayLike, exposure: ArrayLike, floor: Known | None, road: Road):
        y, v, t = np.broadcast_arrays(np.asarray(reading, float), np.asarray(exposure, float), np.asarray(time, float))
        self.t, self.y, self.v, self.floor, self.road = t, y, v, floor, road
        self.n = len(y)
        need = 3 if floor is not None else 4
        if self.n < need or len(np.unique(t)) < need:
            raise CalculationError(f"{self.n} readings do not tell a decline: {need} or more are needed")
        if not np.any(y > 0.0) or (road == "logarithms" and np.any(y <= 0.0)):
            raise CalculationError("a reading of nothing has no logarithm, and a run of nothing no decline")
        self.level = y / v
        self.span = float(t[-1] - t[0])

    def start(self) -> Array:
        """Best of a range of rates; amplitude and floor are linear."""
        t0, top = self.t[0], float(np.max(self.level))
        weight = self.v / np.maximum(self.level, 1e-3 * top) if self.road == "counts" else 1.0 / self.level**2
        rates = np.geomspace(0.02 / self.span, 0.5 * self.n / self.span * 5, RATES)
        if self.floor is not None:
            rates = np.concatenate([-rates[: RATES // 3], [1e-6 / self.span], rates])
        best, found = math.inf, np.full(3, np.nan)
        for k in rates:
            shape = np.exp(-k * (self.t - t0))
            for free in (True, False):
                a, c = self._line(shape, weight, free)
                if a <= 0.0 or c < 0.0:
                    continue
                off = float(np.sum(weight * (self.level - a * shape - c) ** 2))
                off += ((c - self.floor.value) / self.floor.u) ** 2 if self.floor is not None else 0.0
                if off < best:
                    best, found = off, np.array([math.log(a) + k * t0, k, c])
        if not np.all(np.isfinite(found)):
            raise CalculationError("the readings do not decline")
        return found

    def _line(self, shape: Array, weight: Array, free: bool) -> tuple[float, float]:
        """Amplitude and floor at one rate; the floor 0, or what is known of it, where it is not free."""
        if not free:
            c = max(self.floor.value, 0.0) if self.floor is not None else 0.0
            return float(np.sum(weight * shape * (self.level - c)) / np.sum(weight * shape**2)), c
        design = np.stack([shape, np.ones_like(shape)], axis=1)
        normal, right = design.T @ (weight[:, np.newaxis] * design), design.T @ (weight * self.level)
        if self.floor is not None:
            normal[1, 1] += self.floor.u**-2
            right[1] += self.floor.value * self.floor.u**-2
        try:
            a, c = np.linalg.solve(normal, right)
        except np.linalg.LinAlgError:
            return -1.0, 0.0
        return float(a), float(c)

    def expected(self, b: Array) -> tuple[Array, Array]:
        """What the readings are expected to be, and its derivatives, on the road taken."""
        with np.errstate(over="ignore", under="ignore"):
            signal = np.exp(b[0] - b[1] * self.t)
        mean = self.v * (signal + b[2])
        slopes = np.stack([self.v * signal, -self.t * self.v * signal, self.v], axis=1)
        if self.road == "logarithms":
            mean = np.maximum(mean, 1e-300)
            return np.log(mean), slopes / mean[:, np.newaxis]
        return mean, slopes

    def variance(self, mean: Array, excess: float) -> Array:
        if self.road == "logarithms":
            return np.full(self.n, excess**2)
        mean = np.maximum(mean, LEAST)
        return np.asarray(mean + (excess * mean) ** 2)

    def fitted(self, b: Array, excess: float) -> tuple[Array, bool]:
        """Coefficients by Fisher's scoring, and whether the floor is held at 0."""
        held = False
        for _ in range(STEPS):
            gradient, information = self._scores(b, excess)
            held = bool(b[2] <= 0.0 and gradient[2] < 0.0)  # it would go further down
            step = self._solved(information, gradient, held)
            size = np.sqrt(np.maximum(np.diagonal(np.linalg.pinv(information)), 0.0))
            limit = min(1.0, 2.0 / max(abs(step[0] - step[1] * self.t).max(), 1e-300))  # e² a step, at most
            step = step * limit
            for _ in range(HALVINGS):
                tried = b + step
                tried[2] = max(tried[2], 0.0)
                if np.all(np.isfinite(self.expected(tried)[0])) and self._nearer(tried, b, excess):
                    break
                step = step / 2.0
            else:
                break
            moved, b = tried - b, tried
            if np.all(np.abs(moved) <= np.maximum(DONE * np.abs(b), 1e-7 * size)):
                break
        return b, held

    def _nearer(self, tried: Array, b: Array, excess: float) -> bool:
        """Whether a step does not lead away, judged by the weights of where it began."""
        mean, _ = self.expected(b)
        variance = self.variance(mean, excess)
        now, then = (self._squares(x, variance) for x in (b, tried))
        return then <= now * (1.0 + 1e-9) + 1e-12

    def _squares(self, b: Array, variance: Array) -> float:
        observed = np.log(self.y) if self.road == "logarithms" else self.y
        total = float(np.sum((observed - self.expected(b)[0]) ** 2 / variance))
        return total + (((b[2] - self.floor.value) / self.floor.u) ** 2 if self.floor is not None else 0.0)

    def _scores(self, b: Array, excess: float) -> tuple[Array, Array]:
        mean, slopes = self.expected(b)
        observed = np.log(self.y) if self.road == "logarithms" else self.y
        variance = self.variance(mean, excess)
        weighed = slopes / variance[:, np.newaxis]
        gradient, information = weighed.T @ (observed - mean), weighed.T @ slopes
        if self.floor is not None:
            gradient[2] += (self.floor.value - b[2]) / self.floor.u**2
            information[2, 2] += self.floor.u**-2
        return gradient, information

    @staticmethod
    def _solved(information: Array, gradient: Array, held: bool) -> Array:
        free = np.array([True, True, not held])
        own = information[np.ix_(free, free)]
        size = np.sqrt(np.diagonal(own))
        size = np.where(size > 0.0, size, 1.0)
        step = np.zeros(3)
        step[free] = np.linalg.lstsq(own / np.outer(size, size), gradient[free] / size, rcond=1e-13)[0] / size
        return step

    def chi_square(self, b: Array, excess: float) -> float:
        mean, _ = self.expected(b)
        observed = np.log(self.y) if self.road == "logarithms" else self.y
        return float(np.sum((observed - mean) ** 2 / self.variance(mean, excess)))

    def free(self, b: Array, excess: float) -> float:
        """Degrees of freedom; what is known of the floor has a say in it as far as it decides the floor."""
        if self.floor is None:
            return self.n - 3.0
        _, information = self._scores(b, excess)
        return self.n - 3.0 + min(float(_inverse(information)[2, 2]) / self.floor.u**2, 1.0)

    def scattered(self, b: Array) -> tuple[Array, float]:
        """Coefficients, and the share by which readings scatter beyond counting."""
        from scipy.optimize import brentq

        least = 0.0
        if self.road == "logarithms":
            least = 1e-9
        b, _ = self.fitted(b, max(least, 0.0) or 0.0) if self.road == "counts" else self.fitted(b, 0.01)
        found = {"b": b}

        def beyond(excess: float) -> float:
            found["b"], _ = self.fitted(found["b"], excess)
            return self.chi_square(found["b"], excess) - self.free(found["b"], excess)

        if beyond(least) <= 0.0:
            return found["b"], least
        most = 0.01
        while beyond(most) > 0.0 and most < MOST:
            most *= 4.0
        if most >= MOST:
            raise CalculationError("the readings scatter by more than themselves")
        excess = float(brentq(beyond, least, most, xtol=1e-9, rtol=1e-9))
        b, _ = self.fitted(found["b"], excess)
        return b, excess

    def told(self, b: Array, excess: float) -> Decline:
        mean, slopes = self.expected(b)
        observed = np.log(self.y) if self.road == "logarithms" else self.y
        variance = self.variance(mean, excess)
        root = np.sqrt(variance)
        _, information = self._scores(b, excess)
        covariance = _inverse(information)
        leads = (slopes / variance[:, np.newaxis]) @ covariance[:, 1]  # of each reading to the rate
        counted = np.maximum(mean, LEAST) if self.road == "counts" else np.zeros(self.n)
        u_counting = math.sqrt(float(np.sum(leads**2 * counted)))
        residuals = (observed - mean) / root
        free = self.free(b, excess)
        share = np.maximum(1.0 - counted / variance, 0.0)  # of each reading's variance, that counting does not explain
        memory, spread = self._memory(residuals, share, free)
        u_scatter, dof = self._scatter(leads * np.sqrt(share * variance), share, memory, spread, free)
        by_floor = off = 0.0
        if self.floor is not None:
            by_floor = float(covariance[2, 1]) / self.floor.u
            left = self.floor.u**2 - float(covariance[2, 2])
            off = (float(b[2]) - self.floor.value) / math.sqrt(left) if left > 1e-9 * self.floor.u**2 else 0.0
        plain = self.chi_square(b, 0.0) if self.road == "counts" else math.nan
        return Decline(
            amplitude=math.exp(min(float(b[0]), 700.0)), rate=float(b[1]), floor=float(b[2]),
            u_counting=u_counting, u_scatter=u_scatter, dof=dof, by_floor=by_floor,
            u_floor=math.sqrt(float(covariance[2, 2])), excess=excess, chi_square=plain, free=free,
            residuals=residuals, design=slopes / root[:, np.newaxis], memory=memory, follows=memory > FOLLOWING * spread,
            held=bool(b[2] <= 0.0), off_floor=off,
        )  # fmt: skip

    def _memory(self, residuals: Array, share: Array, free: float) -> tuple[float, float]:
        """Correlation of what scatters beyond counting from a reading to the next, and its standard error.

        Counting has no memory: it is looked for where counting explains least.
        """
        own = np.sqrt(share)
        before, after = own[:-1] * residuals[:-1], own[1:] * residuals[1:]
        whole = float(np.sum(own[:-1] ** 2 * own[1:] ** 2))
        if whole <= 0.0:
            return 0.0, math.inf
        spent = (self.n - free) / self.n
        found = float(np.sum(before * after)) / whole
        found += spent * (1.0 + 2.0 * found)  # what the fitted coefficients take out of it
        spread = math.sqrt(float(np.sum(own[:-1] ** 2 * own[1:] ** 2))) / whole
        return float(np.clip(found, 0.0, 0.95)), spread

    def _scatter(self, leads: Array, share: Array, memory: float, spread: float, free: float) -> tuple[float, float]:
        """Standard uncertainty of the rate by scatter beyond counting, and its degrees of freedom."""
        if not np.any(share > 0.0):
            return 0.0, free
        apart = np.abs(np.subtract.outer(np.arange(self.n), np.arange(self.n)))
        together = memory**apart if memory > 0.0 else np.eye(self.n)
        variance = float(leads @ together @ leads)
        dof = free * float(np.mean(share)) ** 2  # readings that counting explains say nothing of its size
        if memory > 0.0:
            time = (1.0 + memory) / (1.0 - memory)
            variance *= free / max(self.n - (self.n - free) * time, 0.3 * self.n)
            dof *= (1.0 - memory**2) / (1.0 + memory**2)
            if PH: dof = 1.0 / (1.0 / dof + 2.0 * (spread*math.sqrt(1-memory**2) / (1.0 - memory**2)) ** 2)
        return math.sqrt(max(variance, 0.0)), max(dof, 1.0)


def _inverse(information: Array) -> Array:
    """Covariance; large, and not endless, where a direction is not told."""
    size = np.sqrt(np.diagonal(information))
    size = np.where(size > 0.0, size, 1.0)
    return np.asarray(np.linalg.pinv(information / np.outer(size, size), rcond=1e-14, hermitian=True) / np.outer(size, size))
