"""From counts of particles before and behind a filter to what it lets through."""

from __future__ import annotations

from typing import Any

import numpy as np

from flowrig.physics.si import Floats, si, within


@si("m", lower="m", upper="m")
def geometric_mean_size(lower: Floats, upper: Floats) -> Floats:
    """Size that stands for a channel of a particle counter.

    Parameters
    ----------
    lower : float or array
        Smallest size of the channel. [m]
    upper : float or array, broadcast with ``lower``
        Largest size of the channel. [m]

    Returns
    -------
    size : shape of the broadcast inputs
        NaN for sizes not above 0 and for an upper one not above the lower. [m]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    d = sqrt(d_lower d_upper): the middle of the channel on the logarithmic scale. A channel with no upper end has none.

    Source
    ------
    ANSI/ASHRAE 52.2 and ISO 16890-1 (from memory).

    Examples
    --------
    >>> round(float(geometric_mean_size(0.3e-6, 0.4e-6)) * 1e6, 4)
    0.3464
    """
    with np.errstate(all="ignore"):
        mean = np.sqrt(lower) * np.sqrt(upper)
        return within(np.greater(lower, 0.0) & np.greater(upper, lower) & np.isfinite(upper), mean)


@si("1", cumulative="1")
def channel_counts(cumulative: Floats) -> Floats:
    """Counts in each channel, from counts of all particles at and above its lower size.

    Parameters
    ----------
    cumulative : array, shape (..., k)
        Counts at and above each size, by rising size; concentrations as well. [1]

    Returns
    -------
    counts : shape (..., k)
        The last channel is open: all particles at and above the largest size. NaN where more particles are counted
        above the next size than above this one, and for a count below 0. [1]

    Raises
    ------
    ValueError
        For a plain number: one count says nothing of channels.

    Notes
    -----
    N_j = C_j - C_(j+1). The channels are independent counts, what is printed is not: C_j holds every larger particle
    again.

    Source
    ------
    Algebra.

    Examples
    --------
    >>> channel_counts(np.array([15969.0, 1678.0, 479.0]))
    array([14291.,  1199.,   479.])
    """
    counted = np.asarray(cumulative, dtype=float)
    if counted.ndim == 0:
        raise ValueError("counts by size have an axis of sizes")
    above = np.concatenate([counted[..., 1:], np.zeros_like(counted[..., :1])], axis=-1)
    with np.errstate(all="ignore"):
        counts = counted - above
        return within(counts >= 0.0, counts)


@si("1", upstream="1/m^3", downstream="1/m^3")
def penetration(upstream: Floats, downstream: Floats) -> Floats:
    """Share of particles that a filter lets through; what it holds back is 1 less this.

    Parameters
    ----------
    upstream : float or array
        Concentration before the filter, by the same counter at the same flow. [1/m^3]
    downstream : float or array, broadcast with ``upstream``
        Concentration behind it. [1/m^3]

    Returns
    -------
    penetration : shape of the broadcast inputs
        Above 1 and below 0 as measured: what is left when a background is taken out of few counts may be below 0. NaN
        for a concentration before the filter that is not above 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    P = D/U.

    Source
    ------
    Definition.

    Examples
    --------
    >>> round(float(penetration(14291.0, 10720.0)), 6)
    0.750122
    """
    with np.errstate(all="ignore"):
        return within(np.greater(upstream, 0.0), np.divide(downstream, upstream))


@si("1", penetration="1", correlation_ratio="1")
def penetration_by_correlation(penetration: Floats, correlation_ratio: Floats) -> Floats:
    """Penetration freed of what the two sampling lines and counters differ by.

    Parameters
    ----------
    penetration : float or array
        As observed with the filter in place. [1]
    correlation_ratio : float or array, broadcast with ``penetration``
        What is observed in the same way with no filter. [1]

    Returns
    -------
    penetration : shape of the broadcast inputs
        NaN for a ratio not above 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    P = P_observed/R.

    Source
    ------
    Correlation ratio of ANSI/ASHRAE 52.2 (from memory).

    Examples
    --------
    >>> round(float(penetration_by_correlation(0.15011704, 0.95744308)), 7)
    0.1567895
    """
    with np.errstate(all="ignore"):
        return within(np.greater(correlation_ratio, 0.0), np.divide(penetration, correlation_ratio))


