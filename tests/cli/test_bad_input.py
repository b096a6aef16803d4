"""Bad input at the command line: one report of every fault, in plain words, exit code 2, and no file touched."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import flowrig
from flowrig.errors import InputError
from tests.cli.rig import (
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


def test_the_sound_files_are_sound(rig: Rig) -> None:
    rig.lay_out(record_toml=RECORD, logged_toml=LOGGED, log_csv=LOG, grid_csv=GRID, rows_csv=ROWS)
    rig.write("traverse.toml", TRAVERSE)
    for arguments in (["record.toml"], ["logged.toml"], ["traverse.toml"], ["record.toml", "--rows", "rows.csv"]):
        code, out, err = rig.run("reduce", *arguments)
        assert (code, err) == (0, "")
        assert "Flow" in out or "rows" in out


# ---------------------------------------------------------------- one field of a record

T = 'temperature = "23.4 degC"'
P = 'pressure = "836.4 hPa"'
H = 'relative_humidity = "41 %"'
D = 'drop = ["182.3 Pa", "183.1 Pa", "181.8 Pa"]'
S = 'static = "0.4 Pa"'
A = 'accuracy = "0.5 % of reading + 0.25 Pa"'
DIAMETER = 'diameter = "150 mm ± 0.15 mm"'
DATE = "date = 2026-07-14"
AT_T, AT_H = "record.toml, line 5, air.meter.temperature", "record.toml, line 7, air.meter.relative_humidity"
AT_D, AT_S = "record.toml, line 36, flow[1].drop", "record.toml, line 37, flow[1]"
AT_A = "record.toml, line 12, instruments.manometer.accuracy"
AT_DIAMETER = "record.toml, line 28, nozzles.A.diameter"

FIELDS = spread(
    2,
    # units
    ("unknown unit", T, 'temperature = "23.4 grad"', (AT_T, "'23.4 grad'", "degC, degF, K")),
    (
        "unknown unit with a near one",
        P,
        'pressure = "836.4 hpaa"',
        ("record.toml, line 6, air.meter.pressure", "'hPa'"),
    ),
    ("unit of another kind", T, 'temperature = "23.4 Pa"', (AT_T, "not a unit of temperature", "pressure")),
    ("drop as a velocity", D, 'drop = "182.3 m/s"', (AT_D, "'182.3 m/s'", "one of velocity")),
    ("no unit within the quotes", D, 'drop = "182.3"', (AT_D, "a unit of pressure difference is missing".capitalize())),
    ("bare number", T, "temperature = 23.4", (AT_T, "read 23.4;", "degC, degF or K")),
    ("bare drop", D, "drop = 182.3", (AT_D, "read 182.3;", "Pa, hPa")),
    ("bare numbers in a list", D, "drop = [182.3, 183.1]", (AT_D, "[182.3, 183.1]", 'unit = "Pa"')),
    (
        "decimal commas that make four whole numbers",
        D,
        "drop = [23,4, 24,1]",
        (AT_D, "[23, 4, 24, 1]", "23,4 is 23 and 4", "23.4"),
    ),
    ("humidity as a bare share", H, "relative_humidity = 0.41", (AT_H, "read 0.41;", '"41 %"')),
    ("values without their unit", D, "drop = { values = [1, 2] }", (AT_D, "a table of values", 'unit = "Pa" }')),
    # numbers
    ("comma for a decimal point", T, 'temperature = "23,4 degC"', (AT_T, "'23,4 degC'", "not a comma: 23.4")),
    ("letter O for a zero", T, 'temperature = "2O.4 degC"', (AT_T, "letter O", "20.4")),
    ("NaN", D, 'drop = "nan Pa"', (AT_D, "'nan Pa'", "missing")),
    ("NaN as TOML has it", D, "drop = nan", (AT_D, "read nan;", "missing")),
    ("infinity", D, "drop = inf", (AT_D, "read inf;", "without bound")),
    ("negative drop", D, 'drop = "-182.3 Pa"', (AT_D, "-182.3 Pa", "above zero", "hoses")),
    ("negative drops", D, 'drop = ["-182.3 Pa", "-181 Pa"]', (AT_D, "a mean of -181.65 Pa", "hoses")),
    ("a date for a temperature", T, "temperature = 2026-07-14", (AT_T, "read 2026-07-14;", "in quotes")),
    ("true for a temperature", T, "temperature = true", (AT_T, "read true;", "in quotes")),
    # bounds
    ("humidity of 140 %", H, 'relative_humidity = "140 %"', (AT_H, "'140 %'", "from 0 % to 100 %")),
    ("kPa for hPa", P, 'pressure = "836.4 kPa"', ("record.toml, line 6, air.meter.pressure", "from 30 kPa to 120 kPa")),
    ("kelvin for celsius", T, 'temperature = "23.4 K"', (AT_T, "'23.4 K'", "223.2 K")),
    ("zero diameter", DIAMETER, 'diameter = "0 mm"', (AT_DIAMETER, "'0 mm'", "above 0 mm")),
    ("negative diameter", DIAMETER, 'diameter = "-150 mm"', (AT_DIAMETER, "'-150 mm'", "above 0 mm")),
    ("metres for millimetres", DIAMETER, 'diameter = "150 m"', (AT_DIAMETER, "'150 m'", "at most 2 m")),
    ("± larger than the value", DIAMETER, 'diameter = "150 mm ± 200 mm"', (AT_DIAMETER, "above 0 mm", "lower end")),
    ("± without a unit", DIAMETER, 'diameter = "150 mm ± 0.15"', (AT_DIAMETER, "'0.15' in '150 mm ± 0.15'", "unit")),
    ("± below zero", DIAMETER, 'diameter = "150 mm ± -0.15 mm"', (AT_DIAMETER, "'-0.15 mm'", "without the minus")),
    (
        "a share above what it can be",
        DIAMETER,
        DIAMETER + '\nmade = "home-made"\ncoefficient_limit = "400 %"',
        ("record.toml, line 30, nozzles.A.coefficient_limit", "'400 %'", "at most 50 %"),
    ),
    # fields against one another
    ("wet bulb above dry bulb", H, 'wet_bulb = "25 degC"', ("record.toml, line 7, air.meter.wet_bulb", "23.4 degC")),
    ("dew point above dry bulb", H, 'dew_point = "25 degC"', ("record.toml, line 7, air.meter.dew_point", "swapped")),
    (
        "both of two alternatives",
        H,
        H + '\nwet_bulb = "15 degC"',
        ("record.toml, line 4, air.meter", "relative_humidity and wet_bulb", "Remove the others"),
    ),
    (
        "fan power beside the temperature at the meter",
        T,
        T + '\nfan_power = "85 W"',
        ("record.toml, line 6, air.meter.fan_power", "85 W", "[air.unit] or [air.room]"),
    ),
    (
        "fan power in place of the temperature at the meter",
        T,
        'fan_power = "85 W"',
        ("record.toml, line 4, air.meter", "no temperature", 'temperature = "23.4 degC"'),
    ),
    ("one of two that go together", S, 'chamber_width = "900 mm"', ("record.toml, line 33, flow[1]", "chamber_height")),
    (
        "lists of unequal length",
        S,
        'static = ["0.4 Pa", "0.5 Pa"]',
        ("record.toml, line 33, flow[1]", "3 of drop, 2 of static", "fill the gap"),
    ),
    # what is missing
    ("no title", 'title = "Small cleaner, speed 2"\n', "", ("record.toml", "no title", "Add title = ")),
    ("no date", DATE + "\n", "", ("record.toml", "no date", "Add date = 2026-08-21")),
    ("no drop", D, "", ("record.toml, line 33, flow[1]", "no drop", 'Add drop = "250.3 Pa"')),
    ("no nozzle", 'open = ["A"]\n', "", ("record.toml, line 33, flow[1]", "no open", 'Add open = ["A", "B"]')),
    ("no temperature", T, "", ("record.toml, line 4, air.meter", "no temperature", "Add temperature =")),
    ("no pressure", P, "", ("record.toml, line 4, air.meter", "no pressure", "altitude")),
    (
        "no accuracy",
        'accuracy = "0.3 degC"\n',
        "",
        ("record.toml, line 15, instruments.thermometer", "no accuracy", 'Add accuracy = "0.3 degC"'),
    ),
    (
        "no kind",
        'measures = "pressure difference"\n',
        "",
        ("record.toml, line 9, instruments.manometer", "no measures", "one of: pressure difference, pressure"),
    ),
    # names
    (
        "unknown field with a near name",
        "static =",
        "statik =",
        ("record.toml, line 37, flow[1].statik", "mean static?"),
    ),
    ("required field misspelt", "drop =", "dorp =", ("record.toml, line 36, flow[1].dorp", "Did you mean drop?")),
    ("unknown field", S, 'colour = "red"', ("record.toml, line 37, flow[1].colour", "'colour'", "Remove the line")),
    ("unknown method", '"nozzle"', '"nozle"', ("record.toml, line 34, flow[1].method", "'nozle'", '"nozzle"?')),
    ("unlike any method", '"nozzle"', '"rotameter"', ("record.toml, line 34, flow[1].method", "vane-traverse")),
    ("no method", 'method = "nozzle"\n', "", ("record.toml, line 33, flow[1].method", "no method", "one of: nozzle")),
    ("unknown nozzle", '["A"]', '["Z"]', ("record.toml, line 35, flow[1].open", "'Z'", "A, B", "[nozzles.Z]")),
    ("nozzle in small letters", '["A"]', '["a"]', ("record.toml, line 35, flow[1].open", "'a'", "Did you mean A?")),
    ("two nozzles in one text", '["A"]', '"A, B"', ("record.toml, line 35, flow[1].open", "'A, B'", "a list")),
    ("repeated nozzle", '["A"]', '["A", "A"]', ("record.toml, line 35, flow[1].open", "each name once")),
    ("no nozzle in the list", '["A"]', "[]", ("record.toml, line 35, flow[1].open", "read [];", '["A", "B"]')),
    # tables
    ("[flow] for [[flow]]", "[[flow]]", "[flow]", ("record.toml, line 33, flow", "[flow]", "[[flow]], in double")),
    ("[[flows]]", "[[flow]]", "[[flows]]", ("record.toml, line 33, flows", "Did you mean [[flow]]?")),
    ("no flow", RECORD[RECORD.index("[[flow]]") :], "", ("record.toml", "no [[flow]]", 'method = "nozzle"')),
    (
        "no air",
        RECORD[RECORD.index("[air.meter]") : RECORD.index("[instruments.manometer]")],
        "",
        ("record.toml", "no [air.meter]", "temperature, pressure, humidity"),
    ),
    ("misspelt station", "[air.meter]", "[air.metre]", ("record.toml, line 4, air.metre", "mean [air.meter]?")),
    ("air without a station", "[air.meter]", "[air]", ("record.toml, line 4, air", "Write [air.meter]")),
    ("air that is no table", "[air.meter]", "air = 3\n[x]", ("record.toml", "x"), ("record.toml, line 4, air", "3")),
    (
        "misspelt table of instruments",
        "[instruments.manometer]",
        "[instrument.manometer]",
        ("record.toml, line 9, instrument", "Did you mean [instruments.…]?"),
    ),
    ("misspelt table of nozzles", "[nozzles.A]", "[nozzle.A]", ("record.toml, line 27, nozzle", "[nozzles.…]?")),
    # dates
    ("date in words", DATE, 'date = "14 July 2026"', ("record.toml, line 2, date", "'14 July 2026'", "without quotes")),
    ("date as text", DATE, 'date = "14 July 2026"', ("record.toml, line 2, date", "without quotes")),
    ("date as a number", DATE, "date = 20260714", ("record.toml, line 2, date", "20260714", "2026-08-21")),
    # units and densities of the report
    (
        "unit of the report",
        DATE,
        DATE + '\nflow_unit = "parsec"',
        ("record.toml, line 3, flow_unit", "'parsec'", "cfm"),
    ),
    (
        "density without unit",
        DATE,
        DATE + '\nstandard_density = "1.2"',
        ("record.toml, line 3, standard_density", "kg/m3"),
    ),
    ("throat of another length", '"100 mm"', '"100 mm"\nlength_ratio = 0.7', ("record.toml, line 32", "0.5 or 0.6")),
    ("throat in words", '"100 mm"', '"100 mm"\nlength_ratio = "long"', ("record.toml, line 32", "'long'")),
)


@pytest.mark.parametrize(("old", "new", "says"), FIELDS)
def test_one_field(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=edited(RECORD, old, new))
    rig.refuses("record.toml", says=says)


# ---------------------------------------------------------------- instruments

TWO = '[instruments.gauge]\nmeasures = "pressure difference"\naccuracy = "1 Pa"\n\n[nozzles.A]'

INSTRUMENTS = spread(
    2,
    ("accuracy in praise", A, 'accuracy = "very good"', (AT_A, "'very good'", "0.5 % of reading")),
    ("U without k", A, 'accuracy = "U = 0.8 Pa"', (AT_A, "'U = 0.8 Pa'", "(k=2)")),
    ("accuracy in another unit", A, 'accuracy = "0.3 degC"', (AT_A, "'0.3 degC'", "not a unit of pressure difference")),
    ("negative accuracy", A, 'accuracy = "-0.5 Pa"', (AT_A, "'-0.5 Pa'", "without the minus")),
    ("accuracy of zero", A, 'accuracy = "0 Pa"', (AT_A, "'0 Pa'", "above zero")),
    ("accuracy with commas", A, 'accuracy = "0,5 % of reading + 0,25 Pa"', (AT_A, "'0,5' in", "Write 0.5")),
    ("accuracy as a number", A, "accuracy = 0.25", (AT_A, "read 0.25;", "between quotes")),
    ("share of an unstated full scale", A, 'accuracy = "0.5 % of full scale"', (AT_A, "full scale itself")),
    (
        "misspelt kind",
        '"pressure difference"',
        '"pressure diference"',
        ("record.toml, line 10, instruments.manometer.measures", 'mean "pressure difference"?'),
    ),
    ("unknown instrument", S, 'with = "manomter"', (AT_S + ".with", "'manomter'", "Did you mean manometer?")),
    ("unknown instrument of a field", S, 'with = { drop = "fred" }', (AT_S + ".with", "'fred'", "[instruments.fred]")),
    ("instrument of another kind", S, 'with = "barometer"', (AT_S + ".with", "measures pressure;", "manometer")),
    ("instrument of no field", S, 'with = { dorp = "manometer" }', (AT_S + ".with", "'dorp'", "Did you mean drop?")),
    (
        "two instruments of a kind and none named",
        "[nozzles.A]",
        TWO,
        ("record.toml, line 40, flow[1].drop", "2 instruments", "manometer, gauge", 'with = { drop = "manometer" }'),
        ("record.toml, line 41, flow[1].static", "2 instruments", 'with = { static = "manometer" }'),
    ),
    (
        "reading without an instrument",
        '[instruments.barometer]\nmeasures = "pressure"\naccuracy = "1 hPa"\n',
        "",
        ("record.toml, line 6, air.meter.pressure", "without an instrument", "[instruments.barometer]", '"1 hPa"'),
    ),
    (
        "drift without a date",
        A,
        A + '\ndrift = "0.2 % of reading per year"',
        ("record.toml, line 13, instruments.manometer.drift", "date of calibration"),
    ),
)


@pytest.mark.parametrize(("old", "new", "says"), INSTRUMENTS)
def test_instruments(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=edited(RECORD, old, new))
    rig.refuses("record.toml", says=says)


# ---------------------------------------------------------------- TOML that does not parse, and what was meant

SLIPS = named(
    ("decimal comma", T, "temperature = 23,4", (5, "a decimal point", "Write: temperature = 23.4")),
    ("no quotes", T, "temperature = 23.4 degC", (5, "in quotes", 'Write: temperature = "23.4 degC"')),
    ("curly quotes", T, "temperature = “23.4 degC”", (5, "straight quotes", 'Write: temperature = "23.4 degC"')),
    ("backslash", D, 'log = "C:\\data\\log.csv"', (36, "single quotes", "C:\\data\\log.csv")),
    ("date with points", DATE, "date = 21.8.2026", (2, "year-month-day", "Write: date = 2026-08-21")),
    ("date that reads two ways", DATE, "date = 7/8/2026", (2, "year-month-day", "cannot be guessed")),
    ("field written twice", T, f"{T}\n{T}", (6, "a second time", "line 5")),
    ("closing quote", T, T[:-1], (5, "a closing quote", f"Write: {T}")),
    ("closing bracket", "[air.meter]", "[air.meter", (4, "a closing bracket", "Write: [air.meter]")),
)


@pytest.mark.parametrize(("old", "new", "says"), SLIPS)
def test_toml_that_does_not_parse(rig: Rig, old: str, new: str, says: tuple[Any, ...]) -> None:
    rig.lay_out(record_toml=edited(RECORD, old, new))
    rig.refuses("record.toml", says=((f"record.toml, line {says[0]}", *says[1:]),))


# ---------------------------------------------------------------- several faults at once


def test_two_faults_in_one_file_are_both_told(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(edited(RECORD, "23.4 degC", "23,4 degC"), "836.4 hPa", "836.4 hpaa"))
    rig.refuses("record.toml", says=((AT_T, "23.4"), ("record.toml, line 6, air.meter.pressure", "'hPa'")))


def test_a_bad_reading_of_several_hides_no_other_and_makes_no_second_fault(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(RECORD, D, 'drop = ["182.3 Pa", "183,1 Pa", "181.8"]'))
    rig.refuses("record.toml", says=((f"{AT_D}[2]", "183.1"), (f"{AT_D}[3]", "missing")))


def test_faults_of_the_record_and_of_its_files_come_together(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(LOGGED, "23.4 degC", "23,4 degC"), log_csv=edited(LOG, "181.8", "18O.8"))
    rig.refuses("record.toml", says=(("log.csv, row 4, 'drop [Pa]'", "letter O"), (AT_T, "23.4")))
    rig.lay_out(record_toml=edited(RECORD, "23.4 degC", "23,4 degC"), rows_csv="")
    rig.refuses("record.toml", "--rows", "rows.csv", says=((AT_T, "23.4"), ("rows.csv", "an empty file")))


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("chamber \u202e2", "U+202E"),
        ("\x1b[31mred", "U+001B"),
        ("   ", "blanks alone"),
        ("W" * 400, "400 letters"),
    ],
)
def test_words_that_cannot_be_seen_or_set_are_refused(name, said):
    from tests.studies.records import nozzle

    with pytest.raises(InputError) as stop:
        flowrig.reduce(nozzle(name=name))
    assert len(stop.value.faults) == 1
    assert said in str(stop.value)
