"""Classes by published limits. Which one averages meet is arithmetic; that a filter has one is not said here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flowrig.physics.si import Floats

SAME = 1e-9  # by which a mean of decimal figures may miss a limit in binary
NONE = 0.0  # no least efficiency is asked for


@dataclass(frozen=True)
class Edition:
    """One published table of classes by average efficiency.

    Attributes
    ----------
    source, status : str
        Where the table stands, and whether it was read or is from memory.
    minima : tuple of (int, float, float, float)
        Class with the least E1, E2 and E3 that it asks for, by rising class.
    arrestance : tuple of (int, float)
        Class below those with the least average arrestance.
    """

    source: str
    status: str
    minima: tuple[tuple[int, float, float, float], ...]
    arrestance: tuple[tuple[int, float], ...]


_COARSE = ((2, 0.65), (3, 0.70), (4, 0.75))  # class 1 asks for nothing
_EARLIER = (
    (5, NONE, NONE, 0.20),
    (6, NONE, NONE, 0.35),
    (7, NONE, NONE, 0.50),
    (8, NONE, NONE, 0.70),
    (9, NONE, NONE, 0.85),
    (10, NONE, 0.50, 0.85),
    (11, NONE, 0.65, 0.85),
    (12, NONE, 0.80, 0.90),
    (13, NONE, 0.90, 0.90),
    (14, 0.75, 0.90, 0.90),
    (15, 0.85, 0.90, 0.90),
    (16, 0.95, 0.95, 0.95),
)
EDITIONS = {
    "ANSI/ASHRAE 52.2-1999": Edition("Table 12-1", "read on a public chart", _EARLIER, _COARSE),
    "ANSI/ASHRAE 52.2-2007": Edition("Table 12-1", "read on a public chart", _EARLIER, _COARSE),
    "ANSI/ASHRAE 52.2-2017": Edition(
        "Table 12-1",
        "from memory; row 11 read, rows 12 to 16 seen in a public listing of a code",
        (
            (5, NONE, NONE, 0.20),
            (6, NONE, NONE, 0.35),
            (7, NONE, NONE, 0.50),
            (8, NONE, 0.20, 0.70),
            (9, NONE, 0.35, 0.75),
            (10, NONE, 0.50, 0.80),
            (11, 0.20, 0.65, 0.85),
            (12, 0.35, 0.80, 0.90),
            (13, 0.50, 0.85, 0.90),
            (14, 0.75, 0.90, 0.95),
            (15, 0.85, 0.90, 0.95),
            (16, 0.95, 0.95, 0.95),
        ),
        _COARSE,
    ),
}


def reporting_class(
    e1: ArrayLike, e2: ArrayLike, e3: ArrayLike, edition: str, arrestance: ArrayLike | None = None
) -> Floats:
    """Class that three average efficiencies meet: the highest whose three minima are all met.

    Parameters
    ----------
    e1, e2, e3 : array, broadcast together
        As of `range_averages`. [1]
    edition : str
        Key of ``EDITIONS``.
    arrestance : array, broadcast with them, optional
        Average share by mass of the standard's dust that is held back. [1]

    Returns
    -------
    number : array, shape of the broadcast inputs
        5 to 16; 1 to 4 by the arrestance. 0 for a filter below class 5 of which no arrestance is known. NaN where an
        average is missing. Draws in, draws out: their frequencies are the probability of each class.

    Raises
    ------
    ValueError
        For an edition that is not listed, or if the shapes do not broadcast.

    Notes
    -----
    The standard speaks of the least efficiency in each channel over all stages of loading: averages of a clean filter
    give at most an upper bound.

    Source
    ------
    ANSI/ASHRAE 52.2, by edition, each with its status in ``EDITIONS``.

    Examples
    --------
    >>> [int(reporting_class(0.625, 0.86, 0.929, f"ANSI/ASHRAE 52.2-{year}")) for year in (2007, 2017)]
    [12, 13]
    """
    table = _listed(EDITIONS, edition)
    averages = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (e1, e2, e3)))
    number = np.zeros(averages[0].shape)
    if arrestance is not None:
        mass = np.asarray(arrestance, dtype=float)
        number = np.where(np.isnan(mass), 0.0, 1.0) + np.zeros_like(averages[0])
        for name, least in table.arrestance:
            number = np.where(_meets(mass, least), float(name), number)
    for name, *minima in table.minima:
        met = np.all([_meets(each, least) for each, least in zip(averages, minima, strict=True)], axis=0)
        number = np.where(met, float(name), number)
    missing = np.any(np.isnan(averages), axis=0)
    return np.where(missing, np.nan, number)[()]


@dataclass(frozen=True)
class Step:
    """One class by penetration at the most-penetrating size: the most overall, and the most at any one place."""

    name: str
    overall: float
    local: float | None = None


# Read. The limits are of penetration, which keeps the digits that an efficiency near 1 has not.
PENETRATION_CLASSES = {
    "EN 1822-1": (
        Step("E10", 0.15),
        Step("E11", 0.05),
        Step("E12", 0.005),
        Step("H13", 5e-4, 25e-4),
        Step("H14", 5e-5, 25e-5),
        Step("U15", 5e-6, 25e-6),
        Step("U16", 5e-7, 25e-7),
        Step("U17", 5e-8, 1e-6),
    ),
    "ISO 29463-1": (
        Step("ISO 15 E", 0.05),
        Step("ISO 20 E", 0.01),
        Step("ISO 25 E", 0.005),
        Step("ISO 30 E", 0.001),
        Step("ISO 35 H", 5e-4, 25e-4),
        Step("ISO 40 H", 1e-4, 5e-4),
        Step("ISO 45 H", 5e-5, 25e-5),
        Step("ISO 50 U", 1e-5, 5e-5),
        Step("ISO 55 U", 5e-6, 25e-6),
        Step("ISO 60 U", 1e-6, 5e-6),
        Step("ISO 65 U", 5e-7, 25e-7),
        Step("ISO 70 U", 1e-7, 1e-6),
        Step("ISO 75 U", 5e-8, 1e-6),
    ),
}


def penetration_class(overall: ArrayLike, standard: str, local: ArrayLike | None = None) -> NDArray[np.intp]:
    """Class that penetration at the most-penetrating particle size meets.

    Parameters
    ----------
    overall : array
        Penetration of the whole filter at the most-penetrating size, which is not 0.3 um. [1]
    standard : str
        Key of ``PENETRATION_CLASSES``.
    local : array, broadcast with ``overall``, optional
        The largest penetration found in a scan of the face. [1]

    Returns
    -------
    place : array of int, shape of the broadcast inputs
        In the table of that standard; -1 for a filter that meets none, and where a penetration is missing.

    Raises
    ------
    ValueError
        For a standard that is not listed, or if the shapes do not broadcast.

    Notes
    -----
    With no scan the class is by the whole filter alone, and from H13 or ISO 35 H on at most that.

    Source
    ------
    EN 1822-1 and ISO 29463-1, tables of classes.

    Examples
    --------
    >>> [PENETRATION_CLASSES["EN 1822-1"][penetration_class(3e-4, "EN 1822-1", local)].name for local in (None, 0.01)]
    ['H13', 'E12']
    """
    table = _listed(PENETRATION_CLASSES, standard)
    whole = np.asarray(overall, dtype=float)
    scanned = np.zeros(()) if local is None else np.asarray(local, dtype=float)
    place = np.full(np.broadcast_shapes(whole.shape, scanned.shape), -1)
    for rank, step in enumerate(table):
        met = _stays_below(whole, step.overall)
        if step.local is not None:
            met = met & _stays_below(scanned, step.local)
        place = np.where(met, rank, place)
    missing = np.isnan(whole) | np.isnan(scanned)
    return np.where(missing, -1, place)


# Largest size (m) and the aerosol that weighs the channels. ISO 16890-1:2016, from memory.
PARTICULATE = {"ePM1": (1.0e-6, "urban"), "ePM2.5": (2.5e-6, "urban"), "ePM10": (10.0e-6, "rural")}
LEAST = 0.5  # to be of a group
ALSO_CONDITIONED = ("ePM1", "ePM2.5")  # groups in which the conditioned filter has to reach it as well
STEP = 0.05  # to which a group's efficiency is rounded down
ABOVE = 0.95  # beyond which no figure is given


def particulate_groups(initial: dict[str, float], conditioned: dict[str, float]) -> tuple[str, ...]:
    """Groups of ISO 16890 that a filter's averages meet, with the efficiency to report in each, finest first.

    Parameters
    ----------
    initial : dict of str to float
        ePM1, ePM2.5 and ePM10 of the filter as it came, by those names. [1]
    conditioned : dict of str to float
        The same of the filter without its electrostatic charge. [1]

    Returns
    -------
    groups : tuple of str
        Empty for a filter with an ePM10 below 50 %, which is reported as coarse by its arrestance.

    Raises
    ------
    KeyError
        If one of the three is not given.

    Notes
    -----
    The mean of the two decides, and in the two finer groups the conditioned one too. It is rounded down to a
    multiple of 5 %; above 95 % it is given as that.

    Source
    ------
    ISO 16890-1:2016: the groups and the rounding read, what is said above 95 % from memory.

    Examples
    --------
    >>> new, bare = {"ePM1": 0.60, "ePM2.5": 0.69, "ePM10": 0.87}, {"ePM1": 0.45, "ePM2.5": 0.57, "ePM10": 0.82}
    >>> particulate_groups(new, bare)
    ('ISO ePM2.5 60%', 'ISO ePM10 80%')
    """
    groups = []
    for name in PARTICULATE:
        mean = (initial[name] + conditioned[name]) / 2.0
        if _meets(mean, LEAST) and (name not in ALSO_CONDITIONED or _meets(conditioned[name], LEAST)):
            groups.append(f"ISO {name} {_reported(mean)}")
    return tuple(groups)


def _reported(mean: float) -> str:
    if mean > ABOVE + SAME:
        return f">{ABOVE:.0%}"
    return f"{np.floor(mean / STEP + SAME) * STEP:.0%}"


def _meets(value: Any, least: float) -> Any:
    return np.greater_equal(value, least - SAME) if least > NONE else ~np.isnan(value)


def _stays_below(penetration: Any, most: float) -> Any:
    return np.less_equal(penetration, most * (1.0 + SAME))


def _listed(tables: dict[str, Any], name: str) -> Any:
    if name not in tables:
        raise ValueError(f"{name!r} is not one of: {', '.join(tables)}")
    return tables[name]
