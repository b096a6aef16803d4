"""What a particle counter's sizes, tubes and neighbours make of a penetration."""

from __future__ import annotations

from typing import Any

import numpy as np

from flowrig.physics.si import Floats, si, within

LEAST = 0.5  # counts that stand for none where a logarithm is taken
SLOPES = (-8.0, 4.0)  # of a spectrum; own judgement, no source
OPEN = 0.5  # least fall of an open channel's
WINDOW = 1.5  # channels to either side, whose slopes are averaged
FLAT = 1e-6


@si("1", length="m", diameter="m", flow="m^3/s", time="s")
def tube_volumes(length: Floats, diameter: Floats, flow: Floats, time: Floats) -> Floats:
    """How many times the air in a sampling tube was renewed.

    Parameters
    ----------
    length : float or array
        Of the tube. [m]
    diameter : float or array, broadcast with the others
        Inside. [m]
    flow : float or array, broadcast with the others
        Sample flow of the counter. [m^3/s]
    time : float or array, broadcast with the others
        For which it ran before the counts were kept. [s]

    Returns
    -------
    volumes : shape of the broadcast inputs
        NaN for a length or diameter not above 0, and for a flow or time below 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    4 Q t/(pi d^2 L). Five are usual before a sample is counted: common practice, no source.

    Source
    ------
    Definition.

    Examples
    --------
    >>> round(float(tube_volumes(2.0, 0.006, 47.2e-6, 30.0)), 2)
    25.04
    """
    with np.errstate(all="ignore"):
        volumes = 4.0 * np.asarray(flow, float) * time / (np.pi * np.square(diameter) * length)
        valid = np.greater(length, 0.0) & np.greater(diameter, 0.0)
        return within(valid & np.greater_equal(flow, 0.0) & np.greater_equal(time, 0.0), volumes)


@si("1", system="1", media="1")
def bypass_share(system: Floats, media: Floats) -> Floats:
    """Share of the air that goes round a filter, from the penetration with and without its leaks.

    Parameters
    ----------
    system : float or array
        Penetration of the filter as it is used. [1]
    media : float or array, broadcast with ``system``
        Penetration with the seams taped. [1]

    Returns
    -------
    share : shape of the broadcast inputs
        Below 0 as measured. NaN for a medium that holds nothing back. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    1 - E_system/E_media, with air beside the filter taken as not filtered at all.

    Source
    ------
    Balance of the particles.

    Examples
    --------
    >>> round(float(bypass_share(0.28, 0.2)), 6)
    0.1
    """
    with np.errstate(all="ignore"):
        share = 1.0 - np.subtract(1.0, system) / np.subtract(1.0, media)
        return within(np.not_equal(media, 1.0), share)


@si("1", counts="1", lower="m", upper="m")
def spectrum_slope(counts: Floats, lower: Floats, upper: Floats) -> Floats:
    """Power of size by which the density of particles for each ln d goes, in each channel.

    Parameters
    ----------
    counts : array, shape (..., k)
        Counts or concentrations by channel. [1]
    lower : array, shape (k,)
        Rising. [m]
    upper : array, shape (k,)
        The last may be infinite. [m]

    Returns
    -------
    slope : shape (..., k)
        From -8 to 4. NaN where all channels are open, of which nothing is known, and for a count below 0. [1]

    Raises
    ------
    ValueError
        If the shapes do not broadcast.

    Notes
    -----
    The mean slope between the densities, counts over w = ln(upper/lower) at the geometric mean of the limits, of two
    channels to either side: an error of one channel's own counts has then less say in it. The step from the smallest
    channel, of which a counter sees a part alone, is left out. A count of none stands for a half.

    Source
    ------
    d ln N/d ln d of a spectrum in channels; limits of the slope are own judgement.

    Examples
    --------
    Counts that fall with the third power of size:

    >>> spectrum_slope(np.array([784.0, 98.0, 12.25]), np.array([1.0, 2, 4]), np.array([2.0, 4, 8])).round(3).tolist()
    [-3.0, -3.0, -3.0]
    """
    n, low, high = np.asarray(counts, float), np.asarray(lower, float), np.asarray(upper, float)
    closed = np.isfinite(high)
    if not np.any(closed):
        return np.full(n.shape, np.nan)
    with np.errstate(all="ignore"):
        return within(n >= 0.0, _slopes(within(n >= 0.0, np.maximum(n, LEAST)), low, high, closed))


