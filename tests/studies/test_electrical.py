"""Watts at the socket: true ones, volt-amperes, and the factor between them."""

from __future__ import annotations

import csv
import json
import math
import re
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.report.as_csv import result_csv
from flowrig.report.as_json import load_json, result_json
from flowrig.report.text import result_text
from flowrig.studies.electrical import electrical
from flowrig.studies.result import PartResult
from tests.studies.cleaners import codes
from tests.studies.records import nozzle

METERS = {
    "watts": {"measures": "power", "serial": "W1", "accuracy": "1 % of reading + 0.5 W"},
    "apparent": {"measures": "apparent power", "serial": "W1", "accuracy": "1 % of reading + 1 VA"},
    "factor": {"measures": "power factor", "serial": "W1", "accuracy": "0.02"},
    "volts": {"measures": "voltage", "serial": "V1", "accuracy": "0.5 % of reading"},
    "amperes": {"measures": "current", "serial": "V1", "accuracy": "1 % of reading"},
}
STATE = {"setting": "high", "filter_state": "four, new"}
ROOT3 = math.sqrt(3)


def alone(**read: Any) -> dict[str, Any]:
    heading = {"title": "A fan", "date": date(2026, 8, 21), "invented": True}
    return heading | {"instruments": METERS, "electrical": STATE | read}


def part(**read: Any) -> PartResult:
    return flowrig.reduce(alone(**read)).parts["electrical"]


def test_true_watts_volt_amperes_and_their_factor():
    found = part(power=["91.0 W", "92.0 W", "91.6 W"], apparent="148 VA", standby="0.4 W")
    mean = (91.0 + 92.0 + 91.6) / 3
    q = found.quantities
    assert list(q) == ["power", "apparent_power", "power_factor", "standby"]
    assert q["power"].value == pytest.approx(mean)
    assert q["power_factor"].value == pytest.approx(mean / 148)
    scatter = np.std([91.0, 92.0, 91.6], ddof=1) / ROOT3
    shares = (math.hypot((0.01 * mean + 0.5) / ROOT3, scatter) / mean, 2.48 / ROOT3 / 148)
    assert q["power_factor"].u == pytest.approx(mean / 148 * math.hypot(*shares), rel=1e-3)
    assert q["standby"].value == pytest.approx(0.4)
    assert not any(f.severity == "alarm" for f in found.findings)
    # without watts the volt-amperes and their factor give them
    by_factor = part(apparent="148 VA", power_factor=0.62).quantities["power"]
    assert by_factor.value == pytest.approx(148 * 0.62)
    assert by_factor.u == pytest.approx(148 * 0.62 * math.hypot(2.48 / 148, 0.02 / 0.62) / ROOT3, rel=1e-3)


def test_volts_times_amperes():
    found = part(power="91 W", voltage="120 V", current="1.25 A").quantities
    assert found["apparent_power"].value == pytest.approx(150.0)
    assert found["apparent_power"].u == pytest.approx(150 * math.hypot(0.005, 0.01) / ROOT3, rel=1e-4)
    assert found["power_factor"].value == pytest.approx(91 / 150)
    # a voltage alone is no more than a note of it
    assert "apparent_power" not in part(power="91 W", voltage="120 V").quantities


