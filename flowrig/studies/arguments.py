"""What a study is given from Python, looked at before anything is read: each slip has one clear error."""

from __future__ import annotations

import inspect
import math
import os
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from numbers import Integral, Real
from typing import Any, ParamSpec, TypeVar

from flowrig import units
from flowrig.records.record import Record

P = ParamSpec("P")
R = TypeVar("R")
FEWEST, MOST = 2, 100_000_000  # draws


def checked(study: Callable[P, R]) -> Callable[P, R]:
    """The study, with its arguments looked at first.

    Raises
    ------
    TypeError
        If an argument is of a type that it cannot be of.
    ValueError
        If a coverage is no probability, a number of draws or a seed is none, or a unit is none of flow.
    """
    signature = inspect.signature(study)

    @wraps(study)
    def looked_at(*args: P.args, **kwargs: P.kwargs) -> R:
        given = signature.bind(*args, **kwargs).arguments
        for name, check in CHECKS.items():
            if name in given:
                check(name, given[name])
        return study(*args, **kwargs)

    return looked_at


def _source(name: str, value: Any) -> None:
    if not isinstance(value, (str, os.PathLike, Mapping, Record)):
        said = "the path of a record, a mapping of its structure or a Record is expected"
        raise TypeError(f"{name} is {_named(value)}; {said}")


def _file(name: str, value: Any) -> None:
    if not isinstance(value, (str, os.PathLike, Mapping)):
        raise TypeError(f"{name} is {_named(value)}; the path of a calibration file or a mapping is expected")


def _records(name: str, value: Any) -> None:
    if isinstance(value, (str, bytes)) or not isinstance(value, Sequence):
        raise TypeError(f"{name} is {_named(value)}; a list of records is expected")
    for number, one in enumerate(value):
        _source(f"{name}[{number}]", one)


def _coverage(name: str, value: Any) -> None:
    if isinstance(value, bool) or not isinstance(value, Real):
        raise TypeError(f"{name} is {_named(value)}; a number between 0 and 1 is expected, such as 0.95")
    if not 0.0 < float(value) < 1.0:
        remedy = "; a coverage factor k = 2 is 0.9545" if float(value) >= 1.0 else ""
        raise ValueError(f"{name} is {value}; a probability between 0 and 1 is expected, such as 0.95{remedy}")


def _whole(name: str, value: Any, low: int, high: float, what: str) -> None:
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise TypeError(f"{name} is {_named(value)}; {what} is expected")
    if not low <= int(value) <= high:
        raise ValueError(f"{name} is {value}; {what} is expected")


def _samples(name: str, value: Any) -> None:
    if value is not None:
        _whole(name, value, FEWEST, MOST, f"None or a whole number of draws, {FEWEST} to {MOST},")


def _seed(name: str, value: Any) -> None:
    _whole(name, value, 0, math.inf, "a whole number, 0 or more,")


def _unit(name: str, value: Any) -> None:
    if value is not None and not isinstance(value, str):
        raise TypeError(f"{name} is {_named(value)}; None or a unit of flow is expected, such as 'm3/h'")
    if value:
        units.factor(value, "flow")


def _named(value: Any) -> str:
    """A value in a line, however long it is."""
    text = " ".join(repr(value).split())
    return f"{text if len(text) <= 60 else text[:60] + '…'} ({type(value).__name__})"


CHECKS: dict[str, Callable[[str, Any], None]] = {
    "source": _source,
    "calibration": _file,
    "records": _records,
    "coverage": _coverage,
    "samples": _samples,
    "seed": _seed,
    "unit": _unit,
}
