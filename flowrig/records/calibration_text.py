"""A calibration as the text of its file. It is read back before it is handed on: what is written can be read."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from flowrig import units
from flowrig.records.calibration import CONTENT, CalibrationFile, digest_without_itself, read_calibration
from flowrig.records.declare import Series
from flowrig.records.formulas import FORMAT, Formula
from flowrig.records.items import Array, path_name
from flowrig.uncertainty.cause import Cause

Loads = Mapping[str, Array]


def calibration_text(
    heading: Mapping[str, Any],
    formula: Formula,
    numbers: Mapping[str, float],
    causes: Mapping[Cause, Loads],
    known: Iterable[Cause],
    points: Sequence[tuple[float, float, float]],
    units_of: Mapping[str, str],
) -> str:
    """Text of a calibration file.

    Parameters
    ----------
    heading : mapping
        Fields of the heading beside format, formula, counts and digest; None leaves one out.
    formula : Formula
    numbers : mapping of str to float
        SI.
    causes : mapping of Cause to mapping of str to array, shape (n,)
        With what they move. SI.
    known : iterable of Cause
        Those that are the same error elsewhere too, and keep their identity.
    points : sequence of (argument, result, residual)
        SI.
    units_of : mapping of str to str
        Unit to write each kind of quantity in, where it is not the usual one.

    Raises
    ------
    InputError
        If the text would not be read again: a heading field of the wrong sort.
    """
    known = set(known)
    argument, result = formula.argument, formula.result
    lines = [f"format = {FORMAT}", *_lines({"formula": formula.name, **heading})]
    lines += [f"causes = {len(causes)}", f"points = {len(points)}", "", "[coefficients]"]
    write = _Writer(units_of)
    fields = {f.name: f for f in formula.numbers}
    lines += [f"{name} = {write.value(numbers[name], f.kind, 8)}" for name, f in fields.items()]
    arguments = [point[0] for point in points]
    lines += ["", "[range]"]
    for name, end in (("lowest", min(arguments)), ("highest", max(arguments))):
        lines.append(f"{name} = {write.value(end, argument.kind, 6)}")
    taken: set[str] = set()
    for cause, loads in causes.items():
        lines += ["", "[[cause]]", *_cause(cause, loads, cause in known, formula, write, taken)]
    residual = formula.point.field("residual")
    for at, shown, off in points:
        lines += ["", "[[point]]", f"{argument.name} = {write.value(at, argument.kind, 6)}"]
        lines.append(f"{result.name} = {write.value(shown, result.kind, 6)}")
        lines.append(
            f"residual = {write.value(off, getattr(residual, 'kind', ''), 4, '%' if formula.relative else '')}"
        )
    body = "\n".join(lines) + "\n"
    digest = digest_without_itself(tomllib.loads(body))
    text = body.replace(f"causes = {len(causes)}\n", f'{CONTENT} = "{digest}"\ncauses = {len(causes)}\n', 1)
    read_back(text)
    return text


def read_back(text: str, name: str = "calibration") -> CalibrationFile:
    """The calibration that a text states."""
    data = tomllib.loads(text)
    return read_calibration(data, lambda *path: f"{name}, {path_name(path)}" if path else name, name, "")


class _Writer:
    """Numbers with the unit that their kind is written in."""

    def __init__(self, units_of: Mapping[str, str]) -> None:
        self.units_of = units_of

    def value(self, x: float, kind: str, digits: int, unit: str = "") -> str:
        spelling = unit or self.units_of.get(kind) or ("" if kind == "ratio" else units.default_display(kind))
        if not spelling:
            return _digits(float(x), digits)
        return f'"{_digits(float(units.from_si(x, spelling, kind)), digits)} {spelling}"'

    def load(self, x: float, of: str, kind: str) -> str:
        """A movement, in the unit of what it moves."""
        spelling = self.units_of.get(of) or ("" if of == "ratio" else units.default_display(of))
        return self.value(x, kind, 5, spelling)


def _cause(cause: Cause, loads: Loads, known: bool, formula: Formula, write: _Writer, taken: set[str]) -> list[str]:
    name, number = cause.name.removeprefix("calibration of "), 1
    while (unique := name if number == 1 else f"{name} ({number})") in taken:
        number += 1
    taken.add(unique)
    lines = _lines({"name": unique, "id": cause.id if known else None})
    if cause.scope != "calibration":
        lines.append(f'scope = "{cause.scope}"')
    if cause.shape != "normal":
        lines.append(f'shape = "{cause.shape}"')
    if cause.dof != math.inf:
        lines.append(f"dof = {float(cause.dof)!r}")
    kinds = {f.name: f.kind for f in formula.numbers}
    for declared in formula.cause.fields:
        if isinstance(declared, Series) and declared.name in loads:
            moved = [write.load(x, kinds[declared.name], declared.kind) for x in np.atleast_1d(loads[declared.name])]
            lines.append(f"{declared.name} = {moved[0] if len(moved) == 1 else '[' + ', '.join(moved) + ']'}")
    return lines


def _digits(x: float, digits: int) -> str:
    """So many digits, without an exponent where it is not needed."""
    if x == 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(x)))
    if not -3 < places < 12:
        return f"{x:.{digits - 1}e}"
    text = f"{x:.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _lines(fields: Mapping[str, Any]) -> list[str]:
    """Fields as TOML, those that are None left out."""
    return [f"{name} = {_toml(value)}" for name, value in fields.items() if value is not None]


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, dt.date)):
        return str(value)
    escaped = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in escaped) + '"'
