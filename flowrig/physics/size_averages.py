"""Averages of an efficiency over published ranges of particle size: channels count by size, never by their counts."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, Truth, si, within

# Limits of the twelve channels, m. ANSI/ASHRAE 52.2; read on a public page of the trade. The first four make E1, the
# next four E2, the last four E3.
CHANNELS = (0.3e-6, 0.4e-6, 0.55e-6, 0.7e-6, 1.0e-6, 1.3e-6, 1.6e-6, 2.2e-6, 3.0e-6, 4.0e-6, 5.5e-6, 7.0e-6, 10.0e-6)

# Two log-normal modes of volume: share of the fine one, its median (m) and geometric standard deviation, and those of
# the coarse one. ISO 16890-1:2016, from memory.
AEROSOLS = {
    "urban": (0.45, 0.3e-6, 2.2, 10.0e-6, 3.1),
    "rural": (0.18, 0.25e-6, 2.2, 11.0e-6, 4.0),
}
SMALLEST = 0.3e-6  # m, where the ranges of ISO 16890-1 begin
# Ranges of the three averages over the twelve channels, m. ANSI/ASHRAE 52.2, groups read on a public page of the trade.
AVERAGED = {"E1": (0.3e-6, 1.0e-6), "E2": (1.0e-6, 3.0e-6), "E3": (3.0e-6, 10.0e-6)}
# Sizes of the particles that clean-air rates are told for, m. ANSI/AHAM AC-1, from memory.
CLEAN_AIR_RANGES = {"smoke": (0.10e-6, 1.0e-6), "dust": (0.5e-6, 3.0e-6), "pollen": (5.0e-6, 11.0e-6)}
SAME = 1e-6  # of a size: two that differ by less are one limit, written in other units


@si("1", efficiency="1", lower="m", upper="m", size="m")
def efficiency_at_size(efficiency: Floats, lower: Floats, upper: Floats, size: Floats) -> Floats:
    """Efficiency at other sizes than the means of a counter's channels.

    Parameters
    ----------
    efficiency : array, shape (..., k)
        In each channel, by rising size. [1]
    lower : array, shape (k,)
        Lower limit of each channel. [m]
    upper : array, shape (k,)
        Upper limit, where the next begins. [m]
    size : array, shape (m,)
        At which it is asked for, as the means of the channels of a standard. [m]

    Returns
    -------
    efficiency : shape (..., m)
        NaN for a size in no channel, and everywhere for channels that are not next to each other or that rise in no
        order. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not fit.

    Notes
    -----
    Straight lines in ln d between the geometric means of the channels. From the first mean down to the lower end of its
    channel and from the last one up, it is that of the channel. At the counter's own means it is what was measured.

    Source
    ------
    None; our own convention. A counter with few channels cannot tell what lies within them.

    Examples
    --------
    >>> low, high = np.array([0.3e-6, 0.5e-6]), np.array([0.5e-6, 1e-6])
    >>> efficiency_at_size(np.array([0.4, 0.6]), low, high, np.array([0.3464e-6, 0.5e-6, 2e-6])).round(4)
    array([0.4   , 0.4849,    nan])
    """
    measured = np.asarray(efficiency, dtype=float)
    bottom, top = (np.broadcast_to(np.asarray(end, dtype=float), measured.shape[-1:]) for end in (lower, upper))
    wanted = np.atleast_1d(np.asarray(size, dtype=float))
    with np.errstate(all="ignore"):
        valid = (wanted >= bottom[0] * (1.0 - SAME)) & (wanted <= top[-1] * (1.0 + SAME)) & _adjoin(bottom, top)
        means, place = np.log(bottom * top) / 2.0, np.log(wanted)
    last = len(means) - 1
    left = np.clip(np.searchsorted(means, np.where(valid, place, means[0]), side="right") - 1, 0, max(last - 1, 0))
    right = np.minimum(left + 1, last)
    with np.errstate(all="ignore"):
        share = np.clip((place - means[left]) / np.where(right > left, means[right] - means[left], 1.0), 0.0, 1.0)
        # Where one of two channels has no share, a hole in it does no harm.
        between = np.where(share == 0.0, 0.0, share * measured[..., right])
        between = between + np.where(share == 1.0, 0.0, (1.0 - share) * measured[..., left])
    return within(valid, between)


@si(("1", "1", "1"), efficiency="1")
def range_averages(efficiency: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean efficiency in three ranges of size: 0.3 to 1 um, 1 to 3 um and 3 to 10 um.

    Parameters
    ----------
    efficiency : array, shape (..., 12)
        In each of the twelve channels of ANSI/ASHRAE 52.2. [1]

    Returns
    -------
    e1 : shape (..., 1)
        NaN where one of its four channels is missing. [1]
    e2 : shape (..., 1)
        The same. [1]
    e3 : shape (..., 1)
        The same. [1]

    Raises
    ------
    ValueError
        If there are not twelve channels.

    Notes
    -----
    Plain means of four channels each. The standard takes in each channel the least over all stages of loading; the
    averages of a clean filter say what it does clean.

    Source
    ------
    ANSI/ASHRAE 52.2 (from memory).

    Examples
    --------
    >>> e1, e2, e3 = range_averages(np.linspace(0.5, 0.94, 12))
    >>> e1.round(4), e2.round(4), e3.round(4)
    (array([0.56]), array([0.72]), array([0.88]))
    """
    measured = np.asarray(efficiency, dtype=float)
    if measured.ndim == 0 or measured.shape[-1] != len(CHANNELS) - 1:
        raise ValueError(
            f"shape {measured.shape}: the last axis holds the {len(CHANNELS) - 1} channels of the standard"
        )
    groups = np.mean(measured.reshape(*measured.shape[:-1], 3, 4), axis=-1)
    return groups[..., 0:1], groups[..., 1:2], groups[..., 2:3]


