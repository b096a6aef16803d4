"""`flowrig room`: how many units a room needs, and what becomes of the air in it."""

from __future__ import annotations

from typing import Any

import click

from flowrig.cli.drawing import check_drawn, drawn_files, drawn_options
from flowrig.cli.options import check_samples, files_apart, probability, unit_of_flow
from flowrig.cli.output import hand_over


@click.command(name="room")
@click.argument("record", type=click.Path())
@click.option("--json", "json_file", type=click.Path(), help="Write the whole result as JSON.")
@click.option("--csv", "csv_file", type=click.Path(), help="Write it as CSV: a line a number.")
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
    """Say how many units a room needs, and what becomes of the air in it, with error bars.

    RECORD is a record with a table [room]; with [air_change_target] or [per_person_target], which are guidance on
    infection and say nothing about smoke, with [concentration_target], a level of particles, which says nothing about
    infection; with [[cleaners]], each by the record of its test or prediction or by a stated clean-air rate; and with
    [duct], a better filter in the ducts of the building.

    Exit code 0 if it worked, 1 if no honest number follows, 2 for bad input; then the faults are listed, and no output
    file is touched. --debug shows a traceback.
    """
    from flowrig.studies.reduce import load
    from flowrig.studies.room import room

    options: dict[str, Any] = {"coverage": probability(coverage), "samples": samples, "seed": seed, "unit": unit}
    check_samples(samples)
    unit_of_flow(unit)
    check_drawn(figures, png)
    read = load(record)
    files_apart(record, (json_file, csv_file, page), read.digests)  # before anything is reckoned
    result = room(read, **options)
    outputs: dict[Any, str | bytes] = {}
    if json_file is not None:
        from flowrig.report.room_tables import room_json

        outputs[json_file] = room_json(result)
    if csv_file is not None:
        from flowrig.report.room_tables import room_csv

        outputs[csv_file] = room_csv(result)
    from flowrig.report.room_text import alarms, room_blocks

    blocks = list(room_blocks(result))
    outputs |= drawn_files(result, blocks, page, figures, png)
    hand_over(outputs, None if quiet else blocks, alarms(result))
