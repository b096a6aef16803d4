"""What ought to be noticed: slipped signs and digits, gaps, unlikely air, things left unsaid."""

from __future__ import annotations

import math

import numpy as np
import pytest

import flowrig
from tests.methods.test_traverses import grid, traverse
from tests.studies.records import nozzle


def said(record):
    result = flowrig.reduce(record)
    return {f.code: f.message for f in [*result.findings, *result.flows[0].findings]}


def log(drops, **more):
    record = nozzle(log={"drop [Pa]": list(drops), **more})
    del record["flow"][0]["drop"]
    return record


STEADY = 250 + np.random.default_rng(3).standard_normal(60)


@pytest.mark.parametrize("slip", [2500.0, 25.0, 205.0])
def test_a_slipped_digit_in_a_log_is_named(slip):
    drops = STEADY.copy()
    drops[16] = slip
    assert "reading 17" in said(log(drops))["odd reading"]
    assert "odd reading" not in said(log(STEADY))


def test_a_slipped_sign_is_an_alarm():
    drops = STEADY.copy()
    drops[16] *= -1
    assert "mixed signs" in said(log(drops))
    assert "mixed signs" not in said(log(np.random.default_rng(1).standard_normal(60) * 0.01 + 0.05))


@pytest.mark.parametrize(("passes", "factor"), [(3, 10.0), (3, -1.0), (3, 0.1), (1, 10.0), (1, 0.1), (1, -1.0)])
def test_a_slip_in_a_traverse_is_named_by_its_place(passes, factor):
    table = grid(passes=passes)
    table["velocity [m/s]"][8] *= factor
    found = said(traverse(table=table))
    assert "row 2, column 3, pass 1" in found["odd reading"]
    assert ("mixed signs" in found) == (factor < 0)
    assert "odd reading" not in said(traverse(table=grid(passes=passes)))


def test_a_gap_in_the_log_is_said():
    times = np.arange(60.0)
    times[30:] += 31
    assert "the longest 32 s" in said(log(STEADY, **{"time [s]": list(times)}))["log with gaps"]
    assert "log with gaps" not in said(log(STEADY, **{"time [s]": list(np.arange(60.0))}))
    assert "log without time" in said(log(STEADY))
    record = log(STEADY, Zeit=[f"10:00:{int(t):02d}" for t in np.arange(60)])
    record["flow"][0]["columns"] = {"time": "Zeit"}
    assert not {"log with gaps", "log without time"} & set(said(record))


@pytest.mark.parametrize(
    ("reading", "flag"),
    [
        ({"temperature": "72.4 degC"}, "unlikely air"),
        ({"temperature": "-5 degC"}, "unlikely air"),
        ({"pressure": "560 hPa"}, "unlikely air"),
        ({"temperature": "31 degC"}, "air outside the equation's range"),
        ({"pressure": "1003 hPa"}, "altitude not stated"),
    ],
)
def test_unlikely_air(reading, flag):
    record = nozzle()
    record["air"]["meter"] = record["air"]["meter"] | reading
    assert flag in said(record)
    record["air"]["meter"] |= {"temperature": "21 degC", "pressure": "830 hPa", "altitude": "1650 m"}
    assert flag not in said(record)


def test_a_nozzle_that_may_be_home_made_is_a_warning():
    record = nozzle()
    assert "nozzle profile not stated" in said(record)
    record["nozzles"]["A"]["made"] = "machined"
    assert "nozzle profile not stated" not in said(record)


def test_what_a_correction_takes_off_is_said():
    record = traverse()
    for name in ("yaw", "blockage_area"):
        del record["flow"][0][name]
    result = flowrig.reduce(record)
    messages = [f.message for f in result.flows[0].findings if f.code == "assumed"]
    assert any("flow angle" in m and "% taken off the flow" in m for m in messages)
    assert any("blockage" in m and "% taken off the flow" in m for m in messages)
    # a vane head of 2 to 90 cm2, k from 0.5 to 1, in 0.24 m2
    [part] = [p for c, p in result.flow.estimate.parts.items() if "traverse:blockage" in c.id]
    limit = (90e-4 - 0.5 * 2e-4) / 2 / 0.24
    middle = (90e-4 + 0.5 * 2e-4) / 2 / 0.24
    assert abs(float(part[0]) / float(result.flow.estimate.value)) == pytest.approx(limit / math.sqrt(3), rel=1e-3)
    stated = float(flowrig.reduce(traverse()).flow.estimate.value)
    yaw = 0.5 * (1 - math.cos(math.radians(5)))
    assert float(result.flow.estimate.value) == pytest.approx(stated * (1 - middle) * (1 - yaw), rel=1e-6)