@si("1", size="m", share="1", fine_median="m", fine_spread="1", coarse_median="m", coarse_spread="1")
def volume_density(
    size: Floats,
    share: Floats,
    fine_median: Floats,
    fine_spread: Floats,
    coarse_median: Floats,
    coarse_spread: Floats,
) -> Floats:
    """Density of particle volume over the logarithm of size, of an aerosol with two log-normal modes.

    Parameters
    ----------
    size : float or array
        Of the particle. [m]
    share : float or array, broadcast with the others
        Of the volume that lies in the fine mode. [1]
    fine_median : float or array, broadcast with the others
        Median size of the fine mode by volume. [m]
    fine_spread : float or array, broadcast with the others
        Its geometric standard deviation. [1]
    coarse_median : float or array, broadcast with the others
        Median size of the coarse mode by volume. [m]
    coarse_spread : float or array, broadcast with the others
        Its geometric standard deviation. [1]

    Returns
    -------
    density : shape of the broadcast inputs
        Per unit of ln d. NaN for a size or median not above 0, a spread not above 1 and a share outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q_3 = y f(d; s_A, d_A) + (1-y) f(d; s_B, d_B) with f = exp(-(ln(d/d_50)/ln s)^2/2)/(ln s sqrt(2 pi)).

    Source
    ------
    ISO 16890-1:2016 (from memory).

    Examples
    --------
    >>> round(float(volume_density(0.3464e-6, *AEROSOLS["urban"])), 5)
    0.22628
    """
    with np.errstate(all="ignore"):
        fine, coarse = _log_normal(size, fine_median, fine_spread), _log_normal(size, coarse_median, coarse_spread)
        valid = np.greater(size, 0.0) & np.greater_equal(share, 0.0) & np.less_equal(share, 1.0)
        valid = valid & np.greater(fine_median, 0.0) & np.greater(coarse_median, 0.0)
        valid = valid & np.greater(fine_spread, 1.0) & np.greater(coarse_spread, 1.0)
        return within(valid, share * fine + (1.0 - np.asarray(share, dtype=float)) * coarse)


