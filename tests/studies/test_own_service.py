"""The service of options: units that a need takes, clean air over the life of filters, predictions, ducts."""

from __future__ import annotations

import numpy as np
import pytest

from flowrig.errors import InputError
from flowrig.studies import cleaner_source
from flowrig.studies.lifetime import lifetime
from flowrig.studies.own import own
from flowrig.studies.predict import predict
from flowrig.studies.reduce import load
from tests.studies.cleaners import codes
from tests.studies.cleaners_in_use import LIFE, cleaner
from tests.studies.options import EXACT, option, record

FEW = 1000
HOUR = 3600.0


def rate(found, name):
    return float(found[name]["delivered"].value)


@pytest.mark.parametrize(
    ("need", "share", "count"), [(400, 1, 1), (401, 1, 2), (1200, 1, 3), (900, 0.75, 3), (901, 0.75, 4), (10, 1, 1)]
)
def test_as_many_whole_units_as_the_need_takes(need, share, count):
    one = option(price="50 USD", filters=1, filter_price="0 USD", change_every="1 year", mean_over_life=share)
    found = own(record(one, clean_air=f"{need} m3/h"), samples=FEW)
    assert found["A"].units == count
    assert found["A"].option.counted
    assert rate(found, "A") == pytest.approx(count * 400 * share)
    assert float(found["A"]["present_value"].value) == 50.0 * count
    # the same need in part units: the cost of clean air times the need
    assert float(found["A"]["for_need"].value) == pytest.approx(50.0 * need / (400 * share))
    air = need / 3600 * 1000 * HOUR * 10
    levelised = float(found["A"]["levelised"].estimate.value)
    assert float(found["A"]["for_need"].value) == pytest.approx(levelised * air)


def test_the_lower_end_of_the_clean_air_may_have_to_meet_the_need():
    one = option(clean_air_rate="400 m3/h ± 60 m3/h", price="50 USD")
    mean, lower = (own(record(one, clean_air="800 m3/h", meets=of), samples=FEW) for of in ("mean", "lower end"))
    assert (mean["A"].units, lower["A"].units) == (2, 3)
    # of a rectangular limit 95 % reach to 0.95 of its half: 343 m3/h
    assert own(record(one, clean_air="1028 m3/h", meets="lower end"), samples=FEW)["A"].units == 3
    assert own(record(one, clean_air="1032 m3/h", meets="lower end"), samples=FEW)["A"].units == 4


def test_what_falls_short_comes_last_with_an_alarm():
    cheap = option("cheap", count=1, price="10 USD")
    dear = option("dear", price="100 USD")
    found = own(record(cheap, dear, clean_air="800 m3/h"), samples=FEW)
    assert [x.name for x in found.ranked] == ["dear", "cheap"]
    assert found["cheap"].short
    assert np.isnan(found["cheap"].cheapest)
    assert found["dear"].cheapest == 1.0
    [alarm] = [f for f in found.findings if f.severity == "alarm"]
    assert alarm.code == "clean air that is needed not met"
    assert alarm.message == "cheap: 400 m3/h where 800 m3/h are needed, 50 % too little; mean over the life of filters"
    enough = own(record(option("cheap", count=2, price="10 USD"), dear, clean_air="800 m3/h"), samples=FEW)
    assert not [f for f in enough.findings if f.severity == "alarm"]


def test_which_figure_is_like_for_like():
    one = option("A", price="100 USD")
    for other, leads in (("400 m3/h", "present_value"), ("403 m3/h", "present_value"), ("405 m3/h", "levelised")):
        found = own(record(one, option("B", clean_air_rate=f"{other} {EXACT}", price="100 USD")), samples=FEW)
        assert found.leads == leads, other
        assert ("options deliver unequal clean air" in codes(found.findings)) == (leads == "levelised")
    # the dearer of two may have the cheaper air
    found = own(record(one, option("B", clean_air_rate=f"800 m3/h {EXACT}", price="150 USD")), samples=FEW)
    [pair] = found.pairs
    assert [x.name for x in found.ranked] == ["B", "A"]
    assert (pair.cheaper.share, pair.cheaper_by_air.share) == (1.0, 0.0)


def test_clean_air_of_other_particles_is_told():
    same = own(record(option("A"), option("B", particles="300 to 1000 nm")), samples=FEW)
    assert "clean air of other particles" not in codes(same.findings)
    other = own(record(option("A"), option("B", particles="1 to 3 um")), samples=FEW)
    [said] = [f for f in other.findings if f.code == "clean air of other particles"]
    assert said.message == "A: 0.3 to 1 um; B: 1 to 3 um"


