"""Bad CSV files at the command line: logs, grids of a traverse and tables of rows."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.rig import (
    FIRST,
    GRID,
    LOG,
    LOGGED,
    RECORD,
    ROWS,
    TRAVERSE,
    Rig,
    edited,
    named,
    spread,
)


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


# ---------------------------------------------------------------- CSV logs

LOGS = spread(
    2,
    ("unknown unit", "drop [Pa]", "drop [grad]", ("log.csv, column 'drop [grad]'", "'grad'", "Pa, hPa")),
    ("unit of another kind", "drop [Pa]", "drop [m/s]", ("log.csv, column 'drop [m/s]'", "one of velocity")),
    ("no unit", "drop [Pa]", "drop", ("log.csv, column 'drop'", "no unit", "'drop [Pa]'")),
    ("decimal comma in quotes", "183.1", '"183,1"', ("log.csv, row 3, 'drop [Pa]'", "'183,1'", "decimal point")),
    ("decimal comma that makes a blank cell too many", "183.1", "183,1", ("log.csv, row 3", "4 cells", "semicolons")),
    ("letter O", "181.8", "18O.8", ("log.csv, row 4, 'drop [Pa]'", "'18O.8'", "letter O")),
    (
        "missing column",
        "drop [Pa]",
        "dp [Pa]",
        ("log.csv, header", "a column 'drop'", 'columns = { drop = "dp [Pa]" }'),
    ),
    ("a cell too many", "1,183.1,", "1,183.1,,7", ("log.csv, row 3", "4 cells", "3, as in the header")),
    ("a name too many", "remark", "remark,more", ("log.csv, row 2", "3 cells"), *[("log.csv, row",)] * 4),
    ("a heading twice", "remark", "drop [Pa]", ("log.csv, row 1, column 3", "column 2 too", "Rename")),
    ("empty", LOG, "", ("log.csv", "an empty file", "saved")),
    ("header alone", LOG, LOG.splitlines()[0] + "\n", ("log.csv, row 1", "a header without rows")),
    ("cut within a row", LOG, LOG[:-5], ("log.csv, row 6", "no line end", "cut off")),
    ("NaN", "183.1", "nan", ("log.csv, row 3, 'drop [Pa]'", "'nan'", "blank")),
    ("blank reading", "183.1", "", ("log.csv, row 3, column 'drop [Pa]'", "nothing", "Fill the cell")),
    ("meter out of range", "183.1", "OL", ("log.csv, row 3, 'drop [Pa]'", "'OL'", "out of range")),
    ("unit in the cell", "183.1", "183.1 Pa", ("log.csv, row 3, 'drop [Pa]'", "'183.1 Pa'", "heading")),
    ("beyond any meaning", "183.1", "183100", ("log.csv, row 3, column 'drop [Pa]'", "from -50000 Pa to 50000 Pa")),
    ("negative drops", ",18", ",-18", ("log.csv, column 'drop [Pa]'", "a mean of -182.36 Pa", "hoses")),
    ("time that runs back", "3,182.0", "1,182.0", ("log.csv, row 5, 'time [s]'", "'1'", "clock")),
    ("quote not closed", "door open", '"door open', ("log.csv, row 4", "a quote not closed", "Close it")),
)


@pytest.mark.parametrize(("old", "new", "says"), LOGS)
def test_a_log(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    spoilt = LOG.replace(old, new) if new == ",-18" else edited(LOG, old, new)
    rig.lay_out(record_toml=LOGGED, log_csv=spoilt)
    rig.refuses("record.toml", says=says)


def test_a_log_written_with_decimal_commas_between_commas(rig: Rig) -> None:
    text = "".join(f"{i},18{i},1,\n" for i in range(8))
    rig.lay_out(record_toml=LOGGED, log_csv="time [s],drop [Pa],remark\n" + text)
    rig.refuses("record.toml", says=(("log.csv, row 1", "3 names above rows of 4 cells", "semicolons"),))


COLUMNS = spread(
    1,
    ("header that is not there", 'columns = { drop = "dp" }', ("log.csv, header", "a column 'dp'")),
    (
        "field that is none",
        'columns = { dorp = "drop [Pa]" }',
        ("record.toml, line 38, flow[1].columns.dorp", "mean drop?"),
    ),
    ("a name for a table", 'columns = "drop"', ("record.toml, line 38, flow[1].columns", "Write columns = {")),
    ("a number for a name", "columns = { drop = 3 }", ("record.toml, line 38, flow[1].columns.drop", "in quotes")),
    (
        "misspelt reading of the air",
        'columns = { "air.metre.pressure" = "p [hPa]" }',
        ('record.toml, line 38, flow[1].columns."air.metre.pressure"', "mean air.meter.pressure?"),
        ("log.csv, header", "a column 'p [hPa]'"),
    ),
    ("a value beside the column", 'drop = "180 Pa"', ("record.toml, line 38, flow[1].drop", "not both")),
)


@pytest.mark.parametrize(("line", "says"), COLUMNS)
def test_what_a_record_says_of_its_log(rig: Rig, line: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=f"{LOGGED}{line}\n", log_csv=LOG)
    rig.refuses("record.toml", says=says)


# ---------------------------------------------------------------- traverses

READING = FIRST.rpartition(",")[2]
HOLE = "\n".join(line for line in GRID.splitlines() if ",3,3," not in line) + "\n"
WIDE = "\n".join(line + (",7" if i else ",colour") for i, line in enumerate(GRID.splitlines())) + "\n"


def first(reading: str) -> str:
    """The first row of the grid with another reading."""
    return f"{FIRST.rpartition(',')[0]},{reading}"


GRIDS = named(
    ("unknown unit", "[m/s]", "[mps]", ("grid.csv, column 'velocity [mps]'", "nearest is 'm/s'")),
    ("unit of another kind", "[m/s]", "[Pa]", ("grid.csv, column 'velocity [Pa]'", "not a unit of velocity")),
    ("no unit", " [m/s]", "", ("grid.csv, column 'velocity'", "no unit", "'velocity [m/s]'")),
    ("decimal comma", FIRST, first('"3,00"'), ("grid.csv, row 2, 'velocity [m/s]'", "'3,00'", "decimal point")),
    ("decimal comma among commas", FIRST, first("3,00"), ("grid.csv, row 2", "7 cells", "semicolons")),
    ("letter O", FIRST, first("3.O0"), ("grid.csv, row 2, 'velocity [m/s]'", "'3.O0'", "letter O")),
    ("missing column of readings", "velocity", "v", ("grid.csv, header", "a column 'velocity'", "columns = {")),
    ("missing column of places", "row,", "line,", ("grid.csv, header", "a column 'row'", "Rename the header")),
    ("extra column", GRID, WIDE, ("grid.csv, column 'colour'", "pass, row, x, y, velocity", "Remove the column")),
    ("empty", GRID, "", ("grid.csv", "an empty file")),
    ("cut within a row", GRID, GRID[:-8], ("grid.csv, row 51", "no line end", "cut off")),
    ("hole", GRID, HOLE, ("grid.csv", "no velocity at row 3, column 3 in any pass", "Read the point")),
    ("NaN", FIRST, first("nan"), ("grid.csv, row 2, 'velocity [m/s]'", "'nan'", "blank")),
    ("beyond any meaning", FIRST, first("3000"), ("grid.csv, row 2, column 'velocity [m/s]'", "-60 m/s to 60 m/s")),
    ("outside the duct", FIRST, "1,1,1,637,29,3", ("grid.csv, row 2, column 'x [mm]'", "inside the duct", "44.15 mm")),
    ("before the wall", FIRST, "1,1,1,-37,29,3", ("grid.csv, row 2, column 'x [mm]'", "'-37'", "inside the duct")),
    ("off its place", FIRST, "1,1,1,137,29,3", ("grid.csv, row 2, column 'x [mm]'", "44.15 mm", "move the probe")),
    ("outside the plan", FIRST, "1,6,1,44,29,3", ("grid.csv, row 2", "row 6, column 1", "up to row 5, column 5")),
    ("half a row number", FIRST, "1,1.5,1,44,29,3", ("grid.csv, row 2, column 'row'", "'1.5'", "whole number")),
    ("place in kilograms", "x [mm]", "x [kg]", ("grid.csv, column 'x [kg]'", "not a unit of length")),
)


@pytest.mark.parametrize(("old", "new", "says"), GRIDS)
def test_a_grid(rig: Rig, old: str, new: str, says: tuple[str, ...]) -> None:
    rig.lay_out(record_toml=TRAVERSE, grid_csv=edited(GRID, old, new))
    rig.refuses("record.toml", says=(says,))


AT_FLOW = "record.toml, line 35, flow[1]"
PLANS = named(
    ("no grid", 'grid = "grid.csv"\n', "", (AT_FLOW, "no grid", 'grid = "traverse.csv"')),
    ("grid misspelt", '"grid.csv"', '"gird.csv"', ("record.toml, line 41, flow[1].grid", "Did you mean 'grid.csv'?")),
    (
        "readings in the record",
        "down = 5",
        'down = 5\nvelocity = "3 m/s"',
        ("record.toml, line 41", "a column of the grid"),
    ),
    ("unknown duct", '"main"', '"mian"', ("record.toml, line 37, flow[1].duct", "'mian'", "Did you mean main?")),
    ("misspelt table of ducts", "[ducts.main]", "[duct.main]", ("record.toml, line 31, duct", "[ducts.…]?")),
    ("count in quotes", "across = 5", 'across = "5"', ("record.toml, line 39, flow[1].across", "without quotes")),
    ("count too small", "across = 5", "across = 1", ("record.toml, line 39, flow[1].across", "from 2 to 30")),
    ("count missing", "down = 5\n", "", (AT_FLOW, "no down", "both across and down")),
    ("counts of a circle", "across = 5\ndown = 5", "per_radius = 5\ndiameters = 2", (AT_FLOW, "rectangular")),
    ("counts of both", "down = 5", "down = 5\ndiameters = 2", ("record.toml, line 41, flow[1].diameters", "rectangle")),
    ("unknown rule", '"log-t', '"t', ("record.toml, line 38, flow[1].rule", 'Did you mean "log-tchebycheff"?')),
    ("rule of another shape", '"log-tchebycheff"', '"log-linear"', (AT_FLOW, "unequal weights", "equal-area.")),
    ("half a rectangle", 'height = "400 mm"\n', "", ("record.toml, line 31, ducts.main", "no height")),
    (
        "rectangle and circle",
        "[[flow]]",
        'diameter = "300 mm"\n\n[[flow]]',
        ("record.toml, line 31, ducts.main", "only one"),
    ),
    (
        "angle of a full turn",
        "down = 5",
        'down = 5\nyaw = "200 deg"',
        ("record.toml, line 41, flow[1].yaw", "an angle"),
    ),
)


@pytest.mark.parametrize(("old", "new", "says"), PLANS)
def test_a_plan(rig: Rig, old: str, new: str, says: tuple[str, ...]) -> None:
    rig.lay_out(record_toml=edited(TRAVERSE, old, new), grid_csv=GRID)
    rig.refuses("record.toml", says=(says,))


def test_a_plan_of_other_size_is_told_in_a_few_lines(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(TRAVERSE, "across = 5", "across = 3"), grid_csv=GRID)
    some = [("grid.csv, row", "up to row 5, column 3")] * 5
    rig.refuses("record.toml", says=(*some, ("grid.csv", "and 15 more")))


# ---------------------------------------------------------------- tables of rows

TABLES = spread(
    2,
    ("unknown unit", "drop [Pa]", "drop [grad]", ("rows.csv, column 'drop [grad]'", "'grad'", "Pa, hPa")),
    ("unit of another kind", "drop [Pa]", "drop [m/s]", ("rows.csv, column 'drop [m/s]'", "one of velocity")),
    ("no unit", "drop [Pa]", "drop", ("rows.csv, column 'drop'", "no unit", "'drop [Pa]'")),
    ("decimal comma among commas", "150.1", "150,1", ("rows.csv, row 3", "5 cells", "semicolons")),
    ("decimal comma in quotes", "150.1", '"150,1"', ("rows.csv, row 3, 'drop [Pa]'", "'150,1'", "decimal point")),
    ("letter O", "150.1", "15O.1", ("rows.csv, row 3, 'drop [Pa]'", "'15O.1'", "letter O")),
    ("no column of any reading", "drop [Pa],air.meter.temperature [degC]", "a,b", ("rows.csv, header", "flow[1].drop")),
    ("misspelt column", "drop [Pa]", "dorp [Pa]", ("rows.csv, column 'dorp [Pa]'", "'dorp'", "mean drop")),
    ("misspelt column without unit", "drop [Pa]", "dorp", ("rows.csv, column 'dorp'", "'dorp'", "mean drop")),
    ("extra column with a unit", "drop [Pa]", "wind [m/s]", ("rows.csv, column 'wind [m/s]'", "leave the unit out")),
    ("a cell too many", "23.9,", "23.9,9,9,", ("rows.csv, row 4", "6 cells", "4, as in the header")),
    ("empty", ROWS, "", ("rows.csv", "an empty file")),
    ("cut within a row", ROWS, ROWS[:-20], ("rows.csv, row 4", "no line end", "cut off")),
    ("NaN", "150.1", "nan", ("rows.csv, row 3, 'drop [Pa]'", "'nan'")),
    ("blank", "150.1", "", ("rows.csv, row 3, column 'drop [Pa]'", "nothing", "remove the row")),
    (
        "humidity of 140 %",
        "drop [Pa],air.meter.temperature [degC]",
        "relative_humidity [%],air.meter.temperature [degC]",
        ("rows.csv, row 2, column 'relative_humidity [%]'", "'182.3'", "from 0 % to 100 %"),
        ("rows.csv, row 3,", "'150.1'"),
        ("rows.csv, row 4,", "'120.7'"),
    ),
    ("a reading twice", "remark", "flow.drop [Pa]", ("rows.csv, column 'flow.drop [Pa]'", "each reading once")),
)


@pytest.mark.parametrize(("old", "new", "says"), TABLES)
def test_a_table_of_rows(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=RECORD, rows_csv=edited(ROWS, old, new))
    rig.refuses("record.toml", "--rows", "rows.csv", says=says)


def test_rows_whose_wet_bulb_lies_above_the_dry_bulb(rig: Rig) -> None:
    pattern = edited(RECORD, 'relative_humidity = "41 %"', 'wet_bulb = "15 degC"')
    rig.lay_out(record_toml=pattern, rows_csv="drop [Pa],wet_bulb [degC]\n180,15.0\n180,25.0\n")
    at = "rows.csv, row 3, column 'wet_bulb [degC]'"
    rig.refuses("record.toml", "--rows", "rows.csv", says=((at, "'25.0'", "temperature beside it", "swapped"),))
    rig.lay_out(rows_csv="drop [Pa],air.meter.temperature [degC]\n180,23.4\n180,13.4\n")
    at = "rows.csv, row 3, column 'air.meter.temperature [degC]'"
    rig.refuses("record.toml", "--rows", "rows.csv", says=((at, "'13.4'", "a wet_bulb", "swapped"),))


def test_a_reversed_row_is_flagged_among_the_others(rig: Rig) -> None:
    rig.lay_out(record_toml=RECORD, rows_csv=edited(ROWS, "150.1", "-150.1"))
    code, out, err = rig.run("reduce", "record.toml", "--rows", "rows.csv")
    assert (code, err) == (0, "")
    assert "ALARM, reversed" in out
    assert "(1 of 3 rows: 2)" in " ".join(out.split())


def test_a_traverse_cannot_be_read_row_by_row(rig: Rig) -> None:
    rig.lay_out(record_toml=TRAVERSE, grid_csv=GRID, rows_csv="velocity [m/s]\n3\n4\n")
    says = (("rows.csv, column 'velocity [m/s]'", "one value a test", "one by one"),)
    rig.refuses("record.toml", "--rows", "rows.csv", says=says)


def test_no_column_of_a_log_is_read_past_in_silence(rig: Rig) -> None:
    warm = LOG.replace("remark", "air.meter.temperature [degC]").replace("door open", "34").replace(",\n", ",34\n")
    rig.lay_out(record_toml=LOGGED, log_csv=warm)
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (2, "")
    assert "either a value here or a column of the log, not both" in err
    rig.lay_out(record_toml=edited(LOGGED, 'temperature = "23.4 degC"\n', ""), log_csv=warm)
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, "")
    assert "Air at the meter: 34.0 degC" in out
    rig.lay_out(record_toml=LOGGED, log_csv=LOG.replace("remark", "Drop [hPa]").replace("door open", ""))
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (2, "")
    assert "a second column 'Drop'" in err
    rig.lay_out(record_toml=LOGGED, log_csv=LOG)
    assert "columns of the log: log.csv: not used: remark" in " ".join(rig.run("reduce", "record.toml")[1].split())
