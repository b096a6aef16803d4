"""Present-value factors against printed tables, a worked example, high precision and plain sums."""

import math
import tomllib
from pathlib import Path

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics import (
    nominal_rate,
    present_value_factor,
    purchases_until,
    purchases_within,
    real_rate,
    repeated_factor,
    uniform_factor,
    year_end_factor,
)
from tests.reference.load import rows

TABLE = rows("present_value_factors.csv")
WORKED = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "life_cycle_cost_worked.toml").read_text(encoding="utf-8")
)

rates = st.floats(-0.05, 0.25)
years_ = st.integers(1, 40)
intervals = st.sampled_from([1 / 12, 0.25, 1 / 3, 0.5, 0.75, 1.0, 1.5, 2.0, 7.0])


# Source: NIST Handbook 135 (1995; superseded by the 2020 edition), formulas at the 3 % real rate, recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["years"])
def test_table_of_three_per_cent(row):
    years = float(row["years"])
    single, uniform = present_value_factor(0.03, years), uniform_factor(0.03, years)
    assert single == pytest.approx(float(row["SPV"]), abs=5.001e-7)
    assert uniform == pytest.approx(float(row["UPV"]), abs=5.001e-7)
    assert round(float(single), 3) == float(row["SPV_3dec"])
    assert round(float(uniform), 2) == float(row["UPV_2dec"])


# Source: compound amounts at 3 % read from a public table; printed to four decimals.
@pytest.mark.published
@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["years"])
def test_printed_compound_amounts(row):
    amount = 1.0 / present_value_factor(0.03, float(row["years"]))
    assert amount == pytest.approx(float(row["printed_compound_amount_3pct"]), abs=5.001e-5)


# Source: NIST supplement to Handbook 135, printed columns (from memory).
@pytest.mark.from_memory
@pytest.mark.parametrize(
    "row", [row for row in TABLE if row["NIST_supplement_SPV_from_memory"]], ids=lambda row: row["years"]
)
def test_supplement(row):
    years = float(row["years"])
    assert round(float(present_value_factor(0.03, years)), 3) == float(row["NIST_supplement_SPV_from_memory"])
    assert round(float(uniform_factor(0.03, years)), 2) == float(row["NIST_supplement_UPV_from_memory"])


# Source: NIST Handbook 135 (1995) method, factors of an invented example, recomputed to eight digits.
@pytest.mark.recomputed
def test_factors_of_the_worked_example():
    factors = WORKED["factors"]
    for years in (5, 7, 10):
        assert present_value_factor(WORKED["discount_real"], years) == pytest.approx(factors[f"SPV{years}"], abs=5.1e-9)
    assert uniform_factor(WORKED["discount_real"], 10) == pytest.approx(factors["UPV10"], abs=5.1e-8)


# Source: modified uniform present value, NIST Handbook 135 (1995), recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize(
    ("escalation", "name"), [(0.01, "e_1pct_N10"), (-0.005, "e_minus_0.5pct_N10"), (0.03, "e_3pct_N10")]
)
def test_escalation_of_the_worked_example(escalation, name):
    factor = uniform_factor(0.03, 10.0, escalation)
    assert factor == pytest.approx(WORKED["energy_escalation"][name], abs=5.1e-8)


# Source: invented example of 45 a quarter or 180 a year over ten years at 3 %, recomputed.
@pytest.mark.recomputed
def test_quarters_and_totals_of_years():
    trap = WORKED["timing_trap"]
    before, to_the_end = (trap[f"quarterly_purchases_last_at_{end}_years"] for end in ("9_75", "10"))
    assert purchases_within(0.25, 10.0) == before == to_the_end - 1
    assert purchases_until(0.25, 10.0) == to_the_end
    name = "filters_as_45_every_quarter_first_at_3_months_last_at_{}_years_pv"
    assert 45 * repeated_factor(0.03, 0.25, before) == pytest.approx(trap[name.format("9.75")], abs=5.1e-5)
    assert 45 * repeated_factor(0.03, 0.25, to_the_end) == pytest.approx(trap[name.format("10")], abs=5.1e-5)
    assert 45 * year_end_factor(0.03, 0.25, to_the_end) == pytest.approx(trap["as_180_end_of_year_pv"], abs=5.1e-5)
    # like for like: 39 sets as well, where the last year has three; the total of a year is always the cheaper
    assert year_end_factor(0.03, 0.25, before) == pytest.approx(4 * uniform_factor(0.03, 9) + 3 * 1.03**-10)
    assert year_end_factor(0.03, 0.25, before) < repeated_factor(0.03, 0.25, before)


