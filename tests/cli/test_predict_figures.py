"""--figures and --png: what cannot be drawn into is refused before anything is reckoned."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowrig.cli import main

RECORD = str(Path(__file__).parents[2] / "examples/23-stalled-fan/record.toml")


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
    says: tuple[str, ...],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(SystemExit) as stop:
        main(["predict", RECORD, "--json", "out.json", *given])
    assert stop.value.code == 2
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1
    assert not said.out
    for words in says:
        assert words in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
