"""Figures of the examples for the README: `python -m tests.gallery` draws them anew into docs/figures."""

from __future__ import annotations

import tempfile
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from pathlib import Path

from flowrig.cli import main

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
        main([command, *words, *(str(ROOT / name) for name in each.record.split()), "--figures", folder, "--quiet"])
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
