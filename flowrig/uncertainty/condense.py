"""Several numbers with the same causes, in as few directions as say the same: for what is written down and kept."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate

SMALL = 0.05  # of the variance of every number: a cause this small may lose its shape among others
ROUNDING = 1e-9  # of the standard uncertainty of a number: less is arithmetic
MANY = 4  # directions of one cause: what they make together is bell-shaped


def condensed(
    numbers: Mapping[str, Estimate], own: Callable[[Cause], bool], rest: Cause
) -> dict[Cause, dict[str, Array]]:
    """Causes with their movement of each number, those known nowhere else brought into few directions.

    Parameters
    ----------
    numbers : mapping of str to Estimate
        Without axes.
    own : callable
        Whether a cause is known to these numbers alone, so that its directions may be turned.
    rest : Cause
        What to call those that are put together: everything of one's own that is bell-shaped or small.

    Returns
    -------
    dict of Cause to dict of str to array, shape (n,)
        The covariance of the numbers is what it was, but for rounding.

    Notes
    -----
    The directions P (m, p) of m causes on p numbers are turned into the p rows of R, P = Q R: RᵀR = PᵀP. A cause that
    is not normal, or whose size few readings tell, stays by itself while it counts.
    """
    causes = list(dict.fromkeys(cause for x in numbers.values() for cause in x.parts))
    movement = {cause: _movement(numbers, cause) for cause in causes}
    total = np.sum([np.sum(moved**2, axis=0) for moved in movement.values()], axis=0)
    found: dict[Cause, Array] = {}
    together: list[Array] = []
    for cause, moved in movement.items():
        share = float(np.max(np.sum(moved**2, axis=0) / np.where(total > 0, total, 1.0)))
        if not own(cause):
            found[cause] = moved
        elif share <= SMALL or (cause.dof == math.inf and (cause.shape == "normal" or cause.n >= MANY)):
            together.append(moved)
        else:
            turned = _turned(moved) if cause.shape == "normal" else moved
            found[replace(cause, n=len(turned))] = turned
    if together:
        turned = _turned(np.concatenate(together))
        if len(turned):
            found[replace(rest, n=len(turned))] = turned
    least = ROUNDING * np.sqrt(total)
    movements = {
        cause: {name: moved[:, k] for k, name in enumerate(numbers) if np.any(np.abs(moved[:, k]) > least[k])}
        for cause, moved in found.items()
    }
    return {cause: moved for cause, moved in movements.items() if moved}


def _movement(numbers: Mapping[str, Estimate], cause: Cause) -> Array:
    none = np.zeros(cause.n)
    return np.stack([x.parts.get(cause, none) for x in numbers.values()], axis=1)


def _turned(moved: Array) -> Array:
    """Fewer directions with the same covariance; rows that move nothing left out."""
    scale = np.sqrt(np.sum(moved**2, axis=0))
    root = np.linalg.qr(moved / np.where(scale > 0, scale, 1.0), mode="r") * scale
    return np.asarray(root[np.any(np.abs(root) > ROUNDING * scale, axis=1)])
