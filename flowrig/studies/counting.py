"""From the counts of a run to penetration by size: false counts taken out, causes signed, limits exact."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from flowrig.physics.particles import penetration_by_correlation
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.counted_ratio import Key, Ratio
from flowrig.studies.counter import FEW, Counter, counter_parts
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.counts import poisson_limits
from flowrig.uncertainty.estimate import Array, Bools, Estimate
from flowrig.uncertainty.interval import coverage_factor
from flowrig.uncertainty.propagate import linear

FURTHEST = math.log(1e3)  # of a ratio, to either side: an interval that long says that there is none


@dataclass(frozen=True)
class Background:
    """False counts of a counter through a zero filter.

    Attributes
    ----------
    counts : array, shape (k,)
    volume : float
        [m^3]
    identity : str
        By which the counting error of this run is known.
    """

    counts: Array
    volume: float
    identity: str

    def estimate(self) -> Estimate:
        """False counts a volume. [1/m^3]"""
        cause = Cause(self.identity, each=CHANNEL, label="counting of false counts")
        part = np.sqrt(np.maximum(self.counts, 1.0))[np.newaxis] / self.volume
        return Estimate(self.counts / self.volume, (CHANNEL,), {cause: part})


@dataclass(frozen=True)
class Given:
    """What else is known of the sampling in a record.

    Attributes
    ----------
    place : str
        By which causes that are local to the record are known.
    counters : mapping of name to Counter
    background : mapping of (counter, upstream) to Background
        Empty where no zero filter was counted.
    aspiration : array, shape (k,)
        Limit of how far the inlets let particles in differently, a share of the ratio.
    """

    place: str
    counters: Mapping[str, Counter]
    background: Mapping[Key, Background] = field(default_factory=dict)
    aspiration: Array | None = None


@dataclass(frozen=True)
class FalseCounts:
    """What false counts amount to, with the exact limits of their counting.

    Attributes
    ----------
    value, low, high : array, shape (k,)
    """

    value: Array
    low: Array
    high: Array


@dataclass(frozen=True)
class Observed:
    """The ratio of a run freed of false counts.

    Attributes
    ----------
    ratio : Ratio
    estimate : Estimate
        Axis ``channel``.
    behind, before : FalseCounts
        What false counts behind the filter are of the ratio, and those before it of the level.
    shift : Estimate
        The logarithm of what else multiplies it: 0, with its causes.
    """

    ratio: Ratio
    estimate: Estimate
    behind: FalseCounts
    before: FalseCounts
    shift: Estimate


def observed(ratio: Ratio, run: str, given: Given, lower: Array, upper: Array, coverage: float = 0.95) -> Observed:
    """A run's ratio with false counts taken out and every cause of error signed.

    Parameters
    ----------
    ratio : Ratio
    run : str
    given : Given
    lower, upper : array, shape (k,)
        Limits of the channels. [m]
    coverage : float
        Of the limits of false counts.

    Notes
    -----
    (G - f)/(1 - g): f and g are the shares of false counts behind and before the filter; without a value where all
    before it may be false. Where nothing was counted behind it, none of it can have been false.
    """
    k = len(lower)
    counting = Cause(f"{given.place}:{run}:counting", each=CHANNEL, label=f"counting, {run}")
    inputs = {"gross": Estimate(ratio.value, (CHANNEL,), {counting: ratio.u[np.newaxis]})}
    none = ratio.counted[:, 1] == 0.0
    for number, ((name, up), side) in enumerate(ratio.sides.items()):
        background = given.background.get((name, up))
        if background is not None:
            weight = side.false if up else np.where(none, 0.0, side.false)
            inputs[f"{'before' if up else 'behind'}_{number}"] = background.estimate()
            inputs[f"weight_{number}"] = Estimate(weight, (CHANNEL,))
    inputs["shift"] = Estimate(np.zeros(k), (CHANNEL,), _relative(ratio, run, given, lower, upper))
    out = linear(_observed, inputs, (CHANNEL,), {"ratio": (CHANNEL,)})
    behind, before = (_false(ratio, given, up, none, coverage) for up in (False, True))
    return Observed(ratio, out["ratio"], behind, before, inputs["shift"])


def _false(ratio: Ratio, given: Given, up: bool, none: Bools, coverage: float) -> FalseCounts:
    """False counts of one side; those of two counters add up, the distances of their limits in squares."""
    value, below, above = (np.zeros(len(none)) for _ in range(3))
    for (name, side_up), side in ratio.sides.items():
        background = given.background.get((name, up))
        if background is None or side_up is not up:
            continue
        weight = (side.false if up else np.where(none, 0.0, side.false)) / background.volume
        low, high = poisson_limits(background.counts, coverage)
        value = value + weight * background.counts
        below = below + (weight * (background.counts - low)) ** 2
        above = above + (weight * (high - background.counts)) ** 2
    return FalseCounts(value, value - np.sqrt(below), value + np.sqrt(above))


def _observed(*, gross: Array, shift: Array, **others: Array) -> dict[str, Array]:
    behind: Array | float = 0.0
    before: Array | float = 0.0
    for name, rate in others.items():
        sort, _, number = name.partition("_")
        if sort == "behind":
            behind = behind + others[f"weight_{number}"] * rate
        elif sort == "before":
            before = before + others[f"weight_{number}"] * rate
    with np.errstate(all="ignore"):
        left = np.where(np.less(before, 1.0), np.subtract(1.0, before), np.nan)
        return {"ratio": (gross - behind) / left * np.exp(np.clip(shift, -FURTHEST, FURTHEST))}


def _relative(ratio: Ratio, run: str, given: Given, lower: Array, upper: Array) -> dict[Cause, Array]:
    """What moves the logarithm of the ratio, beside counting."""
    parts = counter_parts(ratio, given.counters, lower, upper)
    place = f"{given.place}:{run}"
    if np.any(ratio.unsteady > 0.0):
        cause = Cause(f"{place}:unsteady", label=f"scatter of the samples, {run}")
        parts[cause] = ratio.unsteady[np.newaxis]
    if np.any(ratio.points > 0.0):
        cause = Cause(f"{place}:points", dof=ratio.points_dof, label=f"points of the outlet, {run}")
        parts[cause] = ratio.points[np.newaxis]
    if np.any(ratio.weighting > 0.0):
        cause = Cause(f"{place}:weighting", shape="rectangular", label=f"weights of the points, {run}")
        parts[cause] = ratio.weighting[np.newaxis] / math.sqrt(3.0)
    if np.any(ratio.drift_error > 0.0):
        cause = Cause(f"{place}:drift", label=f"drift told by other sizes, {run}")
        parts[cause] = ratio.drift_error[np.newaxis]
    if given.aspiration is not None and np.any(given.aspiration > 0.0):
        cause = Cause(f"{given.place}:aspiration", shape="rectangular", scope="setup", label="aspiration of the inlets")
        parts[cause] = given.aspiration[np.newaxis] / math.sqrt(3.0)
    return parts


def by_size(
    run: Observed,
    lower: Array,
    upper: Array,
    correlation: Observed | None = None,
    coverage: float = 0.95,
    false_told: bool = True,
) -> BySize:
    """Penetration by size from a run, over that of the same run with no filter where there is one.

    Parameters
    ----------
    run : Observed
    lower, upper : array, shape (k,)
        [m]
    correlation : Observed, optional
    coverage : float
        That the limits of the ratio were made for.
    false_told : bool
        A zero filter was counted. Else few counts may all be false, and their lower limit is 0.

    Notes
    -----
    The exact limits of counting are widened by the other causes: distances from the value add in squares, on a
    logarithmic scale for what multiplies and on a plain one for what is taken off. Each limit so keeps its own side's
    distance. They are stretched by Student's factor at the degrees of freedom of the whole.

    Source
    ------
    Distances of limits in squares: G. Y. Zou, A. Donner, Statistics in Medicine 27 (2008) 1693 (from memory).
    """
    inputs = {"observed": run.estimate}
    if correlation is not None:
        inputs["correlation"] = correlation.estimate
    penetration = linear(_corrected, inputs, (CHANNEL,), {"penetration": (CHANNEL,)})["penetration"]
    low, high = _limits(run, penetration, correlation, coverage)
    none = run.ratio.counted[:, 1] == 0.0
    with np.errstate(invalid="ignore"):
        low = np.where(penetration.value >= 0.0, np.maximum(low, 0.0), low)  # nothing lets less than nothing through
    low, high = (np.where(np.isnan(penetration.value), np.nan, end) for end in (low, high))
    if not false_told:
        low = np.where(run.ratio.counted[:, 1] < FEW, np.minimum(low, 0.0), low)
    return BySize(np.asarray(lower), np.asarray(upper), penetration, low, high, none, run.ratio.counted, coverage)


def _corrected(*, observed: Array, correlation: Array | float = 1.0) -> dict[str, Array]:
    return {"penetration": np.asarray(penetration_by_correlation(observed, correlation))}


def _limits(run: Observed, whole: Estimate, correlation: Observed | None, coverage: float) -> tuple[Array, Array]:
    shifts = {"run": run.shift}
    other = other_low = other_high = np.ones(())
    if correlation is not None:
        other = correlation.estimate.value
        other_low, other_high = _widened(correlation, np.zeros(()), 1.0, coverage)
        other_low = np.maximum(other_low, 0.0)
        shifts["other"] = correlation.shift
    rest = linear(_shift, shifts, (CHANNEL,), {"shift": (CHANNEL,)})["shift"].u
    factor = coverage_factor(coverage, whole.dof)
    stretch = factor / coverage_factor(coverage)
    with np.errstate(all="ignore"):
        below = (factor * rest) ** 2 + (stretch * np.log(other_high / other)) ** 2
        above = (factor * rest) ** 2 + (stretch * np.log(other / other_low)) ** 2
    low, high = _widened(run, np.stack([below, above]), stretch, coverage)
    with np.errstate(all="ignore"):
        return low / other, high / other


def _shift(*, run: Array, other: Array | float = 0.0) -> dict[str, Array]:
    return {"shift": run - other}


def _widened(x: Observed, more: Array, stretch: Array | float, coverage: float) -> tuple[Array, Array]:
    """Limits of an observed ratio: exact ones of counting, widened by relative variances, less false counts."""
    below, above = (more[0], more[1]) if np.ndim(more) else (0.0, 0.0)
    ratio, false, level = x.ratio, x.behind, x.before
    with np.errstate(all="ignore"):
        left = np.where(level.value < 1.0, 1.0 - level.value, np.nan)
        most, least = np.maximum(1.0 - level.low, 0.0), np.maximum(1.0 - level.high, 0.0)
        below = below + (stretch * np.log(most / left)) ** 2
        above = above + (stretch * np.log(left / least)) ** 2
        down = np.minimum(np.sqrt((stretch * np.log(ratio.value / ratio.low)) ** 2 + below), FURTHEST)
        up = np.minimum(np.sqrt((stretch * np.log(ratio.high / ratio.value)) ** 2 + above), FURTHEST)
        gross_low = np.where(ratio.low > 0.0, ratio.value * np.exp(-down), 0.0)
        longer = np.minimum(np.sqrt(1.0 + above), np.exp(FURTHEST))
        gross_high = np.where(ratio.value > 0.0, ratio.value * np.exp(up), ratio.high * longer)
        value = (ratio.value - false.value) / left
        low = value - np.hypot((ratio.value - gross_low) / left, (false.high - false.value) / left)
        high = value + np.hypot((gross_high - ratio.value) / left, (false.value - false.low) / left)
    none = ratio.counted[:, 1] == 0.0
    low = np.where(none | ((false.high == 0.0) & (ratio.low == 0.0)), 0.0, low)
    return low, high
