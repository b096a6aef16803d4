"""`flowrig calibrate`: paired readings to a curve with its errors, kept as a calibration file."""

from __future__ import annotations

import os
from typing import Any

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import files_apart, probability
from flowrig.cli.output import hand_over
from flowrig.errors import Fault, InputError


@click.command(name="calibrate")
@click.argument("record", type=click.Path())
@click.option("--to", "file", type=click.Path(), help="Calibration file to write: a new one, never an old one over.")
@drawn_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults and alarms.")
@click.option("--coverage", default="95 %", show_default=True, help="Probability of the intervals: 95 % or 0.95.")
def command(
    record: str, file: str | None, page: str | None, figures: str | None, png: bool, quiet: bool, coverage: str
) -> None:
    """Fit a curve to the paired readings of RECORD, and write it as a calibration file.

    The record has a table [calibration], which names a table of points. Exit code 0 if it worked, 1 if the points do
    not determine the curve, 2 for bad input; then the faults are listed, and no file is touched.
    """
    from flowrig.studies.calibrate import calibrate
    from flowrig.studies.reduce import load

    sure = probability(coverage)
    check_drawn(figures, png)
    read = load(record)
    files_apart(record, (page,), read.digests)  # before anything is reckoned
    done = calibrate(read, sure)
    outputs: dict[Any, str | bytes] = {}
    if file is not None:
        if os.path.lexists(file):
            expected = "a new file: a calibration is never edited or written over"
            remedy = "Name a new file, and say in the record which one it follows."
            raise InputError(Fault(file, "a file that exists", expected, remedy))
        files_apart(record, (file, page), read.digests)
        from flowrig.studies.calibration_file import file_text

        outputs[file] = file_text(done)
    from flowrig.report.calibration_text import alarms, calibration_blocks

    blocks = list(calibration_blocks(done, sure))
    outputs |= drawn_files(done, blocks, page, figures, png)
    said = [] if file is None else ["", f"Written to {file}."]
    hand_over(outputs, None if quiet else [*blocks, *said], alarms(done))
