"""Which option is cheaper, and from when on: against draws and a ledger written anew here, year by year."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flowrig.studies.own import own
from flowrig.studies.pairs import lowest, odds
from tests.studies.options import EXACT, option, record

MANY = 200_000
YEARS = 8
TERMS = {
    "years": YEARS, "real_discount": "from 1 to 6 %", "hours": "from 1000 to 2500 h",
    "energy_price": "from 0.1 to 0.3 USD/kWh", "real_energy_escalation": "from -1 to 3 %",
}  # fmt: skip
BOX = {
    "clean_air_rate": f"400 m3/h {EXACT}", "power": "90 W", "price": "from 60 to 90 USD", "filters": 4,
    "filter_price": "from 16 to 26 USD", "change_after": "from 900 to 1500 h", "mean_over_life": "from 60 to 90 %",
}  # fmt: skip
BOUGHT = {
    "clean_air_rate": f"410 m3/h {EXACT}", "power": "50 W", "price": "(450 ± 60) USD", "filters": 1,
    "filter_price": "from 60 to 100 USD", "change_every": "1 year", "mean_over_life": "from 75 to 95 %",
    "unit_life": "from 5 to 7.5 years", "replacement_price": "400 USD",
}  # fmt: skip


class Ledger:
    """The two options above on draws of their own: a column a year, no factor of a series."""

    def __init__(self) -> None:
        self.rng = np.random.default_rng(20260820)
        self.terms = {"d": self.between(0.01, 0.06), "h": self.between(1000, 2500), "c": self.between(0.1, 0.3),
                      "e": self.between(-0.01, 0.03)}  # fmt: skip

    def between(self, low: float, high: float) -> np.ndarray:
        return self.rng.uniform(low, high, MANY)

    def paid(
        self, of: dict[str, np.ndarray], watts: float, price: np.ndarray, interval: np.ndarray, filters: np.ndarray,
        life: np.ndarray | None,
    ) -> np.ndarray:  # fmt: skip
        """Present value of what is paid at the end of each year, today's in column 0."""
        out = np.zeros((YEARS + 2, MANY))
        out[0] = price
        discount = [(1 + of["d"]) ** -year for year in range(YEARS + 1)]
        for year in range(1, YEARS + 1):
            out[year] += watts / 1000 * of["h"] * of["c"] * (1 + of["e"]) ** year * discount[year]
            due = np.floor(np.minimum(year, np.nextafter(YEARS, 0)) / interval) - np.floor((year - 1) / interval)
            out[year] += due * filters * discount[year]
            if life is not None:
                out[year] += 400.0 * (np.ceil(life) == year) * discount[year]
        if life is not None:
            out[YEARS + 1] -= 400.0 * (1 - (YEARS - life) / life) * discount[YEARS]
        return out

    def box(self) -> tuple[np.ndarray, np.ndarray]:
        of = self.terms
        paid = self.paid(
            of, 90.0, self.between(60, 90), self.between(900, 1500) / of["h"], 4 * self.between(16, 26), None
        )
        return paid, self.air(of, 400.0, self.between(0.6, 0.9))

    def bought(self) -> tuple[np.ndarray, np.ndarray]:
        of = self.terms
        life = self.between(5.0, 7.5)
        paid = self.paid(of, 50.0, self.between(390, 510), np.ones(MANY), self.between(60, 100), life)
        return paid, self.air(of, 410.0, self.between(0.75, 0.95))

    def air(self, of: dict[str, np.ndarray], rate: float, share: np.ndarray) -> np.ndarray:
        return sum(rate * share * of["h"] * (1 + of["d"]) ** -year for year in range(1, YEARS + 1))


@pytest.fixture(scope="module")
def found():
    return own(record(option("box", **BOX), option("bought", **BOUGHT), **TERMS))


@pytest.fixture(scope="module")
def drawn():
    ledger = Ledger()
    return ledger.box(), ledger.bought()


# Source: plain Monte Carlo in numpy, 200 000 draws, every payment of every year on its own.
@pytest.mark.library
def test_intervals_and_probabilities_by_another_ledger(found, drawn):
    (box, box_air), (bought, bought_air) = drawn
    costs = {"box": box.sum(axis=0), "bought": bought.sum(axis=0)}
    air = {"box": box_air, "bought": bought_air}
    for name in costs:
        for of, scale, draws in (("present_value", 1.0, costs[name]), ("levelised", 1000.0, costs[name] / air[name])):
            low, high = np.quantile(draws, [0.025, 0.975])
            q = found[name][of]
            near = 0.02 * (high - low) * scale  # 4 standard errors of such ends, of either side
            assert float(q.low) == pytest.approx(scale * low, abs=near), (name, of)
            assert float(q.high) == pytest.approx(scale * high, abs=near), (name, of)
    [pair] = found.pairs
    gap = costs["box"] - costs["bought"]
    assert float(pair.difference.low) == pytest.approx(np.quantile(gap, 0.025), abs=0.012 * np.ptp(gap))
    assert float(pair.difference.high) == pytest.approx(np.quantile(gap, 0.975), abs=0.012 * np.ptp(gap))
    for chance, below in (
        (pair.cheaper, gap < 0),
        (pair.cheaper_by_air, costs["box"] / air["box"] < costs["bought"] / air["bought"]),
    ):
        wanted = float(np.mean(below))
        assert 0.02 < wanted < 0.98
        assert chance.share == pytest.approx(wanted, abs=4 * math.hypot(chance.error, math.sqrt(wanted / MANY)))
    assert found["box"].cheapest == pytest.approx(pair.cheaper_by_air.share)
    assert found["box"].cheapest + found["bought"].cheapest == pytest.approx(1.0)


