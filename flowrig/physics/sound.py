"""Sound levels: sums and means by energy, background, distance and rooms.

Levels are in decibels, sound pressure re 20 uPa and sound power re 1 pW. A level may have any weighting as long as all
of a call have the same.
"""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, not_below_0, si, within

# Readings whose difference is the limit itself stay on its good side, whatever binary makes of their tenths.
_ROUNDING = 1e-9


@si("dB", level="dB")
def energy_sum(level: Floats) -> Floats:
    """Level of several sources, or bands, together.

    Parameters
    ----------
    level : array, sources on the last axis
        Level of each; minus infinity for one that is silent. [dB]

    Returns
    -------
    level : shape of the input with the last axis at length 1
        NaN where one is missing. [dB]

    Raises
    ------
    Nothing.

    Notes
    -----
    10 lg sum(10^(L/10)): sources that have no phase in common add by energy.

    Source
    ------
    Definition of the level; any textbook of acoustics.

    Examples
    --------
    >>> import numpy as np
    >>> energy_sum(np.array([86.0, 80.0])).round(4)
    array([86.9732])
    """
    with np.errstate(all="ignore"):
        energy = np.power(10.0, np.atleast_1d(np.asarray(level, dtype=float)) / 10.0)
        total: Floats = 10.0 * np.log10(np.sum(energy, axis=-1, keepdims=True))
        return total


@si("dB", level="dB")
def energy_mean(level: Floats) -> Floats:
    """Mean of levels by energy: over places that stand for equal areas, or over equal times.

    Parameters
    ----------
    level : array, places or times on the last axis
        Level at each. [dB]

    Returns
    -------
    level : shape of the input with the last axis at length 1
        NaN where one is missing. Never below the mean of the decibels. [dB]

    Raises
    ------
    Nothing.

    Notes
    -----
    10 lg(sum(10^(L/10))/N).

    Source
    ------
    ISO 3744:2010, mean over the places of the microphone (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> energy_mean(np.array([50.0, 60.0])).round(4)
    array([57.4036])
    """
    mean: Floats = energy_sum(level) - 10.0 * np.log10(np.atleast_1d(level).shape[-1])
    return mean


@si("dB", level="dB", number="1")
def equal_sources_level(level: Floats, number: Floats) -> Floats:
    """Level of several equal sources that are equally far away.

    Parameters
    ----------
    level : float or array
        Level of one. [dB]
    number : float or array, broadcast with ``level``
        How many. [1]

    Returns
    -------
    level : shape of the broadcast inputs
        NaN for a number not above 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L + 10 lg N.

    Source
    ------
    `energy_sum` of N equal levels.

    Examples
    --------
    >>> round(float(equal_sources_level(57.0, 2)), 4)
    60.0103
    """
    with np.errstate(all="ignore"):
        return within(np.greater(number, 0.0), level + 10.0 * np.log10(number))


@si("dB", level="dB", background="dB", limit="dB")
def level_without_background(level: Floats, background: Floats, limit: Floats = 6.0) -> Floats:
    """Level of a source alone, from that with it and that without it.

    Parameters
    ----------
    level : float or array
        Level with the source at work. [dB]
    background : float or array, broadcast with the others
        Level with it off, all else the same. [dB]
    limit : float or array, broadcast with the others
        Least difference at which a correction is allowed: 6 dB at engineering grade, 3 dB at survey grade. [dB]

    Returns
    -------
    level : shape of the broadcast inputs
        NaN where the difference is below the limit, see `level_upper_bound`, and for a limit not above 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    10 lg(10^(L/10) - 10^(L_b/10)). Above 15 dB the standard lets the correction be left out; it is 0.14 dB there and is
    made all the same, so that no level jumps.

    Source
    ------
    ISO 3744:2010 and, for 3 dB, ISO 3746:2010 (from memory).

    Examples
    --------
    >>> round(float(level_without_background(47.0, 40.0)), 6)
    46.033471
    """
    with np.errstate(all="ignore"):
        above = level - np.asarray(background, dtype=float)
        allowed = (above >= np.asarray(limit) - _ROUNDING) & np.greater(limit, 0.0)
        return within(allowed, level - _correction(above))


@si("dB", level="dB", background="dB", cap="dB")
def level_upper_bound(level: Floats, background: Floats, cap: Floats = 1.3) -> Floats:
    """Level that a source does not exceed, where the background is too near for more to be said.

    Parameters
    ----------
    level : float or array
        Level with the source at work. [dB]
    background : float or array, broadcast with the others
        Level with it off, all else the same. [dB]
    cap : float or array, broadcast with the others
        Greatest correction allowed: 1.3 dB at engineering grade, 3 dB at survey grade. [dB]

    Returns
    -------
    level : shape of the broadcast inputs
        At most ``cap`` below ``level``, and nowhere below what `level_without_background` gives. Where the background
        is above the level it did not stay the same, so that nothing is taken off. NaN for a cap below 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L - min(K, cap) with the correction K = -10 lg(1 - 10^(-(L - L_b)/10)). K is 1.256 dB at 6 dB and passes 1.3 dB at
    5.87 dB: in between the cap alone would come out below the source.

    Source
    ------
    ISO 3744:2010 and, for 3 dB, ISO 3746:2010 (from memory).

    Examples
    --------
    >>> round(float(level_upper_bound(47.0, 43.0)), 6)
    45.7
    """
    with np.errstate(all="ignore"):
        above = level - np.asarray(background, dtype=float)
        taken = np.where(above < 0.0, 0.0, np.minimum(_correction(np.abs(above)), cap))
        return within(not_below_0(cap), level - taken)


