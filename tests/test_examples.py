"""The worked examples: every command runs, says what is expected, and holds the invented truth its story states.

Renew the expected output after a change that is meant to change it, and read the difference before keeping it:

    python -m tests.test_examples --update
"""

from __future__ import annotations

import csv
import io
import os
import re
import runpy
import shlex
import shutil
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

import pytest

import flowrig
from flowrig.cli import main
from flowrig.report.lines import rounded, spread
from flowrig.uncertainty.interval import interval

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = sorted(p for p in (ROOT / "examples").iterdir() if re.match(r"\d\d-", p.name))
SCRIPTS = [script for folder in FOLDERS for script in sorted(folder.glob("make_*.py"))]

each_example = pytest.mark.parametrize("folder", FOLDERS, ids=lambda p: p.name)


def story(folder: Path) -> str:
    return (folder / "README.md").read_text(encoding="utf-8")


def record(folder: Path) -> Path:
    """What was measured: of a plan, the record that was filled in after it."""
    measured = folder / "measured.toml"
    return measured if measured.exists() else folder / "record.toml"


def commands(folder: Path) -> list[list[str]]:
    """Arguments of every command in the story, without the program's name."""
    blocks = re.findall(r"^```sh\n(.*?)^```", story(folder), re.DOTALL | re.MULTILINE)
    assert blocks, f"{folder.name}: no sh block"
    found = [shlex.split(block, comments=True) for block in blocks]
    assert {program for program, *_ in found} == {"flowrig"}
    return [arguments for _, *arguments in found]


def command(folder: Path) -> list[str]:
    """The first of them: what the story is about."""
    return commands(folder)[0]


def expected(folder: Path, arguments: list[str]) -> Path:
    """The file with what a command of the story prints."""
    if arguments == command(folder):
        return folder / "expected.txt"
    return folder / f"expected-{Path(arguments[1]).stem}.txt"


def written(arguments: list[str]) -> list[str]:
    """Files the command writes."""
    return [name for option, name in pairwise(arguments) if option in ("--csv", "--json")]


def run(arguments: list[str], root: Path) -> str:
    """What the command prints when it is given in the folder `root`."""
    out, err = io.StringIO(), io.StringIO()
    with chdir(root), redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as stop:
        main(arguments)
    assert (stop.value.code or 0) == 0, err.getvalue()
    assert err.getvalue() == ""
    return out.getvalue()


@dataclass
class Ran:
    """What became of the command of a story.

    Attributes
    ----------
    said : str
        What it printed.
    root : Path
        Where it wrote, of the files that it was to write: a folder that holds a copy of the examples and calibrations,
        as the project's own does.
    result : object
        What it printed from.
    """

    said: str
    root: Path
    result: Any


