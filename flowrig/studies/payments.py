"""What one option costs over the years: every payment by what it is for, as present value, up to any time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flowrig.physics.cost import energy_cost, levelised_cost, residual_value
from flowrig.physics.present_value import (
    present_value_factor,
    purchases_until,
    purchases_within,
    repeated_factor,
    uniform_factor,
    year_end_factor,
)
from flowrig.records.items import Array
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

TIME = "time"
MONTH = 1.0 / 12.0
MOST_TIMES = 120  # in a course of costs: each is reckoned on thousands of draws
YEAR = 365.0 * 86400.0  # [s], as the table of units has it
ITEMS = {  # what a payment is for: in words
    "first": "first cost",
    "filters": "filters",
    "labour": "labour of changes",
    "disposal": "disposal of filters",
    "energy": "energy",
    "demand": "demand charge",
    "upkeep": "upkeep",
    "replacement": "units bought anew",
    "residual": "less residual value",
}


@dataclass(frozen=True)
class Terms:
    """What is agreed on and not uncertain.

    Attributes
    ----------
    years : int
    units : int
        How many alike.
    billings : int
        Billings of the demand charge in a year.
    on_the_day : bool
        Each purchase is paid on its day and energy month by month; else all of a year at its end.
    last_change : bool
        A change of filters that falls due on the last day is made.
    first_set : bool
        The first filters are bought beside the unit.
    """

    years: int
    units: int
    billings: int
    on_the_day: bool
    last_change: bool
    first_set: bool


def paid(
    *,
    terms: Terms,
    time: Array,
    settled: Array,
    over: Array,
    discount: Array,
    price: Array,
    energy_escalation: Array | float = 0.0,
    filter_escalation: Array | float = 0.0,
    labour_escalation: Array | float = 0.0,
    unit_escalation: Array | float = 0.0,
    installation: Array | float = 0.0,
    power: Array | float = 0.0,
    demand_power: Array | float = 0.0,
    hours: Array | float = 0.0,
    energy_price: Array | float = 0.0,
    demand_price: Array | float = 0.0,
    demand_share: Array | float = 1.0,
    upkeep: Array | float = 0.0,
    filters: Array | float = 0.0,
    filter_price: Array | float = 0.0,
    labour_price: Array | float = 0.0,
    disposal_price: Array | float = 0.0,
    interval: Array | None = None,
    unit_life: Array | None = None,
    replacement_price: Array | None = None,
    residual: Array | None = None,
) -> dict[str, Array]:
    """Kernel: present value of all that is paid up to a time, by what it is for, and in all.

    Parameters
    ----------
    terms : Terms
    time : array
        Years from today.
    settled : array
        1 after what falls due at that very time is paid, 0 before.
    over : array
        1 once the residual value is taken off, at the end of the years.
    discount, energy_escalation, filter_escalation, labour_escalation, unit_escalation : array or float
        Of one year, all of one sort: real with money of today, nominal with money as it is paid.
    price, installation, replacement_price, residual, upkeep : array or float
        Of one unit, at prices of today; upkeep of a year.
    power, demand_power : array or float
        Of one unit: mean while it runs, and what it adds to the power that is billed. [W]
    hours : array or float
        Running time of a year. [s]
    energy_price, demand_price : array or float
        [money/J], [money/W] for each billing.
    demand_share : array or float
        Share of the demand that falls into the hour of the greatest power.
    filters : array or float
        In a set of one unit.
    filter_price, disposal_price : array or float
        Of one filter.
    labour_price : array or float
        Of one change of one unit.
    interval : array, optional
        Years from one change to the next; without it there is none.
    unit_life : array, optional
        Years that a unit lasts; without it as long as is looked at.
    residual : array, optional
        Without it the straight-line share of the last unit's price, where its life is told, else nothing.

    Notes
    -----
    Disposal escalates with the filters, upkeep with labour, residual value and units bought anew with
    `unit_escalation`. Changes go on through a replacement of the unit.
    """
    years = np.asarray(float(terms.years))
    passed = time if terms.on_the_day else _ended(np.asarray(1.0), time, settled)
    nothing = 0.0 * time * discount

    def again(each: Array, escalation: Array | float, last: bool = False) -> Array:
        """Factor of what is bought each so many years."""
        in_all = purchases_until(each, years) if last else purchases_within(each, years)
        by_now = _ended(each, time, settled) if terms.on_the_day else purchases_until(each, passed)
        factor = repeated_factor if terms.on_the_day else year_end_factor
        return np.asarray(factor(discount, each, np.minimum(by_now, in_all), escalation))

    def steady(escalation: Array | float) -> Array:
        """Factor of what is paid year by year."""
        if not terms.on_the_day:
            return np.asarray(uniform_factor(discount, passed, escalation))
        return np.asarray(
            MONTH * repeated_factor(discount, MONTH, _ended(np.asarray(MONTH), time, settled), escalation)
        )

    set_price = filters * filter_price
    drawn = energy_cost(power, hours, energy_price)
    billed = energy_cost(0.0, 0.0, 0.0, demand_share * np.asarray(demand_power), demand_price, float(terms.billings))
    found = {
        "first": price + installation + (set_price if terms.first_set else 0.0),
        "energy": drawn * steady(energy_escalation),
        "demand": billed * steady(energy_escalation),
        "upkeep": upkeep * steady(labour_escalation),
    }
    if interval is not None:
        with_filters = again(interval, filter_escalation, terms.last_change)
        found["filters"] = set_price * with_filters
        found["disposal"] = filters * disposal_price * with_filters
        found["labour"] = labour_price * again(interval, labour_escalation, terms.last_change)
    anew = price if replacement_price is None else replacement_price
    if unit_life is not None:
        found["replacement"] = anew * again(unit_life, unit_escalation)
    if residual is None and unit_life is not None:
        bought = purchases_within(unit_life, years)
        residual = np.asarray(
            residual_value(np.where(bought > 0.0, anew, price), years - unit_life * bought, unit_life)
        )
    if residual is not None:
        found["residual"] = -over * residual * present_value_factor(discount, years, unit_escalation)
    told = {name: nothing + terms.units * found.get(name, 0.0) for name in ITEMS}
    return {**told, "present_value": np.asarray(sum(told.values()))}


def _ended(interval: Array, time: Array, settled: Array) -> Array:
    """How often an interval has ended before a time, or until it where that is settled."""
    return np.where(settled > 0.5, purchases_until(interval, time), purchases_within(interval, time))


def service(
    *, terms: Terms, present_value: Array, discount: Array, clean_air: Array, mean_share: Array, hours: Array
) -> dict[str, Array]:
    """Kernel: clean air delivered, what it costs, and the cost spread evenly over the years."""
    delivered = terms.units * clean_air * mean_share
    years = float(terms.years)
    level = uniform_factor(discount, years)
    timing = np.asarray(1.0)
    if terms.on_the_day:  # air comes as the bills do
        timing = np.asarray(MONTH * repeated_factor(discount, MONTH, 12.0 * years) / level)
    return {
        "delivered": delivered,
        "yearly_air": delivered * hours,
        "levelised": np.asarray(levelised_cost(present_value, delivered * hours * timing, discount, years)),
    }


def yearly(*, terms: Terms, present_value: Array, discount: Array) -> dict[str, Array]:
    """Kernel: the same sum at the end of every year that has that present value."""
    return {"yearly_cost": present_value / uniform_factor(discount, float(terms.years))}


def for_need(*, present_value: Array, delivered: Array, need: float) -> dict[str, Array]:
    """Kernel: present value of just the clean air that is needed, as if a part of a unit could be had."""
    with np.errstate(all="ignore"):
        return {"for_need": np.where(delivered > 0.0, present_value * need / delivered, np.nan)}


def totals(inputs: Mapping[str, Estimate], terms: Terms) -> dict[str, Estimate]:
    """Everything over all years."""
    end = {"time": Estimate(float(terms.years)), "settled": Estimate(1.0), "over": Estimate(1.0)}
    return linear(paid, {**inputs, **end}, (), dict.fromkeys((*ITEMS, "present_value"), ()), terms=terms)


def time_step(terms: Terms) -> float:
    """Years between the times at which costs are added up: whole months that go into a year, or the year itself."""
    if not terms.on_the_day:
        return 1.0
    return MONTH * next((months for months in (1, 2, 3, 4, 6) if 12 * terms.years <= MOST_TIMES * months), 12)


def course(inputs: Mapping[str, Estimate], terms: Terms) -> tuple[Array, Estimate]:
    """Times, and what has been paid by then as present value.

    Every time but the first stands twice, before and after what falls due; the last a third time, with the residual
    value taken off.
    """
    step = time_step(terms)
    ends = np.arange(1, round(terms.years / step) + 1) * step
    times = np.concatenate(([0.0], np.repeat(ends, 2), ends[-1:]))
    settled = np.concatenate(([1.0], np.tile([0.0, 1.0], len(ends)), [1.0]))
    over = np.zeros(len(times))
    over[-1] = 1.0
    along = {name: Estimate(x, (TIME,)) for name, x in (("time", times), ("settled", settled), ("over", over))}
    found = linear(paid, {**inputs, **along}, (TIME,), {"present_value": (TIME,)}, terms=terms)
    return times, found["present_value"]


def numbers_bought(inputs: Mapping[str, Estimate], terms: Terms) -> dict[str, float]:
    """For one unit, by what is known best: sets of filters after the first, and units after the first."""
    years = float(terms.years)
    counted = {"sets": 0.0, "units": 0.0}
    if "interval" in inputs:
        until = purchases_until if terms.last_change else purchases_within
        counted["sets"] = float(until(inputs["interval"].value, years))
    if "unit_life" in inputs:
        counted["units"] = float(purchases_within(inputs["unit_life"].value, years))
    return counted
