"""What owning something costs: energy of a year, clean air over the years, and which of two is cheaper from when on.

Money is of any one currency. Years are counted and not seconds, as in `present_value`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowrig.physics.present_value import ROUNDING, uniform_factor
from flowrig.physics.si import Floats, si, within

LONGEST_YEAR = 366 * 86400.0  # [s]


@si("money", power="W", running="s", energy_price="money/J", demand="W", demand_price="money/W", billings="1")
def energy_cost(
    power: Floats,
    running: Floats,
    energy_price: Floats,
    demand: Floats = 0.0,
    demand_price: Floats = 0.0,
    billings: Floats = 0.0,
) -> Floats:
    """Cost of the electrical energy of one year, with a charge for demand.

    Parameters
    ----------
    power : float or array
        Mean true power while running. [W]
    running : float or array, broadcast with the others
        Time in the year that it runs. [s]
    energy_price : float or array, broadcast with the others
        [money/J]
    demand : float or array, broadcast with the others
        What it adds to the greatest power that is billed: 0 for one that never runs at that hour. [W]
    demand_price : float or array, broadcast with the others
        Charge for the greatest power, of one billing. [money/W]
    billings : float or array, broadcast with the others
        Billings in the year for which that demand counts, those included for which a tariff carries it on. [1]

    Returns
    -------
    cost : shape of the broadcast inputs
        NaN for an input below 0, and for more running than a year of 366 days has. [money]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    P t c + P_d c_d m. Where the tariff bills apparent power, the demand is in volt-amperes and so is its price.

    Source
    ------
    Usual form of a commercial tariff: common practice, no source.

    Examples
    --------
    >>> round(float(energy_cost(60.0, 4380.0 * 3600.0, 0.16 / 3.6e6)), 4)
    42.048
    """
    with np.errstate(all="ignore"):
        given = [np.asarray(each) for each in (power, running, energy_price, demand, demand_price, billings)]
        valid = np.logical_and.reduce(np.broadcast_arrays(*(each >= 0.0 for each in given)))
        cost = np.multiply(power, running) * energy_price + np.multiply(demand, demand_price) * billings
        return within(valid & np.less_equal(running, LONGEST_YEAR), cost)


@si("money/m^3", present_cost="money", yearly_air="m^3", discount="1", years="1")
def levelised_cost(present_cost: Floats, yearly_air: Floats, discount: Floats, years: Floats) -> Floats:
    """Cost of a unit of delivered clean air, both cost and air discounted.

    Parameters
    ----------
    present_cost : float or array
        Present value of all that is paid, less that of what is left at the end. [money]
    yearly_air : float or array, broadcast with the others
        Clean air delivered in a year, as the mean over the life of the filters. [m^3]
    discount : float or array, broadcast with the others
        Discount rate of one year, of the sort by which ``present_cost`` was found. [1]
    years : float or array, broadcast with the others
        Number of years, whole. [1]

    Returns
    -------
    cost : shape of the broadcast inputs
        NaN for air not above 0, a rate not above -1, and years that are not above 0 or not whole. [money/m^3]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    The price at which the air would pay for itself. By a real rate it is in money of today; by a nominal one it is a
    price that stays the same in money as it is paid, higher while prices rise. Costs discounted over air that is not
    would look too cheap.

    Source
    ------
    Definition of a levelised cost (from memory).

    Examples
    --------
    >>> round(1e6 * float(levelised_cost(2012.5518, 400.0 * 4380.0, 0.03, 10.0)), 3)
    134.665
    """
    with np.errstate(all="ignore"):
        air = np.multiply(yearly_air, uniform_factor(discount, years))
        return within(np.greater(yearly_air, 0.0) & (air > 0.0), np.divide(present_cost, air))


@si("1", years="1", cost="money", other_cost="money")
def break_even(years: NDArray[np.float64], cost: NDArray[np.float64], other_cost: NDArray[np.float64]) -> Floats:
    """Time at which the option that was cheaper at first has cost as much as the other.

    Parameters
    ----------
    years : array, shape (..., n)
        Times, never falling; twice the same where a payment is made, before and after it. [1]
    cost : array, shape (..., n)
        What one option has cost up to each time, as present value. [money]
    other_cost : array, shape (..., n)
        The same of the other option. [money]

    Returns
    -------
    years : shape of the broadcast inputs without their last axis
        NaN where the costs do not meet, where they are the same throughout, and for times that fall. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Between two times both costs run straight. It is the first crossing, counted from where the costs first differ by
    more than rounding (1e-9 of them): a later payment may turn the order again, which only the costs at the end tell.

    Source
    ------
    Definition of the discounted payback time; linear interpolation.

    Examples
    --------
    >>> float(break_even(np.array([0.0, 10.0]), np.array([100.0, 500.0]), np.array([190.0, 490.0])))
    9.0
    """
    with np.errstate(all="ignore"):
        times, gap = np.broadcast_arrays(np.asarray(years, dtype=float), np.subtract(cost, other_cost))
        apart = np.abs(gap) > ROUNDING * np.maximum(np.abs(cost), np.abs(other_cost))
        first = np.argmax(apart, axis=-1, keepdims=True)
        crossed = gap * np.sign(np.take_along_axis(gap, first, -1)) <= 0.0
        crossed = crossed & (np.arange(gap.shape[-1]) > first)
        after = np.argmax(crossed, axis=-1, keepdims=True)
        ends = [
            np.take_along_axis(of, at, -1)[..., 0] for of in (times, gap) for at in (np.maximum(after - 1, 0), after)
        ]
        start, end, left, right = ends
        valid = np.all(np.diff(times) >= 0.0, axis=-1) & ~np.any(np.isnan(gap), axis=-1) & np.any(apart, axis=-1)
        return within(valid & np.any(crossed, axis=-1), start + (end - start) * left / (left - right))


@si("money", first_cost="money", age="1", life="1", salvage="money")
def residual_value(first_cost: Floats, age: Floats, life: Floats, salvage: Floats = 0.0) -> Floats:
    """Value of what is left of something before its life is over, by a straight line.

    Parameters
    ----------
    first_cost : float or array
        What it cost. [money]
    age : float or array, broadcast with the others
        Years since then. [1]
    life : float or array, broadcast with the others
        Years that it lasts. [1]
    salvage : float or array, broadcast with the others
        Value at the end of its life; below 0 where to get rid of it costs money. [money]

    Returns
    -------
    value : shape of the broadcast inputs
        At that time, not discounted. NaN for a first cost or an age below 0, a life not above 0, and an age beyond the
        life: by then it was bought anew. [money]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C - (C - S) a/L.

    Source
    ------
    Straight-line share of the first cost, NIST Handbook 135 (1995, superseded by that of 2020; from memory).

    Examples
    --------
    >>> float(residual_value(80.0, 3.0, 8.0))
    50.0
    """
    with np.errstate(all="ignore"):
        used = np.divide(age, life)
        valid = np.greater_equal(first_cost, 0.0) & np.greater(life, 0.0) & (used >= 0.0) & (used <= 1.0 + ROUNDING)
        return within(valid, first_cost - np.subtract(first_cost, salvage) * used)
