"""Counts behind the filter over counts before it: the ratio of a run, what counting leaves open, and its scatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from flowrig.studies.count_scatter import points_apart, scatter
from flowrig.studies.count_sets import CountSet, WeightedSum, part_of, sets_of, union, weighted_sum
from flowrig.studies.samples import Samples
from flowrig.uncertainty.counts import Dispersion
from flowrig.uncertainty.estimate import Array, Bools
from flowrig.uncertainty.weighted_counts import weighted_ratio_limits, weighted_ratio_upper

ENOUGH = 10.0  # counts behind the filter by each of two counters, from which the mean of their ratios is geometric
Key = tuple[str, bool]  # a counter, and whether it sampled before the filter


@dataclass(frozen=True)
class Side:
    """What one counter counted in one place.

    Attributes
    ----------
    share : array, shape (k,)
        Its part in the ratio: exponents of counts behind the filter add up to 1, of those before it to 1.
    hidden : array, shape (k,)
        Mean of `Samples.hidden`, by weight in the ratio.
    false : array, shape (k,)
        What one false count for a volume adds: behind the filter to the ratio, before it to the level as a share of it.
        [m^3]
    counts : array, shape (k,)
        Counts a volume, for the form of the spectrum. [1/m^3]
    """

    share: Array
    hidden: Array
    false: Array
    counts: Array


@dataclass(frozen=True)
class Ratio:
    """Counts behind over counts before the filter, of one run.

    Attributes
    ----------
    value : array, shape (k,)
        NaN where nothing was counted before the filter.
    u : array, shape (k,)
        Standard uncertainty from counting alone. A count of none is taken to scatter like one.
    low, high : array, shape (k,)
        Exact limits at the coverage asked for, of counting alone; where nothing was counted behind the filter `high` is
        one-sided.
    counted : array, shape (k, 2)
        Raw counts before and behind, in all.
    sides : mapping of (counter, upstream) to Side
    unsteady : array, shape (k,)
        Relative error from what the samples scatter beyond counting, of a size that holds at the coverage asked for.
    points : array, shape (k,)
        Standard relative error from how the points of the outlet differ beyond counting.
    points_dof : float
    weighting : array, shape (k,)
        Relative difference to the plain mean over the points.
    drift_error : array, shape (k,)
        As in `Level`.
    burst : Dispersion or None
        Of channels that scatter more than all of them do.
    repeats : int
        Samples behind the filter.
    untold, outside
        As in `Level`.
    """

    value: Array
    u: Array
    low: Array
    high: Array
    counted: Array
    sides: Mapping[Key, Side]
    unsteady: Array
    points: Array
    points_dof: float
    weighting: Array
    drift_error: Array
    burst: Dispersion | None
    repeats: int
    untold: Bools
    outside: int


def counted_ratio(samples: Samples, coverage: float = 0.95) -> Ratio:
    """The ratio of a run by channel.

    Parameters
    ----------
    samples : Samples
        Of one run, at least one on each side.
    coverage : float

    Notes
    -----
    Counts behind the filter over what is expected of them by the level before it, as a ratio of sums. Two counters that
    changed places: the root of the product of their two ratios, in which what each sees cancels; with fewer than
    `ENOUGH` counts behind the filter by either, the ratio of the sums of both, in which it cancels but for the drift
    between (1 - eps delta/2, with eps the difference of the counters and delta that of the two times).

    The samples' scatter beyond counting is taken as one relative fluctuation of all channels, weighed by what each can
    tell of it; a channel that scatters more than that, which chance explains in less than one case of a hundred, has
    wider limits by itself.
    """
    sets = sets_of(samples)
    whole = union(sets)
    together = weighted_sum(whole)
    parts = [weighted_sum(x) for x in sets]
    behind, before = together.behind, together.before
    value = together.value.copy()
    shares = [part_of(x, whole) for x in sets]
    if len(sets) > 1:
        counts = np.array([np.sum(x.behind.counts, axis=0) for x in sets])
        values = np.array([p.value for p in parts])
        apart = np.all((counts >= ENOUGH) & (values > 0.0), axis=0)
        logs = np.log(np.where(apart, values, 1.0))
        mean = np.exp(np.mean(logs, axis=0))
        each = [mean / (len(sets) * np.where(apart, p.value, 1.0)) * p.behind for p in parts]
        behind = np.where(apart, np.concatenate(each), behind)
        before = np.where(apart, np.concatenate([p.before / len(sets) for p in parts]), before)
        value = np.where(apart, mean, value)
        shares = [np.where(apart, 1 / len(sets), s) for s in shares]

    n_behind, n_before = whole.behind.counts, whole.before.counts
    none = np.sum(n_behind, axis=0) == 0.0
    seen = np.isfinite(value)
    u = _counting(behind, n_behind, before, n_before, value)
    with np.errstate(all="ignore"):
        relative = np.where(value > 0.0, u / value, 1.0)
    unsteady, burst = scatter(sets, parts, shares, np.where(np.isfinite(relative), relative, 1.0), coverage)
    if burst is not None:
        u = u * np.sqrt(np.where(burst.ratio > 1.0, burst.ratio, 1.0))
    sums = (n_behind.T, behind.T, n_before.T, before.T)
    low, high = weighted_ratio_limits(*sums, coverage, burst)
    high = np.where(none, weighted_ratio_upper(*sums, coverage, burst), high)
    between_points, points_dof, weighting = points_apart(whole, together)
    return Ratio(
        value=value,
        u=u,
        low=np.where(seen, low, np.nan),
        high=np.where(seen, high, np.nan),
        counted=np.stack([np.sum(n_before, axis=0), np.sum(n_behind, axis=0)], axis=1),
        sides=_sides(sets, parts, shares, behind, before, value),
        unsteady=unsteady,
        points=between_points,
        points_dof=points_dof,
        weighting=weighting,
        drift_error=np.sqrt(sum(s**2 * x.level.drift_error**2 for s, x in zip(shares, sets, strict=True))),
        burst=burst,
        repeats=len(whole.behind),
        untold=np.any([x.level.untold for x in sets], axis=0),
        outside=sum(x.level.outside for x in sets),
    )


def _counting(behind: Array, n_behind: Array, before: Array, n_before: Array, value: Array) -> Array:
    none = np.sum(n_behind, axis=0) == 0.0
    own = np.sum(behind**2 * n_behind, axis=0)
    own = np.where(none, np.max(behind, axis=0) ** 2, own)
    return np.asarray(np.sqrt(own + value**2 * np.sum(before**2 * n_before, axis=0)))


def _sides(
    sets: Sequence[CountSet],
    parts: Sequence[WeightedSum],
    shares: Sequence[Array],
    behind: Array,
    before: Array,
    value: Array,
) -> dict[Key, Side]:
    found: dict[Key, Side] = {}
    d = u = 0
    for x, share in zip(sets, shares, strict=True):
        a, b = behind[d : d + len(x.behind)], before[u : u + len(x.before)]
        d, u = d + len(x.behind), u + len(x.before)
        for samples, weights, up in ((x.behind, a, False), (x.before, b, True)):
            key = (samples.counter[0], up)
            volume, hidden = samples.volume[:, np.newaxis], samples.hidden[:, np.newaxis]
            carried = weights * samples.counts
            with np.errstate(all="ignore"):
                mean = np.where(
                    np.sum(carried, axis=0) > 0.0,
                    np.sum(carried * hidden, axis=0) / np.sum(carried, axis=0),
                    np.mean(samples.hidden),
                )
            side = Side(
                share,
                mean,
                np.sum(weights * volume, axis=0),
                np.sum(samples.counts, axis=0) / np.sum(samples.volume),
            )
            found[key] = _added(found[key], side) if key in found else side
    return found


def _added(one: Side, other: Side) -> Side:
    share = one.share + other.share
    with np.errstate(all="ignore"):
        hidden = np.nan_to_num((one.share * one.hidden + other.share * other.hidden) / share)
    return Side(share, hidden, one.false + other.false, one.counts + other.counts)
