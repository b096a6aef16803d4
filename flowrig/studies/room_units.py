"""How many units of one sort meet a target, and how sure that is: draws of everything that is not known exactly."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig.physics.sound import equal_sources_level
from flowrig.records.items import Array
from flowrig.studies.result import Quantity
from flowrig.studies.room_balance import ALONG, reached, times
from flowrig.studies.room_inputs import Asked
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import CHUNK, chunks
from flowrig.uncertainty.propagate import linear

DRAWS = 16 * CHUNK  # a probability of 97.5 % is then good to 0.05 %
ROW_DRAWS = 4000  # of a line of the table
SHOWN = 8  # lines, at most, where most_units is not stated and no number is enough
BEYOND = 1000  # units: no room has more
NEAR = 2.0  # standard errors of a drawn probability


@dataclass
class UnitsFor:
    """Units of one sort against one target.

    Attributes
    ----------
    name : str
        Of the sort.
    numbers : array
        From 0 on.
    probability : array
        That so many meet the target.
    on_mean : int or None
        Fewest that meet it with every value as it is stated; None where no number does.
    sure : int or None
        Fewest that meet it with `confidence`.
    confidence : float
        Of one side: 97.5 % where intervals have 95 %.
    of_sure : float
        Probability of `sure`; NaN without it.
    needed : Array
        Quantiles 2.5 and 97.5 % (for a coverage of 95 %) of the number, whole or not.
    reached : Quantity
        What each number comes to, in the words of the target; axis ``along``.
    power, sound : Quantity or None
        Of so many units; axis ``along``, the first of which (none) is no sound.
    most : int or None
        The most that may stand there.
    place : int or None
        Units that a room of this size has place for; a number beyond it, and beyond the most, is no advice and is not
        told.
    assumed : bool
        The most was not stated: it is that place.
    beside : str
        What others the record counts: the number is of units beside them.
    each : float
        What one adds in this room, with every value as it is stated. [m3/s]
    adds_nothing : bool
        With every value as it is stated a unit adds no clean air.
    too_fast : bool
        One fewer than `sure` would change the air more than 30 times an hour, and not be enough.
    on_edge : bool
        The probability of `sure`, or that of one fewer, lies so near to the confidence that draws do not tell it.
    """

    name: str
    numbers: Array
    probability: Array
    on_mean: int | None
    sure: int | None
    confidence: float
    of_sure: float
    needed: Array
    reached: Quantity
    power: Quantity | None = None
    sound: Quantity | None = None
    most: int | None = None
    place: int | None = None
    assumed: bool = False
    beside: str = ""
    each: float = math.nan
    adds_nothing: bool = False
    too_fast: bool = False
    on_edge: bool = False
    never: float = 0.0  # share of the draws in which no number meets it
    lost: float = field(default=0.0)  # share of the draws without a value

    def __repr__(self) -> str:
        return f"<UnitsFor {self.name}: {self.on_mean} on the mean, {self.sure} with {self.confidence:.1%}>"

    @property
    def allowed(self) -> bool:
        """Whether that many may stand there."""
        return self.sure is not None and not self.too_fast and (self.most is None or self.sure <= self.most)

    @property
    def number_is_short(self) -> bool:
        """Whether more are needed than may stand there."""
        return self.most is not None and (self.sure is None or self.sure > self.most)

    def told(self, number: int | None) -> int | None:
        """A number that may be said; None where nobody could put so many there."""
        if number is None or self.most is None or self.place is None:
            return number
        return number if number <= max(self.most, self.place) else None

    def probability_of(self, number: int) -> float:
        """That so many meet it; the last that was reckoned for more."""
        return float(self.probability[min(number, len(self.probability) - 1)])


@dataclass(frozen=True)
class Limits:
    """What bounds a number of units.

    Attributes
    ----------
    most : int or None
    place : int or None
        Units that a room of this size has place for.
    assumed : bool
        The most is that place: nothing was stated.
    fastest : float
        Clean-air rate beyond which no room is well mixed. [m3/s]
    """

    most: int | None = None
    place: int | None = None
    assumed: bool = False
    fastest: float = math.inf


def number_needed(needed: Array, base: Array, unit: Array) -> Array:
    """Units, whole or not, that bring a clean-air rate from `base` to `needed`.

    Parameters
    ----------
    needed, base, unit : array, broadcast with each other
        [m3/s]

    Returns
    -------
    number : array
        0 where it is there already, infinite where a unit adds nothing, NaN where a rate has no value.
    """
    short = np.asarray(needed, dtype=float) - base
    with np.errstate(divide="ignore", invalid="ignore"):
        number = np.where(np.greater(unit, 0.0), short / unit, np.inf)
    number = np.where(short <= 0.0, 0.0, number)
    return np.where(np.isnan(short) | np.isnan(unit), np.nan, number)


def units_for(
    name: str,
    needed: Estimate,
    base: Estimate,
    unit: Estimate,
    asked: Asked,
    limits: Limits | None = None,
) -> UnitsFor:
    """How many units of one sort bring a room from what it has to what a target takes.

    Parameters
    ----------
    name : str
    needed : Estimate
        Clean-air rate of units that the target takes. [m3/s]
    base : Estimate
        What those that are there give already.
    unit : Estimate
        What one more gives. Units of a sort are alike: they share whatever it is off by.
    asked : Asked
        The number has the confidence of one side of its coverage: (1 + coverage)/2.
    limits : Limits, optional

    Notes
    -----
    A number meets the target in a draw where base + N unit is at least needed. The probability of a number is the share
    of the draws in which it does, those without a value counting as not.
    """
    confidence = 0.5 * (1.0 + asked.coverage)
    pieces = chunks([needed, base, unit], asked.samples or DRAWS, asked.seed)
    drawn = [np.concatenate(column) for column in zip(*pieces, strict=True)]
    numbers = number_needed(*drawn)
    lost = float(np.mean(np.isnan(numbers)))
    numbers = np.where(np.isnan(numbers), np.inf, numbers)
    whole = np.ceil(numbers * (1.0 - 1e-12))  # exactly so many is enough, whatever binary makes of it
    [at_mean] = np.atleast_1d(np.ceil(number_needed(needed.value, base.value, unit.value) * (1.0 - 1e-12)))
    on_mean = _count(float(at_mean))
    sure = _count(float(np.quantile(whole, confidence, method="inverted_cdf")))
    limits = limits or Limits()
    most = limits.most
    last = max(SHOWN if sure is None else sure + 1, (on_mean or 0) + 1)
    if most is not None and (not limits.assumed or sure is None or sure > most):
        last = most
    last = int(min(max(last, 1), BEYOND))
    counted = np.arange(last + 1.0)
    probability = np.searchsorted(np.sort(whole), counted, side="right") / len(whole)
    of_sure = math.nan if sure is None else float(np.mean(whole <= sure))
    found = UnitsFor(
        name,
        counted,
        np.asarray(probability),
        on_mean,
        sure,
        confidence,
        of_sure,
        np.quantile(numbers, [1.0 - confidence, confidence], method="inverted_cdf"),
        None,  # type: ignore[arg-type]  # told by `tell`
        most=most,
        place=limits.place,
        assumed=limits.assumed,
        each=float(unit.value),
        adds_nothing=not float(unit.value) > 0.0,
        too_fast=sure is not None and sure > 1 and float(base.value + (sure - 1) * unit.value) > limits.fastest,
        never=float(np.mean(np.isinf(numbers))) - lost,
        lost=lost,
    )
    error = math.sqrt(confidence * (1.0 - confidence) / len(whole))
    near = [] if sure is None else [of_sure, float(np.mean(whole <= sure - 1))]
    found.on_edge = any(abs(p - confidence) < NEAR * error for p in near)
    return found


def _count(number: float) -> int | None:
    return int(number) if math.isfinite(number) and number <= BEYOND else None


def tell(
    found: UnitsFor,
    wanted: str,
    shown: Mapping[str, tuple[str, str, str]],
    inputs: Mapping[str, Estimate],
    power: Estimate | None,
    sound: Estimate | None,
    asked: Asked,
) -> UnitsFor:
    """What each number comes to: in the words of the target, in watts, in decibels.

    Parameters
    ----------
    found : UnitsFor
    wanted : str
        ``air_changes``, ``per_person`` or ``level``.
    shown : mapping of str to (label, kind, unit)
    inputs : mapping of str to Estimate
        Of `room_balance.reached`, without ``number``.
    power, sound : Estimate or None
        Of one unit.
    """
    number = Estimate(found.numbers, (ALONG,))
    outputs = {wanted: (ALONG,)}
    out = linear(reached, {**inputs, "number": number}, (ALONG,), outputs)
    if power is not None:
        out |= {"power": linear(times, {"one": number, "other": power}, (ALONG,), {"x": (ALONG,)})["x"]}
    if sound is not None:
        out |= {"sound": linear(_louder, {"level": sound, "number": number}, (ALONG,), {"x": (ALONG,)})["x"]}
    bars = batch_intervals(out, asked.coverage, samples=asked.samples or ROW_DRAWS, seed=asked.seed)
    made = {name: Quantity(name, *shown[name], x, *bars[name]) for name, x in out.items()}
    found.reached = made[wanted]
    found.power, found.sound = made.get("power"), made.get("sound")
    return found


def _louder(*, level: Array, number: Array) -> dict[str, Any]:
    """Of units equally far away; none are silent and have no level."""
    return {"x": equal_sources_level(level, number)}
