"""A record to flows with error bars: readings, air, kernel, corrections, scatter, intervals, flags."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.methods import NAMES, find_method, leakage
from flowrig.methods.method import Effect, Method, Situation, Size
from flowrig.progress import doing, each
from flowrig.records import flags as reading_flags
from flowrig.records.declare import SEVERITIES, Finding, Reading
from flowrig.records.estimates import hardware_identity
from flowrig.records.instruments import all_findings
from flowrig.records.items import Array, as_written
from flowrig.records.reader import read_record
from flowrig.records.record import Flow, Record, ToCome
from flowrig.studies import checks
from flowrig.studies.arguments import checked
from flowrig.studies.beside_flow import STUDIES, reduced_beside
from flowrig.studies.claims import hold_claims
from flowrig.studies.compare import hold_together
from flowrig.studies.gather import Gathered, scaled
from flowrig.studies.quantities import first_station, station_flows, through_unit
from flowrig.studies.result import FlowResult, Quantity, Result, names_apart
from flowrig.studies.scatter import Scatter, scatter_of
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear, nominal


@doing("reading")
def load(source: str | Path | Mapping[str, Any], to_come: ToCome | None = None) -> Record:
    """Read and check a record, of which some readings may be still to come. Raises `InputError` with every fault."""
    record = read_record(source, find_method, NAMES, to_come)
    unit = record.heading.value("flow_unit")
    if unit is not None:
        try:
            units.factor(unit, "flow")
        except ValueError as error:
            raise InputError(
                Fault(record.heading["flow_unit"].where, repr(unit), "a unit of flow", str(error))
            ) from None
    return record


def no_test(record: Record) -> None:
    """Raises `InputError` for a record that holds no test: there is nothing in it to reduce."""
    if record.calibration is not None:
        read, said = "paired readings of a calibration", "a record without a table [calibration]"
        remedy = "Run flowrig calibrate, or flowrig verify with a calibration: reduce is for the flow of one test."
        raise InputError(Fault(record.calibration.where, read, said, remedy))
    if record.curve is not None:
        remedy = "Name it in the table [predict] or [[filters]] of a record for flowrig predict."
        read = f"the description of a {record.curve.table.name}"
        raise InputError(Fault(record.curve.where, read, "a record of a test", remedy))
    if record.flows or set(record.parts) & set(STUDIES):
        return
    command = next((f"Run flowrig {name} for it." for name in record.parts), "Add what was read.")
    raise InputError(Fault(record.name, "no [[flow]]", "a record of a test", command))


@checked
def reduce(
    source: str | Path | Mapping[str, Any] | Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
    allow_outside: bool = False,
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
    allow_outside : bool
        Give a value outside a calibrated range too, with an alarm and a band that grows with the distance.

    Returns
    -------
    Result

    Raises
    ------
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the record and its files, and where a reading lies beyond what its meter may be used for.
    CalculationError
        If no finite flow follows from the readings.
    """
    record = source if isinstance(source, Record) else load(source)
    no_test(record)
    record = replace(record, allow_outside=allow_outside)
    result = empty_result(record, coverage, samples, seed, unit)
    faults: list[Fault] = []
    for flow in each("flow", record.flows):
        try:
            result.flows.append(Reduction(record, flow, result, unit).run())
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    names_apart(result.flows)
    result.together = hold_together(result, partial(_at_other_readings, result, unit))
    reduced_beside(result)
    result.claims = hold_claims(result)
    return result


def _at_other_readings(result: Result, unit: str | None, number: int, factor: float) -> Estimate:
    """Mass flow of a measurement, had its readings of the flow been so many times what they were."""
    flow = result.record.flows[number]
    return Reduction(result.record, scaled(flow, factor), result, unit).measured()[0]


def empty_result(record: Record, coverage: float, samples: int | None, seed: int, unit: str | None = None) -> Result:
    """A result that holds what is known about the record before any flow is reduced."""
    findings = [*record.findings, *all_findings(record.instruments)]
    if record.heading["standard_density"].assumed and record.flows:
        findings.append(Finding(reading_flags.ASSUMED, "standard flow refers to 1.2 kg/m3"))
    return Result(record, [], findings, coverage, seed, samples, unit=unit)


