"""`flowrig predict`: before building, where a fan's curve meets its filters, and what that gives."""

from __future__ import annotations

from typing import Any

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import check_samples, files_apart, probability, unit_of_flow
from flowrig.cli.output import hand_over


@click.command(name="predict")
@click.argument("record", type=click.Path())
@click.option("--json", "json_file", type=click.Path(), help="Write the whole prediction as JSON.")
@click.option("--csv", "csv_file", type=click.Path(), help="Write it as CSV: a line a design, a time, or a quantity.")
@drawn_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults and alarms.")
@click.option("--samples", type=int, help="Take Monte Carlo intervals from this many draws.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the draws.")
@click.option("--coverage", default="95 %", show_default=True, help="Probability of the intervals: 95 % or 0.95.")
@click.option("--unit", help="Unit of flow to print first, before the record's own.")
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
    """Predict the flow of a cleaner that is not built yet, with error bars.

    RECORD is a record with a table [predict], which names the record of a fan, and with [[filters]], which name those
    of filters. A table [sweep] lists what else is to be tried, [life] how long the filters are to run.

    Exit code 0 if it worked, 1 if fan and filters do not meet on the fan's curve, 2 for bad input; then the faults are
    listed, and no output file is touched. --debug shows a traceback.
    """
    from flowrig.studies.predict import predict
    from flowrig.studies.reduce import load

    options: dict[str, Any] = {"coverage": probability(coverage), "samples": samples, "seed": seed, "unit": unit}
    check_samples(samples)
    unit_of_flow(unit)
    check_drawn(figures, png)
    read = load(record)
    files_apart(record, (json_file, csv_file, page), read.digests)  # before anything is reckoned
    predicted = predict(read, **options)
    outputs: dict[Any, str | bytes] = {}
    if json_file is not None:
        from flowrig.report.predict_tables import predict_json

        outputs[json_file] = predict_json(predicted)
    if csv_file is not None:
        from flowrig.report.predict_tables import predict_csv

        outputs[csv_file] = predict_csv(predicted)
    from flowrig.report.predict_text import alarms, predict_blocks

    blocks = list(predict_blocks(predicted))
    outputs |= drawn_files(predicted, blocks, page, figures, png)
    hand_over(outputs, None if quiet else blocks, alarms(predicted))
