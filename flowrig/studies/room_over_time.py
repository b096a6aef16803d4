"""What becomes of the air of a room once its cleaners are switched on: its level over time, minutes to clear it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flowrig.records.items import Array
from flowrig.studies.result import Quantity
from flowrig.studies.room_balance import ALONG, cleared, come_down, level_over_time, to_target
from flowrig.studies.room_inputs import Asked
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval
from flowrig.uncertainty.montecarlo import chunks
from flowrig.uncertainty.propagate import linear

# at which a level is told, both ends included: close together at first, when it falls fastest
SHARES_OF_RUN = np.concatenate([np.arange(16.0), np.arange(16.0, 241.0, 4.0)]) / 240.0
CURVE_DRAWS = 4000  # a time: its ends are then good to about 0.05 u
TIME_DRAWS = 32_768
SHARES = (0.9, 0.99, 0.999)  # removed
CLEARED, DOWN, TARGET = "while nothing enters", "while more enters", "to the target"
SHARE_LEFT = ("level", "share of what was there at the start", "ratio", "%")


@dataclass
class Minutes:
    """A time until something is reached, which may never be.

    Attributes
    ----------
    what : str
        ``90 %`` and so on, or ``target``.
    time : Quantity
        Infinite where it is not reached with every value as it is stated, or at an end of the interval.
    never : float
        Probability that it is never reached.
    """

    what: str
    time: Quantity
    never: float = 0.0

    def __repr__(self) -> str:
        return f"<Minutes to {self.what}: {self.time!r}, never {self.never:.1%}>"


def over_time(
    times: Array,
    initial: Estimate,
    gain: Estimate,
    loss: Estimate,
    shown: tuple[str, str, str, str],
    asked: Asked,
) -> Quantity:
    """Level at some times, each with its interval; axis ``along``.

    Parameters
    ----------
    times : array
        [s]
    initial, gain, loss : Estimate
        Of the balance: level at time 0, what enters for each volume, rate of loss.
    shown : tuple of str
        Name, label, kind and unit of the level.
    """
    inputs = {"time": Estimate(times, (ALONG,)), "initial": initial, "gain": gain, "loss": loss}
    level = linear(level_over_time, inputs, (ALONG,), {"level": (ALONG,)})["level"]
    bar, drawn = batch_intervals({"": level}, asked.coverage, samples=asked.samples or CURVE_DRAWS, seed=asked.seed)[""]
    return Quantity(*shown, level, bar, drawn)


def minutes(
    loss: Estimate, balance: Mapping[str, Estimate] | None, target: Estimate | None, asked: Asked
) -> tuple[list[Minutes], list[Minutes], Minutes | None]:
    """Times in which a room clears, drawn together.

    Parameters
    ----------
    loss : Estimate
        Rate of loss.
    balance : mapping of str to Estimate, or None
        ``initial``, ``gain`` and ``loss``; None where what enters is not known.
    target : Estimate or None

    Returns
    -------
    tuple
        To 90, 99 and 99.9 % removed while nothing enters; until as much of what was there is gone while more enters,
        empty without a balance; to the target, or None.
    """
    times = {(share, CLEARED): linear(cleared, {"loss": loss}, (), {"time": ()}, share=share) for share in SHARES}
    if balance is not None:
        times |= {(share, DOWN): linear(come_down, balance, (), {"time": ()}, share=share) for share in SHARES}
        if target is not None:
            times[0.0, TARGET] = linear(to_target, {**balance, "target": target}, (), {"time": ()})
    estimates = [out["time"] for out in times.values()]
    drawn = [
        np.concatenate(column)
        for column in zip(*chunks(estimates, asked.samples or TIME_DRAWS, asked.seed), strict=True)
    ]
    found = {
        key: _told(f"{100 * key[0]:g} %" if key[0] else "target", key[1], x, draws, asked.coverage)
        for key, x, draws in zip(times, estimates, drawn, strict=True)
    }
    alone, more = ([m for (_, label), m in found.items() if label == own] for own in (CLEARED, DOWN))
    return alone, more, found.get((0.0, TARGET))


def _told(what: str, label: str, time: Estimate, drawn: Array, coverage: float) -> Minutes:
    """With an interval that knows that some draws never get there: the usual ones leave such draws out."""
    lost = np.isnan(drawn)
    valued = np.where(lost, np.inf, drawn)
    tail = 0.5 * (1.0 - coverage)
    low, high = np.quantile(valued, [tail, 1.0 - tail], method="inverted_cdf")
    finite = valued[np.isfinite(valued)]
    interval = Interval(
        np.asarray(low),
        np.asarray(high),
        coverage,
        np.asarray(math.nan),
        "monte carlo",
        np.asarray(True),
        np.asarray(False),
        draws=len(drawn),
        lost=np.asarray(np.mean(lost)),
        spread=np.asarray(np.std(finite) if len(finite) else math.nan),
    )
    sound = np.isfinite(time.value) and all(np.all(np.isfinite(part)) for part in time.parts.values())
    told = time if sound else Estimate(time.value)  # next to a time that is never reached there are no slopes
    return Minutes(what, Quantity("time", label, "time", "min", told, interval), float(np.mean(np.isinf(valued))))
