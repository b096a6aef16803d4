"""Paired readings to two estimates point by point: what was shown, and what the reference says it should have been."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding
from flowrig.records.formulas import BOX, CHAMBER
from flowrig.records.instruments import Instrument, all_findings
from flowrig.records.items import ROWS, Section
from flowrig.records.record import Record
from flowrig.studies.reference_flow import (
    as_points,
    by_reading,
    by_sections,
    joined,
    mean_air,
    read_in_rows,
    told_once,
    with_rows,
)
from flowrig.uncertainty.estimate import Estimate


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
        return told_once([*self.record.findings, *all_findings(known), *self.findings])

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
    read = "reference" in section
    if calibrates in (BOX, CHAMBER):
        flows = [by_reading(record, section["reference"])] if read else by_sections(record, points)
        density, viscosity = air or mean_air(flows)
        pairs = [
            flow.at_the_box(item, section.items.get("indication_static"), calibrates, density, viscosity)
            for flow in flows
        ]
        shown, truth = (joined(x, flows) for x in zip(*pairs, strict=True))
        found = Paired(record, calibrates, shown, truth, dict(points.labels), density, viscosity, instrument)
    elif read:
        flows, every = [], np.arange(len(points))
        shown, _ = read_in_rows(record, item, own=False)
        truth, said_of = read_in_rows(record, section["reference"])
        shown, truth = (as_points(x, every) for x in (shown, truth))
        found = Paired(record, calibrates, shown, truth, dict(points.labels), instrument=instrument)
        found.findings = [with_rows(f, record, every) for f in said_of]
    else:
        flows = by_sections(record, points)
        pairs = [flow.as_shown(section, calibrates) for flow in flows]
        shown, truth = (joined(x, flows) for x in zip(*pairs, strict=True))
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


def _reference_in_words(record: Record, section: Section) -> str:
    if "reference" in section:
        return record.instruments[section["reference"].instrument].label
    pieces: dict[str, list[str]] = {}
    for flow in record.flows:
        own = pieces.setdefault(str(flow.method.title).lower(), [])
        own += [name for p in flow.pieces if (name := str(p.value("serial") or p.path[-1])) not in own]
    return "; ".join(title + (f", {', '.join(own)}" if own else "") for title, own in pieces.items())


def mapping_of(numbers: Mapping[str, Estimate]) -> dict[str, float]:
    """Values alone."""
    return {name: float(x.value) for name, x in numbers.items()}
