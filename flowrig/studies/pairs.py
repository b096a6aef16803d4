"""Two options held against each other: by how much they differ, how likely the first is cheaper, and from when on."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from flowrig.physics.cost import break_even
from flowrig.records.items import Array
from flowrig.studies.drawn import Drawn
from flowrig.studies.tornado import Bar
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import chunks
from flowrig.uncertainty.propagate import linear

COURSE_DRAWS = 4000  # of costs over time: a share is then known to 0.8 % at worst
ROUNDING = 1e-9  # of the larger: two costs that are the same


@dataclass(frozen=True)
class Odds:
    """A probability from draws.

    Attributes
    ----------
    share : float
        Of the draws in which both have a value; where both cost the same, half of it.
    error : float
        Standard error of that share, from the number of draws alone.
    draws : int
    """

    share: float
    error: float
    draws: int


@dataclass(frozen=True)
class Meeting:
    """From when on the option that was cheaper at first has cost as much as the other.

    Attributes
    ----------
    cheaper_at_first : str
        Which of the two that is in the most draws; empty where they cost the same all along.
    at_first : float
        Share of the draws in which it is; the following is of these alone.
    years : float
        Median of the draws in which the costs meet; NaN where there is none.
    low, high : float
        Interval of the same.
    never : float
        Share of the draws in which they do not meet.
    """

    cheaper_at_first: str
    at_first: float
    years: float
    low: float
    high: float
    never: float


@dataclass
class Pair:
    """Two options.

    Attributes
    ----------
    first, second : str
        Their names.
    difference : Drawn
        Present value of the first less that of the second.
    cheaper : Odds
        That the first has the lower present value.
    by_air : Drawn
        Levelised cost of clean air of the first less that of the second.
    cheaper_by_air : Odds
        That the first has the lower.
    meeting : Meeting
    bars, bars_by_air : list of Bar
        What the range of each input does to either difference, the largest first.
    lives : str
        What is amiss where not both tell their clean air as the mean over the life of their filters; else empty.
    """

    first: str
    second: str
    difference: Drawn
    cheaper: Odds
    by_air: Drawn
    cheaper_by_air: Odds
    meeting: Meeting
    bars: list[Bar] = field(default_factory=list)
    bars_by_air: list[Bar] = field(default_factory=list)
    lives: str = ""


@dataclass
class Course:
    """What an option has cost up to each time, as present value.

    Attributes
    ----------
    times : array
        Years; every one but the first stands twice, before and after what falls due, and the last a third time, with
        the residual value taken off.
    value, low, high : array
        Of the currency of the record; the value is the median of the draws where it would be outside of its interval.
    """

    times: Array
    value: Array
    low: Array
    high: Array


def less(first: Estimate, second: Estimate) -> Estimate:
    """The first less the second; what both share cancels."""
    return linear(_less, {"a": first, "b": second}, (), {"x": ()})["x"]


def _less(*, a: Array, b: Array) -> dict[str, Array]:
    return {"x": a - b}


def drawn(estimates: Mapping[str, Estimate], draws: int, seed: int) -> dict[str, Array]:
    """Draws of several results together, those that share causes draw by draw."""
    pieces = list(chunks(list(estimates.values()), draws, seed))
    return {name: np.concatenate([piece[i] for piece in pieces]) for i, name in enumerate(estimates)}


def odds(first: Array, second: Array) -> Odds:
    """How often the first of two is the lower."""
    told = np.isfinite(first) & np.isfinite(second)
    number = int(np.sum(told))
    if not number:
        return Odds(math.nan, math.nan, 0)
    gap = (first - second)[told]
    same = np.abs(gap) <= ROUNDING * np.maximum(np.abs(first), np.abs(second))[told]
    share = float(np.mean(np.where(same, 0.5, gap < 0.0)))
    return Odds(share, math.sqrt(share * (1.0 - share) / number), number)


def lowest(costs: Sequence[Array]) -> list[float]:
    """Of each of several, in what share of the draws it is the lowest; draws of equal costs are shared out."""
    if not costs:
        return []
    stacked = np.stack(costs)
    stacked = stacked[:, np.all(np.isfinite(stacked), axis=0)]
    if not stacked.shape[1]:
        return [math.nan] * len(costs)
    best = np.min(stacked, axis=0)
    wins = stacked <= best + ROUNDING * np.abs(best)
    return [float(x) for x in np.mean(wins / np.sum(wins, axis=0), axis=1)]


def courses(
    times: Array, costs: Mapping[str, Estimate], coverage: float, seed: int
) -> tuple[dict[str, Course], dict[tuple[str, str], Meeting]]:
    """Costs over time with their bands, and where every two of them meet."""
    draws = drawn(costs, COURSE_DRAWS, seed)
    ends = [(1.0 - coverage) / 2.0, (1.0 + coverage) / 2.0]
    found = {}
    for name, x in costs.items():
        whole = draws[name][np.all(np.isfinite(draws[name]), axis=-1)]
        low, high = np.quantile(whole, ends, axis=0) if len(whole) else np.full((2, len(times)), np.nan)
        # an edge of a step, that hardly any draw meets, is no value: see `flowrig.studies.drawn`
        near = ROUNDING * np.abs(x.value)
        inside = (low - near <= x.value) & (x.value <= high + near)
        middle = np.median(whole, axis=0) if len(whole) else x.value
        found[name] = Course(times, np.where(inside, x.value, middle), low, high)
    names = list(costs)
    pairs = [(one, other) for i, one in enumerate(names) for other in names[i + 1 :]]
    return found, {(a, b): _meeting(times, draws, a, b, ends) for a, b in pairs}


def _meeting(times: Array, draws: Mapping[str, Array], a: str, b: str, ends: list[float]) -> Meeting:
    gap = draws[a] - draws[b]
    apart = np.abs(gap) > ROUNDING * np.maximum(np.abs(draws[a]), np.abs(draws[b]))
    start = np.take_along_axis(gap, np.argmax(apart, axis=-1)[:, None], -1)[:, 0]
    told = np.all(np.isfinite(gap), axis=-1) & np.any(apart, axis=-1)
    if not np.any(told):
        return Meeting("", math.nan, math.nan, math.nan, math.nan, math.nan)
    ahead = float(np.mean(start[told] < 0.0))
    first, at_first, sign = (a, ahead, -1.0) if ahead >= 0.5 else (b, 1.0 - ahead, 1.0)
    held = told & (np.sign(start) == sign)
    met = np.asarray(break_even(times, draws[a][held], draws[b][held]))
    some = met[np.isfinite(met)]
    if not len(some):
        return Meeting(first, at_first, math.nan, math.nan, math.nan, 1.0)
    low, years, high = np.quantile(some, [ends[0], 0.5, ends[1]], method="inverted_cdf")
    return Meeting(first, at_first, float(years), float(low), float(high), 1.0 - len(some) / len(met))
