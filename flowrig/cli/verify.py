"""`flowrig verify`: a calibration held against later checks."""

from __future__ import annotations

import os

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import files_apart
from flowrig.cli.output import hand_over


@click.command(name="verify")
@click.argument("calibration", type=click.Path())
@click.argument("records", type=click.Path(), nargs=-1, required=True)
@drawn_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults and alarms.")
def command(
    calibration: str, records: tuple[str, ...], page: str | None, figures: str | None, png: bool, quiet: bool
) -> None:
    """Hold the file CALIBRATION against RECORDS, one or several later checks of it: all so far make a control chart.

    Each record has a table [calibration] with a few points. Exit code 0 if the checks could be held against it,
    whatever they say; 2 for bad input.
    """
    from flowrig.studies.verify import verify

    check_drawn(figures, png)
    verified = verify(calibration, records)
    beside = {name for check in verified.checks for name in check.pairs.record.digests}
    folders = {os.path.dirname(record) for record in records}
    read = [*records, *(os.path.join(folder, name) for folder in folders for name in beside)]
    files_apart(calibration, (page,), map(os.path.abspath, read))
    from flowrig.report.verify_text import alarms, verified_blocks

    blocks = list(verified_blocks(verified))
    outputs = drawn_files(verified, blocks, page, figures, png)
    hand_over(outputs, None if quiet else blocks, alarms(verified))
