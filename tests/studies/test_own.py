"""Options owned over years, from records: worked examples, tables of factors, money of two sorts."""

from __future__ import annotations

import csv
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.report.own_text import own_text
from flowrig.studies.own import DRAWS, Owned, own
from tests.reference.load import rows
from tests.studies.cleaners import codes
from tests.studies.options import EXACT, option, record

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "life_cycle_cost_worked.toml").read_text(encoding="utf-8"))
EIGHT = 5.1e-8  # half of the last of the eight digits that the reference has
FEW = 1000  # draws, where nothing has a range or the interval is not looked at
A, B = WORKED["option_A"], WORKED["option_B"]


def worked(**own_: Any) -> dict[str, Any]:
    """The two options of the worked example; filters as four sets a year."""
    made = []
    for name, of in (("A", A), ("B", B)):
        year = of["fan_replacement_year"]
        made.append(
            option(
                name, clean_air_rate=f"{WORKED['cost_per_clean_air'][f'cadr_{name}_m3_h']} m3/h {EXACT}",
                power=f"{of['power_W']} W", price=f"{of['first_cost']} USD", filters=1,
                filter_price=f"{of['filters_per_year'] / 4} USD", changes_per_year=4, mean_over_life=1,
                unit_life=f"{year} years", replacement_price=f"{of['fan_replacement_cost']} USD",
                residual=f"{of['residual_at_10']} USD",
            )
        )  # fmt: skip
    terms = {"real_discount": "3 %", "hours": "4380 h", "energy_price": "0.16 USD/kWh", "last_change": "made"}
    return record(*made, **terms | own_)


def value(owned: Owned, name: str, of: str) -> float:
    one = owned[name]
    return float({**one.quantities, **one.items}[of].value)


# Source: NIST Handbook 135 (1995; superseded by the 2020 edition), method; invented inputs, recomputed.
@pytest.mark.recomputed
def test_the_worked_example():
    found = own(worked(), samples=FEW)
    for name, of in (("A", A), ("B", B)):
        present = {**of["present_values"], "lcc": of["lcc"], "annual": of["annualised_units_per_year"]}
        year = of["fan_replacement_year"]
        names = {
            "first": "first", "energy": "energy", "filters": "filters", f"fan_replacement_year{year}": "replacement",
            "residual_year10": "residual", "lcc": "present_value", "annual": "yearly_cost",
        }  # fmt: skip
        for key, ours in names.items():
            assert value(found, name, ours) == pytest.approx(present[key], rel=EIGHT), (name, key)
        levelised = WORKED["cost_per_clean_air"][f"{name}_units_per_1e6_m3_clean_air_levelised"]
        assert 1000 * value(found, name, "levelised") == pytest.approx(levelised, rel=EIGHT)
        assert value(found, name, "yearly_air") == pytest.approx(
            4380 * WORKED["cost_per_clean_air"][f"cadr_{name}_m3_h"]
        )
        assert found[name].sets == 40
    [pair] = found.pairs
    assert float(pair.difference.value) == pytest.approx(WORKED["comparison"]["net_saving_of_B"], abs=6e-6)
    assert [x.name for x in found.ranked] == [WORKED["comparison"]["lower_lcc"], "A"]
    assert pair.cheaper.share == pair.cheaper_by_air.share == 0.0
    # 400 against 420 m3/h is no equal service: the example says so itself
    assert found.leads == "levelised"
    assert {"options deliver unequal clean air", "no ranges stated", "clean air that is needed not told"} <= codes(
        found.findings
    )


# Source: the same; the order of costs over time by hand: 190 - 100 apart at first, and 30 + 15.446 a year between them.
@pytest.mark.recomputed
def test_when_the_dearer_unit_has_paid_for_itself():
    found = own(worked(), samples=FEW)
    yearly = A["filters_per_year"] - B["filters_per_year"] + A["energy_per_year"] - 0.16 * B["kWh_per_year"]
    saved = 0.0
    for year in range(1, 11):
        saved += yearly * 1.03**-year
        if saved >= WORKED["comparison"]["extra_first_cost_of_B"]:
            break
    [pair] = found.pairs
    assert pair.meeting.years == year == 3
    assert pair.meeting.cheaper_at_first == "A"
    assert pair.meeting.never == 0.0


# Source: NIST Handbook 135 (1995; superseded by the 2020 edition), formulas at the 3 % real rate, recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", [r for r in rows("present_value_factors.csv") if int(r["years"]) in (1, 7, 10, 15, 30)],
                         ids=lambda row: row["years"])  # fmt: skip
