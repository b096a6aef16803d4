"""A discharge coefficient that depends on the flow which it determines."""

from __future__ import annotations

from collections.abc import Callable

from flowrig.physics.si import Floats

_PASSES = 8


def settled(equation: Callable[[Floats], Floats], scale: Floats, start: Floats) -> Floats:
    """Discharge coefficient at the Reynolds number of its own flow.

    Parameters
    ----------
    equation : callable
        Coefficient from the Reynolds number, varying slowly with it.
    scale : float or array
        Reynolds number that a coefficient of 1 would make. [1]
    start : float or array, broadcast with ``scale``
        First guess. [1]

    Returns
    -------
    coefficient : shape of the broadcast inputs
        NaN where ``scale`` is. How near it comes is said, as measured, by each function that uses it. [1]

    Raises
    ------
    Nothing of its own.

    Source
    ------
    Fixed-point iteration, C = f(scale C).

    Examples
    --------
    >>> round(settled(lambda reynolds: 0.99 - 1000.0 / reynolds, 1e5, 1.0), 6)
    0.979794
    """
    coefficient = start
    for _ in range(_PASSES):
        coefficient = equation(scale * coefficient)
    return coefficient
