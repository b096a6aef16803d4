"""Figures of the examples for the README: `python -m tests.gallery` draws them anew into docs/figures."""

from __future__ import annotations

import tempfile
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner

from flowrig.cli import group

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "figures"


@dataclass(frozen=True)
class Drawn:
    """Figures of one command over one example, by the names of their files."""

    command: str
    record: str
    figures: dict[str, str]  # name of the file: what it shows

    @property
    def line(self) -> str:
        return f"flowrig {self.command} {self.record} --figures FOLDER"


def draw(each: Drawn) -> dict[str, bytes]:
    """What the command writes."""
    with tempfile.TemporaryDirectory() as folder:
        command, *more = each.command.split()
        words = [str(ROOT / word) if "/" in word else word for word in more]
        files = [str(ROOT / name) for name in each.record.split()]
        done = CliRunner().invoke(group, [command, *words, *files, "--figures", folder, "--quiet"])
        assert done.exit_code == 0, done.output
        return {path.stem: path.read_bytes() for path in Path(folder).iterdir()}


def words_of(svg: bytes) -> list[str]:
    """All text of a figure: the same whatever the version of the library that drew it."""
    return [str(x.text) for x in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def gallery() -> str:
    """The part of the README."""
    lines = []
    for each in GALLERY:
        for name, words in each.figures.items():
            lines.append(f"**{words}** (`{each.line}`)\n\n![{words}](docs/figures/{file_of(each, name)})\n")
    return "\n".join(lines)


def file_of(each: Drawn, name: str) -> str:
    folder = Path(each.record.split()[0]).parent.name.split("-")[0]
    return f"{folder}-{name}.svg"


GALLERY = (
    Drawn("reduce", "examples/03-pitot-traverse/record.toml", {"flow-plane": "Velocities over a plane"}),
    Drawn(
        "reduce",
        "examples/02-nozzle-log/record.toml",
        {
            "flow-readings": "A log, its mean, and what its scatter is worth",
            "flow-ranges": "Where the readings lie in the limits of the method",
            "flow-coefficient": "The coefficient of the nozzle with its band",
            "flow-budget": "What makes the flow unsure",
            "flow-density": "The linear interval against draws",
        },
    ),
    Drawn("reduce", "examples/14-two-methods/record.toml", {"together": "Two methods beside each other"}),
    Drawn("calibrate", "examples/17-box-calibration/record.toml", {"calibration": "A calibration and its residuals"}),
    Drawn(
        "verify calibrations/box-2-2026-10.toml",
        "examples/19-later-checks/january.toml examples/19-later-checks/record.toml",
        {"checks": "Later checks of a calibration"},
    ),
    Drawn("plan", "examples/18-plan/record.toml", {"plan": "What limits a measurement to come, and what helps"}),
    Drawn(
        "reduce",
        "examples/25-working-week/record.toml",
        {
            "efficiency-by-size": "Efficiency by size, and the levels of classes",
            "clean-air-by-size": "Clean air by range of size",
            "decay": "Decays in a room",
        },
    ),
    Drawn(
        "predict",
        "examples/25-working-week/panels.toml",
        {"fan-and-bank": "Fan and filters, and where they meet", "sweep": "One, two and four filters"},
    ),
    Drawn("predict", "examples/24-when-to-change/record.toml", {"life": "Filters in use, and when to change them"}),
    Drawn(
        "room",
        "examples/25-working-week/classroom.toml",
        {"room-level": "Smoke in a classroom over time", "units-level": "How many units hold the level"},
    ),
    Drawn(
        "own",
        "examples/25-working-week/ten-years.toml",
        {"costs": "Costs over ten years", "ranges": "What each range does to the comparison"},
    ),
)


def write() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for old in FOLDER.glob("*.svg"):
        old.unlink()
    for each in GALLERY:
        drawn = draw(each)
        for name in each.figures:
            (FOLDER / file_of(each, name)).write_bytes(drawn[name])


if __name__ == "__main__":
    write()
