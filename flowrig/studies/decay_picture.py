"""What a channel of a decay comes to reading by reading, with the bars of counting, to be drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.records.items import Array
from flowrig.studies.room_decay_run import Fall
from flowrig.uncertainty.counts import poisson_limits
from flowrig.uncertainty.estimate import Bools

PLACES = 60  # of a curve


@dataclass
class Traced:
    """A channel of a run with its fit.

    Attributes
    ----------
    time : array, shape (n,)
        From the start of the decay. [s]
    level, low, high : array, shape (n,)
        As read, with the exact limits of its count; NaN for the ends where the number of particles is not known.
        [1/m^3]
    used : array of bool, shape (n,)
    curve_time, curve : array
        The fit over its window, floor included.
    floor, floor_u : float
        [1/m^3]
    residuals : array
        Of the rows used, in standard deviations of a reading.
    """

    time: Array
    level: Array
    low: Array
    high: Array
    used: Bools
    curve_time: Array
    curve: Array
    floor: float
    floor_u: float
    residuals: Array

    @property
    def window(self) -> tuple[float, float]:
        """Its first and its last row. [s]"""
        return float(self.curve_time[0]), float(self.curve_time[-1])


def traced(fall: Fall, coverage: float = 0.95) -> Traced:
    """One channel of a run as it is drawn.

    Parameters
    ----------
    fall : Fall
    coverage : float
        Of the limits of a count.
    """
    run = fall.run
    counts = run.counts[:, fall.channel]
    low = high = np.full(len(counts), np.nan)
    if run.raw:
        low, high = (np.asarray(x) / run.exposure for x in poisson_limits(counts, coverage))
    first, last = fall.span
    at = np.linspace(first, last, PLACES)
    return Traced(
        run.time - run.start,
        run.level[:, fall.channel],
        low,
        high,
        np.asarray(fall.used),
        at - run.start,
        fall.fit.at(at - first) + fall.fit.floor,
        fall.fit.floor,
        fall.fit.u_floor,
        fall.fit.residuals,
    )
