"""JSON, CSV and terminal text of a result."""

from __future__ import annotations

import csv
import io
import json
import math
from datetime import date

import pytest

import flowrig
from flowrig.report.as_csv import result_csv
from flowrig.report.as_json import result_json
from flowrig.report.lines import rounded
from flowrig.report.text import batch_text, result_text
from tests.studies.records import nozzle


def stored(tmp_path, record, name):
    path = tmp_path / name
    path.write_text(result_json(flowrig.reduce(record)), encoding="utf-8")
    return path


def test_json_holds_the_contract():
    body = json.loads(result_json(flowrig.reduce(nozzle(drop=["250 Pa", "251 Pa", "250.4 Pa"]))))
    assert body["contract"] == 3
    assert body["tool"]["name"] == "flowrig"
    assert set(body["record"]["files"]) == {"record"}
    [measurement] = body["measurements"]
    for estimate in measurement["estimates"]:
        assert set(estimate) >= {
            "name",
            "value",
            "unit",
            "standard_uncertainty",
            "dof",
            "coverage",
            "coverage_factor",
            "interval",
            "interval_from",
            "budget",
            "parts",
            "flags",
        }
        assert estimate["interval"][0] < estimate["value"] < estimate["interval"][1]
        assert sum(line["share"] for line in estimate["budget"]) == pytest.approx(1)
        total = math.sqrt(sum(line["contribution"] ** 2 for line in estimate["budget"]))
        assert total == pytest.approx(estimate["standard_uncertainty"], rel=1e-9)
    assert {"code", "message", "severity"} == set(measurement["flags"][0])
    assert measurement["air"]["meter"]["density"]["value"] == pytest.approx(1.1993, rel=1e-3)


def test_infinite_dof_is_null():
    body = json.loads(result_json(flowrig.reduce(nozzle())))
    assert body["measurements"][0]["estimates"][0]["dof"] is None


def test_stored_results_reload_still_correlated(tmp_path):
    one, two = nozzle(), nozzle(drop="300 Pa")
    paths = [stored(tmp_path, r, f"{i}.json") for i, r in enumerate((one, two))]
    a, b = (next(iter(flowrig.load_json(p).values()))["actual_flow_meter"] for p in paths)
    x, y = flowrig.reduce(one).flow.estimate, flowrig.reduce(two).flow.estimate
    assert float(a.value) == pytest.approx(float(x.value), rel=1e-12)
    assert float(a.u) == pytest.approx(float(x.u), rel=1e-9)
    assert float(a.cov(b)) == pytest.approx(float(x.cov(y)), rel=1e-9)
    assert float(a.cov(b)) > 0.5 * float(a.u * b.u)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"contract": 99, "measurements": []}', '{"contract": "1"}'])
def test_other_files_are_not_taken_for_results(tmp_path, text):
    path = tmp_path / "x.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(flowrig.InputError):
        flowrig.load_json(path)


def test_csv_of_one_result():
    [*lines] = csv.DictReader(io.StringIO(result_csv(flowrig.reduce(nozzle()))))
    assert [line["quantity"] for line in lines] == ["actual_flow_meter", "standard_flow", "mass_flow"]
    assert float(lines[0]["low"]) < float(lines[0]["value"]) < float(lines[0]["high"])
    assert "chamber size unknown" in lines[0]["flags"]


def test_csv_and_json_of_a_batch(tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("test,drop [Pa]\na,250\nb,0.1\n", encoding="utf-8")
    result = flowrig.reduce_rows(nozzle(), table)
    lines = list(csv.DictReader(io.StringIO(result_csv(result))))
    assert [line["test"] for line in lines] == ["a", "b"]
    assert "below noise" in lines[1]["flags"]
    assert "below noise" not in lines[0]["flags"]
    assert float(lines[0]["actual_flow_meter [m3/h]"]) == pytest.approx(float(result.flow.value[0]))
    body = json.loads(result_json(result))
    flow = body["measurements"][0]["estimates"][0]
    assert len(flow["value"]) == 2
    assert "below noise" in flow["flags"][1]
    assert body["rows"]["test"] == ["a", "b"]
    assert "2 rows" in batch_text(result)


def test_text_says_what_it_must():
    record = nozzle(drop=["250 Pa", "251 Pa", "250.4 Pa"])
    record["flow_unit"] = "cfm"
    record["invented"] = True
    record["air"]["unit"] = {"temperature": "30 degC", "pressure": "1010 hPa", "relative_humidity": "40 %"}
    result = flowrig.reduce(record)
    text = result_text(result)
    for words in (
        "A nozzle",
        "cfm",
        "95 %",
        "interval",
        "air at the unit",
        "air at the meter",
        "standard flow, 1.2 kg/m3",
        "mass flow",
        "kg/m3",
        "Largest causes",
        "nozzle coefficient",
        "Invented",
        "m3/h",
        "L/s",
        "few readings",
    ):
        assert words in text
    assert all(len(line) <= 80 for line in text.splitlines())


@pytest.mark.parametrize(
    ("u", "values", "shown"),
    [
        (12.4, (1234.5678, 1222.0), ["1235", "1222"]),
        (0.000126, (0.0123456, 0.0121), ["0.01235", "0.01210"]),
        (1690.0, (98765.0, 102000.0), ["98800", "102000"]),
        (0.0996, (5.0,), ["5.00"]),
        (0.0994, (5.0,), ["5.000"]),
        (0.0, (5.0,), ["5"]),
    ],
)
def test_two_digits_of_the_standard_uncertainty(u, values, shown):
    assert rounded(u, *values) == shown


def test_csv_of_parts_can_be_filtered():
    """Flags of a part on lines of their own, its alarms on its numbers too; every number by the words of the text."""
    meters = {
        "watts": {"measures": "power", "serial": "W1", "accuracy": "1 % of reading"},
        "sound": {"measures": "sound level", "serial": "S1", "accuracy": "0.9 dB"},
    }
    record = {
        "title": "A fan",
        "date": date(2026, 8, 21),
        "invented": True,
        "instruments": meters,
        "electrical": {"power": "91 W", "speed_control": "a lamp dimmer"},
        "sound": {"level": "52 dB", "background": "30 dB", "distance": "1 m"},
        "sound_at": [{"name": "two", "units": 2}],
    }
    result = flowrig.reduce(record)
    lines = list(csv.DictReader(io.StringIO(result_csv(result))))
    for title, part in (("Electrical power", "electrical"), ("Sound, A-weighted", "sound")):
        own = [line for line in lines if line["measurement"] == title]
        flags = [(line["flags"], line["message"]) for line in own if line["quantity"] == "flag"]
        findings = result.parts[part].findings
        marks = ["ALARM " * (f.severity == "alarm") + f.code for f in findings]
        assert flags == [(mark, f.message) for mark, f in zip(marks, findings, strict=True)]
        assert len(flags) > 2
        numbers = [line for line in own if line["quantity"] != "flag"]
        alarm = "ALARM motor on a lamp dimmer" if part == "electrical" else ""
        assert {line["flags"] for line in numbers} == {alarm}
        text = result_text(result).casefold()
        assert all(line["label"].casefold() in text and line["value"] for line in numbers)
    assert [line["label"] for line in lines if line["quantity"] == "level_at_1"] == ["level, two, 2 units"]
    frame = result.to_frame()
    assert frame[frame["quantity"] != "flag"]["value"].notna().all()
