"""`flowrig explain`: what a name in a record or a report means."""

from __future__ import annotations

import click


@click.command(name="explain")
@click.argument("names", metavar="[NAME]...", nargs=-1)
def command(names: tuple[str, ...]) -> None:
    """Say what a method, table, field, flag, cause of error or kind of unit means.

    \b
    Without NAME, a list of everything.
      flowrig explain nozzle
      flowrig explain drop air.relative_humidity
      flowrig explain "low Reynolds number"
      flowrig explain flow

    Exit code 2 for a name that is not known; the nearest names are given.
    """
    from flowrig.cli.output import show
    from flowrig.errors import InputError
    from flowrig.report.explain import told

    blocks, faults = told(list(names))
    if blocks:
        show(blocks)
    if faults:
        raise InputError(faults)
