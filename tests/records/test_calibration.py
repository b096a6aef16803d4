"""Calibration files: found by a bare name, read strictly, their coefficients as estimates that keep their causes."""

from __future__ import annotations

import runpy
import shutil
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.records import formulas
from flowrig.records.calibration import CalibrationFile, read_calibration
from flowrig.studies.calibrate import calibrate
from flowrig.studies.calibration_file import file_text
from flowrig.studies.sheet import sheet
from flowrig.uncertainty.propagate import linear
from tests.cli.rig import Rig, edited, spread
from tests.records.calibrations import BOX, RECORD, calibration, record

ROOT = Path(__file__).resolve().parents[2]
CALIBRATIONS = ROOT / "calibrations"


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=RECORD, box_toml=BOX)
    return rig


def read(**changed: Any) -> CalibrationFile:
    return read_calibration(calibration(**changed), lambda *path: f"box.toml, {path}", "box.toml", "0" * 64)


# ---------------------------------------------------------------- what is read


def test_coefficients_are_estimates_in_si_with_their_causes() -> None:
    found = read().estimates()
    assert found["flow"].value == pytest.approx(480 / 3600)
    assert found["viscosity"].value == pytest.approx(18.2e-6)
    # by hand: sqrt(3.6^2 + 0.5^2 + 1.2^2) m3/h; sqrt(0.002^2 + 0.0002^2 + 0.0018^2)
    assert found["flow"].u * 3600 == pytest.approx((3.6**2 + 0.5**2 + 1.2**2) ** 0.5)
    assert found["exponent"].u == pytest.approx((0.002**2 + 0.0002**2 + 0.0018**2) ** 0.5)
    assert found["flow"].cov(found["exponent"]) * 3600 == pytest.approx(-0.5 * 0.002 - 1.2 * 0.0002)
    assert found["drop"].u == 0.0
    causes = {c.label.partition(": ")[2]: c for c in found["flow"].parts}
    assert causes["scatter"].n == 2
    assert causes["scatter"].dof == 6
    assert causes["manometer"].shape == "rectangular"
    assert causes["reference"].scope == "method"
    assert all(c.id.startswith("calibration:T-1|2026-05-20|") for c in causes.values())


def test_identity_is_that_of_the_content_and_not_of_the_bytes(rig: Rig) -> None:
    here = flowrig.reduce(rig.folder / "record.toml").flow.estimate
    rig.write("box.toml", "# a remark\r\n" + BOX.replace("\n", "\r\n"))
    again = flowrig.reduce(rig.folder / "record.toml").flow.estimate

    def own(estimate: Any) -> set[str]:
        return {c.id for c in estimate.parts if c.id.startswith("calibration:")}

    assert own(here) == own(again) != set()
    rig.write("box.toml", edited(BOX, 'flow = "3.6 m3/h"', 'flow = "3.7 m3/h"'))
    assert not own(flowrig.reduce(rig.folder / "record.toml").flow.estimate) & own(here)


def test_a_name_given_elsewhere_is_kept() -> None:
    cause = {"name": "reference", "id": "method:nozzle:coefficient", "scope": "method", "flow": "3 m3/h"}
    assert next(iter(read(cause=[cause], causes=1).causes)).id == "method:nozzle:coefficient"


def test_the_digest_is_among_the_results_inputs(rig: Rig) -> None:
    result = flowrig.reduce(rig.folder / "record.toml")
    assert set(result.record.digests) == {"record.toml", "box.toml"}
    assert len(result.record.digests["box.toml"]) == 64


# ---------------------------------------------------------------- where it is looked for


@pytest.mark.parametrize("place", ["own/test", "own/test/calibrations", "own/calibrations", "calibrations"])
def test_places_of_a_calibration(tmp_path: Path, place: str) -> None:
    rig = Rig(tmp_path)
    rig.write("own/test/record.toml", RECORD)
    rig.write(f"{place}/box.toml", BOX)
    assert rig.run("reduce", "own/test/record.toml")[0] == 0


