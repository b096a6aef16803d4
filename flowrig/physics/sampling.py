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


@si(("1", "1"), counts="1", lower="m", upper="m")
def spectrum_at_limits(counts: Floats, lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    """Particles for each factor e of size at the two limits of each channel, as a share of those in the channel.

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
    at_lower : shape (..., k)
        A lower limit that lies higher by a small share loses the channel that share times this. NaN of a single open
        channel, of which nothing is known, and for a count below 0. [1]
    at_upper : shape (..., k)
        What an upper limit that lies higher gains it; 0 at an infinite one, NaN as above. [1]

    Raises
    ------
    ValueError
        If the shapes do not broadcast.

    Notes
    -----
    Within a channel the density for each ln d goes as d^b: at its limits b/(exp(b w) - 1) and exp(b w) times that, with
    w = ln(upper/lower); of an open channel -b. b is the mean slope between the densities, counts over w at the
    geometric mean of the limits, of two channels to either side: an error of one channel's own counts has then less
    say in it. The step from the smallest channel, of which a counter sees a part alone, is left out. A count of none
    stands for a half; b is kept from -8 to 4, of an open channel below -1/2.

    Source
    ------
    d ln N/d ln d of a spectrum in channels; algebra.

    Examples
    --------
    Counts that fall with the third power of size:

    >>> low, high = spectrum_at_limits(np.array([784.0, 98.0, 12.25]), np.array([1.0, 2, 4]), np.array([2.0, 4, 8]))
    >>> low.round(3).tolist(), high.round(3).tolist()
    ([3.429, 3.429, 3.429], [0.429, 0.429, 0.429])
    """
    n, low, high = np.asarray(counts, float), np.asarray(lower, float), np.asarray(upper, float)
    closed = np.isfinite(high)
    if not np.any(closed):
        empty = np.full(n.shape, np.nan)
        return empty, empty.copy()
    with np.errstate(all="ignore"):
        held = within(n >= 0.0, np.maximum(n, LEAST))
        slope = _slopes(held, low, high, closed)
        width = np.where(closed, np.log(high / low), 0.0)
        flat = np.abs(slope) < FLAT
        at_lower = np.where(flat, 1.0 / width, slope / np.expm1(slope * width))
        at_upper = at_lower * np.exp(slope * width)
        open_ = np.maximum(-slope, OPEN)
        return within(n >= 0.0, np.where(closed, at_lower, open_)), within(n >= 0.0, np.where(closed, at_upper, 0.0))


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