@si(("1", "1"), slope="1", lower="m", upper="m")
def density_at_limits(slope: Floats, lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    """Particles for each factor e of size at the two limits of each channel, as a share of those in the channel.

    Parameters
    ----------
    slope : array, shape (..., k)
        As of `spectrum_slope`. [1]
    lower : array, shape (k,)
        Rising. [m]
    upper : array, shape (k,)
        The last may be infinite. [m]

    Returns
    -------
    at_lower : shape (..., k)
        A lower limit that lies higher by a small share loses the channel that share times this. [1]
    at_upper : shape (..., k)
        What an upper limit that lies higher gains it; 0 at an infinite one. [1]

    Raises
    ------
    ValueError
        If the shapes do not broadcast.

    Notes
    -----
    Within a channel the density for each ln d goes as d^b: at its limits b/(exp(b w) - 1) and exp(b w) times that, with
    w = ln(upper/lower); of an open channel -b, at least 1/2.

    Source
    ------
    Integral of a power of size over a channel.

    Examples
    --------
    >>> low, high = density_at_limits(-3.0, np.array([1.0, 2, 4]), np.array([2.0, 4, np.inf]))
    >>> low.round(3).tolist(), high.round(3).tolist()
    ([3.429, 3.429, 3.0], [0.429, 0.429, 0.0])
    """
    b, low, high = np.asarray(slope, float), np.asarray(lower, float), np.asarray(upper, float)
    closed = np.isfinite(high)
    with np.errstate(all="ignore"):
        width = np.where(closed, np.log(high / low), 1.0)
        at_lower = np.where(np.abs(b) < FLAT, 1.0 / width, b / np.expm1(b * width))
        at_upper = np.where(closed, at_lower * np.exp(b * width), 0.0)
        open_ = np.maximum(-b, OPEN)
        known = np.isfinite(b) & np.greater(high, low)
        return within(known, np.where(closed, at_lower, open_)), within(known, at_upper)


@si("1", slope="1", lower="m", upper="m")
def mean_log_size(slope: Floats, lower: Floats, upper: Floats) -> Floats:
    """Mean of the logarithm of size of the particles in each channel.

    Parameters
    ----------
    slope : array, shape (..., k)
        As of `spectrum_slope`. [1]
    lower : array, shape (k,)
        Rising. [m]
    upper : array, shape (k,)
        The last may be infinite. [m]

    Returns
    -------
    place : shape (..., k)
        ln(d/m). [1]

    Raises
    ------
    ValueError
        If the shapes do not broadcast.

    Notes
    -----
    With a density of d^b for each ln d: above ln(lower) by w/(1 - exp(-b w)) - 1/b, w/2 for b = 0; by -1/b, at most 2,
    in an open channel.

    Source
    ------
    Integral of a power of size over a channel.

    Examples
    --------
    Most of a spectrum that falls lies near the lower limit:

    >>> np.exp(mean_log_size(-3.0, np.array([1.0, 4.0]), np.array([2.0, np.inf]))).round(3).tolist()
    [1.264, 5.582]
    """
    b, low, high = np.asarray(slope, float), np.asarray(lower, float), np.asarray(upper, float)
    closed = np.isfinite(high)
    with np.errstate(all="ignore"):
        width = np.where(closed, np.log(high / low), 1.0)
        own = np.where(np.abs(b) < FLAT, width / 2.0, -width / np.expm1(-b * width) - 1.0 / b)
        above = np.where(closed, own, 1.0 / np.maximum(-b, OPEN))
        return within(np.isfinite(b) & np.greater(high, low), np.log(low) + above)


def _slopes(counts: Any, lower: Any, upper: Any, closed: Any) -> Any:
    """Slope of the density's logarithm over that of size, in each channel."""
    place = 0.5 * np.log(lower[closed] * upper[closed])
    density = np.log(counts[..., closed] / np.log(upper[closed] / lower[closed]))
    if place.size == 1:
        return np.zeros(counts.shape)
    step = np.diff(density, axis=-1) / np.diff(place)
    if place.size > 2:
        step = step[..., 1:]
    first = place.size - 1 - step.shape[-1]  # of the channels whose step to the next is there
    near = np.abs(np.arange(place.size)[:, np.newaxis] - (np.arange(step.shape[-1]) + first + 0.5)) <= WINDOW
    own = step @ (near / np.sum(near, axis=-1, keepdims=True)).T
    slope = np.empty(counts.shape)
    slope[..., closed] = own
    slope[..., ~closed] = own[..., -1:]
    return np.clip(slope, *SLOPES)
