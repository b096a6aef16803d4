"""A plan and the result of what was planned agree; what is said of changes is what a reduction then says of them."""

from __future__ import annotations

import math
from copy import deepcopy
from itertools import pairwise
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.studies.invent import deviates, held
from flowrig.studies.outlook import half_of, half_width
from flowrig.uncertainty.series import mean_of
from tests.studies.plans import alone, planned, record_of, taken
from tests.test_examples import copy

KINDS = ("nozzle", "orifice plate", "box", "hood", "hood turned", "pitot traverse", "round pitot traverse",
         "vane traverse")  # fmt: skip


def half(record, **options):
    return half_width(flowrig.reduce(record, **options).flows[0])


def line(outlook, words):
    [found] = [line for line in outlook.lines if words in line.change.words]
    return found


def budget(result):
    return {line.cause.name: float(line.u / result.main.estimate.value) for line in result.main.estimate.budget()}


# ---------------------------------------------------------------- plan and result


@pytest.mark.parametrize(
    ("kind", "readings"), [*((kind, n) for kind in KINDS for n in (1, 3, 20)), ("nozzle", 2), ("pitot traverse", 2)]
)
def test_the_plan_is_what_the_result_then_says(kind, readings):
    """Readings drawn so that they scatter by just what was expected; the half-widths within 3 % of each other."""
    record = record_of(kind, readings=readings, scatter="1.2 %")
    outlook = flowrig.plan(record).outlooks[0] if readings == 1 else alone(record)  # changes: of one reading, here
    result = flowrig.reduce(taken(record, outlook))
    assert half_width(result.flows[0]) == pytest.approx(outlook.half, rel=0.03)
    assert float(result.flow.value) == pytest.approx(float(outlook.expected.main.value), rel=2e-3)
    said, then = (
        {f.code for f in found if f.severity != "note"}
        for found in (outlook.expected.findings, result.flows[0].findings)
    )
    assert said == then - {"single reading"}


@pytest.mark.parametrize("kind", ["nozzle", "pitot traverse", "hood turned"])
def test_plan_and_results_of_plain_draws_agree_in_the_middle(kind):
    record = record_of(kind, readings=6, scatter="2 %")
    outlook = alone(record)
    results = [half(taken(record, outlook, seed, exact=False)) for seed in range(60)]
    assert np.sqrt(np.mean(np.square(results))) == pytest.approx(outlook.half, rel=0.05)  # it is s² that is unbiased


def test_a_log_is_worth_its_independent_stretches():
    """Neighbouring readings alike over 20 s, at one a second: a first-order process whose stretch, (1 + a)/(1 - a)
    rows, is worked here."""
    record = planned(log="40 min", stretch="20 s", scatter="2 %")
    outlook = alone(record)
    assert outlook.setup.readings == 120
    a = 19 / 21
    results = []
    for seed in range(25):
        noise = np.random.default_rng(seed).standard_normal(2500) * math.sqrt(1 - a**2)
        z = np.zeros(2500)
        for i in range(1, 2500):
            z[i] = a * z[i - 1] + noise[i]
        drops = outlook.setup.flow.section["drop"].value[0] * (1 + 0.02 * z[100:]) ** outlook.setup.power
        done = deepcopy(record)
        done["flow"][0]["drop"] = [f"{x:.7g} Pa" for x in drops]
        results.append(half(done))
    assert np.median(results) == pytest.approx(outlook.half, rel=0.05)


@pytest.mark.recomputed
def test_the_budget_of_a_nozzle_by_hand():
    """Every cause as a share of the flow: the coefficient 1.2 % over 1.96; the scatter over the root of the readings;
    half the drop's for the manometer; twice the diameter's; a half of the density's."""
    outlook = alone(planned("600 m3/h", readings=4, scatter="1 %"))
    drop = float(outlook.setup.flow.section["drop"].value[0, ...])
    found = budget(outlook.expected)
    rough = 2e-2  # the exponents are 1.97 and the like: the coefficient follows the Reynolds number
    assert found["nozzle coefficient (standard's equation)"] == pytest.approx(0.012 / 1.96, rel=1e-6)
    assert found["scatter of the readings"] == pytest.approx(0.01 / 2, rel=1e-3)
    limit = (0.005 * drop + 0.25) / math.sqrt(3) / drop
    assert found["manometer (M1) accuracy"] == pytest.approx(limit / 2, rel=rough)
    assert found["diameter of A"] == pytest.approx(2 * 0.15 / 150 / math.sqrt(3), rel=rough)
    assert found["thermometer (T1) accuracy"] == pytest.approx(0.5 * 0.3 / math.sqrt(3) / 293.15, rel=0.1)
    # the drop itself: C π/4 d² √(2 Δp/ρ), C 0.979 at this Reynolds number (AMCA 210, from memory)
    flow = 0.979 * math.pi / 4 * 0.15**2 * math.sqrt(2 * (drop - 0.15) / 1.199)
    assert flow * 3600 == pytest.approx(600, rel=5e-3)


