"""Leakage put back from a record: the sign of all four cases, what is assumed, what is flagged, what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.studies.result import FlowResult
from tests.cli.rig import Rig, edited
from tests.studies.records import nozzle

LEAK = {"leak": "18 m3/h ± 3 m3/h", "leak_drop": "50 Pa", "leak_exponent": "0.62 ± 0.05"}
SIZE = 18 / 3600
ROOM = {"temperature": "27 degC", "pressure": "1000 hPa", "relative_humidity": "30 %"}


def rig(side: str = "downstream", gauge: str = "35 Pa", **chamber: Any) -> dict[str, Any]:
    record = nozzle(leaks=["receiving"], meter_side=side)
    record["chambers"] = {"receiving": {**LEAK, "pressure": gauge, **chamber}}
    return record


def reduced(record: dict[str, Any]) -> FlowResult:
    return flowrig.reduce(record).flows[0]


def codes(flow: FlowResult) -> set[str]:
    return {f.code for f in flow.findings}


# Source: conservation of mass; each case written out by where the air comes from and where it goes.
@pytest.mark.parametrize("side", ["downstream", "upstream"])
@pytest.mark.parametrize("gauge", [35.0, -35.0])
def test_mass_closes(side: str, gauge: float) -> None:
    record = rig(side, f"{gauge} Pa")
    record["air"]["room"] = ROOM
    through_meter = float(reduced(nozzle())["mass_flow"].estimate.value)
    flow = reduced(record)
    through_unit = float(flow["mass_flow"].estimate.value)
    meter, room = (float(flow.air[name]["density"].value) for name in ("meter", "room"))
    pressure = float(flow.air["meter"]["pressure"].value)
    size = SIZE * (35 / 50) ** 0.62
    out = size * meter * (pressure + gauge) / pressure if gauge > 0 else 0.0
    into = size * room if gauge < 0 else 0.0
    enters, leaves = (through_unit, through_meter) if side == "downstream" else (through_meter, through_unit)
    assert enters + into == pytest.approx(leaves + out, rel=1e-12)
    assert through_unit != pytest.approx(through_meter, rel=1e-4)


def test_nothing_is_put_back_where_the_calibration_covered_it() -> None:
    flow = reduced(rig(in_calibration=True))
    assert flow["mass_flow"].estimate.value == reduced(nozzle())["mass_flow"].estimate.value
    assert not flow.corrections
    assert not codes(flow) & {"leakage not stated", "leaky rig", "leakage far from its test"}


def test_no_pressure_no_leak() -> None:
    flow = reduced(rig(gauge="0 Pa"))
    assert flow["mass_flow"].estimate.value == pytest.approx(reduced(nozzle())["mass_flow"].estimate.value, rel=1e-15)


def test_two_chambers_leak_each_at_its_own_pressure() -> None:
    record = rig()
    record["chambers"]["settling"] = {**LEAK, "pressure": "-20 Pa"}
    record["flow"][0]["leaks"] = ["receiving", "settling"]
    flow = reduced(record)
    alone = [reduced(rig(gauge=gauge)).corrections["leakage of receiving"] for gauge in ("35 Pa", "-20 Pa")]
    assert flow.corrections["leakage of receiving"] == pytest.approx(alone[0], rel=1e-9)
    assert flow.corrections["leakage of settling"] == pytest.approx(alone[1], rel=0.05)
    assert alone[0] > 0 > alone[1]


def test_its_error_is_in_the_budget_and_shared_with_the_manometer() -> None:
    record = rig()
    record["chambers"]["receiving"]["leak"] = "60 m3/h ± 20 m3/h"
    budget = {line.cause.name: float(line.u) for line in reduced(record)["mass_flow"].estimate.budget()}
    flow = reduced(record)["mass_flow"].estimate
    leaking = 60 / 3600 * (35 / 50) ** 0.62 * 1.2
    assert budget["leak of receiving"] == pytest.approx(leaking / 3 / np.sqrt(3), rel=0.02)
    assert sum(name.startswith("manometer (M1) accuracy") for name in budget) == 1
    assert budget["leak_exponent of receiving"] == pytest.approx(
        leaking * abs(np.log(35 / 50)) * 0.05 / np.sqrt(3), rel=0.05
    )
    assert flow.u == pytest.approx(np.sqrt(sum(u**2 for u in budget.values())), rel=1e-9)


def test_what_is_stated_without_its_limits_is_not_taken_as_exact() -> None:
    flow = reduced(rig(leak="18 m3/h", leak_exponent="0.62"))
    said = " ".join(f.message for f in flow.findings if f.code == "assumed")
    assert "leak stated without its ±, taken as known to 25 % of it" in said
    assert "leak_exponent stated without its ±, taken as known to 0.1" in said
    names = [line.cause.name for line in flow["mass_flow"].estimate.budget()]
    assert "leak of receiving (± not stated)" in names
    assert "leak_exponent of receiving (± not stated)" in names
    silent = rig()
    del silent["chambers"]["receiving"]["leak_exponent"]
    assert "leak_exponent = 0.65 ± 0.1" in " ".join(f.message for f in reduced(silent).findings)


def test_flags() -> None:
    assert "leakage not stated" in codes(reduced(nozzle()))
    fine = codes(reduced(rig(leak="6 m3/h ± 1 m3/h")))
    assert not fine & {"leakage not stated", "leaky rig", "leakage far from its test"}
    assert "leaky rig" in codes(reduced(rig()))
    half = codes(reduced(rig(leak="900 m3/h ± 90 m3/h")))
    assert "leak rivals the flow" in half
    assert "leaky rig" not in half
    assert "unlikely static pressure" in codes(reduced(rig(gauge="-35 hPa")))
    forgotten = rig()
    del forgotten["flow"][0]["leaks"], forgotten["flow"][0]["meter_side"]
    assert "chamber named by no measurement" in {f.code for f in flowrig.reduce(forgotten).findings}
    for gauge, far in (("12.6 Pa", False), ("12.4 Pa", True), ("-199 Pa", False), ("201 Pa", True)):
        assert ("leakage far from its test" in codes(reduced(rig(gauge=gauge)))) is far, gauge


def test_rows_may_replace_the_pressure_of_a_chamber() -> None:
    table = {"chambers.receiving.pressure [Pa]": [35.0, -35.0, 300.0], "flow.drop [Pa]": [250.0, 250.0, 240.0]}
    result = flowrig.reduce_rows(rig(), table)
    values = result.flows[0]["mass_flow"].estimate.value
    for value, gauge, drop in zip(values, (35, -35, 300), (250, 250, 240), strict=True):
        record = rig(gauge=f"{gauge} Pa")
        record["flow"][0]["drop"] = f"{drop} Pa"
        assert value == pytest.approx(float(reduced(record)["mass_flow"].estimate.value), rel=1e-9)
    [far] = [f for f in result.flows[0].findings if f.code == "leakage far from its test"]
    assert far.rows.tolist() == [False, False, True]


RECORD = """title = "Leaky chamber"
date = 2026-07-14
[air.meter]
temperature = "20 degC ± 0.3 degC"
pressure = "1000 hPa ± 1 hPa"
relative_humidity = "50 % ± 3 %"
[instruments.manometer]
measures = "pressure difference"
accuracy = "0.5 % of reading + 0.25 Pa"
[nozzles.A]
diameter = "150 mm"
[chambers.receiving]
leak = "18 m3/h ± 3 m3/h"
leak_drop = "50 Pa"
pressure = "35 Pa"
[[flow]]
method = "nozzle"
open = ["A"]
drop = "250 Pa"
leaks = ["receiving"]
meter_side = "downstream"
"""


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('leak = "18 m3/h ± 3 m3/h"\n', "", "line 12, chambers.receiving: read no leak", "Add leak = "),
        ("18 m3/h ± 3 m3/h", "18 m3 ± 3 m3", "line 13, chambers.receiving.leak", "'m3' is not a unit of flow"),
        ("18 m3/h ± 3 m3/h", "-18 m3/h", "line 13, chambers.receiving.leak", "at least 0 m3/h"),
        ("18 m3/h ± 3 m3/h", "0 m3/h", "line 13, chambers.receiving.leak", "a leakage above 0"),
        ("18 m3/h ± 3 m3/h", "1O m3/h", "line 13, chambers.receiving.leak", "letter O"),
        ('leak_drop = "50 Pa"', 'leak_drop = "0 Pa"', "line 14, chambers.receiving.leak_drop", "above 0 Pa"),
        ('leak_drop = "50 Pa"\n', "", "line 12, chambers.receiving: read no leak_drop", "leak with leak_drop"),
        ('"50 Pa"', '"50 Pa"\nleak_exponent = "2"', "line 15, chambers.receiving.leak_exponent", "from 0.4 to 1.1"),
        ('pressure = "35 Pa"\n[[', "[[", "line 12, chambers.receiving: read no pressure", "gauge static pressure"),
        ('"35 Pa"', '"35 m"', "line 15, chambers.receiving.pressure", "'m' is not a unit of pressure difference"),
        ('pressure = "35 Pa"', 'presure = "35 Pa"', "line 15, chambers.receiving.presure", "Did you mean pressure?"),
        ('leaks = ["receiving"]', 'leaks = ["recieving"]', "line 20, flow[1].leaks", "Did you mean receiving?"),
        ('meter_side = "downstream"\n', "", "line 16, flow[1]: read no meter_side", "the sign of the leakage"),
        ('"downstream"', '"down"', "line 21, flow[1].meter_side", "one of: downstream, upstream"),
        ("[chambers.receiving]", "[chambers]", "line 13, chambers.leak", "a table [chambers.leak]"),
    ],
)
def test_bad_input(tmp_path: Path, old: str, new: str, where: str, said: str) -> None:
    Rig(tmp_path).tells(edited(RECORD, old, new), where, said)