CHANGED = {"filters": 1, "filter_price": "10 USD", "change_every": "1 year"}


def test_the_mean_over_the_life_of_filters():
    stated = own(record(option(**CHANGED, mean_over_life="from 70 to 90 %")), samples=10 * FEW)
    assert rate(stated, "A") == pytest.approx(320.0)
    assert float(stated["A"]["delivered"].low) == pytest.approx(282.0, abs=0.5)  # 95 % of a rectangle
    untold = own(record(option(**CHANGED)), samples=FEW)
    assert rate(untold, "A") == pytest.approx(400.0)
    assert "clean air of new filters taken" in codes(untold.findings)
    none = own(record(option()), samples=FEW)  # without filters nothing loads
    assert "clean air of new filters taken" not in codes(none.findings)
    # 60 % left: 80 % in the mean, from 70 % (falls early) to 90 % (late)
    end = own(record(option(**CHANGED, end_of_life_share="60 %")), samples=10 * FEW)
    assert "mean over the life taken halfway" in codes(end.findings)
    for side in ("low", "high"):
        wanted = float(getattr(stated["A"]["delivered"], side))
        assert float(getattr(end["A"]["delivered"], side)) == pytest.approx(wanted, abs=1.0)
    [bar] = (
        own(record(option("A", **CHANGED, end_of_life_share="60 %"), option("B", price="1 USD")), samples=FEW)
        .pairs[0]
        .bars_by_air[:1]
    )
    assert bar.input.name.startswith("course of the clean air of A")


# Source: P = Q Δp/η and f Q η (1 - L)(1 - r), worked by hand; the efficiency of fan, drive and motor in one.
@pytest.mark.recomputed
def test_a_filter_in_the_ducts():
    duct = {
        "name": "duct", "sort": "duct filter", "particles": "0.3 to 1 um", "price": "200 USD", "duct_flow": "1800 m3/h",
        "filter_efficiency": "50 %", "runtime": "80 %", "supply_leakage": "10 %", "return_leakage": "5 %",
        "added_drop": "50 Pa", "fan_efficiency": "25 %", "filters": 2, "filter_price": "30 USD",
        "change_every": "1 year", "mean_over_life": "90 %",
    }  # fmt: skip
    terms = {"energy_price": "0.2 USD/kWh", "demand_price": "10 USD/kW", "years": 1, "clean_air": "500 m3/h"}
    found = own(record(duct, option("unit"), **terms), samples=FEW)
    assert rate(found, "duct") == pytest.approx(0.8 * 1800 * 0.5 * 0.9 * 0.95 * 0.9)
    added = 0.5 * 50 / 0.25  # W while the fan runs: 100
    assert float(found["duct"].items["energy"].value) == pytest.approx(0.8 * added / 1000 * 1000 * 0.2)
    assert float(found["duct"].items["demand"].value) == pytest.approx(added / 1000 * 10 * 12)
    assert found["duct"].units == 1
    assert found["duct"].option.how == "in a duct"
    # one air handler is one, whatever the need: it is told
    short = own(record(duct, option("unit"), **terms | {"clean_air": "800 m3/h"}), samples=FEW)
    assert (short["duct"].units, short["duct"].short, short["unit"].units) == (1, True, 2)
    stated = {k: v for k, v in duct.items() if k not in ("added_drop", "fan_efficiency")} | {"power": "100 W"}
    again = own(record(stated, option("unit"), **terms), samples=FEW)
    for name in ("energy", "demand"):
        assert float(again["duct"].items[name].value) == pytest.approx(float(found["duct"].items[name].value))


# ---------------------------------------------------------------- a prediction with a table [life]

EVENLY = {"life_to_final": "1000 h"}
CHARGE = {"time [h]": [0, 10, 100, 2000], "efficiency [%]": [86, 60, 50, 43]}
_FILTER = {"filter": EVENLY | {"charge": CHARGE}}


def predicted(**life):
    return cleaner(life={**LIFE, **life}, predict={"required_clean_air": "300 m3/h"}, **_FILTER)


def of_prediction(**fields):
    stated = {"name": "box", "prediction": predicted(), "price": "80 USD", "filter_price": "24 USD"}
    return {**stated, **fields}


_known = {}


@pytest.fixture(autouse=True)
def _predicted_once(monkeypatch):
    """The same prediction is not reckoned twice."""

    def once(record, **options):
        key = (record.identity, repr(options))
        if key not in _known:
            _known[key] = predict(record, **options)
        return _known[key]

    monkeypatch.setattr(cleaner_source, "predict", once)


