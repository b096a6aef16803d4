"""What is being done, for whoever asks to be told: nobody does but the command line.

It costs a look-up where nobody listens.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Listener = Callable[[tuple[str, ...]], None]
T = TypeVar("T")

_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)
_doing: ContextVar[tuple[str, ...]] = ContextVar("doing", default=())


@contextmanager
def doing(words: str) -> Iterator[None]:
    """Say what is done meanwhile; a decorator too.

    Parameters
    ----------
    words : str
        A few, as ``the sweep``; whoever listens is told within what else.
    """
    listener = _listener.get()
    if listener is None:
        yield
        return
    before = _doing.get()
    _doing.set((*before, words))
    listener((*before, words))
    try:
        yield
    finally:
        _doing.set(before)
        listener(before)


def each(words: str, items: Sequence[T]) -> Iterator[T]:
    """Items one by one, each of them said: ``flow 2 of 5``."""
    for i, item in enumerate(items, 1):
        with doing(f"{words} {i} of {len(items)}" if len(items) > 1 else words):
            yield item


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """Hand what begins and ends to a listener meanwhile: all that is being done, the outermost first."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)