@pytest.mark.parametrize(
    ("read", "most", "limit", "said"),
    [
        ({"power": "110 W", "power_is": "volts times amperes"}, 110.0, 1.6, "volts times amperes"),
        ({"power": "110 W", "power_is": "not known"}, 110.0, 1.6, "not known"),
        ({"apparent": "110 VA"}, 110.0, 2.1, "volt-amperes without a power factor"),
        ({"power": "90 W", "power_is": "not known", "apparent": "110 VA"}, 90.0, 1.4, "not known"),
    ],
)
def test_a_meter_that_cannot_tell_gives_an_upper_bound_alone(
    read: dict[str, str], most: float, limit: float, said: str
) -> None:
    result = flowrig.reduce(alone(**read))
    found = result.parts["electrical"]
    assert "power" not in found.quantities
    q = found.quantities["power_at_most"]
    assert q.bound == "at most"
    assert float(q.estimate.value) == pytest.approx(most)
    assert q.low == -math.inf
    # 95 % of a rectangle lie below 0.9 of its half-width
    assert float(q.high) == pytest.approx(most + 0.9 * limit, abs=0.02)
    [flag] = [f for f in found.findings if f.code == "watts as an upper bound"]
    assert said in flag.message
    [told] = re.findall(r"Electrical power +at most ([\d.]+) W", result_text(result))
    assert float(told) == pytest.approx(float(q.high), abs=0.06)
    body = json.loads(result_json(result))["parts"]["electrical"]["estimates"][0]
    assert (body["bound"], body["interval"]) == ("at most", [None, float(q.high)])
    [line] = [x for x in csv.DictReader(result_csv(result).splitlines()) if x["quantity"] == "power_at_most"]
    assert line["low"] == ""
    assert float(line["high"]) == pytest.approx(float(q.high))


def test_a_bound_becomes_watts_once_the_factor_is_read():
    found = part(power="110 W", power_is="volts times amperes", power_factor=0.62).quantities
    assert found["power"].value == pytest.approx(68.2)
    assert found["apparent_power"].value == pytest.approx(110.0)


def test_more_watts_than_volt_amperes_is_impossible():
    wrong = part(power="160 W", apparent="148 VA")
    [flag] = [f for f in wrong.findings if f.severity == "alarm"]
    assert flag.code == "more watts than volt-amperes"
    assert flag.message == "160 W of 148 VA"
    # within the error bars it is what meters do
    assert "more watts than volt-amperes" not in codes(part(power="149 W", apparent="148 VA").findings)


def test_readings_at_odds():
    assert "electrical readings at odds" in codes(part(power="91 W", apparent="148 VA", power_factor=0.8).findings)
    assert "electrical readings at odds" not in codes(part(power="91 W", apparent="148 VA", power_factor=0.62).findings)
    apart = part(power="91 W", apparent="148 VA", voltage="120 V", current="1.4 A")
    [flag] = [f for f in apart.findings if f.code == "electrical readings at odds"]
    assert flag.message == "volt-amperes shown 148 VA, volts times amperes 168 VA"


def test_notes_and_cautions():
    bare = alone(power="91 W")
    bare["electrical"] = {"power": "91 W"}
    taken, unsaid = flowrig.reduce(bare).parts["electrical"].findings
    assert (taken.code, taken.message) == ("assumed", "the watt meter tells true watts from volts times amperes")
    assert (unsaid.code, unsaid.message) == (
        "setting or filters not said",
        "electrical: no setting and no filter_state",
    )
    assert part(power="91 W", power_is="true power").findings == []
    assert part(power="91 W", apparent="148 VA").findings == []  # a meter that shows both can tell them
    [dimmed] = part(power="91 W", apparent="148 VA", speed_control="a lamp dimmer").findings
    assert (dimmed.code, dimmed.severity) == ("motor on a lamp dimmer", "alarm")
    assert "licensed electrician" in dimmed.meaning.meaning


def with_flow(**electrical: Any) -> dict[str, Any]:
    record = nozzle()
    return record | {"instruments": record["instruments"] | METERS, "electrical": STATE | electrical}


def test_flow_for_each_watt():
    result = flowrig.reduce(with_flow(power="91 W"), unit="cfm")
    q = result.parts["electrical"].quantities["flow_per_power"]
    assert q.unit == "cfm/W"
    assert q.value == pytest.approx(result.flow.value / 91)
    share = math.hypot(float(result.flow.u / result.flow.value), 1.41 / ROOT3 / 91)
    assert q.u / q.value == pytest.approx(share, rel=1e-3)
    bound = flowrig.reduce(with_flow(power="91 W", power_is="not known")).parts["electrical"].quantities
    assert bound["flow_per_power"].bound == "at least"
    assert bound["flow_per_power"].low < result.flow.to("m3/h").value / 91
    assert bound["flow_per_power"].high == math.inf