def test_a_calibration_beside_a_folder_further_up_is_not_found(tmp_path: Path) -> None:
    rig = Rig(tmp_path)
    rig.write("own/record.toml", RECORD)
    rig.write("box.toml", BOX)
    at = "record.toml, line 30, flow[1].calibration"
    rig.refuses("own/record.toml", says=((at, "no file 'box.toml'", "folder calibrations"),))


def test_two_of_one_name_must_be_one(rig: Rig) -> None:
    rig.write("calibrations/box.toml", BOX)
    assert rig.run("reduce", "record.toml")[0] == 0
    rig.write("calibrations/box.toml", edited(BOX, "exponent = 0.53", "exponent = 0.531"))
    at = "record.toml, line 30, flow[1].calibration"
    rig.refuses("record.toml", says=((at, "of which there are 2 that differ", "a new file with a new name"),))


@pytest.mark.parametrize("name", ["../box.toml", "calibrations/box.toml", "/box.toml", "C:\\\\box.toml", ".", "a\\tb"])
def test_a_name_with_a_folder(rig: Rig, name: str) -> None:
    rig.lay_out(record_toml=edited(RECORD, '"box.toml"', f'"{name}"'))
    at = "record.toml, line 30, flow[1].calibration"
    rig.refuses("record.toml", says=((at, "without a folder", "write its name alone"),))


@pytest.mark.parametrize(("value", "words"), [
    ('"boxx.toml"', ("no file 'boxx.toml'", "Did you mean 'box.toml'?")),
    ('"box"', ("no file 'box'", "Did you mean 'box.toml'?")),
    ('"none.toml"', ("no file 'none.toml'", "Check its name")),
    ("{ format = 1 }", ("a table of format", "Write its name in quotes")),
    ("12", ("read 12", "name of a calibration file", 'Add calibration = "box-2.toml"')),
])  # fmt: skip
def test_what_the_field_may_hold(rig: Rig, value: str, words: tuple[str, ...]) -> None:
    rig.lay_out(record_toml=edited(RECORD, '"box.toml"', value))
    words = tuple(word.replace("Add calibration", "Write calibration") for word in words)
    rig.refuses("record.toml", says=(("record.toml, line 30, flow[1].calibration", *words),))


def test_a_record_without_a_calibration(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(RECORD, 'calibration = "box.toml"\n', ""))
    rig.refuses(
        "record.toml", says=(("record.toml, line 28, flow[1]", "no calibration", "the file of its calibration"),)
    )


def test_in_python_a_path_or_a_mapping_may_stand_for_the_name(tmp_path: Path, monkeypatch: Any) -> None:
    path = tmp_path / "elsewhere" / "box.toml"
    path.parent.mkdir()
    path.write_text(BOX, encoding="utf-8")
    by_path, by_mapping = (flowrig.reduce(record(given)).flow for given in (path, calibration()))
    assert by_path.value == by_mapping.value
    assert by_path.estimate.u == by_mapping.estimate.u
    with pytest.raises(InputError) as caught:
        flowrig.reduce(record(calibration(format=3)))
    assert str(caught.value).startswith("record, flow[1].calibration.format: read 3; expected format 1 or 2.")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=r"^record, flow\[1\].calibration: read nothing, there is no file 'gone.toml'"):
        flowrig.reduce(record(Path("gone.toml")))


# ---------------------------------------------------------------- what is refused

