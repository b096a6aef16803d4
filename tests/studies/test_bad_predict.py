"""Records of a cleaner, a fan and a filter that are spoilt in one place: one clear report of each fault."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from flowrig.errors import InputError
from flowrig.studies.predict import predict
from flowrig.studies.reduce import load
from flowrig.studies.sweep import sweep
from tests.cli.rig import PYTHON, edited, spread
from tests.studies.records import nozzle

FAN = """title = "A fan"
date = 2026-08-10
invented = true

[fan]
figures = "stated"
flow = ["0 m3/h", "600 m3/h", "1200 m3/h", "1800 m3/h"]
pressure = ["72 Pa", "57 Pa", "33 Pa", "0 Pa"]
"""
PANEL = """title = "A panel"
date = 2026-08-10
invented = true

[filter]
figures = "stated"
width = "500 mm"
height = "500 mm"
drop = ["16 Pa", "36 Pa"]
velocity = ["0.5 m/s", "1.0 m/s"]
particles = "1 to 3 um"
efficiency = ["88 %", "85 %"]
efficiency_velocity = ["0.5 m/s", "1.5 m/s"]
"""
RECORD = """title = "A cleaner"
date = 2026-08-24
invented = true

[air.unit]
temperature = "24 degC ± 1 K"
pressure = "1013 hPa ± 1 hPa"
relative_humidity = "40 % ± 5 %"

[predict]
fan = "fan.toml"