# ---------------------------------------------------------------- changes


@pytest.mark.parametrize("kind", ["nozzle", "box", "pitot traverse", "hood"])
def test_a_better_instrument_gains_what_a_record_with_it_gains(kind):
    record = record_of(kind)
    [outlook] = flowrig.plan(record)
    name, better = {
        "hood": ("hood", {"accuracy": "1.5 % of reading + 5 m3/h"}),
    }.get(kind, ("manometer", {"accuracy": "0.25 % of reading + 0.125 Pa", "resolution": "0.05 Pa"}))
    bettered = deepcopy(record)
    bettered["instruments"][name] |= better
    then = alone(bettered)
    assert line(outlook, f"{name} (").half == pytest.approx(then.half, rel=2e-3)
    assert line(outlook, f"{name} (").gain == pytest.approx(outlook.half - line(outlook, f"{name} (").half, rel=1e-9)


def test_other_changes_gain_what_a_record_with_them_gains():
    record = record_of("pitot traverse", readings=3)
    [outlook] = flowrig.plan(record)

    def changed(**section):
        done = deepcopy(record)
        done["flow"][0] |= section
        return alone(done).half

    assert line(outlook, "plane: good").half == pytest.approx(changed(plane="good"), rel=4e-3)
    assert line(outlook, "across 6, down 6").half == pytest.approx(changed(across=6, down=6), rel=4e-3)
    assert line(outlook, "10 passes").half == pytest.approx(
        alone(record_of("pitot traverse", readings=10)).half, rel=4e-3
    )
    narrow = deepcopy(record)
    narrow["ducts"]["main"]["width"] = "400 mm ± 1 mm"
    assert line(outlook, "width of main").half == pytest.approx(alone(narrow).half, rel=4e-3)
    coefficient = line(outlook, "coefficient with half")
    assert coefficient.half == pytest.approx(changed(coefficient="1.00 ± 0.005"), rel=4e-3)


def test_a_limit_that_is_stated_can_be_halved_by_a_comparison():
    record = record_of("hood")
    record["flow"][0]["uneven_limit"] = "6 %"
    [outlook] = flowrig.plan(record)
    compared = deepcopy(record)
    compared["flow"][0]["uneven_limit"] = "3 %"
    found = line(outlook, "uneven_limit halved")
    assert found.half == pytest.approx(alone(compared).half, rel=4e-3)
    assert found.verdict == "pays"


def test_readings_of_the_air_that_pay_and_that_do_not():
    record = planned()
    record["air"]["meter"] = record["air"]["meter"] | {"altitude": "20 m"}
    [outlook] = flowrig.plan(record)
    without = deepcopy(record)
    del without["air"]["meter"]["pressure"]
    assert line(outlook, "air.meter.pressure not read").half == pytest.approx(
        flowrig.plan(without).outlooks[0].half, rel=2e-3
    )
    assert line(outlook, "air.meter.pressure not read").verdict == "needed"
    assert line(outlook, "thermometer (T1) with half").verdict == "does not pay"
    # and the other way round: a barometer that is not there yet
    [poor] = flowrig.plan(without)
    bought = line(poor, "air.meter.pressure read")
    assert bought.verdict == "pays"
    assert bought.half == pytest.approx(outlook.half, rel=0.02)
    assert "no longer pressure from altitude" in bought.reason


def test_an_unread_zero_takes_a_warning_away_but_no_width():
    record = planned("150 m3/h")
    record["instruments"]["manometer"] = {
        k: v for k, v in record["instruments"]["manometer"].items() if "zero" not in k
    }
    [outlook] = flowrig.plan(record)
    zero = line(outlook, "zero of manometer")
    assert zero.gain == pytest.approx(0, abs=1e-6)
    assert zero.verdict == "takes a warning away"
    assert "no longer small drop, zero not read" in zero.reason


def test_more_readings_never_widen_the_bar():
    for kind in ("nozzle", "hood", "pitot traverse"):
        [outlook] = flowrig.plan(record_of(kind, readings=2))
        tried = {int(found.change.words.split()[0]): found.half for found in outlook.of("readings")}
        halves = [half for _, half in sorted(tried.items())]
        assert len(halves) == 5
        assert all(b <= a * 1.004 for a, b in pairwise(halves)), kind  # ends of draws settle to 0.02 u


def test_the_floor_is_what_no_reading_can_better():
    [outlook] = flowrig.plan(planned(readings=5))
    floor = budget(outlook.floor)
    assert floor["nozzle coefficient (standard's equation)"] == pytest.approx(0.012 / 1.96, rel=1e-6)
    assert half_width(outlook.floor) == pytest.approx(0.012, rel=2e-3)
    assert half_width(outlook.floor) < min(found.half for found in outlook.lines if found.half == found.half)


