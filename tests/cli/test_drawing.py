"""--figures and --png: what cannot be drawn into is refused before anything is reckoned; what can be is drawn."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowrig.cli import main
from tests.cli.test_room import SMALL
from tests.studies.test_bad_own import RECORD as OWN
from tests.studies.test_bad_room import laid_out

EXAMPLES = Path(__file__).parents[2] / "examples"
RECORDS = {
    "predict": "23-stalled-fan/record.toml",
    "room": "25-working-week/classroom.toml",
    "own": "25-working-week/ten-years.toml",
}


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([*map(str, arguments)])
    return int(stop.value.code or 0)


@pytest.mark.parametrize("command", RECORDS)
@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--png"], ("--png: read no --figures", "Add --figures FOLDER")),
        (["--figures", "nowhere"], ("--figures nowhere: read no folder 'nowhere'", "Make the folder first")),
        (["--figures", "file", "--png"], ("--figures file: read a file", "Name a folder")),
    ],
    ids=["png of nothing", "no folder", "a file"],
)
def test_figures_without_a_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], given: list[str],
    says: tuple[str, ...], command: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    assert run(command, EXAMPLES / RECORDS[command], "--json", "out.json", *given) == 2
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1
    assert not said.out
    for words in says:
        assert words in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_room_is_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = laid_out(tmp_path, SMALL)
    (tmp_path / "out").mkdir()
    assert run("room", record, "--figures", tmp_path / "out", "--samples", 1000, "--quiet") == 0
    found = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert "room-level.svg" in found
    assert "units-level.svg" in found
    assert all((tmp_path / "out" / name).read_text(encoding="utf-8").startswith("<?xml") for name in found)


def test_costs_are_drawn_as_png(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "record.toml").write_text(OWN, encoding="utf-8")
    (tmp_path / "out").mkdir()
    arguments = ("--figures", tmp_path / "out", "--png", "--samples", 1000, "--quiet")
    assert run("own", tmp_path / "record.toml", *arguments) == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["costs.png", "ranges.png"]
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in (tmp_path / "out").iterdir())


def test_what_is_set_for_other_work_does_not_matter(tmp_path, monkeypatch):
    from click.testing import CliRunner

    from flowrig.cli import group

    monkeypatch.setenv("MPLBACKEND", "nonsense")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    record = Path(__file__).parents[2] / "examples/01-nozzle-bank/record.toml"
    done = CliRunner().invoke(group, ["reduce", str(record), "--figures", str(tmp_path), "--quiet"])
    assert done.exit_code == 0, done.output
    assert len(list(tmp_path.glob("*.svg"))) >= 4
