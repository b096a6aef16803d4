"""Samples behind the filter with the level before them, and the weighted sums that their ratio is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from flowrig.studies.samples import Samples
from flowrig.studies.upstream_level import Level, at_once, between
from flowrig.uncertainty.estimate import Array


@dataclass(frozen=True)
class CountSet:
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
class WeightedSum:
    """A ratio as weighted sums: of counts behind the filter, and of those before it with the sum 1."""

    value: Array
    behind: Array
    before: Array
    points: Array = field(default_factory=lambda: np.zeros(0))  # (p, k) ratio at each point


def sets_of(samples: Samples) -> list[CountSet]:
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
            sets.append(CountSet(before.only(taken), own, level, True))
        else:
            from_ = run_together(before.only(before.by(other)), own)
            sets.append(CountSet(from_, own, between(from_, own), False))
    return sets


def run_together(before: Samples, behind: Samples) -> Samples:
    """Samples before the filter between which none was taken behind it, as one."""
    order = np.argsort(before.time, kind="stable")
    block = np.searchsorted(np.sort(behind.time), before.time[order])
    groups = [order[block == b] for b in np.unique(block)]
    if all(len(group) == 1 for group in groups):
        return before
    first = before.only([int(group[0]) for group in groups])
    return replace(
        first,
        time=np.array([np.mean(before.time[group]) for group in groups]),
        counts=np.array([np.sum(before.counts[group], axis=0) for group in groups]),
        volume=np.array([np.sum(before.volume[group]) for group in groups]),
        hidden=np.array([np.mean(before.hidden[group]) for group in groups]),
    )


def union(sets: Sequence[CountSet]) -> CountSet:
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
    return CountSet(_joined([x.before for x in sets]), _joined([x.behind for x in sets]), level, sets[0].at_once)


def _joined(several: Sequence[Samples]) -> Samples:
    return replace(
        several[0],
        time=np.concatenate([s.time for s in several]),
        upstream=np.concatenate([s.upstream for s in several]),
        counter=tuple(name for s in several for name in s.counter),
        point=tuple(name for s in several for name in s.point),
        velocity=np.concatenate([s.velocity for s in several]),
        counts=np.concatenate([s.counts for s in several]),
        volume=np.concatenate([s.volume for s in several]),
        hidden=np.concatenate([s.hidden for s in several]),
    )


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


def at_points(behind: Samples) -> tuple[Array, Array]:
    """Which samples belong to each point (p, d), and its weight (p,)."""
    weights = point_weights(behind)
    member = np.array([[p == point for p in behind.point] for point in weights], dtype=float)
    return member, np.array(list(weights.values()))


def weighted_sum(x: CountSet) -> WeightedSum:
    member, weight = at_points(x.behind)
    counted, expected = member @ x.behind.counts, member @ x.expected  # (p, k)
    per = np.divide(1.0, expected, out=np.zeros_like(expected), where=expected > 0.0)
    ratio = counted * per
    value = weight @ ratio
    behind = member.T @ (weight[:, np.newaxis] * per)
    part = np.where(
        value > 0.0, weight[:, np.newaxis] * ratio / positive(value), weight[:, np.newaxis]
    )  # (p, k), sum 1
    before = np.einsum("pk,pd,duk->uk", part * per, member, x.moved)
    # a point before which nothing was counted leaves the whole unknown
    return WeightedSum(np.where(np.all(expected > 0.0, axis=0), value, np.nan), behind, before, ratio)


def part_of(x: CountSet, whole: CountSet) -> Array:
    return np.asarray(np.sum(x.expected, axis=0) / positive(np.sum(whole.expected, axis=0)))


def positive(values: Array) -> Array:
    return np.where(values > 0.0, values, np.inf)
