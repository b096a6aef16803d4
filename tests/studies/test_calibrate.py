"""Paired readings to a calibration: a known truth is found again, with every formula and for everything calibrated."""

from __future__ import annotations

import math
import tomllib
from copy import deepcopy
from datetime import date
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.records.formulas import BOX, formulas_of
from flowrig.studies.calibrate import Calibrated, calibrate
from tests.records.calibrations import record as box_use
from tests.studies.paired_readings import (
    DENSITY,
    VISCOSITY,
    box_points,
    box_record,
    cubic,
    in_air,
    instrument_record,
    inverse,
    measured,
    power_law,
    written,
)
from tests.studies.records import AIR, nozzle

LAWS = {
    "power law": power_law,
    "line": lambda drop: 0.05 + 0.0009 * drop,
    "line through zero": lambda drop: 0.0012 * drop,
    "parabola": lambda drop: 0.03 + 0.0013 * drop + 2e-7 * drop**2,
    "cubic": cubic,
}


def load(done: Calibrated, words: str, name: str = "flow") -> float:
    """How far the causes with these words in their name move a number: a share of it."""
    number = done.numbers[name]
    parts = [part for cause, part in number.parts.items() if words in cause.name]
    assert parts, [cause.name for cause in number.parts]
    return math.sqrt(sum(float(np.sum(part**2)) for part in parts)) / abs(float(number.value))


# ---------------------------------------------------------------- the truth is found again


@pytest.mark.recomputed
@pytest.mark.parametrize("formula", formulas_of(BOX))
def test_a_box_of_every_formula(formula: str) -> None:
    """Two sets of nozzles, no noise: flows of the curve are the invented law's, in the air that the file states."""
    law = LAWS[formula]
    done = calibrate(box_record(box_points(law), formula=formula))
    _, file = written(done)
    truth = in_air(law, done.pairs.density, done.pairs.viscosity)
    drop = np.geomspace(file.range.value("lowest"), file.range.value("highest"), 7)
    np.testing.assert_allclose(done.at(drop).value, truth(drop), rtol=1e-9)
    numbers = {name: number.value for name, number in file.estimates().items()}
    np.testing.assert_allclose(file.formula.curve(numbers, drop), truth(drop), rtol=2e-7)
    np.testing.assert_allclose(done.residuals, 0.0, atol=1e-9)
    assert done.found.excess == 0.0
    assert "scatter beyond known errors" not in {f.code for f in done.findings}
    assert done.pairs.density == pytest.approx(measured("large")[1], rel=1e-3)


@pytest.mark.recomputed
def test_the_error_bar_is_that_of_the_reference_and_says_so() -> None:
    """Noiseless: what is left is the reference's coefficient, 0.6 % (1.2 % at 95 %), and little else."""
    done = calibrate(box_record())
    assert load(done, "nozzle coefficient") == pytest.approx(0.0061, rel=0.02)
    assert load(done, "nozzle coefficient") > 0.9 * float(done.numbers["flow"].u / done.numbers["flow"].value)
    # with four times the points, the same
    many = box_points()
    again = calibrate(box_record({name: column * 4 for name, column in many.items()}))
    assert load(again, "nozzle coefficient") == pytest.approx(load(done, "nozzle coefficient"), rel=1e-6)
    assert load(again, "resolution") == pytest.approx(load(done, "resolution") / 2, rel=1e-5)


def test_one_manometer_for_box_and_nozzles_nearly_cancels() -> None:
    """1 % high in both: the flow by half of it, the drop by all of it, of which 0.53 counts: 0.03 % is left."""
    one = box_record()
    one["instruments"]["manometer"]["accuracy"] = "1 % of reading"
    two = deepcopy(one)
    two["instruments"]["other"] = one["instruments"]["manometer"] | {"serial": "M2"}
    two["calibration"]["with"] = {"indication": "other"}
    for flow in two["flow"]:
        flow["with"] = {"drop": "manometer", "static": "manometer"}
    half = 0.01 / math.sqrt(3)
    assert load(calibrate(one), "manometer") == pytest.approx(0.03 * half, rel=0.1)
    done = calibrate(two)
    assert load(done, "manometer (M1)") == pytest.approx(0.5 * half, rel=0.02)
    assert load(done, "other (M2) accuracy") == pytest.approx(0.53 * half, rel=0.02)


