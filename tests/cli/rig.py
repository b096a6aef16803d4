"""A sound record with its log, its grid and its table of rows, to be spoilt in one place at a time; invented readings.

`Rig` holds the files, runs the command on them and knows what a refusal must look like.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import flowrig
from flowrig.cli import main
from flowrig.physics.traverse import side_positions

RECORD = """title = "Small cleaner, speed 2"
date = 2026-07-14

[air.meter]
temperature = "23.4 degC"
pressure = "836.4 hPa"
relative_humidity = "41 %"

[instruments.manometer]
measures = "pressure difference"
serial = "M1"
accuracy = "0.5 % of reading + 0.25 Pa"
resolution = "0.1 Pa"

[instruments.thermometer]
measures = "temperature"
accuracy = "0.3 degC"

[instruments.barometer]
measures = "pressure"
accuracy = "1 hPa"

[instruments.hygrometer]
measures = "relative humidity"
accuracy = "3 %RH"

[nozzles.A]
diameter = "150 mm ± 0.15 mm"

[nozzles.B]
diameter = "100 mm"

[[flow]]
method = "nozzle"
open = ["A"]
drop = ["182.3 Pa", "183.1 Pa", "181.8 Pa"]
static = "0.4 Pa"
"""
LOG = """time [s],drop [Pa],remark
0,182.3,
1,183.1,
2,181.8,door open
3,182.0,
4,182.6,
"""
ROWS = """test,drop [Pa],air.meter.temperature [degC],remark
1,182.3,23.4,
2,150.1,23.6,
3,120.7,23.9,damper half shut
"""


def edited(text: str, old: str, new: str) -> str:
    """`text` with `old`, which must be there, replaced once."""
    assert old in text, f"{old!r} is no longer in the sound file"
    return text.replace(old, new, 1)


LOGGED = edited(RECORD, 'drop = ["182.3 Pa", "183.1 Pa", "181.8 Pa"]', 'log = "log.csv"')
_ANEMOMETER = '[instruments.anemometer]\nmeasures = "velocity"\naccuracy = "2 % of reading + 0.05 m/s"\n\n'
_TRAVERSE_FLOW = """[ducts.main]
width = "600 mm"
height = "400 mm"

[[flow]]
method = "vane-traverse"
duct = "main"
rule = "log-tchebycheff"
across = 5
down = 5
grid = "grid.csv"
"""
TRAVERSE = (
    edited(RECORD, "[instruments.thermometer]", _ANEMOMETER + "[instruments.thermometer]").split("[nozzles.A]")[0]
    + _TRAVERSE_FLOW
)


def _grid() -> str:
    x, y = (side_positions("log-tchebycheff", 5) * size for size in (600, 400))
    lines = ["pass,row,column,x [mm],y [mm],velocity [m/s]"]
    for pass_ in (1, 2):
        for row in range(5):
            for column in range(5):
                velocity = 3 + 0.1 * row - 0.05 * column + 0.02 * pass_
                place = f"{row + 1},{column + 1},{x[column]:.0f},{y[row]:.0f}"
                lines.append(f"{pass_},{place},{velocity:.2f}")
    return "\n".join(lines) + "\n"


GRID = _grid()
FIRST = GRID.splitlines()[1]  # pass 1, row 1, column 1

OLD_JSON, OLD_CSV = '{"old": true}\n', "old\n1\n"  # results of an earlier run
OUTPUTS = ("--json", "result.json", "--csv", "result.csv")
# what only a programmer would know the meaning of
PYTHON = re.compile(r"Traceback|should not|datetime\.|Timestamp|array\(|dtype|np\.|object at|<class|\bNone\b|\bTrue\b")


@dataclass
class Rig:
    """Files in an empty folder, and the real command line run among them.

    Attributes
    ----------
    folder : Path
        Also the working folder.
    """

    folder: Path

    def lay_out(self, **files: str | bytes) -> None:
        """Write files into the folder; in a keyword, ``_`` stands for the point: ``record_toml``."""
        for name, content in files.items():
            self.write(name.replace("_", "."), content)

    def write(self, name: str, content: str | bytes) -> None:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))

    def run(self, *arguments: str) -> tuple[int, str, str]:
        """Exit code, standard output and standard error of ``flowrig`` in the folder."""
        out, err, code = io.StringIO(), io.StringIO(), 0
        with contextlib.chdir(self.folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                main(list(arguments))
            except SystemExit as stop:
                code = int(stop.code or 0)
        return code, out.getvalue(), err.getvalue()

    def start(self, script: str, *arguments: str) -> subprocess.Popen[str]:
        """Another Python in the folder, which runs `script` on the arguments."""
        root = str(Path(flowrig.__file__).parents[1])
        return subprocess.Popen(
            [sys.executable, "-c", script, *arguments],
            cwd=self.folder,
            env=os.environ | {"PYTHONPATH": root},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def contents(self) -> dict[str, bytes]:
        """Everything in the folder, small files by their bytes and large ones by their size."""
        return {
            str(path.relative_to(self.folder)): path.read_bytes()
            if path.stat().st_size < 2**20
            else str(path.stat().st_size).encode()
            for path in self.folder.rglob("*")
            if path.is_file()
        }

    def tells(self, record: str, where: str, said: str) -> None:
        """Reducing the record exits 2, prints nothing else, and says so of the place."""
        self.lay_out(record_toml=record)
        code, out, err = self.run("reduce", "record.toml")
        assert (code, out) == (2, ""), (code, out)
        assert f"record.toml, {where}" in err, err
        assert said in err, err

    def refuses(self, *arguments: str, says: tuple[tuple[str, ...], ...], command: str = "reduce") -> None:
        """The same of a command that writes results: those of an earlier run stand untouched."""
        self.lay_out(result_json=OLD_JSON, result_csv=OLD_CSV)
        self.refuses_to(command, *arguments, *OUTPUTS, says=says)

    def refuses_to(self, *arguments: str, says: tuple[tuple[str, ...], ...]) -> None:
        """The command exits 2 with exactly the faults `says`, and touches no file.

        Parameters
        ----------
        says : tuple of tuples of str
            For each fault, in order: where it starts, then words that stand in its line.
        """
        before = self.contents()
        code, out, err = self.run(*arguments)
        assert code == 2, (code, out, err)
        assert out == ""
        assert self.contents() == before
        lines = err.splitlines()
        assert len(lines) == len(says), err
        for line, (where, *words) in zip(lines, says, strict=True):
            assert line.startswith(where), line
            where_read, _, rest = line.partition("; expected ")
            assert ": read " in where_read, line
            assert ". " in rest, f"no remedy in: {line}"
            for word in words:
                assert word in line, f"{word!r} not in: {line}"
        assert not PYTHON.search(err), err
        assert str(self.folder) not in err, err


def named(*cases: tuple[Any, ...]) -> list[Any]:
    """A test of its own for each case; the first word of a case is its name."""
    return [pytest.param(*case[1:], id=case[0]) for case in cases]


def spread(kept: int, *cases: tuple[Any, ...]) -> list[Any]:
    """The same, where all that follows the first `kept` values of a case is a fault each."""
    return [pytest.param(*case[1 : kept + 1], case[kept + 1 :], id=case[0]) for case in cases]
