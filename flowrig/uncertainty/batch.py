"""Intervals for the rows of a batch: linear for all, Monte Carlo for those that need it, drawn together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from flowrig.progress import doing
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Axes, Bools, Estimate, Places, align
from flowrig.uncertainty.interval import (
    CURVED,
    NO_NARROWER,
    Interval,
    check_samples,
    coverage_factor,
    draw_ends,
    few_known,
    hard_ended,
    linear_interval,
    rounding,
    shaped,
    tangent,
)
from flowrig.uncertainty.montecarlo import CHUNK
from flowrig.uncertainty.propagate import Deviates, Node, alone, evaluate, take

PROBE = 6  # draws of the probe of a batch, beside the two moves along the gradient
BLIND = 24  # draws of the probe where rows depend on each other, and have no gradient each
MOST = 2_000  # rows drawn
ROW_DRAWS = 16 * CHUNK  # at most, a row
LEAST = 4  # chunks before the ends of a row can be told to have settled
STABLE = 0.05  # of u: the ends of a row need be no better
HELD = 16_000_000  # draws of a batch held in memory at once


def probe(estimate: Estimate, coverage: float = 0.95) -> Array:
    """How far each row of a batch bends away from its own tangent. See `probes`."""
    return probes([estimate], coverage)[0]


def probes(estimates: Sequence[Estimate], coverage: float = 0.95) -> list[Array]:
    """How far each row of a batch bends away from its own tangent, in units of u: two calls of the kernel.

    First all causes are moved together, k along the gradient to either side: a kernel that is linear there gives back
    ± k·u exactly. Then a few draws, compared with the tangent at the same deviates, see what bends across the
    gradient, or where there is no gradient; their largest departure counts a third, as it shifts the ends by less.
    Where rows depend on each other, one call cannot move each along its own gradient: then more draws stand alone.
    The few draws are the same for results that were computed together.

    Returns
    -------
    list of array, one entry a row
        Infinite where the kernel has no value nearby, or bends while its tangent is flat; 0 where only rounding is
        left.
    """
    k = float(coverage_factor(coverage))
    separate = [all(alone(x, axis) for axis in x.axes) for x in estimates]
    moved: dict[int, tuple[Array, Axes]] = {}
    for draws in (PROBE, BLIND):
        some = [i for i, own in enumerate(separate) if own == (draws == PROBE)]
        moved |= zip(some, evaluate([estimates[i] for i in some], _few_draws(draws)), strict=True)
    return [_bend(x, moved[i], k, separate[i]) for i, x in enumerate(estimates)]


def _bend(estimate: Estimate, moved: tuple[Array, Axes], k: float, separate: bool) -> Array:
    u = estimate.u
    drawn = align(*moved, estimate.axes, 1)
    [(straight, _)] = evaluate([tangent(estimate)], _few_draws(len(drawn)))
    with np.errstate(divide="ignore", invalid="ignore"):
        departure = np.max(np.abs(drawn - straight), axis=0)
        if separate:
            [(along, own)] = evaluate([estimate], _along_gradient(estimate, k))
            shift = align(along, own, estimate.axes, 1) - estimate.value
            beside = np.max(np.abs(shift - k * u * np.array([1, -1]).reshape(2, *[1] * u.ndim)), axis=0)
            departure = np.maximum(beside, departure / 3)
        bend = np.where(departure > rounding(estimate), departure / u, 0.0)
        return np.where(np.isfinite(departure), bend, np.inf)


def _few_draws(draws: int) -> Deviates:
    """A handful of normal deviates for every direction at every place, from one stream a cause.

    `montecarlo.deviates` gives every place a stream of its own, which a batch of a million rows has no time for.
    """
    known: dict[str, Array] = {}

    def draw(cause: Cause, places: Places) -> tuple[Array, Axes]:
        positions, full = places if cause.each is not None else (np.arange(1), 1)
        if cause.id not in known:
            known[cause.id] = np.random.default_rng(list(cause.id.encode())).standard_normal((draws, cause.n * full))
        z = known[cause.id].reshape(draws, cause.n, full)
        return (z[:, :, 0], ()) if cause.each is None else (z[:, :, positions], (cause.each,))

    return draw


def _along_gradient(estimate: Estimate, k: float) -> Deviates:
    """Deviates that move each row k u up, then k u down, the shortest way."""
    u = estimate.u
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = {cause.id: (cause, np.where(u > 0, part / u, 0.0)) for cause, part in estimate.parts.items()}

    def deviates(cause: Cause, places: Places) -> tuple[Array, Axes]:
        if cause.id not in unit:
            return (np.zeros((2, cause.n)), ()) if cause.each is None else (np.zeros((2, cause.n, 1)), (cause.each,))
        found, direction = unit[cause.id]
        z = k * np.stack([direction, -direction])
        if cause.each is None or found.each is not None:
            return z, estimate.axes
        # unrolled on the way: look each place up among the directions
        positions, full = places
        z = z.reshape(2, cause.n, full, *u.shape)[:, :, positions]
        if cause.each in estimate.axes:
            return np.moveaxis(np.diagonal(z, axis1=2, axis2=3 + estimate.axes.index(cause.each)), -1, 2), estimate.axes
        return np.moveaxis(z, 2, -1), (*estimate.axes, cause.each)

    return deviates


def batch_interval(
    estimate: Estimate,
    coverage: float = 0.95,
    *,
    samples: int | None = None,
    seed: int = 1,
    most: int = MOST,
) -> tuple[Interval, Bools]:
    """Intervals for one result of a batch. See `batch_intervals`."""
    return batch_intervals({"": estimate}, coverage, samples=samples, seed=seed, most=most)[""]


@doing("intervals of every row")
def batch_intervals(
    estimates: Mapping[str, Estimate],
    coverage: float = 0.95,
    *,
    samples: int | None = None,
    seed: int = 1,
    most: int = MOST,
) -> dict[str, tuple[Interval, Bools]]:
    """Intervals for a batch along its one axis; results that were computed together are drawn together.

    Linear for every row; Monte Carlo for the rows that the probe finds curved, the worst first, then for those that
    few degrees of freedom dominate, up to `most` in all, or for every row if `samples` is given. A dominating
    rectangular cause is only marked: at a coverage of 0.9 or more it makes the linear interval wider than it need be.
    The ends of a drawn row are good to 0.05 u.

    Returns
    -------
    dict of (interval, drawn)
        The interval with arrays of one entry a row; the rows whose interval is Monte Carlo. A curved row that is not
        among them keeps its linear interval, and the caller says so.

    Raises
    ------
    ValueError
        If an estimate has not one axis, or `samples` is below 2.
    """
    check_samples(samples)
    for x in estimates.values():
        if len(x.axes) != 1:
            raise ValueError(f"a batch has one axis, this has {x.axes}")
    bends = probes(list(estimates.values()), coverage)
    rows = {name: _Rows(x, coverage, bend) for (name, x), bend in zip(estimates.items(), bends, strict=True)}
    wanted = np.unique(np.concatenate([r.wanted(samples, most) for r in rows.values()]))
    at_once = max(1, HELD // ((samples or ROW_DRAWS) * len(rows)))
    for start in range(0, len(wanted), at_once):
        some = wanted[start : start + at_once]
        memo: dict[int, Node] = {}
        taken = [take(x, x.axes[0], some, memo) for x in estimates.values()]
        found, draws, stable = draw_ends(taken, coverage, samples, seed, most=ROW_DRAWS, least=LEAST, tolerance=STABLE)
        for r, ends in zip(rows.values(), found, strict=True):
            r.take(some, ends, draws, stable)
    return {name: r.result() for name, r in rows.items()}


class _Rows:
    """The rows of one result while their intervals are found."""

    def __init__(self, estimate: Estimate, coverage: float, bend: Array) -> None:
        self.estimate, self.coverage = estimate, coverage
        low, high, self.factor = linear_interval(estimate, coverage)
        self.low, self.high = low.copy(), high.copy()
        self.valued = np.isfinite(estimate.value)  # a row without a value has no interval either
        self.bend = np.where(self.valued, bend, 0.0)
        self.curved = self.bend > CURVED
        # below a coverage of 0.9 a rectangle reaches further than the normal factor says
        narrow = hard_ended(estimate) if coverage < NO_NARROWER else False
        self.few = self.valued & (few_known(estimate) | narrow)
        self.drawn = np.zeros(len(low), dtype=bool)
        self.lost, self.spread = np.zeros(len(low)), np.full(len(low), np.nan)
        self.draws, self.stable = 0, True

    def wanted(self, samples: int | None, most: int) -> NDArray[np.intp]:
        """Rows to draw, the worst first where there are too many."""
        if samples is not None:
            return np.flatnonzero(self.valued)
        worst = np.argsort(-np.where(self.curved, 1 + self.bend, self.few), kind="stable")[:most]
        return worst[(self.curved | self.few)[worst]]

    def take(self, rows: NDArray[np.intp], ends: tuple[Array, Array, Array, Array], draws: int, stable: bool) -> None:
        self.low[rows], self.high[rows], self.lost[rows], self.spread[rows] = ends
        self.drawn[rows[self.valued[rows]]] = True
        self.draws, self.stable = max(self.draws, draws), self.stable and stable

    def result(self) -> tuple[Interval, Bools]:
        interval = Interval(
            self.low,
            self.high,
            self.coverage,
            self.factor,
            "linear",
            self.curved,
            shaped(self.estimate),
            self.draws,
            self.stable,
            self.lost,
            self.spread,
        )
        return interval, self.drawn