BAD = spread(
    2,
    ("newer format", "format = 1", "format = 3", ("box.toml, line 1, format", "read 3", "format 1 or 2", "newer")),
    ("format as text", "format = 1", 'format = "1"', ("box.toml, line 1, format", "read '1'")),
    ("format true", "format = 1", "format = true", ("box.toml, line 1, format", "read true")),
    ("no format", "format = 1\n", "", ("box.toml", "no format", "right file")),
    ("unknown formula", '"power law"', '"powr law"', ("box.toml, line 2, formula", "Did you mean \"power law\"?")),
    ("no formula", 'formula = "power law"\n', "", ("box.toml", "no formula", "whole")),
    ("no serial", 'serial = "T-1"\n', "", ("box.toml", "no serial")),
    ("no date", "date = 2026-05-20\n", "", ("box.toml", "no date")),
    ("date as text", "date = 2026-05-20", 'date = "20 May 2026"', ("box.toml, line 5, date", "without quotes")),
    ("no due date", "due = 2027-05-20\n", "", ("box.toml", "no due")),
    ("due before", "due = 2027", "due = 2025", ("box.toml, line 6, due", "2025-05-20", "2026-05-20", "both dates")),
    ("nobody", 'by = "nobody"\n', "", ("box.toml", "no by")),
    ("no reference", 'reference = "invented nozzle"\n', "", ("box.toml", "no reference")),
    ("a digest cut short", "invented = true", 'record = "12ab"', ("box.toml, line 9, record", "SHA-256", "64")),
    ("unknown field", "invented = true", "invnted = true", ("box.toml, line 9, invnted", "Did you mean invented?")),
    ("unknown table", "[range]", "[ranges]", ("box.toml, line 20, ranges", "Did you mean range?")),
    ("no coefficients", BOX[BOX.index("[coefficients]"):BOX.index("[range]")], "",
        ("box.toml", "no [coefficients]", "whole")),
    ("no range", '[range]\nlowest = "10 Pa"\nhighest = "250 Pa"\n', "", ("box.toml", "no [range]", "lowest, highest")),
    ("half a range", 'highest = "250 Pa"\n', "", ("box.toml, line 20, range", "no highest")),
    ("negative range", 'lowest = "10 Pa"', 'lowest = "-10 Pa"', ("box.toml, line 21, range.lowest", "above 0 Pa")),
    ("range swapped", 'lowest = "10 Pa"\nhighest = "250 Pa"', 'lowest = "250 Pa"\nhighest = "10 Pa"',
        ("box.toml, line 22, range.highest", "swapped")),
    ("range beyond the points", '"250 Pa"', '"320 Pa"',
        ("box.toml, line 22, range.highest", "320 Pa", "highest 250 Pa", "not calibrated")),
    ("range below the points", 'lowest = "10 Pa"', 'lowest = "0.08 hPa"',
        ("box.toml, line 21, range.lowest", "0.08 hPa", "lowest 0.1 hPa")),
    ("wrong unit", '"480 m3/h"', '"480 Pa"', ("box.toml, line 15, coefficients.flow", "'480 Pa'", "of flow")),
    ("no unit", '"480 m3/h"', "480", ("box.toml, line 15, coefficients.flow", "read 480", "write it in quotes")),
    ("with a ±", '"480 m3/h"', '"480 m3/h ± 3 m3/h"',
        ("box.toml, line 15, coefficients.flow", "without a ±", "as a cause")),
    ("no number", "exponent = 0.53", "exponent = nan", ("box.toml, line 16, coefficients.exponent", "read nan")),
    ("without bound", "exponent = 0.53", "exponent = inf", ("box.toml, line 16, coefficients.exponent", "read inf")),
    ("exponent below 0", "exponent = 0.53", "exponent = -0.53",
        ("box.toml, line 16, coefficients.exponent", "above 0")),
    ("no viscosity", 'viscosity = "18.2 uPa s"\n', "", ("box.toml, line 13, coefficients", "no viscosity")),
    ("a cause too few", "causes = 3", "causes = 4",
        ("box.toml, line 10, causes", "read 4, and 3 [[cause]] tables", "cut short")),
    ("a single cause", "[[cause]]\nname = \"reference\"", "[cause]\nname = \"reference\"",
        ("box.toml, line 29", "'[[cause]]' a second time"), ("box.toml, line 35", "take it whole")),
    ("points of another sort", BOX[BOX.index("[[point]]"):], "[point]\ndrop = \"10 Pa\"\n",
        ("box.toml, line 41, point", "[[point]], in double brackets")),
    ("a cause without effect", 'scope = "method"\nflow = "3.6 m3/h"', 'scope = "method"',
        ("box.toml, line 24, cause[1]", "no flow", "a number it moves")),
    ("a load of another unit", '"3.6 m3/h"', '"0.75 %"', ("box.toml, line 27, cause[1].flow", "'0.75 %'")),
    ("a load that is none", "exponent = 0.002", "exponent = nan", ("box.toml, line 33, cause[2].exponent", "nan")),
    ("a load without directions", '["1.2 m3/h", "0 m3/h"]', "[]", ("box.toml, line 38, cause[3].flow", "read []")),
    ("a load with a ±", '"3.6 m3/h"', '"3.6 m3/h ± 1 m3/h"', ("box.toml, line 27, cause[1].flow", "without a ±")),
    ("directions that differ", '["1.2 m3/h", "0 m3/h"]', '["1.2 m3/h"]',
        ("box.toml, line 38, cause[3].flow", "1 of flow, 2 of exponent")),
    ("dof of a limit", "dof = 6", 'dof = 6\nshape = "rectangular"', ("box.toml, line 37, cause[3].dof", "normal only")),
    ("dof of 0", "dof = 6", "dof = 0", ("box.toml, line 37, cause[3].dof", "above 0")),
    ("unknown shape", 'shape = "rectangular"', 'shape = "square"',
        ("box.toml, line 31, cause[2].shape", "rectangular")),
    ("unknown scope", 'scope = "method"', 'scope = "metod"',
        ("box.toml, line 26, cause[1].scope", 'Did you mean "method"?')),
    ("a name twice", 'name = "manometer"', 'name = "reference"', ("box.toml, line 29, cause[2]", "of its own")),
    ("a slipped digit", "exponent = 0.53", "exponent = 0.35",
        ("box.toml, line 44, point[1].residual", "slipped digit"), ("box.toml, line 54, point[3].residual",)),
    ("another unit of flow", '"480 m3/h"', '"480 cfm"', *[
        (f"box.toml, line {44 + 5 * i}, point[{i + 1}].residual", "wrong unit") for i in range(3)]),
    ("a point without residual", 'residual = "0.22 %"\n', "", ("box.toml, line 41, point[1]", "no residual")),
    ("remounting half stated", "invented = true", 'remount_scatter = "1 %"', ("box.toml", "no remounts")),
    ("remounted once", "invented = true", 'remount_scatter = "1 %"\nremounts = 1',
        ("box.toml, line 10, remounts", "from 2")),
    ("two things", 'date = 2026-05-20', 'date = 2026-05-32', ("box.toml, line 5", "2026-05-32", "take it whole")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), BAD)