# ---------------------------------------------------------------- hardware


def test_nozzles_side_by_side():
    record = planned("1300 m3/h")
    record["nozzles"]["C"] = {"diameter": "250 mm ± 0.2 mm", "made": "machined"}
    del record["flow"][0]["open"]
    [outlook] = flowrig.plan(record)
    tried = {found.change.words: found for found in outlook.of("hardware")}
    assert len(tried) == 6  # three nozzles: seven combinations, one of them planned
    assert outlook.setup.flow.section.value("open") == ["A"]  # 1300 m3/h through 150 mm: 20 m/s
    assert "throat velocity" in [f.code for f in tried["open: C"].findings]  # through 250 mm: 7 m/s
    assert "throat velocity" in [f.code for f in tried["open: B"].findings]  # through 100 mm: 46 m/s
    assert "throat velocity" not in [f.code for f in tried["open: A, B"].findings]  # 14.2 m/s
    named = deepcopy(record)
    named["flow"][0]["open"] = ["C"]
    again = {found.change.words: found for found in flowrig.plan(named).outlooks[0].of("hardware")}
    assert "throat velocity" in [f.code for f in again["open: B"].findings]  # though it stood before the change, too
    assert "throat velocity" not in [f.code for f in again["open: B"].new]
    assert alone(named).half == pytest.approx(tried["open: C"].half, rel=1e-4)


def test_a_duct_is_not_chosen():
    record = record_of("pitot traverse")
    record["ducts"]["other"] = {"diameter": "200 mm"}
    assert not flowrig.plan(record).outlooks[0].of("hardware")


# ---------------------------------------------------------------- the target


def test_the_route_reaches_the_target_and_holds_nothing_that_is_not_needed():
    record = planned(readings=3, scatter="2 %")
    [outlook] = flowrig.plan(record, target="2 %")
    assert outlook.half > 0.02 >= outlook.end
    assert outlook.route[-1].half == pytest.approx(outlook.end, rel=1e-9)
    assert [found.change.group for found in outlook.route] == ["readings"]
    least = outlook.least
    assert [alone(record | {"plan": record["plan"] | {"readings": n}}).half <= 0.02
            for n in (least - 1, least)] == [False, True]  # fmt: skip


def test_a_target_below_the_floor_is_said_to_be_out_of_reach():
    [outlook] = flowrig.plan(planned(), target="1 %")
    assert outlook.least is None
    assert outlook.end > 0.01
    assert outlook.last_floor > 0.01
    steps = [found.half for found in outlook.route]
    assert steps == sorted(steps, reverse=True)


def test_a_target_that_is_reached_as_planned_needs_no_route():
    [outlook] = flowrig.plan(planned(readings=20), target="5 %")
    assert outlook.route == []
    assert outlook.end == outlook.half
    assert 1 <= outlook.least < 20


# ---------------------------------------------------------------- what is left open


def test_readings_that_are_there_are_a_pattern_and_their_scatter_is_taken_over():
    record = planned("700 m3/h")
    del record["plan"]["flow"]
    record["plan"]["flow"] = "700 m3/h"
    record["flow"][0]["drop"] = ["99 Pa", "101 Pa", "100 Pa", "102 Pa", "98 Pa", "100 Pa"]
    outlook = alone(record)
    s = np.std([99, 101, 100, 102, 98, 100], ddof=1) / 100 / 2
    assert outlook.setup.readings == 6
    assert outlook.setup.scatter == pytest.approx(s, rel=0.03)
    assert float(outlook.expected.main.value) == pytest.approx(700, rel=1e-3)
    scaled = deepcopy(record)
    factor = float(outlook.setup.flow.section["drop"].value[0]) / 100
    scaled["flow"][0]["drop"] = [f"{factor * x} Pa" for x in (99, 101, 100, 102, 98, 100)]
    assert half(scaled) == pytest.approx(outlook.half, rel=0.02)


def test_a_static_pressure_that_is_stated_stays_where_the_drop_is_to_come():
    record = planned(section={"static": "250 Pa"})
    outlook = alone(record)
    assert float(outlook.setup.flow.section["static"].value[0]) == 250.0
    assert outlook.setup.names == ("drop",)


def test_the_flow_is_that_of_the_unit_where_its_air_is_described():
    record = planned("600 m3/h")
    record["air"] = {"meter": record["air"]["meter"], "unit": record["air"]["meter"] | {"temperature": "40 degC"}}
    outlook = alone(record)
    assert outlook.expected.main.name == "actual_flow_unit"
    assert float(outlook.expected.main.value) == pytest.approx(600, rel=1e-3)


