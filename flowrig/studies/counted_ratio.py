"""Counts behind the filter over counts before it: the ratio of a run, what counting leaves open, and its scatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from flowrig.studies.samples import Samples
from flowrig.studies.upstream_level import Level, at_once, between
from flowrig.uncertainty.counts import Dispersion
from flowrig.uncertainty.estimate import Array, Bools
from flowrig.uncertainty.weighted_counts import weighted_ratio_limits, weighted_ratio_upper

ENOUGH = 10.0  # counts behind the filter by each of two counters, from which the mean of their ratios is geometric
MIXED = 400  # sizes of a fluctuation that are mixed
BURST = 0.01  # probability of the scatter of a channel of its own, below which it is taken for no chance
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


@dataclass(frozen=True)
class _Set:
    """Samples behind the filter with the level before it."""

    before: Samples
    behind: Samples
    level: Level
    at_once: bool

    @property
    def expected(self) -> Array:
        """Counts behind the filter, were there none. (d, k)"""
        return np.asarray(self.level.value / self.behind.gain[:, np.newaxis])

    @property
    def moved(self) -> Array:
        """How they move with each count before the filter. (d, u, k)"""
        return np.asarray(self.level.slope / self.behind.gain[:, np.newaxis, np.newaxis])


@dataclass
class _Sum:
    """A ratio as weighted sums: of counts behind the filter, and of those before it with the sum 1."""

    value: Array
    behind: Array
    before: Array
    points: Array = field(default_factory=lambda: np.zeros(0))  # (p, k) ratio at each point


def sets_of(samples: Samples) -> list[_Set]:
    """Samples of a run by which counters stood before and behind the filter."""
    before, behind = samples.only(samples.upstream), samples.only(~samples.upstream)
    found: dict[tuple[str, str, bool], list[tuple[int, int]]] = {}
    for i, name in enumerate(behind.counter):
        twins = [
            u for u in range(len(before)) if before.time[u] == behind.time[i] and before.counter[u] != behind.counter[i]
        ]
        if twins:
            found.setdefault((before.counter[twins[0]], name, True), []).append((i, twins[0]))
        else:
            other = name if name in before.counter else before.counter[0]
            found.setdefault((other, name, False), []).append((i, -1))
    sets = []
    for (other, _, twin), rows in found.items():
        own = behind.only([i for i, _ in rows])
        if twin:
            taken = sorted({u for _, u in rows})
            level = at_once(before.only(taken), [taken.index(u) for _, u in rows])
            sets.append(_Set(before.only(taken), own, level, True))
        else:
            from_ = before.only(before.by(other))
            sets.append(_Set(from_, own, between(from_, own), False))
    return sets


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
    whole = _union(sets)
    together = _sum(whole)
    parts = [_sum(x) for x in sets]
    behind, before = together.behind, together.before
    value = together.value.copy()
    shares = [_part_of(x, whole) for x in sets]
    if len(sets) > 1:
        counts = np.array([np.sum(x.behind.counts, axis=0) for x in sets])
        apart = np.all(counts >= ENOUGH, axis=0)
        logs = np.log(np.where(apart, np.array([p.value for p in parts]), 1.0))
        mean = np.exp(np.mean(logs, axis=0))
        each = [mean / (len(sets) * np.where(apart, p.value, 1.0)) * p.behind for p in parts]
        behind = np.where(apart, np.concatenate(each), behind)
        before = np.where(apart, np.concatenate([p.before / len(sets) for p in parts]), before)
        value = np.where(apart, mean, value)
        shares = [np.where(apart, 1 / len(sets), s) for s in shares]

    n_behind, n_before = whole.behind.counts, whole.before.counts
    none = np.sum(n_behind, axis=0) == 0.0
    seen = np.sum(n_before, axis=0) > 0.0
    value = np.where(seen, value, np.nan)
    u = _counting(behind, n_behind, before, n_before, value)
    with np.errstate(all="ignore"):
        relative = np.where(value > 0.0, u / value, 1.0)
    unsteady, burst = _scatter(sets, parts, shares, np.where(np.isfinite(relative), relative, 1.0), coverage)
    if burst is not None:
        u = u * np.sqrt(np.where(burst.ratio > 1.0, burst.ratio, 1.0))
    sums = (n_behind.T, behind.T, n_before.T, before.T)
    low, high = weighted_ratio_limits(*sums, coverage, burst)
    high = np.where(none, weighted_ratio_upper(*sums, coverage, burst), high)
    between_points, points_dof, weighting = _points(whole, together)
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


def _union(sets: Sequence[_Set]) -> _Set:
    """All samples together, each with its own level."""
    if len(sets) == 1:
        return sets[0]
    d, u = [len(x.behind) for x in sets], [len(x.before) for x in sets]
    k = sets[0].level.value.shape[1]
    slope = np.zeros((sum(d), sum(u), k))
    for i, x in enumerate(sets):
        a, b = sum(d[:i]), sum(u[:i])
        slope[a : a + d[i], b : b + u[i]] = x.level.slope
    value = np.concatenate([x.level.value for x in sets])
    level = Level(value, slope, np.zeros(k), np.zeros(k, dtype=bool), 0)
    return _Set(_joined([x.before for x in sets]), _joined([x.behind for x in sets]), level, sets[0].at_once)


def _joined(several: Sequence[Samples]) -> Samples:
    first = several[0]
    arrays = {
        name: np.concatenate([getattr(s, name) for s in several])
        for name in ("time", "upstream", "velocity", "counts", "volume", "hidden")
    }
    names = {name: tuple(x for s in several for x in getattr(s, name)) for name in ("counter", "point")}
    return Samples(**arrays, **names, lower=first.lower, upper=first.upper)


def point_weights(behind: Samples) -> dict[str, float]:
    """Share of each point of the outlet in the flow: by its velocity, where it was read at all of them."""
    points = list(dict.fromkeys(behind.point))
    speed = np.array([_mean(behind.velocity[[p == point for p in behind.point]]) for point in points])
    if np.any(np.isnan(speed)) or not np.sum(speed) > 0.0:
        speed = np.ones(len(points))
    return dict(zip(points, (speed / np.sum(speed)).tolist(), strict=True))


def _mean(values: Array) -> float:
    known = values[~np.isnan(values)]
    return float(np.mean(known)) if known.size else float("nan")


def _at_points(behind: Samples) -> tuple[Array, Array]:
    """Which samples belong to each point (p, d), and its weight (p,)."""
    weights = point_weights(behind)
    member = np.array([[p == point for p in behind.point] for point in weights], dtype=float)
    return member, np.array(list(weights.values()))


def _sum(x: _Set) -> _Sum:
    member, weight = _at_points(x.behind)
    counted, expected = member @ x.behind.counts, member @ x.expected  # (p, k)
    per = np.divide(1.0, expected, out=np.zeros_like(expected), where=expected > 0.0)
    ratio = counted * per
    value = weight @ ratio
    behind = member.T @ (weight[:, np.newaxis] * per)
    part = np.where(value > 0.0, weight[:, np.newaxis] * ratio / _positive(value), weight[:, np.newaxis])  # (p, k), sum 1
    before = np.einsum("pk,pd,duk->uk", part * per, member, x.moved)
    return _Sum(value, behind, before, ratio)


def _part_of(x: _Set, whole: _Set) -> Array:
    return np.asarray(np.sum(x.expected, axis=0) / _positive(np.sum(whole.expected, axis=0)))


def _scatter(
    sets: Sequence[_Set], parts: Sequence[_Sum], shares: Sequence[Array], counting: Array, coverage: float
) -> tuple[Array, Dispersion | None]:
    """What the samples scatter beyond counting: a relative fluctuation of all channels, and channels' own."""
    from scipy.special import chdtrc

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
    unsteady = _fluctuation(seen / dof, dof, chance, carried / scale, counting, coverage)
    beyond = square / (1.0 + size * max(0.0, seen / dof - 1.0) / scale)
    p = np.asarray(chdtrc(dof, beyond))
    own = p < BURST
    return unsteady, Dispersion(np.where(own, beyond / dof, np.nan), dof, p) if np.any(own) else None