# Source: mpmath, the sum term by term to 40 digits.
@pytest.mark.library
@given(discount=rates, escalation=rates, interval=intervals, number=st.integers(0, 60))
def test_sums_to_many_digits(discount, escalation, interval, number):
    with mpmath.workdps(40):
        ratio = (1 + mpmath.mpf(escalation)) / (1 + mpmath.mpf(discount))
        dates = [k * mpmath.mpf(interval) for k in range(1, number + 1)]
        paid = float(mpmath.fsum(ratio**date for date in dates))
        totals = float(mpmath.fsum(ratio ** mpmath.ceil(date - mpmath.mpf(10) ** -9) for date in dates))
    assert repeated_factor(discount, interval, float(number), escalation) == pytest.approx(paid, rel=1e-12)
    assert year_end_factor(discount, interval, float(number), escalation) == pytest.approx(totals, rel=1e-12)


# Source: mpmath; rates so near to each other that the quotient of the closed form has lost its digits.
@pytest.mark.library
@pytest.mark.parametrize("apart", [0.0, 1e-17, 1e-15, 1e-12, 1e-8, -1e-8, -1e-12, -1e-15])
def test_rates_that_are_almost_equal(apart):
    with mpmath.workdps(50):
        ratio = (1 + mpmath.mpf(0.03 + apart)) / (1 + mpmath.mpf(0.03))
        wanted = float(mpmath.fsum(ratio**k for k in range(1, 31)))
    assert uniform_factor(0.03, 30.0, 0.03 + apart) == pytest.approx(wanted, rel=1e-14)


@given(years=years_, interval=intervals, escalation=rates)
def test_without_discount_it_is_a_plain_sum(years, interval, escalation):
    assert present_value_factor(0.0, years) == 1.0
    assert uniform_factor(0.0, years) == years
    number = purchases_within(interval, years)
    assert repeated_factor(0.0, interval, number) == number == year_end_factor(0.0, interval, number)
    risen = sum((1 + escalation) ** k for k in range(1, years + 1))
    assert uniform_factor(0.0, years, escalation) == pytest.approx(risen, rel=1e-12)


@given(rate=rates, years=years_, interval=intervals)
def test_escalation_that_equals_the_discount_cancels_it(rate, years, interval):
    assert present_value_factor(rate, years, rate) == 1.0
    assert uniform_factor(rate, years, rate) == years
    assert repeated_factor(rate, interval, years, rate) == years == year_end_factor(rate, interval, years, rate)


@given(discount=rates, escalation=rates, first=years_, second=years_)
def test_periods_join(discount, escalation, first, second):
    both = uniform_factor(discount, first + second, escalation)
    later = present_value_factor(discount, first, escalation) * uniform_factor(discount, second, escalation)
    assert both == pytest.approx(uniform_factor(discount, first, escalation) + later, rel=1e-12)


@given(discount=st.floats(0.001, 0.25), interval=intervals, number=st.integers(1, 60))
def test_the_end_of_the_year_is_never_before_the_day(discount, interval, number):
    paid, total = repeated_factor(discount, interval, number), year_end_factor(discount, interval, number)
    assert total <= paid * (1 + 1e-12)
    assert total >= paid / (1 + discount) * (1 - 1e-12)  # and never a whole year after it
    if interval == int(interval):
        assert total == pytest.approx(paid, rel=1e-12)


