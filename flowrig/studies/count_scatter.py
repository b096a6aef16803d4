"""What counts scatter beyond counting: from sample to sample, and from point to point of the outlet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flowrig.studies.count_sets import CountSet, WeightedSum, at_points, positive
from flowrig.uncertainty.counts import Dispersion
from flowrig.uncertainty.estimate import Array
from flowrig.uncertainty.fluctuation import chance_of, fluctuation_error

ENOUGH = 10.0  # counts behind the filter, below which a channel tells nothing of its scatter
MOST = 3.0  # relative error by scatter: a factor of 20 either way says nothing already
BURST = 0.01  # probability of the scatter of a channel of its own, below which it is taken for no chance


def scatter(
    sets: Sequence[CountSet], parts: Sequence[WeightedSum], shares: Sequence[Array], counting: Array, coverage: float
) -> tuple[Array, Dispersion | None]:
    """What the samples scatter beyond counting: a relative fluctuation of all channels, and channels' own."""
    k = len(counting)
    told = [_chi_square(x, p) for x, p in zip(sets, parts, strict=True)]
    dof = sum(t[2] for t in told)
    if dof == 0:
        return np.zeros(k), None
    square, size = np.sum([t[0] for t in told], axis=0), np.sum([t[1] for t in told], axis=0) / dof
    if not np.any(size > 0.0):
        return np.zeros(k), None
    # the more a channel can tell of a fluctuation, the more its scatter weighs
    seen, scale = float(np.sum(size * square)) / float(np.sum(size)), float(np.sum(size**2) / np.sum(size))
    carried = np.sum([share**2 * _averaging(x) for x, share in zip(sets, shares, strict=True)], axis=0)
    chance = dof * float(np.sum(size) ** 2 / np.sum(size**2))  # channels are counted apart, but fluctuate together
    unsteady = fluctuation_error(seen / dof, dof, chance, carried / scale, counting, coverage)
    beyond = square / (1.0 + size * max(0.0, seen / dof - 1.0) / scale)
    p = chance_of(beyond, dof)
    own = p < BURST
    unsteady = np.minimum(unsteady, MOST)
    return unsteady, Dispersion(np.where(own, beyond / dof, np.nan), dof, p) if np.any(own) else None


def _averaging(x: CountSet) -> Array:
    """Variance of the ratio where every sample has a relative fluctuation of variance 1."""
    all_ = positive(np.sum(x.expected, axis=0))
    variance = np.sum((x.expected / all_) ** 2, axis=0)
    if not x.at_once:  # else what moves both samples at once cancels, and the ratio's own is meant
        carried = x.moved * x.before.counts[np.newaxis]
        variance = variance + np.sum((np.sum(carried, axis=0) / all_) ** 2, axis=0)
    return np.asarray(variance)


def _chi_square(x: CountSet, sum_: WeightedSum) -> tuple[Array, Array, int]:
    """Of counts behind the filter about their ratio at each point: chi square, how much of it a relative fluctuation of
    every sample of variance 1 adds, and its degrees of freedom."""
    member, _ = at_points(x.behind)
    d, k = x.behind.counts.shape
    dof = d - len(member)
    square, size = np.zeros(k), np.zeros(k)
    if dof < 1:
        return square, size, 0
    for j in range(k):
        ratio = member.T @ sum_.points[:, j]
        expected, counts = x.expected[:, j], x.before.counts[:, j]
        square[j] = dof  # as chance has it, where counts are too few to say anything
        if np.sum(x.behind.counts[:, j]) < ENOUGH or not np.all(expected > 0.0):
            continue
        moved = x.moved[:, :, j] * ratio[:, np.newaxis]
        covariance = np.diag(np.maximum(ratio * expected, 0.5)) + (moved * counts) @ moved.T
        design = (member * expected).T  # (d, p)
        inverse = np.linalg.inv(covariance)
        normal = design.T @ inverse @ design
        left = inverse - inverse @ design @ np.linalg.solve(normal, design.T @ inverse)
        square[j] = x.behind.counts[:, j] @ left @ x.behind.counts[:, j]
        fluctuating = np.diag((ratio * expected) ** 2)
        if not x.at_once:
            fluctuating = fluctuating + (moved * counts**2) @ moved.T
        size[j] = np.sum(left * fluctuating)
    return square, size, dof


def points_apart(x: CountSet, sum_: WeightedSum) -> tuple[Array, float, Array]:
    """How far the points of the outlet differ beyond counting, as an error of their mean."""
    member, weight = at_points(x.behind)
    p, k = len(member), x.behind.counts.shape[1]
    if p < 2:
        return np.zeros(k), np.inf, np.zeros(k)
    counted, expected = member @ x.behind.counts, member @ x.expected
    with np.errstate(all="ignore"):
        mean = np.sum(counted, axis=0) / np.sum(expected, axis=0)
        chance = np.maximum(counted, 1.0) / expected**2
        spread = np.sum((sum_.points - np.mean(sum_.points, axis=0)) ** 2, axis=0) / (p - 1)
        excess = np.maximum(spread - np.mean(chance, axis=0), 0.0) * np.sum(weight**2)
        plain = np.mean(sum_.points, axis=0)
        found = np.minimum(np.nan_to_num(np.sqrt(excess) / mean, posinf=0.0), MOST)
        weighting = np.nan_to_num(np.abs(sum_.value - plain) / mean, posinf=0.0)
    return found, float(p - 1), weighting
