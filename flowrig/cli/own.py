"""`flowrig own`: what options cost over years, at equal clean air delivered."""

from __future__ import annotations

from typing import Any

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import check_samples, files_apart, probability, unit_of_flow
from flowrig.cli.output import hand_over


@click.command(name="own")
@click.argument("record", type=click.Path())
@click.option("--json", "json_file", type=click.Path(), help="Write the whole comparison as JSON.")
@click.option("--csv", "csv_file", type=click.Path(), help="Write it as CSV: a line a quantity, a difference, a time.")
@drawn_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults and alarms.")
@click.option("--samples", type=int, help="Draws behind intervals and probabilities; 65536 where nothing is said.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the draws.")
@click.option("--coverage", default="95 %", show_default=True, help="Probability of the intervals: 95 % or 0.95.")
@click.option("--unit", help="Unit of flow to print clean air in, before the record's own.")
def command(
    record: str,
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
) -> None:
    """Compare what options cost over years, at equal clean air delivered, with their ranges.

    RECORD is a record with a table [own], the terms of the comparison, and a section [[options]] for each option, which
    may name the record of its test or prediction.

    Exit code 0 if it worked, 1 if no cost follows, 2 for bad input; then the faults are listed, and no output file is
    touched. --debug shows a traceback.
    """
    from flowrig.studies.own import own
    from flowrig.studies.reduce import load

    options: dict[str, Any] = {"coverage": probability(coverage), "samples": samples, "seed": seed, "unit": unit}
    check_samples(samples)
    unit_of_flow(unit)
    check_drawn(figures, png)
    read = load(record)
    files_apart(record, (json_file, csv_file, page), read.digests)  # before anything is reckoned
    owned = own(read, **options)
    outputs: dict[Any, str | bytes] = {}
    if json_file is not None:
        from flowrig.report.own_tables import own_json

        outputs[json_file] = own_json(owned)
    if csv_file is not None:
        from flowrig.report.own_tables import own_csv

        outputs[csv_file] = own_csv(owned)
    from flowrig.report.own_text import alarms, own_blocks

    blocks = list(own_blocks(owned))
    outputs |= drawn_files(owned, blocks, page, figures, png)
    hand_over(outputs, None if quiet else blocks, alarms(owned))
