"""The command line: parse, call, print, exit code. Commands are imported when called."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Any

import click

from flowrig.cli.progress import shown

COMMANDS = {
    "plan": "Say what uncertainty to expect before measuring, and what would better it.",
    "reduce": "Reduce a record of readings to a flow with error bars.",
    "calibrate": "Fit a curve to paired readings, and keep it as a calibration file.",
    "verify": "Hold a calibration against later checks of it.",
    "predict": "Predict the flow of a cleaner from its fan and filters, before building.",
    "room": "Say how many units a room needs, and what becomes of the air in it.",
    "own": "Compare what options cost over years, at equal clean air delivered.",
    "sheet": "Write a blank record, ready to fill in.",
    "explain": "Say what a method, field, flag or cause means.",
}


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"flowrig.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="flowrig")
def group() -> None:
    """Readings of moving air from a workshop rig, reduced to a flow with error bars."""


def main(arguments: list[str] | None = None) -> Any:
    """Run a command; exit 0 if it worked, 1 if no honest number follows, 2 for bad input."""
    arguments = sys.argv[1:] if arguments is None else arguments
    debug = "--debug" in arguments
    # matrices are long and thin here: threads wait for one another, at half as much processor time again
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        with shown(quiet="--quiet" in arguments):
            return group.main([a for a in arguments if a != "--debug"], prog_name="flowrig")
    except Exception as error:
        from flowrig.errors import FlowrigError, InputError

        if debug:
            raise
        if isinstance(error, InputError):
            for fault in error.faults:
                click.echo(str(fault), err=True)
            sys.exit(2)
        if isinstance(error, FlowrigError):
            click.echo(str(error), err=True)
            sys.exit(1)
        click.echo(
            f"flowrig failed in a way it should not ({type(error).__name__}: {error}). Nothing was written. Run the "
            "same command with --debug for the details.",
            err=True,
        )
        sys.exit(1)
