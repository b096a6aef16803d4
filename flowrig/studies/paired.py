"""Paired readings to two estimates point by point: what was shown, and what the reference says it should have been."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.methods import air as air_state
from flowrig.physics.box import box_equivalent_drop, similar_flow
from flowrig.physics.si import Floats
from flowrig.records.declare import Finding, FlagMeaning, Reading
from flowrig.records.estimates import given_estimate, mean_estimate, reading_estimate
from flowrig.records.formulas import BOX, CHAMBER
from flowrig.records.instruments import Instrument, all_findings
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


@dataclass
class Paired:
    """Points of a calibration or a check.

    Attributes
    ----------
    record : Record
    calibrates : str
        One of `flowrig.records.formulas.CALIBRATES`.
    shown, truth : Estimate
        With the axis ``point``. Of a box or chamber the drop and the flow, both in the one air of `density` and
        `viscosity`; of an instrument its reading and what the reference says. SI.
    labels : dict of str to list of str
        Run, direction and mounting of each point, where they are told.
    density, viscosity : float
        Air that drop and flow are brought to; NaN for an instrument.
    instrument : Instrument or None
        The one that showed the indication.
    reference : str
        What the points were held against, in words.
    findings : list of Finding
    """

    record: Record
    calibrates: str
    shown: Estimate
    truth: Estimate
    labels: dict[str, list[str]]
    density: float = np.nan
    viscosity: float = np.nan
    instrument: Instrument | None = None
    reference: str = ""
    findings: list[Finding] = field(default_factory=list)

    @property
    def of_flow(self) -> bool:
        """A flow over a drop, which goes over decades and through no zero."""
        return self.calibrates in (BOX, CHAMBER)

    @property
    def unit(self) -> tuple[str, str]:
        """Unit in which the indications were read, and its kind."""
        section = self.record.calibration
        assert section is not None
        item = section["indication"]
        return item.unit, str(getattr(item.field, "kind", ""))

    def in_words(self, size: float) -> str:
        """A difference of indications, in the unit in which they were read."""
        unit, kind = self.unit
        return f"{float(units.from_si(size, unit, units.as_difference(kind))):.2g} {unit}"

    @property
    def told(self) -> list[Finding]:
        """Findings about the files, the instruments but the one that is on trial, and the points."""
        known = {n: x for n, x in self.record.instruments.items() if self.of_flow or x is not self.instrument}
        return _once([*self.record.findings, *all_findings(known), *self.findings])

    def where(self, point: int) -> str:
        """The row of a point, for messages."""
        table = self.record.points.table
        return f"{table.name}, row {table.row_number(point)}"


def paired(record: Record, air: tuple[float, float] | None = None) -> Paired:
    """Reduce every point of a record's [calibration].

    Parameters
    ----------
    record : Record
    air : tuple of float, optional
        Density and viscosity to bring the points of a box or chamber to; by default those of their own mean, rounded.

    Raises
    ------
    InputError
        If there is nothing paired, or a point lies where no reference flow follows.
    """
    section, points = record.calibration, record.points
    if section is None or points is None:
        said = "a record with a table [calibration], which names its table of points"
        raise InputError(Fault(record.name, "no [calibration]", said, "Describe the paired readings there."))
    calibrates = section.value("calibrates")
    item = section["indication"]
    instrument = record.instruments.get(item.instrument)
    _check(record, section, calibrates, bool(record.flows), instrument)
    by_reading = "reference" in section
    if calibrates in (BOX, CHAMBER):
        flows = [_by_reading(record, section)] if by_reading else _by_sections(record, points)
        density, viscosity = air or _mean_air(flows)
        pairs = [flow.at_the_box(section, calibrates, density, viscosity) for flow in flows]
        shown, truth = (_joined(x, flows) for x in zip(*pairs, strict=True))
        found = Paired(record, calibrates, shown, truth, dict(points.labels), density, viscosity, instrument)
    elif by_reading:
        flows, every = [], np.arange(len(points))
        shown, _ = _reading(record, item, own=False)
        truth, said_of = _reading(record, section["reference"])
        shown, truth = (_as_points(x, every) for x in (shown, truth))
        found = Paired(record, calibrates, shown, truth, dict(points.labels), instrument=instrument)
        found.findings = [_with_rows(f, record, every) for f in said_of]
    else:
        flows = _by_sections(record, points)
        pairs = [flow.as_shown(section, calibrates) for flow in flows]
        shown, truth = (_joined(x, flows) for x in zip(*pairs, strict=True))
        found = Paired(record, calibrates, shown, truth, dict(points.labels), instrument=instrument)
    found.findings += [f for flow in flows for f in flow.findings]
    found.reference = _reference_in_words(record, section)
    bad = np.flatnonzero(~np.isfinite(found.truth.value) | ~np.isfinite(found.shown.value))
    if bad.size:
        said = "readings from which a value follows"
        raise InputError(Fault(found.where(int(k)), "no value", said, "Check this row's readings.") for k in bad)
    return found


def _check(record: Record, section: Section, calibrates: str, flows: bool, instrument: Instrument | None) -> None:
    """What a point is made of is there, and only once."""
    faults = []
    if "reference" in section and flows:
        read, said = "both a reading of a reference and [[flow]]", "one reference for the points"
        faults.append(Fault(section.where, read, said, "Remove the column reference, or the [[flow]] sections."))
    if "reference" not in section and not flows:
        said = "a reference: [[flow]] sections, or a column reference"
        faults.append(Fault(section.where, "no reference", said, "Describe how the true value was found."))
    if calibrates == "velocity" and flows and "area" not in section:
        said = "the area that the reference flow passes evenly where the anemometer stood, with its ±"
        faults.append(Fault(section.where, "no area", said, 'Add area = "0.0314 m2 ± 1 %", for instance.'))
    if calibrates not in (BOX, CHAMBER, "velocity", "flow") and flows:
        said = f"a column reference, of an instrument for {calibrates}"
        faults.append(Fault(section.where, "[[flow]] as the reference", said, "A flow says nothing about it."))
    single = section["indication"].run != ROWS
    if single:
        said = "a column indication in the table of points"
        faults.append(Fault(section["indication"].where, "one indication for all points", said, "Put it there."))
    if "reference" in section and calibrates in (BOX, CHAMBER) and "meter" not in record.air:
        remedy = "Say in which air the reference stood: temperature, pressure, humidity, in a table [air.meter]."
        faults.append(Fault(record.name, "no [air.meter]", "the air at the reference", remedy))
    if "reference" in section and instrument is not None and section["reference"].instrument == instrument.name:
        said = "another instrument than the one that is calibrated"
        remedy = 'Add with = { indication = "…", reference = "…" }.'
        faults.append(Fault(section["reference"].where, f"{instrument.name} as its own reference", said, remedy))
    if faults:
        raise InputError(faults)


def _by_sections(record: Record, points: Points) -> list[_Reference]:
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
        found.append(_Reference(record, part, rows, mass_flow, state, [_with_rows(f, record, rows) for f in findings]))
    return found


def _by_reading(record: Record, section: Section) -> _Reference:
    """A flow that a reference showed, with its own ±, actual at the air of the meter."""
    rows = np.arange(len(record.points))
    states = {name: air_of(record, name) for name, section in record.air.items() if "temperature" in section}
    flow, findings = _reading(record, section["reference"])
    findings += [f for station in states.values() for f in station.findings]
    inputs = {"flow": flow, "density": states["meter"].state["density"]}
    mass_flow = linear(_mass, inputs, ("row",), {"mass_flow": ("row",)})["mass_flow"]
    state = states.get("unit", states["meter"]).state
    return _Reference(record, record, rows, mass_flow, state, [_with_rows(f, record, rows) for f in findings])


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
class _Reference:
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

    def _reading(self, item: Item, own: bool = True) -> Estimate:
        value = item.value[self.rows] if item.run == ROWS else item.value
        estimate, findings = _reading(self.record, replace(item, value=value), own)
        self.findings += [_with_rows(f, self.whole, self.rows) for f in findings]
        return estimate

    def at_the_box(
        self, section: Section, calibrates: str, density: float, viscosity: float
    ) -> tuple[Estimate, Estimate]:
        """Drop and flow as they would be in air of one density and viscosity."""
        inputs = {name: self.state[name] for name in ("density", "pressure", "viscosity")}
        inputs |= {"mass_flow": self.mass_flow, "drop": self._reading(section["indication"])}
        if "indication_static" in section:
            inputs["static"] = self._reading(section["indication_static"])
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
        shown = self._reading(section["indication"], own=False)
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


def _reading(record: Record, item: Item, own: bool = True) -> tuple[Estimate, list[Finding]]:
    """A reading of the points; without the limits of its instrument where those are what is to be found."""
    instrument = record.instruments.get(item.instrument)
    read = reading_estimate(item, instrument, record, correct=own)
    if own or instrument is None:
        return read.estimate, read.findings
    estimate = read.estimate
    parts = {c: p for c, p in estimate.parts.items() if not c.id.startswith(f"{instrument.identity}|")}
    return Estimate(estimate.value, estimate.axes, parts), []


def _with_rows(finding: Finding, record: Record, rows: Rows) -> Finding:
    """A finding on some of these rows, with their numbers in the file."""
    if finding.rows is None:
        return finding
    at = [record.points.table.row_number(int(k)) for k in rows[np.flatnonzero(finding.rows)]]
    said = ", ".join(map(str, at[:6])) + (", ..." if len(at) > 6 else "")
    return Finding(finding.meaning, f"{finding.message} ({record.points.table.name}, row{'s'[: len(at) - 1]} {said})")


def _mean_air(flows: list[_Reference]) -> tuple[float, float]:
    """A rounded air near the mean of all points: a choice, and as such without error."""
    air = np.concatenate([np.stack(flow.air()) for flow in flows], axis=1).mean(axis=1)
    return round(float(air[0]), 3), float(f"{air[1]:.3g}")


def _as_points(x: Estimate, rows: Rows) -> Estimate:
    """Rows of one section as points."""
    shape = (len(rows),)
    parts = {}
    for cause, part in x.parts.items():
        each = replace(cause, each=AXIS) if cause.each == "row" else cause
        parts[each] = np.broadcast_to(part, (cause.n, *shape))
    return Estimate(np.broadcast_to(x.value, shape), (AXIS,), parts)


def _joined(estimates: Any, flows: list[_Reference]) -> Estimate:
    """Points of all sections in the order of the table."""
    n = sum(len(flow.rows) for flow in flows)
    value, parts = np.empty(n), dict[Cause, Array]()
    for x, flow in zip(estimates, flows, strict=True):
        points = _as_points(x, flow.rows)
        value[flow.rows] = points.value
        for cause, part in points.parts.items():
            parts.setdefault(cause, np.zeros((cause.n, n)))[:, flow.rows] = part
    return Estimate(value, (AXIS,), parts)


def _reference_in_words(record: Record, section: Section) -> str:
    if "reference" in section:
        return record.instruments[section["reference"].instrument].label
    pieces: dict[str, list[str]] = {}
    for flow in record.flows:
        own = pieces.setdefault(str(flow.method.title).lower(), [])
        own += [name for p in flow.pieces if (name := str(p.value("serial") or p.path[-1])) not in own]
    return "; ".join(title + (f", {', '.join(own)}" if own else "") for title, own in pieces.items())


def _once(findings: list[Finding]) -> list[Finding]:
    """What several sections have in common said once; of what differs the first, and how many more."""
    said: dict[FlagMeaning, list[str]] = {}
    for finding in findings:
        messages = said.setdefault(finding.meaning, [])
        if finding.message not in messages:
            messages.append(finding.message)
    return [
        Finding(meaning, messages[0] + (f"; and {len(messages) - 1} more like it" if len(messages) > 1 else ""))
        for meaning, messages in said.items()
    ]


def mapping_of(numbers: Mapping[str, Estimate]) -> dict[str, float]:
    """Values alone."""
    return {name: float(x.value) for name, x in numbers.items()}