@pytest.mark.recomputed
def test_a_chamber_leaks_by_its_power_law() -> None:
    """Air inside is denser by the gauge pressure; the flow is that of the air inside."""
    flow, density, viscosity = measured("small")

    def law(drop: Any) -> Any:
        return 0.04 * (drop / 60.0) ** 0.65

    def mass(drop: Any) -> Any:
        inside = density * (101325.0 + drop) / 101325.0
        return in_air(law, inside, viscosity)(drop) * inside

    points = {"indication [Pa]": list(inverse(mass, flow * density)), "drop [Pa]": [60.0, 120.0, 240.0, 480.0]}
    data = box_record(points, calibrates="chamber", serial="CH-1")
    data["flow"][0] |= {"open": ["B"]}
    done = calibrate(data)
    numbers = {name: float(number.value) for name, number in done.numbers.items()}
    assert numbers["exponent"] == pytest.approx(0.65, abs=1e-9)
    there = in_air(law, numbers["density"], numbers["viscosity"])
    assert numbers["flow"] == pytest.approx(float(there(numbers["drop"])), rel=1e-9)
    assert "few points" in {f.code for f in done.findings}
    assert "not remounted" not in {f.code for f in done.findings}


@pytest.mark.parametrize(
    ("formula", "truth"),
    [
        ("line", lambda x: 1.5 + 0.98 * x),
        ("line through zero", lambda x: 1.03 * x),
        ("parabola", lambda x: 0.4 + x - 1e-4 * x**2),
        ("cubic", lambda x: 0.4 + x - 1e-4 * x**2 + 3e-7 * x**3),
    ],
)
def test_a_manometer_against_another(formula: str, truth: Any) -> None:
    x = np.linspace(0.0, 200.0, 9)
    done = calibrate(instrument_record({"indication [Pa]": x, "reference [Pa]": truth(x)}, formula=formula))
    np.testing.assert_allclose(done.at(x).value, truth(x), atol=1e-9)
    _, file = written(done)
    numbers = {name: number.value for name, number in file.estimates().items()}
    np.testing.assert_allclose(file.formula.curve(numbers, x), truth(x), atol=1e-5)
    assert (file.calibrates, file.label) == ("pressure difference", "X-1")
    assert file.heading.value("reference") == "standard (REF-1)"
    # the limits of the instrument that is calibrated are what is to be found; its digits count
    names = [cause.name for number in done.numbers.values() for cause in number.parts]
    assert any("field (X-1) resolution" in name for name in names)
    assert not any("field (X-1) accuracy" in name for name in names)
    [standard] = [c for c in file.causes if c.id.startswith("instrument:REF-1|")]
    assert standard.shape == "rectangular"


@pytest.mark.recomputed
def test_an_anemometer_in_a_duct_of_known_flow() -> None:
    """Velocity is flow over area; an error of the area is the same in every point, in per cent."""
    flow, _, _ = measured("large")
    shown = (flow / 0.5 - 0.05) / 1.04
    data = box_record({"indication [m/s]": list(shown), "drop [Pa]": [80.0, 160.0, 320.0, 640.0]})
    data["calibration"] |= {"calibrates": "velocity", "formula": "line", "area": "0.5 m2 ± 1 %"}
    del data["calibration"]["serial"]
    data["instruments"]["anemometer"] = {"measures": "velocity", "serial": "V-1", "accuracy": "3 % of reading"}
    done = calibrate(data)
    pivot = float(done.numbers["reading"].value)
    assert float(done.numbers["constant"].value) == pytest.approx(0.05, abs=1e-9)
    assert float(done.numbers["linear"].value) == pytest.approx(1.04 * pivot, rel=1e-9)
    assert load(done, "area", "linear") == pytest.approx(0.01 / math.sqrt(3), rel=1e-3)
    assert load(done, "area", "constant") == pytest.approx(0.01 / math.sqrt(3), rel=1e-3)


def test_a_hood_against_a_flow() -> None:
    flow, _, _ = measured("large")
    data = box_record({"indication [m3/h]": list(3600 * flow / 0.93), "drop [Pa]": [80.0, 160.0, 320.0, 640.0]})
    data["calibration"] |= {"calibrates": "flow", "formula": "line through zero"}
    del data["calibration"]["serial"]
    data["instruments"]["hood"] = {"measures": "flow", "serial": "HD-1", "accuracy": "3 % of reading"}
    done = calibrate(data)
    assert float(done.numbers["linear"].value / done.numbers["reading"].value) == pytest.approx(0.93, rel=1e-9)
    text, file = written(done)
    assert 'reading = "' in text
    assert file.label == "HD-1"


