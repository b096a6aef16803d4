"""A record to flows with error bars: readings, air, kernel, corrections, scatter, intervals, flags."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import CalculationError, Fault, InputError
from flowrig.methods import NAMES, air, find_method, flags
from flowrig.methods.method import Effect, Method, Situation, Size, stacked
from flowrig.records import flags as reading_flags
from flowrig.records.declare import Finding, Given, Names, Reading
from flowrig.records.instruments import (
    ROWS,
    ReadingEstimate,
    all_findings,
    given_estimate,
    mean_estimate,
    reading_estimate,
)
from flowrig.records.items import Array, Item, Section
from flowrig.records.record import Flow, Record, read_record
from flowrig.studies.result import FlowResult, Quantity, Result
from flowrig.studies.scatter import Scatter, scatter_of
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import batch_interval, intervals
from flowrig.uncertainty.propagate import linear, nominal

SEVERITY = ("alarm", "warning", "note")


def load(source: str | Path | Mapping[str, Any]) -> Record:
    """Read and check a record. Raises `InputError` with every fault found."""
    record = read_record(source, find_method, NAMES)
    unit = record.heading.value("flow_unit")
    if unit is not None:
        try:
            units.factor(unit, "flow")
        except ValueError as error:
            raise InputError(
                Fault(record.heading["flow_unit"].where, repr(unit), "a unit of flow", str(error))
            ) from None
    return record


def reduce(
    source: str | Path | Mapping[str, Any] | Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
) -> Result:
    """Reduce a record to flows with error bars.

    Parameters
    ----------
    source : path, mapping or Record
        A TOML record, or a mapping of the same structure (pint quantities welcome).
    coverage : float
        Probability of the intervals.
    samples : int, optional
        Take Monte Carlo intervals from so many draws; by default they are taken only where the linear ones would not
        be honest.
    seed : int
        Of the draws.
    unit : str, optional
        Unit to print flows in, before the record's own.

    Returns
    -------
    Result

    Raises
    ------
    InputError
        With every fault of the record and its files.
    CalculationError
        If no finite flow follows from the readings.
    """
    record = source if isinstance(source, Record) else load(source)
    result = empty_result(record, coverage, samples, seed)
    for flow in record.flows:
        result.flows.append(Reduction(record, flow, result, unit).run())
    return result


def empty_result(record: Record, coverage: float, samples: int | None, seed: int) -> Result:
    """A result that holds what is known about the record before any flow is reduced."""
    findings = list(all_findings(record.instruments))
    if record.heading["standard_density"].assumed:
        findings.append(Finding(reading_flags.ASSUMED, "standard flow refers to 1.2 kg/m3"))
    return Result(record, [], findings, coverage, seed, samples)


class Reduction:
    """One measurement on its way from readings to result."""

    def __init__(self, record: Record, flow: Flow, result: Result, unit: str | None, pattern: Scatter | None = None):
        self.record, self.flow, self.result = record, flow, result
        self.method: Method = flow.method
        self.formula = record.heading.value("density_formula")
        self.unit = unit or record.heading.value("flow_unit") or "m3/h"
        self.findings: list[Finding] = list(flow.findings)
        self.pattern = pattern
        everything = [i for s in (*record.air.values(), flow.section) for i in s.items.values()]
        self.batch = ("row",) if any(i.run == ROWS for i in everything) else ()
        self.run_name = flow.section.name
        self.scatter: Scatter | None = None

    def run(self) -> FlowResult:
        readings = {name: self._readings(section) for name, section in self.record.air.items()}
        meter = self._station("meter", readings["meter"])
        situation = self._situation(meter.state)
        kept = dict.fromkeys(("mass_flow", "density"), self.batch)
        axes = (*self.batch, *self.method.axes)
        options = {name: situation.value(name) for name in self.method.options} | situation.options
        out = linear(self.method.kernel, situation.inputs, axes, kept, **options)
        node = out["mass_flow"].node
        assert node is not None
        full = (1,) * len(self.method.axes)
        situation.nominal = node.diagnostics | {n: e.value.reshape(*e.value.shape, *full) for n, e in out.items()}

        mass_flow = self._finish(situation, out["mass_flow"], readings, options)
        densities = {"meter": out["density"]}
        states = {"meter": meter.state}
        for name in ("unit", "room"):
            section = self.record.air.get(name)
            if section is None:
                continue
            own = dict(readings[name])
            if "fan_power" in section:
                own["temperature"] = self._by_power(section, meter.state["temperature"], mass_flow)
            station = self._station(name, own)
            densities[name], states[name] = station.state["density"], station.state
        quantities = self._quantities(mass_flow, densities)
        self._check_limits(situation)
        self._check_quantities(quantities)
        order = {severity: i for i, severity in enumerate(SEVERITY)}
        self.findings.sort(key=lambda f: order[f.severity])
        name = self.flow.section.value("name") or self.method.title
        return FlowResult(
            name, self.method, quantities, states, self.findings, self.method.conventions, dict(situation.nominal)
        )

    # readings and air

    def _reading(self, item: Item) -> ReadingEstimate:
        axes = self.method.axes if getattr(item.field, "grid", False) else ()
        instrument = self.record.instruments.get(item.instrument)
        read = reading_estimate(item, instrument, self.record.id, axes)
        self.findings += read.findings
        return read

    def _readings(self, section: Section) -> dict[str, Estimate]:
        """Readings of the air at one station; those of the flow's own log also keep their rows, in `self.air_rows`."""
        found: dict[str, Estimate] = {}
        rows: dict[str, Array] = {}
        for name, item in section.items.items():
            if not isinstance(item.field, Reading):
                continue
            read = self._reading(item)
            if read.run is not None and item.run == self.run_name:
                rows[name] = read.run
            else:
                read = mean_estimate(read, item, self.record.id)
            found[name] = read.estimate
        if rows and section.name == "air.meter":
            self.air_rows = rows
        return found

    air_rows: Mapping[str, Array] = {}

    def _station(self, name: str, readings: dict[str, Estimate]) -> air.Station:
        station = air.station(self.record.air[name], readings, self.formula, self.record.id, self.batch)
        self.findings += station.findings
        return station

    def _by_power(self, section: Section, meter: Estimate, mass_flow: Estimate) -> Estimate:
        before = section.value("side") == "before the fan"
        self.findings.append(Finding(air.HEAT_ASSUMED, f"{section.name}: temperature from the fan's power"))
        if section["side"].assumed:
            self.findings.append(Finding(reading_flags.ASSUMED, f"{section.name}: taken as before the fan"))
        power = given_estimate(section["fan_power"], f"{self.record.id}:{section.name}")
        sign = -1.0 if before else 1.0
        return air.temperature_by_power(meter, power, mass_flow, sign, section.name, self.record.id)

    def _situation(self, state: dict[str, Estimate]) -> Situation:
        section = self.flow.section
        situation = Situation(section, self.flow.hardware, state, layout=self.flow.layout, record_id=self.record.id)
        self.runs: dict[str, Array] = {}
        inputs = situation.inputs
        for name in self.method.air:
            inputs[name] = state[name]
        for declared in self.method.fields:
            item = section.items.get(declared.name)
            if item is None:
                continue
            if isinstance(declared, Reading):
                read = self._reading(item)
                inputs[declared.name] = read.estimate
                situation.passes = max(situation.passes, 1 if item.run == ROWS else len(item.value))
                if read.run is not None:
                    self.runs[declared.name] = read.run
                if item.instrument:
                    situation.instruments[declared.name] = self.record.instruments[item.instrument]
            elif isinstance(declared, Given):
                inputs[declared.name] = given_estimate(item, f"{self.record.id}:{section.name}")
                if item.assumed:
                    situation.assumed.append(f"{declared.name} = {declared.default}")
            elif isinstance(declared, Names):
                inputs.update(self._hardware(declared, self.flow.hardware[declared.table]))
        self._take_monitor_out(inputs)
        if self.method.prepare is not None:
            self.method.prepare(situation)
        takes = set(self.method.kernel.__annotations__)
        situation.inputs = {name: x for name, x in inputs.items() if name in takes}
        self.findings += [Finding(reading_flags.ASSUMED, text) for text in situation.assumed]
        return situation

    def _hardware(self, declared: Names, sections: list[Section]) -> dict[str, Estimate]:
        """Dimensions of the named hardware; side by side along an axis where several may be named."""
        columns: dict[str, list[Estimate]] = {}
        for section in sections:
            serial = section.value("serial")
            identity = f"hardware:{serial}" if serial else f"{self.record.id}:{section.name}"
            for name, item in section.items.items():
                if isinstance(item.field, Given):
                    label = f"{name} of {section.path[-1]}"
                    columns.setdefault(name, []).append(given_estimate(item, identity, label, "calibration"))
        complete = {n: c for n, c in columns.items() if len(c) == len(sections)}
        return {n: stacked(c, declared.axis) if declared.axis else c[0] for n, c in complete.items()}

    def _take_monitor_out(self, inputs: dict[str, Estimate]) -> None:
        """Readings brought to the same flow by a fixed monitor: each times the monitor's mean over its reading."""
        monitor = inputs.pop("monitor", None)
        if monitor is None:
            return
        rows = self.runs.pop("monitor", monitor.value[np.newaxis])
        level = np.mean(rows)
        ratio = level / rows
        for name in ("drop", "velocity"):
            if name not in inputs:
                continue
            # a velocity goes as the root of a monitor that shows pressure
            monitored = self.flow.section["monitor"].field
            power = 0.5 if name == "velocity" and getattr(monitored, "kind", "") == "pressure difference" else 1.0
            run = self.runs.get(name, inputs[name].value[np.newaxis]) * ratio**power
            scale = np.mean(run, axis=0) / inputs[name].value
            parts = {cause: part * scale for cause, part in inputs[name].parts.items()}
            inputs[name] = Estimate(np.mean(run, axis=0), inputs[name].axes, parts)
            if name in self.runs:
                self.runs[name] = run

    # from the kernel to the flow

    def _finish(
        self,
        situation: Situation,
        mass_flow: Estimate,
        readings: dict[str, dict[str, Estimate]],
        options: dict[str, Any],
    ) -> Estimate:
        """Corrections and model errors, and the scatter of repeated or logged readings."""
        inputs = {"mass_flow": mass_flow}
        shifts: dict[str, Any] = {}
        for i, effect in enumerate(self.method.effects):
            size = effect.size(situation)
            if size is None:
                continue
            if size.assumed:
                self.findings.append(Finding(reading_flags.ASSUMED, size.assumed))
            inputs[f"effect_{i}"], shifts[f"effect_{i}"] = self._effect(effect, size)
        if self.batch:
            scatter = self.pattern
        else:
            scatter = self.scatter = self._scatter(situation, mass_flow, readings, options)
        if scatter is not None:
            inputs |= scatter.inputs(self.record.id, self.run_name, mass_flow, self.batch)
        axes = self.batch
        return linear(_finished, inputs, axes, {"mass_flow": axes}, shifts=shifts)["mass_flow"]

    def _effect(self, effect: Effect, size: Size) -> tuple[Estimate, Any]:
        id_ = effect.id if effect.scope == "method" else f"{self.record.id}:{self.run_name}:{effect.id}"
        cause = Cause(id_, shape=effect.shape, scope=effect.scope, label=effect.label)
        u = np.asarray(size.limit, dtype=float) / effect.divisor
        shift = np.asarray(size.shift, dtype=float)
        if not self.batch or np.broadcast_shapes(u.shape, shift.shape) in ((), (1,)):
            u, shift = u.reshape(()), shift.reshape(())
            return Estimate(0.0, (), {cause: [float(u)]}), shift
        return Estimate(np.zeros(u.shape), ("row",), {cause: u[np.newaxis]}), shift

    def _scatter(
        self,
        situation: Situation,
        mass_flow: Estimate,
        readings: dict[str, dict[str, Estimate]],
        options: dict[str, Any],
    ) -> Scatter | None:
        """Reduce every repeat or row of the log on its own, and see what their mean and scatter say."""
        if not self.runs and not self.air_rows:
            self._single(situation)
            return None
        axes = ("reading", *self.method.axes)
        inputs = dict(situation.inputs)
        for name, run in self.runs.items():
            if name in inputs:
                inputs[name] = Estimate(run, ("reading", *inputs[name].axes))
        if self.air_rows:
            rows = {**readings["meter"], **{n: Estimate(r, ("reading",)) for n, r in self.air_rows.items()}}
            state = air.station(self.record.air["meter"], rows, self.formula, self.record.id, ("reading",)).state
            inputs |= {name: state[name] for name in self.method.air}
        flow = nominal(self.method.kernel, inputs, axes, **options)["mass_flow"].reshape(-1)
        pooled = None
        if len(flow) < 3 and "point" in self.method.axes:
            grids = [r for n, r in self.runs.items() if r.ndim == 2]
            pooled = grids[0] if grids else None
        scatter, findings = scatter_of(flow, float(mass_flow.value), situation.value("fluctuation"), pooled)
        self.findings += findings
        return scatter

    def _single(self, situation: Situation) -> None:
        if "point" in self.method.axes:
            return  # the repeatability of one pass is an effect of its own
        stated = [i for i in situation.section.items.values() if isinstance(i.field, Reading) and i.components]
        if not stated:
            self.findings.append(Finding(reading_flags.SINGLE, "one reading of each field; no scatter to judge"))

    def _quantities(self, mass_flow: Estimate, densities: dict[str, Estimate]) -> dict[str, Quantity]:
        heading = self.record.heading
        standard = heading.value("standard_density")
        names = [f"actual_flow_{name}" for name in densities]
        kept = dict.fromkeys((*names, "standard_flow", "mass_flow"), self.batch)
        out = linear(_station_flows, {"mass_flow": mass_flow, **densities}, self.batch, kept, standard=standard)
        labels = {
            f"actual_flow_{name}": f"actual flow, air at the {name}" + (" (metering plane)" if name == "meter" else "")
            for name in densities
        }
        item = heading["standard_density"]
        said = f"{units.from_si(standard, item.unit, 'density'):g} {item.unit}" if item.unit else f"{standard:g} kg/m3"
        labels |= {"standard_flow": f"standard flow, {said}", "mass_flow": "mass flow"}
        first = "actual_flow_unit" if "unit" in densities else "actual_flow_meter"
        order = [first, *(n for n in kept if n != first)]
        coverage, samples, seed = self.result.coverage, self.result.samples, self.result.seed
        quantities = {}
        together = {} if self.batch else intervals({n: out[n] for n in order}, coverage, samples=samples, seed=seed)
        for name in order:
            kind = "mass flow" if name == "mass_flow" else "flow"
            unit = "kg/h" if name == "mass_flow" else self.unit
            if self.batch:
                interval, drawn = batch_interval(out[name], coverage, samples=samples, seed=seed)
            else:
                interval, drawn = together[name], None
            quantities[name] = Quantity(name, labels[name], kind, unit, out[name], interval, drawn)
        return quantities

    # findings

    def _check_limits(self, situation: Situation) -> None:
        for limit in self.method.limits:
            raised = np.asarray(limit.test(situation), dtype=bool)
            if not np.any(raised):
                continue
            rows = None
            if self.batch and raised.ndim:
                rows = np.any(raised.reshape(raised.shape[0], -1), axis=-1)
                rows = None if len(rows) == 1 else rows
            self.findings.append(Finding(limit.flag, limit.message(situation), rows))

    def _check_quantities(self, quantities: dict[str, Quantity]) -> None:
        main = next(iter(quantities.values()))
        estimate, interval = main.estimate, main.interval
        value = estimate.value

        def add(meaning: Any, mask: Any, message: str) -> None:
            mask = np.asarray(mask, dtype=bool)
            if np.any(mask):
                count = f" ({int(np.sum(mask))} rows)" if self.batch else ""
                self.findings.append(Finding(meaning, message + count, mask if self.batch else None))

        missing = ~np.isfinite(value) | ~np.isfinite(estimate.u)
        if np.any(missing) and not self.batch:
            raise CalculationError(
                f"{self.record.name}: no flow follows from these readings; some lie outside what the equations of "
                f"{self.method.name} have a meaning for. Check the air state and the readings."
            )
        add(flags.NO_VALUE, missing, "no flow follows from the readings")
        with np.errstate(invalid="ignore"):
            add(flags.REVERSED, interval.high < 0, "the flow is below zero by more than its error bar")
            add(flags.BELOW_NOISE, (interval.low <= 0) & (interval.high >= 0), "the error bar reaches zero")
        drawn = main.drawn if self.batch else np.asarray(interval.source == "monte carlo")
        add(flags.CURVED, interval.curved & drawn, "the interval is from Monte Carlo draws")
        add(flags.CURVED_LINEAR, interval.curved & ~drawn, "the interval is linear where it should not be")
        add(flags.SHAPE, interval.shape & ~interval.curved, "one cause decides the shape of the error bar")
        lost = np.broadcast_to(interval.lost, value.shape)
        add(flags.LOST, lost > 0.001, f"{float(np.max(lost)):.1%} of the draws")
        if not interval.stable:
            self.findings.append(Finding(flags.UNSTABLE, f"{interval.draws} draws"))


def _finished(mass_flow: Array, shifts: dict[str, Any], **more: Array) -> dict[str, Array]:
    """q·Π(1 + shift)(1 + e), scatter and its bias added first: they were found on the kernel's own flow."""
    total = mass_flow
    for name in ("bias", "scatter"):
        if name in more:
            total = total + more[name]
    if "relative_scatter" in more:
        total = total * (1.0 + more["relative_scatter"])
    for name, shift in shifts.items():
        total = total * (1.0 + shift) * (1.0 + more[name])
    return {"mass_flow": total}


def _station_flows(mass_flow: Array, standard: float, **densities: Array) -> dict[str, Array]:
    """The same mass flow as volume flow of each station's air, and of standard air."""
    actual = {f"actual_flow_{name}": mass_flow / density for name, density in densities.items()}
    return {**actual, "standard_flow": mass_flow / standard, "mass_flow": mass_flow}