def test_factors_of_three_per_cent_through_a_record(row):
    one = option(upkeep="1 USD", residual="1 USD")
    found = own(record(one, years=int(row["years"]), real_discount="3 %"), samples=FEW)
    assert value(found, "A", "upkeep") == pytest.approx(float(row["UPV"]), abs=5.001e-7)
    assert -value(found, "A", "residual") == pytest.approx(float(row["SPV"]), abs=5.001e-7)


# Source: invented example of 45 a quarter or 180 a year over ten years at 3 %, recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize(
    ("payments", "last", "name", "sets"),
    [
        ("on the day", "not made", "filters_as_45_every_quarter_first_at_3_months_last_at_9.75_years_pv", 39),
        ("on the day", "made", "filters_as_45_every_quarter_first_at_3_months_last_at_10_years_pv", 40),
        ("end of year", "made", "as_180_end_of_year_pv", 40),
    ],
)
@pytest.mark.parametrize(
    "interval",
    [{"change_every": "3 months"}, {"changes_per_year": 4}, {"change_after": "250 h"}],
    ids=lambda x: next(iter(x)),
)
def test_the_trap_of_timing(payments, last, name, sets, interval):
    one = option(filters=1, filter_price="45 USD", mean_over_life=1, **interval)
    found = own(record(one, real_discount="3 %", payments=payments, last_change=last), samples=FEW)
    assert value(found, "A", "filters") == pytest.approx(WORKED["timing_trap"][name], abs=5.1e-5)
    assert found["A"].sets == sets


# Source: modified uniform present value, NIST Handbook 135 (1995), recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize(
    ("escalation", "name"), [("1 %", "e_1pct_N10"), ("-0.5 %", "e_minus_0.5pct_N10"), ("3 %", "e_3pct_N10")]
)
def test_energy_that_grows_dearer(escalation, name):
    found = own(worked(real_energy_escalation=escalation), samples=FEW)
    factor = WORKED["energy_escalation"][name]
    assert value(found, "A", "energy") == pytest.approx(A["energy_per_year"] * factor, rel=EIGHT)
    if name == "e_1pct_N10":
        said = WORKED["energy_escalation"]["option_A_energy_pv_at_e_1pct"]
        assert value(found, "A", "energy") == pytest.approx(said, rel=EIGHT)
    assert value(found, "A", "filters") == pytest.approx(A["present_values"]["filters"], rel=EIGHT)


# Source: EIA, prices of electricity as read (tests/reference/electricity_prices.csv); 262.8 kWh of the worked example.
@pytest.mark.published
@pytest.mark.parametrize(
    "row", [r for r in rows("electricity_prices.csv") if r["unit"] == "cents/kWh"][::3], ids=lambda r: r["series"]
)
def test_a_year_of_energy_at_a_printed_price(row):
    cents = float(row["value"])
    found = own(record(option(), years=1, hours="4380 h", energy_price=f"{cents / 100:.6g} USD/kWh"), samples=FEW)
    assert value(found, "A", "energy") == pytest.approx(2.628 * cents, rel=1e-12)


# Source: definition of a levelised cost, month by month.
@pytest.mark.recomputed
def test_air_is_discounted_as_the_payments_are():
    found = own(
        record(option(price="100 USD", upkeep="12 USD"), real_discount="5 %", payments="on the day"), samples=FEW
    )
    months = [1.05 ** (-k / 12) for k in range(1, 121)]
    air = sum(400 * 1000 / 12 * weight for weight in months)
    assert value(found, "A", "levelised") == pytest.approx(1000 * (100 + sum(months)) / air, rel=1e-10)
    assert value(found, "A", "yearly_cost") == pytest.approx((100 + sum(months)) * 0.05 / (1 - 1.05**-10), rel=1e-10)


def test_a_demand_charge():
    # 0.06 kW of which half runs at the hour of the peak, 14 a kW in 10 billings: 4.20 a year
    terms = {"demand_price": "14 USD/kW", "billings": 10, "demand_share": "50 %"}
    found = own(record(option(), years=5, **terms), samples=FEW)
    assert value(found, "A", "demand") == pytest.approx(5 * 4.20, rel=1e-12)
    assert value(found, "A", "present_value") == pytest.approx(21.0, rel=1e-12)


RANGED = {
    "energy_price": "from 0.1 to 0.3 USD/kWh",
    "last_change": "made",
    "payments": "on the day",
    "hours": "from 3000 to 5000 h",
}


