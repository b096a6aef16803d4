"""Bad input about a meter in a pipe, at the command line: one plain report, exit code 2, no file touched."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.rig import RECORD, Rig, edited, spread

BEFORE = RECORD.split("[nozzles.A]")[0]
PLATE = (
    BEFORE
    + """[plates.run]
diameter = "120 mm ± 0.05 mm"
pipe_diameter = "200 mm ± 0.4 mm"
tappings = "corner"

[[flow]]
method = "orifice-plate"
plate = "run"
drop = ["620.4 Pa", "619.8 Pa"]
static = "-200 Pa"
straight_length = "full"
"""
)
NOZZLE = edited(edited(PLATE, "plates.run", "pipe_nozzles.run"), 'tappings = "corner"', 'type = "isa-1932"')
NOZZLE = edited(edited(NOZZLE, "orifice-plate", "pipe-nozzle"), 'plate = "run"', 'nozzle = "run"')
TUBE = edited(edited(PLATE, "plates.run", "venturi_tubes.run"), 'tappings = "corner"', 'convergent = "machined"')
TUBE = edited(edited(TUBE, "orifice-plate", "venturi-tube"), 'plate = "run"', 'tube = "run"')


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


@pytest.mark.parametrize("sound", [PLATE, NOZZLE, TUBE], ids=["plate", "nozzle", "tube"])
def test_the_sound_records_are_sound(rig: Rig, sound: str) -> None:
    rig.lay_out(record_toml=sound, rows_csv="drop [Pa]\n600\n700\n")
    for arguments in (["record.toml"], ["record.toml", "--rows", "rows.csv"]):
        code, out, err = rig.run("reduce", *arguments)
        assert (code, err) == (0, "")
        assert "Flow" in out or "rows" in out


P, K, N = 'pipe_diameter = "200 mm ± 0.4 mm"', 'tappings = "corner"', 'plate = "run"'
BORE = 'diameter = "120 mm ± 0.05 mm"'
DROP, STATIC, STRAIGHT = 'drop = ["620.4 Pa", "619.8 Pa"]', 'static = "-200 Pa"', 'straight_length = "full"'
HERE, FLOW = "record.toml, line 27, plates.run", "record.toml, line 32, flow[1]"
AT_BORE, AT_PIPE = "record.toml, line 28, plates.run.diameter", "record.toml, line 29, plates.run.pipe_diameter"
AT_KIND, AT_NAME = "record.toml, line 30, plates.run.tappings", "record.toml, line 34, flow[1].plate"
AT_DROP, AT_STATIC = "record.toml, line 35, flow[1].drop", "record.toml, line 36, flow[1].static"
KINDS, LENGTHS = "corner, d-and-half-d, flange", "not stated, full, reduced, too short"
WRONG = "not a unit of pressure difference"
AT_STRAIGHT = "record.toml, line 37, flow[1].straight_length"

FIELDS = spread(
    2,
    # the bore
    ("bore larger than its pipe", BORE, 'diameter = "220 mm"', (AT_BORE, "220 mm", "the pipe's, 200 mm", "swapped")),
    ("bore as wide as its pipe", BORE, 'diameter = "0.2 m"', (AT_BORE, "0.2 m", "less than the pipe's", "swapped")),
    ("bore in another unit than the pipe", BORE, 'diameter = "120 in"', (AT_BORE, "'120 in'", "at most 78.74 in")),
    ("zero bore", BORE, 'diameter = "0 mm"', (AT_BORE, "'0 mm'", "above 0 mm")),
    ("negative bore", BORE, 'diameter = "-120 mm"', (AT_BORE, "'-120 mm'", "above 0 mm")),
    ("± wider than the bore", BORE, 'diameter = "120 mm ± 130 mm"', (AT_BORE, "above 0 mm", "lower end")),
    ("bore in pascals", BORE, 'diameter = "120 Pa"', (AT_BORE, "'120 Pa'", "not a unit of length")),
    ("bore without a unit", BORE, 'diameter = "120"', (AT_BORE, "'120'", "unit of length")),
    ("bore as a bare number", BORE, "diameter = 120", (AT_BORE, "read 120;", "mm")),
    ("bore with a comma", BORE, 'diameter = "120,5 mm"', (AT_BORE, "'120,5 mm'", "120.5")),
    ("no bore", BORE + "\n", "", (HERE, "no diameter", 'Add diameter = "120 mm')),
    # the pipe
    ("zero pipe", P, 'pipe_diameter = "0 mm"', (AT_PIPE, "'0 mm'", "above 0 mm")),
    ("negative pipe", P, 'pipe_diameter = "-200 mm"', (AT_PIPE, "'-200 mm'", "above 0 mm")),
    ("metres for millimetres", P, 'pipe_diameter = "200 m"', (AT_PIPE, "'200 m'", "at most 3 m")),
    ("pipe in a nominal size", P, 'pipe_diameter = "DN200"', (AT_PIPE, "'DN200'", "A number")),
    ("no pipe", P + "\n", "", (HERE, "no pipe_diameter", "Add pipe_diameter =")),
    ("pipe under another name", "pipe_diameter =", "pipe_diametre =", ("record.toml, line 29", "mean pipe_diameter?")),
    # the tappings
    ("no tappings", K + "\n", "", (HERE, "no tappings", KINDS, 'Add tappings = "corner"')),
    ("unknown tappings", K, 'tappings = "vena contracta"', (AT_KIND, "'vena contracta'", KINDS)),
    ("tappings nearly right", K, 'tappings = "flanges"', (AT_KIND, "'flanges'", 'Did you mean "flange"?')),
    ("tappings as a number", K, "tappings = 1", (AT_KIND, "read 1;", KINDS)),
    # the flow
    ("no plate", N + "\n", "", (FLOW, "no plate", 'Add plate = "A"')),
    ("unknown plate", N, 'plate = "spare"', (AT_NAME, "'spare'", "run", "[plates.spare]")),
    ("two plates", N, 'plate = ["run", "spare"]', (AT_NAME, "one name")),
    ("no drop", DROP + "\n", "", (FLOW, "no drop", "Add drop =")),
    ("drop in metres", DROP, 'drop = "620 mm"', (AT_DROP, "'620 mm'", WRONG)),
    ("drop beyond all bounds", DROP, 'drop = "62 kPa"', (AT_DROP, "'62 kPa'", "50 kPa")),
    ("negative drop", DROP, 'drop = "-620 Pa"', (AT_DROP, "-620 Pa", "hoses")),
    ("static in degrees", STATIC, 'static = "-200 degC"', (AT_STATIC, "'-200 degC'", WRONG)),
    ("absolute for gauge", STATIC, 'static = "1013 hPa"', (AT_STATIC, "'1013 hPa'", "200 hPa")),
    ("unknown length", STRAIGHT, 'straight_length = "long"', (AT_STRAIGHT, "'long'", LENGTHS)),
    ("length in diameters", STRAIGHT, "straight_length = 22", (AT_STRAIGHT, "read 22;", "not stated, full, reduced")),
    ("length nearly right", STRAIGHT, 'straight_length = "to short"', (AT_STRAIGHT, 'Did you mean "too short"?')),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), FIELDS)
def test_one_field(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=edited(PLATE, old, new))
    rig.refuses("record.toml", says=says)


OTHERS = spread(
    3,
    ("no type", NOZZLE, 'type = "isa-1932"\n', "",
     ("record.toml, line 27, pipe_nozzles.run", "no type", "isa-1932, long-radius, venturi-nozzle")),
    ("unknown type", NOZZLE, '"isa-1932"', '"isa-1923"',
     ("record.toml, line 30, pipe_nozzles.run.type", "'isa-1923'", 'Did you mean "isa-1932"?')),
    ("throat larger than its pipe", NOZZLE, '"120 mm ± 0.05 mm"', '"1.2 m"',
     ("record.toml, line 28, pipe_nozzles.run.diameter", "1.2 m", "less than the pipe's, 200 mm")),
    ("nozzle of a chamber", NOZZLE, "[pipe_nozzles.run]", "[nozzles.run]",
     ("record.toml, line 27, nozzles", "Did you mean [pipe_nozzles.…]?")),
    ("no convergent", TUBE, 'convergent = "machined"\n', "",
     ("record.toml, line 27, venturi_tubes.run", "no convergent", "as-cast, machined, welded")),
    ("unknown convergent", TUBE, '"machined"', '"printed"',
     ("record.toml, line 30, venturi_tubes.run.convergent", "'printed'", "as-cast, machined, welded")),
    ("zero throat", TUBE, '"120 mm ± 0.05 mm"', '"0 mm"',
     ("record.toml, line 28, venturi_tubes.run.diameter", "'0 mm'", "above 0 mm")),
)  # fmt: skip


@pytest.mark.parametrize(("sound", "old", "new", "says"), OTHERS)
def test_one_field_of_the_others(rig: Rig, sound: str, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=edited(sound, old, new))
    rig.refuses("record.toml", says=says)


def test_everything_at_once_is_one_report(rig: Rig) -> None:
    text = edited(PLATE, '"120 mm ± 0.05 mm"', '"120 Pa"')
    text = edited(edited(text, '"corner"', '"corners of it"'), '"full"', '"long"')
    rig.lay_out(record_toml=edited(text, '"-200 Pa"', "-200"))
    rig.refuses("record.toml", says=((AT_BORE,), (AT_KIND,), (AT_STATIC,), (AT_STRAIGHT,)))


def test_a_column_of_a_table_in_a_wrong_unit(rig: Rig) -> None:
    rig.lay_out(record_toml=PLATE, rows_csv="drop [m/s]\n600\n")
    rig.refuses("record.toml", "--rows", "rows.csv", says=(("rows.csv", "m/s", "pressure difference"),))


def test_a_sonic_throat_is_told_in_a_line(rig: Rig) -> None:
    rig.lay_out(record_toml=edited(PLATE, DROP, 'drop = "49 kPa"'))
    code, out, err = rig.run("reduce", "record.toml")
    assert code != 0
    assert out == ""
    assert len(err.splitlines()) == 1
    assert "orifice-plate" in err