# Source: closed form. Prices of 95 to 105 and 99 to 109: the first is the lower but in a corner, 6 by 6 of 10 by 10.
@pytest.mark.recomputed
def test_what_is_shared_cancels():
    terms = {
        "energy_price": "from 0.05 to 0.5 USD/kWh",
        "hours": "from 500 to 4000 h",
        "real_discount": "from 1 to 8 %",
    }
    found = own(record(option("A", price="100 USD ± 5 USD"), option("B", price="104 USD ± 5 USD"), **terms))
    [pair] = found.pairs
    assert pair.cheaper.share == pytest.approx(1 - 6**2 / (2 * 10**2), abs=4 * pair.cheaper.error)
    assert pair.cheaper.error == pytest.approx(0.0015, rel=0.01)
    # the tariff moves each of them by hundreds, and the difference by nothing
    assert float(found["A"]["present_value"].high) - float(found["A"]["present_value"].low) > 500.0
    assert {bar.input.name for bar in pair.bars} == {"price of A", "price of B"}


# Source: the same ledger; end-of-year payments, so that costs can meet at the end of a year alone.
@pytest.mark.library
def test_when_costs_meet_by_another_ledger(found, drawn):
    (box, _), (bought, _) = drawn
    gap = np.cumsum(box, axis=0) - np.cumsum(bought, axis=0)  # the box is the cheaper one at first in every draw
    assert np.all(gap[0] < 0)
    met = np.argmax(gap >= 0, axis=0).astype(float)
    met[~np.any(gap >= 0, axis=0)] = np.nan
    met[met == YEARS + 1] = YEARS
    meeting = found.pairs[0].meeting
    assert meeting.cheaper_at_first == "box"
    never = float(np.mean(np.isnan(met)))
    assert 0.02 < never < 0.98
    assert meeting.never == pytest.approx(never, abs=4 * math.sqrt(never * (1 - never) / 4000))
    assert [meeting.low, meeting.high] == pytest.approx(np.nanquantile(met, [0.025, 0.975]))


def test_the_course_ends_at_the_present_value(found):
    for one in found:
        assert one.course.times[0] == 0.0
        assert one.course.times[-1] == YEARS
        assert one.course.value[-1] == pytest.approx(float(one["present_value"].value), rel=1e-12)
        width = float(one["present_value"].high) - float(one["present_value"].low)
        assert one.course.low[-1] == pytest.approx(float(one["present_value"].low), abs=0.06 * width)
        assert np.all(one.course.low <= one.course.high)


def test_bars_are_the_difference_with_one_number_moved(found):
    # each end of a bar by a record in which that number stands at it
    [pair] = found.pairs
    assert [bar.swing for bar in pair.bars] == sorted((bar.swing for bar in pair.bars), reverse=True)
    assert {bar.middle for bar in pair.bars} == {float(pair.difference.estimate.value)}
    ends = {
        "energy price": ("own", "energy_price", "{} USD/kWh", 3.6e6),
        "change after of box": (0, "change_after", "{} h", 1 / 3600),
        "unit life of bought": (1, "unit_life", "{} years", 1 / (365 * 86400)),
    }
    told = {bar.input.name: bar for bar in pair.bars}
    for name, (where, field, form, scale) in ends.items():
        for at, wanted in ((told[name].low, told[name].at_low), (told[name].high, told[name].at_high)):
            moved = record(option("box", **BOX), option("bought", **BOUGHT), **TERMS)
            place = moved["own"] if where == "own" else moved["options"][where]
            text = form.format(f"{at * scale:.15g}")
            place[field] = text
            again = own(moved, samples=2)
            assert float(again.pairs[0].difference.estimate.value) == pytest.approx(wanted, rel=1e-7, abs=1e-6), (
                name,
                at,
            )
    assert told["price of bought"].low == pytest.approx(390.0)
    assert told["change after of box"].high == pytest.approx(1500 * 3600)
    assert "mean over life of box" not in told  # it moves no cost, but the cost of clean air
    assert "mean over life of box" in {bar.input.name for bar in pair.bars_by_air}


def test_a_limit_of_several_causes_goes_to_its_interval():
    # normal: 2.0 standard uncertainties of 10 USD at 95.45 %
    one = option("A", price="100 USD (U = 20 USD, k=2)")
    found = own(record(one, option("B", price="100 USD")), coverage=0.9545, samples=1000)
    [bar] = found.pairs[0].bars
    assert (bar.low, bar.high) == pytest.approx((80.0, 120.0), rel=1e-5)
    assert (bar.at_low, bar.at_high) == pytest.approx((-20.0, 20.0), rel=1e-5)


def test_two_options_that_are_the_same_are_even():
    same = {"price": "100 USD"}
    [pair] = own(record(option("A", **same), option("B", **same)), samples=1000).pairs
    assert pair.cheaper.share == 0.5
    assert pair.meeting.cheaper_at_first == ""
    assert math.isnan(pair.meeting.years)


def test_draws_without_a_value_count_for_neither():
    one, other = np.array([1.0, 2.0, np.nan, 4.0]), np.array([2.0, 1.0, 0.0, 5.0])
    found = odds(one, other)
    assert (found.share, found.draws) == (pytest.approx(2 / 3), 3)
    assert found.error == pytest.approx(math.sqrt(2 / 9 / 3))
    assert odds(np.array([np.nan]), np.array([1.0])).draws == 0


def test_the_lowest_of_several():
    assert lowest([np.array([1.0, 5.0, 2.0, np.nan]), np.array([2.0, 3.0, 2.0, 1.0])]) == pytest.approx([0.5, 0.5])
    assert lowest([np.array([1.0, 1.0]), np.array([2.0, 2.0]), np.array([3.0, 0.0])]) == pytest.approx([0.5, 0.0, 0.5])
    assert lowest([]) == []
