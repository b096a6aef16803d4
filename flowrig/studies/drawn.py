"""Numbers that are drawn and not put in a line: uncertainty, and where need be the value, are those of the draws."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from flowrig import units
from flowrig.studies.result import Quantity
from flowrig.uncertainty.interval import rounding
from flowrig.uncertainty.montecarlo import chunks

TAILS = 3.0  # times a quarter of the interval, or the other way round: beyond, a standard deviation tells nothing of it
MIDDLE, MEDIAN = "middle of ranges", "median of draws"


@dataclass(repr=False)
class Drawn(Quantity):
    """A number of which the interval is from draws.

    What comes in steps (units and changes in whole numbers) may lie outside its own interval where every input is at
    its middle: that one combination stands on an edge that hardly any draw meets. The median of the draws is its value
    then. A slope says nothing about steps either, so that the standard uncertainty is the standard deviation of the
    draws (JCGM 101:2008 7.6, from memory), NaN where rare draws far out decide it.

    Attributes
    ----------
    median : float
        Of the draws, where the value at the middle is outside of the interval; else NaN. SI
    """

    median: float = math.nan

    @property
    def value_from(self) -> str:
        """Whether it is the value with every input at its middle, or the median of the draws."""
        return MIDDLE if math.isnan(self.median) else MEDIAN

    @property
    def value(self) -> Any:
        taken = self.estimate.value if math.isnan(self.median) else self.median
        return units.from_si(taken, self.unit, self.kind)

    @property
    def u(self) -> Any:
        spread, quarter = float(self.interval.spread), self._quarter
        if not math.isfinite(spread):
            spread = float(self.estimate.u)
        if spread > TAILS * quarter + float(rounding(self.estimate)):
            spread = math.nan
        return units.from_si(spread, self.unit, units.as_difference(self.kind))

    @property
    def is_straight(self) -> bool:
        """Whether its parts by cause, which are slopes, tell how far it moves."""
        slope, quarter = float(self.estimate.u), self._quarter
        still = float(rounding(self.estimate))
        return quarter / TAILS - still <= slope <= TAILS * quarter + still

    @property
    def _quarter(self) -> float:
        return (float(self.interval.high) - float(self.interval.low)) / 4.0


def outside(q: Drawn) -> bool:
    """Whether its value at the middle of all ranges is outside of its interval."""
    value, near = float(q.estimate.value), float(rounding(q.estimate))
    return not float(q.interval.low) - near <= value <= float(q.interval.high) + near


def settle(quantities: Iterable[Drawn], samples: int, seed: int) -> list[Drawn]:
    """Give those a median of which the value is outside of the interval, on the draws of their intervals.

    Returns
    -------
    list of Drawn
        Which they are.
    """
    odd = [q for q in quantities if math.isfinite(float(q.interval.low)) and outside(q)]
    if odd:
        pieces = list(chunks([q.estimate for q in odd], samples, seed))
        for i, q in enumerate(odd):
            q.median = float(np.nanmedian(np.concatenate([piece[i] for piece in pieces])))
    return odd
