"""What is being done, for whoever asks to be told: nobody does but the command line.

A study says `step("the sweep")` before something that may take long. It costs a look-up where nobody listens.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Listener = Callable[[str], None]

_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)


def step(words: str) -> None:
    """Say what begins.

    Parameters
    ----------
    words : str
        A few, as ``flow 2 of 5``.
    """
    listener = _listener.get()
    if listener is not None:
        listener(words)


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """Hand every step to a listener meanwhile."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)