def test_a_bad_calibration_gets_one_clear_report(rig: Rig, old: str, new: str, says: tuple[Any, ...]) -> None:
    rig.write("box.toml", edited(BOX, old, new))
    rig.refuses("record.toml", says=says)


@pytest.mark.parametrize("length", range(25, len(BOX) - 12, 61))
def test_a_file_cut_short_anywhere_is_noticed(rig: Rig, length: int) -> None:
    rig.write("box.toml", BOX[:length])
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (2, "")
    assert all(line.startswith("box.toml") for line in err.splitlines())


@pytest.mark.parametrize(("content", "words"), [
    ("", "an empty file"), ("drop [Pa],flow [m3/h]\n1,2\n", "a calibration, in TOML"), (b"\xff\xfe\0\0", "UTF-8"),
    (RECORD, "no format"),
])  # fmt: skip
def test_another_file_in_its_place(rig: Rig, content: str | bytes, words: str) -> None:
    rig.write("box.toml", content)
    rig.refuses("record.toml", says=(("box.toml", words),))


def test_every_fault_of_record_and_calibration_is_in_one_report(rig: Rig) -> None:
    rig.write("box.toml", edited(edited(BOX, '"480 m3/h"', '"480 Pa"'), "dof = 6", "dof = -1"))
    rig.lay_out(record_toml=edited(RECORD, '"23.4 degC"', '"23.4"'))
    says = (("box.toml, line 15",), ("box.toml, line 37",), ("record.toml, line 6, air.meter.temperature",))
    rig.refuses("record.toml", says=says)


