"""Pages and figures of the examples. `python -m tests.gallery` draws those of the README anew into docs/figures."""

from __future__ import annotations

import tempfile
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from click.testing import CliRunner

from flowrig.cli import group

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "figures"


@dataclass(frozen=True)
class Example:
    """One command over one example.

    Attributes
    ----------
    command : str
        Its words, files from the root of the project.
    shown : dict of str to str
        Figures of the gallery, by the names of their files: what each shows.
    """

    command: str
    shown: dict[str, str] = field(default_factory=dict)

    def file(self, name: str) -> Path:
        """Where a figure of the gallery stands."""
        number = next(word for word in self.command.split() if word.startswith("examples/")).split("/")[1].split("-")[0]
        return FOLDER / f"{number}-{name}.svg"


@cache
def made(name: str) -> tuple[str, dict[str, bytes]]:
    """The page and the figures that the command line writes."""
    command, *words = EXAMPLES[name].command.split()
    words = [str(ROOT / word) if "/" in word else word for word in words]
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.html"
        done = CliRunner().invoke(group, [command, *words, "--report", str(page), "--figures", folder, "--quiet"])
        assert done.exit_code == 0, done.output
        figures = {path.stem: path.read_bytes() for path in Path(folder).glob("*.svg")}
        return page.read_text(encoding="utf-8"), figures


def words_of(svg: bytes) -> list[str]:
    """All text of a figure: the same whatever the version of the library that drew it."""
    return [str(x.text) for x in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def gallery() -> str:
    """The part of the README."""
    lines = []
    for each in EXAMPLES.values():
        if each.shown:
            lines.append(f"`flowrig {each.command}`\n")
        for name, words in each.shown.items():
            lines.append(f"![{words}]({each.file(name).relative_to(ROOT).as_posix()})\n")
    return "\n".join(lines)


EXAMPLES = {
    "measurement": Example(
        "reduce examples/02-nozzle-log/record.toml",
        {
            "flow-readings": "A log, its mean, and what its scatter is worth",
            "flow-ranges": "Where the readings lie in the limits of the method",
            "flow-coefficient": "The coefficient of the nozzle with its band",
            "flow-budget": "What makes the flow unsure",
            "flow-density": "The linear interval against draws",
        },
    ),
    "plane": Example(
        "reduce examples/03-pitot-traverse/record.toml", {"flow-plane": "Velocities over the plane of a traverse"}
    ),
    "batch": Example("reduce examples/06-batch/record.toml --rows examples/06-batch/tests.csv"),
    "methods": Example(
        "reduce examples/14-two-methods/record.toml", {"together": "Two methods of measuring beside each other"}
    ),
    "calibration": Example(
        "calibrate examples/17-box-calibration/record.toml", {"calibration": "A calibration and its residuals"}
    ),
    "checks": Example(
        "verify calibrations/box-2-2026-10.toml examples/19-later-checks/january.toml "
        "examples/19-later-checks/record.toml",
        {"checks": "Later checks of a calibration"},
    ),
    "plan": Example(
        "plan examples/18-plan/record.toml", {"plan": "What limits a measurement still to come, and what would help"}
    ),
    "week": Example(
        "reduce examples/25-working-week/record.toml",
        {
            "efficiency-by-size": "Efficiency by size, and the levels of classes",
            "clean-air-by-size": "Clean air by range of size",
            "decay": "Decays in a room",
        },
    ),
    "alarm": Example(
        "predict examples/23-stalled-fan/record.toml", {"fan-and-bank": "A fan with a dip: two flows may come of it"}
    ),
    "designs": Example("predict examples/25-working-week/panels.toml", {"sweep": "One, two and four filters"}),
    "life": Example(
        "predict examples/24-when-to-change/record.toml", {"life": "Filters in use, and when to change them"}
    ),
    "room": Example(
        "room examples/25-working-week/classroom.toml",
        {"room-level": "Smoke in a classroom over time", "units-level": "How many units hold the level"},
    ),
    "costs": Example(
        "own examples/25-working-week/ten-years.toml",
        {"costs": "Costs over ten years", "ranges": "What each range does to the comparison"},
    ),
}


def write() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for old in FOLDER.glob("*.svg"):
        old.unlink()
    for name, each in EXAMPLES.items():
        if each.shown:
            figures = made(name)[1]
            for figure in each.shown:
                each.file(figure).write_bytes(figures[figure])


if __name__ == "__main__":
    write()