@si("1", lower="m", upper="m", limit="m")
def volume_weights(lower: Floats, upper: Floats, limit: Floats, aerosol: str, straddle: str = "whole") -> Floats:
    """Share of each channel in the volume of an aerosol between 0.3 um and a size.

    Parameters
    ----------
    lower : array, shape (..., k)
        Lower limit of each channel, by rising size from 0.3 um. [m]
    upper : array, shape (..., k)
        Upper limit, where the next begins. [m]
    limit : float or array, shape (..., 1)
        Size up to which the volume is taken. [m]
    aerosol : str
        Key of ``AEROSOLS``.
    straddle : str
        A channel that holds ``limit`` is taken ``"whole"``, or ``"cut"`` there.

    Returns
    -------
    weights : shape (..., k)
        They add up to 1. NaN for channels that do not begin at 0.3 um, are not next to each other or do not reach the
        limit, and for a limit not above 0.3 um. [1]

    Raises
    ------
    ValueError
        For a word that is not listed, or if the shapes do not broadcast.

    Notes
    -----
    w_i = q_3(d_i) ln(d_upper/d_lower)/sum, d_i the geometric mean of what is taken of the channel. Of the twelve
    channels one holds 2.5 um: whole or cut, ePM2.5 differs by up to 2 points.

    Source
    ------
    ISO 16890-1:2016 (from memory), which takes whole channels.

    Examples
    --------
    >>> edges = np.array(CHANNELS)
    >>> volume_weights(edges[:-1], edges[1:], 1e-6, "urban").round(4)[:5]
    array([0.3134, 0.3049, 0.1839, 0.1978, 0.    ])
    """
    if aerosol not in AEROSOLS or straddle not in ("whole", "cut"):
        raise ValueError(f"{aerosol!r}, {straddle!r}: urban or rural, whole or cut")
    bottom, top = np.broadcast_arrays(np.asarray(lower, dtype=float), np.asarray(upper, dtype=float))
    with np.errstate(all="ignore"):
        starts = np.abs(bottom[..., :1] / SMALLEST - 1.0) < SAME
        reaches = top[..., -1:] >= np.asarray(limit) * (1.0 - SAME)
        valid = starts & reaches & _adjoin(bottom, top) & (np.asarray(limit) > SMALLEST * (1.0 + SAME))
        taken = bottom < np.asarray(limit) * (1.0 - SAME)
        end = np.minimum(top, limit) if straddle == "cut" else top
        mean = np.sqrt(bottom * np.maximum(end, bottom))
        weights = np.where(taken, volume_density(mean, *AEROSOLS[aerosol]) * np.log(end / bottom), 0.0)
        return within(valid, weights / np.sum(weights, axis=-1, keepdims=True))


@si("1", efficiency="1", lower="m", upper="m", limit="m")
def particulate_efficiency(
    efficiency: Floats, lower: Floats, upper: Floats, limit: Floats, aerosol: str, straddle: str = "whole"
) -> Floats:
    """Efficiency by volume from 0.3 um to a size, against an aerosol that a standard describes: ePM1, ePM2.5, ePM10.

    Parameters
    ----------
    efficiency : array, shape (..., k)
        In each channel. [1]
    lower : array, shape (..., k)
        Lower limit of each channel, by rising size from 0.3 um. [m]
    upper : array, shape (..., k)
        Upper limit, where the next begins. [m]
    limit : float or array, shape (..., 1)
        1, 2.5 or 10 um. [m]
    aerosol : str
        ``"urban"`` for ePM1 and ePM2.5, ``"rural"`` for ePM10.
    straddle : str
        As in `volume_weights`.

    Returns
    -------
    efficiency : shape (..., 1)
        NaN as in `volume_weights`, and where a channel that counts is missing. Channels beyond the limit do not. [1]

    Raises
    ------
    ValueError
        For a word that is not listed, or if the shapes do not broadcast.

    Notes
    -----
    ePM_x = sum(E_i w_i). It weighs particles by volume: times a flow it is no clean-air rate.

    Source
    ------
    ISO 16890-1:2016 (from memory).

    Examples
    --------
    >>> edges = np.array(CHANNELS)
    >>> particulate_efficiency(np.linspace(0.5, 0.94, 12), edges[:-1], edges[1:], 1e-6, "urban").round(5)
    array([0.55065])
    """
    weights = volume_weights(lower, upper, limit, aerosol, straddle)
    with np.errstate(all="ignore"):
        parts = np.where(np.asarray(weights) == 0.0, 0.0, np.asarray(efficiency, dtype=float) * weights)
    average: Floats = np.sum(parts, axis=-1, keepdims=True)
    return average