class Reduction:
    """One measurement on its way from readings to result.

    Parameters
    ----------
    pattern : Scatter, optional
        For a batch, what the pattern record's own readings said about scatter.
    main_only : bool
        Leave out every quantity but the first.
    """

    def __init__(
        self,
        record: Record,
        flow: Flow,
        result: Result,
        unit: str | None,
        pattern: Scatter | None = None,
        main_only: bool = False,
    ) -> None:
        self.record, self.flow, self.result, self.main_only = record, flow, result, main_only
        self.method: Method = flow.method
        self.unit = unit or record.heading.value("flow_unit") or "m3/h"
        self.gathered = Gathered(record, flow)
        self.batch = self.gathered.batch
        self.findings = self.gathered.findings
        self.pattern = pattern
        self.scatter: Scatter | None = None
        self.scatter_findings: list[Finding] = []
        self.corrections: dict[str, Array] = {}
        self.refused: Array | None = None
        self.bands: list[Effect] = []  # of limits past which a value was asked for all the same
        self.each: dict[str, Array] = {}  # what the kernel returns at every repeat or row of the log, and its flow
        self.gain = 1.0  # of the corrections together
        self.through: Estimate | None = None  # the mass flow before leakage was put back

    def measured(
        self, refusing: bool = True
    ) -> tuple[Estimate, dict[str, Estimate], dict[str, dict[str, Estimate]], Situation]:
        """Mass flow, density and state of the air at each station, and all that was known on the way.

        Not `refusing`, the kernel is followed past the limits beyond which no result may be given: on a search.
        """
        gathered = self.gathered
        meter = gathered.station("meter")
        situation = gathered.situation(meter.state)
        own = self._kernel(situation)
        self.refused = self._refused(situation) if refusing else None
        others = {name: section for name, section in self.record.air.items() if name != "meter"}
        states = {name: gathered.station(name).state for name, air in others.items() if "fan_power" not in air}
        self.through = self._finish(situation, own["mass_flow"])
        mass_flow = self._put_back(self.through, meter.state, states.get("room"))
        for name in others:
            if name not in states:
                known = gathered.temperature_by_power(name, mass_flow, meter.state["temperature"])
                states[name] = gathered.station(name, temperature=known).state
        densities = {"meter": own["density"], **{name: states[name]["density"] for name in others}}
        states = {"meter": meter.state, **{name: states[name] for name in others}}
        return mass_flow, densities, states, situation

    def run(self) -> FlowResult:
        mass_flow, densities, states, situation = self.measured()
        shown = self._quantities(mass_flow, densities)
        self.findings += checks.of_limits(self.method, situation, bool(self.batch))
        self.findings += checks.of_quantities(shown)
        self.findings.sort(key=lambda f: SEVERITIES.index(f.severity))
        name = self.flow.section.value("name") or self.method.title
        summary = self.method.summary(situation) if not self.batch else ""
        used = {n: x.value for n, x in situation.inputs.items()}
        return FlowResult(
            name,
            self.method,
            shown,
            states,
            self.findings,
            summary,
            self.corrections,
            self.scatter,
            used,
            situation.nominal,
            self.flow.section.value("of", ""),
        )

    def _kernel(self, situation: Situation) -> dict[str, Estimate]:
        """Mass flow and density at the metering plane; everything else the kernel returns goes to the situation."""
        axes = (*self.batch, *self.method.axes)
        kept = dict.fromkeys(("mass_flow", "density"), self.batch)
        out = linear(self.method.kernel, situation.inputs, axes, kept, **situation.options)
        node = out["mass_flow"].node
        assert node is not None
        reduced = (1,) * len(self.method.axes)
        situation.nominal = node.diagnostics | {n: x.value.reshape((*x.value.shape, *reduced)) for n, x in out.items()}
        return out

    def _refused(self, situation: Situation) -> Array | None:
        """Rows of a batch, 1 or 0, that lie beyond a limit past which no number is given. A record is refused there.

        Raises
        ------
        InputError
            If this is a record.
        """
        beyond = checks.beyond(self.method, situation)
        if self.record.allow_outside:
            self.bands = [x.refusal.band for x, _ in beyond if x.refusal is not None and x.refusal.band is not None]
            beyond = [(x, rows) for x, rows in beyond if x.refusal is None or x.refusal.band is None]
        if not beyond:
            return None
        if not self.batch:
            raise InputError(checks.refusal(limit, situation) for limit, _ in beyond)
        rows = np.any(np.broadcast_arrays(*(rows for _, rows in beyond)), axis=0)
        return np.asarray(rows, dtype=float)

    def _finish(self, situation: Situation, mass_flow: Estimate) -> Estimate:
        """Corrections and model errors, and the scatter of repeated or logged readings."""
        inputs = {"mass_flow": mass_flow}
        shifts: dict[str, Any] = {}
        for i, effect in enumerate((*self.method.effects, *self.bands)):
            size = effect.size(situation)
            if size is None:
                continue
            if size.assumed:
                self.findings.append(Finding(reading_flags.ASSUMED, size.assumed))
            inputs[f"effect_{i}"], shifts[f"effect_{i}"] = self._effect(effect, size)
            if np.any(size.shift):
                self.corrections[effect.label] = np.asarray(size.shift)
                self.gain *= 1.0 + float(np.mean(np.asarray(size.shift, dtype=float)))
        name = self.flow.section.name
        if not self.batch:
            self.scatter = self._scatter(situation, mass_flow)
            inputs |= self.scatter.inputs(self.record.id, name) if self.scatter else {}
        elif self.pattern is not None and self.gathered.runs:  # all rows rest on the pattern's own readings of the flow
            inputs |= self.pattern.shared_inputs(self.record.id, name)
        if self.refused is not None:
            inputs["refused"] = Estimate(self.refused, self.batch)
        return linear(_finished, inputs, self.batch, {"mass_flow": self.batch}, shifts=shifts)["mass_flow"]

    def _put_back(self, mass_flow: Estimate, meter: dict[str, Estimate], room: dict[str, Estimate] | None) -> Estimate:
        """What leaks between the unit and the meter, chamber by chamber; where the room was not read, its air is the
        meter's."""
        for chamber in self.flow.hardware.get("chambers", []):
            gauge = self.gathered.readings_of(chamber)["pressure"]
            density = (room or meter)["density"]
            done = leakage.put_back(mass_flow, self.flow.section, chamber, gauge, meter, density, self.record)
            if np.any(done.share):
                self.corrections[f"leakage of {chamber.path[-1]}"] = done.share
            self.findings += done.findings
            mass_flow = done.mass_flow
        return mass_flow

    def _effect(self, effect: Effect, size: Size) -> tuple[Estimate, Any]:
        id_ = effect.id
        if effect.hardware:
            [piece] = self.flow.hardware[effect.hardware]
            plan = len(self.flow.layout) if self.flow.layout is not None else 0
            id_ = f"{hardware_identity(piece, self.record)}:{effect.id}, {plan} points"
        elif effect.scope != "method":
            id_ = f"{self.record.id}:{self.flow.section.name}:{effect.id}"
        known = {"dof": size.dof, "sized_with": size.sized_with}
        cause = Cause(id_, shape=effect.shape, scope=effect.scope, label=effect.label, **known)  # type: ignore[arg-type]
        u = np.asarray(size.limit, dtype=float) / effect.divisor
        shift = np.asarray(size.shift, dtype=float)
        if np.broadcast_shapes(u.shape, shift.shape) in ((), (1,)):
            return Estimate(0.0, (), {cause: [float(u.reshape(()))]}), shift.reshape(())
        return Estimate(np.zeros(u.shape), ("row",), {cause: u[np.newaxis]}), shift

    def _scatter(self, situation: Situation, mass_flow: Estimate) -> Scatter | None:
        """Reduce every repeat or row of the log on its own, and see what their mean and scatter say."""
        runs = self.gathered.runs
        if not runs and not self.gathered.air_rows:
            stated = any(i.components for i in situation.section.items.values() if isinstance(i.field, Reading))
            # one pass of a grid has an effect of its own for what another pass would show
            if not stated and self.method.layout is None:
                single = Finding(reading_flags.SINGLE, "one reading of each field; no scatter to judge")
                self.scatter_findings = [single]
                self.findings.append(single)
            return None
        inputs = dict(situation.inputs)
        inputs |= {n: Estimate(run, ("reading", *inputs[n].axes)) for n, run in runs.items() if n in inputs}
        if self.gathered.air_rows:
            state = self.gathered.air_in_rows()
            inputs |= {name: state[name] for name in self.method.air}
        rows = nominal(self.method.kernel, inputs, ("reading", *self.method.axes), **situation.options)
        self.findings += checks.of_readings(self.method, situation, rows)
        # a traverse's passes are compared point by point as velocities, whatever the display showed
        grid = rows["velocity"] if any(run.ndim == 2 for run in runs.values()) else None
        known = situation.value("fluctuation")
        turns = self.method.turns(situation.section)
        flows, what = rows["mass_flow"].reshape(-1), "readings"
        if turns > 1:
            flows, what = flows.reshape(-1, turns).mean(axis=0), "places in turn"
        self.each = {**rows, "flows": flows}
        scatter, findings = scatter_of(flows, float(mass_flow.value), known, grid, what)
        self.scatter_findings = findings
        self.findings += findings
        return scatter

    def _quantities(self, mass_flow: Estimate, densities: dict[str, Estimate]) -> dict[str, Quantity]:
        standard = self.record.heading["standard_density"]
        labels = {f"actual_flow_{name}": f"actual flow, air at the {name}" for name in densities}
        labels["actual_flow_meter"] = "actual flow, air at the metering plane"
        labels |= {"standard_flow": f"standard flow, {as_written(standard)}", "mass_flow": "mass flow"}
        if self.main_only:
            first = f"actual_flow_{first_station(densities)}"
            labels = {first: labels[first]}
        if "chambers" in self.flow.hardware:
            labels = through_unit(labels)
        return station_flows(
            mass_flow,
            densities,
            standard.value,
            labels,
            self.unit,
            self.batch,
            self.result.coverage,
            f"{self.record.name}: no flow follows from these readings; some lie outside what the equations of "
            f"{self.method.name} have a meaning for. Check the air state and the readings.",
            samples=self.result.samples,
            seed=self.result.seed,
        )


def _finished(mass_flow: Array, shifts: dict[str, Any], **more: Array) -> dict[str, Array]:
    """q·Π(1 + shift)(1 + e), scatter and its bias added first: they were found on the kernel's own flow."""
    total = mass_flow
    for name in ("bias", "scatter"):
        if name in more:
            total = total + more[name]
    for name in ("relative_bias", "relative_scatter"):
        if name in more:
            total = total * (1.0 + more[name])
    for name, shift in shifts.items():
        total = total * (1.0 + shift) * (1.0 + more[name])
    if "refused" in more:
        total = np.where(more["refused"] > 0.0, np.nan, total)
    return {"mass_flow": total}
