"""The blank record of particle counts: filled in it reduces, left blank it says what is missing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

import flowrig
from flowrig.cli import group, main

FILLED = {
    "title": '"T"', "date": "2026-08-24", "tube_length": '"2 m"', "tube_diameter": '"6 mm"', "waiting_time": '"30 s"',
    "sample_flow": '"2.83 L/min"', "sample_time": '"60 s"', "counts": '"cumulative"', "per": '"ft3"',
    "max_concentration": '"70 1/cm3"',
}  # fmt: skip
CUMULATIVE = {"upstream": "15960,1680,470,140,30,10", "downstream": "4690,370,90,20,10,0", "": "30,0,0,0,0,0"}


def drawn(folder: Path) -> list[str]:
    done = CliRunner().invoke(group, ["sheet", "particles", "--into", str(folder)])
    assert done.exit_code == 0, done.output
    assert "flowrig reduce" in done.output
    return sorted(path.name for path in folder.iterdir())


def test_a_filled_sheet_reduces(tmp_path: Path) -> None:
    assert drawn(tmp_path) == ["counts.csv", "record.toml"]
    record = tmp_path / "record.toml"
    text = record.read_text(encoding="utf-8")
    assert "local codes" in text.casefold()
    for key, value in FILLED.items():
        text, found = re.subn(rf'^{key} = ""$', f"{key} = {value}", text, flags=re.MULTILINE)
        assert found == 1, key
    record.write_text(text, encoding="utf-8")
    lines = (tmp_path / "counts.csv").read_text(encoding="utf-8").splitlines()
    filled = [lines[0]]
    for line in lines[1:]:
        number, run, place = line.split(",")[:3]
        filled.append(f"{number},{run},{place},{CUMULATIVE[place]},")
    (tmp_path / "counts.csv").write_text("\n".join(filled) + "\n", encoding="utf-8")
    part = flowrig.reduce(record).parts["particles"]
    assert part.samples == {"in use": (6, 5)}
    assert part.by_size is not None
    assert part.by_size.counted[0, 0] == 6 * 1428
    assert "false counts not measured" not in {f.code for f in part.findings}


def test_a_blank_sheet_says_what_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drawn(tmp_path)
    with pytest.raises(SystemExit) as stop:
        main(["reduce", str(tmp_path / "record.toml")])
    assert stop.value.code == 2
    said = capsys.readouterr().err
    for missing in ("no title", "no date", "no sample_flow", "no sample_time"):
        assert missing in said


def test_no_further_words(tmp_path: Path) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["sheet", "particles", "per=ft3", "--into", str(tmp_path)])
    assert stop.value.code == 2
    assert not list(tmp_path.iterdir())