[[filters]]
filter = "panel.toml"
count = 2
"""
POINTS = """setting,flow [m3/h],pressure [Pa]
high,0,72
high,900,46
high,1800,0
low,0,30
low,600,20
low,1100,0
"""
SOUND = {"fan.toml": FAN, "panel.toml": PANEL, "record.toml": RECORD, "points.csv": POINTS}
TABLED = FAN[: FAN.index("flow =")] + 'points = "points.csv"\n'
LINE = 'fan = "fan.toml"'


def laid_out(folder: Path, **files: str | None) -> Path:
    """The record of a sound set of files, some of them replaced; None for one that is not there."""
    for name, text in (SOUND | {name.replace("_", "."): text for name, text in files.items()}).items():
        if text is not None:
            (folder / name).write_text(text, encoding="utf-8")
    return folder / "record.toml"


def refuses(work: Any, says: tuple[tuple[str, ...], ...], folder: Path) -> None:
    with pytest.raises(InputError) as caught:
        work()
    lines = str(caught.value).splitlines()
    assert len(lines) == len(says), lines
    for fault, line, (where, *words) in zip(caught.value.faults, lines, says, strict=True):
        assert line.startswith(where), line
        assert fault.read
        assert fault.expected
        assert fault.remedy, line
        for word in words:
            assert word in line, f"{word!r} not in: {line}"
        assert not PYTHON.search(line), line
        assert str(folder) not in line, line


def test_the_sound_files_are_sound(tmp_path: Path) -> None:
    found = predict(laid_out(tmp_path), samples=200)
    assert 900 < found.flow.value < 1800
    tabled = edited(RECORD, LINE, LINE + '\nsetting = "low"')
    low = predict(laid_out(tmp_path, fan_toml=TABLED, record_toml=tabled), samples=200)
    assert 300 < low.flow.value < found.flow.value


FLOWS, PRESSURES = '["0 m3/h", "600 m3/h", "1200 m3/h", "1800 m3/h"]', '["72 Pa", "57 Pa", "33 Pa", "0 Pa"]'
BAD_FANS = spread(
    1,
    ("one point", edited(edited(FAN, FLOWS, '"600 m3/h"'), PRESSURES, '"57 Pa"'),
     ("fan.toml, line 8, fan.pressure", "1 point", "at least two points", "over its whole range")),
    ("no function", edited(FAN, "1200", "600"),
     ("fan.toml, line 8, fan.pressure", "two points at the flow 600 m3/h: 57 Pa and 33 Pa", "one pressure at each")),
    ("rising without end", edited(FAN, PRESSURES, '["0 Pa", "33 Pa", "57 Pa", "72 Pa"]'),
     ("fan.toml, line 8, fan.pressure", "never falls as the flow grows", "Check the sign of the pressure")),
    ("sign slipped", edited(FAN, PRESSURES, '["-72 Pa", "-57 Pa", "-33 Pa", "0 Pa"]'),
     ("fan.toml, line 8, fan.pressure", "never falls as the flow grows", "Check the sign of the pressure")),
    ("a gap in the pressures", edited(FAN, ', "0 Pa"]', "]"),
     ("fan.toml, line 5, fan", "4 of flow, 3 of pressure", "as many values of each")),
    ("a gap in the temperatures", FAN + 'motor_temperature = ["40 degC"]\n',
     ("fan.toml, line 5, fan", "1 of motor_temperature", "as many values of each")),
    ("a gap in the voltages", FAN + 'voltage = ["119 V", "118 V"]\n',
     ("fan.toml, line 5, fan", "2 of voltage", "as many values of each")),
    ("a pressure for a flow", edited(FAN, '"600 m3/h"', '"600 Pa"'),
     ("fan.toml, line 7, fan.flow[2]", "'600 Pa'", "'Pa' is not a unit of flow")),
    ("no unit", edited(FAN, '"600 m3/h"', "600"), ("fan.toml, line 7, fan.flow[2]", "read 600", "in quotes")),
    ("backwards", edited(FAN, '"600 m3/h"', '"-600 m3/h"'), ("fan.toml, line 7, fan.flow[2]", "from 0 m3/h")),
    ("no power_is", FAN + 'power = ["90 W", "88 W", "85 W", "80 W"]\n',
     ("fan.toml, line 5, fan", "no power_is", "electrical (from the socket) or shaft")),
    ("cut short", FAN[:120], ("fan.toml, line 7", "expected key = value")),
)  # fmt: skip
BAD_PANELS = spread(
    1,
    ("no area", edited(PANEL, 'width = "500 mm"', 'width = "0 mm"'),
     ("panel.toml, line 7, filter.width", "'0 mm'", "a length above 0 mm")),
    ("a velocity too many", edited(PANEL, '"16 Pa", ', ""),
     ("panel.toml, line 10, filter.velocity", "2 values, 0.5 m/s to 1 m/s", "as many as drops, 1")),
    ("falls with velocity", edited(PANEL, '"16 Pa", "36 Pa"', '"36 Pa", "16 Pa"'),
     ("panel.toml, line 9, filter.drop", "do not rise with the velocity", "Check which drop belongs")),
    ("two drops at one velocity", edited(PANEL, '"0.5 m/s", "1.0 m/s"]\nparticles', '"1 m/s", "1.0 m/s"]\nparticles'),
     ("panel.toml, line 9, filter.drop", "2 drops at 1 velocity", "one drop at each velocity")),
    ("at rest", edited(PANEL, '"0.5 m/s", "1.0 m/s"]\nparticles', '"0 m/s", "1.0 m/s"]\nparticles'),
     ("panel.toml, line 10, filter.velocity", "values above zero", "Leave out the point at rest")),
    ("no velocities", edited(PANEL, 'velocity = ["0.5 m/s", "1.0 m/s"]\n', ""),
     ("panel.toml, line 5, filter", "drops without velocities", "beside each drop")),
    ("no drop", edited(PANEL, 'drop = ["16 Pa", "36 Pa"]\nvelocity = ["0.5 m/s", "1.0 m/s"]\n', ""),
     ("panel.toml, line 5, filter", "no drop", "drops with their velocities, or coefficients")),
    ("backwards", edited(PANEL, '"0.5 m/s", "1.5 m/s"', '"-0.5 m/s", "1.5 m/s"'),
     ("panel.toml, line 13, filter.efficiency_velocity[1]", "'-0.5 m/s'", "from 0 m/s")),
    ("more than all", edited(PANEL, '"88 %"', '"108 %"'),
     ("panel.toml, line 12, filter.efficiency[1]", "'108 %'", "to 100 %")),
    ("an efficiency too few", edited(PANEL, '"88 %", ', ""),
     ("panel.toml, line 13, filter.efficiency_velocity", "2 values", "as many as efficiencies, 1")),
    ("of what", edited(PANEL, 'particles = "1 to 3 um"\n', ""),
     ("panel.toml, line 5, filter", "no particles", "the size of the particles")),
)  # fmt: skip
BAD_RECORDS = spread(
    2,
    ("a fan that is a filter", '"fan.toml"', '"panel.toml"',
     ("record.toml, line 11, predict.fan", "'panel.toml'", "a record with a table [fan]")),
    ("a filter that is a fan", '"panel.toml"', '"fan.toml"',
     ("record.toml, line 14, filters[1].filter", "'fan.toml'", "a record with a table [filter]")),
    ("a fan not there", '"fan.toml"', '"ventilator.toml"',
     ("record.toml, line 11, predict.fan", "no file 'ventilator.toml'", "beside the record")),
    ("a filter not there", '"panel.toml"', '"panle.toml"',
     ("record.toml, line 14, filters[1].filter", "no file 'panle.toml'", "Did you mean 'panel.toml'?")),
    ("itself", '"fan.toml"', '"record.toml"',
     ("record.toml, line 10, predict", "a table [predict]", "which predicts nothing itself")),
    ("no filter", "count = 2", "count = 0", ("record.toml, line 13, filters[1]", "no filter at all", "count = 1")),
    ("a stage without one", "count = 2", 'count = 2\n\n[[filters]]\nfilter = "panel.toml"\ncount = 0\nstage = 2',
     ("record.toml, line 17, filters[2]", "no filter in stage 2", "remove the section")),
    ("less than none", "count = 2", "count = -1", ("record.toml, line 15, filters[1].count", "read -1", "from 0")),
    ("nothing in front", RECORD[RECORD.index("[[filters]]"):], "",
     ("record.toml", "no [[filters]]", "Add [[filters]]")),
    ("no air", RECORD[RECORD.index("[air.unit]"):RECORD.index("[predict]")], "",
     ("record.toml", "no [air.unit]", "In which air".lower(), "temperature")),
    ("no speed to hold it against", LINE, LINE + '\nspeed = "900 rpm"',
     ("record.toml, line 12, predict.speed", "a fan whose record holds its speed", "Write speed_ratio")),
    ("two speeds", LINE, LINE + '\nspeed = "900 rpm"\nspeed_ratio = "90 %"',
     ("record.toml, line 10, predict", "speed_ratio and speed", "Remove the others")),
    ("at rest", LINE, LINE + '\nspeed_ratio = "0 %"', ("record.toml, line 12, predict.speed_ratio", "above 0 %")),
    ("a setting of none", LINE, LINE + '\nsetting = "high"',
     ("record.toml, line 12, predict.setting", "'high'", "it names none", "Leave setting out")),
    ("a value tried twice", "count = 2", "count = 2\n\n[sweep]\ncount = [1, 2, 1]",
     ("record.toml, line 18, sweep.count", "read 1 more than once", "Leave out all but one")),
    ("a prediction misspelt", "[[filters]]", "[[filterss]]",
     ("record.toml, line 13, filterss", "a table filterss", "Did you mean [[filters]]?")),
    ("two fans, no word how", LINE, LINE + "\nfans = 2",
     ("record.toml, line 10, predict", "no arrangement", "side by side")),
    ("a hole in nothing", "count = 2", 'count = 2\n\n[[losses]]\nname = "grille"\ncoefficient = "1.5"\narea = "0 m2"',
     ("record.toml, line 20, losses[1].area", "'0 m2'", "an area above 0 m2")),
)  # fmt: skip
BAD_POINTS = spread(
    2,
    ("a setting not there", POINTS, LINE + '\nsetting = "hihg"',
     ("record.toml, line 12, predict.setting", "'hihg'", "'high', 'low'", "Did you mean 'high'?")),
    ("no setting", POINTS, LINE, ("record.toml, line 10, predict", "fan.toml holds 2 curves", "Add setting =")),
    ("cut off in a row", POINTS[:60], LINE, ("points.csv, row 4", "no line end", "seems cut off")),
    ("cut off in a cell", POINTS[:-3], LINE, ("points.csv, row 7", "no line end", "seems cut off")),
    ("cut off in the header", POINTS[:20], LINE, ("points.csv, row 1", "a header without rows")),
    ("an empty cell", edited(POINTS, "600,20", "600,"), LINE,
     ("points.csv, row 6, column 'pressure [Pa]'", "read nothing", "in every row")),
    ("empty", "", LINE, ("points.csv", "an empty file")),
    ("not there", None, LINE, ("fan.toml, line 7, fan.points", "no file 'points.csv'")),
)  # fmt: skip


@pytest.mark.parametrize(("text", "says"), BAD_FANS)
def test_a_bad_fan_gets_one_clear_report(tmp_path: Path, text: str, says: Any) -> None:
    refuses(lambda: predict(laid_out(tmp_path, fan_toml=text)), says, tmp_path)


@pytest.mark.parametrize(("text", "says"), BAD_PANELS)
def test_a_bad_filter_gets_one_clear_report(tmp_path: Path, text: str, says: Any) -> None:
    refuses(lambda: predict(laid_out(tmp_path, panel_toml=text)), says, tmp_path)


@pytest.mark.parametrize(("old", "new", "says"), BAD_RECORDS)
def test_a_bad_cleaner_gets_one_clear_report(tmp_path: Path, old: str, new: str, says: Any) -> None:
    refuses(lambda: predict(laid_out(tmp_path, record_toml=edited(RECORD, old, new))), says, tmp_path)


@pytest.mark.parametrize(("points", "line", "says"), BAD_POINTS)
def test_a_bad_table_of_points_gets_one_clear_report(tmp_path: Path, points: str | None, line: str, says: Any) -> None:
    record = laid_out(tmp_path, fan_toml=TABLED, points_csv=points, record_toml=edited(RECORD, LINE, line))
    refuses(lambda: predict(record), says, tmp_path)


def test_the_faults_of_two_files_are_one_report(tmp_path: Path) -> None:
    fan, panel = edited(FAN, '"72 Pa"', '"72 m3/h"'), edited(PANEL, '"500 mm"\nh', '"5 kg"\nh')
    says = (("fan.toml, line 8, fan.pressure[1]", "'72 m3/h'"), ("panel.toml, line 7, filter.width", "'5 kg'"))
    refuses(lambda: predict(laid_out(tmp_path, fan_toml=fan, panel_toml=panel)), says, tmp_path)


def test_so_are_those_of_two_curves(tmp_path: Path) -> None:
    fan, panel = edited(FAN, "1200", "600"), edited(PANEL, '"16 Pa", "36 Pa"', '"36 Pa", "16 Pa"')
    says = (("fan.toml, line 8, fan.pressure", "two points"), ("panel.toml, line 9, filter.drop", "do not rise"))
    refuses(lambda: predict(laid_out(tmp_path, fan_toml=fan, panel_toml=panel)), says, tmp_path)


def test_a_filter_in_two_places_is_told_once(tmp_path: Path) -> None:
    panel = edited(PANEL, '"16 Pa", "36 Pa"', '"36 Pa", "16 Pa"')
    record = RECORD + '\n[[filters]]\nfilter = "panel.toml"\nstage = 2\n'
    says = (("panel.toml, line 9, filter.drop", "do not rise"),)
    refuses(lambda: predict(laid_out(tmp_path, panel_toml=panel, record_toml=record)), says, tmp_path)


def test_no_filter_is_refused_but_for_a_sweep_that_starts_there(tmp_path: Path) -> None:
    record = laid_out(tmp_path, record_toml=RECORD + "\n[sweep]\ncount = [0, 1, 2]\n")
    swept = sweep(load(record))
    flow, share = swept.quantities["flow"].value, swept.quantities["share"].value
    assert share[0] == pytest.approx(100.0, rel=1e-6)
    assert flow[0] > flow[2] > flow[1]


def test_a_record_without_a_prediction(tmp_path: Path) -> None:
    refuses(lambda: predict(nozzle()), (("record", "no [predict]", "which names a fan"),), tmp_path)
