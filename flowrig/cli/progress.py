"""Progress on a terminal: what is being done, from the first second on, and nothing of it left when it is done."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from flowrig.progress import listening

if TYPE_CHECKING:
    from rich.progress import Progress

AFTER = 1.0  # seconds
DEEP = 3  # of what is being done within what else, told


class _Shown:
    """A line on standard error, from a second after the start to the end."""

    def __init__(self) -> None:
        self.words = ""
        self.began = time.monotonic()
        self.progress: Progress | None = None
        self.lock = threading.Lock()
        self.ended = False
        self.timer = threading.Timer(AFTER, self.begin)
        self.timer.daemon = True
        self.timer.start()

    def told(self, doing: tuple[str, ...]) -> None:
        shown = doing if len(doing) <= DEEP else (*doing[: DEEP - 1], doing[-1])
        words = ": ".join(shown)
        with self.lock:
            self.words = words or self.words
            if self.progress is not None:
                self.progress.update(self.progress.task_ids[0], description=self.words)

    def begin(self) -> None:
        from rich.console import Console
        from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
        from rich.table import Column

        one_line = Column(no_wrap=True, overflow="ellipsis")
        words = TextColumn("{task.description}", markup=False, table_column=one_line)
        console = Console(stderr=True, highlight=False, markup=False)
        with self.lock:
            if self.ended:
                return
            shown = Progress(
                SpinnerColumn(), words, TimeElapsedColumn(), console=console, transient=True, redirect_stdout=False
            )
            shown.add_task(self.words or "reckoning")
            shown.tasks[0].start_time = self.began
            shown.start()
            self.progress = shown

    def end(self) -> None:
        self.timer.cancel()
        with self.lock:
            self.ended = True
            if self.progress is not None:
                self.progress.stop()
                self.progress = None
        if self.timer.is_alive():
            self.timer.join()  # it loads rich, which a program that ends meanwhile would cut in two


_now: list[_Shown] = []


@contextmanager
def shown(quiet: bool) -> Iterator[None]:
    """Show what is being done where standard error is a terminal that can take a line back.

    Parameters
    ----------
    quiet : bool
        Show nothing.
    """
    if quiet or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield
        return
    line = _Shown()
    _now.append(line)
    try:
        with listening(line.told):
            yield
    finally:
        finish()


def finish() -> None:
    """Take the line away: something is about to be printed."""
    while _now:
        _now.pop().end()
