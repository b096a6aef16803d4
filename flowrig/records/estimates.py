"""Readings and stated values as estimates: each with the causes its instrument, its hardware or its record brings."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records import flags
from flowrig.records.calibration import CalibrationFile
from flowrig.records.declare import Finding
from flowrig.records.instruments import Instrument
from flowrig.records.items import ROWS, Array, Item, Section
from flowrig.records.record import Record
from flowrig.uncertainty.cause import Cause, Scope
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear
from flowrig.uncertainty.series import mean_of
from flowrig.uncertainty.statement import Component, covers

ZERO_SHARE = 0.005  # of the drop: a quarter of a per cent of the flow


@dataclass
class ReadingEstimate:
    """A reading with its sources of error.

    Attributes
    ----------
    estimate : Estimate
        The mean of the run, its zero taken out.
    run : array or None
        Every reading of the run, zero taken out, runs along the first axis; None for a single value.
    findings : list of Finding
    """

    estimate: Estimate
    run: Array | None
    findings: list[Finding]


def reading_estimate(
    item: Item, instrument: Instrument | None, record: Record, axes: tuple[str, ...] = (), *, correct: bool = True
) -> ReadingEstimate:
    """Mean of a run of readings as an `Estimate` with every cause its instrument brings.

    Parameters
    ----------
    item : Item
        Readings along the first axis of `item.value`, the axes named by `axes` behind it. A batch has the axis
        ``row`` in place of the run.
    instrument : Instrument or None
        None where the ± stands beside the value.
    record : Record
        Whose identity the causes carry that are local to it.
    axes : tuple of str
    correct : bool
        By the instrument's own calibration file, where it has one.

    Raises
    ------
    InputError
        If the reading lies outside the range of that file.

    Notes
    -----
    One maker's limit is one direction shared by all readings. The zero is interpolated between before and after;
    what is left, |z₂ − z₁|/√12, is one cause shared by all readings of the set-up. Resolution is independent from
    point to point of a grid and from row to row of a batch; for repeats nothing is added once they scatter by more
    than half a digit (the scatter holds it), else one shared q/√12. A row of a batch scatters as a single reading of
    the pattern's run did.

    Source
    ------
    JCGM 100:2008 4.3.7 (rectangular limits), F.2.2.1 (resolution); clauses from memory.
    """
    batch = item.run == ROWS
    values = item.value
    local = f"{record.row_id if batch else record.id}:{item.path}"
    parts: dict[Cause, Array] = {}
    if instrument is not None and instrument.zero is not None:
        values = values - zero_of(instrument, len(values), values.ndim, batch)
        parts |= _zero_drift(instrument, record)
    run = None if batch or len(values) == 1 else values
    mean = values if batch else np.mean(values, axis=0)
    axes = ("row", *axes) if batch else axes
    findings: list[Finding] = []
    if instrument is not None:
        parts |= _limits(instrument, mean)
        corrected_alone = instrument.calibration is not None and not instrument.components
        covered = np.asarray(corrected_alone) | covers(instrument.components, mean)
        if not np.all(covered):
            message = f"{item.where}: outside the range {instrument.name} is stated for"
            findings.append(Finding(flags.OUTSIDE_RANGE, message, ~covered if batch else None))
        q = instrument.resolution
        if q and (run is None or "point" in axes or np.std(values, ddof=1) <= q / 2):
            each = "point" if "point" in axes else "row" if batch else None
            label = f"{instrument.label} resolution, {item.path}"
            cause = Cause(f"{local}:resolution", shape="rectangular", each=each, scope="reading", label=label)
            parts[cause] = np.asarray(q / math.sqrt(12))
    for component in item.components:
        label = f"stated ± of {item.field.name}"
        parts[_cause(f"{local}:stated", component, "reading", label)] = np.asarray(component.standard(mean))
    if batch and item.scatter is not None:
        absolute, relative, dof = item.scatter
        cause = Cause(f"{local}:scatter", dof=dof, each="row", scope="reading", label=f"scatter of {item.field.name}")
        parts[cause] = np.maximum(absolute, relative * np.abs(mean))
    shaped = {cause: np.broadcast_to(part, (1, *mean.shape)) for cause, part in parts.items()}
    estimate = Estimate(mean, axes, {c: p for c, p in shaped.items() if np.any(p)})
    if instrument is not None and instrument.calibration is not None and correct:
        return _corrected(ReadingEstimate(estimate, run, findings), item, instrument.calibration, record)
    return ReadingEstimate(estimate, run, findings)


def _corrected(read: ReadingEstimate, item: Item, calibration: CalibrationFile, record: Record) -> ReadingEstimate:
    """A reading brought to what the reference of the instrument's own calibration would have shown.

    Raises
    ------
    InputError
        If it lies outside the calibrated range, it is no row of a batch, and nothing beyond was asked for.
    """
    estimate, batch = read.estimate, item.run == ROWS
    formula = calibration.formula
    outside = ~calibration.inside(estimate.value)
    numbers = calibration.estimates()
    inputs = {"shown": estimate, **numbers}  # its numbers have a reading of their own: the pivot
    if np.any(outside):
        kind, unit = formula.argument.kind, item.unit or calibration.range["highest"].unit
        shown = units.from_si(np.atleast_1d(estimate.value)[np.atleast_1d(outside)], unit, kind)
        ends = dict.fromkeys(f"{x:.4g}" for x in (np.min(shown), np.max(shown)))
        said = f"{' to '.join(ends)} {unit}"
        if not (batch or record.allow_outside):
            expected = f"a reading within {calibration.range_in_words()}, the range of {calibration.name}"
            remedy = "Take an instrument that was calibrated there, or calibrate this one further."
            raise InputError(Fault(item.where, said, expected, remedy))
        nothing = Estimate(np.where(outside, np.nan, 0.0), estimate.axes)
        inputs["beyond"] = _beyond(calibration, estimate) if record.allow_outside else nothing
        message = f"{item.path}: {said}; {calibration.name} holds for {calibration.range_in_words()}"
        read.findings.append(Finding(flags.OUTSIDE_CALIBRATION, message, outside if batch else None))

    def kernel(*, shown: Array, beyond: Array | None = None, **given: Array) -> dict[str, Array]:
        return {"corrected": np.asarray(formula.curve(given, shown) + (0.0 if beyond is None else beyond))}

    corrected = linear(kernel, inputs, estimate.axes, {"corrected": estimate.axes})["corrected"]
    values = {name: number.value for name, number in numbers.items()}
    run = None if read.run is None else np.asarray(formula.curve(values, read.run))
    return ReadingEstimate(corrected, run, read.findings)


def _beyond(calibration: CalibrationFile, reading: Estimate) -> Estimate:
    """What is added to a reading outside the range: as much again as the largest correction in it, for every further
    length of the range. Own judgement, no source."""
    formula, ends = calibration.formula, [calibration.range.value(name) for name in ("lowest", "highest")]
    corrections = [
        point.value(formula.result.name) - point.value(formula.argument.name) for point in calibration.points
    ]
    length = ends[1] - ends[0]
    distance = np.maximum(np.maximum(reading.value - ends[1], ends[0] - reading.value), 0.0) / length
    cause = Cause(
        f"{calibration.identity}|outside",
        shape="rectangular",
        scope="calibration",
        label=f"{calibration.label} outside its calibrated range",
    )
    limit = float(np.max(np.abs(corrections))) * distance
    return Estimate(np.zeros(reading.value.shape), reading.axes, {cause: [limit / math.sqrt(3)]})


def zero_needed(item: Item, instrument: Instrument | None) -> list[Finding]:
    """Whether a drop is so small that the zero of its instrument matters, and it was not read."""
    if instrument is None or instrument.zero is not None or not getattr(item.field, "positive", False):
        return []
    at_zero = sum(float(c.half_width(0.0)) for c in instrument.components if c.holds(0.0))
    rows = np.atleast_1d(at_zero > ZERO_SHARE * np.abs(item.value if item.run == ROWS else np.mean(item.value)))
    if not np.any(rows):
        return []
    return [Finding(flags.ZERO_NEEDED, f"{item.path}, {instrument.name}", rows if item.run == ROWS else None)]


def zero_of(instrument: Instrument, n: int, ndim: int, batch: bool = False) -> Array:
    """Zero at each reading of a run, interpolated over it; the middle for rows of a batch."""
    assert instrument.zero is not None
    before, after = instrument.zero
    along = np.full(1, 0.5) if batch else (np.arange(n) + 0.5) / n
    return np.asarray(before + (after - before) * along.reshape(-1, *[1] * (ndim - 1)))


def _zero_drift(instrument: Instrument, record: Record) -> dict[Cause, Array]:
    assert instrument.zero is not None
    before, after = instrument.zero
    id_ = f"{record.id}:instruments.{instrument.name}:zero"
    cause = Cause(id_, shape="rectangular", scope="setup", label=f"{instrument.label} zero drift")
    return {cause: np.asarray(abs(after - before) / math.sqrt(12))}


def _limits(instrument: Instrument, reading: Array) -> dict[Cause, Array]:
    """Every statement of the instrument, at a reading; nothing outside the range it is stated for."""
    parts = {}
    for component in instrument.components:
        name = f"{component.name} {component.range_label}".strip()
        id_ = f"{instrument.identity}|{component.content}"
        cause = _cause(id_, component, "calibration", f"{instrument.label} {name}")
        parts[cause] = np.where(component.holds(reading), component.standard(reading), 0.0)
    return parts


def hardware_identity(section: Section, record: Record) -> str:
    """What the dimensions of a piece of hardware are known by: its serial number, or the record alone."""
    serial = section.value("serial")
    return f"hardware:{section.path[0]}:{serial}" if serial else f"{record.id}:{section.name}"


def given_estimate(item: Item, identity: str, label: str = "", scope: Scope = "setup") -> Estimate:
    """A stated value with the ± written beside it; its identity is the hardware it belongs to, and what is stated."""
    parts = {}
    for component in item.components:
        id_ = f"{identity}:{item.field.name} {item.value:.9g}:{component.content}"
        cause = _cause(id_, component, scope, label or item.field.name)
        parts[cause] = np.array([float(component.standard(item.value))])
    return Estimate(item.value, (), parts)


def _cause(id_: str, component: Component, scope: Scope, label: str) -> Cause:
    return Cause(id_, dof=component.dof, shape=component.shape, scope=scope, label=label)


def mean_estimate(read: ReadingEstimate, item: Item, record: Record) -> ReadingEstimate:
    """A run averaged on its own, with its scatter: for readings that do not belong to the flow's own run."""
    if read.run is None or read.run.ndim > 1:
        return read
    series = mean_of(read.run)
    if series.u == 0.0:
        return replace(read, run=None)
    label = f"scatter of {item.field.name}"
    cause = Cause(f"{record.id}:{item.path}:scatter", dof=series.dof, scope="reading", label=label)
    parts = {**read.estimate.parts, cause: np.array([series.u])}
    return ReadingEstimate(Estimate(read.estimate.value, (), parts), None, read.findings)
