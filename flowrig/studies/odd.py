"""Single readings that do not belong with the others: a slipped sign, a shifted decimal point, a misread digit."""

from __future__ import annotations

import numpy as np

from flowrig.records import flags
from flowrig.records.declare import Finding
from flowrig.records.items import Array, Item, Layout, as_shown
from flowrig.uncertainty.estimate import Bools

ENOUGH = 5  # readings of a run before one of them can be called odd
FAR = 8.0  # robust standard deviations: chance alone does that in none of a million normal readings
APART = 0.5  # of the same place's median over the passes
TIMES = 4.0  # more or less than the plane's median, where a single pass is all there is
MOST = 5  # named one by one


def odd_readings(item: Item, layout: Layout | None) -> list[Finding]:
    """Readings of a run or a grid that stand out, named by their place.

    Parameters
    ----------
    item : Item
        Readings (n,) of a run or (passes, points) of a grid.
    layout : Layout or None
        Places of the points.

    Notes
    -----
    A run of five or more: further from its median than eight robust standard deviations (1.4826 times the median
    absolute deviation) and than a twentieth of the median. A grid of three or more passes: more than half away from
    the same place's median over the passes. A grid of one or two: a quarter or four times the plane's median, or of
    the other sign.
    """
    values = item.value
    if values.ndim == 2 and layout is not None:
        odd = _odd_places(values)
        places = [f"{layout.place(point)}, pass {p + 1}" for p, point in np.argwhere(odd)]
    else:
        odd = _odd_in_run(values)
        places = [f"reading {i + 1}" for i in np.flatnonzero(odd)]
    found = []
    if places:
        shown = as_shown(item, values[odd][:MOST])
        said = "; ".join(f"{place}: {value}" for place, value in zip(places, shown, strict=False))
        more = f"; and {len(places) - MOST} more" if len(places) > MOST else ""
        usual = as_shown(item, np.atleast_1d(np.median(values)))[0]
        found.append(Finding(flags.ODD_READING, f"{item.path}: {said}{more}; the middle of all is {usual}"))
    if np.any(values < 0) and np.any(values > 0) and np.median(np.abs(values)) > 0:
        against = values * np.sign(np.median(values)) < -0.2 * np.median(np.abs(values))
        if np.any(against):
            found.append(Finding(flags.MIXED_SIGNS, f"{item.path}: {int(np.sum(against))} of {values.size} readings"))
    return found


def _odd_in_run(values: Array) -> Bools:
    if len(values) < ENOUGH:
        return np.zeros(len(values), dtype=bool)
    away = np.abs(values - np.median(values))
    robust = 1.4826 * np.median(away)
    return np.asarray(away > np.maximum(FAR * robust, 0.05 * np.abs(np.median(values))))


def _odd_places(values: Array) -> Bools:
    if len(values) >= 3:
        middle = np.median(values, axis=0)
        # near a wall a place may read next to nothing: half of that is no oddity
        allowed = APART * np.maximum(np.abs(middle), 0.2 * np.median(np.abs(middle)))
        return np.asarray(np.abs(values - middle) > allowed)
    typical = float(np.median(values))
    if typical == 0.0:
        return np.zeros(values.shape, dtype=bool)
    ratio = values / typical
    return np.asarray((ratio > TIMES) | (ratio < 1.0 / TIMES))