@pytest.fixture
def life(_predicted_once):
    found = cleaner_source.predict(load(predicted()), coverage=0.95, samples=None, seed=1)
    return found, found.life


def test_an_option_from_its_prediction(life):
    point, lived = life
    found = own(record(of_prediction(), hours="1500 h", years=4, energy_price="0.2 USD/kWh"), samples=FEW)
    one = found["box"]
    assert one.option.how == "predicted"
    # changed when the prediction says, by running time; two filters in a set, as it has
    change = lived.ruled.time
    assert 100 * HOUR < change < 1500 * HOUR
    assert float(one.option.given["interval"].value) == pytest.approx(change / (1500 * HOUR))
    assert float(one.option.given["filters"].value) == 2.0
    # mean of straight pieces by the trapezoid rule of numpy, up to the change
    at = np.linspace(0.0, change, 20_001)
    for name, scale, ours in (
        ("clean_air_in_use", 1.0, float(one["delivered"].estimate.value)),
        ("power", 1.0, float(one.option.given["power"].value)),
    ):
        course = np.interp(at, lived.times, np.asarray(lived[name].estimate.value))
        assert ours == pytest.approx(scale * np.trapezoid(course, at) / change, rel=1e-6), name
    assert float(one["delivered"].value) < 0.9 * float(point["clean_air"].value)
    # what the errors of the prediction leave: the mean is as unsure as the course, not as a sum of independent ones
    k = int(np.argmin(np.abs(lived.times - change / 2)))
    relative = float(lived["clean_air_in_use"].estimate.u[k]) / float(lived["clean_air_in_use"].estimate.value[k])
    mean = one["delivered"].estimate
    assert float(mean.u) / float(mean.value) == pytest.approx(relative, rel=0.2)
    named = [bar.name for bar in one.option.inputs if bar.name.startswith("clean air")]
    assert named == ["clean air of box, mean over the life of filters"]  # that of new filters cancels
    assert not {"charge counted as kept", "prediction ends before the change"} & codes(found.findings)


def test_a_change_that_is_stated_goes_before_the_prediction(life):
    _, lived = life
    found = own(record(of_prediction(change_every="3 months"), hours="1600 h"), samples=FEW)["box"]
    assert float(found.option.given["interval"].value) == pytest.approx(0.25)
    wanted = lifetime(lived, 400 * HOUR)
    assert float(found["delivered"].estimate.value) == pytest.approx(float(wanted.clean_air.value), rel=1e-9)
    for fields, hours in (({"changes_per_year": 4}, 400), ({"change_after": "500 h"}, 500)):
        found = own(record(of_prediction(**fields), hours="1600 h"), samples=FEW)["box"]
        wanted = lifetime(lived, hours * HOUR)
        assert float(found["delivered"].estimate.value) == pytest.approx(float(wanted.clean_air.value), rel=1e-9)
        assert float(found.option.given["interval"].value) == pytest.approx(hours / 1600)
    # a stated mean goes before that of the prediction
    found = own(record(of_prediction(change_every="3 months", mean_over_life="50 %"), hours="1600 h"), samples=FEW)[
        "box"
    ]
    assert float(found["delivered"].value) == pytest.approx(0.5 * float(life[0]["clean_air"].value), rel=1e-6)


def test_a_prediction_that_ends_too_early_and_knows_no_charge():
    early = cleaner(life=LIFE | {"run": "300 h"}, filter=EVENLY)
    found = own(record(of_prediction(prediction=early, change_after="600 h")), samples=FEW)
    [said] = [f for f in found.findings if f.code == "prediction ends before the change"]
    assert said.message == "box: told up to 300 of 600 h"
    [said] = [f for f in found.findings if f.code == "charge counted as kept"]
    assert said.message == "box: clean-air rate, charge kept"
    # and none of its limits is reached by then: when filters are changed has to be stated
    with pytest.raises(
        InputError, match=r"options\[1\].prediction: .* which tells no time of a change; .*change_after"
    ):
        own(record(of_prediction(prediction=early)))


def test_a_unit_whose_watts_nobody_knows():
    blind = cleaner(fan={"power": None, "power_is": None})
    with pytest.raises(InputError, match=r"no power; expected the electrical power of one unit"):
        own(record(of_prediction(prediction=blind, change_after="600 h")))
    found = own(record(of_prediction(prediction=blind, change_after="600 h", power="70 W")), samples=FEW)
    assert float(found["box"].option.given["power"].value) == 70.0
    assert "clean air of new filters taken" in codes(found.findings)  # it has no table [life]
