"""Paired readings to a calibration: a curve with its causes, and what the points say against it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.declare import SEVERITIES, Finding
from flowrig.records.formulas import POWER_LAW, Formula, formulas_of
from flowrig.records.items import Array
from flowrig.records.points import DIRECTION, MOUNTING, RUN
from flowrig.records.record import Record
from flowrig.studies.arguments import checked
from flowrig.studies.decay import decayed
from flowrig.studies.paired import Paired, mapping_of, paired
from flowrig.studies.reduce import load
from flowrig.studies.reference_flow import AXIS
from flowrig.studies.scrutiny import Scrutiny
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.fit import Curve, Fit, fit, polynomial
from flowrig.uncertainty.propagate import linear

BACKWARDS = 0.01  # of the argument: how far a point may fall back while the others rise


@dataclass
class Calibrated:
    """A calibration as found.

    Attributes
    ----------
    pairs : Paired
    formula : Formula
    numbers : dict of str to Estimate
        Every number of the formula with its causes; pivot and air exact. SI.
    found : Fit
        In the coordinates of the fit: logarithms for a power law, argument over pivot for a polynomial.
    residuals : array, shape (n,)
        As the formula states them.
    scrutiny : Scrutiny
    coverage : float
        Of its intervals where they are told or drawn.
    """

    pairs: Paired
    formula: Formula
    numbers: dict[str, Estimate]
    found: Fit
    residuals: Array
    scrutiny: Scrutiny
    coverage: float = 0.95

    @property
    def record(self) -> Record:
        return self.pairs.record

    @property
    def findings(self) -> list[Finding]:
        return sorted([*self.scrutiny.findings, *self.pairs.told], key=lambda f: SEVERITIES.index(f.severity))

    @property
    def number(self) -> Estimate:
        """The one number to quote: the flow at the pivot, or what the reference shows there."""
        return self.at(self.numbers[self.formula.pivot].value).single(0)

    def at(self, argument: Array) -> Estimate:
        """The curve with its error, at some arguments in the air of the calibration."""
        return curve_at(self.formula, self.numbers, argument)


def curve_at(formula: Formula, numbers: Mapping[str, Estimate], argument: Array, axis: str = AXIS) -> Estimate:
    """A calibration's curve at exact arguments, along an axis; of another name than that of the points fitted where
    several places are drawn together, or what is taken of one would be taken of the other."""
    inputs = {"argument": Estimate(np.atleast_1d(argument), (axis,)), **numbers}

    def kernel(*, argument: Array, **given: Array) -> dict[str, Any]:
        return {"result": formula.curve(given, argument)}

    return linear(kernel, inputs, (axis,), {"result": (axis,)})["result"]


@checked
def calibrate(source: str | Path | Mapping[str, Any] | Record, coverage: float = 0.95) -> Calibrated:
    """Fit a curve to paired readings.

    Parameters
    ----------
    source : path, mapping or Record
        With a table [calibration].
    coverage : float
        Of the intervals told or drawn of it; the calibration itself is the same for any.

    Raises
    ------
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the record, its points and their order.
    CalculationError
        If the points do not determine the curve.
    """
    record = source if isinstance(source, Record) else load(source)
    pairs = paired(record) if record.points is None or record.points.time is None else decayed(record)
    section = record.calibration
    assert section is not None
    _check(pairs)
    formula = formulas_of(pairs.calibrates)[section.value("formula")]
    pivot = _pivot(pairs)
    fixed = section.value("exponent")
    curve, x, y = _coordinates(pairs, formula, pivot, fixed)
    id_ = f"{record.id}:calibration"
    label = "scatter about the curve"
    first = fit(curve, x, y, f"{id_}:scatter", label)
    scrutiny = Scrutiny(pairs, formula)
    seen, spent = scrutiny.with_mountings(first, y, id_)
    seen = scrutiny.with_hysteresis(first, seen, id_)
    found = first if seen is y else fit(curve, x, seen, f"{id_}:scatter", label, spent)
    numbers = _numbers(pairs, formula, pivot, fixed, found)
    residuals = formula.residuals(mapping_of(numbers), pairs.shown.value, pairs.truth.value)
    scrutiny.after(found, x)
    return Calibrated(pairs, formula, numbers, found, residuals, scrutiny, coverage)


def _check(pairs: Paired) -> None:
    """The points can be a calibration: enough of them, apart, of one sign and in order; and it is said what to make."""
    record, section = pairs.record, pairs.record.calibration
    assert section is not None
    faults = []
    known = formulas_of(pairs.calibrates)
    for name, why in (("due", "the day on which the next calibration falls due"), ("serial", "what it is known by")):
        if name in {f.name for f in section.table.fields} and name not in section:
            faults.append(Fault(section.where, f"no {name}", f"{name}, {why}", f"Add {name} to [calibration]."))
    due, made = section.value("due"), record.heading.value("date")
    if due is not None and due < made:
        said = f"a day after the calibration, {made}"
        faults.append(Fault(section["due"].where, str(due), said, "Check both dates."))
    if "by" not in record.heading:
        faults.append(Fault(record.heading.where, "no by", "by, who calibrated it", 'Add by = "…" to the heading.'))
    if pairs.instrument is not None and not pairs.of_flow and "serial" not in pairs.instrument.section:
        expected = "the serial number of the instrument that is calibrated"
        faults.append(Fault(pairs.instrument.section.where, "no serial", expected, "Add serial to the instrument."))
    if section.value("formula") not in known:
        item = section["formula"]
        read = "no formula" if item.assumed else f"{item.value!r}"
        expected = f"a formula for {pairs.calibrates}: {', '.join(known)}"
        faults.append(Fault(item.where or section.where, read, expected, f'Write formula = "{next(iter(known))}".'))
    if "exponent" in section and section.value("formula") != POWER_LAW.name:
        item = section["exponent"]
        faults.append(
            Fault(item.where, "an exponent", f"none beside formula = {section.value('formula')!r}", "Remove it.")
        )
    shown = pairs.shown.value
    table = next(section[name].where for name in ("points", "decay") if name in section)
    if len(shown) < 2:
        remedy = "One point has no slope, and no scatter to judge it by: read more of them, over the range."
        faults.append(Fault(table, f"{len(shown)} point", "at least three points", remedy))
    elif np.ptp(shown) <= 1e-9 * np.max(np.abs(shown)):
        remedy = "Spread them over the range in which it is to be used."
        faults.append(Fault(table, "the same indication in every point", "points apart", remedy))
    if pairs.of_flow:
        for what, x in (("an indication", pairs.shown), ("a flow of the reference", pairs.truth)):
            for k in np.flatnonzero(x.value <= 0.0):
                remedy = "Check the hoses and the sign; leave out points at rest."
                faults.append(
                    Fault(pairs.where(int(k)), f"{what} that is not above zero", "a drop and a flow above zero", remedy)
                )
    faults += _out_of_order(pairs)
    if faults:
        raise InputError(faults)


def _out_of_order(pairs: Paired) -> list[Fault]:
    """Within one run and mounting, points said to go up rise, and those said to go down fall."""
    said = pairs.labels.get(DIRECTION)
    if said is None:
        return []
    n = len(said)
    groups = list(zip(*(pairs.labels.get(name, [""] * n) for name in (RUN, MOUNTING)), said, strict=True))
    last: dict[tuple[str, ...], int] = {}
    faults = []
    for k, group in enumerate(groups):
        before = last.get(group)
        if before is not None and group[-1]:
            step = pairs.shown.value[k] - pairs.shown.value[before]
            back = -step if group[-1] == "up" else step
            if back > BACKWARDS * abs(float(pairs.shown.value[before])):
                side = "below" if group[-1] == "up" else "above"
                read = f"an indication {side} the one before it, direction {group[-1]}"
                expected = "points of one run in the order in which they were approached"
                remedy = "Put the rows in order, correct direction, or give the runs different names."
                faults.append(Fault(pairs.where(k), read, expected, remedy))
        last[group] = k
    return faults


def _pivot(pairs: Paired) -> float:
    """A round number in the unit of the points: in the middle for a flow, the highest for an instrument."""
    shown = pairs.shown.value
    size = math.sqrt(float(np.min(shown)) * float(np.max(shown))) if pairs.of_flow else float(np.max(np.abs(shown)))
    unit, kind = pairs.unit
    return float(units.to_si(float(f"{float(units.from_si(size, unit, kind)):.2g}"), unit, kind))


def _coordinates(
    pairs: Paired, formula: Formula, pivot: float, fixed: float | None
) -> tuple[Curve, Estimate, Estimate]:
    """The curve as a polynomial, and the points in its coordinates."""
    inputs = {"shown": pairs.shown, "truth": pairs.truth}
    kept = {"x": (AXIS,), "y": (AXIS,)}
    if formula.powers:
        found = linear(_over_pivot, inputs, (AXIS,), kept, pivot=pivot)
        return polynomial(formula.powers), found["x"], found["y"]
    found = linear(_logarithms, inputs, (AXIS,), kept, pivot=pivot)
    curve = polynomial((0, 1)) if fixed is None else _with_slope(fixed)
    return curve, found["x"], found["y"]


def _over_pivot(*, shown: Array, truth: Array, pivot: float) -> dict[str, Array]:
    return {"x": shown / pivot + 0.0 * truth, "y": truth + 0.0 * shown}


def _logarithms(*, shown: Array, truth: Array, pivot: float) -> dict[str, Array]:
    return {"x": np.log(shown / pivot) + 0.0 * truth, "y": np.log(truth) + 0.0 * shown}


def _with_slope(slope: float) -> Curve:
    """A straight line of which only the height is found."""
    return Curve(
        1,
        lambda x, b: np.asarray(b[..., :1] + slope * x),
        lambda x, b: np.full(np.broadcast_shapes(x.shape, b[..., :1].shape), slope),
        lambda x, y: np.asarray(np.mean(y - slope * x, axis=-1, keepdims=True)),
    )


def _numbers(pairs: Paired, formula: Formula, pivot: float, fixed: float | None, found: Fit) -> dict[str, Estimate]:
    """Coefficients of the fit as numbers of the formula."""
    numbers = {formula.pivot: Estimate(pivot)}
    if formula.powers:
        numbers |= dict(zip(formula.found, found.coefficients, strict=True))
    else:
        height = found.coefficients[0]
        numbers["flow"] = linear(lambda b: {"flow": np.exp(b)}, {"b": height}, (), {"flow": ()})["flow"]
        numbers["exponent"] = Estimate(fixed) if fixed is not None else found.coefficients[1]
    if pairs.of_flow:
        numbers |= {"density": Estimate(pairs.density), "viscosity": Estimate(pairs.viscosity)}
    return numbers
