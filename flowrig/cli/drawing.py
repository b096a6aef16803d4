"""What every command that can draw takes: figures as files, and all of it as one page."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import click

from flowrig.errors import Fault, InputError
from flowrig.progress import doing

if TYPE_CHECKING:
    from flowrig.report.blocks import Block


def drawn_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """--report, --figures and --png."""
    for option in (
        click.option("--png", is_flag=True, help="Figures as PNG in place of SVG."),
        click.option("--figures", type=click.Path(), help="Draw it: SVG files into this folder, which must exist."),
        click.option("--report", "page", type=click.Path(), help="Write one page to read, print and check (HTML)."),
    ):
        command = option(command)
    return command


def check_drawn(figures: str | None, png: bool) -> None:
    """Raises `InputError` where --figures is no folder, or --png has nothing to draw: before anything is reckoned."""
    if figures is None:
        if png:
            remedy = "Add --figures FOLDER, or leave --png out."
            raise InputError(Fault("--png", "no --figures", "a folder for the figures", remedy))
    elif not os.path.isdir(figures):
        read = "a file" if os.path.exists(figures) else f"no folder {figures!r}"
        remedy = "Name a folder." if os.path.exists(figures) else "Make the folder first, or correct the name."
        raise InputError(Fault(f"--figures {figures}", read, "a folder that exists", remedy))


@doing("drawing figures")
def drawn_files(
    result: Any, blocks: Sequence[Block], page: str | None, figures: str | None, png: bool
) -> dict[Any, str | bytes]:
    """The files that were asked for, by their names.

    Parameters
    ----------
    result : Any
        Of the command.
    blocks : sequence of str and Table
        The report as it is printed.
    page, figures : str or None
    png : bool
    """
    if page is None and figures is None:
        return {}
    # what a person has set for other work, or a home that cannot be written, does not matter here
    for name in ("MPLBACKEND", "SOURCE_DATE_EPOCH"):
        os.environ.pop(name, None)
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    from flowrig.report.figures.all import pictures_of

    pictures = pictures_of(result)
    files: dict[Any, str | bytes] = {}
    if figures is not None:
        from flowrig.report.figures.style import save

        files |= save(pictures, figures, "png" if png else "svg")
    if page is not None:
        from flowrig.report.page.render import page_html

        files[page] = page_html(result, pictures, blocks)
    return files