def test_which_of_several_flows():
    record = with_flow(power="91 W")
    flow = record["flow"][0]
    record["flow"] = [flow | {"of": "high"}, flow | {"of": "low", "drop": "100 Pa"}]
    quiet = flowrig.reduce(record).parts["electrical"]
    assert "flow_per_power" not in quiet.quantities
    assert "which flow not said" in codes(quiet.findings)
    record["electrical"]["of"] = "Low"
    result = flowrig.reduce(record)
    q = result.parts["electrical"].quantities["flow_per_power"]
    assert q.value == pytest.approx(result.flows[1].main.value / 91)
    record["electrical"]["of"] = "medium"
    with pytest.raises(flowrig.InputError, match="one of: 'high', 'low'"):
        flowrig.reduce(record)


def test_a_bound_against_a_claim():
    record = with_flow(power="110 W", power_is="volts times amperes") | {"claims": {"power": "130 W"}}
    [claim] = flowrig.reduce(record).claims
    assert claim.ratios[0].bound == "at most"
    assert claim.ratios[0].high == pytest.approx(100 * (110 + 0.9 * 1.6) / 130, abs=0.02)
    assert claim.sentences == [
        "The measured electrical power (as read; electrical power) is at most 85.7 % of the stated 130 W.",
        "That is less than is stated.",
    ]
    record["claims"]["power"] = "95 W"
    assert "Whether it is more than is stated cannot be told." in flowrig.reduce(record).claims[0].sentences


def test_what_is_stored_is_loaded_again(tmp_path):
    result = flowrig.reduce(alone(power="91 W", apparent="148 VA"))
    path = tmp_path / "watts.json"
    path.write_text(result_json(result), encoding="utf-8")
    loaded = load_json(path)["electrical"]
    for name, q in result.parts["electrical"].quantities.items():
        assert float(loaded[name].value) == pytest.approx(float(q.estimate.value), rel=1e-12)
        assert float(loaded[name].u) == pytest.approx(float(q.estimate.u), rel=1e-9)


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ({}, "no power"),
        ({"current": "1.2 A"}, "no voltage"),
        ({"voltage": "120 V"}, "no power"),
        ({"apparent": "148 VA", "power_is": "not known"}, "a power that it is said of"),
        ({"power": "91 VA"}, "it is one of apparent power"),
        ({"power": "91"}, "electrical.power"),
        ({"apparent": "148 W"}, "electrical.apparent"),
        ({"power": "91 W", "power_factor": 1.2}, "to 1"),
        ({"power": "91 W", "power_factor": "62 %"}, "electrical.power_factor"),
        ({"power": "91 W", "power_is": "true"}, 'Did you mean "true power"?'),
        ({"power": "91 W", "with": "volts"}, "which measures voltage"),
        ({"power": "91 W", "speed_control": "dimmer"}, "a lamp dimmer"),
    ],
)  # fmt: skip
def test_bad_readings(read: dict[str, Any], said: str) -> None:
    with pytest.raises(flowrig.InputError) as caught:
        flowrig.reduce(alone(**read))
    assert said in str(caught.value)
    assert len(caught.value.faults) == 1


def test_clean_air_for_each_watt():
    """Of a part that stands before it and tells a clean-air rate; one that has divided it itself is left alone."""
    result = flowrig.reduce(with_flow(power="91 W"))
    rate = replace(result.flow, name="clean_air_smoke", label="clean-air rate")
    result.parts = {"particles": PartResult("particles", "Particles", {"clean_air_smoke": rate})}
    q = electrical(result).quantities["clean_air_smoke_per_power"]
    assert (q.label, q.unit) == ("clean-air rate, for each watt", "m3/h/W")
    assert q.value == pytest.approx(result.flow.value / 91)
    result.parts["particles"].quantities["own"] = replace(rate, kind="flow per power", unit="m3/h/W")
    assert "clean_air_smoke_per_power" not in electrical(result).quantities


