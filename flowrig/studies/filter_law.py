"""The record of a filter to its resistance and efficiency: numbers with their causes, in the air they were found in."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import CalculationError, Fault, InputError
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate, hardware_identity
from flowrig.records.fan_facts import STATED
from flowrig.records.formulas import BOX
from flowrig.records.instruments import all_findings
from flowrig.records.items import Array, Section, as_written
from flowrig.records.record import Record
from flowrig.studies.fan_curve import flows_of
from flowrig.studies.reference_flow import AXIS, joined, mean_air
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.fit import Curve, fit, fitted, polynomial
from flowrig.uncertainty.interval import tangent
from flowrig.uncertainty.propagate import linear

LINEAR_AND_QUADRATIC, POWER = "linear and quadratic", "power"
FORCHHEIMER = polynomial((1, 2))
FAR = 1.25  # beyond the highest velocity that was tested: own judgement, no source

ONE_POINT = FlagMeaning(
    "filter known at one velocity",
    "warning",
    "The drop of a filter is known at one face velocity alone; how it changes with velocity is assumed, Δp = c v^n "
    "with the exponent stated. Far from that velocity the error bar of the drop is wide. Two points tell it.",
    "exponent 1.18 on average for media: Li et al., Sep. Purif. Technol. 284 (2022) 120209; limits own judgement",
)
STATED_DROP = FlagMeaning(
    "stated resistance",
    "note",
    "The resistance is a maker's or a printed one: its limit is that stated, or else 15 % (common practice, no "
    "source), and the spread from piece to piece 5 % (the same). Class and depth do not fix a drop; a measured one "
    "is better.",
)
STEEP = FlagMeaning(
    "doubtful drops",
    "warning",
    "The stated drops rise with a power of the velocity that no filter has (below 1, or above 2): they are of "
    "different filters, or one has a slipped digit.",
)
LIMIT_ASSUMED = FlagMeaning(
    "efficiency with an assumed limit",
    "note",
    "How far the efficiency of a filter may be off does not stand in its record: five points of per cent were taken, "
    "up or down, but never above 100 %. Of a filter that holds back nearly all, that is far more than what passes it. "
    "Write efficiency_limit.",
    "own judgement, no source",
)
FLAGS = (ONE_POINT, STATED_DROP, STEEP, LIMIT_ASSUMED)


@dataclass
class FilterLaw:
    """A filter.

    Attributes
    ----------
    record : Record
    area : Estimate
        Face area that is left open. [m2]
    numbers : dict of str to Estimate
        ``linear``, ``quadratic``, ``factor`` and ``exponent``; those that the law does not use are 0, the exponent 1.
    density, viscosity : float
        Air that they are for.
    tested : tuple of float or None
        Lowest and highest face velocity that was tested; None where coefficients were given.
    law : str
    """

    record: Record
    area: Estimate
    numbers: dict[str, Estimate]
    density: float
    viscosity: float
    tested: tuple[float, float] | None
    law: str
    findings: list[Finding] = field(default_factory=list)

    @property
    def section(self) -> Section:
        assert self.record.curve is not None
        return self.record.curve

    @property
    def title(self) -> str:
        return str(self.record.heading.value("title"))

    def drop(self, velocity: Array) -> Estimate:
        """Drop at exact face velocities, in the air of the record; axis ``at``."""
        inputs = {**self.numbers, "velocity": Estimate(velocity, ("at",))}
        return linear(_drop, inputs, ("at",), {"drop": ("at",)})["drop"]


def drop_by_law(velocity: Array | float, linear: Array, quadratic: Array, factor: Array, exponent: Array) -> Array:
    """Drop at a face velocity by whichever law the numbers are of; coefficients that draws moved below zero stay."""
    return np.asarray(linear * velocity + quadratic * np.square(velocity) + factor * np.power(velocity, exponent))


def _drop(**given: Array) -> dict[str, Array]:
    return {"drop": drop_by_law(**given)}


def filter_law(record: Record) -> FilterLaw:
    """Resistance and face of a filter's record.

    Raises
    ------
    InputError
        If the drops are no resistance.
    """
    section = record.curve
    assert section is not None
    identity = hardware_identity(section, record)
    area = _area(section, identity)
    findings = [*record.findings, *all_findings(record.instruments)]
    limit = section["efficiency_limit"]
    if "efficiency" in section and limit.assumed:
        said = f"{record.heading.value('title')}: {100 * limit.value:g} points of per cent"
        findings.append(Finding(LIMIT_ASSUMED, said))
    if "linear" in section:
        numbers = {name: given_estimate(section[name], identity, f"{name} of the filter") for name in COEFFICIENTS}
        if not section["drop_limit"].assumed or not any(x.parts for x in numbers.values()):
            numbers = {name: _within_the_limit(record, x) for name, x in numbers.items()}
            findings.append(_stated_drop(record))
        numbers |= {"factor": Estimate(0.0), "exponent": Estimate(1.0)}
        air = float(section.value("density")), float(section.value("viscosity"))
        return FilterLaw(record, area, numbers, *air, None, LINEAR_AND_QUADRATIC, findings)
    stated = section.value("figures") == STATED
    velocity, drop, air = _stated(record, area) if stated else _measured(record, area, findings)
    law, numbers = _fitted(record, velocity, drop, findings)
    if stated:
        findings.append(_stated_drop(record))
    tested = float(np.min(velocity.value)), float(np.max(velocity.value))
    return FilterLaw(record, area, numbers, *air, tested, law, findings)


COEFFICIENTS = ("linear", "quadratic")


def _stated_drop(record: Record) -> Finding:
    section = record.curve
    assert section is not None
    limit, air = section["drop_limit"], section["density"]
    said = f"drop within {100 * limit.value:g} % {'assumed' if limit.assumed else 'stated'}"
    said += f", in air of {as_written(air)} {'assumed' if air.assumed else 'stated'}"
    return Finding(STATED_DROP, f"{record.heading.value('title')}: {said}")


def _within_the_limit(record: Record, x: Estimate) -> Estimate:
    """What is stated of the drop with its limit beside the errors that it has: one error of all drops of the sort."""
    section = record.curve
    assert section is not None
    cause = Cause(f"{record.id}:drop", shape="rectangular", scope="calibration", label="stated drop of the filter")
    return Estimate(x.value, x.axes, {**x.parts, cause: (x.value * section.value("drop_limit") / math.sqrt(3))[None]})


def _area(section: Section, identity: str) -> Estimate:
    names = [name for name in ("width", "height", "area", "blocked") if name in section]
    inputs = {name: given_estimate(section[name], identity, f"{name} of the filter") for name in names}
    return linear(_open_face, inputs, (), {"area": ()})["area"]


def _open_face(
    *, blocked: Array, width: Array | float = 1.0, height: Array | float = 1.0, area: Array | float = 1.0
) -> Any:
    return {"area": width * height * area * (1.0 - blocked)}


def _stated(record: Record, area: Estimate) -> tuple[Estimate, Estimate, tuple[float, float]]:
    """Face velocities without error, and drops within one limit."""
    section = record.curve
    assert section is not None
    if "velocity" not in section and "flow" not in section:
        remedy = "Give a face velocity, or a flow through one filter, beside each drop."
        raise InputError(Fault(section.where, "drops without velocities", "the velocity of each drop", remedy))
    value = np.asarray(section.value("drop"), dtype=float)
    drop = _within_the_limit(record, Estimate(value, (AXIS,)))
    if "velocity" in section:
        velocity = Estimate(np.asarray(section.value("velocity"), dtype=float), (AXIS,))
    else:
        flow = Estimate(np.asarray(section.value("flow"), dtype=float), (AXIS,))
        velocity = _over(flow, area)
    return velocity, drop, (float(section.value("density")), float(section.value("viscosity")))


def _over(flow: Estimate, area: Estimate) -> Estimate:
    inputs = {"flow": flow, "area": area}
    return linear(lambda flow, area: {"v": flow / area}, inputs, (AXIS,), {"v": (AXIS,)})["v"]


def _measured(
    record: Record, area: Estimate, findings: list[Finding]
) -> tuple[Estimate, Estimate, tuple[float, float]]:
    """Points of a rig, brought to one air: velocity and drop."""
    section = record.curve
    assert section is not None
    if record.points is None:
        remedy = 'Add points = "points.csv"; or write figures = "stated", if a maker stated them.'
        raise InputError(Fault(section.where, "no points", "a table of points, each with its readings", remedy))
    if "velocity" in section and ("flow" in section or record.flows):
        remedy = "Remove the column velocity, or what tells the flow."
        raise InputError(Fault(section["velocity"].where, "a velocity beside a flow", "one of the two", remedy))
    read = section.items.get("velocity", section.items.get("flow"))
    if read is None and not record.flows:
        remedy = "Describe how the flow of each point was measured."
        raise InputError(Fault(section.where, "no flow", "[[flow]] sections, or a column flow or velocity", remedy))
    flows = flows_of(record, read)
    air = mean_air(flows)
    pairs = [flow.at_the_box(section["drop"], None, BOX, *air) for flow in flows]
    drop, through = (joined(x, flows) for x in zip(*pairs, strict=True))
    findings += [f for flow in flows for f in flow.findings]
    return through if "velocity" in section else _over(through, area), drop, air


def _fitted(
    record: Record, velocity: Estimate, drop: Estimate, findings: list[Finding]
) -> tuple[str, dict[str, Estimate]]:
    section = record.curve
    assert section is not None
    n = len(np.unique(velocity.value))
    if section.value("figures") == STATED and n < len(velocity.value):
        read = f"{len(velocity.value)} drops at {n} velocit{'y' if n == 1 else 'ies'}"
        raise InputError(Fault(section["drop"].where, read, "one drop at each velocity", "Leave out all but one."))
    law = str(section.value("law"))
    if section["law"].assumed or law == "not said":
        law = LINEAR_AND_QUADRATIC if n >= 3 else POWER
    if law == POWER:
        return law, _power_law(record, velocity, drop, n, findings)
    if n < 2:
        remedy = f'Give more points, or write law = "{POWER}" and, where it is known, the exponent.'
        raise InputError(Fault(section["drop"].where, "one point", "two points at least for this law", remedy))
    if n == 2 and len(velocity.value) == 2:
        inputs = {"velocity": velocity, "drop": drop}
        kept: dict[str, tuple[str, ...]] = {"linear": (), "quadratic": ()}
        found = linear(_through_two, inputs, (AXIS,), kept)
    else:
        found = dict(zip(COEFFICIENTS, _fit(FORCHHEIMER, record, velocity, drop), strict=True))
    for name in COEFFICIENTS:
        if found[name].value < -2 * found[name].u:
            read = f"points whose {name} part comes out below zero, {float(found[name].value):.3g} Pa at 1 m/s"
            remedy = f'Write law = "{POWER}", or check the points for a slipped digit.'
            raise InputError(Fault(section["drop"].where, read, "a linear and a quadratic part above zero", remedy))
    if any(found[name].value < 0.0 for name in COEFFICIENTS):  # a little below zero, by chance: the power law holds too
        return POWER, _power_law(record, velocity, drop, n, findings)
    return law, {**found, "factor": Estimate(0.0), "exponent": Estimate(1.0)}


def _fit(curve: Curve, record: Record, x: Estimate, y: Estimate) -> list[Estimate]:
    section = record.curve
    assert section is not None
    if section.value("figures") == STATED:
        y = _off_the_curve(curve, record, x, y)
    try:
        found = fit(curve, x, y, f"{record.id}:filter:scatter", "scatter about the filter's curve")
    except CalculationError as error:
        remedy = "Give more points, further apart."
        raise InputError(Fault(section["drop"].where, str(error), "points that tell the curve", remedy)) from None
    return [tangent(b) for b in found.coefficients]  # as a calibration would keep them: no draw fits the points anew


def _off_the_curve(curve: Curve, record: Record, x: Estimate, y: Estimate) -> Estimate:
    """Stated points with an error each that explains how far they lie off their curve.

    Figures in print are rounded and smoothed, and no sample: their scatter has no degrees of freedom of its own.
    """
    n = len(y.value)
    scale = np.abs(y.value) if curve is FORCHHEIMER else np.ones(n)  # the power law is fitted in logarithms
    b = fitted(curve, x.value, y.value, np.zeros(n), scale, np.zeros(n))
    worst = float(np.max(np.abs(y.value - curve.value(x.value, b)) / scale))
    cause = Cause(f"{record.id}:off", each=AXIS, scope="calibration", label="stated points off the filter's curve")
    size = worst * math.sqrt(n / max(n - curve.p, 1)) * scale
    return Estimate(y.value, y.axes, {**y.parts, cause: size[np.newaxis]}, y.node, y.output)


def _power_law(
    record: Record, velocity: Estimate, drop: Estimate, n: int, findings: list[Finding]
) -> dict[str, Estimate]:
    section = record.curve
    assert section is not None
    title = record.heading.value("title")
    if n == 1:
        exponent = given_estimate(section["exponent"], f"{record.id}:filter", "exponent of the filter")
        inputs = {"velocity": velocity, "drop": drop, "exponent": exponent}
        found = linear(_through_one, inputs, (AXIS,), {"factor": ()})
        at = units.from_si(float(velocity.value[0]), "m/s", "velocity")
        how = "assumed" if section["exponent"].assumed else "stated"
        text = f"{title}: {at:.3g} m/s; exponent {section.value('exponent'):.3g} {how}"
        findings.append(Finding(ONE_POINT, text))
        return {"linear": Estimate(0.0), "quadratic": Estimate(0.0), "factor": found["factor"], "exponent": exponent}
    logs = linear(_logarithms, {"velocity": velocity, "drop": drop}, (AXIS,), {"x": (AXIS,), "y": (AXIS,)})
    if n == 2 and len(velocity.value) == 2:
        both = linear(_line_through_two, logs, (AXIS,), {"height": (), "exponent": ()})
    else:
        both = dict(zip(("height", "exponent"), _fit(polynomial((0, 1)), record, logs["x"], logs["y"]), strict=True))
    if not both["exponent"].value > 0.0:
        read = f"drops that do not rise with the velocity, as its power {float(both['exponent'].value):.2f}"
        said = "a drop that grows as more air passes"
        raise InputError(Fault(section["drop"].where, read, said, "Check which drop belongs to which velocity."))
    factor = linear(lambda height: {"factor": np.exp(height)}, {"height": both["height"]}, (), {"factor": ()})["factor"]
    exponent = both["exponent"]
    u = float(exponent.u)
    if not 1.0 - 2 * u <= exponent.value <= 2.0 + 2 * u:
        findings.append(Finding(STEEP, f"{title}: exponent {float(exponent.value):.2f}"))
    return {"linear": Estimate(0.0), "quadratic": Estimate(0.0), "factor": factor, "exponent": exponent}


def _through_one(*, velocity: Array, drop: Array, exponent: Array) -> dict[str, Array]:
    return {"factor": np.mean(drop / velocity**exponent, axis=-1, keepdims=True)}


def _through_two(*, velocity: Array, drop: Array) -> dict[str, Array]:
    v, d = np.broadcast_arrays(velocity, drop)
    ratio = d / v
    slope = (ratio[..., 1:] - ratio[..., :1]) / (v[..., 1:] - v[..., :1])
    return {"linear": ratio[..., :1] - slope * v[..., :1], "quadratic": slope}


def _logarithms(*, velocity: Array, drop: Array) -> dict[str, Array]:
    return {"x": np.log(velocity) + 0.0 * drop, "y": np.log(drop) + 0.0 * velocity}


def _line_through_two(*, x: Array, y: Array) -> dict[str, Array]:
    slope = (y[..., 1:] - y[..., :1]) / (x[..., 1:] - x[..., :1])
    return {"height": y[..., :1] - slope * x[..., :1], "exponent": slope}
