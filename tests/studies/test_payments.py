"""Present values of every sort of payment against a plain ledger: dates and sums one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowrig.studies.payments import ITEMS, MONTH, Terms, course, numbers_bought, totals
from flowrig.uncertainty.estimate import Estimate

HOUR = 3600.0
UNIT = {
    "price": 200.0, "installation": 30.0, "power": 60.0, "demand_power": 60.0, "hours": 1500 * HOUR,
    "energy_price": 0.16 / 3.6e6, "demand_price": 0.014, "demand_share": 0.5, "upkeep": 7.0, "filters": 4.0,
    "filter_price": 22.0, "labour_price": 12.0, "disposal_price": 1.5, "interval": 0.7, "unit_life": 3.3,
    "replacement_price": 150.0,
}  # fmt: skip
RATES = {
    "discount": 0.04, "energy_escalation": 0.01, "filter_escalation": -0.01, "labour_escalation": 0.02,
    "unit_escalation": 0.005,
}  # fmt: skip


def estimates(**changed: float | None) -> dict[str, Estimate]:
    return {name: Estimate(x) for name, x in {**UNIT, **RATES, **changed}.items() if x is not None}


def ledger(terms: Terms, given: dict[str, float]) -> list[tuple[float, str, float]]:
    """Date, purpose and sum of every payment of one unit at prices as they are by then."""
    n, paid = terms.years, []

    def enter(date: float, name: str, amount: float, escalation: float) -> None:
        date = date if terms.on_the_day else math.ceil(date - 1e-9)
        paid.append((date, name, amount * (1 + escalation) ** date))

    first = given["price"] + given["installation"]
    first += given["filters"] * given["filter_price"] if terms.first_set else 0.0
    enter(0.0, "first", first, 0.0)
    steps = 12 if terms.on_the_day else 1
    for k in range(1, n * steps + 1):
        energy = given["power"] * given["hours"] * given["energy_price"] / steps
        demand = given["demand_power"] * given["demand_share"] * given["demand_price"] * terms.billings / steps
        enter(k / steps, "energy", energy, given["energy_escalation"])
        enter(k / steps, "demand", demand, given["energy_escalation"])
        enter(k / steps, "upkeep", given["upkeep"] / steps, given["labour_escalation"])
    k = 1
    while k * given["interval"] < n - 1e-9 or (terms.last_change and abs(k * given["interval"] - n) < 1e-9):
        date = k * given["interval"]
        enter(date, "filters", given["filters"] * given["filter_price"], given["filter_escalation"])
        enter(date, "disposal", given["filters"] * given["disposal_price"], given["filter_escalation"])
        enter(date, "labour", given["labour_price"], given["labour_escalation"])
        k += 1
    k = 1
    while k * given["unit_life"] < n - 1e-9:
        enter(k * given["unit_life"], "replacement", given["replacement_price"], given["unit_escalation"])
        k += 1
    age = n - (k - 1) * given["unit_life"]
    worth = given["replacement_price"] if k > 1 else given["price"]
    enter(n, "residual", -worth * (1 - age / given["unit_life"]), given["unit_escalation"])
    return paid


@settings(deadline=None, max_examples=60)
@given(
    years=st.integers(1, 12),
    units=st.integers(1, 4),
    on_the_day=st.booleans(),
    last_change=st.booleans(),
    first_set=st.booleans(),
    interval=st.sampled_from([0.25, 1 / 3, 0.7, 1.0, 2.5, 20.0]),
    unit_life=st.sampled_from([1.0, 2.5, 3.3, 5.0, 12.0, 40.0]),
    discount=st.floats(-0.02, 0.12),
)
def test_a_ledger_of_every_payment(years, units, on_the_day, last_change, first_set, interval, unit_life, discount):
    # Source: the definition of a present value, date by date; no factor of a series is used
    terms = Terms(years, units, 12, on_the_day, last_change, first_set)
    given_ = {**UNIT, **RATES, "interval": interval, "unit_life": unit_life, "discount": discount}
    entries = ledger(terms, given_)
    found = totals(estimates(interval=interval, unit_life=unit_life, discount=discount), terms)
    for name in ITEMS:
        wanted = units * sum(x / (1 + discount) ** t for t, of, x in entries if of == name)
        assert float(found[name].value) == pytest.approx(wanted, rel=1e-10, abs=1e-9), name
    whole = units * sum(x / (1 + discount) ** t for t, _, x in entries)
    assert float(found["present_value"].value) == pytest.approx(whole, rel=1e-10)
    bought = numbers_bought(estimates(interval=interval, unit_life=unit_life), terms)
    assert bought["sets"] == sum(of == "labour" for _, of, _ in entries)
    assert bought["units"] == sum(of == "replacement" for _, of, _ in entries)


@settings(deadline=None, max_examples=20)
@given(years=st.integers(1, 6), on_the_day=st.booleans(), last_change=st.booleans(), interval=st.floats(0.1, 3.0))
def test_the_course_adds_the_ledger_up(years, on_the_day, last_change, interval):
    terms = Terms(years, 2, 12, on_the_day, last_change, first_set=True)
    given_ = {**UNIT, **RATES, "interval": interval}
    entries = [(t, 2 * x / (1 + RATES["discount"]) ** t, of) for t, of, x in ledger(terms, given_)]
    times, path = course(estimates(interval=interval), terms)
    assert list(times[-3:]) == [years] * 3
    assert np.all(np.diff(times) >= 0.0)
    for k, time in enumerate(times[:-1]):
        settled = k == 0 or times[k - 1] == time
        due = [x for t, x, of in entries if of != "residual" and (t < time - 1e-9 or (settled and t <= time + 1e-9))]
        assert path.value[k] == pytest.approx(sum(due), rel=1e-10), time
    assert path.value[-1] == pytest.approx(float(totals(estimates(interval=interval), terms)["present_value"].value))
    assert len(times) == 2 * years * (12 if on_the_day else 1) + 2


def test_what_is_not_stated_costs_nothing():
    terms = Terms(10, 1, 12, False, True, False)
    only = {name: Estimate(x) for name, x in {"discount": 0.03, "price": 100.0}.items()}
    found = totals(only, terms)
    assert {name: float(x.value) for name, x in found.items()} == dict.fromkeys(ITEMS, 0.0) | {
        "first": 100.0,
        "present_value": 100.0,
    }


def test_a_unit_that_costs_money_to_get_rid_of():
    # at no discount: 100 now, and 25 at the end for the one unit, whose life ends with the study
    terms = Terms(5, 1, 12, False, False, False)
    given_ = {"discount": 0.0, "price": 100.0, "unit_life": 5.0, "residual": -25.0}
    found = totals({name: Estimate(x) for name, x in given_.items()}, terms)
    assert float(found["present_value"].value) == 125.0
    assert float(found["replacement"].value) == 0.0


@pytest.mark.parametrize(("years", "months"), [(1, 1), (10, 1), (11, 2), (20, 2), (30, 3), (40, 4), (60, 6)])
def test_a_long_course_has_fewer_times(years, months):
    times, path = course(estimates(), Terms(years, 1, 12, True, False, False))
    assert times[1] == pytest.approx(months / 12)
    assert len(times) == 2 * round(years * 12 / months) + 2
    assert path.value[-1] == pytest.approx(
        float(totals(estimates(), Terms(years, 1, 12, True, False, False))["present_value"].value)
    )
    assert MONTH * 12 == 1.0
