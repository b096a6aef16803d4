"""Bad paired readings and bad calibration files: one clear report, exit code 2, no file written or changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.rig import Rig, edited, spread
from tests.records import calibrations

AIR = """
[air.meter]
temperature = "23.4 degC"
pressure = "836.4 hPa"
relative_humidity = "41 %"
"""
INSTRUMENTS = """
[instruments.manometer]
measures = "pressure difference"
serial = "M1"
accuracy = "0.5 % of reading + 0.25 Pa"

[instruments.thermometer]
measures = "temperature"
accuracy = "0.3 degC"

[instruments.barometer]
measures = "pressure"
accuracy = "1 hPa"

[instruments.hygrometer]
measures = "relative humidity"
accuracy = "3 %RH"
"""
HEADING = """title = "Invented box"
date = 2026-07-14
by = "nobody"
invented = true
"""
BOX = (
    HEADING
    + AIR
    + INSTRUMENTS
    + """
[nozzles.A]
diameter = "150 mm ± 0.15 mm"

[nozzles.B]
diameter = "100 mm ± 0.1 mm"

[calibration]
calibrates = "box"
serial = "T-1"
points = "points.csv"
formula = "power law"
due = 2027-07-14

[[flow]]
name = "small"
method = "nozzle"
open = ["B"]
static = "0 Pa"

[[flow]]
name = "large"
method = "nozzle"
open = ["A"]
static = "0 Pa"
"""
)
POINTS = """section,indication [Pa],drop [Pa],direction
small,18.4,60,up
small,35.6,120,up
small,68.7,240,up
large,112.5,80,up
large,217.4,160,up
large,419.5,320,up
"""
MANOMETER = """title = "Invented manometer"
date = 2026-07-14
by = "nobody"
invented = true

[instruments.standard]
measures = "pressure difference"
serial = "REF-1"
accuracy = "0.2 % of reading"

[instruments.field]
measures = "pressure difference"
serial = "X-1"
accuracy = "2 % of reading"