@si("1", before="1/m^3", downstream="1/m^3", after="1/m^3", place="1")
def penetration_between(before: Floats, downstream: Floats, after: Floats, place: Floats = 0.5) -> Floats:
    """Penetration from a sample behind the filter and those before it that were taken earlier and later.

    Parameters
    ----------
    before : float or array
        Concentration before the filter, of the earlier sample. [1/m^3]
    downstream : float or array, broadcast with the others
        Concentration behind it. [1/m^3]
    after : float or array, broadcast with the others
        Concentration before the filter, of the later sample. [1/m^3]
    place : float or array, broadcast with the others
        Where the sample behind lies between the two, by its middle: 0 at the earlier, 1 at the later. [1]

    Returns
    -------
    penetration : shape of the broadcast inputs
        NaN for a concentration before the filter that is not above 0, and for a place outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    P = D/(U_1^(1-w) U_2^w). A concentration that grows or decays exponentially, as in a room, cancels. Between two such
    results that share a sample before the filter the counting error of that sample is the same one.

    Source
    ------
    Algebra; alternating samples as in ANSI/ASHRAE 52.2 (from memory), which takes the arithmetic mean of the two.

    Examples
    --------
    >>> round(float(penetration_between(2000.0, 180.0, 1620.0)), 6)
    0.1
    """
    with np.errstate(all="ignore"):
        w = np.asarray(place, dtype=float)
        level = np.power(before, 1.0 - w) * np.power(after, w)
        valid = np.greater(before, 0.0) & np.greater(after, 0.0) & (w >= 0.0) & (w <= 1.0)
        return within(valid, np.divide(downstream, level))


@si("1", upstream_a="1/m^3", downstream_b="1/m^3", upstream_b="1/m^3", downstream_a="1/m^3")
def penetration_swapped(upstream_a: Floats, downstream_b: Floats, upstream_b: Floats, downstream_a: Floats) -> Floats:
    """Penetration by two counters at once, that change places halfway.

    Parameters
    ----------
    upstream_a : float or array
        Concentration before the filter by counter A, in the first half. [1/m^3]
    downstream_b : float or array, broadcast with the others
        Concentration behind it by counter B at the same time. [1/m^3]
    upstream_b : float or array, broadcast with the others
        Concentration before the filter by counter B, in the second half. [1/m^3]
    downstream_a : float or array, broadcast with the others
        Concentration behind it by counter A at the same time. [1/m^3]

    Returns
    -------
    penetration : shape of the broadcast inputs
        NaN for a concentration before the filter that is not above 0 or one behind it below 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    P = sqrt((D_B/U_A)(D_A/U_B)). What share of the particles each counter sees cancels, and so does a drift of the
    concentration; that the two cut their channels at different sizes does not.

    Source
    ------
    Algebra.

    Examples
    --------
    Counter B sees 0.8 of what counter A sees:

    >>> round(float(penetration_swapped(1000.0, 80.0, 800.0, 100.0)), 6)
    0.1
    """
    with np.errstate(all="ignore"):
        first, second = np.divide(downstream_b, upstream_a), np.divide(downstream_a, upstream_b)
        valid = np.greater(upstream_a, 0.0) & np.greater(upstream_b, 0.0)
        valid = valid & np.greater_equal(downstream_a, 0.0) & np.greater_equal(downstream_b, 0.0)
        return within(valid, np.sqrt(first) * np.sqrt(second))


