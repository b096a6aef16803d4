"""Real terminals: what stands on the screen, at any width, with colours and without; a pipe stays plain."""

from __future__ import annotations

import fcntl
import io
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from dataclasses import dataclass
from pathlib import Path

import pytest

import flowrig
from flowrig.cli.progress import AFTER
from flowrig.cli.terminal import write
from flowrig.report.blocks import Block, Heading, Raised
from flowrig.report.plan_text import plan_blocks
from flowrig.report.table import Table
from flowrig.report.text import batch_blocks, result_blocks

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
NOZZLE = "examples/01-nozzle-bank/record.toml"
CODES = re.compile(r"\x1b\[[0-9;?]*[a-zA-Z]")
COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-7]|38|4[0-7]|9[0-7])(?:;\d+)*m")
MAIN = "from flowrig.cli import main; import sys; main(sys.argv[1:])"
SLOW = """
import time
import flowrig.cli.progress as shown
import flowrig.studies.reduce as study
shown.AFTER = 0.2
true = study.reduce

def slow(*given, **options):
    from flowrig.progress import doing
    with doing("something long"):
        time.sleep(0.8)
        return true(*given, **options)

study.reduce = slow
"""


@dataclass
class Screen:
    """What came of a command: raw bytes of both streams, and its exit code."""

    out: str
    err: str
    code: int


def on_screen(arguments: list[str], before: str = "", piped: bool = False, **environment: str) -> Screen:
    """Run a command with standard error, and unless it is piped standard output, on a terminal of its own."""
    ends = {"err": pty.openpty()} if piped else {"out": pty.openpty(), "err": pty.openpty()}
    for _, inner in ends.values():
        fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 80, 0, 0))
    kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES")}
    kept |= {"TERM": "xterm-256color", "PYTHONPATH": str(ROOT), "LANG": "C.UTF-8", **environment}
    out = subprocess.PIPE if piped else ends["out"][1]
    run = subprocess.Popen(
        [sys.executable, "-c", before + MAIN, *arguments], stdout=out, stderr=ends["err"][1], env=kept, cwd=ROOT
    )
    for _, inner in ends.values():
        os.close(inner)
    said = {name: _read(outer) for name, (outer, _) in ends.items()}
    if run.stdout is not None:
        said["out"] = run.stdout.read().decode()
        run.stdout.close()
    return Screen(said["out"], said["err"], run.wait())


def _read(end: int) -> str:
    """Everything up to where the other side is closed."""
    said = b""
    while True:
        try:
            more = os.read(end, 65536)
        except OSError:
            break
        if not more:
            break
        said += more
    os.close(end)
    return said.decode().replace("\r\n", "\n")


def shown(blocks: list[Block], width: int) -> str:
    """The same in memory."""
    out = io.StringIO()
    write(blocks, out, width)
    return out.getvalue()


@pytest.fixture(scope="module")
def reports() -> dict[str, list[Block]]:
    batch = flowrig.reduce_rows(EXAMPLES / "06-batch" / "record.toml", EXAMPLES / "06-batch" / "tests.csv")
    return {
        "two": list(result_blocks(flowrig.reduce(EXAMPLES / "14-two-methods" / "record.toml"))),
        "planned": list(plan_blocks(flowrig.plan(EXAMPLES / "18-plan" / "record.toml"))),
        "counts": list(result_blocks(flowrig.reduce(EXAMPLES / "25-working-week" / "counters.toml"))),
        "batch": list(batch_blocks(batch)),
    }


@pytest.mark.parametrize("width", [40, 60, 80, 120, 200])
@pytest.mark.parametrize("name", ["two", "planned", "counts", "batch"])
def test_a_report_fits_the_terminal_and_loses_nothing(name: str, width: int, reports: dict[str, list[Block]]) -> None:
    screen = shown(reports[name], width)
    assert max(map(len, screen.split("\n"))) <= width
    flat = "".join(screen.split())
    for block in reports[name]:
        if isinstance(block, Table):
            numbers = {cell for row in block.rows for k, cell in enumerate(row) if k not in block.left}
            assert {cell for cell in numbers if "".join(cell.split()) not in flat} == set()
    if width >= 60:  # a number is never broken there: each stands whole on its line
        tokens = set(screen.split())
        for block in reports[name]:
            if isinstance(block, Table) and block.reads is None:
                wanted = {word for row in block.rows for k, cell in enumerate(row) if k not in block.left
                          for word in cell.split()}  # fmt: skip
                assert wanted <= tokens


def test_words_keep_to_80_columns_on_a_wide_terminal_and_tables_do_not() -> None:
    wide = Table(tuple(f"column {k}" for k in range(12)), (tuple(f"{k}" * 8 for k in range(12)),), ())
    lines = shown([Raised("note", "long", "word " * 60), wide], 200).split("\n")
    assert max(len(line) for line in lines if "word" in line) <= 80
    assert any("column 0" in line and "column 11" in line for line in lines)


