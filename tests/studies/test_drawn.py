"""Costs that come in steps: no value outside its own interval, in text, CSV and JSON alike; what nobody stated."""

from __future__ import annotations

import csv
import io
import json
import math

import numpy as np
import pytest

from flowrig.report.lines import percent
from flowrig.report.own_tables import own_csv, own_json
from flowrig.report.own_text import own_text
from flowrig.studies.own import own
from flowrig.studies.pairs import courses
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear
from tests.studies.cleaners import codes
from tests.studies.options import EXACT, option, record

FEW = 4000


def flat(text: str) -> str:
    return " ".join(text.split())


def lines_of(owned):
    return {(x["of"], x["quantity"]): x for x in csv.DictReader(io.StringIO(own_csv(owned))) if not x["years"]}


# A unit of 4 to 6 years, ten looked at: at 5 years to the day one more is bought and worth nothing at the end. Of the
# draws, half (below 5) buy two more, half one: at exactly 5 none of the interval of the residual holds.
STEPPED = {"price": "100 USD", "unit_life": "from 4 to 6 years"}


@pytest.fixture(scope="module")
def stepped():
    return own(record(option("A", **STEPPED), option("B", price="150 USD")), samples=FEW)


# Source: by hand. Life L: worth 100 (1 - used/L) at the end, used = 10 - 2L for L < 5, 10 - L for L >= 5 (bought once).
@pytest.mark.recomputed
def test_a_value_on_the_edge_of_a_step_is_the_median_of_the_draws(stepped):
    q = stepped["A"].items["residual"]
    assert float(q.estimate.value) == pytest.approx(0.0, abs=1e-9)
    life = np.linspace(4.0, 6.0, 200_001)
    left = np.where(life < 5.0, 1.0 - (10.0 - 2.0 * life) / life, 1.0 - (10.0 - life) / life)
    low, median, high = np.quantile(-100.0 * left, [0.025, 0.5, 0.975])
    near = 4 * 100.0 / math.sqrt(FEW)
    assert not low <= 0.0 <= high
    assert q.value_from == "median of draws"
    assert float(q.value) == pytest.approx(median, abs=near)
    assert (float(q.low), float(q.high)) == (pytest.approx(low, abs=near), pytest.approx(high, abs=near))
    assert float(q.u) == pytest.approx(100.0 * np.std(left), abs=0.05 * 100.0 * np.std(left))
    assert float(q.estimate.u) > 3 * float(q.u)  # what the slope says
    [said] = [f for f in stepped.findings if f.code == "median of the draws told"]
    assert said.message == "A: less residual value"


def test_no_value_is_outside_its_interval_in_any_form(stepped):
    told = [x for x in lines_of(stepped).values() if x["low"] and x["high"]]
    assert len(told) > 10
    body = json.loads(own_json(stepped))
    numbers = [e for o in body["options"] for e in (*o["estimates"], *o["items"])]
    numbers += [p[name]["difference"] for p in body["pairs"] for name in ("present_value", "cost_of_clean_air")]
    ends = [(e["value"], *e["interval"], e["standard_uncertainty"], e["name"]) for e in numbers]
    rows = [(*(float(x[k]) for k in ("value", "low", "high")), float(x["standard_uncertainty"] or 0), x["quantity"])
            for x in told]  # fmt: skip
    for value, low, high, u, name in (*ends, *rows):
        assert low - 1e-9 * abs(low) <= value <= high + 1e-9 * abs(high), name
        assert u <= 0.75 * (high - low) + 1e-9 * abs(value), name
    [residual] = [e for e in numbers if e["key"] == "residual"]
    assert (residual["value_from"], residual["budget"], residual["parts"]) == ("median of draws", [], [])
    row = lines_of(stepped)["A", "less residual value"]
    assert row["value_from"] == "median of draws"
    assert float(row["value"]) == pytest.approx(residual["value"])
    for one in stepped:
        assert np.all((one.course.low - 1e-9 <= one.course.value) & (one.course.value <= one.course.high + 1e-9))


def test_names_are_those_of_the_text(stepped):
    text = flat(own_text(stepped))
    body = json.loads(own_json(stepped))
    for option_ in stepped:
        names = [q.label for key, q in option_.quantities.items() if key != "yearly_air"]
        names += [q.label for q in option_.items.values()]
        rows = {quantity for of, quantity in lines_of(stepped) if of == option_.name}
        [told] = [o for o in body["options"] if o["name"] == option_.name]
        for name in names:
            assert name in text
            assert name in rows
            assert name in {e["name"] for e in (*told["estimates"], *told["items"])}
    assert {q for of, q in lines_of(stepped) if of == "A less B"} == {
        "present value", "cost of clean air", "costs meet after", "costs do not meet, share of the draws"
    }  # fmt: skip
    assert "costs meet after" in text


