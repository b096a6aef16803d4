"""The parts of each README.md that are made from the program itself: `python -m tests.readme` writes them anew."""

from __future__ import annotations

import csv
import re
from pathlib import Path

from click.testing import CliRunner

from flowrig.cli import COMMANDS, group
from flowrig.report.lines import rounded
from flowrig.report.markdown import calibration_tables, field_tables, flag_table, method_table
from tests.gallery import gallery
from tests.predicted import example

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


BESIDE = {  # rows of the published table: which prediction stands beside each, and which of its numbers
    "1": ("four-filters-low", "clean_air"),
    "2": ("four-filters", "clean_air"),
    "3": ("four-filters", "clean_air"),
    "4": ("four-filters", "clean_air"),
    "10": ("one-filter", "flow"),
    "11": ("one-filter", "clean_air"),
    "12": ("one-filter", "power"),
}


def beside() -> str:
    """Published measurements of box-fan cleaners beside predictions of cleaners of their kind."""
    with (ROOT / "tests/reference/box_fan_cleaners_measured.csv").open(encoding="utf-8") as file:
        published = {row["row"]: row for row in csv.DictReader(file)}
    found = {name: example(ROOT / f"examples/curves/{name}.toml") for name in {name for name, _ in BESIDE.values()}}
    lines = ["| measured elsewhere | published | predicted, 95 % | |", "|---|---:|---:|---|"]
    configuration = ""
    for number, (name, wanted) in BESIDE.items():
        row = published[number]
        configuration = row["configuration"] if row["configuration"] != "same" else configuration
        q = found[name][wanted]
        value = float(row["value_m3_h_if_flow"] or row["value"])
        shown, low, high = rounded(float(q.u), float(q.value), float(q.low), float(q.high))
        verdict = "inside" if q.low <= value <= q.high else f"outside, {100 * (q.value / value - 1):+.0f} %"
        what = f"{configuration}; {row['setting']}; {row['quantity']} ({row['source']})"
        lines.append(f"| {what} | {value:.0f} {q.unit} | {shown} {q.unit}, {low} to {high} | {verdict} |")
    return "\n".join(lines)


CURVES = ROOT / "examples" / "curves" / "README.md"
PAGES = {
    CURVES: {"beside": beside},
    README: {"output": output, "commands": command_list, "methods": method_table, "gallery": gallery},
    CALIBRATIONS: {"calibration": calibration, "format": calibration_tables},
    ROOT / "docs" / "fields.md": {"fields": field_tables},
    ROOT / "docs" / "flags.md": {"flags": flag_table},
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
