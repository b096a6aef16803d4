"""`flowrig sheet` and `flowrig explain` at the command line: what is printed, what is written, exit codes."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from flowrig.cli import main
from flowrig.studies.sheet_tables import SHEETS
from tests.studies.fill_sheet import fill


@pytest.fixture
def run(capsys):
    """Exit code, standard output and standard error of a command."""

    def command(*arguments: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as stopped:
            main(list(arguments))
        captured = capsys.readouterr()
        return int(stopped.value.code or 0), captured.out, captured.err

    return command


def test_a_sheet_is_written_filled_and_reduced(run, tmp_path):
    code, out, err = run("sheet", "vane-traverse", "diameter=12 in", "yaw=0 deg", "--into", str(tmp_path))
    assert (code, err) == (0, "")
    assert {path.name for path in tmp_path.iterdir()} == {"record.toml", "traverse.csv"}
    for words in ("record.toml", "traverse.csv", "depth [mm]", "depth [in]", "Take care", "flowrig reduce"):
        assert words in out
    assert max(map(len, out.splitlines())) <= max(80, len(str(tmp_path)) + 60)
    fill(tmp_path, {"velocity": 5.0})
    code, out, err = run("reduce", str(tmp_path / "record.toml"), "--unit", "m3/s")
    assert (code, err) == (0, "")
    # 5 m/s through a 12 in circle: 5 pi/4 0.3048^2 = 0.3648 m3/s
    assert "Flow 0.36" in out


def test_an_unfilled_sheet_is_bad_input(run, tmp_path):
    run("sheet", "nozzle", "--into", str(tmp_path))
    code, out, err = run("reduce", str(tmp_path / "record.toml"))
    assert (code, out) == (2, "")
    assert "no title" in err
    assert "no drop" in err


def test_nothing_is_overwritten_without_force(run, tmp_path):
    grid = tmp_path / "traverse.csv"
    grid.write_text("a day's readings\n")
    sheet = ("sheet", "vane-traverse", "diameter=315 mm", "--into", str(tmp_path))
    code, out, err = run(*sheet)
    assert (code, out) == (2, "")
    assert "traverse.csv" in err
    assert "record.toml" not in err
    assert grid.read_text() == "a day's readings\n"
    assert not (tmp_path / "record.toml").exists()
    code, _, _ = run(*sheet, "--force")
    assert code == 0
    assert grid.read_text().startswith("pass,diameter,point")


@pytest.mark.parametrize(
    "arguments",
    [("nozle",), ("nozzle", "across=5"), ("vane-traverse",), ("vane-traverse", "diameter=315"), ()],
)
def test_bad_arguments_exit_2_and_write_nothing(run, tmp_path, monkeypatch, arguments):
    monkeypatch.chdir(tmp_path)
    code, out, err = run("sheet", *arguments)
    assert (code, out) == (2, "")
    assert err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_does_not_exist_is_a_fault(run, tmp_path):
    code, _, err = run("sheet", "nozzle", "--into", str(tmp_path / "nowhere"))
    assert code == 2
    assert "nowhere" in err


def test_explain_prints_and_refuses(run):
    code, out, err = run("explain", "low-reynolds-number", "nozzle.drop")
    assert (code, err) == (0, "")
    assert "12 000" in out
    assert "Static pressure drop" in out
    code, out, err = run("explain", "nozle")
    assert (code, out) == (2, "")
    assert "Nearest: nozzle" in err
    code, out, err = run("explain")
    assert code == 0
    assert "Kinds of unit" in out


def test_both_run_as_a_module(tmp_path):
    for arguments in (["explain", "flow"], ["sheet", "nozzle", "--into", str(tmp_path)]):
        done = subprocess.run(
            [sys.executable, "-m", "flowrig", *arguments], capture_output=True, text=True, check=False
        )
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout


def test_the_help_names_every_blank_record(run):
    _, out, _ = run("sheet", "--help")
    words = set(re.findall(r"[a-z]+", out))
    assert set(SHEETS) <= words