# Source: by hand. A starts 10 cheaper and pays a rate of a year, from 2 to 5, against 1: they meet in 10/(rate - 1)
# years, of which the median is where the rate is 3.5: 4 years.
@pytest.mark.recomputed
def test_when_costs_meet_is_the_median_of_the_draws_beside_its_interval():
    times = np.array([0.0, *np.repeat(np.arange(1.0, 11.0), 2)])
    rate = Cause("rate", shape="rectangular")
    a = Estimate(3.5 * times, ("time",), {rate: (1.5 / math.sqrt(3.0) * times)[None, :]})
    b = Estimate(10.0 + 1.0 * times, ("time",))
    _, found = courses(times, {"A": a, "B": b}, 0.95, 1)
    met = found["A", "B"]
    assert (met.cheaper_at_first, met.at_first) == ("A", 1.0)
    assert met.low <= met.years <= met.high
    assert met.years == pytest.approx(4.0, abs=0.1)
    assert met.low == pytest.approx(10 / (4.925 - 1), abs=0.03)
    assert met.high == pytest.approx(10 / (2.075 - 1), abs=0.3)


def test_the_meeting_is_of_the_draws_in_which_that_option_is_the_cheaper_at_first():
    # A at 100 to 130, B at 110: A is the cheaper at first in a third of the draws; B saves 3 kWh a year at 1 USD
    terms = {"energy_price": "1 USD/kWh"}
    one = option("A", price="from 100 to 130 USD", power="63 W")
    [pair] = own(record(one, option("B", price="110 USD"), **terms), samples=FEW).pairs
    met = pair.meeting
    assert met.cheaper_at_first == "B"
    assert met.at_first == pytest.approx(2 / 3, abs=0.03)
    assert met.never == 1.0  # it is the cheaper one to run as well
    text = flat(own_text(own(record(one, option("B", price="110 USD"), **terms), samples=FEW)))
    late = "and A does not catch up within 10 years in any of those"
    assert f"B is the cheaper at first in {percent(met.at_first)} of the draws, {late}." in text


def test_text_csv_and_json_tell_one_time():
    found = own(record(option("A", price="from 80 to 120 USD", upkeep="from 5 to 15 USD"),
                       option("B", price="140 USD")), samples=FEW)  # fmt: skip
    met = found.pairs[0].meeting
    assert met.low < met.years < met.high
    row = lines_of(found)["A less B", "costs meet after"]
    assert [float(row[k]) for k in ("value", "low", "high")] == [met.years, met.low, met.high]
    assert (row["value_from"], row["unit"]) == ("median of draws", "years")
    body = json.loads(own_json(found))["pairs"][0]["costs_meet"]
    assert (body["years"], body["interval"], body["value_from"]) == (met.years, [met.low, met.high], "median of draws")
    said = f"costs meet after {met.years:g} years [{met.low:g} to {met.high:g}], the median of the draws"
    assert said in flat(own_text(found))


# ---------------------------------------------------------------- left out

CHANGED = {"filters": 1, "filter_price": "10 USD", "change_every": "1 year", "mean_over_life": "80 %"}


def test_what_is_left_out_is_listed_once():
    full = option("A", **CHANGED, price="100 USD", installation="0 USD", first_set="in the price", labour_price="0 USD",
                  disposal_price="0 USD", upkeep="0 USD", unit_life="10 years")  # fmt: skip
    bare = option("B", **CHANGED, price="100 USD")
    found = own(record(full, bare, demand_price="0 USD/kW"), samples=FEW)
    assert found["A"].left_out == []  # a cost of 0 is stated
    everything = ["installation", "first filters, taken to be in the price", "labour of changes",
                  "disposal of filters", "upkeep", "units bought anew", "residual value"]  # fmt: skip
    assert found["B"].left_out == everything
    text = flat(own_text(found))
    assert f"Left out, and so counted as nothing of B: {'; '.join(everything)}" in text
    assert "of A:" not in text.split("Left out")[1].split("Held")[0]
    [said] = [f for f in found.findings if f.code == "cost left out of some options only"]
    assert said.message == f"{', '.join(everything)}: not told of B"
    body = json.loads(own_json(found))
    assert [o["left_out"] for o in body["options"]] == [[], everything]
    assert ("B", "left out: upkeep") in lines_of(found)


def test_what_all_leave_out_and_what_none_can_have():
    found = own(record(option("A", **CHANGED), option("B")), samples=FEW)  # B has no filters
    assert "labour of changes" not in found["B"].left_out
    assert "demand charge" in found["A"].left_out
    text = flat(own_text(found))
    assert "of every option: installation; demand charge; upkeep; units bought anew; residual value of A: first" in text
    assert "cost left out of some options only" not in codes(found.findings)  # none states what the other leaves out
    # a price of the terms is stated for all
    shared = own(record(option("A", **CHANGED), labour_price="5 USD", demand_price="1 USD/kW"), samples=FEW)
    assert not {"labour of changes", "demand charge"} & set(shared["A"].left_out)


# ---------------------------------------------------------------- mean over the life