def test_nothing_in_a_record_is_markup_or_moves_the_cursor() -> None:
    title = "[red]fan[/] [/b] :smile: [link=x]y[/link] \x1b[2J\x07end"
    table = Table(("[bold]head[/bold]", "b"), ((title.partition("\x1b")[0], "[1]"),))
    said = shown([Heading(title, 1), Raised("alarm", "[x]", title), title, table], 120)
    assert said.count("[red]fan[/] [/b] :smile: [link=x]y[/link]") == 4
    assert "[bold]head[/bold]" in said
    assert "\x1b" not in said
    assert "\x07" not in said


def test_a_terminal_gets_tables_and_emphasis_and_a_pipe_does_not() -> None:
    screen, pipe = on_screen(["reduce", NOZZLE]), on_screen(["reduce", NOZZLE], piped=True)
    assert (screen.code, pipe.code, screen.err, pipe.err) == (0, 0, "", "")
    assert "\x1b[1mBox-fan cleaner 3" in screen.out
    assert "─────" in screen.out
    assert "\x1b[2mNote, assumed:" in screen.out
    assert pipe.out == (EXAMPLES / "01-nozzle-bank" / "expected.txt").read_text(encoding="utf-8")
    assert max(len(line) for line in CODES.sub("", screen.out).split("\n")) <= 80


def test_severity_is_a_word_with_a_colour_or_without() -> None:
    arguments = ["calibrate", "examples/20-leak-test/record.toml"]
    colours = on_screen(arguments)
    assert "\x1b[1;31mALARM, low Reynolds number:" in colours.out
    assert "\x1b[1;33mWarning, throat velocity:" in colours.out
    none = on_screen(arguments, NO_COLOR="1")
    assert COLOUR.search(colours.out)
    assert not COLOUR.search(none.out)
    assert "ALARM, low Reynolds number:" in none.out
    dumb = on_screen(arguments, TERM="dumb")
    assert "\x1b" not in dumb.out
    assert CODES.sub("", none.out) == dumb.out == CODES.sub("", colours.out)
    forced = on_screen(arguments, piped=True, FORCE_COLOR="1")
    assert "\x1b[1;31mALARM, low Reynolds number:" in forced.out


def test_faults_are_a_plain_line_each() -> None:
    screen = on_screen(["reduce", "examples/none.toml"])
    assert screen.code == 2
    assert "\x1b" not in screen.err
    assert screen.err.count("\n") == 1
    assert screen.out == ""


def test_what_takes_longer_says_what_it_does_and_takes_it_back() -> None:
    assert AFTER == 1.0
    screen = on_screen(["reduce", NOZZLE], SLOW, piped=True)
    assert "something long" in screen.err
    assert screen.err.endswith("\x1b[2K")
    assert "\x1b[?25h" in screen.err  # the cursor is back
    assert left_on(screen.err) == ""
    assert screen.out == (EXAMPLES / "01-nozzle-bank" / "expected.txt").read_text(encoding="utf-8")


def test_nothing_is_left_of_it_above_a_fault() -> None:
    screen = on_screen(["reduce", "examples/none.toml"], SLOW)
    assert screen.code == 2
    assert "something long" in screen.err
    assert left_on(screen.err).startswith("none.toml: read nothing")
    assert screen.err.rindex("none.toml: read") > screen.err.rindex("something long")


@pytest.mark.parametrize("environment", [{"TERM": "dumb"}, {"QUIET": "1"}])
def test_progress_can_be_done_without(environment: dict[str, str]) -> None:
    more = ["--quiet"] if "QUIET" in environment else []
    screen = on_screen(["reduce", NOZZLE, *more], SLOW, **environment)
    assert (screen.code, screen.err) == (0, "")


def test_a_pipe_hears_nothing_of_progress() -> None:
    run = subprocess.run(
        [sys.executable, "-c", SLOW + MAIN, "reduce", NOZZLE], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert run.stderr == ""
    assert "\x1b" not in run.stdout


def left_on(said: str) -> str:
    """What stands on a screen after codes that erase lines and go up: all that progress uses."""
    lines, row = [""], 0
    for part in re.findall(r"\x1b\[[0-9;?]*[a-zA-Z]|\r|\n|[^\x1b\r\n]+", said):
        if part == "\n":
            row += 1
            lines += [""] * (row + 1 - len(lines))
        elif part.endswith("A") and part.startswith("\x1b"):
            row -= int(part[2:-1] or 1)
        elif part == "\x1b[2K":
            lines[row] = ""
        elif not part.startswith(("\x1b", "\r")):
            lines[row] += part
    return "\n".join(lines).strip()
