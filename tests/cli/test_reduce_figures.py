"""`flowrig reduce --figures`: files beside the others, all or none."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowrig.cli import main
from tests.report.flow_records import written


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    written(tmp_path)
    (tmp_path / "drawn").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*given: str) -> int:
    with pytest.raises(SystemExit) as stop:
        main(["reduce", *given])
    return int(stop.value.code or 0)


def test_figures_of_a_record(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("long.toml", "--figures", "drawn", "--quiet") == 0
    found = {path.name: path.read_bytes() for path in (folder / "drawn").iterdir()}
    assert set(found) == {f"flow-{x}.svg" for x in ("ranges", "coefficient", "budget", "density")}
    assert all(raw.startswith(b"<?xml") for raw in found.values())
    assert not capsys.readouterr().out


def test_a_page_of_a_record_holds_its_figures(folder: Path) -> None:
    assert run("long.toml", "--report", "page.html", "--quiet") == 0
    page = (folder / "page.html").read_text(encoding="utf-8")
    assert page.count("data:image/svg+xml") == 4
    assert "Where the uncertainty comes from" in page
    assert "<script>alert" not in page


def test_a_page_of_a_table_of_tests(folder: Path) -> None:
    assert run("pattern.toml", "--rows", "few.csv", "--report", "page.html", "--quiet") == 0
    assert "Row by row" in (folder / "page.html").read_text(encoding="utf-8")


def test_a_figure_of_a_table_of_tests(folder: Path) -> None:
    assert run("pattern.toml", "--rows", "few.csv", "--figures", "drawn", "--png", "--quiet") == 0
    [path] = (folder / "drawn").iterdir()
    assert path.name == "flow-rows.png"
    assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--png"], "--png: read no --figures"),
        (["--figures", "nowhere"], "--figures nowhere: read no folder 'nowhere'"),
        (["--figures", "long.toml"], "--figures long.toml: read a file"),
    ],
    ids=["png of nothing", "no folder", "a file"],
)
def test_what_cannot_be_drawn_into_is_refused_before_anything_is_reckoned(
    folder: Path, capsys: pytest.CaptureFixture[str], given: list[str], says: str
) -> None:
    assert run("long.toml", "--json", "out.json", *given) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert not said.out
    assert not (folder / "out.json").exists()


def test_bad_readings_leave_no_figure(folder: Path) -> None:
    (folder / "bad.toml").write_text((folder / "long.toml").read_text().replace("118.00 Pa", "-118.00 Pa"))
    assert run("bad.toml", "--figures", "drawn") == 2
    assert list((folder / "drawn").iterdir()) == []