def nominal_of(real: float, inflation: float) -> str:
    return f"{100 * ((1 + real) * (1 + inflation) - 1):.15g} %"


def test_nominal_and_real_money_have_one_present_value():
    # Source: (1 + D) = (1 + d)(1 + I) for discount and escalations alike, NIST Handbook 135 (1995; from memory)
    inflation = 0.025
    real = {"money": "real", "real_discount": "3 %", "real_energy_escalation": "1 %", "real_filter_escalation": "-2 %"}
    nominal = {
        "money": "nominal", "real_discount": None, "inflation": "2.5 %",
        "nominal_discount": nominal_of(0.03, inflation), "nominal_energy_escalation": nominal_of(0.01, inflation),
        "nominal_filter_escalation": nominal_of(-0.02, inflation),
    }  # fmt: skip
    mixed = {**nominal, "money": "real"}  # nominal rates, turned into real ones
    turned = {**real, "money": "nominal", "inflation": "2.5 %"}  # real rates, turned into nominal ones
    sides = [own(worked(**RANGED, **of), samples=10 * FEW) for of in (real, nominal, mixed, turned)]
    for other in sides[1:]:
        for name in ("A", "B"):
            for of in ("present_value", "energy", "filters", "replacement", "residual"):
                assert value(other, name, of) == pytest.approx(value(sides[0], name, of), rel=1e-11)
            one, two = sides[0][name]["present_value"], other[name]["present_value"]
            assert float(two.estimate.u) == pytest.approx(float(one.estimate.u), rel=1e-9)
            width = float(one.high) - float(one.low)
            assert width > 100.0
            assert float(two.low) == pytest.approx(float(one.low), abs=0.02 * width)  # each record has draws of its own
            assert float(two.high) == pytest.approx(float(one.high), abs=0.02 * width)
    # a price that stays the same as it is paid is more than one of today while prices rise
    air = [value(x, "A", "levelised") for x in sides]
    assert air[2] == pytest.approx(air[0], rel=1e-11)
    assert air[1] == pytest.approx(air[3], rel=1e-11)
    assert air[1] > 1.05 * air[0]


def test_an_inflation_that_is_not_known_leaves_real_rates_alone():
    # real rates in nominal money: the inflation turns discount and prices alike, and cancels draw by draw
    sure = own(worked(money="nominal", inflation="2 %"), samples=FEW)
    vague = own(worked(money="nominal", inflation="from 0 to 8 %"), samples=FEW)
    for found in (sure, vague):
        q = found["A"]["present_value"]
        assert float(q.value) == pytest.approx(A["lcc"], rel=EIGHT)
        assert float(q.high) - float(q.low) == pytest.approx(0.0, abs=1e-6)
    q = vague["A"]["levelised"]
    assert float(q.high) > 1.2 * float(q.low)
    # of a nominal discount it is a range like any other
    other = own(worked(real_discount=None, nominal_discount="6 %", inflation="from 0 to 8 %"), samples=FEW)
    q = other["A"]["present_value"]
    assert float(q.high) > 1.2 * float(q.low)


def test_inflation_without_use_is_told():
    assert "inflation not used" in codes(own(worked(inflation="2 %"), samples=FEW).findings)
    used = own(worked(inflation="2 %", real_discount=None, nominal_discount="5 %"), samples=FEW)
    assert "inflation not used" not in codes(used.findings)
    assert float(used["A"]["present_value"].value) == pytest.approx(
        float(own(worked(real_discount=f"{100 * (1.05 / 1.02 - 1):.15g} %"), samples=FEW)["A"]["present_value"].value)
    )


def test_every_payment_of_several_units():
    one = option(
        count=3, price="100 USD", installation="20 USD", filters=2, filter_price="10 USD", first_set="bought",
        labour_price="5 USD", disposal_price="1 USD", change_every="1 year", upkeep="7 USD", mean_over_life=1,
    )  # fmt: skip
    found = own(record(one, years=4), samples=FEW)
    wanted = {"first": 3 * (120 + 20), "filters": 3 * 3 * 20, "labour": 3 * 3 * 5, "disposal": 3 * 3 * 2, "upkeep": 84}
    assert {name: float(q.value) for name, q in found["A"].items.items()} == pytest.approx(wanted)
    assert float(found["A"]["present_value"].value) == pytest.approx(sum(wanted.values()))