@pytest.mark.parametrize("fixed", [0.53, 0.5])
def test_a_fixed_exponent_is_kept_and_has_no_error(fixed: float) -> None:
    done = calibrate(box_record(exponent=fixed))
    assert float(done.numbers["exponent"].value) == fixed
    assert done.numbers["exponent"].u == 0.0
    assert done.found.dof == 7
    truth = in_air(power_law, done.pairs.density, done.pairs.viscosity)(done.numbers["drop"].value)
    if fixed == 0.53:
        assert float(done.numbers["flow"].value) == pytest.approx(float(truth), rel=1e-9)
        assert done.found.excess == 0.0
    else:  # the points lie off it at both ends: 0.03 ln(dp/120 Pa), from -5.6 to +5.7 %
        assert np.max(np.abs(done.residuals)) > 0.05
        assert done.found.excess > 0.02
    text, file = written(done)
    assert float(file.estimates()["exponent"].u) == 0.0
    assert f"exponent = {fixed}" in text


# ---------------------------------------------------------------- what the file says, used


def use(file_of: str, **flow: Any) -> dict[str, Any]:
    """A record with the box as a meter, in the air of its calibration."""
    data = box_use(tomllib.loads(file_of), **flow)
    data["air"]["meter"] = dict(AIR)
    return data


@pytest.mark.recomputed
def test_a_result_made_with_the_file_by_hand() -> None:
    """A box as it was calibrated gives its law again, at a drop between the points."""
    text, _ = written(calibrate(box_record()))
    result = flowrig.reduce(use(text, drop="100 Pa", static="0 Pa"))
    state = result.flows[0].air["meter"]
    density, viscosity = (float(state[name].value) for name in ("density", "viscosity"))
    assert density != DENSITY
    expected = 0.13 * (100 * density / DENSITY * (VISCOSITY / viscosity) ** 2 / 50) ** 0.53
    expected *= DENSITY / VISCOSITY * viscosity / density
    assert float(result.flow.estimate.value) == pytest.approx(expected, rel=2e-6)
    # with warm thin air too
    thin = use(text, drop="100 Pa", static="0 Pa")
    thin["air"]["meter"] |= {"temperature": "31 degC", "pressure": "835 hPa"}
    result = flowrig.reduce(thin)
    state = result.flows[0].air["meter"]
    density, viscosity = (float(state[name].value) for name in ("density", "viscosity"))
    assert float(result.flow.estimate.value) == pytest.approx(
        float(in_air(power_law, density, viscosity)(100.0)), rel=2e-6
    )


def test_the_same_manometer_later_is_the_same_error() -> None:
    """1 % high at the calibration and later, by hand: q = q_cal (dp/dp_cal)^n.

    The error of dp cancels in the ratio, the half per cent in the nozzles' flow stays. Another manometer: 0.53 of its
    own error, and what that of the calibration left in the curve, 0.5 - 0.53 of it.
    """
    data = box_record()
    data["instruments"]["manometer"]["accuracy"] = "1 % of reading"
    text, _ = written(calibrate(data))
    half = 0.01 / math.sqrt(3)

    def parts(serial: str) -> float:
        later = use(text, drop="120 Pa", static="0 Pa")
        later["instruments"]["manometer"] |= {"serial": serial, "accuracy": "1 % of reading"}
        estimate = flowrig.reduce(later).flow.estimate
        found = [np.sum(p**2) for c, p in estimate.parts.items() if "manometer" in c.name and "accuracy" in c.name]
        return math.sqrt(float(sum(found))) / float(estimate.value)

    assert parts("M1") == pytest.approx(0.5 * half, rel=0.01)
    assert parts("M9") == pytest.approx(math.hypot(0.53, 0.03) * half, rel=0.01)


def test_a_box_and_its_reference_share_the_reference() -> None:
    text, _ = written(calibrate(box_record()))
    box = flowrig.reduce(use(text, drop="100 Pa", static="0 Pa")).flow.estimate
    [coefficient] = [c for c in box.parts if c.id == "method:nozzle:coefficient"]
    reference = box_record()
    del reference["calibration"]
    reference["flow"] = [reference["flow"][1] | {"drop": "160 Pa"}]
    nozzles = flowrig.reduce(reference).flow.estimate
    assert coefficient in nozzles.parts
    shared = [float(abs(x.parts[coefficient][0]) / x.value) for x in (box, nozzles)]
    assert shared == [pytest.approx(shared[0], rel=1e-3)] * 2
    ids = [c.id for c in box.parts if c in nozzles.parts]
    for identity in ("hardware:nozzles:LF-A:diameter", "instrument:M1|pressure difference|"):
        assert any(i.startswith(identity) for i in ids), ids


