"""What a channel of a particle counter holds: sizes that are not all its mean, an efficiency that is not all one."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within


@si("1", lower="m", upper="m", steepness="1")
def content_shift(lower: Floats, upper: Floats, steepness: Floats) -> Floats:
    """How far the particles in a channel lie from its middle, as a share of its width on the logarithmic scale.

    Parameters
    ----------
    lower : float or array
        Smallest size of the channel. [m]
    upper : float or array, broadcast with the others
        Largest size of the channel. [m]
    steepness : float or array, broadcast with the others
        Power n by which particles in a step of ln d get fewer with size: as d^-n. [1]

    Returns
    -------
    shift : shape of the broadcast inputs
        Below the middle for a positive steepness; less than a half. NaN for sizes not above 0 and an upper one not
        above the lower, or not finite. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    With x = n ln(d_upper/d_lower): coth(x/2)/2 - 1/x, and x/12 where x is small: the mean of ln d over the channel.

    Source
    ------
    Algebra. In outdoor air n is about 3 (power law of C. Junge, from memory).

    Examples
    --------
    >>> round(float(content_shift(0.5e-6, 1e-6, 4.0)), 4)
    0.206
    """
    with np.errstate(all="ignore"):
        x = np.asarray(steepness, dtype=float) * np.log(np.divide(upper, lower))
        small = np.abs(x) < 1e-3
        safe = np.where(small, 1.0, x)
        shift = np.where(small, x / 12.0, 0.5 / np.tanh(safe / 2.0) - 1.0 / safe)
        return within(np.greater(lower, 0.0) & np.greater(upper, lower) & np.isfinite(upper), shift)


@si("1", efficiency="1", lower="m", upper="m")
def efficiency_across(efficiency: Floats, lower: Floats, upper: Floats) -> Floats:
    """By how much an efficiency changes from the lower to the upper end of each channel.

    Parameters
    ----------
    efficiency : array, shape (..., k)
        In each channel, by rising size. [1]
    lower : array, shape (k,)
        Smallest size of each channel. [m]
    upper : array, shape (k,)
        Largest size of each channel. [m]

    Returns
    -------
    change : shape (..., k)
        NaN for a single channel, which tells nothing of it, and for channels that do not rise. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not fit.

    Notes
    -----
    The slope over ln d between the geometric means of the neighbours on both sides, at an end of the one there is,
    times the width of the channel.

    Source
    ------
    None; our own convention.

    Examples
    --------
    >>> low, high = np.array([0.3e-6, 0.5e-6, 1e-6]), np.array([0.5e-6, 1e-6, 2.5e-6])
    >>> efficiency_across(np.array([0.4, 0.6, 0.9]), low, high).round(4)
    array([0.1697, 0.2464, 0.3416])
    """
    held = np.asarray(efficiency, dtype=float)
    bottom, top = (np.broadcast_to(np.asarray(end, dtype=float), held.shape[-1:]) for end in (lower, upper))
    with np.errstate(all="ignore"):
        mean, width = np.log(bottom * top) / 2.0, np.log(top / bottom)
        rises = (bottom > 0.0) & (width > 0.0) & np.isfinite(top)
    if held.shape[-1] < 2 or not (np.all(rises) and np.all(np.diff(mean) > 0.0)):
        return np.full(held.shape, np.nan)
    left, right = np.maximum(np.arange(len(mean)) - 1, 0), np.minimum(np.arange(len(mean)) + 1, len(mean) - 1)
    change: Floats = (held[..., right] - held[..., left]) / (mean[right] - mean[left]) * width
    return change