def test_prices_of_the_terms_are_one_cause_in_all_options():
    # the same filter in two options: its price cancels where they take as many, and stays where it is each one's own
    fields = {"filters": 2, "change_every": "1 year", "mean_over_life": 1}
    price = "from 10 to 30 USD"
    shared = own(record(option("A", **fields), option("B", price="1 USD", **fields), filter_price=price), samples=FEW)
    q = shared.pairs[0].difference
    assert float(q.high) - float(q.low) < 1e-9
    assert shared.pairs[0].cheaper.share == 1.0
    own_each = own(
        record(option("A", filter_price=price, **fields), option("B", filter_price=price, **fields)), samples=FEW
    )
    q = own_each.pairs[0].difference
    assert float(q.high) - float(q.low) > 100.0
    assert 0.3 < own_each.pairs[0].cheaper.share < 0.7
    # an option that states its own takes no part in it
    mixed = own(
        record(option("A", **fields), option("B", filter_price="20 USD", **fields), filter_price=price), samples=FEW
    )
    assert [bar.input.name for bar in mixed.pairs[0].bars] == ["filter price"]


def test_doing_nothing_is_no_competitor():
    found = own({**worked(), "options": [*worked()["options"], {"name": "as it is", "sort": "nothing"}]}, samples=FEW)
    assert found.idle == ["as it is"]
    assert [x.name for x in found] == ["A", "B"]
    assert len(found.pairs) == 1


def test_one_option_alone():
    found = own(record(option(price="80 USD")), samples=FEW)
    assert found.pairs == []
    assert found["A"].cheapest == 1.0
    assert found.leads == "present_value"
    with pytest.raises(KeyError):
        found["B"]


def test_currencies_stay_apart():
    found = own(record(option(price="80 EUR"), currency="EUR", energy_price="0 EUR/kWh"), samples=FEW)
    q = found["A"]["present_value"]
    assert (q.unit, q.kind, float(q.value)) == ("EUR", "money EUR", 80.0)
    assert found["A"]["levelised"].unit == "EUR/1000 m3"
    with pytest.raises(InputError, match="is not a unit of money EUR"):
        own(record(option(price="80 USD"), currency="EUR", energy_price="0 EUR/kWh"))


def test_the_draws_that_were_asked_for():
    terms = {"energy_price": "from 0.1 to 0.3 USD/kWh"}
    few = own(worked(**terms), samples=FEW, seed=7)
    assert few["A"]["present_value"].interval.draws == FEW
    assert few.pairs[0].cheaper.draws == FEW
    again = own(worked(**terms), samples=FEW, seed=7)
    assert float(again["A"]["present_value"].low) == float(few["A"]["present_value"].low)
    assert float(own(worked(**terms), samples=FEW, seed=8)["A"]["present_value"].low) != float(
        few["A"]["present_value"].low
    )
    assert own(worked(**terms))["A"]["present_value"].interval.draws == DRAWS


def test_draws_that_have_no_value_are_counted():
    # a life of 5 years with a standard uncertainty of 3: below nothing in 4.8 % of the draws
    vague = option("A", price="100 USD", unit_life="5 years (u = 3 years)")
    found = own(record(vague, option("B", price="300 USD")), samples=20 * FEW)
    [said] = [f for f in found.findings if f.code == "draws without a value"]
    share = float(said.message.split()[0])
    assert share == pytest.approx(100 * 0.0478, abs=0.5)
    [pair] = found.pairs
    assert pair.cheaper.draws == pytest.approx(20 * FEW * (1 - share / 100), abs=20)
    assert all(math.isfinite(x) for x in (found["A"].course.low[-1], found["A"].course.high[-1], found["A"].cheapest))
    [bar] = pair.bars
    assert math.isnan(bar.at_low)
    assert math.isfinite(bar.at_high)
    assert "unit life of A  -0.88 to 10.9 years  none to" in own_text(found)
    sure = own(record(option("A", price="100 USD", unit_life="5 years (u = 1 years)")), samples=20 * FEW)
    assert "draws without a value" not in codes(sure.findings)


def test_it_is_a_public_name():
    assert flowrig.own is own


def test_a_record_without_terms_is_told():
    from tests.studies.records import nozzle

    with pytest.raises(InputError, match=r"no \[own\]; expected a table \[own\]"):
        own(nozzle())


def test_the_prices_are_as_they_were_read():
    with (REFERENCE / "electricity_prices.csv").open(encoding="utf-8") as file:
        assert len(list(csv.DictReader(file))) == 15
    assert math.isclose(A["kWh_per_year"], 0.06 * 4380)
