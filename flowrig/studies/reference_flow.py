"""Flows that a reference measured in the rows of a table of points, and what was read beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig.errors import InputError
from flowrig.methods import air as air_state
from flowrig.physics.box import box_equivalent_drop, similar_flow
from flowrig.physics.si import Floats
from flowrig.records.declare import Finding, FlagMeaning, Reading
from flowrig.records.estimates import given_estimate, mean_estimate, reading_estimate
from flowrig.records.formulas import CHAMBER
from flowrig.records.items import ROWS, Array, Item, Section
from flowrig.records.points import Points, rows_of, sliced
from flowrig.records.record import Record
from flowrig.studies import checks
from flowrig.studies.reduce import Reduction, empty_result
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

AXIS = "point"
Rows = NDArray[np.intp]


def by_sections(record: Record, points: Points) -> list[ReferenceFlow]:
    """The [[flow]] sections, each reduced in the rows that name it."""
    found = []
    for i, flow in enumerate(record.flows):
        rows = rows_of(points, i)
        air_there = {name: sliced(section, rows) for name, section in record.air.items()}
        own = f"{record.digests.get(points.table.name, '')[:16]}|{flow.section.name}"  # type: ignore[union-attr]
        part = replace(record, flows=[flow], air=air_there, table=own)
        reduction = Reduction(part, flow, empty_result(part, 0.95, None, 1), None)
        mass_flow, _, states, situation = reduction.measured()
        beyond = checks.beyond(flow.method, situation)
        if beyond:
            raise InputError(checks.refusal(limit, situation) for limit, _ in beyond)
        findings = [*reduction.findings, *checks.of_limits(flow.method, situation, bool(reduction.batch))]
        # air at what is calibrated: where none was read at the unit, that of the meter without its static pressure
        state = states.get("unit", states["meter"])
        found.append(
            ReferenceFlow(record, part, rows, mass_flow, state, [with_rows(f, record, rows) for f in findings])
        )
    return found


def by_reading(record: Record, item: Item) -> ReferenceFlow:
    """A flow that a reference showed, with its own ±, actual at the air of the meter."""
    rows = np.arange(len(record.points))
    states = {name: air_of(record, name) for name, section in record.air.items() if "temperature" in section}
    flow, findings = read_in_rows(record, item)
    findings += [f for station in states.values() for f in station.findings]
    inputs = {"flow": flow, "density": states["meter"].state["density"]}
    mass_flow = linear(_mass, inputs, ("row",), {"mass_flow": ("row",)})["mass_flow"]
    state = states.get("unit", states["meter"]).state
    return ReferenceFlow(record, record, rows, mass_flow, state, [with_rows(f, record, rows) for f in findings])


def _mass(*, flow: Array, density: Array) -> dict[str, Array]:
    return {"mass_flow": flow * density}


def air_of(record: Record, name: str) -> air_state.Station:
    """Air at a station where no [[flow]] asks for it; row by row where the table of points holds it."""
    section = record.air[name]
    readings = {}
    for key, item in section.items.items():
        if isinstance(item.field, Reading):
            read = reading_estimate(item, record.instruments.get(item.instrument), record)
            readings[key] = mean_estimate(read, item, record).estimate
    batch = ("row",) if any(item.run == ROWS for item in section.items.values()) else ()
    return air_state.station(section, readings, record.heading.value("density_formula"), record.id, batch)


@dataclass
class ReferenceFlow:
    """What a reference says in some rows of the points.

    Attributes
    ----------
    whole, record : Record
        That of all rows, and that of these alone.
    rows : array of int
    mass_flow : Estimate
    state : dict of str to Estimate
        Air at what is calibrated.
    findings : list of Finding
    """

    whole: Record
    record: Record
    rows: Rows
    mass_flow: Estimate
    state: dict[str, Estimate]
    findings: list[Finding]

    def air(self) -> tuple[Array, Array]:
        """Density and viscosity at what is calibrated, point by point."""
        return tuple(np.broadcast_to(self.state[name].value, self.rows.shape) for name in ("density", "viscosity"))  # type: ignore[return-value]

    def reading(self, item: Item, own: bool = True) -> Estimate:
        value = item.value[self.rows] if item.run == ROWS else item.value
        estimate, findings = read_in_rows(self.record, replace(item, value=value), own)
        self.findings += [with_rows(f, self.whole, self.rows) for f in findings]
        return estimate

    def at_the_box(
        self, drop: Item, static: Item | None, calibrates: str, density: float, viscosity: float
    ) -> tuple[Estimate, Estimate]:
        """Drop and flow as they would be in air of one density and viscosity."""
        inputs = {name: self.state[name] for name in ("density", "pressure", "viscosity")}
        inputs |= {"mass_flow": self.mass_flow, "drop": self.reading(drop)}
        if static is not None:
            inputs["static"] = self.reading(static)
        suction = calibrates == CHAMBER and bool(np.all(inputs["drop"].value < 0.0))
        if calibrates == CHAMBER and not suction:  # the air that leaks is the chamber's; under suction it is the room's
            inputs["static"] = inputs["drop"]
        options = {"sign": -1.0 if suction else 1.0, "to_density": density, "to_viscosity": viscosity}
        kept = {"drop": ("row",), "flow": ("row",)}
        found = linear(_similar, inputs, ("row",), kept, **options)
        return found["drop"], found["flow"]

    def as_shown(self, section: Section, calibrates: str) -> tuple[Estimate, Estimate]:
        """Reading of an instrument, and the flow of the reference or its velocity over an area."""
        inputs = {"mass_flow": self.mass_flow, "density": self.state["density"]}
        if calibrates == "velocity":
            inputs["area"] = given_estimate(section["area"], f"{self.record.id}:calibration", "area", "setup")
        shown = self.reading(section["indication"], own=False)
        inputs["like"] = Estimate(0.0 * shown.value, shown.axes)  # as many rows
        return shown, linear(_actual, inputs, ("row",), {"true": ("row",)})["true"]


def _similar(
    *,
    mass_flow: Array,
    drop: Array,
    density: Array,
    pressure: Array,
    viscosity: Array,
    static: Array | None = None,
    sign: float,
    to_density: float,
    to_viscosity: float,
) -> dict[str, Floats]:
    inside = density if static is None else density * (pressure + static) / pressure
    flow = similar_flow(mass_flow / inside, inside, viscosity, to_density, to_viscosity)
    alike = box_equivalent_drop(sign * drop, inside, viscosity, to_density, to_viscosity)
    return {"drop": alike + 0.0 * flow, "flow": flow + 0.0 * alike}


def _actual(*, mass_flow: Array, density: Array, like: Array, area: Array | float = 1.0) -> dict[str, Array]:
    return {"true": mass_flow / density / area + like}


def read_in_rows(record: Record, item: Item, own: bool = True) -> tuple[Estimate, list[Finding]]:
    """A reading of the points; without the limits of its instrument where those are what is to be found."""
    instrument = record.instruments.get(item.instrument)
    read = reading_estimate(item, instrument, record, correct=own)
    if own or instrument is None:
        return read.estimate, read.findings
    estimate = read.estimate
    parts = {c: p for c, p in estimate.parts.items() if not c.id.startswith(f"{instrument.identity}|")}
    return Estimate(estimate.value, estimate.axes, parts), []


def with_rows(finding: Finding, record: Record, rows: Rows) -> Finding:
    """A finding on some of these rows, with their numbers in the file."""
    if finding.rows is None:
        return finding
    at = [record.points.table.row_number(int(k)) for k in rows[np.flatnonzero(finding.rows)]]
    said = ", ".join(map(str, at[:6])) + (", ..." if len(at) > 6 else "")
    return Finding(finding.meaning, f"{finding.message} ({record.points.table.name}, row{'s'[: len(at) - 1]} {said})")


def mean_air(flows: list[ReferenceFlow]) -> tuple[float, float]:
    """A rounded air near the mean of all points: a choice, and as such without error."""
    air = np.concatenate([np.stack(flow.air()) for flow in flows], axis=1).mean(axis=1)
    return round(float(air[0]), 3), float(f"{air[1]:.3g}")


def as_points(x: Estimate, rows: Rows) -> Estimate:
    """Rows of one section as points."""
    shape = (len(rows),)
    parts = {}
    for cause, part in x.parts.items():
        each = replace(cause, each=AXIS) if cause.each == "row" else cause
        parts[each] = np.broadcast_to(part, (cause.n, *shape))
    return Estimate(np.broadcast_to(x.value, shape), (AXIS,), parts)


def joined(estimates: Any, flows: list[ReferenceFlow]) -> Estimate:
    """Points of all sections in the order of the table."""
    n = sum(len(flow.rows) for flow in flows)
    value, parts = np.empty(n), dict[Cause, Array]()
    for x, flow in zip(estimates, flows, strict=True):
        points = as_points(x, flow.rows)
        value[flow.rows] = points.value
        for cause, part in points.parts.items():
            parts.setdefault(cause, np.zeros((cause.n, n)))[:, flow.rows] = part
    return Estimate(value, (AXIS,), parts)


def told_once(findings: list[Finding]) -> list[Finding]:
    """What several sections have in common said once; of what differs the first, and how many more.

    What is said of rows alone stays with them, where nothing else is said in the same words.
    """
    said: dict[FlagMeaning, list[Finding]] = {}
    for finding in findings:
        own = said.setdefault(finding.meaning, [])
        if finding.message not in [known.message for known in own]:
            own.append(finding)
    return [
        own[0] if len(own) == 1 else Finding(meaning, f"{own[0].message}; and {len(own) - 1} more like it")
        for meaning, own in said.items()
    ]
