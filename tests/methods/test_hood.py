"""The flow hood in whole records: each way to take its back-pressure out, densities, orientations, flags, refusals."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.studies.result import FlowResult
from tests.cli.rig import Rig, edited
from tests.studies.records import nozzle

HOOD = {"measures": "flow", "serial": "H7", "accuracy": "3 % of reading + 10 m3/h", "density_corrected": True}
TWO = {"hood_pressure": "4 Pa", "throttled_reading": "380 m3/h", "throttled_pressure": "12 Pa"}


def hood(instrument: dict[str, Any] | None = None, **flow: Any) -> dict[str, Any]:
    record = nozzle()
    del record["nozzles"]
    record["instruments"] = record["instruments"] | {"hood": HOOD | (instrument or {})}
    record["flow"] = [
        {"method": "hood", "over": "free-standing cleaner", "reading": "420 m3/h", "sensor": "pressure grid", **flow}
    ]
    return record


def reduced(record: dict[str, Any]) -> FlowResult:
    return flowrig.reduce(record).flows[0]


def volume(flow: FlowResult) -> float:
    return float(flow["actual_flow_meter"].estimate.value) * 3600


def codes(flow: FlowResult) -> set[str]:
    return {f.code for f in flow.findings}


def budget(flow: FlowResult) -> dict[str, float]:
    mass = flow["mass_flow"].estimate
    return {line.cause.name: float(line.u / mass.value) for line in mass.budget()}


# Source: the line through both readings, worked here: Q0 = Q1 + (Q1 - Q2) P1/(P2 - P1).
def test_two_resistances() -> None:
    flow = reduced(hood(**TWO))
    assert volume(flow) == pytest.approx(420 + (420 - 380) * 4 / (12 - 4), rel=1e-9)
    known = codes(flow)
    assert not known & {"hood throttles the fan", "two resistances too alike", "throttled flow not smaller"}
    assert "unevenness of the hood assumed" in known
    assert budget(flow)["swirl and unevenness under the hood"] == pytest.approx(0.25 / 1.96, rel=1e-9)


# Source: remainder of a straight line; a root q0 sqrt(1 - P/Pmax) taken for one, worked here.
@pytest.mark.recomputed
@pytest.mark.parametrize(("near", "far"), [(0.05, 0.2), (0.1, 0.3), (0.15, 0.45)])
def test_what_a_straight_line_misses_of_a_bent_curve_is_in_the_bar(near: float, far: float) -> None:
    shown = {name: 500 * np.sqrt(1 - share) for name, share in (("near", near), ("far", far))}
    flow = reduced(
        hood(
            reading=f"{shown['near']} m3/h",
            hood_pressure=f"{60 * near} Pa",
            throttled_reading=f"{shown['far']} m3/h",
            throttled_pressure=f"{60 * far} Pa",
        )
    )
    assert volume(flow) > 500
    assert volume(flow) / 500 - 1 < budget(flow)["straight line through two readings"] * np.sqrt(3)


def test_a_share_of_the_reading_is_shared_by_both_readings() -> None:
    # the same hood twice: its error of 3 % moves the answer by 3 %, not by more
    flow = reduced(hood({"accuracy": "3 % of reading"}, **TWO, uneven_limit="1 %"))
    assert budget(flow)["hood (H7) accuracy"] == pytest.approx(0.03 / np.sqrt(3), rel=1e-6)


def test_by_the_curve_of_the_unit() -> None:
    record = hood(hood_pressure="8 Pa", curve="unit")
    record["curves"] = {"unit": {"pressure": ["0 Pa", "20 Pa"], "flow": ["600 m3/h", "500 m3/h"]}}
    flow = reduced(record)
    # r C(P/r2) = 420 with C = 600 - 5 P: 600 r - 40/r = 420
    ratio = (420 + np.sqrt(420**2 + 4 * 600 * 40)) / 1200
    assert volume(flow) == pytest.approx(600 * ratio, rel=1e-9)
    lost = 1 - 420 / (600 * ratio)
    assert budget(flow)["fall of the curve unit"] == pytest.approx(0.3 * lost / np.sqrt(3), rel=1e-6)
    record["curves"]["unit"]["fall_limit"] = "10 %"
    assert budget(reduced(record))["fall of the curve unit"] == pytest.approx(0.1 * lost / np.sqrt(3), rel=1e-6)


def test_the_makers_factor_over_a_duct_alone() -> None:
    flow = reduced(hood(over="supply outlet", backpressure_factor="1.03 ± 0.01"))
    assert volume(flow) == pytest.approx(420 * 1.03, rel=1e-9)
    assert budget(flow)["backpressure_factor"] == pytest.approx(0.01 / np.sqrt(3) / 1.03, rel=1e-6)
    with pytest.raises(flowrig.InputError, match="no fixed factor over a free-standing cleaner"):
        flowrig.reduce(hood(backpressure_factor="1.03 ± 0.01"))


@pytest.mark.parametrize(
    ("over", "code", "most"),
    [
        ("free-standing cleaner", "hood throttles the fan", 0.25),
        ("supply outlet", "hood's back-pressure not taken out", 0.05),
        ("return inlet", "hood's back-pressure not taken out", 0.05),
    ],
)
def test_nothing_said_of_the_back_pressure(over: str, code: str, most: float) -> None:
    flow = reduced(hood(over=over))
    assert code in codes(flow)
    assert volume(flow) == pytest.approx(420 * (1 + most / 2), rel=1e-9)
    assert budget(flow)["back-pressure of the hood (not measured)"] == pytest.approx(most / 2 / np.sqrt(3), rel=1e-2)


# Source: definitions of the sensors; density of the test's air by the record itself.
@pytest.mark.parametrize(("sensor", "power"), [("heated sensor", 1.0), ("pressure grid", 0.5), ("vane", 0.0)])
def test_density_by_what_the_display_holds_at(sensor: str, power: float) -> None:
    thin = {"temperature": "30 degC", "pressure": "830 hPa", "relative_humidity": "30 %"}
    stated = hood({"density_corrected": False, "reference_density": "1.2 kg/m3"}, sensor=sensor, **TWO)
    corrected = hood(sensor=sensor, **TWO)
    silent = hood({"density_corrected": False}, sensor=sensor, **TWO)
    for record in (stated, corrected, silent):
        record["air"]["meter"] = thin
    flow = reduced(stated)
    density = float(flow.air["meter"]["density"].value)
    assert volume(reduced(corrected)) == pytest.approx(440, rel=1e-9)
    assert volume(flow) == pytest.approx(440 * (1.2 / density) ** power, rel=1e-9)
    assert ("display density unknown" in codes(reduced(silent))) is (power > 0)
    # a heated sensor feels mass: its error of density goes into the volume, not into the mass
    if power == 1.0:
        assert float(flow["mass_flow"].estimate.value) == pytest.approx(440 / 3600 * 1.2, rel=1e-9)


def test_orientations_scatter_by_their_means() -> None:
    # four orientations twice round: 400, 420, 440, 460 each time, but for 2 of noise
    shown = [400, 420, 440, 460, 402, 418, 442, 458]
    readings = [f"{x} m3/h" for x in shown]
    turned = reduced(hood(over="supply outlet", backpressure_factor="1.0 ± 0.01", reading=readings, orientations=4))
    means = np.reshape(shown, (2, 4)).mean(axis=0)
    assert volume(turned) == pytest.approx(means.mean(), rel=1e-6)
    expected = means.std(ddof=1) / 2 / means.mean()
    assert budget(turned)["scatter of the readings"] == pytest.approx(expected, rel=1e-6)
    assert turned.scatter is not None
    assert turned.scatter.dof == 3
    assert "4 places in turn" in [f.message for f in turned.findings if f.code == "few readings"]
    plain = reduced(hood(over="supply outlet", backpressure_factor="1.0 ± 0.01", reading=readings))
    assert budget(plain)["scatter of the readings"] < 0.75 * expected
    with pytest.raises(flowrig.InputError, match="as many readings for each of 3 orientations"):
        flowrig.reduce(hood(reading=readings, orientations=3))


def test_flags() -> None:
    alike = reduced(hood(hood_pressure="8 Pa", throttled_reading="415 m3/h", throttled_pressure="10 Pa"))
    assert "two resistances too alike" in codes(alike)
    swapped = reduced(hood(hood_pressure="12 Pa", throttled_reading="380 m3/h", throttled_pressure="4 Pa"))
    assert "two resistances too alike" in codes(swapped)
    assert "throttled flow not smaller" in codes(reduced(hood(**(TWO | {"throttled_reading": "430 m3/h"}))))
    large = hood(hood_pressure="6 Pa", throttled_reading="280 m3/h", throttled_pressure="12 Pa")
    assert "large back-pressure correction" in codes(reduced(large))
    assert "large back-pressure correction" not in codes(reduced(hood(**TWO)))
    assert "unevenness of the hood assumed" not in codes(reduced(hood(**TWO, uneven_limit="9 %")))


def test_a_curve_that_ends_before_the_reading_gives_no_flow() -> None:
    record = hood(hood_pressure="60 Pa", curve="unit", reading="100 m3/h")
    record["curves"] = {"unit": {"pressure": ["0 Pa", "20 Pa"], "flow": ["600 m3/h", "500 m3/h"]}}
    with pytest.raises(flowrig.CalculationError, match="no flow follows from these readings"):
        flowrig.reduce(record)


def test_rows() -> None:
    table = {"reading [m3/h]": [420.0, 300.0], "throttled_reading [m3/h]": [380.0, 296.0], "note": ["", "x"]}
    result = flowrig.reduce_rows(hood(**TWO), table)
    found = result.flows[0]["actual_flow_meter"].estimate.value * 3600
    assert found == pytest.approx([440.0, 302.0], rel=1e-9)


RECORD = """title = "Cleaner under a hood"
date = 2026-07-14
[air.meter]
temperature = "20 degC ± 0.3 degC"
pressure = "1000 hPa ± 1 hPa"
relative_humidity = "50 % ± 3 %"
[instruments.hood]
measures = "flow"
accuracy = "3 % of reading + 10 m3/h"
[instruments.manometer]
measures = "pressure difference"
accuracy = "0.5 % of reading + 0.25 Pa"
[curves.unit]
pressure = ["0 Pa", "20 Pa"]
flow = ["600 m3/h", "500 m3/h"]
[[flow]]
method = "hood"
over = "free-standing cleaner"
sensor = "vane"
reading = "420 m3/h"
hood_pressure = "8 Pa"
curve = "unit"
"""


def test_the_sound_record_is_sound(tmp_path: Path) -> None:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=RECORD)
    assert rig.run("reduce", "record.toml")[0] == 0


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('over = "free-standing cleaner"\n', "", "line 16, flow[1]: read no over", "one of: supply outlet"),
        ('"free-standing cleaner"', '"cleaner"', "line 18, flow[1].over", "one of: supply outlet"),
        ('sensor = "vane"\n', "", "line 16, flow[1]: read no sensor", "one of: heated sensor"),
        ('"420 m3/h"', '"420 m/s"', "line 20, flow[1].reading", "not a unit of flow"),
        ('"420 m3/h"', '"-420 m3/h"', "line 20, flow[1].reading", "from 0 m3/h"),
        ('reading = "420 m3/h"\n', "", "line 16, flow[1]: read no reading", "Add reading"),
        ('hood_pressure = "8 Pa"\n', "", "line 16, flow[1]: read no hood_pressure", "which curve needs"),
        ('"8 Pa"', '"8"', "line 21, flow[1].hood_pressure", "unit of pressure difference is missing"),
        ('curve = "unit"', 'curve = "unti"', "line 22, flow[1].curve", "Did you mean unit?"),
        ('curve = "unit"', 'throttled_reading = "380 m3/h"', "line 16, flow[1]: read no throttled_pressure", "Add"),
        ('curve = "unit"', 'curve = "unit"\nbackpressure_factor = "1.03 ± 0.01"', "line 16, flow[1]", "only one of"),
        (
            'curve = "unit"',
            'backpressure_factor = "1.03 ± 0.01"',
            "line 22, flow[1].backpressure_factor",
            "no fixed factor",
        ),
        ('curve = "unit"', 'curve = "unit"\nfactor = "1.03"', "line 23, flow[1].factor", "with its ±"),
        ('curve = "unit"', 'backpressure_factor = "1.03"', "line 22, flow[1].backpressure_factor", "with its ±"),
        ('curve = "unit"', 'curve = "unit"\norientations = "4"', "line 23, flow[1].orientations", "without quotes"),
        ('curve = "unit"', 'curve = "unit"\nfactor = "0"', "line 23, flow[1].factor", "above 0"),
        ('curve = "unit"', 'curve = "unit"\nuneven_limit = "12"', "line 23, flow[1].uneven_limit", "at most"),
        ('["0 Pa", "20 Pa"]', '["5 Pa", "20 Pa"]', "line 14, curves.unit.pressure", "rise from 0"),
        ('["0 Pa", "20 Pa"]', '["0 Pa"]', "line 14, curves.unit.pressure", "at least 2 values"),
        ('["0 Pa", "20 Pa"]', '["0 Pa", "20 m"]', "line 14, curves.unit.pressure", "not a unit of pressure difference"),
        ('["0 Pa", "20 Pa"]', '["0 Pa", "20 Pa ± 1 Pa"]', "line 14, curves.unit.pressure", "without a ±"),
        ('["0 Pa", "20 Pa"]', '["0 Pa", "9 Pa", "20 Pa"]', "line 15, curves.unit.flow", "as many flows as pressures"),
        ('"600 m3/h", "500 m3/h"', '"500 m3/h", "600 m3/h"', "line 15, curves.unit.flow", "falls from point to point"),
    ],
)
def test_bad_input(tmp_path: Path, old: str, new: str, where: str, said: str) -> None:
    Rig(tmp_path).tells(edited(RECORD, old, new), where, said)
