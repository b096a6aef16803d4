"""A blank sheet reads as TOML, says what is still blank, and once filled reduces to what is known to be true."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.methods import NAMES, find_method
from flowrig.records import schema, unit_facts
from flowrig.records.write import write_text
from flowrig.studies.sheet import sheet
from tests.studies.fill_sheet import BLANK, fill

RECTANGLE = ("width=600 mm", "height=400 mm")
CIRCLE = ("diameter=315 mm",)
AREA = {RECTANGLE: 0.6 * 0.4, CIRCLE: math.pi / 4 * 0.315**2}
FACE = (*RECTANGLE, "kind=filter", "edge_strip=0 mm", "across=5", "down=5")
TRAVERSES = [name for name in NAMES if find_method(name).layout is not None]


def usual(method: str) -> tuple[str, ...]:
    """The least a sheet of this method has to be told."""
    if method not in TRAVERSES:
        return ()
    return RECTANGLE if any(table.name == "ducts" for table in find_method(method).hardware) else FACE


def written(folder: Path, method: str, *arguments: str) -> Path:
    for name, text in sheet(method, arguments).files.items():
        write_text(folder / name, text)
    return folder / "record.toml"


def moist_air_density() -> float:
    """Density of the filled sheets' air from ideal gases, by hand; good to some 0.1 %.

    Vapour pressure after Tetens; gas constants 287.05 and 461.5 J/(kg K). From memory.
    """
    vapour = 0.45 * 610.78 * math.exp(17.27 * 21.0 / (21.0 + 237.3))
    return (100_000.0 - vapour) / (287.05 * 294.15) + vapour / (461.5 * 294.15)


# ---- the blank sheet


@pytest.mark.parametrize("method", NAMES)
def test_a_blank_sheet_is_toml_with_every_field_live_or_in_a_comment(method):
    text = sheet(method, usual(method)).files["record.toml"]
    record = tomllib.loads(text)
    assert record["flow"][0]["method"] == method
    declared = find_method(method)
    grids = {f.name for f in declared.fields if getattr(f, "grid", False)}
    elsewhere = grids | {"per_radius", "diameters", "diameter"} if usual(method) else grids
    tables = (schema.HEADING, schema.AIR, schema.INSTRUMENT, unit_facts.CLAIMS, *declared.hardware)
    for name in {f.name for t in tables for f in t.fields} | {f.name for f in declared.fields} - elsewhere:
        if name not in elsewhere:
            assert re.search(rf"^(# )?{name} = ", text, re.MULTILINE), name


@pytest.mark.parametrize("method", NAMES)
def test_every_optional_line_is_toml_once_its_mark_is_taken_away(method):
    text = sheet(method, usual(method)).files["record.toml"]
    lines = re.findall(r"^# (\w+ = .+)$", text, re.MULTILINE)
    assert len(lines) > 10
    for line in lines:
        tomllib.loads(line)


@pytest.mark.parametrize("method", NAMES)
def test_comments_keep_to_80_columns_and_carry_cautions_and_units(method):
    text = sheet(method, usual(method)).files["record.toml"]
    comments = [line for line in text.splitlines() if line.startswith("#") and " = " not in line]
    assert max(map(len, comments)) <= 80
    words = " ".join(" ".join(line.lstrip("# ") for line in comments).split())
    for caution in find_method(method).cautions:
        assert caution.text in words
    assert "In degC, degF, K." in words
    assert "blade guard" in words


@pytest.mark.parametrize("method", NAMES)
def test_an_unfilled_sheet_lists_what_is_still_blank(method, tmp_path):
    path = written(tmp_path, method, *usual(method))
    with pytest.raises(InputError) as caught:
        flowrig.reduce(path)
    said = str(caught.value)
    wanted = ["no title", "no date", "temperature", "instruments.thermometer: read no accuracy"]
    blank = {found[1] for line in path.read_text().splitlines() if (found := BLANK.match(line))}
    wanted += [f"no {f.name}" for f in find_method(method).fields if f.required and f.name in blank]
    if method in TRAVERSES:
        wanted.append("at any of its 75 places")
    for words in wanted:
        assert words in said
    assert len(caught.value.faults) < 15


def test_a_heading_left_blank_is_the_only_fault_of_an_otherwise_full_sheet(tmp_path):
    path = written(tmp_path, "nozzle", "chamber_width=900 mm", "chamber_height=900 mm")
    fill(tmp_path)
    path.write_text(path.read_text().replace('title = "Invented rig, for a test"', 'title = ""'))
    with pytest.raises(InputError) as caught:
        flowrig.reduce(path)
    [fault] = caught.value.faults
    assert "no title" in fault.read


def test_blank_repeats_are_a_fault_each_once_some_are_filled(tmp_path):
    path = written(tmp_path, "nozzle")
    fill(tmp_path)
    path.write_text(path.read_text().replace('"250.0 Pa", "250.0 Pa"]', '"250.0 Pa", ""]'))
    with pytest.raises(InputError) as caught:
        flowrig.reduce(path)
    assert any("drop[5]" in fault.where for fault in caught.value.faults)


@pytest.mark.parametrize("method", TRAVERSES)
def test_one_blank_cell_of_a_single_pass_is_a_fault_that_names_the_place(method, tmp_path):
    path = written(tmp_path, method, *usual(method), "passes=1")
    fill(tmp_path, {"velocity": 5.0, "drop": 15.0})
    [grid] = tmp_path.glob("*.csv")
    lines = grid.read_text().splitlines()
    lines[8] = lines[8].rsplit(",", 1)[0] + ","
    grid.write_text("\n".join(lines) + "\n")
    with pytest.raises(InputError) as caught:
        flowrig.reduce(path)
    [fault] = caught.value.faults
    assert "row 2, column 3" in fault.read


# ---- a filled sheet reduces unchanged, to what is true


@pytest.mark.recomputed
@pytest.mark.parametrize("shape", [RECTANGLE, CIRCLE])
@pytest.mark.parametrize("rule", ["log-tchebycheff", "equal-area"])
@pytest.mark.parametrize("passes", [1, 2, 3])
def test_uniform_air_past_a_vane_is_velocity_times_area(shape, rule, passes, tmp_path):
    # exact: the mean of equal velocities is that velocity, and a vane is not corrected for density
    written(tmp_path, "vane-traverse", *shape, f"rule={rule}", f"passes={passes}", "yaw=0 deg", "blockage_area=0 cm2")
    flow = flowrig.reduce(fill(tmp_path, {"velocity": 5.0})).flow
    assert flow.to("m3/s").value == pytest.approx(5.0 * AREA[shape], rel=1e-9)
    assert 0.0 < float(flow.estimate.u) < 0.1 * 5.0 * AREA[shape]


@pytest.mark.recomputed
@pytest.mark.parametrize("shape", [RECTANGLE, CIRCLE])
def test_uniform_velocity_pressure_is_the_root_law_times_area(shape, tmp_path):
    # v = sqrt(2 p / rho); compressibility is 1e-4 at 10 m/s, the passes' spread 1 % of p biases the root by 1e-5
    written(tmp_path, "pitot-traverse", *shape, "yaw=0 deg", "blockage_area=0 cm2", "coefficient=1.000 ± 0.005")
    flow = flowrig.reduce(fill(tmp_path, {"drop": 60.0})).flow
    expected = math.sqrt(2 * 60.0 / moist_air_density()) * AREA[shape]
    assert flow.to("m3/s").value == pytest.approx(expected, rel=2e-3)


@pytest.mark.recomputed
def test_a_manometer_that_shows_velocity_is_corrected_to_the_density(tmp_path):
    # shown v at 1.2 kg/m3 (the middle of what is assumed where the datasheet is silent): v sqrt(1.2 / rho)
    written(
        tmp_path,
        "pitot-traverse",
        *CIRCLE,
        "reading=velocity",
        "yaw=0 deg",
        "blockage_area=0 cm2",
        "coefficient=1.000 ± 0.005",
    )
    assert "velocity [m/s]" in (tmp_path / "traverse.csv").read_text()
    assert "manometer" not in tomllib.loads((tmp_path / "record.toml").read_text())["instruments"]
    flow = flowrig.reduce(fill(tmp_path, {"velocity": 8.0})).flow
    expected = 8.0 * math.sqrt(1.2 / moist_air_density()) * AREA[CIRCLE]
    assert flow.to("m3/s").value == pytest.approx(expected, rel=2e-3)


@pytest.mark.recomputed
def test_a_thermal_probe_is_corrected_to_the_density(tmp_path):
    written(tmp_path, "thermal-traverse", *RECTANGLE, "yaw=0 deg", "blockage_area=0 cm2")
    flow = flowrig.reduce(fill(tmp_path, {"velocity": 3.0})).flow
    expected = 3.0 * 1.2 / moist_air_density() * AREA[RECTANGLE]
    assert flow.to("m3/s").value == pytest.approx(expected, rel=2e-3)


@pytest.mark.from_memory
def test_a_nozzle_bank_follows_the_standards_equation(tmp_path):
    # AMCA 210 / ISO 5801 (from memory): C = 0.9986 - 7.006/sqrt(Re) + 134.6/Re at L/D 0.6; Y = 1 - 0.548 (1 - r).
    # Viscosity of air at 21 degC 1.82e-5 Pa s. The moving air in the 0.81 m2 chamber adds 0.5 (sum CA / A)^2.
    written(tmp_path, "nozzle", "nozzles=A,B", "A=150 mm", "B=100 mm")
    flow = flowrig.reduce(fill(tmp_path)).flow
    density, total, effective = moist_air_density(), 0.0, 0.0
    for diameter in (0.150, 0.100):
        coefficient, area = 0.98, math.pi / 4 * diameter**2
        for _ in range(20):
            velocity = coefficient * math.sqrt(2 * 250.0 / density) * (1 - 0.548 * 250.0 / 100_000.0)
            reynolds = density * velocity * diameter / 1.82e-5
            coefficient = 0.9986 - 7.006 / math.sqrt(reynolds) + 134.6 / reynolds
        total += velocity * area
        effective += coefficient * area
    expected = total * (1 + 0.5 * (effective / 0.81) ** 2)
    assert flow.to("m3/s").value == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("method", NAMES)
def test_any_filled_sheet_reduces_to_a_finite_flow_with_an_error_bar(method, tmp_path):
    written(tmp_path, method, *usual(method))
    flow = flowrig.reduce(fill(tmp_path, {"drop": 60.0, "velocity": 5.0})).flow
    assert np.isfinite(flow.value)
    assert float(flow.low) < float(flow.value) < float(flow.high)


def test_another_reading_of_humidity_and_a_monitor_can_be_asked_for(tmp_path):
    path = written(tmp_path, "vane-traverse", *CIRCLE, "reading=wet_bulb,monitor")
    record = tomllib.loads(path.read_text())
    assert "wet_bulb" in record["air"]["meter"]
    assert "relative_humidity" not in record["air"]["meter"]
    assert "hygrometer" not in record["instruments"]
    assert (tmp_path / "traverse.csv").read_text().splitlines()[0].endswith("velocity [m/s],monitor [m/s]")
    assert np.isfinite(flowrig.reduce(fill(tmp_path, {"velocity": 5.0, "monitor": 4.0})).flow.value)


# ---- the plan


def test_defaults_follow_the_points_rule(tmp_path):
    # ASHRAE 111 practice (read on public pages): 5 below 762 mm, 6 to 914.4 mm, 7 above; 8 across a 315 mm circle
    flow = tomllib.loads(sheet("vane-traverse", ["width=800 mm", "height=1 m"]).files["record.toml"])["flow"][0]
    assert (flow["rule"], flow["across"], flow["down"]) == ("log-tchebycheff", 6, 7)
    assert "per_radius" not in flow
    flow = tomllib.loads(sheet("vane-traverse", CIRCLE).files["record.toml"])["flow"][0]
    assert (flow["rule"], flow["per_radius"], flow["diameters"]) == ("log-tchebycheff", 4, 2)


@pytest.mark.published
def test_positions_are_shown_in_mm_and_inches():
    # ISO 3966 / ASHRAE 111, log-Tchebycheff, 5 points: 0.074, 0.288, 0.500, 0.712, 0.926 of the side
    drawn = sheet("pitot-traverse", ["width=1000 mm", "height=10 in", "across=5", "down=5"])
    rows = re.findall(r"^ +\d +([\d.]+) +([\d.]+)$", drawn.positions, re.MULTILINE)
    across, down = rows[:5], rows[5:]
    assert [float(mm) for mm, _ in across] == pytest.approx([74, 288, 500, 712, 926], abs=0.5)
    assert [float(inch) for _, inch in down] == pytest.approx([0.74, 2.88, 5.0, 7.12, 9.26], abs=0.01)
    for line in drawn.positions.splitlines():
        assert f"# {line}".rstrip() in drawn.files["record.toml"].splitlines()


def test_the_grid_has_every_point_of_every_pass_once():
    text = sheet("pitot-traverse", [*CIRCLE, "rule=log-linear", "per_radius=3", "diameters=3", "passes=2"]).files
    head, *lines = text["traverse.csv"].splitlines()
    assert head == "pass,diameter,point,depth [mm],drop [Pa]"
    assert len(lines) == 2 * 3 * 6
    assert len({tuple(line.split(",")[:3]) for line in lines}) == len(lines)
    assert all(line.endswith(",") for line in lines)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["vane-traverse"], "width with height or diameter"),
        (["vane-traverse", "diameter=315"], "A unit of length is missing"),
        (["vane-traverse", "diameter=315 Pa"], "is not a unit of length"),
        (["vane-traverse", "width=400 mm"], "no height"),
        (["vane-traverse", "width=400 mm", "diameter=315 mm"], "only one of"),
        (["vane-traverse", *CIRCLE, "across=4"], "across=4"),
        (["vane-traverse", *CIRCLE, "per_radius=9"], "Choose a smaller number of points"),
        (["vane-traverse", *RECTANGLE, "rule=log-linear"], "log-tchebycheff or equal-area"),
        (["vane-traverse", *RECTANGLE, "rule=tchebycheff"], 'Did you mean "log-tchebycheff"'),
        (["vane-traverse", *RECTANGLE, "across=six"], "a whole number from 2 to 30"),
        (["vane-traverse", *RECTANGLE, "passes=0"], "a whole number from 1 to"),
        (["vane-traverse", *RECTANGLE, "reading=drop"], "one of: velocity"),
        (["pitot-traverse", *RECTANGLE, "reading=drop,velocity"], "only one of: drop, velocity"),
        (["pitot-traverse", *RECTANGLE, "grid=../away.csv"], "beside the record"),
        (["pitot-traverse", *RECTANGLE, "ducts=a,b"], "one name"),
        (["pitot-traverse", *RECTANGLE, "ducts=,"], "names of letters and digits"),
        (["nozzle", "nozzles=A,A"], "each once"),
        (["nozzle", "nozzles=A", "B=100 mm"], "one of the keys"),
        (["nozzle", "A=-150 mm"], "above 0 mm"),
        (["nozzle", "chamber_widht=900 mm"], "Did you mean chamber_width?"),
        (["nozzle", "title"], "KEY=VALUE"),
        (["nozzle", "title=a", "title=b"], "title once"),
        (["nozle"], "Did you mean nozzle?"),
    ],
)
def test_arguments_that_cannot_be_used(arguments, said):
    with pytest.raises(InputError) as caught:
        sheet(arguments[0], arguments[1:])
    assert said in str(caught.value)


def test_every_fault_of_the_arguments_is_in_one_report():
    with pytest.raises(InputError) as caught:
        sheet("nozzle", ["A=150", "across=5", "passes=many", "made=cast"])
    assert len(caught.value.faults) == 4


def test_words_are_quoted_so_that_they_come_back_as_written():
    title = 'A "quoted" title, C:\\rig – 12 % ±'
    text = sheet("nozzle", [f"title={title}", "invented=true", "date=2026-01-15"]).files["record.toml"]
    record = tomllib.loads(text)
    assert record["title"] == title
    assert record["invented"] is True
    assert str(record["date"]) == "2026-01-15"


@pytest.mark.parametrize("calibrates", ["box", "chamber"])
def test_a_sheet_for_a_calibration_is_filled_and_calibrated(tmp_path: Path, calibrates: str) -> None:
    path = written(tmp_path, "nozzle", "nozzles=A,B", "B=100 mm", f"calibrates={calibrates}")
    fill(tmp_path)
    points = tmp_path / "points.csv"
    head, *rows = points.read_text(encoding="utf-8").splitlines()
    assert head == "section,indication [Pa],drop [Pa],run,direction,mounting"
    drops = [10.0, 20.0, 40.0, 70.0, 110.0, 160.0, 220.0, 300.0]
    filled = [row.replace(",,,", f",{d},{1.5 * d:.2f},") for row, d in zip(rows, [*drops, *drops[::-1]], strict=True)]
    points.write_text("\n".join([head, *filled]) + "\n", encoding="utf-8")
    done = flowrig.calibrate(path)
    assert float(done.numbers["exponent"].value) == pytest.approx(0.5, abs=0.02)  # as the nozzles' own drop
    assert len(done.residuals) == 16


def test_a_sheet_says_what_can_be_calibrated() -> None:
    with pytest.raises(InputError, match=r"calibrates=boxx; expected one of: box, chamber, velocity, flow"):
        sheet("nozzle", ["calibrates=boxx"])
