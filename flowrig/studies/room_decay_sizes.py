"""What the size limits of a counter may put wrong in a clean-air rate that is told for the sizes of its channels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flowrig.studies.counter import Counter
from flowrig.studies.room_decay_rates import Rate
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.propagate import linear

SURE = 0.1  # of a rate: a channel less sure than that says nothing of how the rate grows with size; own judgement


def with_size_limits(rates: Sequence[Rate], counter: Counter | None) -> list[Rate]:
    """Rates by size with the error of the sizes they are told for.

    Parameters
    ----------
    rates : sequence of Rate
        Of channels, and of ranges of several channels behind them.
    counter : Counter or None
        The one of all runs; without it, and with fewer than two channels that are sure enough, rates stay as they are.

    Notes
    -----
    A channel that begins d ln s too high holds larger particles, which the cleaner holds back better: the rate is off
    by dCADR/dln(size) d ln s, all channels of a counter alike. The slope is that between the channels' own rates.

    Source
    ------
    Algebra; size error of counters as in ISO 21501-4:2018 (from memory).
    """
    if counter is None or not counter.size_limit or len(rates) < 2:
        return list(rates)
    middle = np.array([_middle(rate) for rate in rates])
    value = np.array([float(rate.clean_air.value) for rate in rates])
    sure = np.array([float(rate.clean_air.u) for rate in rates]) < SURE * np.abs(value)
    alone = np.array([not any(_inside(other, rate) for other in rates) for rate in rates])
    known = np.flatnonzero(np.isfinite(middle) & sure & alone)
    if len(known) < 2:
        return list(rates)
    slopes = np.gradient(value[known], middle[known])
    cause = Cause(
        f"{counter.identity}|sizes of a decay ±{counter.size_limit:.6g}",
        shape="rectangular",
        scope="calibration",
        label=f"{counter.label} size limits",
    )
    found = []
    for rate, at in zip(rates, middle, strict=True):
        slope = float(np.interp(at, middle[known], slopes)) if math.isfinite(at) else float(slopes[-1])
        off = Estimate(0.0, (), {cause: [slope * counter.size_limit / math.sqrt(3.0)]})
        inputs = {"clean_air": rate.clean_air, "off": off}
        found.append(replace(rate, clean_air=linear(_off_by, inputs, outputs={"clean_air": ()})["clean_air"]))
    return found


def _off_by(*, clean_air: Array, off: Array) -> dict[str, Array]:
    return {"clean_air": clean_air + off}


def _middle(rate: Rate) -> float:
    """Logarithm of the geometric mean; infinite for an open channel."""
    return math.inf if rate.sizes is None else 0.5 * math.log(rate.sizes.lower) + 0.5 * math.log(rate.sizes.upper)


def _inside(one: Rate, other: Rate) -> bool:
    """Whether one is a part of the other."""
    if one is other or one.sizes is None or other.sizes is None or one.sizes.same(other.sizes):
        return False
    return other.sizes.holds(one.sizes)