def flagged(severity: str, **read: Any) -> tuple[list[str], list[str]]:
    """Codes of a severity, and the names of all numbers that are told."""
    result = flowrig.reduce(with_flow(**read))
    found = result.parts["electrical"]
    return [f.code for f in found.findings if f.severity == severity], list(found.quantities)


def test_no_number_is_made_of_what_cannot_be():
    assert flagged("alarm", power="160 W", apparent="148 VA") == (
        ["more watts than volt-amperes"],
        ["power", "apparent_power"],
    )
    # neither is a limit made of it, where the meter may not tell watts
    assert flagged("alarm", power="160 W", apparent="148 VA", power_is="not known") == (
        ["more watts than volt-amperes"],
        ["power_at_most", "apparent_power"],
    )
    assert flagged("alarm", power="2 W", standby="91 W") == (["more watts off than on"], ["power", "standby"])
    assert flagged("alarm", power="91 W", standby="90.9 W")[0] == []
    assert flagged("alarm", power="0.4 W") == (["power not told"], ["power"])  # the meter's limit is 0.5 W
    assert flagged("alarm", power="0.9 W") == ([], ["power", "flow_per_power"])


def test_a_factor_above_one_within_its_bar_is_told_as_a_lower_limit():
    q = part(power="149 W", apparent="148 VA").quantities
    assert "power_factor" not in q
    assert q["power_factor_at_least"].bound == "at least"
    assert 0.97 < float(q["power_factor_at_least"].low) < 1.0


def test_a_factor_that_no_motor_has():
    assert "power factor hardly likely" in codes(part(power="9.1 W", apparent="148 VA").findings)
    assert "power factor hardly likely" not in codes(part(power="35 W", apparent="148 VA").findings)


def test_a_meter_that_multiplies_against_volt_amperes():
    found = part(power="90 W", power_is="volts times amperes", apparent="148 VA")
    assert "electrical readings at odds" in codes(found.findings)
    found = part(power="147 W", power_is="volts times amperes", apparent="148 VA")
    assert "electrical readings at odds" not in codes(found.findings)


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ({"power": "0 W", "apparent": "148 VA"}, "a power above 0"),
        ({"power": "91 W", "apparent": "0 VA"}, "an apparent above 0"),
        ({"power": ["91 W", "0 W"]}, "a power above 0"),
        ({"power": "91 W ± 91 W"}, "a ± smaller than the reading"),
        ({"power": "2 MW"}, "to 0.1 MW"),
        ({"power": "91 W", "of": "nobody"}, "the record holds no [[flow]]"),
    ],
)
def test_readings_that_nobody_can_mean(read: dict[str, Any], said: str) -> None:
    with pytest.raises(flowrig.InputError) as caught:
        flowrig.reduce(alone(**read))
    assert said in str(caught.value)
    assert len(caught.value.faults) == 1


def test_flow_for_each_watt_is_of_the_air_that_clean_air_is_told_of():
    """Room before meter, unit before both; the label says which."""
    record = with_flow(power="100 W")
    at_meter = flowrig.reduce(record).parts["electrical"].quantities["flow_per_power"]
    assert at_meter.label.endswith("air at the metering plane")
    record["air"] = {**record["air"], "room": {"temperature": "5 degC ± 0.1 degC", "pressure": "1013 hPa ± 1 hPa",
                                               "relative_humidity": "40 % ± 5 %RH"}}  # fmt: skip
    result = flowrig.reduce(record)
    at_room = result.parts["electrical"].quantities["flow_per_power"]
    assert at_room.label == "flow for each watt, air at the room"
    assert at_room.value == pytest.approx(result.flows[0]["actual_flow_room"].value / 100)
    assert at_room.value < 0.98 * at_meter.value
