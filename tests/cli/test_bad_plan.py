"""`flowrig plan` with bad input: one clear report, exit code 2, no file touched; with good input, what it writes."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.rig import OLD_JSON, OUTPUTS, RECORD, Rig, edited, spread

DROP = 'drop = ["182.3 Pa", "183.1 Pa", "181.8 Pa"]\n'
PLAN = '[plan]\nflow = "700 m3/h"\ntarget = "3 %"\n\n'
PLANNED = edited(edited(RECORD, DROP, ""), "[nozzles.A]", PLAN + "[nozzles.A]")


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=PLANNED)
    return rig


def test_the_sound_plan_is_sound(rig: Rig) -> None:
    code, out, err = rig.run("plan", "record.toml", *OUTPUTS)
    assert (code, err) == (0, "")
    assert "To be expected: 700" in out
    body = json.loads((rig.folder / "result.json").read_text(encoding="utf-8"))
    [planned] = body["measurements"]
    assert planned["reached"] is True
    assert body["target"] == 0.03
    rows = list(csv.DictReader(io.StringIO((rig.folder / "result.csv").read_text(encoding="utf-8"))))
    assert [row["sort"] for row in (rows[0], rows[-1])] == ["planned", "floor"]
    assert len(rows) == len(planned["changes"]) + 2
    assert float(rows[0]["half-width [%]"]) == pytest.approx(100 * planned["half_width"], rel=1e-5)


FLOW = 'flow = "700 m3/h"'
TARGET = 'target = "3 %"'
BAD = spread(
    2,
    ("no plan", PLAN, "", ("record.toml", "no [plan]", 'Add [plan] with flow = "600 m3/h"')),
    ("another name", "[plan]", "[plans]", ("record.toml, line", "a table plans", "Did you mean [plan]?")),
    ("no flow", FLOW + "\n", "", ("record.toml, line 27, plan", "no flow", "Add flow =")),
    ("no flow at all", FLOW, 'flow = "0 m3/h"', ("record.toml, line 28, plan.flow", "'0 m3/h'", "a flow above 0 m3/h")),
    ("backwards", FLOW, 'flow = "-5 m3/h"', ("record.toml, line 28, plan.flow", "'-5 m3/h'", "above 0 m3/h")),
    ("a speed", FLOW, 'flow = "5 m/s"', ("record.toml, line 28, plan.flow", "'m/s' is not a unit of flow")),
    ("without unit", FLOW, "flow = 700", ("record.toml, line 28, plan.flow", "read 700", "write it in quotes")),
    ("with a ±", FLOW, 'flow = "700 m3/h ± 5 m3/h"', ("record.toml, line 28, plan.flow", "without a ±", "Take the ±")),
    ("too much", FLOW, 'flow = "900000 m3/h"', ("record.toml, line 28, plan.flow", "900000 m3/h, for", "too small or")),
    ("nothing wanted", TARGET, 'target = "0 %"', ("record.toml, line 29, plan.target", "'0 %'", "at most 50 %")),
    ("all wanted", TARGET, 'target = "150 %"', ("record.toml, line 29, plan.target", "'150 %'", "at most 50 %")),
    ("a flow wanted", TARGET, 'target = "5 m3/h"', ("record.toml, line 29, plan.target", "a ratio")),
    ("no reading", TARGET, "readings = 0", ("record.toml, line 29, plan.readings", "from 1 to 10000")),
    ("half a reading", TARGET, "readings = 2.5", ("record.toml, line 29, plan.readings", "read 2.5", "whole number")),
    ("quoted", TARGET, 'readings = "5"', ("record.toml, line 29, plan.readings", "without quotes")),
    ("slipped", TARGET, "reading = 5", ("record.toml, line 29, plan.reading", "Did you mean readings?")),
    ("log and readings", TARGET, 'readings = 5\nlog = "5 min"', ("record.toml, line 29, plan.readings", "of a log")),
    ("short log", TARGET, 'log = "15 s"', ("record.toml, line 29, plan.log", "two independent stretches")),
    ("log in metres", TARGET, 'log = "15 m"', ("record.toml, line 29, plan.log", "is not a unit of time")),
    ("no scatter", TARGET, 'scatter = "0 %"', ("record.toml, line 29, plan.scatter", "above 0 %")),
    ("no temperature", 'temperature = "23.4 degC"\n', "", ("record.toml, line 4, air.meter", "no temperature", "Add")),
    ("no nozzle", 'open = ["A"]', 'open = ["Z"]', ("record.toml, line 39, flow[1].open", "'Z'", "one of: A, B")),
    ("two tables", "[plan]", "[[plan]]",
     ("record.toml, line 27, plan", "expected a table [plan]", "single brackets")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), BAD)
def test_a_bad_plan_gets_one_clear_report(rig: Rig, old: str, new: str, says: tuple[Any, ...]) -> None:
    rig.lay_out(record_toml=edited(PLANNED, old, new))
    rig.refuses("record.toml", says=says, command="plan")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--target", "0 %"), ("--target", "'0 %'", "above 0 % and of at most 50 %")),
        (("--target", "150 %"), ("--target", "'150 %'", "at most 50 %")),
        (("--target", "much"), ("--target", "'much'", 'a ratio, such as "3 %"')),
        (("--coverage", "3"), ("--coverage", "'3'", "a probability")),
        (("--unit", "Pa"), ("--unit", "'Pa'", "a unit of flow")),
    ],
)
def test_bad_options(rig: Rig, arguments: tuple[str, ...], says: tuple[str, ...]) -> None:
    rig.refuses("record.toml", *arguments, says=(says,), command="plan")


def test_a_reading_without_its_instrument_is_told_as_ever(rig: Rig) -> None:
    blind = edited(PLANNED, PLANNED[PLANNED.index("[instruments.manometer]") : PLANNED.index("[instruments.therm")], "")
    rig.lay_out(record_toml=blind)
    said = "a reading without an instrument"
    rig.refuses("record.toml", says=(("record.toml, line", "static", said), ("record.toml, line", "drop", said)),
                command="plan")  # fmt: skip


def test_an_output_may_not_be_the_record(rig: Rig) -> None:
    before = rig.contents()
    code, out, err = rig.run("plan", "record.toml", "--csv", "record.toml")
    assert (code, out) == (2, "")
    assert "a file of its own" in err
    assert rig.contents() == before


def test_outputs_are_written_all_or_none(rig: Rig) -> None:
    rig.lay_out(result_json=OLD_JSON)
    code, _, err = rig.run("plan", "record.toml", "--json", "result.json", "--csv", "nowhere/result.csv")
    assert code == 2
    assert "nowhere" in err
    assert (rig.folder / "result.json").read_text(encoding="utf-8") == OLD_JSON


def test_a_reduction_of_a_plan_asks_for_its_readings(rig: Rig) -> None:
    rig.refuses("record.toml", says=(("record.toml, line", "flow[1]", "no drop", "Add drop ="),))


def test_a_reduction_reads_past_the_plan_whatever_it_holds(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(RECORD, "[nozzles.A]", '[plan]\nflow = "much"\n\n[nozzles.A]'))
    code, _, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, "")


def test_quiet_prints_alarms_alone(rig: Rig) -> None:
    assert rig.run("plan", "record.toml", "--quiet") == (0, "", "")
    slow = edited(PLANNED, FLOW, 'flow = "40 m3/h"')
    rig.lay_out(record_toml=slow)
    code, out, err = rig.run("plan", "record.toml", "--quiet")
    assert (code, out) == (0, "")
    assert err.startswith("ALARM, low Reynolds number")


def test_a_grid_that_is_named_must_be_there(rig: Rig) -> None:
    record = PLANNED[: PLANNED.index("[nozzles.A]")] + (
        '[ducts.main]\nwidth = "600 mm"\nheight = "400 mm"\n\n[[flow]]\nmethod = "pitot-traverse"\nduct = "main"\n'
        'rule = "log-tchebycheff"\nacross = 5\ndown = 5\n'
    )
    rig.lay_out(record_toml=record)
    assert rig.run("plan", "record.toml")[0] == 0
    rig.lay_out(record_toml=record + 'grid = "traverse.csv"\n')
    rig.refuses("record.toml", says=(("record.toml, line", "no file 'traverse.csv'"),), command="plan")
