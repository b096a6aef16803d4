"""An uncertainty budget short enough to be drawn: the largest causes, and all the others as one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flowrig import units
from flowrig.studies.result import Quantity

MOST = 9
LEAST = 0.002  # of the variance: less is one of the others


@dataclass(frozen=True)
class Line:
    """One line of a budget.

    Attributes
    ----------
    words : str
    share : float
        Of the variance.
    u : float
        Standard uncertainty from it alone, in the unit of the quantity.
    scope : str
        How widely the error is shared, as in `Cause`; empty for several causes.
    causes : int
        How many it stands for.
    """

    words: str
    share: float
    u: float
    scope: str = ""
    causes: int = 1


def largest(quantity: Quantity, most: int = MOST) -> list[Line]:
    """The causes that make up the variance of one number, largest first; the small ones together last.

    Parameters
    ----------
    quantity : Quantity
        Without axes.
    most : int
        Lines beside that of the others.

    Returns
    -------
    list of Line
        Their shares add up to 1. Empty where the number has no uncertainty.

    Raises
    ------
    ValueError
        If the quantity has axes.
    """
    if quantity.estimate.axes:
        raise ValueError(f"{quantity.name} is a row of numbers; one at a time")
    if not (math.isfinite(float(quantity.estimate.value)) and 0.0 < float(quantity.estimate.u) < math.inf):
        return []

    def shown(u: float) -> float:
        return abs(float(units.from_si(u, quantity.unit, units.as_difference(quantity.kind))))

    every = [(x.cause, float(np.squeeze(x.share)), float(np.squeeze(x.u))) for x in quantity.estimate.budget()]
    every = [line for line in every if line[1] > 0.0]
    told = [line for line in every if line[1] >= LEAST][:most] or every[:1]
    if len(every) - len(told) == 1 and len(told) < most:
        told = every  # one alone is no "others"
    rest = every[len(told) :]
    lines = [Line(cause.name, share, shown(u), cause.scope) for cause, share, u in told]
    if rest:
        share = math.fsum(x[1] for x in rest)
        lines.append(Line("all others", share, shown(math.sqrt(math.fsum(x[2] ** 2 for x in rest))), "", len(rest)))
    return lines
