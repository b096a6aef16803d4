"""What a counter printed, back to what it counted: whole numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flowrig.records.items import Array

STATED = 0.02  # of a volume: how far flow and time as stated may lie off what the counter reckons with
DIGITS = 6  # decimals that a counter may print
NEAR = 0.05  # of a count: as near to a whole number as rounding leaves it
SMALL = 10.0  # counts from which the volume as stated does not tell whole from not
CHANCE = 1e-5  # that all counts are multiples of a number; less is taken for none


@dataclass(frozen=True)
class Raw:
    """Counts as they were counted.

    Attributes
    ----------
    counts : array, shape (n, k)
        Whole numbers.
    whole : bool
        What was printed is whole numbers of counts; else they were rounded to such.
    times : array, shape (n,)
        How many times smaller the sample was than stated, as all counts are multiples of that number.
    """

    counts: Array
    whole: bool
    times: Array


def raw_counts(printed: Array, volume: Array) -> Raw:
    """Counts from what was printed.

    Parameters
    ----------
    printed : array, shape (n, k)
        Concentrations in the unit of the counter, or counts.
    volume : array, shape (n,)
        Of air sampled, in the same unit; 1 for counts.

    Notes
    -----
    A counter that prints for a volume multiplies: all it prints are multiples of one step. Where that step is one count
    within 2 % of the volume as stated, or a whole number of counts, those are the counts. Where they would then all be
    multiples of a number, which in so many counts is no chance, the sample was smaller by it, and a step is one count.
    Else counts are the concentration times the volume, and whole where that comes near to whole numbers wherever
    rounding can tell.
    """
    counts, times, whole = printed * volume[:, np.newaxis], np.ones(len(volume)), True
    for size in np.unique(volume):
        rows = volume == size
        step = _step(printed[rows])
        parts = round(step * size) if math.isfinite(step) and step * size < 2**53 else 0
        if parts >= 1 and abs(step * size / parts - 1.0) <= STATED:
            different = len(np.unique(printed[rows][printed[rows] > 0.0]))
            if parts > 1 and float(parts) ** -different < CHANCE:
                times[rows] = parts
            counts[rows] = np.round(printed[rows] / step) * (parts / times[rows][:, np.newaxis])
            continue
        own = counts[rows]
        off = np.abs(own - np.round(own))
        told = (own > 0.0) & (own <= SMALL)
        whole = whole and bool(np.any(told) and np.all(off[told] <= NEAR + STATED * own[told]))
        counts[rows] = np.round(own)
    return Raw(counts, whole, times)


def _step(printed: Array) -> float:
    """The greatest number of which all that was printed are multiples, NaN where there is none."""
    values = printed[printed > 0.0]
    for digits in range(DIGITS + 1):
        scaled = values * 10.0**digits
        whole = np.round(scaled)
        if values.size and np.max(whole) < 2**52 and np.all(np.abs(scaled - whole) <= 1e-9 * np.maximum(whole, 1.0)):
            return float(np.gcd.reduce(whole.astype(np.int64))) / 10.0**digits
    return math.nan
