"""When the filters of a cleaner are to be changed: what is reached first of several limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.records.items import Array

CLEAN_AIR, FINAL_DROP, TEMPERATURE, CHEAPEST = (
    "required clean air lost",
    "final drop reached",
    "temperature limit of the motor reached",
    "clean air at its cheapest",
)
REACHED, NOT_WITHIN, NOT_KNOWN = "reached", "not within the run", "not known"
FLAT = 0.02  # of the least cost: as cheap, for all that matters; own judgement, no source


@dataclass
class Change:
    """One reason to change the filters.

    Attributes
    ----------
    name : str
    status : str
        ``reached``, ``not within the run``, or ``not known``.
    time : float or None
        Running time at which it rules. [s]
    earliest, latest : float or None
        Between which times it may lie: for limits by the error bars, for the cheapest where the cost is within 2 % of
        the least. None where that lies outside what was looked at. [s]
    why : str
        By what it was judged, or what is missing.
    """

    name: str
    status: str
    time: float | None = None
    earliest: float | None = None
    latest: float | None = None
    why: str = ""


def missing(name: str, why: str) -> Change:
    return Change(name, NOT_KNOWN, why=why)


def first_above(times: Array, x: Array, limit: float) -> tuple[float | None, bool]:
    """When a course is first at a limit or above, between its places on straight lines.

    Parameters
    ----------
    times, x : array, shape (n,)
        NaN where the course is not known.
    limit : float

    Returns
    -------
    time : float or None
    whole : bool
        Whether the course was known up to there, or to its end.
    """
    for k in range(len(times)):
        if not np.isfinite(x[k]):
            return None, False
        if x[k] >= limit:
            if k == 0:
                return float(times[0]), True
            share = (limit - x[k - 1]) / (x[k] - x[k - 1])
            return float(times[k - 1] + share * (times[k] - times[k - 1])), True
    return None, True


def at_limit(name: str, times: Array, courses: tuple[Array, Array, Array], limit: float, why: str) -> Change:
    """When a course reaches a limit from below.

    Parameters
    ----------
    name : str
    times : array
    courses : three arrays
        The one that rules, the one that is there first, the one that is there last.
    limit : float
    why : str
    """
    (time, whole), (earliest, _), (latest, _) = (first_above(times, x, limit) for x in courses)
    status = REACHED if time is not None else NOT_WITHIN if whole else NOT_KNOWN
    if status == NOT_KNOWN:
        why = f"{why}; not reached while it is told"
    return Change(name, status, time, earliest, latest, why)


def cheapest(times: Array, cost: Array, why: str) -> Change:
    """When a cost is least, by the parabola through its three lowest places; the first time has no cost."""
    known = np.flatnonzero(np.isfinite(cost))
    if len(known) < 3:
        return missing(CHEAPEST, f"{why}; told at too few times")
    k = int(known[np.argmin(cost[known])])
    if k == known[-1]:
        whole = k == len(times) - 1
        more = "still falling at the end of the run" if whole else "still falling where it is last told"
        return Change(CHEAPEST, NOT_WITHIN if whole else NOT_KNOWN, why=f"{why}; {more}")
    time = float(times[k])
    if k > known[0]:
        at, y = times[k - 1 : k + 2], cost[k - 1 : k + 2]
        a, b, _ = np.polyfit(at - time, y, 2)
        time = float(time - b / (2 * a)) if a > 0.0 else time
    low = cost <= (1.0 + FLAT) * cost[k]
    near = times[known[low[known]]]
    return Change(CHEAPEST, REACHED, time, float(near.min()), float(near.max()), why)


def ruling(changes: list[Change]) -> Change | None:
    """The earliest that is reached; of two at once the first."""
    reached = [c for c in changes if c.time is not None]
    return min(reached, key=lambda c: c.time or 0.0) if reached else None