[calibration]
calibrates = "pressure difference"
points = "pairs.csv"
formula = "line"
due = 2027-07-14
with = { indication = "field", reference = "standard" }
"""
PAIRS = """indication [Pa],reference [Pa]
20,21.1
60,60.3
100,99.5
150,148.4
200,197.6
"""


def line(text: str, start: str) -> int:
    """Number of the line that starts so."""
    [number] = [i for i, found in enumerate(text.splitlines(), start=1) if found.startswith(start)]
    return number


TABLE, AT_SERIAL, AT_POINTS, AT_FORMULA, AT_DUE = (
    f"record.toml, line {line(BOX, start)}, calibration{of}"
    for start, of in (("[calibration]", ""), ('serial = "T-1"', ".serial"), ("points", ".points"),
                      ("formula", ".formula"), ("due", ".due"))
)  # fmt: skip
PAIR_TABLE = f"manometer.toml, line {line(MANOMETER, '[calibration]')}, calibration"
TO = ("--to", "new.toml")


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=BOX, points_csv=POINTS, manometer_toml=MANOMETER, pairs_csv=PAIRS)
    return rig


def test_the_sound_files_are_sound(rig: Rig) -> None:
    for record, new in (("record.toml", "box.toml"), ("manometer.toml", "manometer-1.toml")):
        code, out, err = rig.run("calibrate", record, "--to", new)
        assert (code, err) == (0, "")
        assert f"Written to {new}." in out
        assert (rig.folder / new).read_text(encoding="utf-8").startswith("format = 2\n")
    later = edited(edited(BOX, 'formula = "power law"\ndue = 2027-07-14\n', ""), "2026-07-14", "2026-08-14")
    rig.lay_out(later_toml=later)
    code, out, err = rig.run("verify", "box.toml", "later.toml")
    assert (code, err) == (0, "")
    assert "HOLDS" in out


# ---------------------------------------------------------------- the record of a box

RECORDS = spread(
    2,
    ("no due", "due = 2027-07-14\n", "", (TABLE, "no due", "the day on which the next", "Add due")),
    ("no serial", 'serial = "T-1"\n', "", (TABLE, "no serial", "what it is known by", "Add serial")),
    ("nobody", 'by = "nobody"\n', "", ("record.toml", "no by", "who calibrated it", "heading")),
    ("no formula", 'formula = "power law"\n', "", (TABLE, "no formula", "power law, line")),
    ("nothing said", 'serial = "T-1"\npoints = "points.csv"\nformula = "power law"\ndue = 2027-07-14\n',
        'points = "points.csv"\n', (TABLE, "no due"), (TABLE, "no serial"), (TABLE, "no formula")),
    ("a formula misspelt", '"power law"', '"powerlaw"', (AT_FORMULA, "'powerlaw'", 'Did you mean "power law"?')),
    ("a formula as a number", '"power law"', "2", (AT_FORMULA, "read 2", "power law, line")),
    ("no kind", 'calibrates = "box"\n', "", (TABLE, "no calibrates", "one of: box, chamber")),
    ("a kind misspelt", 'calibrates = "box"', 'calibrates = "bx"',
        (f"record.toml, line {line(BOX, 'calibrates')}, calibration.calibrates", "'bx'", "Did you mean")),
    ("no points", 'points = "points.csv"\n', "", (TABLE, "no points", "CSV")),
    ("points of another name", '"points.csv"', '"point.csv"', (AT_POINTS, "'point.csv'")),
    ("points in another folder", '"points.csv"', '"../points.csv"', (AT_POINTS, "'../points.csv'")),
    ("points as a list", '"points.csv"', '["points.csv"]', (AT_POINTS, "points.csv", "between double quotes")),
    ("due as text", "due = 2027-07-14", 'due = "July"', (AT_DUE, "'July'", "without quotes")),
    ("due before", "due = 2027", "due = 2025", (AT_DUE, "2025-07-14", "2026-07-14")),
    ("an exponent beside a cubic", '"power law"', '"cubic"\nexponent = 0.5',
        (f"record.toml, line {line(BOX, 'formula') + 1}, calibration.exponent", "an exponent", "none beside formula")),
    ("an exponent of no hole", '"power law"', '"power law"\nexponent = 3',
        (f"record.toml, line {line(BOX, 'formula') + 1}, calibration.exponent", "read 3", "0.4 to 1.1")),
    ("an unknown field", "due = 2027", "deu = 2027",
        (f"record.toml, line {line(BOX, 'due')}, calibration.deu", "'deu'", "due")),
    ("a limit of a remounting beyond", "due = 2027", 'remount_limit = "12 %"\ndue = 2027',
        (f"record.toml, line {line(BOX, 'due')}, calibration.remount_limit", "12 %", "from 2 % to 5 %")),
    ("one indication for all", 'serial = "T-1"', 'serial = "T-1"\nindication = "60 Pa"',
        (f"record.toml, line {line(BOX, 'serial = ' + chr(34) + 'T-1') + 1}, calibration.indication",)),
    ("follows a number", "due = 2027", "follows = 3\ndue = 2027",
        (f"record.toml, line {line(BOX, 'due')}, calibration.follows", "read 3", "words in quotes")),
    ("a title that is a number", 'title = "Invented box"', "title = 7",
        ("record.toml, line 1, title", "read 7", "words in quotes")),
    ("no title", 'title = "Invented box"\n', "", ("record.toml", "no title")),
    ("no reference", BOX[BOX.index("[[flow]]"):], "", (TABLE, "no reference", "[[flow]]", "how the true value")),
    ("[[calibration]]", "[calibration]", "[[calibration]]",
        (f"record.toml, line {line(BOX, '[calibration]')}, calibration", "a table [calibration]")),
    ("a misspelt table", "[calibration]", "[calibrations]",
        (f"record.toml, line {line(BOX, '[calibration]')}, calibrations", "Did you mean")),
    ("a section without a name", 'name = "large"\n', "", ("points.csv, row 5", "'large', in 3 rows", "'small'")),
    ("a column by a wrong name", "due = 2027", 'columns = { indication = "box drop" }\ndue = 2027',
        (TABLE, "no indication")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), RECORDS)
def test_a_bad_record(rig: Rig, old: str, new: str, says: Any) -> None:
    rig.lay_out(record_toml=edited(BOX, old, new))
    rig.refuses_to("calibrate", "record.toml", *TO, says=says)


@pytest.mark.parametrize("value", ["3", '"box"', "[1, 2]", "true"])
def test_a_value_in_place_of_the_table(rig: Rig, value: str) -> None:
    table = BOX[BOX.index("[calibration]") : BOX.index("[[flow]]")]
    rig.lay_out(
        record_toml=edited(edited(BOX, table, ""), "invented = true", f"invented = true\ncalibration = {value}")
    )
    says = (("record.toml, line 5, calibration", f"read {value.replace(chr(34), chr(39))}", "a table [calibration]"),)
    rig.refuses_to("calibrate", "record.toml", *TO, says=says)


# ---------------------------------------------------------------- the table of points

FIRST = "small,18.4,60,up\n"
CELLS = spread(
    2,
    ("half a row", "large,419.5,320,up\n", "large,41", ("points.csv",)),
    ("a blank indication", "small,35.6,120", "small,,120", ("points.csv, row 3", "indication")),
    ("a blank drop of the nozzle", "small,35.6,120", "small,35.6,", ("points.csv, row 3", "drop")),
    ("a word", "small,35.6,120", "small,about 36,120", ("points.csv, row 3", "'about 36'")),
    ("a cell in another unit", "small,35.6,120", "small,0.143 inH2O,120", ("points.csv, row 3", "0.143 inH2O")),
    ("no unit", "indication [Pa]", "indication", ("points.csv, column 'indication'", "no unit", "[Pa]")),
    ("another kind of unit", "indication [Pa]", "indication [m/s]", ("points.csv, column 'indication [m/s]'", "'m/s'")),
    ("a negative indication", "small,35.6,120", "small,-35.6,120",
        ("points.csv, row 3", "not above zero", "hoses"), ("points.csv, row 3", "below the one before it")),
    ("an indication at rest", FIRST, "small,0,60,up\n", ("points.csv, row 2", "not above zero", "points at rest")),
    ("out of order", "small,35.6,120,up\nsmall,68.7,240,up", "small,68.7,240,up\nsmall,35.6,120,up",
        ("points.csv, row 4", "below the one before it", "in the order", "rows in order")),
    ("a direction misspelt", "small,35.6,120,up", "small,35.6,120,upp", ("points.csv, row 3", "'upp'", "up or down")),
    ("an unknown section", "small,35.6", "smal,35.6", ("points.csv, row 3", "'smal'", 'Did you mean')),
    ("no section in a row", "small,35.6", ",35.6", ("points.csv, row 3", "nothing", "the name of a [[flow]] section")),
    ("a section that no row names", POINTS[POINTS.index("large"):], "",
        (f"record.toml, line {[i for i, x in enumerate(BOX.splitlines(), 1) if x == '[[flow]]'][1]}, flow[2]",
         "no point of", "'large'", "Remove the section")),
    ("no column of sections", "section,", "set,", ("points.csv, header", "a column 'section'", "'small', 'large'")),
    ("no indication", "indication [Pa]", "shown [Pa]", (TABLE, "no indication")),
    ("an indication in two units", "direction\nsmall,18.4,60,up", "indication [inH2O]\nsmall,18.4,60,0.07",
        ("points.csv, header 'indication [inH2O]'", "a second column 'indication'", "one column a field")),
    ("the same column twice", "drop [Pa],direction", "drop [Pa],drop [Pa]", ("points.csv",)),
    ("no line of points", POINTS[POINTS.index("small,18"):], "", ("points.csv",)),
    ("a drop beyond bounds", "small,35.6,", "small,35.6e6,", ("points.csv, row 3",)),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), CELLS)
def test_bad_points(rig: Rig, old: str, new: str, says: Any) -> None:
    rig.lay_out(points_csv=edited(POINTS, old, new))
    rig.refuses_to("calibrate", "record.toml", *TO, says=says)


def test_a_point_that_falls_back_by_less_than_a_hundredth_is_in_order(rig: Rig) -> None:
    rig.lay_out(points_csv=edited(POINTS, "small,35.6,120,up\n", "small,35.6,120,up\nsmall,35.4,120,up\n"))
    assert rig.run("calibrate", "record.toml", *TO)[0] == 0
    (rig.folder / "new.toml").unlink()
    rig.lay_out(points_csv=edited(POINTS, "small,35.6,120,up\n", "small,35.6,120,up\nsmall,35.1,120,up\n"))
    says = (("points.csv, row 4", "below the one before it"),)
    rig.refuses_to("calibrate", "record.toml", *TO, says=says)


@pytest.mark.parametrize(("content", "words"), [
    ("", "an empty file"), ("\n\n", "a file of blanks"), (b"\x00\x01\x02", "UTF-8"), ("hello", "a header without rows"),
])  # fmt: skip
def test_a_table_that_is_none(rig: Rig, content: str | bytes, words: str) -> None:
    rig.lay_out(points_csv=content)
    rig.refuses_to("calibrate", "record.toml", *TO, says=(("points.csv", words),))


def test_decimal_commas_beside_semicolons_are_the_same_numbers(rig: Rig) -> None:
    texts = []
    for number, content in enumerate((POINTS, POINTS.replace(",", ";").replace(".", ","))):
        rig.lay_out(points_csv=content)
        assert rig.run("calibrate", "record.toml", "--to", f"{number}.toml")[0] == 0
        text = (rig.folder / f"{number}.toml").read_text(encoding="utf-8")
        texts.append(text[text.index("[coefficients]") : text.index("[[cause]]")])
    assert texts[0] == texts[1]


def test_points_that_are_not_there(rig: Rig) -> None:
    (rig.folder / "points.csv").unlink()
    rig.refuses_to("calibrate", "record.toml", *TO, says=((AT_POINTS, "no file 'points.csv'"),))


def test_two_sections_of_one_name(rig: Rig) -> None:
    rig.lay_out(
        record_toml=edited(BOX, 'name = "large"', 'name = "small"'), points_csv=POINTS.replace("large", "small")
    )
    where = f"record.toml, line {line(BOX, 'name = ' + chr(34) + 'large')}, flow[2].name"
    rig.refuses_to("calibrate", "record.toml", *TO, says=((where, "'small'", "a name of its own"),))


# ---------------------------------------------------------------- an instrument against another

AT_WITH = f"manometer.toml, line {line(MANOMETER, 'with')}, calibration.with"
AT_PAIRS = f"manometer.toml, line {line(MANOMETER, 'points')}, calibration.points"
INSTRUMENT_RECORDS = spread(
    2,
    ("a power law", '"line"', '"power law"',
        (f"manometer.toml, line {line(MANOMETER, 'formula')}, calibration.formula", "'power law'", "line through")),
    ("no serial", 'serial = "X-1"\n', "", ("manometer.toml, line 11, instruments.field", "no serial", "calibrated")),
    ("a serial in the wrong place", "due =", 'serial = "X-1"\ndue =', ("manometer.toml, line", "'serial'", "one of")),
    ("itself as its reference", 'reference = "standard"', 'reference = "field"',
        ("pairs.csv, column 'reference [Pa]'", "field as its own reference", "another instrument")),
    ("no word on which is which", 'with = { indication = "field", reference = "standard" }', "",
        ("pairs.csv, column 'indication [Pa]'", "which of 2 instruments"),
        ("pairs.csv, column 'reference [Pa]'", "which of 2 instruments")),
    ("an instrument that is not there", '"standard" }', '"standart" }',
        (AT_WITH, "'standart'", "Did you mean standard?")),
    ("a reading that it has not", "reference = \"standard\" }", "referance = \"standard\" }",
        (AT_WITH, "'referance'", "Did you mean reference?")),
    ("an exponent", "due =", "exponent = 0.5\ndue =", ("manometer.toml, line", "'exponent'")),
    ("an area of a manometer", "due =", 'area = "0.1 m2 ± 1 %"\ndue =', ("manometer.toml, line", "'area'")),
    ("of another kind", 'calibrates = "pressure difference"', 'calibrates = "velocity"',
        ("pairs.csv, column 'indication [Pa]'", "'Pa'", "velocity"), ("pairs.csv, column 'reference [Pa]'", "'Pa'")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), INSTRUMENT_RECORDS)
def test_a_bad_record_of_an_instrument(rig: Rig, old: str, new: str, says: Any) -> None:
    rig.lay_out(manometer_toml=edited(MANOMETER, old, new))
    rig.refuses_to("calibrate", "manometer.toml", *TO, says=says)


PAIRS_BAD = spread(
    2,
    ("one point", PAIRS[PAIRS.index("60,"):], "", (AT_PAIRS, "1 point", "at least three points", "slope")),
    ("all alike", PAIRS[PAIRS.index("20,"):], "60,60.3\n60,60.1\n60,60.2\n60,60.2\n",
        (AT_PAIRS, "the same indication in every point", "points apart", "Spread them")),
    ("no reference", "reference [Pa]", "standard [Pa]", (PAIR_TABLE, "no reference", "or a column reference")),
    ("a blank reference", "60,60.3", "60,", ("pairs.csv, row 3", "reference")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), PAIRS_BAD)
def test_bad_pairs(rig: Rig, old: str, new: str, says: Any) -> None:
    rig.lay_out(pairs_csv=edited(PAIRS, old, new))
    rig.refuses_to("calibrate", "manometer.toml", *TO, says=says)


def test_two_points_for_a_line_are_too_few(rig: Rig) -> None:
    """Readable, but no honest number follows: exit code 1, one line, no file."""
    rig.lay_out(pairs_csv="".join(PAIRS.splitlines(keepends=True)[:3]))
    before = rig.contents()
    code, out, err = rig.run("calibrate", "manometer.toml", *TO)
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert "2 points at 2 places do not tell 2 numbers" in err
    assert rig.contents() == before


# ---------------------------------------------------------------- files written, read and held against one another


def test_a_calibration_is_never_written_over(rig: Rig) -> None:
    rig.lay_out(new_toml="old")
    rig.refuses_to("calibrate", "record.toml", *TO, says=(("new.toml", "a file that exists", "a new file", "follows"),))
    for name in ("record.toml", "points.csv"):
        says = ((name, "a file that exists", "never edited"),)
        rig.refuses_to("calibrate", "record.toml", "--to", name, says=says)


def test_paired_readings_are_not_reduced(rig: Rig) -> None:
    says = (("record.toml, line", "paired readings of a calibration", "Run flowrig calibrate, or flowrig verify"),)
    rig.refuses("record.toml", says=says)
    rig.lay_out(rows_csv="drop [Pa]\n100\n")
    rig.refuses("record.toml", "--rows", "rows.csv", says=says)


def test_a_record_without_pairs_is_not_calibrated(rig: Rig) -> None:
    table = BOX[BOX.index("[calibration]") : BOX.index("[[flow]]")]
    plain = edited(BOX, table, "").replace('static = "0 Pa"', 'static = "0 Pa"\ndrop = "100 Pa"')
    rig.lay_out(record_toml=plain)
    rig.refuses_to("calibrate", "record.toml", *TO, says=(("record.toml", "no [calibration]", "table of points"),))


@pytest.mark.parametrize(("arguments", "words"), [
    (("calibrate", "none.toml"), "none.toml"), (("verify", "none.toml", "record.toml"), "none.toml"),
    (("verify", "record.toml", "record.toml"), "no format"), (("verify", "pairs.csv", "record.toml"), "pairs.csv"),
    (("calibrate", "record.toml", "--coverage", "2"), "--coverage"),
])  # fmt: skip
def test_files_that_are_no_records(rig: Rig, arguments: tuple[str, ...], words: str) -> None:
    before = rig.contents()
    code, out, err = rig.run(*arguments)
    assert (code, out, err.count("\n")) == (2, "", 1), err
    assert words in err
    assert "Traceback" not in err
    assert rig.contents() == before


def test_verify_with_a_file_edited_by_hand_cut_short_or_of_something_else(rig: Rig) -> None:
    assert rig.run("calibrate", "record.toml", "--to", "box.toml")[0] == 0
    sound = (rig.folder / "box.toml").read_text(encoding="utf-8")
    later = edited(BOX, 'formula = "power law"\ndue = 2027-07-14\n', "")
    rig.lay_out(later_toml=later)
    content = f"box.toml, line {line(sound, 'content')}, content"
    rig.write("box.toml", edited(sound, 'by = "nobody"', 'by = "me"'))
    rig.refuses_to("verify", "box.toml", "later.toml", says=((content, "changed by hand", "calibrate anew"),))
    rig.write("box.toml", sound[: sound.rindex("[[point]]")])
    rig.refuses_to("verify", "box.toml", "later.toml", says=(("box.toml, line", "read 6, and 5 [[point]] tables"),))
    rig.write("box.toml", sound)
    rig.lay_out(later_toml=edited(later, 'serial = "T-1"', 'serial = "T-2"'))
    rig.refuses_to("verify", "box.toml", "later.toml", says=((AT_SERIAL.replace("record", "later"), "'T-2'", "'T-1'"),))
    rig.lay_out(later_toml=edited(later, "date = 2026-07-14", "date = 2025-07-14"))
    rig.refuses_to(
        "verify", "box.toml", "later.toml", says=(("later.toml, line 2, date", "2025-07-14", "a day after"),)
    )
    assert rig.run("calibrate", "manometer.toml", "--to", "manometer-1.toml")[0] == 0
    rig.lay_out(later_toml=later)
    says = ((f"later.toml, line {line(BOX, 'calibrates')}, calibration.calibrates", "'box'", "'pressure difference'"),)
    rig.refuses_to("verify", "manometer-1.toml", "later.toml", says=says)


def test_verify_with_a_covariance_that_no_errors_have(rig: Rig) -> None:
    """Written by hand from a certificate, in the format that has no digest: correlations beyond what can be."""
    cause = (
        'name = "fit"\nflow = "1.2 m3/h"\nexponent = 0.002\ndensity = "0.001 kg/m3"\ncorrelation = [0.9, 0.9, -0.9]\n'
    )
    text = calibrations.BOX[: calibrations.BOX.index("[[cause]]")].replace("causes = 3", "causes = 1")
    text += f"[[cause]]\n{cause}\n" + calibrations.BOX[calibrations.BOX.index("[[point]]") :]
    rig.lay_out(box_toml=text)
    where = f"box.toml, line {line(text, 'correlation')}, cause[1].correlation"
    says = ((where, "read [0.9, 0.9, -0.9]", "correlations that go together", "copy the correlations anew"),)
    rig.refuses_to("verify", "box.toml", "record.toml", says=says)