@given(discount=rates, escalation=rates, inflation=st.floats(-0.02, 0.15), years=years_)
def test_real_and_nominal_rates_give_one_present_value(discount, escalation, inflation, years):
    nominal = nominal_rate(discount, inflation), nominal_rate(escalation, inflation)
    assert real_rate(nominal[0], inflation) == pytest.approx(discount, abs=1e-15)
    wanted = uniform_factor(discount, years, escalation)
    assert uniform_factor(nominal[0], years, nominal[1]) == pytest.approx(wanted, rel=1e-11)


def test_rates_worked_by_hand():
    assert nominal_rate(0.03, 0.02) == pytest.approx(1.03 * 1.02 - 1, abs=1e-15)
    assert real_rate(0.0506, 0.02) == pytest.approx(0.03, abs=1e-15)
    assert real_rate(0.05, 0.05) == 0.0
    # a nominal discount with prices of today makes running costs look too cheap: 7.69 in place of 8.53
    assert uniform_factor(0.0506, 10.0) == pytest.approx((1 - 1.0506**-10) / 0.0506)


@given(interval=st.floats(0.05, 12.0), years=st.integers(1, 40))
def test_purchases_fall_within_the_period(interval, years):
    number = float(purchases_within(interval, years))
    assert number * interval < years
    assert (number + 1) * interval >= years * (1 - 1e-8)


@pytest.mark.parametrize(("parts", "years"), [(3, 10), (6, 7), (7, 10), (12, 29), (52, 10), (365, 3)])
def test_a_part_of_a_year_is_counted_without_rounding(parts, years):
    assert purchases_within(1.0 / parts, years) == parts * years - 1
    assert year_end_factor(0.03, 1.0 / parts, parts * years) == pytest.approx(parts * uniform_factor(0.03, years))


def test_a_period_without_a_purchase():
    assert purchases_within(10.0, 10.0) == 0.0 == purchases_within(12.0, 10.0) == purchases_within(1.0, 0.0)
    assert repeated_factor(0.03, 12.0, 0.0) == 0.0 == year_end_factor(0.03, 12.0, 0.0) == uniform_factor(0.03, 0.0)


def test_years_that_are_converted_are_whole_again():
    assert uniform_factor(0.03, 10 * (1 + 1e-12)) == uniform_factor(0.03, 10)


@pytest.mark.parametrize("factor", [repeated_factor, year_end_factor])
def test_outside_the_domain_of_a_series(factor):
    usual = {"discount": 0.03, "interval": 0.25, "number": 4.0, "escalation": 0.01}
    assert np.isfinite(factor(**usual))
    wrong = {"discount": (-1.0, -2.0), "interval": (0.0, -0.25), "number": (-1.0, 3.5), "escalation": (-1.0, -3.0)}
    for name, values in wrong.items():
        for value in (*values, math.nan):
            assert np.isnan(factor(**{**usual, name: value})), (name, value)


def test_outside_the_domain():
    assert np.isnan(uniform_factor(0.03, np.array([-1.0, 9.5]))).all()
    assert np.isnan(present_value_factor(np.array([-1.0, 0.03, 0.03]), np.array([1.0, -1.0, 1.0]), [0, 0, -1.0])).all()
    assert np.isnan(real_rate(np.array([-1.0, 0.05]), np.array([0.02, -1.0]))).all()
    assert np.isnan(nominal_rate(np.array([-1.0, 0.05]), np.array([0.02, -1.0]))).all()
    assert np.isnan(purchases_within(np.array([0.0, -1.0, 1.0]), np.array([1.0, 1.0, -1.0]))).all()
    assert np.isnan(year_end_factor(0.03, 2.0, 501.0))
    assert np.isfinite(year_end_factor(0.03, 2.0, 500.0))


@given(number=st.integers(0, 60), interval=st.sampled_from([0.1, 0.25, 1 / 3, 0.7, 1.0, 2.5]))
def test_what_falls_due_on_the_day_counts_until_and_not_within(number, interval):
    # Source: counting; 0.7 three times is 2.0999999999999996
    assert purchases_until(interval, number * interval) == number
    assert purchases_within(interval, number * interval) == max(number - 1, 0)
    assert purchases_until(interval, (number + 0.5) * interval) == number
    assert purchases_within(interval, (number + 0.5) * interval) == number