def test_an_identity_used_for_another_error_is_refused(rig: Rig) -> None:
    own = flowrig.reduce(rig.folder / "record.toml").flow.estimate
    [manometer] = [c.id for c in own.parts if c.id.startswith("instrument:M1|")]
    said = f'name = "manometer"\nid = "{manometer}"\n'
    rig.write("box.toml", edited(BOX, 'name = "manometer"\n', said))
    shared = flowrig.reduce(rig.folder / "record.toml").flow.estimate
    assert len(shared.parts) == len(own.parts) - 1
    rig.write("box.toml", edited(edited(BOX, 'name = "manometer"\n', said), 'shape = "rectangular"\n', ""))
    rig.refuses("record.toml", says=(("box.toml, line 31, cause[2].id", "normal", "rectangular", "One identity"),))


# ---------------------------------------------------------------- the demonstration and the documentation


def test_the_demonstration_is_what_its_script_makes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["make_demo.py", str(tmp_path)])
    monkeypatch.setattr(sys, "path", list(sys.path))
    runpy.run_path(str(CALIBRATIONS / "make_demo.py"), run_name="__main__")
    # the other was made by flowrig calibrate, from the points of an example
    made = calibrate(ROOT / "examples/17-box-calibration/record.toml")
    (tmp_path / "box-2-2026-10.toml").write_text(file_text(made), encoding="utf-8", newline="\n")
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == sorted(path.name for path in CALIBRATIONS.glob("*.toml"))
    for name in names:
        assert (tmp_path / name).read_bytes() == (CALIBRATIONS / name).read_bytes()


@pytest.mark.parametrize("path", sorted(CALIBRATIONS.glob("*.toml")), ids=lambda p: p.name)
def test_a_demonstration_says_that_it_is_invented_and_is_listed(path: Path) -> None:
    assert "\ninvented = true\n" in path.read_text(encoding="utf-8")
    assert f"`{path.name}`" in (CALIBRATIONS / "README.md").read_text(encoding="utf-8")


def test_the_demonstration_shares_the_errors_of_the_nozzle_bank_and_its_manometer(tmp_path: Path) -> None:
    """The identities that its script writes by hand are those a reduction gives."""
    shutil.copytree(ROOT / "examples/13-calibrated-box", tmp_path, dirs_exist_ok=True)
    shutil.copy(CALIBRATIONS / "box-2-2026.toml", tmp_path)
    box = flowrig.reduce(tmp_path / "record.toml").flow.estimate
    bank = flowrig.reduce(ROOT / "examples/01-nozzle-bank/record.toml").flow.estimate
    shared = {c.id.partition(" ")[0].partition("|")[0] for c in box.parts if c in bank.parts}
    assert {"method:nozzle:coefficient", "instrument:DM-0417", "method:air:density", "method:air:viscosity"} <= shared
    difference = linear(lambda a, b: {"d": a - b}, {"a": box, "b": bank}, outputs={"d": ()})["d"]
    assert difference.u < np.hypot(box.u, bank.u) * 0.95


def test_every_formula_can_be_drawn() -> None:
    every = [formula for of in formulas.CALIBRATES for formula in formulas.formulas_of(of).values()]
    for formula in every:
        assert {f.name for f in formula.numbers} >= set(formula.exact)
        assert {t.name for t in formulas.tables()} >= {formula.cause.name, formula.point.name, formula.range.name}
    curve = formulas.POWER_LAW.curve({"flow": 0.1, "drop": 4.0, "exponent": 0.5}, 16.0)
    assert curve == pytest.approx(0.2)


def test_a_sheet_takes_a_bare_name_only() -> None:
    assert 'calibration = "box.toml"' in sheet("box", ["calibration=box.toml"]).files["record.toml"]
    with pytest.raises(InputError, match="without a folder"):
        sheet("box", ["calibration=../box.toml"])