def test_new_filters_are_told_beside_the_option_in_the_order_and_in_the_verdict():
    new = option("new", **{**CHANGED, "mean_over_life": None}, price="100 USD")
    mean = option("mean", **CHANGED, price="90 USD")
    found = own(record(new, mean), samples=FEW)
    text = flat(own_text(found))
    assert "THE ORDER RESTS ON AN INITIAL VALUE for new:" in text
    assert "new: 1 unit, BY CLEAN AIR OF NEW FILTERS" in text
    assert "clean air of new filters 400 m3/h lifetime" not in text
    own_lines = [quantity for of, quantity in lines_of(found) if of == "new"]
    assert "clean air of new filters" in own_lines
    assert "lifetime-mean clean air" not in own_lines
    [pair] = found.pairs
    assert pair.lives.startswith("NOT LIKE FOR LIKE: mean by its mean over the life of its filters, new by the clean")
    assert pair.lives in text
    body = json.loads(own_json(found))
    assert body["pairs"][0]["not_like_for_like"] == pair.lives
    assert [o["clean_air_is"] for o in body["options"]] == ["of new filters", "mean over the life of filters"]
    [said] = [f for f in found.findings if f.code == "mean over the life held against new filters"]
    assert said.message == "new by new filters, mean by its mean"
    # both without one: each is marked, and neither is favoured
    both = own(record(new, {**new, "name": "other"}), samples=FEW)
    assert both.pairs[0].lives == "Both by the clean air of new filters, not by its mean over their life."
    assert "mean over the life held against new filters" not in codes(both.findings)
    sure = own(record(mean, option("no filters")), samples=FEW)  # nothing loads
    assert sure.pairs[0].lives == ""
    assert "INITIAL VALUE" not in own_text(sure)


# ---------------------------------------------------------------- what nobody means, and digits


@pytest.mark.parametrize(
    ("terms", "said"),
    [({"real_discount": "15 %"}, "real discount 15 %"),
     ({"real_discount": "from 5 to 16 %"}, "real discount from 5 to 16 %"),
     ({"real_energy_escalation": "-16 %"}, "real energy escalation -16 %")],
)  # fmt: skip
def test_a_rate_out_of_the_ordinary_is_told(terms, said):
    found = own(record(option(price="10 USD"), **terms), samples=FEW)
    assert [f.message for f in found.findings if f.code == "rate of a year out of the ordinary"] == [said]
    usual = own(record(option(price="10 USD"), real_discount="from 2 to 14 %"), samples=FEW)
    assert "rate of a year out of the ordinary" not in codes(usual.findings)


def test_a_residual_above_the_price_is_told():
    told = {}
    for residual, anew in (("101 USD", None), ("100 USD", None), ("101 USD", "120 USD"), ("121 USD", "120 USD")):
        one = option(price="100 USD", residual=residual, unit_life="5 years", replacement_price=anew)
        found = own(record(one), samples=FEW)
        told[residual, anew] = [f.message for f in found.findings if f.code == "residual above the price"]
    assert list(told.values()) == [
        ["A: 101 USD where one costs 100 USD"],
        [],
        [],
        ["A: 121 USD where one costs 120 USD"],
    ]


def test_digits_of_a_sentence_follow_the_bar():
    # 3 of 266 ± 30 are 798 with a standard uncertainty of 52; with one of 208 they are 800, and still too little
    one = option(count=3, clean_air_rate="266 m3/h ± 30 m3/h")
    found = own(record(one, option("B", clean_air_rate=f"123456.789 m3/h {EXACT}"), clean_air="800 m3/h"), samples=FEW)
    [alarm] = [f for f in found.findings if f.severity == "alarm"]
    assert alarm.message == ("A: 798 m3/h where 800 m3/h are needed, 0.25 % too little; mean over the life of filters")
    [said] = [f for f in found.findings if f.code == "options deliver unequal clean air"]
    assert said.message == "A 798; B 123500 m3/h"
    wide = own(record(option(count=3, clean_air_rate="266 m3/h ± 120 m3/h"), clean_air="800 m3/h"), samples=FEW)
    [alarm] = [f for f in wide.findings if f.severity == "alarm"]
    assert alarm.message.startswith("A: 800 m3/h where 800 m3/h are needed, 0.25 % too little")


def test_a_course_tells_no_edge_of_a_step_either():
    # 7 at the middle alone, else near 0
    def on_edge(*, x, time):
        return {"paid": np.where(np.abs(x) < 1e-12, 7.0, x) * np.ones_like(time)}

    times = np.array([0.0, 1.0])
    inputs = {"x": Estimate(0.0, (), {Cause("x"): [1.0]}), "time": Estimate(times, ("time",))}
    paid = linear(on_edge, inputs, ("time",), {"paid": ("time",)})["paid"]
    assert paid.value.tolist() == [7.0, 7.0]
    found, _ = courses(times, {"A": paid, "B": Estimate(times, ("time",))}, 0.95, 1)
    assert found["A"].value == pytest.approx([0.0, 0.0], abs=0.1)
    assert found["A"].high == pytest.approx([1.96, 1.96], abs=0.2)
    assert found["B"].value.tolist() == [0.0, 1.0]
