"""What the range of each input does to a difference, one at a time, the largest first."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from flowrig.progress import doing
from flowrig.records.items import Array
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Axes, Estimate, Places
from flowrig.uncertainty.interval import coverage_factor
from flowrig.uncertainty.propagate import evaluate

HARD_ENDS = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0)}  # standard deviations to the limit itself


@dataclass(frozen=True)
class Input:
    """A number that a person stated, with its range.

    Attributes
    ----------
    name : str
        In words.
    estimate : Estimate
        Without axes.
    kind, unit : str
        To show it in.
    """

    name: str
    estimate: Estimate
    kind: str
    unit: str


@dataclass(frozen=True)
class Bar:
    """What one input does to a difference.

    Attributes
    ----------
    input : Input
    low, high : float
        Ends of the input's range. SI
    middle, at_low, at_high : float
        The difference with every input at its own value, and with this one at either end; NaN where it has none.
    """

    input: Input
    low: float
    high: float
    middle: float
    at_low: float
    at_high: float

    @property
    def swing(self) -> float:
        """How far the difference moves in all: an input may push it to one side from both of its ends."""
        told = (self.middle, self.at_low, self.at_high)
        return max(told) - min(told) if all(map(math.isfinite, told)) else math.nan


@doing("what each range does")
def tornado(inputs: Sequence[Input], results: Mapping[str, Estimate], coverage: float) -> dict[str, list[Bar]]:
    """Bars of several results, each list with the largest swing first; inputs that move nothing are left out.

    Parameters
    ----------
    inputs : sequence of Input
    results : mapping of str to Estimate
        Without axes, computed from the inputs.
    coverage : float
        Probability between the ends of an input whose limits are not hard.

    Notes
    -----
    An input of one rectangular or triangular cause goes to its limits. One of several causes moves along all of them at
    once, each by its part in it: its ends are those of its interval, and what shares a cause with it moves along.
    """
    moving = [one for one in inputs if float(one.estimate.u) > 0.0]
    reach = [_reach(one.estimate, coverage) for one in moving]
    places: dict[str, Array] = {}
    for i, one in enumerate(moving):
        for cause, part in one.estimate.parts.items():
            moved = places.setdefault(cause.id, np.zeros((1 + 2 * len(moving), cause.n)))
            along = reach[i] * part.reshape(cause.n) / float(one.estimate.u)
            moved[1 + 2 * i], moved[2 + 2 * i] = -along, along
    rows = 1 + 2 * len(moving)

    def deviates(cause: Cause, at: Places) -> tuple[Array, Axes]:
        known = places.get(cause.id)
        if cause.each is None:
            return (np.zeros((rows, cause.n)) if known is None else known), ()
        positions, full = at
        z = np.zeros((rows, cause.n, len(positions)))
        if known is not None:
            for k in range(cause.n):
                z[:, k] = known[:, k * full + np.asarray(positions)]
        return z, (cause.each,)

    found: dict[str, list[Bar]] = {}
    for (name, result), (array, _) in zip(results.items(), evaluate(list(results.values()), deviates), strict=True):
        y = np.broadcast_to(array, (rows, *result.value.shape))
        bars = [
            Bar(one, *_ends(one.estimate, reach[i]), *(float(y[k]) for k in (0, 1 + 2 * i, 2 + 2 * i)))
            for i, one in enumerate(moving)
        ]
        kept = [bar for bar in bars if bar.swing != 0.0]  # a difference without a value at an end stays, in front
        found[name] = sorted(kept, key=lambda bar: -bar.swing if math.isfinite(bar.swing) else -math.inf)
    return found


def _reach(x: Estimate, coverage: float) -> float:
    """Standard deviations from the middle to either end."""
    if len(x.parts) == 1:
        [cause] = x.parts
        if cause.n == 1 and cause.shape in HARD_ENDS:
            return HARD_ENDS[cause.shape]
    return float(coverage_factor(coverage, x.dof))


def _ends(x: Estimate, reach: float) -> tuple[float, float]:
    half = reach * float(x.u)
    return float(x.value) - half, float(x.value) + half
