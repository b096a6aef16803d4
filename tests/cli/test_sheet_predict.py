"""Blank records of a prediction: filled in they predict, left blank they say what is missing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from flowrig.cli import group, main
from flowrig.studies.predict import predict
from flowrig.studies.reduce import reduce

FILLED = {
    "record.toml": {"title": '"T"', "date": "2026-08-24", "temperature": '"24 degC ± 1 degC"', "altitude": '"1650 m"'},
    "fan.toml": {
        "title": '"F"',
        "date": "2026-08-24",
        "flow": '["0 cfm", "500 cfm", "1000 cfm"]',
        "pressure": '["60 Pa", "40 Pa", "0 Pa"]',
    },
    "filter.toml": {
        "title": '"P"',
        "date": "2026-08-24",
        "width": '"495 mm"',
        "height": '"495 mm"',
        "drop": '["20 Pa", "45 Pa"]',
        "velocity": '["0.5 m/s", "1 m/s"]',
    },
}


def drawn(folder: Path, kind: str) -> list[str]:
    done = CliRunner().invoke(group, ["sheet", kind, "--into", str(folder)])
    assert done.exit_code == 0, done.output
    return sorted(path.name for path in folder.iterdir())


def test_a_filled_sheet_predicts(tmp_path: Path) -> None:
    assert drawn(tmp_path, "prediction") == sorted(FILLED)
    for name, values in FILLED.items():
        text = (tmp_path / name).read_text(encoding="utf-8")
        for key, value in values.items():
            text, found = re.subn(rf"^{key} = .*$", f"{key} = {value}", text, flags=re.MULTILINE)
            assert found == 1, (name, key)
        (tmp_path / name).write_text(text, encoding="utf-8")
    found = predict(tmp_path / "record.toml")
    assert found.setup.entries[0].counts == 4
    assert found.swept is not None
    assert len(found.swept) == 6


@pytest.mark.parametrize("kind", ["fan", "filter"])
def test_one_alone(tmp_path: Path, kind: str) -> None:
    assert drawn(tmp_path, kind) == [f"{kind}.toml"]


def test_a_blank_sheet_says_what_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drawn(tmp_path, "prediction")
    with pytest.raises(SystemExit) as stop:
        main(["predict", str(tmp_path / "record.toml")])
    assert stop.value.code == 2
    said = capsys.readouterr().err
    for words in ("record.toml: read no title", "fan.toml", "filter.toml", "width with height or area"):
        assert words in said
    assert "Traceback" not in said


def test_every_line_fits(tmp_path: Path) -> None:
    drawn(tmp_path, "prediction")
    for path in tmp_path.iterdir():
        assert max(map(len, path.read_text(encoding="utf-8").splitlines())) <= 100


def test_further_words_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["sheet", "fan", "passes=3", "--into", str(tmp_path)])
    assert stop.value.code == 2
    assert "no further words" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


FILLED_BESIDE = {
    "electrical": ({"title": '"T"', "date": "2026-08-24", "accuracy": '"1 W"', "power": '"91 W"'}, "power"),
    "sound": ({"title": '"T"', "date": "2026-08-24", "accuracy": '"1 dB"', "distance": '"1 m"'}, "level"),
}


@pytest.mark.parametrize("kind", FILLED_BESIDE)
def test_a_filled_sheet_of_watts_or_of_sound_is_reduced(tmp_path: Path, kind: str) -> None:
    values, told = FILLED_BESIDE[kind]
    files = drawn(tmp_path, kind)
    assert files == (["record.toml"] if kind == "electrical" else ["record.toml", "sound.csv"])
    text = (tmp_path / "record.toml").read_text(encoding="utf-8")
    assert "licensed electrician" in text
    for key, value in values.items():
        text, found = re.subn(rf"^{key} = .*$", f"{key} = {value}", text, flags=re.MULTILINE)
        assert found == 1, key
    (tmp_path / "record.toml").write_text(text, encoding="utf-8")
    if kind == "sound":
        table = (tmp_path / "sound.csv").read_text(encoding="utf-8").replace(",,", ",52.1,40.3")
        (tmp_path / "sound.csv").write_text(table, encoding="utf-8")
    assert told in reduce(tmp_path / "record.toml").parts[kind].quantities