@cache
def copy() -> TemporaryDirectory[str]:
    """The folder that holds the copies, as long as the tests run."""
    folder = TemporaryDirectory()
    for name in ("examples", "calibrations"):
        shutil.copytree(ROOT / name, Path(folder.name) / name, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


@cache
def ran(folder: Path) -> Ran:
    """The command of a story, given once for all that is asked of it."""
    root = Path(copy().name)
    arguments = command(folder)
    for name in written(arguments):
        (root / name).unlink()
    module = f"flowrig.studies.{'rows' if '--rows' in arguments else arguments[0]}"
    function = "reduce_rows" if "--rows" in arguments else arguments[0]
    results: list[Any] = []
    true = getattr(import_module(module), function)

    def kept(*given: Any, **options: Any) -> Any:
        results.append(true(*given, **options))
        return results[-1]

    with patch(f"{module}.{function}", kept):
        said = run(arguments, root)
    [result] = results
    return Ran(said, root, result)


def test_every_example_is_listed() -> None:
    listed = re.findall(r"\((\d\d-[^)/]+)/README\.md\)", story(ROOT / "examples"))
    assert listed == [folder.name for folder in FOLDERS]
    assert len(FOLDERS) >= 7


COMMANDS = [(folder, arguments) for folder in FOLDERS for arguments in commands(folder)]


@pytest.mark.parametrize(("folder", "arguments"), COMMANDS, ids=[" ".join([f.name, *a[:2]]) for f, a in COMMANDS])
@pytest.mark.regression
def test_command_prints_what_is_expected(folder: Path, arguments: list[str]) -> None:
    kept = expected(folder, arguments).read_text(encoding="utf-8")
    root = Path(copy().name)
    assert (ran(folder).said if arguments == command(folder) else run(arguments, root)) == kept
    assert "nvented" in kept
    assert str(root) not in kept
    assert str(ROOT) not in kept


WRITERS = [folder for folder in FOLDERS if written(command(folder))]


@pytest.mark.parametrize("folder", WRITERS, ids=lambda p: p.name)
@pytest.mark.regression
def test_command_writes_what_is_expected(folder: Path) -> None:
    for name in written(command(folder)):
        tops = (ran(folder).root, ROOT)
        made, kept = (list(csv.reader(io.StringIO((top / name).read_text("utf-8")))) for top in tops)
        assert made[0] == kept[0]
        assert len(made) == len(kept)
        for made_row, kept_row in zip(made, kept, strict=True):
            for head, a, b in zip(made[0], made_row, kept_row, strict=True):
                # ten digits are written, more than two machines' mathematical libraries agree on
                assert a == b or float(a) == pytest.approx(float(b), rel=1e-6), f"{name}, {made_row[0]}, {head}"


@each_example
def test_readings_are_said_to_be_invented(folder: Path) -> None:
    assert "Invented readings" in story(folder)
    assert re.search(r"^invented = true$", (folder / "record.toml").read_text(encoding="utf-8"), re.MULTILINE)


def alone(script: Path, into: Path) -> str:
    """What a script prints when it is run as its story says."""
    return subprocess.run([sys.executable, str(script), str(into)], capture_output=True, check=True,
                          env={**os.environ, "PYTHONIOENCODING": "utf-8", "PYTHONDONTWRITEBYTECODE": "1"}
                          ).stdout.decode("utf-8")  # fmt: skip


def in_this_process(script: Path, into: Path) -> str:
    """The same, of which the start costs nothing."""
    out, modules, folders = io.StringIO(), set(sys.modules), list(sys.path)
    with redirect_stdout(out), patch.object(sys, "argv", [str(script), str(into)]), patch.object(
        sys, "dont_write_bytecode", True
    ), patch.object(sys, "path", [str(script.parent), *folders]):  # fmt: skip
        runpy.run_path(str(script), run_name="__main__")
    for name in set(sys.modules) - modules:
        if Path(getattr(sys.modules[name], "__file__", None) or "").is_relative_to(ROOT / "examples"):
            del sys.modules[name]  # the next example may have one of the same name
    return out.getvalue()


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_script_makes_the_readings_again(script: Path, tmp_path: Path) -> None:
    printed = (alone if script == SCRIPTS[0] else in_this_process)(script, tmp_path).splitlines()
    made = sorted(tmp_path.iterdir())
    assert [p.name for p in made] == sorted(p.name for p in script.parent.glob("*.csv") if p.name != "flows.csv")
    for path in made:
        assert path.read_bytes() == (script.parent / path.name).read_bytes(), path.name
    lines = [line.split("#")[0].strip() for line in record(script.parent).read_text("utf-8").splitlines()]
    assert printed
    for line in printed:
        if line.startswith("Invented truth"):
            assert line in story(script.parent).splitlines()
        else:
            assert line in lines


@dataclass
class Number:
    """The number that a story quotes, with its interval, in a unit."""

    value: float
    u: float
    low: float
    high: float
    unit: str


@cache
def number(folder: Path) -> Number:
    """What the command of a story comes to."""
    name = command(folder)[0]
    if name == "calibrate":
        done = ran(folder).result
        bar = interval(done.number)
        scale, unit = (3600, "m3/h") if done.pairs.of_flow else (1, "m/s")
        return Number(*(scale * float(x) for x in (done.number.value, done.number.u, bar.low, bar.high)), unit)
    if name == "verify":
        check = ran(folder).result.checks[-1]
        bar = check.drift_interval
        return Number(*(100 * float(x) for x in (check.drift.value, check.drift.u, bar.low, bar.high)), "%")
    # of a plan, that of the record that was filled in after it
    flow = (flowrig.reduce(record(folder)) if name == "plan" else ran(folder).result).flow
    return Number(float(flow.value), spread(flow), float(flow.low), float(flow.high), flow.unit)


@each_example
def test_interval_holds_the_invented_truth(folder: Path) -> None:
    said = re.search(r"^Invented truth: (.*)$", story(folder), re.MULTILINE)
    assert said, "no line 'Invented truth: …'"
    of_parts = re.findall(r"^Invented truth of (\w+), (\S+): (-?[\d.]+) (\S+)$", story(folder), re.MULTILINE)
    parts = ran(folder).result.parts if of_parts else {}
    for part, name, value, unit in of_parts:
        q = parts[part].quantities[name].to(unit)
        assert q.low <= float(value) <= q.high, name
    single = re.fullmatch(r"(-?[\d.]+) (\S+)", said[1])
    if single:
        found = number(folder)
        assert found.unit == single[2]
        assert found.low <= float(single[1]) <= found.high
        return
    several = re.fullmatch(r"its column of \S+, held in (\d+) of (\d+) rows", said[1])
    assert several, said[1]
    [name] = written(command(folder))
    rows = list(csv.DictReader(io.StringIO((ROOT / name).read_text("utf-8"))))
    held = [
        float(row["actual_flow_meter low [m3/h]"]) <= float(row["invented truth m3/h"])
        <= float(row["actual_flow_meter high [m3/h]"])
        for row in rows
    ]  # fmt: skip
    assert (sum(held), len(held)) == (int(several[1]), int(several[2]))


# how a story quotes its result: '1402 m3/h, 95 % interval 1384 to 1421 m3/h', broken over lines anywhere
QUOTED = re.compile(r"-?[\d.]+\s\S+,\s95\s%\sinterval\s-?[\d.]+\sto\s-?[\d.]+\s[\w/%]+")


def quote(folder: Path) -> str:
    found = number(folder)
    value, low, high = rounded(found.u, found.value, found.low, found.high)
    return f"{value} {found.unit}, 95 % interval {low} to {high} {found.unit}"


@each_example
def test_story_quotes_the_result(folder: Path) -> None:
    if "--rows" not in command(folder):
        assert [" ".join(said.split()) for said in QUOTED.findall(story(folder))] == [quote(folder)]


PLANS = [folder for folder in FOLDERS if command(folder)[0] == "plan"]


@pytest.mark.parametrize("folder", PLANS, ids=lambda p: p.name)
def test_story_of_a_plan_says_what_the_plan_says(folder: Path) -> None:
    said = re.findall(r"half-width\sof\s([\d.]+\s%)", story(folder))
    assert len(said) >= 2
    kept = (folder / "expected.txt").read_text(encoding="utf-8")
    assert [" ".join(one.split()) for one in said if " ".join(one.split()) not in kept] == []


@pytest.mark.parametrize("folder", PLANS, ids=lambda p: p.name)
def test_what_was_measured_is_as_sure_as_planned(folder: Path) -> None:
    """Readings that were drawn, not fitted: their scatter is known from few, and so the half-width to a tenth or so."""
    found = number(folder)
    [outlook] = ran(folder).result
    assert (found.high - found.low) / 2 / found.value == pytest.approx(outlook.end, rel=0.1)


def update() -> None:
    """Write every expected output, the files the commands write, and the results the stories quote anew."""
    for folder in FOLDERS:
        for arguments in commands(folder):
            expected(folder, arguments).write_text(run(arguments, ROOT), encoding="utf-8", newline="\n")
        if "--rows" not in command(folder):
            renewed = QUOTED.sub(quote(folder), story(folder))
            (folder / "README.md").write_text(renewed, encoding="utf-8", newline="\n")
        print(f"{folder.name}: expected output written")


if __name__ == "__main__":
    if sys.argv[1:] != ["--update"]:
        sys.exit("usage: python -m tests.test_examples --update")
    update()
