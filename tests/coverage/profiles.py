"""Continuous velocity profiles with a mean known by fine quadrature."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Rng = np.random.Generator
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


def _wall_nodes() -> tuple[Array, Array]:
    """Distance from the wall, 0 to 1, and weights: a power law there is smooth in the eighth root of the distance."""
    root = 0.5 * (_NODES + 1.0)
    return root**8, 0.5 * _WEIGHTS * 8.0 * root**7


@dataclass(frozen=True)
class Profile:
    """A profile and its mean over the plane.

    Attributes
    ----------
    at : callable
        Of two arrays: shares of the sides, 0 to 1, of a rectangle; coordinates over the radius, -1 to 1, of a circle.
    mean : float
    round : bool
    """

    at: Callable[[Array, Array], Array]
    mean: float
    round: bool = False


def mean_over_rectangle(at: Callable[[Array, Array], Array]) -> float:
    wall, weight = _wall_nodes()
    side, share = np.concatenate([wall / 2, 1 - wall / 2]), np.concatenate([weight, weight]) / 2
    x, y = np.meshgrid(side, side)
    return float(share @ at(x, y) @ share)


def mean_over_circle(at: Callable[[Array, Array], Array]) -> float:
    wall, weight = _wall_nodes()
    radius, share = 1 - wall, weight * 2 * (1 - wall)
    angle = np.arange(64) * 2 * np.pi / 64
    r, a = np.meshgrid(radius, angle)
    return float(np.mean(at(r * np.cos(a), r * np.sin(a)), axis=0) @ share)


def rectangle(rng: Rng, tilt: float = 0.1, ripple: float = 0.01) -> Profile:
    """Power laws of 1/5 to 1/10 from the walls, a tilt each way, and a ripple the length of the sides."""
    across, down = rng.uniform(1 / 10, 1 / 5, 2)
    lean = rng.uniform(-tilt, tilt, 2)
    waves = rng.standard_normal((2, 2)) * ripple
    phases = rng.uniform(0, 2 * np.pi, (2, 2, 2))

    def at(x: Array, y: Array) -> Array:
        u, v = 2 * x - 1, 2 * y - 1
        wavy = sum(
            waves[i, j] * np.cos((i + 1) * np.pi * u + phases[i, j, 0]) * np.cos((j + 1) * np.pi * v + phases[i, j, 1])
            for i in range(2)
            for j in range(2)
        )
        plain = (1 - np.abs(u)) ** across * (1 - np.abs(v)) ** down
        return np.asarray(plain * (1 + lean[0] * u + lean[1] * v + wavy))

    return Profile(at, mean_over_rectangle(at))


def round_duct(rng: Rng, tilt: float = 0.1) -> Profile:
    """A power law of 1/5 to 1/10 from the wall, leaning any way."""
    power, lean, towards = rng.uniform(1 / 10, 1 / 5), rng.uniform(0, tilt), rng.uniform(0, 2 * np.pi)

    def at(x: Array, y: Array) -> Array:
        r = np.hypot(x, y)
        leaning = lean * (x * np.cos(towards) + y * np.sin(towards))
        return np.asarray(np.maximum(1 - r, 0.0) ** power * (1 + leaning))

    return Profile(at, mean_over_circle(at), round=True)


def behind_a_bend(rng: Rng) -> Profile:
    """Steep: a jet along one wall that dies off within a third of the width, and still air opposite."""
    power = rng.uniform(1 / 10, 1 / 5)
    core, width = rng.uniform(0.55, 0.85), rng.uniform(0.12, 0.25)
    rest = rng.uniform(0.1, 0.3)

    def at(x: Array, y: Array) -> Array:
        walls = ((1 - np.abs(2 * x - 1)) * (1 - np.abs(2 * y - 1))) ** power
        return np.asarray(walls * (rest + np.exp(-(((x - core) / width) ** 2))))

    return Profile(at, mean_over_rectangle(at))
