"""A plan on paper: everything that is known stands in the text, within its width, and again in JSON and CSV."""

from __future__ import annotations

import csv
import io
import json

import pytest

import flowrig
from flowrig.report.plan_tables import plan_csv, plan_json
from flowrig.report.plan_text import plan_text
from tests.studies.plans import planned, record_of

KINDS = ("nozzle", "orifice plate", "box", "hood", "hood turned", "pitot traverse", "vane traverse")


LOGGED = {"log": "3 min", "stretch": "5 s"}  # a grid is not logged


@pytest.mark.parametrize(
    ("kind", "logged"), [*((kind, {}) for kind in KINDS), *((kind, LOGGED) for kind in KINDS if "traverse" not in kind)]
)
def test_text_keeps_its_width_and_says_everything(kind, logged):
    plan = flowrig.plan(record_of(kind, **logged), target="0.3 %")
    [outlook] = plan.outlooks
    text = plan_text(plan)
    assert [line for line in text.splitlines() if len(line) > 80 or line != line.rstrip()] == []
    flat = " ".join(text.split())
    assert f"half-width {100 * outlook.half:#.3g} % of the flow; target 0.300 %, not reached" in flat
    for line in outlook.lines:
        if line.change.sort not in ("readings", "hardware"):
            assert " ".join(line.change.words.removesuffix(" not read").split()) in flat, line.change.words
    assert f"The furthest that it leads is {100 * outlook.end:#.3g} %" in flat or not outlook.route
    assert "Floor: " in flat


def test_text_says_how_the_target_is_reached():
    record = planned(readings=3, scatter="2 %")
    plan = flowrig.plan(record, target="2 %")
    [outlook] = plan.outlooks
    text = plan_text(plan)
    assert f"    {outlook.least} readings reach 2.00 %, nothing else changed." in text
    assert f"  To reach 2.00 %\n    1. {outlook.least} readings: " in text
    reached = plan_text(flowrig.plan(record, target="20 %"))
    assert "target 20.0 %, reached" in reached
    assert "The target of 20.0 % is reached as planned." in reached


def test_several_measurements_stand_side_by_side():
    record = planned("400 m3/h")
    record["flow"][0]["name"] = "wide"
    record["flow"].append({"name": "narrow", "method": "nozzle", "open": ["B"], "static": "0 Pa"})
    text = plan_text(flowrig.plan(record))
    side = text[text.index("Side by side") :].splitlines()
    assert [line.split()[0] for line in side[1:3]] == ["narrow", "wide"]  # the drop of the wide one is small


def test_json_holds_what_the_plan_holds():
    plan = flowrig.plan(planned(), target="2 %", unit="L/s")
    [outlook] = plan.outlooks
    body = json.loads(plan_json(plan))
    [said] = body["measurements"]
    assert said["expected"]["unit"] == "L/s"
    assert said["expected"]["value"] == pytest.approx(600 / 3.6, rel=1e-3)
    low, high = said["expected"]["interval"]
    assert (high - low) / 2 / said["expected"]["value"] == pytest.approx(said["half_width"], rel=1e-9)
    assert [c["change"] for c in said["changes"]] == [line.change.words for line in outlook.lines]
    assert said["floor"]["half_width"] < said["half_width"]
    assert said["expected_readings"] == outlook.readings
    assert sum(line["share"] for line in said["expected"]["budget"]) == pytest.approx(1, rel=1e-9)


def test_csv_has_a_line_a_change_and_no_made_up_number_where_nothing_is_possible():
    record = planned("1400 m3/h")
    record["nozzles"]["tiny"] = {"diameter": "20 mm ± 0.1 mm"}
    rows = list(csv.DictReader(io.StringIO(plan_csv(flowrig.plan(record)))))
    [tiny] = [row for row in rows if row["change"] == "open: tiny"]
    assert tiny["verdict"] == "not possible"
    assert tiny["half-width [%]"] == tiny["gain [%]"] == ""
    half = float(rows[0]["half-width [%]"])
    for row in rows[1:-1]:
        if row["half-width [%]"]:
            assert float(row["gain [%]"]) == pytest.approx(half - float(row["half-width [%]"]), abs=2e-5)
