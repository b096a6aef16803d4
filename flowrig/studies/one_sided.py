"""A number of which only a limit is known: at most, or at least, so much."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np

from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval, interval

LEAST = 1e-3  # of a coverage: next to nothing on either side


def one_sided(
    estimate: Estimate,
    bound: Literal["at most", "at least"],
    coverage: float,
    *,
    samples: int | None = None,
    seed: int = 1,
) -> Interval:
    """The interval of a limit: all of what is allowed to be wrong lies on its one side.

    Parameters
    ----------
    estimate : Estimate
        The limit, were nothing of it uncertain.
    bound : {'at most', 'at least'}
    coverage : float
        Probability that the true value keeps to it. Asked for less than one half, it keeps to it in one half.
    samples, seed
        As of `interval`.

    Notes
    -----
    The one end of the two-sided interval that leaves 1 - coverage on that side.

    Source
    ------
    Definition of a one-sided interval; ISO 3744:2010 tells an upper bound where the background is near (from memory).
    """
    found = interval(estimate, max(2.0 * coverage - 1.0, LEAST), samples=samples, seed=seed)
    nothing = np.asarray(math.inf)
    low, high = (-nothing, found.high) if bound == "at most" else (found.low, nothing)
    return replace(found, coverage=coverage, low=low, high=high)