@si("dB", level="dB", distance="m", other_distance="m")
def level_at_distance(level: Floats, distance: Floats, other_distance: Floats) -> Floats:
    """Sound pressure level at another distance from a source in the open.

    Parameters
    ----------
    level : float or array
        Level at the first distance. [dB]
    distance : float or array, broadcast with the others
        Distance from the middle of the source. [m]
    other_distance : float or array, broadcast with the others
        Distance at which the level is wanted. [m]

    Returns
    -------
    level : shape of the broadcast inputs
        NaN for a distance not above 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L - 20 lg(r_2/r_1), in a free field and far from a source against its size. In a room the level stops falling where
    what its walls throw back prevails: `room_level`.

    Source
    ------
    Law of distance; any textbook of acoustics.

    Examples
    --------
    >>> round(float(level_at_distance(64.5, 1.0, 2.0)), 4)
    58.4794
    """
    with np.errstate(all="ignore"):
        near, far = np.asarray(distance, dtype=float), np.asarray(other_distance, dtype=float)
        return within((near > 0.0) & (far > 0.0), level - 20.0 * np.log10(far / near))


@si("m^2", surface="m^2", absorption="1")
def room_constant(surface: Floats, absorption: Floats) -> Floats:
    """Room constant: the absorbing area by which a room throws sound back.

    Parameters
    ----------
    surface : float or array
        Area of walls, floor, ceiling and what stands in the room. [m^2]
    absorption : float or array, broadcast with ``surface``
        Mean coefficient of absorption of that area. [1]

    Returns
    -------
    constant : shape of the broadcast inputs
        Infinite at an absorption of 1, as in the open. NaN for a surface not above 0, and for an absorption outside 0
        to 1. [m^2]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    R = S a/(1 - a).

    Source
    ------
    Any textbook of room acoustics (from memory).

    Examples
    --------
    >>> round(float(room_constant(150.0, 0.2)), 6)
    37.5
    """
    with np.errstate(all="ignore"):
        area, share = np.asarray(surface, dtype=float), np.asarray(absorption, dtype=float)
        return within((area > 0.0) & (share >= 0.0) & (share <= 1.0), area * share / (1.0 - share))


@si("dB", power_level="dB", directivity="1", distance="m", constant="m^2")
def room_level(power_level: Floats, directivity: Floats, distance: Floats, constant: Floats) -> Floats:
    """Sound pressure level of a source in a room.

    Parameters
    ----------
    power_level : float or array
        Sound power level of the source. [dB]
    directivity : float or array, broadcast with the others
        1 in mid-air, 2 on the floor, 4 at an edge, 8 in a corner. [1]
    distance : float or array, broadcast with the others
        From the source. [m]
    constant : float or array, broadcast with the others
        Room constant, as `room_constant` gives it; infinite in the open. [m^2]

    Returns
    -------
    level : shape of the broadcast inputs
        NaN for an input but the level that is not above 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L_p = L_w + 10 lg(D/(4 pi r^2) + 4/R): what comes straight and what the room throws back, diffuse.

    Source
    ------
    Any textbook of room acoustics (from memory).

    Examples
    --------
    >>> round(float(room_level(60.0, 2.0, 1.5, 37.5)), 4)
    52.4896
    """
    return power_level + _transfer(directivity, distance, constant)


@si("dB", level="dB", directivity="1", distance="m", constant="m^2")
def power_level_from_room(level: Floats, directivity: Floats, distance: Floats, constant: Floats) -> Floats:
    """Sound power level of a source from its sound pressure level in a room: the inverse of `room_level`.

    Parameters
    ----------
    level : float or array
        Sound pressure level of the source, its background taken off. [dB]
    directivity : float or array, broadcast with the others
        1 in mid-air, 2 on the floor, 4 at an edge, 8 in a corner. [1]
    distance : float or array, broadcast with the others
        From the source. [m]
    constant : float or array, broadcast with the others
        Room constant, as `room_constant` gives it; infinite in the open. [m^2]

    Returns
    -------
    power_level : shape of the broadcast inputs
        NaN for an input but the level that is not above 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L_w = L_p - 10 lg(D/(4 pi r^2) + 4/R). On a reflecting floor in the open L_p + 10 lg(2 pi r^2), with r in m.

    Source
    ------
    Any textbook of room acoustics (from memory).

    Examples
    --------
    >>> round(float(power_level_from_room(55.0, 2.0, 1.0, float("inf"))), 6)
    62.981799
    """
    return level - _transfer(directivity, distance, constant)


def _correction(above: Floats) -> Floats:
    corrected: Floats = -10.0 * np.log1p(-np.power(10.0, -np.asarray(above) / 10.0)) / np.log(10.0)
    return corrected


def _transfer(directivity: Floats, distance: Floats, constant: Floats) -> Floats:
    with np.errstate(all="ignore"):
        source, away, room = (np.asarray(each, dtype=float) for each in (directivity, distance, constant))
        transfer = 10.0 * np.log10(source / (4.0 * np.pi * np.square(away)) + 4.0 / room)
        return within((source > 0.0) & (away > 0.0) & (room > 0.0), transfer)
