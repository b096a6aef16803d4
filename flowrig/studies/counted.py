"""Efficiencies by size on draws that are true to few counts, and whatever is summed over sizes, with its bar."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from statistics import NormalDist

import numpy as np

from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.one_sided import LEAST
from flowrig.studies.result import Quantity
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.count_draws import LOWER, MIDDLE, NODES, UPPER, ratio_at_deviates
from flowrig.uncertainty.estimate import Array, Axes, Estimate
from flowrig.uncertainty.interval import Interval, coverage_factor, intervals
from flowrig.uncertainty.propagate import Kernel, linear

SETTLED = 0.05  # of u: to what share the ends of a drawn interval are to settle, as in a prediction

MOST = 10.0  # times that a side is stretched: more is no matter of counting
COUNTING = Cause("counting of particles", each=CHANNEL, label="counting")


@dataclass
class ThreeWays:
    """One number (or one a range) by what was counted, and by what the exact limits of the counts leave open of it.

    Attributes
    ----------
    nominal : Estimate
        As measured; its uncertainty takes counts as normal.
    least, most : Estimate
        Drawn towards the limits: with nothing but counting in it, the ends of its interval are those of the exact one.
    """

    nominal: Estimate
    least: Estimate
    most: Estimate

    @property
    def all(self) -> dict[str, Estimate]:
        return {"nominal": self.nominal, "least": self.least, "most": self.most}


@dataclass
class Wanted:
    """A single number of particles between two sizes, for which an interval is wanted.

    Attributes
    ----------
    label, kind, unit : str
        As of a `Quantity`.
    lower, upper : float
        Sizes that it holds for; `upper` infinite for an open channel. [m]
    ways : ThreeWays
    none_through : bool
        Nothing came through in any channel of it.
    """

    label: str
    kind: str
    unit: str
    lower: float
    upper: float
    ways: ThreeWays
    none_through: bool


@dataclass
class Sized:
    """One number of particles between two sizes, with its bar.

    Attributes
    ----------
    wanted : Wanted
        What was asked for.
    quantity : Quantity
        Where nothing came through it is a bound: at least so much, with the same coverage on that one side.
    """

    wanted: Wanted
    quantity: Quantity

    @property
    def lower(self) -> float:
        return self.wanted.lower

    @property
    def upper(self) -> float:
        return self.wanted.upper

    @property
    def ways(self) -> ThreeWays:
        return self.wanted.ways

    @property
    def one_sided(self) -> bool:
        return self.quantity.bound == "at least"


def three_ways(by_size: BySize) -> ThreeWays:
    """Efficiency of every channel as measured, and drawn towards either limit of its counts."""
    return ThreeWays(by_size.efficiency, counted_efficiency(by_size, UPPER), counted_efficiency(by_size, LOWER))


def carried(
    ways: ThreeWays,
    kernel: Kernel,
    inputs: Mapping[str, Estimate],
    output: str,
    axes: Axes = (),
    kept: Axes = (),
    as_: str = "x",
) -> ThreeWays:
    """A kernel of such a number, and of others that have nothing to do with counts, each of the three ways.

    Parameters
    ----------
    ways : ThreeWays
        Handed to the kernel as `as_`.
    kernel : callable
        It must rise with that input, or the two ends would change places.
    inputs : mapping of str to Estimate
        The others.
    output : str
        Of the kernel.
    axes, kept : tuple of str
        As of `linear`.
    """
    made = (linear(kernel, {as_: x, **inputs}, axes, {output: kept})[output] for x in ways.all.values())
    return ThreeWays(*made)


def with_bars(wanted: Mapping[str, Wanted], coverage: float, samples: int | None, seed: int) -> dict[str, Sized]:
    """Numbers over sizes with the interval to report, all drawn together.

    Parameters
    ----------
    wanted : mapping of str to Wanted
        Of single numbers. One without a value is left out.
    coverage : float
    samples, seed
        As of `intervals`.

    Notes
    -----
    The low end is that of the number drawn towards the upper limits of what comes through, the high end that of the
    other: never narrower than the counts allow, and one interval by either where they are many. Where nothing came
    through, the low end has all of what is allowed to be wrong on its side, and there is no high one.
    """
    valued = {name: x for name, x in wanted.items() if np.isfinite(x.ways.nominal.value)}
    bars = partial(intervals, samples=samples, seed=seed, tolerance=SETTLED)
    both = {name: x for name, x in valued.items() if not x.none_through}
    ends = bars(
        {f"{way}:{name}": getattr(x.ways, way) for name, x in both.items() for way in ("least", "most")}, coverage
    )
    bare = {name: x.ways.least for name, x in valued.items() if x.none_through}
    lows = bars(bare, max(2.0 * coverage - 1.0, LEAST))
    found = {}
    for name, x in valued.items():
        quantity = partial(Quantity, name, x.label, x.kind, x.unit, x.ways.nominal)
        if name in lows:
            bar = replace(lows[name], coverage=coverage, high=np.asarray(math.inf))
            found[name] = Sized(x, quantity(bar, bound="at least"))
        else:
            bar = _joined(x.ways.nominal, ends[f"least:{name}"], ends[f"most:{name}"], coverage)
            found[name] = Sized(x, quantity(bar))
    return found


def _joined(nominal: Estimate, least: Interval, most: Interval, coverage: float) -> Interval:
    drawn = "monte carlo" in (least.source, most.source)
    return Interval(
        least.low,
        most.high,
        coverage,
        coverage_factor(coverage, nominal.dof),
        "monte carlo" if drawn else "linear",
        least.curved | most.curved,
        least.shape | most.shape,
        max(least.draws, most.draws),
        least.stable and most.stable,
        np.maximum(least.lost, most.lost),
        np.fmax(least.spread, most.spread),
    )


def between(by_size: BySize, averages: int) -> float:
    """Where between its limits a channel is drawn for a probability that leans to neither side.

    Parameters
    ----------
    by_size : BySize
    averages : int
        Into how many averages the channels go.

    Notes
    -----
    Half an event is added to what came through, shared by the channels of one average: half of one in each would make
    the average of four channels with a few counts each look worse than it was.
    """
    return min(MIDDLE, MIDDLE * averages / len(by_size))


def counted_efficiency(by_size: BySize, lean: float) -> Estimate:
    """Efficiency of every channel whose draws are true to its counts.

    Parameters
    ----------
    by_size : BySize
    lean : float
        `UPPER` towards the exact upper limit of what comes through, `LOWER` towards the lower one, or between.

    Returns
    -------
    Estimate
        Axis ``channel``. Its value is the median of the draws, not quite what was measured.

    Notes
    -----
    What each channel's own causes do (counting) is one deviate a channel; it is no longer added but looked up in the
    distribution that the exact limits belong to (`count_draws`), so that 3 counts are drawn skewed and none as a
    share between 0 and its one-sided limit. Where a channel scatters more than counting explains, or a background
    was taken out, fewer events stand for its counts: as many as have the same relative uncertainty; and either side is
    stretched so that, with the causes that channels share, it ends where the channel's own interval does. Those act on
    top, on all channels alike. Where less than nothing is left after the background, the error stays normal but for
    the stretch.
    """
    deviate, own = _deviate(by_size)
    gain, base = _by_deviate(by_size, own, lean, coverage_factor(by_size.coverage, deviate.dof))
    inputs = {"shared": _without_counting(by_size.penetration), "deviate": deviate}
    return linear(_counted, inputs, (CHANNEL,), {"e": (CHANNEL,)}, gain=gain, base=base)["e"]


def _counted(*, shared: Array, deviate: Array, gain: Array, base: Array) -> dict[str, Array]:
    passed = np.empty(np.broadcast_shapes(shared.shape, deviate.shape))
    z, share = np.broadcast_to(deviate, passed.shape), np.broadcast_to(shared, passed.shape)
    for k in range(len(gain)):
        added = base[k] if np.any(base[k]) else None
        passed[..., k] = share[..., k] * np.interp(z[..., k], NODES, gain[k])
        if added is not None:
            passed[..., k] += np.interp(z[..., k], NODES, added)
    return {"e": 1.0 - passed}


def _own(estimate: Estimate) -> dict[Cause, Array]:
    return {cause: part for cause, part in estimate.parts.items() if cause.each == CHANNEL}


def _without_counting(penetration: Estimate) -> Estimate:
    parts = {cause: part for cause, part in penetration.parts.items() if cause.each != CHANNEL}
    return Estimate(penetration.value, penetration.axes, parts, taken=penetration.taken)


def _deviate(by_size: BySize) -> tuple[Estimate, Array]:
    """One deviate of unit variance for each channel's own error, and how much that is."""
    own = _own(by_size.penetration) or {COUNTING: np.zeros((1, len(by_size)))}
    u = np.sqrt(np.sum([np.sum(part**2, axis=0) for part in own.values()], axis=0))
    with np.errstate(all="ignore"):
        parts = {cause: np.where(u > 0.0, part / u, 0.0) for cause, part in own.items()}
    first = next(iter(parts))
    parts[first][0] = np.where(u > 0.0, parts[first][0], 1.0)
    return Estimate(np.zeros(len(by_size)), (CHANNEL,), parts), u


