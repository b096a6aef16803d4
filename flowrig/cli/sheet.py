"""`flowrig sheet`: a blank record, ready to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from flowrig.cli.progress import finish
from flowrig.errors import Fault, InputError


@click.command(name="sheet")
@click.argument("method")
@click.argument("settings", metavar="[KEY=VALUE]...", nargs=-1)
@click.option("--into", type=click.Path(), default=".", help="Folder to write to; it must exist.")
@click.option("--force", is_flag=True, help="Replace files that are already there.")
def command(method: str, settings: tuple[str, ...], into: str, force: bool) -> None:
    """Write a blank record of METHOD: record.toml, and for a traverse the grid of places to read.

    In place of a method, prediction writes a blank record for flowrig predict with those of its fan and filter, fan or
    filter one of these alone, particles one of particle counts before and behind a filter, decay one of particle counts
    in a room with a cleaner on and off, electrical and sound one of watts and of levels, room one for flowrig room, own
    one for flowrig own.

    \b
    KEY=VALUE fills in what is already known:
      any field of the method      chamber_width="900 mm"  rule=equal-area
      its hardware                 nozzles=A,B  A="150 mm"
                                   width="600 mm"  height="400 mm"
      which reading is taken       reading=velocity
      how often                    passes=3
      a calibration, not a test    calibrates=box (or chamber, velocity, flow)

    `flowrig explain METHOD` lists the fields. Exit code 2 for a key or value that cannot be used; then nothing is
    written.
    """
    from flowrig.records.write import write_all
    from flowrig.studies.sheet import sheet
    from flowrig.studies.sheet_tables import SHEETS, sheets_of

    if method in SHEETS:
        if settings:
            remedy = "Leave them out, and fill in the files."
            raise InputError(Fault(f"flowrig sheet {method}", repr(settings[0]), "no further words", remedy))
        files, positions, then = sheets_of(method), "", SHEETS[method].then
    else:
        drawn = sheet(method, settings)
        files, positions, then = drawn.files, drawn.positions, "calibrate" if drawn.calibrates else "reduce"
    targets = {Path(into) / name: text for name, text in files.items()}
    there = [path for path in targets if path.exists()]
    if there and not force:
        raise InputError(
            Fault(
                str(path),
                "a file that is already there",
                "a new file",
                "Choose another folder with --into DIR, or replace it with --force.",
            )
            for path in there
        )
    write_all(targets)
    finish()
    for path in targets:
        click.echo(f"Written: {path}")
    if positions:
        click.echo("\n" + positions)
    click.echo("Take care; the cautions stand at the top of the record.")
    if not then:
        click.echo("When it is filled in, name it in a record of a prediction: flowrig sheet prediction")
        return
    click.echo(f"When it is filled in: flowrig {then} {Path(into) / 'record.toml'}")
