"""The coefficient of a meter along its Reynolds number, with its band, and where a measurement lies on it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flowrig.methods.method import Method, Situation
from flowrig.records.items import Array
from flowrig.uncertainty.interval import coverage_factor

PLACES = 81
ROOM = 1.6  # times beyond the lowest and the highest Reynolds number, of readings and of limits


@dataclass(frozen=True)
class Curve:
    """A coefficient along its Reynolds number: of one opening, or of several that have it in common.

    Attributes
    ----------
    words : str
    names : tuple of str
        Of the openings; empty where there is one alone.
    reynolds : array, shape (m,)
        Rising.
    value, low, high : array, shape (m,)
        With the interval of the coverage asked for: what the equation leaves open, by the limits of the method, and
        what is known of this very opening.
    at_reynolds, at_low, at_high : array, shape (n,)
        Reynolds number of each opening in the measurement, with its interval.
    at_value : array, shape (n,)
        The coefficient there.
    limits : tuple of float
        Reynolds numbers between which it is to be used, where the method names any.
    """

    words: str
    names: tuple[str, ...]
    reynolds: Array
    value: Array
    low: Array
    high: Array
    at_reynolds: Array
    at_low: Array
    at_high: Array
    at_value: Array
    limits: tuple[float, ...]


def curves(
    method: Method,
    situation: Situation,
    names: tuple[str, ...],
    at: tuple[Array, Array, Array],
    limits: tuple[float, ...],
    coverage: float,
) -> list[Curve]:
    """Of a method that declares a coefficient; openings whose curves are the same share one.

    Parameters
    ----------
    method : Method
    situation : Situation
        Of a single record.
    names : tuple of str
        Of the openings.
    at : tuple of array, shape (n,)
        Reynolds number of each opening, and its interval.
    limits : tuple of float
        Reynolds numbers that the curve is to reach as well.
    coverage : float

    Returns
    -------
    list of Curve
        Empty where the method has no such coefficient, or none to draw.
    """
    declared = method.coefficient
    seen = np.concatenate([*at, np.asarray(limits)])
    if declared is None or not np.all(seen > 0.0):
        return []
    n = len(at[0])
    grid = np.geomspace(np.min(seen) / ROOM, np.max(seen) * ROOM, PLACES)
    found = declared.value(situation, grid[:, np.newaxis])
    here = declared.value(situation, np.reshape(at[0], (1, n)))
    if found is None or here is None:
        return []
    value, at_value = np.broadcast_to(found, (PLACES, n)), np.broadcast_to(here, (1, n))[0]
    own = np.zeros(n)
    if declared.factor:
        known = situation.inputs[declared.factor]
        own = np.broadcast_to(np.ravel(known.u / np.abs(known.value)), (n,))
    share = np.hypot(_spread(method, situation, grid)[:, np.newaxis], own)
    arm = float(coverage_factor(coverage)) * share * np.abs(value)
    groups: dict[tuple[bytes, bytes], list[int]] = {}
    for i in range(n):
        groups.setdefault((value[:, i].tobytes(), arm[:, i].tobytes()), []).append(i)
    return [
        Curve(
            declared.words,
            tuple(names[i] for i in members) if len(names) == n > 1 else (),
            grid,
            value[:, members[0]],
            (value - arm)[:, members[0]],
            (value + arm)[:, members[0]],
            at[0][members],
            at[1][members],
            at[2][members],
            at_value[members],
            limits,
        )
        for members in groups.values()
    ]


def _spread(method: Method, situation: Situation, grid: Array) -> Array:
    """Relative standard uncertainty of the equation at each Reynolds number, by the method's own effects."""
    assert method.coefficient is not None
    shape = (len(grid), *[1] * len(method.axes))
    there = replace(situation, nominal={**situation.nominal, "reynolds": grid.reshape(shape)})
    total = np.zeros(len(grid))
    for effect in method.effects:
        size = effect.size(there) if effect.id in method.coefficient.effects else None
        if size is not None:
            total += (np.broadcast_to(np.ravel(size.limit), grid.shape) / effect.divisor) ** 2
    return np.sqrt(total)


def of_reynolds(ends: list[float]) -> tuple[float, ...]:
    """Those of the ends of ranges that are Reynolds numbers to be drawn, each once."""
    return tuple(sorted({end for end in ends if math.isfinite(end) and end > 0.0}))
