"""The parts of each README.md that are made from the program itself: `python -m tests.readme` writes them anew."""

from __future__ import annotations

import re
from pathlib import Path

from click.testing import CliRunner

from flowrig.cli import COMMANDS, group
from flowrig.report.markdown import calibration_tables, method_table

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
CALIBRATIONS = ROOT / "calibrations" / "README.md"


def command_list() -> str:
    """Every command with its help line, and its options."""
    blocks = []
    for name, line in COMMANDS.items():
        shown = CliRunner().invoke(group, [name, "--help"], prog_name="flowrig", terminal_width=90)
        usage = shown.output.split("\n")[0].removeprefix("Usage: ").strip()
        options = shown.output.split("Options:\n")[-1].rstrip()
        blocks.append(f"`{usage}`  \n{line}\n\n```text\n{options}\n```")
    return "\n\n".join(blocks)


def output() -> str:
    expected = (ROOT / "examples/01-nozzle-bank/expected.txt").read_text(encoding="utf-8").rstrip()
    return f"```text\n{expected}\n```"


def calibration() -> str:
    """A whole calibration file."""
    text = (ROOT / "calibrations/box-2-2026.toml").read_text(encoding="utf-8").rstrip()
    return f"```toml\n{text}\n```"


PAGES = {
    README: {"output": output, "commands": command_list, "methods": method_table},
    CALIBRATIONS: {"calibration": calibration, "format": calibration_tables},
}


def made(page: Path) -> str:
    """The page as it should be."""
    text = page.read_text(encoding="utf-8")
    for name, make in PAGES[page].items():
        pattern = re.compile(rf"(<!-- made: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        assert pattern.search(text), f"{page.name} has no part {name!r}"
        text = pattern.sub(lambda m, make=make: f"{m[1]}{make().strip()}\n{m[2]}", text)
    return text


if __name__ == "__main__":
    for page in PAGES:
        page.write_text(made(page), encoding="utf-8")
