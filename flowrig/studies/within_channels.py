"""What counting alone does not tell: where in a channel its particles were, while efficiency changes over it."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from flowrig.physics.channel_content import content_shift, efficiency_across
from flowrig.physics.size_averages import CHANNELS
from flowrig.records.sizes import Sizes
from flowrig.studies.by_size import BySize
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Bools, Estimate

# Particles get fewer with size as a power that the counts before the filter tell; what it is at least taken to be.
# Outdoors it is about 3 (from memory), in the workshop count of the reference data up to 5 near 0.5 um.
LEAST = 2.0
# How much more than that makes is allowed for: between channels the curve of efficiency is not straight. Own judgement,
# after simulated curves, of which it left seven tenths of the limit.
BEYOND = 1.5
CONTENT = Cause(
    "method:particles|where in a channel",
    shape="rectangular",
    scope="method",
    label="where in a channel its particles were",
)
ONE_CHANNEL = "one channel alone does not tell how efficiency changes with size"


def content() -> Estimate:
    """One error of between -1 and 1 for all channels: particles get fewer with size in all of them."""
    return Estimate(0.0, (), {CONTENT: [1.0 / math.sqrt(3.0)]})


def off_by(average: Array, error: Array) -> Array:
    """An average with that error, which lifts no efficiency above 1."""
    return np.minimum(average + error, np.maximum(average, 1.0))


def content_limits(by_size: BySize, *, standard: bool = False) -> Array:
    """By how much the efficiency in each channel may be that of other sizes than its mean.

    Parameters
    ----------
    by_size : BySize
    standard : bool
        A channel of the standards is what it is by definition, and has none.

    Returns
    -------
    array, shape (k,)
        Signed as efficiency changes with size. 0 for an open channel, NaN where a single channel is all there is.

    Notes
    -----
    The change of efficiency over the channel, times how far from its middle the particles lie by the steepness that the
    counts before the filter show from channel to channel, and half as much again. The middle of a channel is not
    corrected, it is not trusted: averages stay those of the efficiencies as told. A counter with few wide channels
    cannot do better, however many particles it counts.
    """
    closed = _closed(by_size)
    limits = _across(by_size)
    limits[closed] *= BEYOND * content_shift(by_size.lower[closed], by_size.upper[closed], _steepness(by_size)[closed])
    if standard:
        limits[[_of_the_standard(a, b) for a, b in zip(by_size.lower, by_size.upper, strict=True)]] = 0.0
    return limits


def range_limits(by_size: BySize, sizes: Sizes, weights: Array) -> float:
    """The same of a mean over a range of sizes; a channel that an end of the range cuts counts from its own middle.

    Parameters
    ----------
    by_size : BySize
    sizes : Sizes
    weights : array, shape (k,)
        As of `log_size_weights`.
    """
    with np.errstate(all="ignore"):
        part = np.log(np.maximum(by_size.lower, sizes.lower) * np.minimum(by_size.upper, sizes.upper)) / 2.0
        off = np.abs(part - np.log(by_size.lower * by_size.upper) / 2.0) / np.log(by_size.upper / by_size.lower)
        limits = content_limits(by_size) + _across(by_size) * np.where(np.isfinite(off), off, 0.0)
        return float(np.sum(np.where(weights > 0.0, weights * limits, 0.0)))


def _closed(by_size: BySize) -> Bools:
    return np.isfinite(by_size.upper) & np.isfinite(by_size.penetration.value)


def _across(by_size: BySize) -> Array:
    """Change of efficiency over each channel; 0 for one that has no end or no value."""
    closed, change = _closed(by_size), np.zeros(len(by_size))
    held = 1.0 - by_size.penetration.value[closed]
    change[closed] = efficiency_across(held, by_size.lower[closed], by_size.upper[closed])
    return change


def _steepness(by_size: BySize) -> Array:
    """Power of size by which particles get fewer (or more) about each closed channel."""
    closed, steepness = _closed(by_size), np.full(len(by_size), LEAST)
    lower, upper = by_size.lower[closed], by_size.upper[closed]
    width = np.log(upper / lower)
    fewer = efficiency_across(np.log((by_size.counted[closed, 0] + 0.5) / width), lower, upper)
    steepness[closed] = np.maximum(np.abs(fewer) / width, LEAST)
    return steepness


def _of_the_standard(lower: float, upper: float) -> bool:
    own = Sizes(float(lower), float(upper))
    return any(own.same(Sizes(a, b)) for a, b in pairwise(CHANNELS))
