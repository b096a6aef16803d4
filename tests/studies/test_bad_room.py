"""Records of a room that are spoilt in one place: one clear report of each fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowrig.studies.room import room
from tests.cli.rig import edited, spread
from tests.studies.test_bad_predict import refuses

RECORD = """title = "A classroom"
date = 2026-08-24
invented = true

[room]
floor_area = "62 m2 ± 1 m2"
ceiling_height = "2.9 m ± 0.05 m"
outdoor_concentration = "150 ug/m3 ± 30 ug/m3"
persons = "28 ± 2"
most_units = 4

[air_change_target]
guidance = "occupied space, CDC 2023"

[per_person_target]
guidance = "classroom, ASHRAE 241-2023"

[concentration_target]
level = "25 ug/m3"
particles = "smoke"

[[cleaners]]
name = "box-fan cleaner"
clean_air_rate = "420 m3/h ± 40 m3/h"
particles = "0.3 to 1 um"
count = 2

[[cleaners]]
name = "small one"
clean_air_rate = "120 m3/h ± 20 m3/h"
particles = "0.3 to 1 um"

[duct]
flow = "2000 m3/h ± 200 m3/h"
flow_loss = "(8 ± 4) %"
efficiency = "(75 ± 10) %"
particles = "0.3 to 1 um"
runtime = "100 %"
runtime_now = "30 %"
"""
TARGETS = RECORD[RECORD.index("[air_change") : RECORD.index("[[cleaners")]
OUTDOORS = 'outdoor_concentration = "150 ug/m3 ± 30 ug/m3"\n'
CLEANERS = RECORD[RECORD.index("[[cleaners") : RECORD.index("[duct")]
DUCT = RECORD[RECORD.index("[duct") :]


def laid_out(folder: Path, text: str) -> Path:
    path = folder / "record.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_sound_record_is_sound(tmp_path: Path) -> None:
    found = room(laid_out(tmp_path, RECORD), samples=1000)
    assert [t.kind for t in found.targets] == ["air changes", "per person", "larger of two", "concentration"]
    # beside the duct filter and the two of the one sort, the level takes none of the other
    assert [case.units[1].sure for case in found["concentration"].cases] == [3, 0]
    assert len(found.options) == 5


BAD = spread(
    1,
    ("no room", edited(RECORD, "[room]\n", "[roam]\n"),
     ("record.toml, line 5", "a table roam", "Did you mean [room]?")),
    ("no size", edited(RECORD, 'floor_area = "62 m2 ± 1 m2"\nceiling_height = "2.9 m ± 0.05 m"\n', ""),
     ("record.toml, line 5, room", "neither volume nor floor_area with ceiling_height", "Add volume =")),
    ("two sizes", edited(RECORD, "most_units = 4", 'volume = "180 m3 ± 5 m3"'),
     ("record.toml, line 5, room", "volume and floor_area and ceiling_height", "only one of")),
    ("an area without its bar", edited(RECORD, "62 m2 ± 1 m2", "62 m2"),
     ("record.toml, line 6, room.floor_area", "'62 m2'", "its ±")),
    ("feet for square feet", edited(RECORD, "62 m2 ± 1 m2", "660 ft ± 10 ft"),
     ("record.toml, line 6, room.floor_area", "'ft' is not a unit of area")),
    ("no room inside", edited(RECORD, "62 m2 ± 1 m2", "0 m2 ± 1 m2"),
     ("record.toml, line 6, room.floor_area", "an area above 0 m2")),
    ("leaks less than nothing", edited(RECORD, "most_units = 4", 'infiltration = "0.3 1/h ± 0.5 1/h"'),
     ("record.toml, line 10, room.infiltration", "from 0 1/h", "the lower end of its ± too")),
    ("more than all comes through", edited(RECORD, "most_units = 4", 'penetration = "1.2"'),
     ("record.toml, line 10, room.penetration", "1.2", "from 0 to 1")),
    ("a percentage without its bracket", edited(RECORD, "most_units = 4", 'displaced = "5 % ± 2 %"'),
     ("record.toml, line 10, room.displaced", "what the percentage is of", "(85 ± 2) %")),
    ("an opened window by a word", edited(RECORD, "most_units = 4", 'combustion = "stove"'),
     ("record.toml, line 10, room.combustion", "'stove'", "not said, none, present")),
    ("numbers told as masses", edited(RECORD, "most_units = 4", 'concentrations = "number"'),
     ("record.toml, line 8, room.outdoor_concentration", "'ug/m3' is not a unit of concentration"),
     ("record.toml, line 19, concentration_target.level", "'ug/m3' is not a unit of concentration")),
    ("a source without the air outdoors",
     edited(edited(RECORD, OUTDOORS, 'indoor_source = "2 mg/h"\n'), TARGETS, ""),
     ("record.toml, line 5, room", "no outdoor_concentration", "the concentration outdoors beside indoor_source")),
    ("a level without the air outdoors", edited(RECORD, OUTDOORS, ""),
     ("record.toml, line 17, concentration_target", "no outdoor_concentration", "it is what gets in",
      "Add outdoor_concentration =")),
    ("nobody there", edited(RECORD, 'persons = "28 ± 2"\n', ""),
     ("record.toml, line 14, per_person_target", "no persons", "Add persons =")),
    ("half a person", edited(RECORD, 'persons = "28 ± 2"', "persons = 0.5"),
     ("record.toml, line 9, room.persons", "read 0.5", "a count from 1 to")),
    ("a season without end", edited(RECORD, 'runtime = "100 %"', 'runtime = "100 %"\nseason = "1e9 d"'),
     ("record.toml, line 39, duct.season", "'1e9 d'", "at most 3660 d")),
    ("followed for ever", edited(RECORD, "most_units = 4", 'over = "1e9 d"'),
     ("record.toml, line 10, room.over", "'1e9 d'", "at most 31 d")),
    ("smoke by the kilogram", edited(RECORD, '"25 ug/m3"', '"25 kg/m3"'),
     ("record.toml, line 19, concentration_target.level", "'25 kg/m3'", "at most 0.01 kg/m3")),
    ("a town for a room", edited(RECORD, "62 m2 ± 1 m2", "62 km2 ± 1 m2"),
     ("record.toml, line 6, room.floor_area", "62 km2")),
    ("a key written twice, once misspelt",
     edited(RECORD, 'particles = "smoke"', 'particles = "smoke"\npartickles = "dust"'),
     ("record.toml, line 21, concentration_target.partickles", "Did you mean particles? It stands here already")),
    ("a misspelt key", edited(RECORD, 'particles = "smoke"', 'partickles = "smoke"'),
     ("record.toml, line 20, concentration_target.partickles", "Did you mean particles?")),
    ("more than the ducts of a room move", edited(RECORD, '"2000 m3/h ± 200 m3/h"', '"80000 m3/h ± 200 m3/h"'),
     ("record.toml, line 34, duct.flow", "445 air changes an hour", "no more than 200 air changes an hour")),
    ("a room that nothing leaves",
     edited(edited(RECORD, DUCT, ""), "most_units = 4", 'infiltration = "0 1/h"\ndeposition = "0 1/h"'),
     ("record.toml, line 5, room", "nothing leaves", "infiltration, outdoor_air or deposition above 0")),
    ("a target for its edition alone", edited(RECORD, "classroom, ASHRAE 241-2023", "classroom"),
     ("record.toml, line 16, per_person_target.guidance", "'classroom'", 'Did you mean "classroom, ASHRAE 241-2023"?')),
    ("a rule of the other kind", edited(RECORD, "classroom, ASHRAE 241-2023", "occupied space, CDC 2023"),
     ("record.toml, line 16, per_person_target.guidance", "a published target of clean air for each person")),
    ("a number beside the guidance",
     edited(RECORD, "[per_person_target]\n", '[per_person_target]\nper_person = "30 cfm"\n'),
     ("record.toml, line 15, per_person_target", "per_person and guidance", "only one of")),
    ("neither of them", edited(RECORD, 'guidance = "classroom, ASHRAE 241-2023"\n', ""),
     ("record.toml, line 15, per_person_target", "neither per_person nor guidance")),
    ("larger of two, told otherwise",
     edited(edited(RECORD, 'guidance = "occupied space, CDC 2023"', 'air_changes = "6 1/h"'),
            "classroom, ASHRAE 241-2023", "larger of two, CDPH"),
     ("record.toml, line 12, air_change_target", "6 1/h beside guidance", "5 1/h, which that guidance has in it")),
    ("a target with a bar", edited(RECORD, "25 ug/m3", "25 ug/m3 ± 5 ug/m3"),
     ("record.toml, line 19, concentration_target.level", "without a ±")),
    ("a target of nothing", edited(RECORD, "25 ug/m3", "0 ug/m3"),
     ("record.toml, line 19, concentration_target.level", "above 0")),
    ("a level of no particles", edited(RECORD, 'particles = "smoke"\n', ""),
     ("record.toml, line 18, concentration_target", "no particles", "which particles")),
    ("a level of a class average", edited(RECORD, 'particles = "smoke"', 'particles = "ePM2.5"'),
     ("record.toml, line 20, concentration_target.particles", "'ePM2.5'", "an average over a mixture")),
    ("a rate of a class average", edited(RECORD, 'particles = "0.3 to 1 um"\ncount', 'particles = "ePM1"\ncount'),
     ("record.toml, line 25, cleaners[1].particles", "'ePM1'", "particles between two sizes")),
    ("a rate without its bar", edited(RECORD, "420 m3/h ± 40 m3/h", "420 m3/h"),
     ("record.toml, line 24, cleaners[1].clean_air_rate", "'420 m3/h'", "its ±")),
    ("one name for two", edited(RECORD, '"small one"', '"Box-fan  Cleaner"'),
     ("record.toml, line 29, cleaners[2].name", "'Box-fan  Cleaner'", "cleaners[1] has this one")),
    ("more than there is room for", edited(RECORD, "count = 2", "count = 5"),
     ("record.toml, line 26, cleaners[1].count", "read 5", "no more than most_units in [room], 4")),
    ("half a unit", edited(RECORD, "count = 2", "count = 1.5"),
     ("record.toml, line 26, cleaners[1].count", "1.5", "a whole number")),
    ("no flow left", edited(RECORD, 'flow_loss = "(8 ± 4) %"\n', ""),
     ("record.toml, line 33, duct", "neither flow_with_filter nor flow_loss nor prediction")),
    ("flow left twice",
     edited(RECORD, 'flow_loss = "(8 ± 4) %"\n', 'flow_loss = "(8 ± 4) %"\nflow_with_filter = "1 m3/s ± 5 %"\n'),
     ("record.toml, line 33, duct", "flow_with_filter and flow_loss", "only one of")),
    ("no efficiency", edited(RECORD, 'efficiency = "(75 ± 10) %"\n', ""),
     ("record.toml, line 33, duct", "no efficiency", "the share that the better filter holds back")),
    ("an efficiency of no size", edited(RECORD, 'particles = "0.3 to 1 um"\nruntime', "runtime"),
     ("record.toml, line 33, duct", "no particles", "an efficiency is one of a size")),
    ("a fan that runs more than always", edited(RECORD, '"100 %"', '"120 %"'),
     ("record.toml, line 38, duct.runtime", "'120 %'", "from 0 % to 100 %")),
    ("a room alone", RECORD[: RECORD.index("\n[air_change")],
     ("record.toml", "a room alone", "[concentration_target]")),
    ("ducts of no building", edited(RECORD, RECORD[RECORD.index("[room]") : RECORD.index("[duct]")], ""),
     ("record.toml, line 5, duct", "[duct] without [room]", "Add [room], or remove [duct]")),
)  # fmt: skip


@pytest.mark.parametrize(("record", "says"), BAD)
def test_every_fault_is_reported(tmp_path: Path, record: str, says: tuple[tuple[str, ...], ...]) -> None:
    refuses(lambda: room(laid_out(tmp_path, record), samples=1000), says, tmp_path)


def test_faults_of_several_tables_stand_in_one_report(tmp_path: Path) -> None:
    text = edited(edited(edited(RECORD, "62 m2 ± 1 m2", "62 m2"), "25 ug/m3", "25"), "420 m3/h ± 40 m3/h", "420 m3/h")
    says = (("record.toml, line 6",), ("record.toml, line 19",), ("record.toml, line 24",))
    refuses(lambda: room(laid_out(tmp_path, text)), says, tmp_path)


def test_a_record_of_another_kind(tmp_path: Path) -> None:
    from tests.studies.test_bad_predict import SOUND

    for name, text in SOUND.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    says = (("record.toml", "no [room]", "a record with a table [room]", "flowrig sheet room"),)
    refuses(lambda: room(tmp_path / "record.toml"), says, tmp_path)
