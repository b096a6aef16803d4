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
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.interval import coverage_factor
from flowrig.uncertainty.propagate import linear


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
class Observed:
    """The ratio of a run freed of false counts.

    Attributes
    ----------
    ratio : Ratio
    estimate : Estimate
        Axis ``channel``.
    scale : array, shape (k,)
        Of the raw ratio: what false counts before the filter leave of the level.
    false : array, shape (k,)
        What false counts behind the filter have taken off.
    false_low, false_high : array, shape (k,)
        Limits of that.
    shift : Estimate
        The logarithm of what else multiplies it: 0, with its causes.
    """

    ratio: Ratio
    estimate: Estimate
    scale: Array
    false: Array
    false_low: Array
    false_high: Array
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
    (G - f)/(1 - g): f and g are the shares of false counts behind and before the filter. Where nothing was counted
    behind it, none of it can have been false.
    """
    k = len(lower)
    counting = Cause(f"{given.place}:{run}:counting", each=CHANNEL, label=f"counting, {run}")
    inputs = {"gross": Estimate(ratio.value, (CHANNEL,), {counting: ratio.u[np.newaxis]})}
    none = ratio.counted[:, 1] == 0.0
    false, false_low, false_high, level = np.zeros(k), np.zeros(k), np.zeros(k), np.zeros(k)
    for number, ((name, up), side) in enumerate(ratio.sides.items()):
        background = given.background.get((name, up))
        if background is None:
            continue
        weight = side.false if up else np.where(none, 0.0, side.false)
        inputs[f"{'before' if up else 'behind'}_{number}"] = background.estimate()
        inputs[f"weight_{number}"] = Estimate(weight, (CHANNEL,))
        taken = weight * background.counts / background.volume
        if up:
            level += taken
        else:
            low, high = poisson_limits(background.counts, coverage)
            false += taken
            false_low += (taken - weight * low / background.volume) ** 2
            false_high += (weight * high / background.volume - taken) ** 2
    inputs["shift"] = Estimate(np.zeros(k), (CHANNEL,), _relative(ratio, run, given, lower, upper))
    out = linear(_observed, inputs, (CHANNEL,), {"ratio": (CHANNEL,)})
    return Observed(
        ratio,
        out["ratio"],
        1.0 / (1.0 - level),
        false,
        false - np.sqrt(false_low),
        false + np.sqrt(false_high),
        inputs["shift"],
    )


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
        return {"ratio": (gross - behind) / (1.0 - before) * np.exp(shift)}


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
    run: Observed, lower: Array, upper: Array, correlation: Observed | None = None, coverage: float = 0.95,
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
    if not false_told:
        low = np.where(run.ratio.counted[:, 1] < FEW, np.minimum(low, 0.0), low)
    return BySize(
        np.asarray(lower), np.asarray(upper), penetration, low, high, none, run.ratio.counted, coverage
    )


def _corrected(*, observed: Array, correlation: Array | float = 1.0) -> dict[str, Array]:
    return {"penetration": np.asarray(penetration_by_correlation(observed, correlation))}


def _limits(run: Observed, whole: Estimate, correlation: Observed | None, coverage: float) -> tuple[Array, Array]:
    other, other_low, other_high, shifts = 1.0, 1.0, 1.0, {"run": run.shift}
    if correlation is not None:
        other = correlation.estimate.value
        other_low, other_high = _widened(correlation, np.zeros(()), 1.0, coverage)
        shifts["other"] = correlation.shift
    rest = linear(_shift, shifts, (CHANNEL,), {"shift": (CHANNEL,)})["shift"].u
    factor = coverage_factor(coverage, whole.dof)
    stretch = factor / coverage_factor(coverage)
    with np.errstate(all="ignore"):
        below = (factor * rest) ** 2 + (stretch * np.log(other_high / other)) ** 2
        above = (factor * rest) ** 2 + (stretch * np.log(other / other_low)) ** 2
    low, high = _widened(run, np.stack([below, above]), stretch, coverage)
    return low / other, high / other


def _shift(*, run: Array, other: Array | float = 0.0) -> dict[str, Array]:
    return {"shift": run - other}


def _widened(x: Observed, more: Array, stretch: Array | float, coverage: float) -> tuple[Array, Array]:
    """Limits of an observed ratio: exact ones of counting, widened by relative variances, less false counts."""
    below, above = (more[0], more[1]) if np.ndim(more) else (0.0, 0.0)
    ratio = x.ratio
    with np.errstate(all="ignore"):
        down = np.sqrt((stretch * np.log(ratio.value / ratio.low)) ** 2 + below)
        up = np.sqrt((stretch * np.log(ratio.high / ratio.value)) ** 2 + above)
        gross_low = np.where(ratio.low > 0.0, ratio.value * np.exp(-down), 0.0)
        gross_high = np.where(ratio.value > 0.0, ratio.value * np.exp(up), ratio.high * np.sqrt(1.0 + above))
        value = (ratio.value - x.false) * x.scale
        low = value - np.hypot((ratio.value - gross_low) * x.scale, (x.false_high - x.false) * x.scale)
        high = value + np.hypot((gross_high - ratio.value) * x.scale, (x.false - x.false_low) * x.scale)
    none = ratio.counted[:, 1] == 0.0
    nothing_false = x.false_high == 0.0
    low = np.where(none | (nothing_false & (ratio.low == 0.0)), 0.0, low)
    return low, high
