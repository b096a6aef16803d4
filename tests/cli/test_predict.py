"""`flowrig predict` from the command line: files all or none, exit codes, what is said where."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from flowrig.cli import main

ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The worked cleaner in a folder of its own."""
    for path in (ROOT / "examples/22-four-filters").iterdir():
        shutil.copy(path, tmp_path / path.name)
    return tmp_path


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main(["predict", *map(str, arguments)])
    return int(stop.value.code or 0)


def test_every_output_is_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "pictures").mkdir()
    code = run(folder / "record.toml", "--json", folder / "a.json", "--csv", folder / "a.csv", "--figures",
               folder / "pictures", "--quiet", "--unit", "cfm", "--samples", 1000)  # fmt: skip
    assert code == 0
    assert capsys.readouterr().out == ""
    body = json.loads((folder / "a.json").read_text(encoding="utf-8"))
    assert body["crossings"][0]["estimates"][0]["unit"] == "cfm"
    assert (folder / "a.csv").read_text(encoding="utf-8").startswith("count,flow [cfm]")
    assert sorted(p.name for p in (folder / "pictures").iterdir()) == ["fan-and-bank.svg", "noise.svg", "sweep.svg"]


def test_nothing_is_written_where_one_output_cannot_be(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = sorted(p.name for p in folder.iterdir())
    assert run(folder / "record.toml", "--json", folder / "a.json", "--figures", folder / "not there") == 2
    assert "Make the folder first" in capsys.readouterr().err
    assert sorted(p.name for p in folder.iterdir()) == before


@pytest.mark.parametrize("name", ["record.toml", "fan.toml", "fan.csv", "filter.csv"])
def test_no_output_goes_over_what_was_read(folder: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    before = (folder / name).read_bytes()
    assert run(folder / "record.toml", "--json", folder / name) == 2
    assert "a file of its own" in capsys.readouterr().err
    assert (folder / name).read_bytes() == before


@pytest.mark.parametrize(("output", "said"), [("record.toml", "a file of its own"), ("no/a.json", "Make the folder")])
def test_what_cannot_be_written_is_said_before_anything_is_reckoned(
    folder: Path, output: str, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("flowrig.studies.predict.predict", lambda *_, **__: pytest.fail("a prediction was reckoned"))
    assert run(folder / "record.toml", "--json", folder / output) == 2
    assert said in capsys.readouterr().err


def test_no_crossing_is_said_and_exits_with_1(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = folder / "record.toml"
    text = record.read_text(encoding="utf-8").split("[sweep]")[0]
    record.write_text(text + '[[losses]]\nname = "a wall"\ncoefficient = 9000\narea = "0.1 m2"\n', encoding="utf-8")
    assert run(record, "--json", folder / "a.json") == 1
    said = capsys.readouterr().err
    assert "do not meet on the fan's curve" in said
    assert "Measure the fan nearer to shut-off" in said
    assert not (folder / "a.json").exists()


def test_an_alarm_is_seen_even_where_nothing_else_is_wanted(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(ROOT / "examples/23-stalled-fan/record.toml", "--quiet", "--samples", 2000) == 0
    caught = capsys.readouterr()
    assert caught.out == ""
    assert caught.err.startswith("ALARM, either of two flows")


def test_a_wider_coverage_is_a_wider_interval(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = folder / "record.toml"
    record.write_text(record.read_text(encoding="utf-8").split("[sweep]")[0], encoding="utf-8")
    widths = []
    for coverage in ("90 %", "99 %"):
        options = ("--coverage", coverage, "--samples", 10_000)
        assert run(record, *options, "--json", folder / "a.json", "--quiet") == 0
        low, high = json.loads((folder / "a.json").read_text(encoding="utf-8"))["crossings"][0]["estimates"][0][
            "interval"
        ]
        widths.append(high - low)
    assert widths[1] > 1.4 * widths[0]
