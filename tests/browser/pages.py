"""Pages of the examples, by what they show; each made once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from click.testing import CliRunner

from flowrig.cli import group

EXAMPLES = Path(__file__).parents[2] / "examples"
COMMANDS = {
    "measurement": ("reduce", "01-nozzle-bank/record.toml"),
    "methods": ("reduce", "14-two-methods/record.toml"),
    "week": ("reduce", "25-working-week/record.toml"),
    "batch": ("reduce", "06-batch/record.toml", "--rows", "06-batch/tests.csv"),
    "calibration": ("calibrate", "17-box-calibration/record.toml"),
    "plan": ("plan", "18-plan/record.toml"),
    "alarm": ("predict", "23-stalled-fan/record.toml"),
    "life": ("predict", "24-when-to-change/record.toml"),
    "room": ("room", "25-working-week/classroom.toml"),
    "costs": ("own", "25-working-week/ten-years.toml"),
}


@cache
def page(name: str) -> str:
    """The HTML that the command line writes."""
    import tempfile

    command, *files = COMMANDS[name]
    arguments = [word if word.startswith("--") else str(EXAMPLES / word) for word in files]
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "page.html"
        done = CliRunner().invoke(group, [command, *arguments, "--report", str(out), "--quiet"])
        assert done.exit_code == 0, done.output
        return out.read_text(encoding="utf-8")
