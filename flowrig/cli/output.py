"""What a command gives back: files all or none, then words on the screen, or alarms alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import click


def hand_over(outputs: Mapping[Any, str | bytes], shown: str, alarms: Iterable[str]) -> None:
    """Write the files that were asked for, then print.

    Parameters
    ----------
    outputs : mapping of path to content
    shown : str
        For the screen; empty where nothing but alarms is wanted.
    alarms : iterable of str
        Looked at only where nothing is shown.
    """
    if outputs:
        from flowrig.records.write import write_all

        write_all(outputs)
    if shown:
        click.echo(shown)
        return
    for line in alarms:
        click.echo(line, err=True)
