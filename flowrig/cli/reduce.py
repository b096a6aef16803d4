"""`flowrig reduce`: a record, or a table of tests in the manner of a record, to flows with error bars."""

from __future__ import annotations

import os

import click

from flowrig.errors import Fault, InputError

FEWEST, MOST = 1_000, 10_000_000  # draws
LEAST_SURE = 0.5
MOST_SURE = 0.9999  # what lies beyond is known of no instrument


@click.command(name="reduce")
@click.argument("record", type=click.Path())
@click.option("--rows", type=click.Path(), help="CSV table: each row replaces named readings of RECORD.")
@click.option("--json", "json_file", type=click.Path(), help="Write the whole result as JSON.")
@click.option("--csv", "csv_file", type=click.Path(), help="Write the result as CSV.")
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

    probability = probability_of(coverage)
    _check(samples, unit)
    if rows is None:
        result = reduce(
            record, coverage=probability, samples=samples, seed=seed, unit=unit, allow_outside=allow_outside
        )
    else:
        from flowrig.studies.rows import reduce_rows

        result = reduce_rows(
            record, rows, coverage=probability, samples=samples, seed=seed, unit=unit, allow_outside=allow_outside
        )
    beside = (os.path.join(os.path.dirname(record), name) for name in result.record.digests)
    _check_outputs([name for name in (json_file, csv_file) if name is not None], {record, rows or record, *beside})
    outputs = {}
    if json_file is not None:
        from flowrig.report.as_json import result_json

        outputs[json_file] = result_json(result)
    if csv_file is not None:
        from flowrig.report.as_csv import result_csv

        outputs[csv_file] = result_csv(result)
    shown = ""
    if not quiet:
        from flowrig.report.text import batch_text, result_text

        shown = result_text(result) if rows is None else batch_text(result)
    if outputs:
        from flowrig.records.write import write_all

        write_all(outputs)
    if shown:
        click.echo(shown)
    else:
        from flowrig.report.text import alarms_text

        for line in alarms_text(result):
            click.echo(line, err=True)


def _check_outputs(names: list[str], inputs: set[str]) -> None:
    """Each output is a file of its own and none of the inputs: readings cannot be taken again."""
    taken = {os.path.realpath(name) for name in inputs}
    faults = []
    for name in names:
        path = os.path.realpath(name)
        if path in taken:
            read = "a file that this very command reads or writes already"
            faults.append(Fault(name, read, "a file of its own for each result", "Name another file."))
        taken.add(path)
    if faults:
        raise InputError(faults)


def probability_of(text: str) -> float:
    """95 %, 95% or 0.95. A bare number above 1 is read as per cent."""
    words = text.strip().rstrip("%").strip()
    try:
        number = float(words)
    except ValueError:
        number = float("nan")
    if text.strip().endswith("%") or number > 1:
        number /= 100
    if not LEAST_SURE <= number <= MOST_SURE:
        expected = f"a probability such as 95 % or 0.95, from {100 * LEAST_SURE:g} to {100 * MOST_SURE:g} %"
        remedy = "Write a number, with a decimal point. It is a probability, not a coverage factor: k = 2 is 95.45 %."
        raise InputError(Fault("--coverage", f"{text!r}", expected, remedy))
    return number


def _check(samples: int | None, unit: str | None) -> None:
    if samples is not None and not FEWEST <= samples <= MOST:
        remedy = "Fewer draws do not make an interval; more are held in memory and add no digit."
        raise InputError(Fault("--samples", str(samples), f"a number from {FEWEST} to {MOST}", remedy))
    if unit is not None:
        from flowrig import units
        from flowrig.records.words import unreadable

        try:
            units.factor(unit, "flow")
        except ValueError as error:
            raise InputError(unreadable("--unit", unit, "a unit of flow", error)) from None