def _averaging(x: _Set) -> Array:
    """Variance of the ratio where every sample has a relative fluctuation of variance 1."""
    all_ = _positive(np.sum(x.expected, axis=0))
    variance = np.sum((x.expected / all_) ** 2, axis=0)
    if not x.at_once:  # else what moves both samples at once cancels, and the ratio's own is meant
        carried = x.moved * x.before.counts[np.newaxis]
        variance = variance + np.sum((np.sum(carried, axis=0) / all_) ** 2, axis=0)
    return np.asarray(variance)


def _fluctuation(seen: float, dof: int, chance: float, carried: Array, counting: Array, coverage: float) -> Array:
    """Relative error of the mean ratio by a fluctuation, such that with that of counting it gives the coverage.

    Parameters
    ----------
    seen : float
        Chi square over its degrees of freedom.
    dof : int
        Of the fluctuation.
    chance : float
        Of counting: more, where several channels tell.
    carried : array, shape (k,)
        Variance of the ratio for each by which `seen` is above 1.
    counting : array, shape (k,)
        Relative standard error by counting.
    coverage : float

    Notes
    -----
    The fluctuation's size is known by as few degrees of freedom as there are samples more than one: the normal
    distributions of all sizes that go with what was seen are mixed, where chi square at chance or below leaves none.
    Without counting it is Student's t; without a fluctuation little is added.
    """
    from scipy.optimize import elementwise
    from scipy.special import chdtri, ndtr

    from flowrig.uncertainty.interval import coverage_factor

    places = (np.arange(MIXED) + 0.5) / MIXED
    counted, fluctuated = chdtri(chance, places) / chance, chdtri(dof, places) / dof
    excess = np.maximum(0.0, (seen - counted) / fluctuated)
    variance = 1.0 + excess[:, np.newaxis] * carried / counting**2  # (mixed, k), of that by counting
    tail = 0.5 * (1.0 + coverage)

    def missed(h: Array, column: Array) -> Array:
        return np.mean(ndtr(h / np.sqrt(variance[:, column.astype(int)])), axis=0) - tail

    least, most = float(coverage_factor(coverage)), np.sqrt(np.max(variance)) * 40.0
    columns = np.arange(len(counting), dtype=float)
    found = elementwise.find_root(missed, (np.full(len(counting), 0.5 * least), np.full(len(counting), most)), args=(columns,))
    return np.asarray(counting * np.sqrt(np.maximum((found.x / least) ** 2 - 1.0, 0.0)))


def _positive(values: Array) -> Array:
    return np.where(values > 0.0, values, np.inf)


def _chi_square(x: _Set, sum_: _Sum) -> tuple[Array, Array, int]:
    """Of counts behind the filter about their ratio at each point: chi square, how much of it a relative fluctuation of
    every sample of variance 1 adds, and its degrees of freedom."""
    member, _ = _at_points(x.behind)
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


def _points(x: _Set, sum_: _Sum) -> tuple[Array, float, Array]:
    """How far the points of the outlet differ beyond counting, as an error of their mean."""
    member, weight = _at_points(x.behind)
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
        found = np.nan_to_num(np.sqrt(excess) / mean, posinf=0.0)
        weighting = np.nan_to_num(np.abs(sum_.value - plain) / mean, posinf=0.0)
    return found, float(p - 1), weighting


def _sides(
    sets: Sequence[_Set],
    parts: Sequence[_Sum],
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