def test_a_pitot_traverse_reads_what_the_instrument_shows():
    record = record_of("pitot traverse")
    record["instruments"] = {k: v for k, v in record["instruments"].items() if k != "manometer"}
    record["instruments"]["display"] = {"measures": "velocity", "accuracy": "2 % of reading", "density_corrected": True}
    outlook = alone(record)
    assert outlook.setup.names == ("velocity",)
    # with both kinds there, a pressure, unless the record says what is read with what
    record["instruments"]["manometer"] = {"measures": "pressure difference", "accuracy": "0.5 Pa"}
    assert alone(record).setup.names == ("drop",)
    record["flow"][0]["with"] = {"velocity": "display"}
    assert alone(record).setup.names == ("velocity",)


def test_plan_does_not_change_what_a_record_reduces_to():
    record = planned()
    record["flow"][0]["drop"] = ["250 Pa", "251 Pa", "249 Pa"]
    plain = {name: value for name, value in record.items() if name != "plan"}
    assert float(flowrig.reduce(record).flow.value) == float(flowrig.reduce(plain).flow.value)
    assert half(record) == pytest.approx(half(plain), rel=1e-12)


def test_a_flow_outside_the_calibration_is_refused_at_the_plan():
    record = record_of("box")
    record["plan"]["flow"] = "2000 m3/h"
    with pytest.raises(InputError) as refused:
        flowrig.plan(record)
    [fault] = refused.value.faults
    assert fault.where == "record, plan.flow"
    assert "for which Calibrated box would show a drop of" in fault.read
    assert "10 to 250 Pa" in fault.expected


def test_two_measurements_are_planned_each_and_together():
    record = planned()
    record["flow"].append({"method": "nozzle", "open": ["B"], "static": "0 Pa"})
    plan = flowrig.plan(record)
    assert [outlook.name for outlook in plan] == ["Nozzles in a chamber", "Nozzles in a chamber (2)"]
    done = deepcopy(record)
    for section, outlook in zip(done["flow"], plan.outlooks, strict=True):
        section |= taken(planned(), outlook)["flow"][0] | {"open": section["open"]}
    [group] = plan.together
    [then] = flowrig.reduce(done).together
    assert half_of(group.combined.main) == pytest.approx(half_of(then.combined.main), rel=0.02)
    assert half_of(group.combined.main) < min(outlook.half for outlook in plan)


EXAMPLES = (
    "01-nozzle-bank", "02-nozzle-log", "03-pitot-traverse", "04-vane-traverse", "07-home-made-nozzle",
    "09-orifice-plate", "10-orifice-box", "11-hood", "13-calibrated-box", "15-leaky-chamber", "16-bell-mouth",
)  # fmt: skip


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_planned_again_at_its_own_flow_is_as_sure_as_it_was(name):
    """From its own readings as a pattern, with their own scatter."""
    path = Path(copy().name) / "examples" / name / "record.toml"
    result = flowrig.reduce(path)
    flow = 3600 * float(result.flow.estimate.value)
    text = path.read_text(encoding="utf-8")
    again = path.with_name("planned-again.toml")
    again.write_text(text.replace("[[flow]]", f'[plan]\nflow = "{flow:.6g} m3/h"\n\n[[flow]]', 1), encoding="utf-8")
    with patch("flowrig.studies.plan.changes", lambda *_: iter(())):
        outlooks = flowrig.plan(again)
    for outlook, was in zip(outlooks, result, strict=True):
        assert outlook.half == pytest.approx(half_width(was), rel=0.03)


# ---------------------------------------------------------------- readings without chance


@pytest.mark.parametrize(("groups", "within"), [(2, 1), (5, 1), (60, 1), (3, 25), (2, 16), (60, 16), (4, 2)])
def test_invented_readings_scatter_by_just_what_they_should(groups, within):
    z = deviates(groups, within)
    assert z.shape == (groups, within)
    assert np.mean(z) == pytest.approx(0, abs=1e-12)
    assert np.std(z.mean(axis=1), ddof=1) == pytest.approx(1 / math.sqrt(within), rel=1e-9)
    found = mean_of(z.mean(axis=1))
    assert not found.few
    assert found.stretches == groups


@pytest.mark.parametrize("stretches", [40, 60, 120, 360])
def test_an_invented_log_is_worth_its_stretches(stretches):
    found = mean_of(held(stretches))
    assert found.stretches == pytest.approx(stretches, rel=0.03)
    assert found.u == pytest.approx(1 / math.sqrt(stretches), rel=0.03)
    assert found.drift < 4


def test_a_traverse_is_not_logged():
    outlook = alone(record_of("pitot traverse", log="10 min"))
    assert outlook.setup.readings == 3
    assert any("no log of readings that go from place to place: 3 passes" in f.message for f in outlook.findings)