def test_a_traverse_without_static_pressure_says_so():
    assert "static pressure unknown" in said(traverse())
    assert "static pressure unknown" not in said(traverse(static="20 Pa ± 1 Pa"))


def test_a_thermal_probe_in_a_duct_has_an_error_of_its_own():
    result = flowrig.reduce(traverse("thermal-traverse", "thermal"))
    [part] = [p for c, p in result.flow.estimate.parts.items() if c.id == "method:thermal:response"]
    assert abs(float(part[0]) / float(result.flow.estimate.value)) == pytest.approx(0.03 / math.sqrt(3), rel=1e-9)


def test_fluctuation_of_a_velocity_display_is_not_used_and_that_is_said():
    record = traverse("pitot-traverse", "vane", fluctuation_rms="5 %")
    assert any("not used" in m for m in [f.message for f in flowrig.reduce(record).flows[0].findings])


def test_the_approach_correction_and_a_low_reynolds_number_widen_the_bar():
    wide = flowrig.reduce(nozzle(chamber_width="300 mm", chamber_height="300 mm")).flow.estimate
    [approach] = [p for c, p in wide.parts.items() if c.id.endswith("nozzle:approach")]
    assert float(abs(approach[0]) / wide.value) == pytest.approx(0.5 * 0.0187 / math.sqrt(3), rel=0.05)
    record = nozzle(drop="30 Pa")
    record["nozzles"]["A"] = {"diameter": "20 mm"}
    slow = flowrig.reduce(record)
    assert any(c.id.endswith("low Reynolds number") for c in slow.flow.estimate.parts)
    assert "low Reynolds number" in {f.code for f in slow.flows[0].findings}


def test_a_small_drop_wants_its_zero():
    record = nozzle(drop="30 Pa")
    assert "small drop, zero not read" in said(record)
    record["instruments"]["manometer"] |= {"zero_before": "0 Pa", "zero_after": "0.1 Pa"}
    assert "small drop, zero not read" not in said(record)
    assert "small drop, zero not read" not in said(nozzle(drop="250 Pa"))


def test_a_static_pressure_in_the_wrong_unit_is_an_alarm():
    assert "unlikely static pressure" in said(nozzle(static="-142 hPa"))
    assert "unlikely static pressure" in said(traverse(static="-142 hPa ± 1 hPa"))
    assert "unlikely static pressure" not in said(nozzle(static="-142 Pa"))


def test_a_wet_bulb_that_leaves_no_humidity_is_a_fault():
    record = nozzle()
    record["air"]["meter"] = {"temperature": "23.7 degC", "pressure": "831 hPa", "wet_bulb": "2.6 degC"}
    with pytest.raises(flowrig.InputError, match="humidity"):
        flowrig.reduce(record)
    record["air"]["meter"]["wet_bulb"] = "12.6 degC"
    flowrig.reduce(record)


def test_a_display_that_may_correct_itself_is_a_warning():
    record = traverse("thermal-traverse", "thermal")
    del record["instruments"]["thermal"]["reference_density"]
    assert "from the air's" in said(record)["display density unknown"]


def test_sea_level_pressure_in_one_row_of_a_table_is_found():
    record = nozzle()
    record["air"]["meter"] |= {"altitude": "1650 m", "pressure": "832 hPa"}
    table = {"drop [Pa]": [250.0, 250.0], "air.meter.pressure [hPa]": [832.1, 1013.2]}
    [rows] = [
        f.rows for f in flowrig.reduce_rows(record, table).flows[0].findings if f.code == "sea-level pressure suspected"
    ]
    assert rows.tolist() == [False, True]


def test_corrections_bring_the_summary_to_the_flow():
    flow = flowrig.reduce(traverse(yaw="6 deg", blockage_area="20 cm2")).flows[0]
    mean = float(flow.diagnostics["mean_velocity"].reshape(-1)[0]) * float(flow.inputs["area"])
    for share in flow.corrections.values():
        mean *= 1 + float(share)
    assert float(flow["actual_flow_meter"].estimate.value) == pytest.approx(mean, rel=1e-12)
    assert set(flow.corrections) == {"flow angle (swirl)", "blockage by the vane"}


def test_an_array_of_a_pint_quantity_is_a_run():
    import pint

    drops = pint.UnitRegistry().Quantity([250.1, 249.8, 250.4], "Pa")
    ours = flowrig.reduce(nozzle(drop=drops)).flow.estimate
    words = flowrig.reduce(nozzle(drop=["250.1 Pa", "249.8 Pa", "250.4 Pa"])).flow.estimate
    assert float(ours.value) == pytest.approx(float(words.value), rel=1e-12)
