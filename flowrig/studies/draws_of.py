"""Draws of one number beside what its linear evaluation says of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flowrig import units
from flowrig.records.items import Array
from flowrig.studies.result import Quantity
from flowrig.uncertainty.interval import MANY, linear_density, linear_interval
from flowrig.uncertainty.montecarlo import sample

DRAWS = 20_000
CLASSES = 40  # of the histogram
TAIL = 1e-3  # of the draws left out of the histogram at either end, or more of a long tail:
AROUND = 0.6  # times its width beyond either end of the wider interval, the histogram ends
PLACES = 201  # of the linear density
REACH = 4.0  # standard uncertainties either way


@dataclass(frozen=True)
class Drawn:
    """Draws of a quantity, in its unit.

    Attributes
    ----------
    draws : int
        Taken; those without a value among them.
    lost : float
        Share of the draws without a value.
    edges : array, shape (n + 1,)
        Of the classes.
    density : array, shape (n,)
        Share of the draws with a value in each class, over its width.
    beyond : float
        Share of the draws with a value beyond the first and the last edge.
    places, linear : array, shape (m,)
        Density of the linear evaluation: normal, or Student's t with the effective degrees of freedom, scaled by u.
    dof : float
        Infinite where the normal density stands for it.
    u, spread : float
        Standard uncertainty of the linear evaluation; standard deviation of the draws.
    linear_ends, drawn_ends : tuple of float
        Both intervals, of the coverage of the quantity. The drawn one is the reported interval where that is drawn.
    told : {'linear', 'drawn'}
        Which of the two is reported.
    """

    draws: int
    lost: float
    edges: Array
    density: Array
    beyond: float
    places: Array
    linear: Array
    dof: float
    u: float
    spread: float
    linear_ends: tuple[float, float]
    drawn_ends: tuple[float, float]
    told: str


def draws_of(quantity: Quantity, *, draws: int = DRAWS, seed: int = 1) -> Drawn | None:
    """Draw a single quantity again, to be held against its linear evaluation.

    Parameters
    ----------
    quantity : Quantity
        Without axes.
    draws : int
    seed : int
        The same seed as that of the result gives draws that its interval begins with.

    Returns
    -------
    Drawn, or None
        None where there is nothing to hold against each other: no uncertainty, only a bound, or an interval that is
        neither linear nor drawn.

    Raises
    ------
    ValueError
        If the quantity has axes, or fewer than two draws are asked for.

    Source
    ------
    JCGM 101:2008, 7.6 and 7.7, and 8 for the comparison (from memory).
    """
    estimate = quantity.estimate
    if estimate.axes:
        raise ValueError(f"{quantity.name} is a row of numbers; one at a time")
    if draws < 2:
        raise ValueError(f"draws is {draws}; at least 2 are needed")
    u = float(estimate.u)
    if quantity.bound or not (math.isfinite(float(estimate.value)) and 0.0 < u < math.inf):
        return None
    if quantity.interval.source not in ("linear", "monte carlo"):
        return None

    def shown(x: float | Array) -> Array:
        return np.asarray(units.from_si(x, quantity.unit, quantity.kind), dtype=float)

    taken = sample(estimate, draws, seed)
    valued = shown(taken[np.isfinite(taken)])
    if valued.size < 2:
        return None
    coverage = quantity.interval.coverage
    low, high, _ = linear_interval(estimate, coverage)
    scale = abs(float(units.from_si(u, quantity.unit, units.as_difference(quantity.kind))))
    dof = float(estimate.dof)
    away = np.linspace(-REACH, REACH, PLACES)
    told = "drawn" if quantity.interval.source == "monte carlo" else "linear"
    tail = 0.5 * (1.0 - coverage)
    ends = (
        (float(quantity.low), float(quantity.high))
        if told == "drawn"
        else (float(np.quantile(valued, tail)), float(np.quantile(valued, 1.0 - tail)))
    )
    linear = (float(shown(float(low))), float(shown(float(high))))
    first, last = np.quantile(valued, [TAIL, 1.0 - TAIL])
    around = AROUND * max(ends[1] - ends[0], linear[1] - linear[0])
    first, last = max(first, min(*ends, *linear) - around), min(last, max(*ends, *linear) + around)
    density, edges = np.histogram(valued, CLASSES, range=(float(first), float(last)))
    return Drawn(
        draws,
        1.0 - valued.size / draws,
        edges,
        density / (valued.size * np.diff(edges)),
        1.0 - float(np.sum(density)) / valued.size,
        float(quantity.value) + scale * away,
        linear_density(away, dof) / scale,
        dof if dof <= MANY else math.inf,
        scale,
        float(np.std(valued)),
        linear,
        ends,
        told,
    )
