"""What stood before the filter while a sample was taken behind it: by the sample at once, or between neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.studies.samples import Samples
from flowrig.uncertainty.estimate import Array, Bools

OWN = 50.0  # counts in every sample before the filter from which a channel tells its own drift; own judgement, no source
LEAST = 10.0  # the same of all channels together, below which no drift is told


@dataclass(frozen=True)
class Level:
    """Concentration before the filter, at the time of each sample behind it.

    Attributes
    ----------
    value : array, shape (d, k)
        [1/m^3]
    slope : array, shape (d, u, k)
        How it moves with each count before the filter; what the counts carry of it adds up to the value.
    drift_error : array, shape (k,)
        Standard relative error of a drift that other channels told.
    untold : array of bool, shape (k,)
        Too few counts for any drift.
    outside : int
        Samples that lie before the first or after the last one before the filter.
    """

    value: Array
    slope: Array
    drift_error: Array
    untold: Bools
    outside: int


def at_once(before: Samples, partner: list[int]) -> Level:
    """The level of samples that another counter took at the same time.

    Parameters
    ----------
    before : Samples
    partner : list of int
        For each sample behind the filter, which of these it belongs to.
    """
    k = before.counts.shape[1]
    slope = np.zeros((len(partner), len(before), k))
    slope[np.arange(len(partner)), partner] = before.gain[partner][:, np.newaxis]
    value = before.counts[partner] * before.gain[partner][:, np.newaxis]
    return Level(value, slope, np.zeros(k), np.zeros(k, dtype=bool), 0)


def between(before: Samples, behind: Samples) -> Level:
    """The level between neighbours in time, on a straight line of its logarithm.

    Parameters
    ----------
    before, behind : Samples

    Notes
    -----
    A channel with fewer than `OWN` counts in a sample has the drift of itself with as many smaller ones as make up that
    number: the logarithm of few counts is biased, and none has none. Its level is then that of all its counts
    together. That sizes may drift differently is a limit: the whole of the drift taken out.
    """
    m, k = before.counts.shape
    share, outside = _shares(before.time, behind.time)
    gain, own_gain = before.gain[:, np.newaxis], behind.gain
    value, slope = np.zeros((len(behind), k)), np.zeros((len(behind), m, k))
    error, untold = np.zeros(k), np.zeros(k, dtype=bool)
    for j in range(k):
        if np.all(before.counts[:, j] >= OWN) or m == 1:
            count = np.maximum(before.counts[:, j], np.finfo(float).tiny)
            value[:, j] = np.exp(share @ np.log(count * gain[:, 0])) if np.any(before.counts[:, j]) else 0.0
            slope[:, :, j] = share * (value[:, [j]] / count)
            continue
        pooled = _pooled(before.counts, j)
        untold[j] = pooled is None
        counted = np.ones(m) / gain[:, 0] if pooled is None else pooled
        profile = counted * gain[:, 0]
        along = np.exp(share @ np.log(profile))
        expected, seen = along / own_gain, profile / gain[:, 0]
        total = np.sum(before.counts[:, j])
        level = total / np.sum(seen)
        value[:, j] = level * along
        slope[:, :, j] = along[:, np.newaxis] / np.sum(seen)
        if pooled is not None:
            moved = share.T @ expected / np.sum(expected) - seen / np.sum(seen)
            drift = np.log(np.sum(expected) / np.sum(seen) * np.sum(1 / gain[:, 0]) / np.sum(1 / own_gain))
            error[j] = np.sqrt(np.sum(moved**2 / pooled) + drift**2 / 3)
    return Level(value, slope, error, untold, outside)


def _shares(before: Array, behind: Array) -> tuple[Array, int]:
    """How much each sample before the filter has in the level at each time, and how many times lie outside."""
    m = len(before)
    order = np.argsort(before, kind="stable")
    times = before[order]
    share = np.zeros((len(behind), m))
    if m == 1:
        share[:, 0] = 1.0
        return share, 0
    left = np.clip(np.searchsorted(times, behind, side="right") - 1, 0, m - 2)
    step = times[left + 1] - times[left]
    along = np.where(step > 0.0, (behind - times[left]) / np.where(step > 0.0, step, 1.0), 0.5)
    rows = np.arange(len(behind))
    share[rows, order[left]] = 1.0 - along
    share[rows, order[left + 1]] += along
    return share, int(np.sum((behind < times[0]) | (behind > times[-1])))


def _pooled(counts: Array, channel: int) -> Array | None:
    for smallest in range(channel - 1, -1, -1):
        together = np.sum(counts[:, smallest : channel + 1], axis=1)
        if np.all(together >= OWN):
            return np.asarray(together)
    everything = np.sum(counts, axis=1)
    return np.asarray(everything) if np.all(everything >= LEAST) else None
