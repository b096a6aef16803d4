"""A record held in Python brought to what a file can hold: plain words, numbers, lists and tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, TypeGuard

import numpy as np

from flowrig.errors import Fault, InputError
from flowrig.records.items import path_name
from flowrig.records.words import shown

DEEPEST = 40  # tables within tables; a record that names records has five or six


def plain(data: Mapping[Any, Any]) -> dict[str, Any]:
    """The same with arrays and pandas columns as lists, numpy's numbers as Python's, and None where a value is missing.

    Pint quantities, frames, paths and whatever else the reader knows are left as they are.

    Raises
    ------
    InputError
        If a key is no word, or a table or list holds itself.
    """
    faults: list[Fault] = []
    made = _plain(data, (), (), faults)
    if faults:
        raise InputError(faults)
    assert isinstance(made, dict)
    return made


def _plain(value: Any, path: tuple[str | int, ...], within: tuple[int, ...], faults: list[Fault]) -> Any:
    if isinstance(value, np.ndarray) or (hasattr(value, "to_list") and hasattr(value, "dtype")):
        value = value.tolist()
    elif isinstance(value, np.generic):
        value = value.item()
    if type(value).__name__ in ("NAType", "NaTType"):
        return None
    if not isinstance(value, (Mapping, list, tuple)):
        return value
    where = f"record, {path_name(path)}" if path else "record"
    if id(value) in within or len(path) > DEEPEST:
        read = "a table or list that holds itself" if id(value) in within else f"more than {DEEPEST} tables in tables"
        faults.append(Fault(where, read, "tables and lists that come to an end", "Take it out."))
        return None
    within = (*within, id(value))
    if not isinstance(value, Mapping):
        return [_plain(one, (*path, i), within, faults) for i, one in enumerate(value)]
    made: dict[str, Any] = {}
    for key, one in value.items():
        if isinstance(key, str):
            made[str(key)] = _plain(one, (*path, str(key)), within, faults)
        else:
            read = f"the key {' '.join(repr(key).split())[:80]}"
            faults.append(Fault(where, read, "the name of a field or a table, in quotes", f"Write {shown(str(key))}."))
    return made


def is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # of a whole number with hundreds of digits
        return False


def is_number(value: object) -> TypeGuard[int | float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
