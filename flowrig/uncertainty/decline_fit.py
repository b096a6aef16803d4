"""The equations of the fit of `decline`: Fisher's scoring of ln A, k and C, and the scatter beyond counting."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from flowrig.errors import CalculationError
from flowrig.uncertainty.estimate import Array

Road = Literal["counts", "logarithms"]

STEPS = 100
DONE = 1e-11  # of a coefficient's own size
NEAR, ROUGHLY = 1e-7, 1e-3  # of its standard deviation, were it alone; the second while the scatter is looked for
FARTHER = 2.0  # steps by which the scatter is bracketed
HALVINGS = 20
FURTHEST = 2.0  # of a logarithm of the signal, in one step
LEAST = 0.25  # of a count: what is expected of a sample is taken as no less, or a sample of 0 would have no error
SMALLEST = 1e-9  # scatter looked for by the road of logarithms, as a share of a reading
MOST = 1e3  # the largest
RATES = 61  # tried before the first step
SLOWEST, FASTEST = 0.02, 2.5  # of them, over the run and from a reading to the next


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


class DeclineFit:
    """Readings of a run and the equations of its fit; coefficients are ln A, k and C."""

    def __init__(
        self, time: ArrayLike, reading: ArrayLike, exposure: ArrayLike, floor: Known | None, road: Road
    ) -> None:
        arrays = np.broadcast_arrays(*(np.asarray(x, dtype=float) for x in (time, reading, exposure)))
        self.t, self.y, self.v = arrays
        self.floor, self.road, self.n = floor, road, len(self.y)
        need = 3 if floor is not None else 4
        if self.n < need or len(np.unique(self.t)) < need:
            raise CalculationError(f"{self.n} readings do not tell a decline: {need} or more are needed")
        if not np.any(self.y > 0.0):
            raise CalculationError("nothing was counted")
        if road == "logarithms" and np.any(self.y <= 0.0):
            raise CalculationError("a reading is not above 0")
        self.observed = np.log(self.y) if road == "logarithms" else self.y

    def expected(self, b: Array) -> tuple[Array, Array]:
        """What is observed, as expected, and its derivatives."""
        with np.errstate(over="ignore", under="ignore"):
            signal = np.exp(b[0] - b[1] * self.t)
        mean = self.v * (signal + b[2])
        slopes = np.stack([self.v * signal, -self.t * self.v * signal, self.v], axis=1)
        if self.road == "counts":
            return mean, slopes
        mean = np.maximum(mean, 1e-300)
        return np.log(mean), slopes / mean[:, np.newaxis]

    def counting(self, mean: Array) -> Array:
        """Variance by counting."""
        return np.maximum(mean, LEAST) if self.road == "counts" else np.zeros(self.n)

    def variance(self, mean: Array, excess: float) -> Array:
        """Variance of what is observed, with a scatter of so large a share of a reading."""
        size = np.maximum(mean, LEAST) if self.road == "counts" else 1.0
        return np.asarray(self.counting(mean) + (excess * size) ** 2)

    def chi_square(self, b: Array, excess: float) -> float:
        mean, _ = self.expected(b)
        return float(np.sum((self.observed - mean) ** 2 / self.variance(mean, excess)))

    def covariance(self, b: Array, excess: float) -> Array:
        """Of the coefficients; large, and not endless, where they are not told apart."""
        information = self._scores(b, excess)[1]
        size = np.sqrt(np.diagonal(information))
        both = np.outer(size, size) if np.all(size > 0.0) else np.ones((3, 3))
        return np.asarray(np.linalg.pinv(information / both, rcond=1e-14, hermitian=True) / both)

    def free(self, b: Array, excess: float) -> float:
        """Degrees of freedom; what is known of the floor spares one as far as it decides the floor."""
        if self.floor is None:
            return self.n - 3.0
        return self.n - 3.0 + min(float(self.covariance(b, excess)[2, 2]) / self.floor.u**2, 1.0)

    def scattered(self) -> tuple[Array, float]:
        """Coefficients, and the share by which readings scatter beyond counting."""
        from scipy.optimize import brentq

        found = {"b": self._start()}

        def beyond(excess: float) -> float:
            b = found["b"] = self._fitted(found["b"], excess, ROUGHLY)
            return self.chi_square(b, excess) - self.free(b, excess)

        if self.road == "counts" and beyond(0.0) <= 0.0:
            return self._fitted(found["b"], 0.0), 0.0
        low = high = max(self._share(found["b"]), SMALLEST)
        if beyond(low) > 0.0:
            while high < MOST and beyond(high := FARTHER * high) > 0.0:
                low = high
            if high >= MOST:
                raise CalculationError("the readings scatter by more than themselves")
        else:
            while low > SMALLEST and beyond(low := max(low / FARTHER, SMALLEST)) <= 0.0:
                high = low
            if low <= SMALLEST:
                return self._fitted(found["b"], low), low if self.road == "logarithms" else 0.0
        if beyond(low) * beyond(high) > 0.0:  # few counts: from another start the fit ends elsewhere
            raise CalculationError("the readings are too few for a decline")
        excess = float(brentq(beyond, low, high, xtol=1e-10, rtol=1e-8))
        return self._fitted(found["b"], excess), excess

    def _share(self, b: Array) -> float:
        """About by how large a share they scatter: chi square by counting alone grows by s^2 m for each."""
        mean, _ = self.expected(b)
        if self.road == "logarithms":
            return math.sqrt(float(np.sum((self.observed - mean) ** 2)) / self.n)
        return math.sqrt(max(self.chi_square(b, 0.0) - self.free(b, 0.0), 0.0) / float(np.sum(self.counting(mean))))

    def _start(self) -> Array:
        """The best of a range of rates; amplitude and floor are linear."""
        level, first = self.y / self.v, self.t[0]
        least = 1e-3 * float(np.max(level))
        weight = self.v / np.maximum(level, least) if self.road == "counts" else 1.0 / level**2
        span = float(self.t[-1] - first)
        rates = np.geomspace(SLOWEST / span, FASTEST * self.n / span, RATES)
        if self.floor is not None:  # a rate below 0 is told from noise
            rates = np.concatenate([-rates[: RATES // 3], [1e-6 / span], rates])
        shapes = np.exp(-np.outer(rates, self.t - first))
        lines = self._lines(level, shapes, weight)
        off = np.sum(weight * (level - lines[..., :1] * shapes - lines[..., 1:]) ** 2, axis=-1)
        if self.floor is not None:
            off += ((lines[..., 1] - self.floor.value) / self.floor.u) ** 2
        off = np.where((lines[..., 0] > 0.0) & (lines[..., 1] >= 0.0), off, np.inf)
        if not np.any(np.isfinite(off)):
            raise CalculationError("the readings tell no decline")
        which, k = np.unravel_index(int(np.argmin(off)), off.shape)
        amplitude, floor = lines[which, k]
        return np.array([math.log(amplitude) + rates[k] * first, rates[k], floor])

    def _lines(self, level: Array, shapes: Array, weight: Array) -> Array:
        """Amplitude and floor at each rate: with the one known, or none, and with the floor free; (2, rates, 2)."""
        both, squares, whole = np.sum(weight * shapes, -1), np.sum(weight * shapes**2, -1), np.sum(weight)
        known = max(self.floor.value, 0.0) if self.floor is not None else 0.0
        found = np.full((2, len(shapes), 2), known)
        found[0, :, 0] = np.sum(weight * shapes * (level - known), axis=-1) / squares
        right, total = np.sum(weight * shapes * level, axis=-1), np.sum(weight * level)
        if self.floor is not None:
            whole, total = whole + self.floor.u**-2, total + self.floor.value * self.floor.u**-2
        with np.errstate(divide="ignore", invalid="ignore"):
            size = squares * whole - both**2
            found[1] = np.stack([right * whole - total * both, total * squares - right * both], axis=-1) / size[:, None]
        return np.where(np.isfinite(found), found, -1.0)

    def _scores(self, b: Array, excess: float) -> tuple[Array, Array]:
        """Gradient and information."""
        mean, slopes = self.expected(b)
        weighed = slopes / self.variance(mean, excess)[:, np.newaxis]
        gradient, information = weighed.T @ (self.observed - mean), weighed.T @ slopes
        if self.floor is not None:
            gradient[2] += (self.floor.value - b[2]) / self.floor.u**2
            information[2, 2] += self.floor.u**-2
        return gradient, information

    def _fitted(self, b: Array, excess: float, near: float = NEAR) -> Array:
        """Coefficients at one scatter, to such a part of their errors; steps are halved while they lead away."""
        for _ in range(STEPS):
            gradient, information = self._scores(b, excess)
            size = np.sqrt(np.diagonal(information))
            size = np.where(size > 0.0, size, 1.0)
            held = b[2] <= 0.0 and gradient[2] < 0.0  # it would go further down
            free = np.array([True, True, not held])
            own = (information / np.outer(size, size))[np.ix_(free, free)]
            step = np.zeros(3)
            step[free] = np.linalg.lstsq(own, (gradient / size)[free], rcond=1e-13)[0] / size[free]
            moved = float(np.max(np.abs(step[0] - step[1] * self.t)))
            step = step * min(1.0, FURTHEST / moved) if moved > 0.0 else step
            variance = self.variance(self.expected(b)[0], excess)
            before = self._squares(b, variance)
            for _ in range(HALVINGS):
                tried = b + step
                tried[2] = max(tried[2], 0.0)
                # at the bottom nothing helps any more: there the last digits of the sum decide nothing
                if self._squares(tried, variance) <= before * (1.0 + 1e-9) + 1e-12:
                    break
                step = step / 2.0
            else:
                return b
            gone, b = np.abs(tried - b), tried
            if np.all(gone <= np.maximum(DONE * np.abs(b), near / size)):
                break
        return b

    def _squares(self, b: Array, variance: Array) -> float:
        """Chi square by weights that stand still."""
        with np.errstate(over="ignore", invalid="ignore"):
            total = float(np.sum((self.observed - self.expected(b)[0]) ** 2 / variance))
        total += ((b[2] - self.floor.value) / self.floor.u) ** 2 if self.floor is not None else 0.0
        return total if math.isfinite(total) else math.inf
