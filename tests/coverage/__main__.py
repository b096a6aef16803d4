"""The long study: ``python -m tests.coverage`` writes its table to RESULTS.md beside this file."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import click

from tests.coverage import study
from tests.coverage.catalogue import RIGS

RESULTS = Path(__file__).with_name("RESULTS.md")
AT_LEAST = click.IntRange(min=20)  # fewer have no central 95 %
LONG = "python -m tests.coverage --rigs 40000 --slow-rigs 40000"
HEAD = """# Are the error bars true?

Each line is a kind of simulated rig, drawn many times. What every instrument got wrong is drawn once a rig; its
readings are drawn, rounded and written into a record; the record is reduced as any other; the 95 % interval is held
against the flow that the simulation knows. This table was made by

    python -m tests.coverage --rigs {number} --slow-rigs {slow} --seed {seed}

where the standard error of a coverage of 95 % is {error:.2f} points, and {slow_error:.2f} for the kinds whose intervals
are mostly Monte Carlo. The long study, of half a day on two idle cores, has 0.11 points:

    {long}

*Below* and *above* are the misses: intervals that lie below the truth, or above it. *Over the oracle's* is the median
width over the width of the central 95 % of estimates about the truth, which only one who knows the spread of all errors
could state. *Flag* is how often a flag of the kind that should warn fired, *silent misses* those without one. Accepted
within three standard errors: {bands}; misspecified rigs also where the flag fires as often; median width at most
{widest} times the oracle's. Bold: not so. Plain *wide*: the method assumes limits of common practice, which the truth
of this rig does not fill.

"""


@click.command()
@click.option("--rigs", "number", type=AT_LEAST, default=40_000, show_default=True, help="Rigs drawn of each kind.")
@click.option(
    "--slow-rigs", "slow", type=AT_LEAST, default=40_000, show_default=True, help="Of kinds with Monte Carlo intervals."
)
@click.option("--seed", default=1, show_default=True, help="Of all that is drawn.")
@click.option("--processes", default=2, show_default=True, help="Rigs reduced at a time.")
@click.option("--only", default="", help="Only kinds whose name holds this.")
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), default=RESULTS, help="Table to write.")
def main(number: int, slow: int, seed: int, processes: int, only: str, output: Path) -> None:
    """Count how often the error bars of simulated rigs hold the truth."""
    chosen = [(rig, slow if rig.slow else number) for rig in RIGS if only in rig.name]
    start = time.monotonic()

    def told(said: str) -> None:
        sys.stderr.write(f"\r\x1b[K{time.monotonic() - start:6.0f} s  {said}")
        sys.stderr.flush()

    results: list[study.Counted] = []
    for result in study.run(chosen, seed, processes, told):
        results.append(result)
        said = study.table(results)
        output.write_text(heading(number, slow, seed) + said, encoding="utf-8")  # kept if it is cut short
    sys.stderr.write("\n")
    click.echo(output.read_text(encoding="utf-8"))


def heading(number: int, slow: int, seed: int) -> str:
    bands = ", ".join(f"{name} {low:g} to {high:g} %" for name, (low, high) in study.BANDS.items())
    error, slow_error = (100 * (0.95 * 0.05 / n) ** 0.5 for n in (number, slow))
    return HEAD.format(
        number=number, slow=slow, seed=seed, error=error, slow_error=slow_error, long=LONG, bands=bands,
        widest=study.WIDEST,
    )  # fmt: skip


if __name__ == "__main__":
    main()
