"""`flowrig room` from the command line: files all or none, exit codes, what is said where; and its blank record."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from flowrig.cli import group, main
from flowrig.records import room_facts
from flowrig.studies.room import room
from tests.cli.rig import edited
from tests.studies.test_bad_room import CLEANERS, DUCT, RECORD, laid_out

SMALL = edited(edited(RECORD, DUCT, ""), CLEANERS[CLEANERS.index('[[cleaners]]\nname = "small one"') :], "")
FEW = ("--samples", "1000")


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main(["room", *map(str, arguments)])
    return int(stop.value.code or 0)


def test_every_output_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = laid_out(tmp_path, SMALL)
    assert run(record, "--json", tmp_path / "a.json", "--csv", tmp_path / "a.csv", "--unit", "cfm", *FEW) == 0
    assert "Level of particles in the room" in capsys.readouterr().out
    body = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert body["targets"][0]["cases"][0]["needed"]["unit"] == "cfm"
    assert body["samples"] == 1000
    assert (
        (tmp_path / "a.csv").read_text(encoding="utf-8").startswith("about,of,ducts,units,minutes,quantity,unit,value")
    )


def test_quiet_says_alarms_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = laid_out(tmp_path, edited(SMALL, "25 ug/m3", "0.5 ug/m3"))
    assert run(record, "--quiet", *FEW) == 0
    shown = capsys.readouterr()
    assert shown.out == ""
    assert all(line.startswith("ALARM, ") for line in shown.err.splitlines())
    assert "not achievable in a well-mixed room" in shown.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--coverage", "2"), "--coverage"),
        (("--samples", "3"), "--samples"),
        (("--unit", "furlong"), "--unit"),
    ],
)
def test_options_that_cannot_be_used(tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments, words) -> None:
    record = laid_out(tmp_path, SMALL)
    assert run(record, "--json", tmp_path / "a.json", *arguments) == 2
    assert capsys.readouterr().err.startswith(words)
    assert not (tmp_path / "a.json").exists()


def test_a_faulty_record_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = laid_out(tmp_path, edited(SMALL, "62 m2 ± 1 m2", "62 m2"))
    assert run(record, "--json", tmp_path / "a.json", "--csv", tmp_path / "a.csv") == 2
    assert "record.toml, line 6, room.floor_area" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["record.toml"]


def test_an_output_is_not_the_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = laid_out(tmp_path, SMALL)
    assert run(record, "--json", record, *FEW) == 2
    assert record.read_text(encoding="utf-8") == SMALL
    assert "a file of its own" in capsys.readouterr().err


def test_the_same_draws_give_the_same_bytes(tmp_path: Path) -> None:
    record = laid_out(tmp_path, SMALL)
    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        assert run(record, "--quiet", "--json", tmp_path / name, "--seed", seed, *FEW) == 0
    a, b, c = ((tmp_path / name).read_bytes() for name in "abc")
    assert a == b != c


FILLED = {
    "title": '"A room"', "date": "2026-08-24", "floor_area": '"62 m2 ± 1 m2"', "ceiling_height": '"2.9 m ± 0.05 m"',
    "outdoor_concentration": '"150 ug/m3"', "persons": "28",
    "guidance": '"classroom, ASHRAE 241-2023"', "level": '"25 ug/m3"',
    "name": '"a cleaner"', "clean_air_rate": '"420 m3/h ± 40 m3/h"', "particles": '"0.3 to 1 um"',
}  # fmt: skip


def test_a_filled_sheet_is_worked_out(tmp_path: Path) -> None:
    done = CliRunner().invoke(group, ["sheet", "room", "--into", str(tmp_path)])
    assert done.exit_code == 0, done.output
    text = (tmp_path / "record.toml").read_text(encoding="utf-8")
    assert "Not a medical device" in text
    for table in (room_facts.ROOM, room_facts.PER_PERSON_TARGET, room_facts.CONCENTRATION_TARGET, room_facts.DUCT):
        assert f"[{table.name}]" in text
    for name, value in FILLED.items():
        text = re.sub(rf'^{name} = ""$', f"{name} = {value}", text, flags=re.MULTILINE)
    (tmp_path / "record.toml").write_text(text, encoding="utf-8")
    found = room(tmp_path / "record.toml", samples=1000)
    assert [t.kind for t in found.targets] == ["per person", "concentration"]
    assert "a cleaner" in found.sorts


def test_a_blank_sheet_says_what_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    CliRunner().invoke(group, ["sheet", "room", "--into", str(tmp_path)])
    assert run(tmp_path / "record.toml") == 2
    lines = capsys.readouterr().err.splitlines()
    assert any("no title" in line for line in lines)
    assert any("room: read neither volume nor floor_area" in line for line in lines)
    assert any("per_person_target: read neither per_person nor guidance" in line for line in lines)
    assert any("concentration_target: read no level" in line for line in lines)
    assert any("cleaners[1]: read no name" in line for line in lines)
