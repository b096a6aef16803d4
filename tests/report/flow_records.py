"""Records of flows to draw figures of, some of them at the edge: invented, of the Larkspur Flats school district."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from flowrig.studies.reduce import reduce
from flowrig.studies.result import Result

EXAMPLES = Path(__file__).parents[2] / "examples"
LONG = "Cleaner $7 & <script>alert(1)</script> of the far wing, both filters after a winter of use, speed low, again"
HEAD = """
title = "{title}"
date = 2026-09-01
invented = true
[air.meter]
temperature = "21 degC ± 0.5 degC"
pressure = "832 hPa ± 1 hPa"
relative_humidity = "35 % ± 3 %"
[instruments.manometer]
measures = "pressure difference"
serial = "DM-0417"
accuracy = "0.5 % of reading + 0.25 Pa"
zero_before = "0.1 Pa"
zero_after = "0.1 Pa"
[instruments.vane]
measures = "velocity"
serial = "VA-08"
accuracy = "2 % of reading + 0.1 m/s"
"""
NOZZLES = """
[nozzles.A]
diameter = "150 mm ± 0.15 mm"
made = "machined"
[nozzles.B]
diameter = "100 mm ± 0.1 mm"
made = "machined"
[nozzles.small]
diameter = "20 mm ± 0.1 mm"
made = "home-made"
coefficient_limit = "4 %"
"""
FLOW = """
[[flow]]
name = '''{name}'''
method = "nozzle"
open = {open}
drop = {drop}
static = "0 Pa"
"""
ROUND = """
[ducts.main]
diameter = "400 mm ± 2 mm"
[[flow]]
name = "three diameters"
method = "pitot-traverse"
duct = "main"
rule = "log-linear"
per_radius = 3
diameters = 3
grid = "round.csv"
coefficient = "0.998 ± 0.005"
"""
BACKWARDS = """
[ducts.branch]
width = "300 mm ± 2 mm"
height = "450 mm ± 2 mm"
[[flow]]
name = "behind a bend"
method = "vane-traverse"
duct = "branch"
rule = "log-tchebycheff"
across = 5
down = 6
grid = "backwards.csv"
"""
FACE = """
[faces.wall]
width = "3000 mm ± 5 mm"
height = "1500 mm ± 5 mm"
kind = "filter"
edge_strip = "25 mm ± 2 mm"
[[flow]]
name = "wall of filters"
method = "vane-face"
face = "wall"
across = 24
down = 12
grid = "face.csv"
"""
CLAIMS = """
[claims]
flow = "1650 cfm"
"""


def written(folder: Path) -> Path:
    """All of them as files."""
    rng = np.random.default_rng(3)

    def drops(values: np.ndarray) -> str:
        return "[" + ", ".join(f'"{x:.2f} Pa"' for x in values) + "]"

    def nozzle(name: str, values: np.ndarray, opened: str = '["A", "B"]') -> str:
        return FLOW.format(name=name, open=opened, drop=drops(values))

    files = {
        "long": HEAD.format(title="Long") + NOZZLES + nozzle(LONG, np.array([118.0])),
        "hundred": HEAD.format(title="Hundred")
        + NOZZLES
        + nozzle("one small nozzle", 5.0 + 0.3 * rng.standard_normal(100), '["small"]'),
        "faint": HEAD.format(title="Faint") + NOZZLES + nozzle("hardly any flow", np.array([0.4, 0.3, 0.5, 0.6])),
        "several": HEAD.format(title="Several")
        + NOZZLES
        + "".join(nozzle(f"set-up {i + 1}", 100.0 + 9.0 * i + rng.standard_normal(4)) for i in range(5))
        + CLAIMS,
        "round": HEAD.format(title="Round") + ROUND,
        "backwards": HEAD.format(title="Backwards") + BACKWARDS,
        "face": HEAD.format(title="Face") + FACE,
        "log": HEAD.format(title="Log")
        + NOZZLES
        + FLOW.format(name="half a minute", open='["A"]', drop="0").replace("drop = 0", 'log = "log.csv"'),
        "pattern": HEAD.format(title="Pattern") + NOZZLES + nozzle("chamber", np.array([118.0, 118.4, 117.9])),
    }
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    lines = ["pass,diameter,point,drop [Pa]"]
    for k in range(3):
        lines += [
            f"{k + 1},{d + 1},{p + 1},{30 - 1.1 * (p - 2.5) ** 2 + d + rng.standard_normal() / 3:.2f}"
            for d in range(3)
            for p in range(6)
        ]
    (folder / "round.csv").write_text("\n".join(lines), encoding="utf-8")
    lines = ["pass,row,column,velocity [m/s]"]
    lines += [f"1,{r + 1},{c + 1},{1.2 * c - 0.9 + 0.2 * r:.2f}" for r in range(6) for c in range(5)]
    (folder / "backwards.csv").write_text("\n".join(lines), encoding="utf-8")
    lines = ["pass,row,column,velocity [m/s]"]
    lines += [f"1,{r + 1},{c + 1},{1.4 + 0.3 * np.sin(c / 4) + 0.02 * r:.2f}" for r in range(12) for c in range(24)]
    (folder / "face.csv").write_text("\n".join(lines), encoding="utf-8")
    swing = np.cumsum(0.3 * rng.standard_normal(60))
    lines = ["time [s],drop [Pa]", *(f"{0.5 * i:.1f},{118 + swing[i] - 0.02 * i:.2f}" for i in range(60))]
    (folder / "log.csv").write_text("\n".join(lines), encoding="utf-8")
    lines = ["test,drop [Pa]"]
    lines += [f"T{i},{100 + 40 * np.sin(i / 60) + rng.standard_normal():.2f}" for i in range(600)]
    (folder / "rows.csv").write_text("\n".join(lines), encoding="utf-8")
    (folder / "few.csv").write_text("test,drop [Pa]\na,118\nb,-3\nc,220\n", encoding="utf-8")
    return folder


def all_reduced(folder: Path, names: Iterable[str], numbers: Iterable[str]) -> dict[str, Result]:
    """Records of a folder by their names, and examples by their numbers."""
    found = {name: reduce(folder / f"{name}.toml") for name in names}
    for number in numbers:
        [path] = EXAMPLES.glob(f"{number}-*/record.toml")
        found[number] = reduce(path)
    return found
