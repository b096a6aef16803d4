"""What a person is told of options owned over years: every line within its width, numbers as they were reckoned."""

from __future__ import annotations

import re

from flowrig.report.own_text import alarms, own_text
from flowrig.studies.own import own
from tests.studies.options import EXACT, option, record

WIDE = {"name": "a cleaner of four panels and a fan, of which the name is longer than a line of eighty columns holds"}


def told(*options, samples=2000, **terms) -> str:
    text = own_text(own(record(*options, **terms), samples=samples))
    assert max(map(len, text.splitlines())) <= 80, text
    return text


def flat(text: str) -> str:
    return " ".join(text.split())


RANGES = {"energy_price": "from 0.1 to 0.3 USD/kWh", "hours": "from 1000 to 2000 h", "real_discount": "from 2 to 5 %"}
LOADED = {"filters": 4, "filter_price": "from 16 to 26 USD", "change_after": "from 500 to 800 h"}


def test_everything_of_a_comparison_is_told():
    box = option("box", price="70 USD", first_set="bought", end_of_life_share="70 %", unit_life="5 years", **LOADED)
    bought = option("bought", price="(600 ± 60) USD", filters=1, filter_price="80 USD", change_every="1 year",
                    mean_over_life="85 %", power="40 W")  # fmt: skip
    text = flat(told(box, bought, {"name": "as it is", "sort": "nothing"}, clean_air="600 m3/h", **RANGES))
    for said in (
        "2 options over 10 years, 95 % intervals",
        "In USD, money of today; real discount from 2 to 5 % a year; from 1000 to 2000 h of running a year.",
        "Needed: 600 m3/h of clean air, met by their mean over the life of the filters, in whole units.",
        "The cheapest first, by present value: they deliver the same clean air.",
        "box: 2 units, as many as are needed",
        "Clean-air rate stated, for 0.3 to 1 um.",
        "lifetime-mean clean air 680 m3/h",
        "present value, in part units",
        "Each unit takes 9 sets of filters after the first, every number at its middle.",
        "as it is: costs nothing and cleans no air; it is no part of what follows.",
        "box less bought",
        "Probability that box is the cheaper:",
        "box is the cheaper at first; costs meet after",
        "What each range does to the present value of box less bought",
        "change after of box",
        "payments count all of a year at its end; a change of filters due on the last day is not made",
        "not offers and no forecast",
        "nothing is said about health",
        "Note, mean over the life taken halfway: box: 85 % of new",
        "Warning, clean-air rate stated, not measured",
    ):
        assert said in text, said
    best = re.findall(r"(\d)  ?(\w+): 2 units", " ".join(text.split("Held")[0].split()))
    assert [place for place, _ in best] == ["1", "2"]


def test_what_differs_in_service_is_led_by_the_cost_of_clean_air():
    text = flat(
        told(option("A", price="90 USD"), option("B", clean_air_rate=f"800 m3/h {EXACT}", price="100 USD"), **RANGES)
    )
    assert "The cheapest first, by cost of clean air: they deliver unequal clean air." in text
    assert "1 B: 1 unit" in text
    assert text.index("cost of clean air 0") < text.index("present value")
    assert "Probability that A is the cheaper: 0 % (none of 2000 draws)." in text
    assert "Probability that A is the cheaper: 100 % (all of 2000 draws)." in text


def test_what_falls_short_says_so_where_it_stands():
    text = told(option("A", count=1, price="90 USD"), option("B", price="100 USD"), clean_air="800 m3/h")
    assert "2  A: 1 unit, LESS THAN IS NEEDED" in text
    assert "What gives less than is needed comes last." in flat(text)
    found = own(record(option("A", count=1), option("B"), clean_air="800 m3/h"), samples=1000)
    assert alarms(found) == [
        "ALARM, clean air that is needed not met: A: 400 m3/h where 800 m3/h are needed, 50 % too little; mean over "
        "the life of filters"
    ]


def test_numbers_without_ranges_have_no_brackets():
    text = told(option("A", price="100 USD"), option("B", price="190 USD", power="30 W"), energy_price="0.16 USD/kWh")
    options = text.split("Held")[0]
    assert "[" not in options
    assert "present value" in options
    assert "Warning, no ranges stated" in text
    assert "Probability that A is the cheaper: 0 % (none of 2000 draws)" in flat(text) or "100 % (all of" in flat(text)


def test_long_names_and_many_options_keep_the_width():
    many = [option(f"{WIDE['name']} {k}", price=f"from {k + 1} to {k + 5} USD", **LOADED) for k in range(6)]
    text = told(*many, samples=1000, **RANGES)
    assert "and 5 more pairs; --json FILE writes them all" in text
    assert text.count(" less ") >= 10


def test_one_option_alone_is_held_against_nothing():
    text = told(option("A", price="100 USD"), years=1)
    assert "1 option over 1 year, 95 % intervals" in text
    assert "Held against" not in text
    assert "The cheapest" not in text


def test_money_as_it_is_paid_and_payments_on_the_day():
    text = flat(told(option("A", price="100 USD"), option("B"), money="nominal", real_discount=None,
                     nominal_discount="5 %", inflation="2 %", payments="on the day", last_change="made"))  # fmt: skip
    assert "money as it is paid; nominal discount 5 % a year" in text
    assert "payments count each purchase on its day, energy and upkeep month by month" in text
    assert "due on the last day is made" in text
    assert "Note, prices rise with inflation" in text


def test_costs_that_do_not_meet():
    never = told(option("A", price="from 90 to 99 USD"), option("B", price="100 USD"))
    assert "A is the cheaper at first, and B does not catch up within 10 years in any of the draws." in flat(never)
    # B takes 300 kWh less in ten years: it makes up for 40 USD from 0.1333 USD/kWh on, in 35 % of the range
    tariff = {"energy_price": "from 0.01 to 0.2 USD/kWh"}
    some = flat(told(option("A", price="100 USD"), option("B", price="140 USD", power="30 W"), **tariff))
    [share] = re.findall(
        r"and B does not catch up within 10 years in (\d+) % of the draws; in the others costs meet after", some
    )
    assert abs(int(share) - 65) <= 3
    same = told(option("A", price="100 USD"), option("B", price="100 USD"))
    assert "Both cost the same all along." in same
    assert "present value      the same in every draw" in same
    assert "Probability" not in same