@si("1", lower="m", upper="m", smallest="m", largest="m")
def log_size_weights(lower: Floats, upper: Floats, smallest: Floats, largest: Floats) -> Floats:
    """Share of each channel in a range of sizes, by how much of the range it holds on the logarithmic scale.

    Parameters
    ----------
    lower : array, shape (..., k)
        Lower limit of each channel, by rising size. [m]
    upper : array, shape (..., k)
        Upper limit; infinite for an open last channel, which has no share in anything. [m]
    smallest : float or array, shape (..., 1)
        Where the range begins. [m]
    largest : float or array, shape (..., 1)
        Where it ends. [m]

    Returns
    -------
    weights : shape (..., k)
        They add up to 1. NaN for a range that the channels do not cover without a gap, for channels that overlap, and
        for a range that ends before it begins. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    w_i = ln(b_i/a_i)/ln(b/a), from a_i to b_i being what of channel i lies within the range from a to b. Within a
    channel the efficiency is taken as the same: a channel that an end of the range cuts counts with the part inside.

    Source
    ------
    None; our own convention. Particles count by size and never by how many there happened to be in the room.

    Examples
    --------
    >>> low, high = np.array([0.3e-6, 0.5e-6, 1e-6]), np.array([0.5e-6, 1e-6, 2.5e-6])
    >>> log_size_weights(low, high, 0.3e-6, 1e-6).round(4)
    array([0.4243, 0.5757, 0.    ])
    """
    bottom, top = np.broadcast_arrays(np.asarray(lower, dtype=float), np.asarray(upper, dtype=float))
    with np.errstate(all="ignore"):
        begins, ends = np.maximum(bottom, smallest), np.minimum(top, largest)
        inside = np.where(np.isfinite(top) & (ends > begins), np.log(ends / begins), 0.0)
        whole = np.log(np.divide(largest, smallest))
        covered = np.abs(np.sum(inside, axis=-1, keepdims=True) - whole) < SAME * bottom.shape[-1]
        apart = np.all(bottom[..., 1:] >= top[..., :-1] * (1.0 - SAME), axis=-1, keepdims=True)
        valid = covered & apart & np.all((bottom > 0.0) & (top > bottom), axis=-1, keepdims=True) & (whole > SAME)
        return within(valid, inside / whole)


def _log_normal(size: Floats, median: Floats, spread: Floats) -> Floats:
    width = np.log(spread)
    density: Floats = np.exp(-np.square(np.log(np.divide(size, median)) / width) / 2.0) / (width * np.sqrt(2.0 * np.pi))
    return density


def _adjoin(lower: Floats, upper: Floats) -> Truth:
    """Whether channels rise, each from where the one before it ends; shape (..., 1)."""
    bottom, top = np.asarray(lower), np.asarray(upper)
    rises = np.all((bottom > 0.0) & (top > bottom) & np.isfinite(top), axis=-1, keepdims=True)
    meets: Truth = rises & np.all(np.abs(bottom[..., 1:] / top[..., :-1] - 1.0) < SAME, axis=-1, keepdims=True)
    return meets
