"""What a command gives back: files all or none, then words on the screen, or alarms alone."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import click

from flowrig.cli.progress import finish

if TYPE_CHECKING:
    from flowrig.report.blocks import Block


def hand_over(outputs: Mapping[Any, str | bytes], shown: Iterable[Block] | None, alarms: Iterable[str]) -> None:
    """Write the files that were asked for, then print.

    Parameters
    ----------
    outputs : mapping of path to content
    shown : iterable of str or Table, or None
        For the screen; None where nothing but alarms is wanted.
    alarms : iterable of str
        Looked at only where nothing is shown.
    """
    blocks = None if shown is None else list(shown)  # a report that cannot be made leaves no file behind
    if outputs:
        from flowrig.records.write import write_all

        write_all(outputs)
    if blocks is not None:
        show(blocks)
        return
    finish()
    for line in alarms:
        click.echo(line, err=True)


def show(blocks: Iterable[Block]) -> None:
    """Print a report: tables and emphasis on a terminal, plain text in a pipe or a file."""
    made = list(blocks)
    finish()
    if on_terminal():
        from flowrig.cli.terminal import write

        write(made)
    else:
        from flowrig.report.blocks import plain

        click.echo(plain(made))


def on_terminal() -> bool:
    """Whether standard output is one, or is to be taken for one that shows colours."""
    return bool(os.environ.get("FORCE_COLOR")) or sys.stdout.isatty()