def _by_deviate(by_size: BySize, own: Array, lean: float, factor: Array) -> tuple[Array, Array]:
    """What multiplies the penetration at each deviate, and what is added to it; shape (channels, nodes).

    `factor` are the deviates of each channel at which its interval ends.
    """
    value, (before, behind) = by_size.penetration.value, by_size.counted.T
    with np.errstate(all="ignore"):
        counting = 1.0 / behind + 1.0 / before
        phi = np.where((value > 0.0) & (behind > 0.0), np.maximum((own / value) ** 2 / counting, 1.0), 1.0)
        none = by_size.upper_only
        normal = ~none & ~((value > 0.0) & (behind > 0.0))
        bell = own[:, np.newaxis] * NODES

        def moved(lean: float) -> Array:
            """How far a deviate takes the penetration from its value."""
            told = ratio_at_deviates(behind, before, lean, phi)
            share = told / (behind / before)[:, np.newaxis] - 1.0
            return np.where(normal[:, np.newaxis], bell, value[:, np.newaxis] * share)

        ends = [
            np.array([np.interp(z, NODES, row) for z, row in zip(way * factor, moved(lean), strict=True)])
            for way, lean in ((1.0, UPPER), (-1.0, LOWER))
        ]
        up, down = (_stretch(by_size, factor, end) for end in ends)
        away = moved(lean)
        away = away * np.where(away > 0.0, up[:, np.newaxis], down[:, np.newaxis])
        gain = np.where(normal[:, np.newaxis], 1.0, 1.0 + away / value[:, np.newaxis])
        gain[~np.isfinite(gain)] = np.nan  # nothing before the filter
        gain[none] = 0.0
        base = np.where(normal[:, np.newaxis], away, 0.0)
        base[none] = (ratio_at_deviates(behind, before, lean) * _scale(by_size)[:, np.newaxis])[none]
    return gain, base


def _stretch(by_size: BySize, factor: Array, end: Array) -> Array:
    """By what a channel's own deviation ends where its interval does, what channels share taken off in squares."""
    shared = factor * _without_counting(by_size.penetration).u
    told = np.where(end > 0.0, by_size.high, by_size.low) - by_size.penetration.value
    stretch = np.sqrt(np.maximum(told**2 - shared**2, 0.0)) / np.abs(end)
    usable = np.isfinite(stretch) & (np.abs(told) > shared)
    return np.where(usable, np.clip(stretch, 1.0 / MOST, MOST), 1.0)


def _scale(by_size: BySize) -> Array:
    """Where nothing came through: the limit that is told over the one by counts alone."""
    scale = np.full(len(by_size), np.nan)
    none = by_size.upper_only
    if np.any(none):
        before, behind = by_size.counted[none].T
        level = NormalDist().inv_cdf(by_size.coverage)
        limits = [np.interp(level, NODES, row) for row in ratio_at_deviates(behind, before, UPPER)]
        scale[none] = by_size.high[none] / np.array(limits)
    return scale
