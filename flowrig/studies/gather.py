"""From the sections of a record to the inputs of a kernel: every reading, dimension and air state as an estimate."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from flowrig.methods import air
from flowrig.methods.method import Method, Situation, stacked
from flowrig.records import flags
from flowrig.records.calibration import CalibrationFile
from flowrig.records.declare import Calibration, Field, Finding, Given, Names, Reading
from flowrig.records.estimates import (
    ReadingEstimate,
    given_estimate,
    hardware_identity,
    mean_estimate,
    reading_estimate,
    zero_needed,
)
from flowrig.records.items import ROWS, Array, Item, Section, as_shown
from flowrig.records.record import Flow, Record
from flowrig.studies.odd import odd_readings
from flowrig.uncertainty.estimate import Estimate

LEVEL = ("pressure difference", "velocity", "flow")  # kinds of reading that grow with the flow


def grows(declared: Field) -> bool:
    """Whether a field is a reading that grows with the flow."""
    return isinstance(declared, Reading) and declared.kind in LEVEL


def scaled(flow: Flow, factor: float, names: Collection[str] | None = None) -> Flow:
    """The measurement with every reading that grows with the flow, or some of them, so many times as large."""
    items = {
        name: replace(item, value=item.value * factor)
        if grows(item.field) and (names is None or name in names)
        else item
        for name, item in flow.section.items.items()
    }
    return replace(flow, section=replace(flow.section, items=items), findings=[])


class Gathered:
    """Readings of one measurement as estimates of their means; the runs behind the means are kept beside them.

    Attributes
    ----------
    batch : tuple of str
        ``('row',)`` where a table of tests stands in for any reading.
    runs : dict of str to array
        Repeats, log rows or passes of the flow's own readings, runs along the first axis.
    air_rows : dict of str to array
        The same for readings of the meter's air that stand in the flow's own log.
    findings : list of Finding
    """

    def __init__(self, record: Record, flow: Flow) -> None:
        self.record, self.flow = record, flow
        self.method: Method = flow.method
        self.formula = record.heading.value("density_formula")
        everything = [i for s in (*record.air.values(), flow.section, *flow.pieces) for i in s.items.values()]
        self.batch = ("row",) if any(i.run == ROWS for i in everything) else ()
        self.runs: dict[str, Array] = {}
        self.air_rows: dict[str, Array] = {}
        self.findings: list[Finding] = list(flow.findings)
        self.air_readings = {name: self.readings_of(section) for name, section in record.air.items()}

    def station(self, name: str, **known: Estimate) -> air.Station:
        """Air at a station; `known` stands in for what was not read there."""
        readings = self.air_readings[name] | known
        station = air.station(self.record.air[name], readings, self.formula, self.record.id, self.batch)
        self.findings += station.findings
        return station

    def air_in_rows(self) -> dict[str, Estimate]:
        """State of the meter's air at every row of the log."""
        rows = {name: Estimate(run, ("reading",)) for name, run in self.air_rows.items()}
        readings = self.air_readings["meter"] | rows
        return air.station(self.record.air["meter"], readings, self.formula, self.record.id, ("reading",)).state

    def temperature_by_power(self, name: str, mass_flow: Estimate, meter: Estimate) -> Estimate:
        """Temperature of a station's air where only the power of the fan in between is known."""
        section = self.record.air[name]
        if section["side"].assumed:
            self.findings.append(Finding(flags.ASSUMED, f"{section.name}: taken as before the fan"))
        power = given_estimate(section["fan_power"], f"{self.record.id}:{section.name}")
        sign = -1.0 if section.value("side") == "before the fan" else 1.0
        here = air.temperature_by_power(meter, power, mass_flow, sign, section.name, self.record.id)
        most = 2 * float(np.max(np.abs(here.value - meter.value)))
        side = "below" if sign < 0 else "above"
        self.findings.append(Finding(air.HEAT_ASSUMED, f"{section.name}: at most {most:.2g} K {side} the meter's"))
        return here

    def situation(self, state: dict[str, Estimate]) -> Situation:
        """Inputs of the method's kernel, as its declaration names them."""
        section = self.flow.section
        situation = Situation(section, self.flow.hardware, state, self.record, layout=self.flow.layout)
        inputs = situation.inputs
        inputs |= {name: state[name] for name in self.method.air}
        # rows that hold a reading of the flow scatter by themselves; the pattern's other runs are means beside them
        any_rows = any(item.run == ROWS for item in section.items.values())
        for declared in self.method.fields:
            item = section.items.get(declared.name)
            if item is None:
                continue
            if isinstance(declared, Reading):
                read = self._reading(item)
                if any_rows and read.run is not None:
                    read = mean_estimate(read, item, self.record)
                inputs[declared.name] = read.estimate
                if item.run != ROWS:
                    self.findings += odd_readings(item, self.flow.layout)
                if declared.grid:
                    situation.passes = max(situation.passes, len(item.value))
                if read.run is not None:
                    self.runs[declared.name] = read.run
                if item.instrument:
                    situation.instruments[declared.name] = self.record.instruments[item.instrument]
            elif isinstance(declared, Given):
                serial = section.value(declared.belongs) if declared.belongs else None
                owner = f"hardware:{declared.belongs}:{serial}" if serial else f"{self.record.id}:{section.name}"
                thing = declared.belongs.removesuffix("_serial")
                label = f"{declared.name} of the {thing}" if thing else declared.name
                inputs[declared.name] = given_estimate(item, owner, label, "calibration" if serial else "setup")
                if item.assumed:
                    situation.assumed.append(f"{declared.name} = {declared.default}")
            elif isinstance(declared, Calibration):
                inputs |= self._calibrated(item.value)
            elif isinstance(declared, Names):
                inputs |= self._hardware(declared, self.flow.hardware[declared.table])
        self._take_monitor_out(inputs)
        if self.method.prepare is not None:
            self.method.prepare(situation)
        takes = self.method.kernel.__annotations__
        situation.inputs = {name: x for name, x in inputs.items() if name in takes}
        self._no_clash(section, situation.inputs)
        situation.options |= {name: situation.value(name) for name in self.method.options}
        self.findings += [*situation.findings, *(Finding(flags.ASSUMED, text) for text in situation.assumed)]
        return situation

    def _reading(self, item: Item) -> ReadingEstimate:
        axes = self.method.axes if isinstance(item.field, Reading) and item.field.grid else ()
        read = reading_estimate(item, self.record.instruments.get(item.instrument), self.record, axes)
        self.findings += read.findings
        self.findings += zero_needed(item, self.record.instruments.get(item.instrument))
        return read

    def readings_of(self, section: Section) -> dict[str, Estimate]:
        """Readings of a station's air or of a piece of hardware, each a mean of its own run."""
        found: dict[str, Estimate] = {}
        for name, item in section.items.items():
            if not isinstance(item.field, Reading):
                continue
            if item.run != ROWS:
                self.findings += odd_readings(item, None)
            read = self._reading(item)
            if section.name == "air.meter" and read.run is not None and item.run == self.flow.section.name:
                self.air_rows[name] = read.run
            else:
                read = mean_estimate(read, item, self.record)
            found[name] = read.estimate
        return found

    def _hardware(self, declared: Names, sections: list[Section]) -> dict[str, Estimate]:
        """Dimensions of the named hardware; side by side along an axis where several may be named."""
        columns: dict[str, list[Estimate]] = {}
        for section in sections:
            identity = hardware_identity(section, self.record)
            for name, item in section.items.items():
                if isinstance(item.field, Given):
                    label = f"{name} of {section.path[-1]}"
                    columns.setdefault(name, []).append(given_estimate(item, identity, label, "calibration"))
        complete = {n: c for n, c in columns.items() if len(c) == len(sections)}
        return {n: stacked(c, declared.axis) if declared.axis else c[0] for n, c in complete.items()}

    def _calibrated(self, calibration: CalibrationFile) -> dict[str, Estimate]:
        """Numbers of a calibration file, as kernels call them: calibrated_flow."""
        heading = self.record.heading
        self.findings += calibration.findings(heading.value("date"), bool(heading.value("invented")))
        return {f"calibrated_{name}": x for name, x in calibration.estimates().items()}

    def _no_clash(self, section: Section, inputs: dict[str, Estimate]) -> None:
        """A calibration may share causes with the record's own instruments, if it means the same by them."""
        own = {c.id: c for name, x in inputs.items() if not name.startswith("calibrated_") for c in x.parts}
        for item in section.items.values():
            if isinstance(item.field, Calibration):
                item.value.clash(own)

    def _take_monitor_out(self, inputs: dict[str, Estimate]) -> None:
        """Readings brought to the same flow by a fixed monitor: each times the monitor's mean over its reading."""
        monitor = inputs.pop("monitor", None)
        if monitor is None:
            return
        rows = self.runs.pop("monitor", monitor.value[np.newaxis])
        least, most = as_shown(self.flow.section["monitor"], np.array([np.min(rows), np.max(rows)]))
        self.findings.append(Finding(flags.MONITORED, f"the monitor moved between {least} and {most}"))
        ratio = np.mean(rows) / rows
        monitored = self.flow.section["monitor"].field
        for name in ("drop", "velocity"):
            if name not in inputs:
                continue
            # a velocity goes as the root of a monitor that shows pressure
            root = name == "velocity" and getattr(monitored, "kind", "") == "pressure difference"
            run = self.runs.get(name, inputs[name].value[np.newaxis]) * ratio ** (0.5 if root else 1.0)
            if name in self.runs:
                self.runs[name] = run
            inputs[name] = Estimate(np.mean(run, axis=0), inputs[name].axes, inputs[name].parts)
