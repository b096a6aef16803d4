"""Payments of several dates brought to one: present values by a discount rate.

Years are counted, as the payments are: a rate is a share in one year, compounded once a year. No factor takes
inflation; only the two equations that turn a rate into the other sort do. So both rates given to a factor are of one
sort: real ones with prices of today, or nominal ones with prices as they will be paid.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowrig.physics.si import Floats, si, within

LONGEST_STUDY = 1000  # years that are gone through one by one
ROUNDING = 1e-9  # a count that is off a whole number by no more than this share is the whole number


@si("1", discount="1", years="1", escalation="1")
def present_value_factor(discount: Floats, years: Floats, escalation: Floats = 0.0) -> Floats:
    """Present value of a single payment of 1 after some years.

    Parameters
    ----------
    discount : float or array
        Discount rate of one year. [1]
    years : float or array, broadcast with the others
        From today to the payment, whole or not. [1]
    escalation : float or array, broadcast with the others
        Rise of the price in one year, a rate of the same sort as ``discount``. [1]

    Returns
    -------
    factor : shape of the broadcast inputs
        NaN for a rate not above -1 and for years below 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    ((1 + e)/(1 + d))^t for a price of 1 today.

    Source
    ------
    NIST Handbook 135 (1995, superseded by that of 2020), single present value.

    Examples
    --------
    >>> round(float(present_value_factor(0.03, 10.0)), 6)
    0.744094
    """
    with np.errstate(all="ignore"):
        growth = _growth(discount, escalation)
        return within(np.greater_equal(years, 0.0), np.exp(growth * np.asarray(years, dtype=float)))


@si("1", discount="1", years="1", escalation="1")
def uniform_factor(discount: Floats, years: Floats, escalation: Floats = 0.0) -> Floats:
    """Present value of 1 a year, paid at the end of each.

    Parameters
    ----------
    discount : float or array
        Discount rate of one year. [1]
    years : float or array, broadcast with the others
        Number of years, whole. [1]
    escalation : float or array, broadcast with the others
        Rise of the price in one year, a rate of the same sort as ``discount``. [1]

    Returns
    -------
    factor : shape of the broadcast inputs
        NaN for a rate not above -1, and for years that are below 0 or not whole. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    r + r^2 + ... + r^N with r = (1 + e)/(1 + d): N where both rates are equal. The price of 1 is that of today, so that
    the first payment has risen by e already.

    Source
    ------
    NIST Handbook 135 (1995, superseded by that of 2020), uniform and modified uniform present value.

    Examples
    --------
    >>> round(float(uniform_factor(0.03, 10.0)), 6)
    8.530203
    >>> round(float(uniform_factor(0.03, 10.0, 0.01)), 6)
    8.991899
    """
    return repeated_factor(discount, 1.0, years, escalation)


@si("1", nominal="1", inflation="1")
def real_rate(nominal: Floats, inflation: Floats) -> Floats:
    """Real rate of a year, of a discount or of an escalation, from the nominal one.

    Parameters
    ----------
    nominal : float or array
        Rate in money as it is paid. [1]
    inflation : float or array, broadcast with ``nominal``
        General rise of prices in one year. [1]

    Returns
    -------
    rate : shape of the broadcast inputs
        NaN for a rate not above -1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    d = (1 + D)/(1 + I) - 1. The difference D - I is too large by the factor 1 + I.

    Source
    ------
    NIST Handbook 135 (1995, superseded by that of 2020; from memory).

    Examples
    --------
    >>> round(float(real_rate(0.055, 0.025)), 6)
    0.029268
    """
    with np.errstate(all="ignore"):
        valid = np.greater(nominal, -1.0) & np.greater(inflation, -1.0)
        return within(valid, np.subtract(nominal, inflation) / np.add(1.0, inflation))


@si("1", real="1", inflation="1")
def nominal_rate(real: Floats, inflation: Floats) -> Floats:
    """Nominal rate of a year from the real one: the inverse of `real_rate`.

    Parameters
    ----------
    real : float or array
        Rate in money of today. [1]
    inflation : float or array, broadcast with ``real``
        General rise of prices in one year. [1]

    Returns
    -------
    rate : shape of the broadcast inputs
        NaN for a rate not above -1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    D = (1 + d)(1 + I) - 1.

    Source
    ------
    NIST Handbook 135 (1995, superseded by that of 2020; from memory).

    Examples
    --------
    >>> round(float(nominal_rate(0.03, 0.02)), 6)
    0.0506
    """
    with np.errstate(all="ignore"):
        valid = np.greater(real, -1.0) & np.greater(inflation, -1.0)
        return within(valid, np.add(real, inflation) + np.multiply(real, inflation))


@si("1", interval="1", years="1")
def purchases_within(interval: Floats, years: Floats) -> Floats:
    """Number of times that something is bought again before a study period ends.

    Parameters
    ----------
    interval : float or array
        Years from one purchase to the next. [1]
    years : float or array, broadcast with ``interval``
        Years of the study period. [1]

    Returns
    -------
    number : shape of the broadcast inputs
        NaN for an interval not above 0 and for years below 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    The first is one interval after the beginning, where what is bought belongs to the first cost. What would fall due
    on the very last day is not bought, as nobody uses it: in ten years of quarters 39 sets, after the one at the
    beginning.

    Source
    ------
    Counting.

    Examples
    --------
    >>> float(purchases_within(0.25, 10.0)), float(purchases_within(3.0, 10.0))
    (39.0, 3.0)
    """
    with np.errstate(all="ignore"):
        number = np.ceil(_snapped(np.divide(years, interval))) - 1.0
        return within(np.greater(interval, 0.0) & np.greater_equal(years, 0.0), np.maximum(number, 0.0))


@si("1", interval="1", years="1")
def purchases_until(interval: Floats, years: Floats) -> Floats:
    """Number of times that something has been bought again by some time, that time included.

    Parameters
    ----------
    interval : float or array
        Years from one purchase to the next, and from today to the first. [1]
    years : float or array, broadcast with ``interval``
        Years from today. [1]

    Returns
    -------
    number : shape of the broadcast inputs
        NaN for an interval not above 0 and for years below 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    One more than `purchases_within` where a purchase falls due on that very day: in ten years of quarters 40, as a
    yearly total of four sets counts them.

    Source
    ------
    Counting.

    Examples
    --------
    >>> float(purchases_until(0.25, 10.0)), float(purchases_until(3.0, 10.0))
    (40.0, 3.0)
    """
    with np.errstate(all="ignore"):
        number = np.floor(_snapped(np.divide(years, interval)))
        return within(np.greater(interval, 0.0) & np.greater_equal(years, 0.0), number)


@si("1", discount="1", interval="1", number="1", escalation="1")
def repeated_factor(discount: Floats, interval: Floats, number: Floats, escalation: Floats = 0.0) -> Floats:
    """Present value of something that costs 1 and is bought again and again, each paid on its day.

    Parameters
    ----------
    discount : float or array
        Discount rate of one year. [1]
    interval : float or array, broadcast with the others
        Years from one purchase to the next, and from today to the first. [1]
    number : float or array, broadcast with the others
        Number of purchases, whole: `purchases_within`, or one more if one on the last day counts. [1]
    escalation : float or array, broadcast with the others
        Rise of the price in one year, a rate of the same sort as ``discount``. [1]

    Returns
    -------
    factor : shape of the broadcast inputs
        NaN for a rate not above -1, an interval not above 0, and a number that is below 0 or not whole. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    The sum of r^(k i) for k = 1 to n, r = (1 + e)/(1 + d). Two options are compared at the same number bought.

    Source
    ------
    Sum of a geometric series; single present values of NIST Handbook 135 (1995, superseded by that of 2020).

    Examples
    --------
    >>> round(45.0 * float(repeated_factor(0.03, 0.25, 39.0)), 4)
    1519.1196
    """
    with np.errstate(all="ignore"):
        step, count = _growth(discount, escalation) * np.asarray(interval, dtype=float), _whole(number)
        series = np.where(step == 0.0, count, np.exp(step) * np.expm1(count * step) / np.expm1(step))
        return within(np.greater(interval, 0.0) & (count >= 0.0), np.where(np.isnan(step), np.nan, series))


@si("1", discount="1", interval="1", number="1", escalation="1")
def year_end_factor(discount: Floats, interval: Floats, number: Floats, escalation: Floats = 0.0) -> Floats:
    """Present value of something that costs 1 and is bought again and again, paid as a total at the end of each year.

    Parameters
    ----------
    discount : float or array
        Discount rate of one year. [1]
    interval : float or array, broadcast with the others
        Years from one purchase to the next, and from today to the first. [1]
    number : float or array, broadcast with the others
        Number of purchases, whole. [1]
    escalation : float or array, broadcast with the others
        Rise of the price in one year, a rate of the same sort as ``discount``. [1]

    Returns
    -------
    factor : shape of the broadcast inputs
        NaN for a rate not above -1, an interval not above 0, a number that is below 0 or not whole, and a last purchase
        after more than 1000 years. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    The sum of r^y over the purchases, y being the end of the year in which each falls; one on the last day of a year
    belongs to that year. It lies below `repeated_factor` of the same purchases where the discount is above the
    escalation, because the money is spent later: by 1.1 % at 3 % and four a year.

    Source
    ------
    Convention of end-of-year payments of NIST Handbook 135 (1995, superseded by that of 2020).

    Examples
    --------
    >>> round(45.0 * float(year_end_factor(0.03, 0.25, 40.0)), 4)
    1535.4365
    """
    with np.errstate(all="ignore"):
        growth, count = _growth(discount, escalation), _whole(number)
        last = np.ceil(_snapped(count * np.asarray(interval, dtype=float)))
        valid = np.greater(interval, 0.0) & (count >= 0.0) & (last <= LONGEST_STUDY)
        before, total = np.zeros(np.shape(last)), np.zeros(np.shape(growth * last))
        for year in range(1, int(np.max(last, where=valid, initial=0.0)) + 1):
            bought = np.minimum(count, np.floor(_snapped(np.divide(year, interval))))
            total = total + np.where(bought > before, (bought - before) * np.exp(growth * year), 0.0)
            before = bought
        return within(valid & ~np.isnan(growth), total)


def _growth(discount: Floats, escalation: Floats) -> Floats:
    """Logarithm of what a payment of the next year weighs against one of this; exactly 0 at equal rates."""
    change = np.log1p(np.subtract(escalation, discount) / np.add(1.0, discount))
    return within(np.greater(discount, -1.0) & np.greater(escalation, -1.0), change)


def _snapped(count: Floats) -> NDArray[np.float64]:
    """A count without what rounding added: 10 over a third is 30."""
    nearest = np.rint(count)
    return np.where(np.abs(nearest - count) <= ROUNDING * np.maximum(1.0, nearest), nearest, count)


def _whole(count: Floats) -> NDArray[np.float64]:
    """A count where it is a whole number, and NaN elsewhere."""
    snapped = _snapped(count)
    return np.where(snapped == np.rint(count), snapped, np.nan)