@si("1/m^3", concentration="1/m^3", flow="m^3/s", dead_time="s")
def coincidence_corrected(concentration: Floats, flow: Floats, dead_time: Floats) -> Floats:
    """Concentration in each channel with the particles that a counter missed because two came at once.

    Parameters
    ----------
    concentration : float or array, shape (..., k)
        As counted, in *all* channels: a particle hides another whatever their sizes. [1/m^3]
    flow : float or array, shape (..., 1)
        Sample flow of the counter. [m^3/s]
    dead_time : float or array, shape (..., 1)
        Time for which a particle hides the next. [s]

    Returns
    -------
    concentration : shape of the broadcast inputs
        NaN for a concentration, flow or time below 0, and where no concentration would be counted as this: above
        1/(e Q tau) in total. [1/m^3]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    N_true,j = N_j exp(Q tau sum(N_true)); with x = Q tau sum(N_true): x exp(-x) = Q tau sum(N), so
    x = -W_0(-Q tau sum(N)). Of the two solutions it is the smaller; that a counter is not so flooded that it shows less
    again has to be known otherwise. It does not undo that two small particles at once may be taken for a large one.

    Source
    ------
    Counter with exponential loss and its inverse by Lambert's W: doi 10.1080/02786826.2012.737049.

    Examples
    --------
    >>> round(float(coincidence_corrected(223e6, 47.1667e-6, 1e-5)) / 1e6, 2)
    251.03
    """
    with np.errstate(all="ignore"):
        true: Floats = np.asarray(concentration, dtype=float) * np.exp(_hidden(concentration, flow, dead_time))
        return true


@si("1", concentration="1/m^3", flow="m^3/s", dead_time="s")
def coincidence_loss(concentration: Floats, flow: Floats, dead_time: Floats) -> Floats:
    """Share of all particles that a counter missed because two came at once.

    Parameters
    ----------
    concentration : float or array, shape (..., k)
        As counted, in all channels. [1/m^3]
    flow : float or array, shape (..., 1)
        Sample flow of the counter. [m^3/s]
    dead_time : float or array, shape (..., 1)
        Time for which a particle hides the next. [s]

    Returns
    -------
    loss : shape (..., 1), or of the other inputs for a plain concentration
        NaN as in `coincidence_corrected`. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L = 1 - exp(-Q tau sum(N_true)), at most 1 - 1/e.

    Source
    ------
    As `coincidence_corrected`.

    Examples
    --------
    >>> round(float(coincidence_loss(331.22495e6, 47.1667e-6, 1e-5)), 6)
    0.171938
    """
    with np.errstate(all="ignore"):
        loss: Floats = -np.expm1(-_hidden(concentration, flow, dead_time))
        return loss


@si("s", concentration="1/m^3", loss="1", flow="m^3/s")
def coincidence_dead_time(concentration: Floats, loss: Floats, flow: Floats) -> Floats:
    """Dead time of a counter from the concentration at which a stated share is missed.

    Parameters
    ----------
    concentration : float or array
        True concentration in all channels, as a data sheet states it. [1/m^3]
    loss : float or array, broadcast with the others
        Share that is missed at it, 0.05 or 0.1. [1]
    flow : float or array, broadcast with the others
        Sample flow. [m^3/s]

    Returns
    -------
    time : shape of the broadcast inputs
        NaN for a concentration or flow not above 0, and for a loss below 0 or not below 1. [s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    tau = -ln(1 - L)/(Q N). Where a data sheet says at most so much is missed, the true time is shorter.

    Source
    ------
    As `coincidence_corrected`.

    Examples
    --------
    >>> round(float(coincidence_dead_time(223.37903e6, 0.1, 47.1667e-6)) * 1e6, 5)
    10.0
    """
    with np.errstate(all="ignore"):
        time = -np.log1p(np.negative(loss)) / (np.asarray(flow, dtype=float) * concentration)
        valid = np.greater(concentration, 0.0) & np.greater(flow, 0.0)
        return within(valid & np.greater_equal(loss, 0.0) & np.less(loss, 1.0), time)


def _hidden(concentration: Floats, flow: Floats, dead_time: Floats) -> Any:
    """Mean number of particles that come within the dead time of one: Q tau sum(N_true)."""
    from scipy.special import lambertw  # triples the time to the first number: only where counts are corrected

    counted = np.asarray(concentration, dtype=float)
    total = np.sum(counted, axis=-1, keepdims=True) if counted.ndim else counted
    seen = np.asarray(flow, dtype=float) * dead_time * total
    valid = np.greater_equal(flow, 0.0) & np.greater_equal(dead_time, 0.0) & (seen <= np.exp(-1.0))
    valid = valid & (np.all(counted >= 0.0, axis=-1, keepdims=True) if counted.ndim else counted >= 0.0)
    place: Any = np.where(valid, -seen, 0.0)
    return within(valid, -np.real(lambertw(place)))