def test_the_heading_says_where_it_came_from() -> None:
    data = box_record(certificate="none", follows="box-2025.toml", notes='says "so"', remount_limit="3 %")
    done = calibrate(data)
    _, file = written(done)
    heading = file.heading
    assert heading.value("record") == done.record.digests["record"]
    assert heading.value("readings") == done.record.digests["calibration.points"]
    assert (heading.value("follows"), heading.value("certificate")) == ("box-2025.toml", "none")
    assert heading.value("notes") == 'says "so"'
    assert heading.value("remount_limit") == pytest.approx(0.03)
    assert (heading.value("date"), heading.value("due")) == (date(2026, 7, 14), date(2027, 7, 14))
    assert heading.value("reference") == "nozzles in a chamber, LF-B, LF-A"


def test_what_is_known_of_files_and_instruments_is_told() -> None:
    """An overdue manometer, a column that stands for nothing, readings beyond what an instrument is stated for."""
    points = box_points()
    points["indicatoin [Pa]"] = points["indication [Pa]"]
    data = box_record(points)
    data["instruments"]["manometer"] |= {"due": date(2026, 1, 1), "accuracy": "0..500 Pa: 0.5 % of reading"}
    done = calibrate(data)
    said = {f.code: f.message for f in done.findings}
    assert "manometer: calibration fell due on 2026-01-01" in said["calibration overdue"]
    assert said["columns of the points"] == "calibration.points: not used: indicatoin [Pa]"
    assert "manometer is stated for (calibration.points, row 9)" in said["outside instrument range"]
    assert "row 9" in next(f.message for f in done.pairs.findings if "indication" in f.message)
    clean = {f.code for f in calibrate(box_record()).findings}
    assert not {"calibration overdue", "columns of the points", "outside instrument range"} & clean


def test_a_reference_beyond_what_it_is_stated_for_is_told_with_its_row() -> None:
    x = [20.0, 60.0, 100.0, 150.0, 200.0]
    data = instrument_record({"indication [Pa]": x, "reference [Pa]": x})
    data["instruments"]["standard"]["accuracy"] = "0..160 Pa: 0.2 % of reading"
    data["instruments"]["field"] |= {"due": date(2026, 1, 1), "accuracy": "0..50 Pa: 2 % of reading"}
    said = {f.code: f.message for f in calibrate(data).findings}
    assert "(calibration.points, row 6)" in said["outside instrument range"]
    assert "standard" in said["outside instrument range"]
    assert "calibration overdue" not in said  # that of the instrument on trial is what this one renews


@pytest.mark.recomputed
def test_a_box_against_a_flow_that_is_given_with_its_own_uncertainty() -> None:
    """A laboratory's meter shows the flow, U = 1.5 % (k=2), actual in its own air; the box stands in warmer air."""
    record = box_record()
    del record["flow"], record["nozzles"]
    meter = measured("large")[0]
    columns = box_points(names=("large",))
    warm = {"temperature": "26 degC", "pressure": "101325 Pa", "relative_humidity": "50 %"}
    record["air"]["unit"] = warm
    record["instruments"]["lab"] = {
        "measures": "flow", "serial": "LAB-1", "calibrated": date(2026, 5, 1), "accuracy": "1.5 % of reading (k=2)",
    }  # fmt: skip
    table = {"reference [m3/h]": list(3600 * meter), "indication [Pa]": columns["indication [Pa]"]}
    record["calibration"]["points"] = table
    done = calibrate(record)
    assert done.pairs.reference == "lab (LAB-1)"
    share = {line.cause.name: float(line.u) / float(done.number.value) for line in done.number.budget()}
    assert share["lab (LAB-1) accuracy"] == pytest.approx(0.0075, rel=1e-3)  # straight through the fit
    # the same mass passes the box in air that is thinner: by hand, at the first point
    states = flowrig.reduce(nozzle() | {"air": record["air"]}).flows[0].air
    cold, hot = (float(states[name]["density"].value) for name in ("meter", "unit"))
    flow, drop = float(done.pairs.truth.value[0]), float(done.pairs.shown.value[0])
    slower = done.pairs.viscosity / float(states["unit"]["viscosity"].value) * hot / done.pairs.density
    assert flow == pytest.approx(float(meter[0]) * cold / hot * slower, rel=1e-9)
    assert drop == pytest.approx(columns["indication [Pa]"][0] * (done.pairs.density / hot) ** -1 * (
        done.pairs.viscosity / float(states["unit"]["viscosity"].value)) ** 2, rel=1e-9)  # fmt: skip
    del record["air"]["meter"]
    with pytest.raises(InputError, match=r"no \[air.meter\]"):
        calibrate(record)
