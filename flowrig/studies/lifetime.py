"""Clean air and watts as the mean over the life of a set of filters, from a prediction of their use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.records.items import Array
from flowrig.studies.life import EXPECTED, KEPT, Life
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import tangent
from flowrig.uncertainty.propagate import linear

ROW = "row"


@dataclass
class Lifetime:
    """A set of filters from new to its change.

    Attributes
    ----------
    change : float
        Running time up to the change. [s]
    known : float
        Up to which of it the prediction tells. [s]
    clean_air : Estimate
        Mean clean-air rate up to there. [m3/s]
    branch : str
        Which course of the prediction it is of: its words.
    kept : bool
        The charge of the filters is taken as kept.
    power : Estimate or None
        Mean power. [W]
    """

    change: float
    known: float
    clean_air: Estimate
    branch: str
    kept: bool
    power: Estimate | None


def lifetime(life: Life, change: float) -> Lifetime | None:
    """Means of a predicted life up to a change; None where it tells no clean air.

    Parameters
    ----------
    life : Life
    change : float
        Running time. [s]
    """
    name = next((name for name in EXPECTED if name in life.quantities), None)
    if name is None:
        return None
    quantity = life[name]
    told = np.isfinite(quantity.estimate.value) & np.isfinite(quantity.estimate.u)
    first_lost = int(np.argmin(told)) if not np.all(told) else len(told)
    if first_lost < 2:
        return None
    known = min(change, float(life.times[first_lost - 1]))
    weights = _weights(life.times[:first_lost], known)
    power = life.quantities.get("power")
    return Lifetime(
        change,
        known,
        _mean(quantity.estimate, weights),
        quantity.label,
        name == KEPT,
        None if power is None else _mean(power.estimate, weights),
    )


def _weights(times: Array, end: float) -> Array:
    """Share of each place in the mean of straight pieces from the first time to an end within them."""
    span = np.diff(times)
    part = np.clip(end - times[:-1], 0.0, span)
    later = part**2 / (2.0 * span)
    weights = np.zeros(len(times))
    weights[:-1] += part - later
    weights[1:] += later
    return np.asarray(weights / np.sum(weights))


def _mean(x: Estimate, weights: Array) -> Estimate:
    """Linear in what moves it: the prediction is not run again for each draw."""
    taken = tangent(x).take(ROW, np.arange(len(weights)))
    return tangent(linear(_weighted, {"x": taken, "weights": Estimate(weights, (ROW,))}, (ROW,), {"mean": ()})["mean"])


def _weighted(*, x: Array, weights: Array) -> dict[str, Array]:
    return {"mean": np.sum(x * weights, axis=-1, keepdims=True)}
