"""`flowrig plan`: before measuring, what uncertainty to expect and what would better it."""

from __future__ import annotations

from typing import Any

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import files_apart, probability, unit_of_flow
from flowrig.cli.output import hand_over


@click.command(name="plan")
@click.argument("record", type=click.Path())
@click.option("--target", help="Half of the interval that is wanted, as a share of the flow: 3 %.")
@click.option("--json", "json_file", type=click.Path(), help="Write the whole plan as JSON.")
@click.option("--csv", "csv_file", type=click.Path(), help="Write the changes as CSV, a line each.")
@drawn_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults and alarms.")
@click.option("--coverage", default="95 %", show_default=True, help="Probability of the intervals: 95 % or 0.95.")
@click.option("--unit", help="Unit of flow to print first, before the record's own.")
def command(
    record: str,
    target: str | None,
    json_file: str | None,
    csv_file: str | None,
    page: str | None,
    figures: str | None,
    png: bool,
    quiet: bool,
    coverage: str,
    unit: str | None,
) -> None:
    """Say what uncertainty to expect of a measurement still to come, and what would better it.

    RECORD is a record like any other, with a table [plan] that holds the flow to be expected. The readings of the flow
    may be left out, and the choice of a nozzle, plate or hole too.

    Exit code 0 if it worked, 1 if no flow follows, 2 for bad input; then the faults are listed, and no output file is
    touched. --debug shows a traceback.
    """
    from flowrig.studies.invent import to_come
    from flowrig.studies.plan import plan
    from flowrig.studies.reduce import load

    sure = probability(coverage)
    unit_of_flow(unit)
    check_drawn(figures, png)
    read = load(record, to_come)
    files_apart(record, (json_file, csv_file, page), read.digests)  # before anything is reckoned
    planned = plan(read, target=target, coverage=sure, unit=unit)
    outputs: dict[Any, str | bytes] = {}
    if json_file is not None:
        from flowrig.report.plan_tables import plan_json

        outputs[json_file] = plan_json(planned)
    if csv_file is not None:
        from flowrig.report.plan_tables import plan_csv

        outputs[csv_file] = plan_csv(planned)
    from flowrig.report.plan_text import alarms, plan_blocks

    blocks = list(plan_blocks(planned))
    outputs |= drawn_files(planned, blocks, page, figures, png)
    hand_over(outputs, None if quiet else blocks, alarms(planned))
