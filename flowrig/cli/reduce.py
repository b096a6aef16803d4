"""`flowrig reduce`: a record, or a table of tests in the manner of a record, to flows with error bars."""

from __future__ import annotations

import os
from typing import Any

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import check_samples, files_apart, probability, unit_of_flow
from flowrig.cli.output import hand_over


@click.command(name="reduce")
@click.argument("record", type=click.Path())
@click.option("--rows", type=click.Path(), help="CSV table: each row replaces named readings of RECORD.")
@click.option("--json", "json_file", type=click.Path(), help="Write the whole result as JSON.")
@click.option("--csv", "csv_file", type=click.Path(), help="Write the result as CSV.")
@drawn_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults and alarms.")
@click.option("--samples", type=int, help="Take Monte Carlo intervals from this many draws.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the draws.")
@click.option("--coverage", default="95 %", show_default=True, help="Probability of the intervals: 95 % or 0.95.")
@click.option("--allow-outside", is_flag=True, help="Give values outside a calibrated range, with a growing band.")
@click.option("--unit", help="Unit of flow to print first, before the record's own.")
def command(
    record: str,
    rows: str | None,
    json_file: str | None,
    csv_file: str | None,
    page: str | None,
    figures: str | None,
    png: bool,
    quiet: bool,
    samples: int | None,
    seed: int,
    coverage: str,
    unit: str | None,
    allow_outside: bool,
) -> None:
    """Reduce RECORD, a TOML file of readings, to a flow with error bars.

    Exit code 0 if it worked, 1 if the readings lie where the equations have no meaning, 2 for bad input; then the
    faults are listed, and no output file is touched. --debug shows a traceback.
    """
    from flowrig.studies.reduce import reduce

    options: dict[str, Any] = {"coverage": probability(coverage), "samples": samples, "seed": seed, "unit": unit}
    options["allow_outside"] = allow_outside
    check_samples(samples)
    unit_of_flow(unit)
    check_drawn(figures, png)
    if rows is None:
        result = reduce(record, **options)
    else:
        from flowrig.studies.rows import reduce_rows

        result = reduce_rows(record, rows, **options)
    files_apart(record, (json_file, csv_file, page), (*result.record.digests, os.path.abspath(rows or record)))
    outputs: dict[Any, str | bytes] = {}
    if json_file is not None:
        from flowrig.report.as_json import result_json

        outputs[json_file] = result_json(result)
    if csv_file is not None:
        from flowrig.report.as_csv import result_csv

        outputs[csv_file] = result_csv(result)
    from flowrig.report.text import alarms_text, batch_blocks, result_blocks

    blocks = list(result_blocks(result) if rows is None else batch_blocks(result))
    outputs |= drawn_files(result, blocks, page, figures, png)
    hand_over(outputs, None if quiet else blocks, alarms_text(result))
