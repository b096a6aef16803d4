"""A calibration file, strictly read: coefficients as estimates that keep their causes, the range, who and when."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records import flags
from flowrig.records.blanks import written
from flowrig.records.declare import Finding, FlagMeaning, Table
from flowrig.records.files import near_name, quoted
from flowrig.records.formulas import (
    BOX,
    CALIBRATES,
    CORRELATION,
    FORMATS,
    HEADING,
    Formula,
    correlation_root,
    formulas_of,
    loads_of,
)
from flowrig.records.items import Array, Section, as_written
from flowrig.records.walk import Walker
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate

INVENTED = FlagMeaning(
    "invented calibration",
    "alarm",
    "The calibration is demonstration data, invented like its box; the readings are said to be real. The flow says "
    "nothing about any box: use the calibration of your own.",
)
FLAGS = (INVENTED,)
OFF_CURVE = 0.005  # of the result: what rounding of coefficients and points may add up to, and no slipped digit
CONTENT = "content"
OFF_RANGE = 0.005  # of the highest end of the range: rounding
ROUNDED = 1e-5  # of an end of the range: it is written to six digits


@dataclass
class CalibrationFile:
    """A calibration as read and checked.

    Attributes
    ----------
    name, digest : str
        The file name to show; SHA-256 of the bytes, in hexadecimal.
    identity : str
        What its own errors are known by: what was calibrated, the day, and the content.
    formula : Formula
    heading, coefficients, range : Section
    causes : dict of Cause to Section
        Each with what it moves.
    points : list of Section
    """

    name: str
    digest: str
    identity: str
    formula: Formula
    heading: Section
    coefficients: Section
    range: Section
    causes: dict[Cause, Section] = field(default_factory=dict)
    points: list[Section] = field(default_factory=list)

    def __repr__(self) -> str:
        return self.name

    @property
    def label(self) -> str:
        return str(self.heading.value("serial"))

    @property
    def calibrates(self) -> str:
        return str(self.heading.value("calibrates"))

    def estimates(self) -> dict[str, Estimate]:
        """Every number of the formula with its parts by cause: two results made with them share those causes."""
        moved = {cause: _directions(section) for cause, section in self.causes.items()}
        return {
            name: Estimate(item.value, (), {cause: loads[name] for cause, loads in moved.items() if name in loads})
            for name, item in self.coefficients.items.items()
        }

    def inside(self, argument: Array) -> NDArray[np.bool_]:
        """Whether it holds at an argument [SI]; the ends themselves are inside, though they were written rounded."""
        at = np.asarray(argument, dtype=float)
        low, high = (self.range.value(name) for name in ("lowest", "highest"))
        return np.asarray((at >= low - ROUNDED * abs(low)) & (at <= high + ROUNDED * abs(high)))

    def range_in_words(self) -> str:
        """Both ends, in the unit of the upper one."""
        highest = self.range["highest"]
        kind = self.formula.argument.kind
        low, high = (float(units.from_si(self.range.value(n), highest.unit, kind)) for n in ("lowest", "highest"))
        return f"{low:.4g} to {high:.4g} {highest.unit}"

    def findings(self, tested: dt.date | None, invented: bool = True) -> list[Finding]:
        """What a result made with it on some day must be told; that it is invented only where the result is not."""
        found = []
        due = self.heading.value("due")
        if tested and tested > due:
            found.append(Finding(flags.OVERDUE, f"{self.name}: fell due on {due}, test on {tested}"))
        if self.heading.value("invented") and not invented:
            found.append(Finding(INVENTED, f"{self.name}, {self.label}"))
        return found

    def clash(self, known: Mapping[str, Cause]) -> None:
        """Raises `InputError` where a cause is called as another one is, and is not the same."""
        faults = []
        for cause, section in self.causes.items():
            other = known.get(cause.id)
            if other is not None and other != cause:
                expected = f"the same error as elsewhere: {_in_words(other)}"
                remedy = "One identity is one error: correct the cause, or its id if another was meant."
                faults.append(Fault(section["id"].where, f"{quoted(cause.id)}, {_in_words(cause)}", expected, remedy))
        if faults:
            raise InputError(faults)


def _in_words(cause: Cause) -> str:
    dof = "" if cause.dof == math.inf else f" with {cause.dof:.3g} degrees of freedom"
    return f"{cause.shape}{dof}, scope {cause.scope}, {cause.n} direction{'s' if cause.n > 1 else ''}"


def read_calibration(
    data: Mapping[str, Any],
    where: Callable[..., str],
    name: str,
    digest: str,
    calibrates: tuple[str, ...] = CALIBRATES,
) -> CalibrationFile:
    """Read and check a calibration.

    Parameters
    ----------
    data : mapping
        As TOML has it.
    where : callable
        Path of keys to the words that name the place in the file.
    name, digest : str
    calibrates : tuple of str
        What it may be the calibration of.

    Raises
    ------
    InputError
        With every fault; of a format or formula that is not known, with that alone.
    """
    data = written(data)
    walker = Walker(where)
    formula = _formula(data, walker, calibrates)
    if formula is None:
        raise InputError(walker.faults)
    heading = walker.section(HEADING, _heading(data, walker), ())
    walker.complete(heading)
    coefficients = _one(data, walker, "coefficients", formula.coefficients)
    range_ = _one(data, walker, "range", formula.range)
    causes = _several(data, walker, "cause", formula.cause, heading)
    points = _several(data, walker, "point", formula.point, heading)
    if walker.faults:
        raise InputError(walker.faults)
    identity = f"calibration:{heading.value('serial')}|{heading.value('date')}|{content_digest(data)[:8]}"
    found = CalibrationFile(name, digest, identity, formula, heading, coefficients, range_, points=points)
    for section in causes:
        cause = _cause(section, found)
        if any(cause.id == other.id for other in found.causes):
            said = "a name and an id of its own for each cause"
            walker.faults.append(Fault(section.where, quoted(cause.id), said, "One error is one [[cause]]."))
        found.causes[cause] = section
    _check_content(data, found, walker)
    _check_points(found, walker)
    if walker.faults:
        raise InputError(walker.faults)
    return found


def _check_content(data: Mapping[str, Any], found: CalibrationFile, walker: Walker) -> None:
    """The file states what it stated when it was written."""
    stated = found.heading.value(CONTENT)
    if stated is None:
        if found.heading.value("format") > 1:
            remedy = "Take the whole file from where it was written."
            walker.faults.append(Fault(found.heading.where, f"no {CONTENT}", "the digest of what it states", remedy))
    elif stated != digest_without_itself(data):
        remedy = "A calibration is never edited: take the file as it was written, or calibrate anew."
        read = "a file that was changed by hand: its content has another digest"
        walker.faults.append(Fault(found.heading[CONTENT].where, read, "a file as it was written", remedy))


def digest_without_itself(data: Mapping[str, Any]) -> str:
    """What a file states its own content by."""
    return content_digest({key: value for key, value in data.items() if key != CONTENT})


def content_digest(data: Mapping[str, Any]) -> str:
    """Of what is stated, whatever the order of lines, comments and line ends."""
    return hashlib.sha256(json.dumps(written(data), sort_keys=True, default=str).encode()).hexdigest()


def _formula(data: Mapping[str, Any], walker: Walker, wanted: tuple[str, ...]) -> Formula | None:
    """Which formula the file follows; a file of another sort or version is not looked into any further."""
    version, formula, calibrates = data.get("format"), data.get("formula"), data.get("calibrates", BOX)
    known = formulas_of(calibrates) if calibrates in CALIBRATES else {}
    said = " or ".join(map(str, FORMATS))
    if "format" not in data:
        remedy = "Check that this is the right file."
        walker.miss((), "no format", "a calibration, which starts with its format", remedy)
    elif isinstance(version, bool) or version not in FORMATS:
        remedy = "A newer flowrig may have written it: use that one. Do not change the number by hand."
        walker.fault(("format",), version, f"format {said}", remedy)
    elif calibrates not in wanted:
        remedy = "Name a calibration of this kind."
        walker.fault(("calibrates",), calibrates, f"the calibration of: {', '.join(wanted)}", remedy)
    elif "formula" not in data:
        walker.miss((), "no formula", f"formula = one of: {', '.join(known)}", "Check that the file is whole.")
    elif formula not in known:
        near = near_name(formula, list(known)) if isinstance(formula, str) else None
        remedy = f'Did you mean "{near}"?' if near else "Check that the file is whole."
        walker.fault(("formula",), formula, f"one of: {', '.join(known)}", remedy)
    else:
        return known[formula]
    return None


TABLES = ("coefficients", "range", "cause", "point")


def _heading(data: Mapping[str, Any], walker: Walker) -> dict[str, Any]:
    """The fields above the first table; a table of an unknown name is told here."""
    raw = {key: value for key, value in data.items() if key not in TABLES}
    for key, value in list(raw.items()):
        if isinstance(value, (dict, list)) and key not in {f.name for f in HEADING.fields}:
            near = near_name(key, [name for name in TABLES if name not in data])
            if near:
                walker.spoiled.add(near)
            remedy = f"Did you mean {near}?" if near else "Correct the name, or remove the table."
            walker.miss((key,), f"a table {key}", f"one of the tables {', '.join(TABLES)}", remedy)
            del raw[key]
    return raw


def _one(data: Mapping[str, Any], walker: Walker, key: str, table: Table) -> Section:
    if key not in data:
        if not walker.is_spoiled(key):
            names = ", ".join(f.name for f in table.fields)
            walker.miss((), f"no [{key}]", f"a table [{key}] with {names}", "Check that the file is whole.")
        return Section(table, (key,), walker.where(key))
    section = walker.section(table, data[key], (key,))
    if isinstance(data[key], Mapping):
        walker.complete(section)
    return section


def _several(data: Mapping[str, Any], walker: Walker, key: str, table: Table, heading: Section) -> list[Section]:
    """Tables of one sort, as many as the heading counts."""
    raw = data.get(key, [])
    if not isinstance(raw, list):
        walker.miss((key,), f"[{key}], a single table", f"[[{key}]], in double brackets", f"Write [[{key}]].")
        return []
    sections = []
    for i, one in enumerate(raw):
        section = walker.section(table, one, (key, i))
        if isinstance(one, Mapping):
            walker.complete(section)
        sections.append(section)
    count = heading.value(f"{key}s")
    if count is not None and count != len(raw) and not walker.is_spoiled(key):
        remedy = "The file was cut short or edited: take the whole file from where it was written."
        item = heading[f"{key}s"]
        walker.faults.append(Fault(item.where, f"{count}, and {len(raw)} [[{key}]] tables", "as many of them", remedy))
    return sections


def _cause(section: Section, of: CalibrationFile) -> Cause:
    name = section.value("name")
    directions = max(len(movement) for movement in _directions(section).values())
    return Cause(
        section.value("id") or f"{of.identity}|{name}",
        n=directions,
        dof=section.value("dof", math.inf),
        shape=section.value("shape"),
        scope=section.value("scope"),
        label=f"calibration of {of.label}: {name}",
    )


def _directions(section: Section) -> dict[str, Array]:
    """How far each direction of a cause moves each number; correlated deviations taken apart into directions."""
    loads = {name: np.asarray(movement, dtype=float) for name, movement in loads_of(section).items()}
    stated = section.value(CORRELATION)
    if stated is None:
        return loads
    root = correlation_root(stated, len(loads))
    return {name: float(loads[name][0]) * root[i] for i, name in enumerate(loads)}


def _check_points(found: CalibrationFile, walker: Walker) -> None:
    """The curve passes the points as its residuals say, and the range is what was measured."""
    formula = found.formula
    numbers = {name: float(item.value) for name, item in found.coefficients.items.items()}
    arguments = np.array([section.value(formula.argument.name) for section in found.points])
    results = np.array([section.value(formula.result.name) for section in found.points])
    residuals = formula.residuals(numbers, arguments, results)
    most = OFF_CURVE * (1.0 if formula.relative else float(np.max(np.abs(results))))
    for section, residual in zip(found.points, residuals, strict=True):
        item = section["residual"]
        if abs(residual - item.value) > most:
            kind = getattr(item.field, "kind", "")
            off = f"{float(units.from_si(residual, item.unit or '1', kind)):.4g} {item.unit}"
            expected = f"{off}, by the {formula.result.name} of the point and the curve"
            remedy = "A coefficient or this point has a slipped digit or a wrong unit: use the file as it was written."
            walker.faults.append(Fault(item.where, as_written(item), expected, remedy))
    ends = {"lowest": float(np.min(arguments)), "highest": float(np.max(arguments))}
    for name, end in ends.items():
        item = found.range[name]
        beyond = end - item.value if name == "lowest" else item.value - end
        if beyond > OFF_RANGE * abs(end):
            kind = formula.argument.kind
            expected = f"a range within the points, {name} {float(units.from_si(end, item.unit, kind)):.4g} {item.unit}"
            remedy = "What was not measured is not calibrated."
            walker.faults.append(Fault(item.where, as_written(item), expected, remedy))
