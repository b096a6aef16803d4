"""Watts of a unit at its socket: true ones, volt-amperes and the factor between them, and the air for each watt."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Literal

import numpy as np

from flowrig import units
from flowrig.records import flags as reading_flags
from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.electrical_facts import DIMMER, PRODUCT, TRUE_POWER, UNSURE
from flowrig.records.files import quoted
from flowrig.records.items import Array, Section, as_written
from flowrig.studies.beside_reading import state_said, state_unsaid, value_of
from flowrig.studies.claims import Measured, flows_of
from flowrig.studies.clean_air_flow import delivered
from flowrig.studies.one_sided import one_sided
from flowrig.studies.result import PartResult, Quantity, Result
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear

APART = 2.0  # times the standard uncertainty of a difference: chance alone does that once in 20
LOW_FACTOR = 0.2

UPPER_BOUND = FlagMeaning(
    "watts as an upper bound",
    "warning",
    "The meter cannot tell watts from volt-amperes, or it is not known whether it can: what it shows is volts times "
    "amperes, and the true watts are no more than that. Small fan motors have power factors from 0.5 to 0.95, so that "
    "they may be half. Energy and its price are by true watts: take a meter that shows a power factor.",
    "definition of the power factor; its range: common practice, no source",
)
IMPOSSIBLE = FlagMeaning(
    "more watts than volt-amperes",
    "alarm",
    "The true watts are above the volt-amperes by more than the error bars explain, which nothing can be: the two were "
    "not read at one time and setting, or were exchanged, or a digit has slipped. No power factor and no air for each "
    "watt is told.",
    "definition of the power factor",
)
FACTOR_LOW = FlagMeaning(
    "power factor hardly likely",
    "warning",
    f"The watts are less than {LOW_FACTOR:g} of the volt-amperes, error bars included. Small fan motors have power "
    "factors from 0.5 to 0.95, and even a motor with a speed control of its own is seldom below a third: look for a "
    "slipped digit, a range of the meter that is too coarse, or readings of different settings.",
    "range of power factors: common practice, no source; the limit: own judgement, no source",
)
OFF_ABOVE_ON = FlagMeaning(
    "more watts off than on",
    "alarm",
    "The unit is said to draw more watts switched off than running, by more than the error bars explain: power and "
    "standby were exchanged, or a digit has slipped. No air for each watt is told.",
)
NOT_TOLD = FlagMeaning(
    "power not told",
    "alarm",
    "The error bar of the power reaches down to nothing: the meter's limits are as large as what it showed. Check the "
    "digits of its accuracy, or take a meter with a smaller range. No air for each watt is told.",
)
AT_ODDS = FlagMeaning(
    "electrical readings at odds",
    "warning",
    "Two ways to one electrical quantity differ by more than twice what their error bars explain (volts times amperes "
    "against volt-amperes, or watts against volt-amperes times the power factor). A distorted current, as behind a "
    "speed control, is read wrong by meters that take it for a sine.",
)
ON_DIMMER = FlagMeaning(
    "motor on a lamp dimmer",
    "alarm",
    "Many fan motors, shaded-pole ones above all, must not run on a lamp dimmer: they overheat. Switch it off and ask "
    "a licensed electrician for a control that is made for the motor. The chopped current misleads simple meters too.",
    "local codes (from memory)",
)
WHICH_FLOW = FlagMeaning(
    "which flow not said",
    "note",
    "The record holds several flows and does not say at which of them the power was read, so that no flow for each "
    "watt is told. Write of in [electrical].",
)
FLAGS = (UPPER_BOUND, IMPOSSIBLE, FACTOR_LOW, OFF_ABOVE_ON, NOT_TOLD, AT_ODDS, ON_DIMMER, WHICH_FLOW)

Bound = Literal["", "at most", "at least"]


def electrical(result: Result) -> PartResult:
    """What the table [electrical] says."""
    return _Reduction(result, result.record.parts["electrical"].section).run()


class _Reduction:
    """Readings at a socket on their way to watts."""

    def __init__(self, result: Result, section: Section) -> None:
        self.result, self.section = result, section
        self.part = PartResult("electrical", "Electrical power")
        readings = ("power", "apparent", "power_factor", "voltage", "current", "standby")
        self.read = {
            name: value_of(section[name], result.record, self.part.findings) for name in readings if name in section
        }

    def run(self) -> PartResult:
        shown, apparent = self.read.get("power"), self._apparent()
        power = self._true(apparent)
        if power is not None:
            self._add("power", "electrical power", "power", "W", power)
        else:
            # a meter of which it is not known what it shows: no more than that, whichever it is
            most = shown if shown is not None else apparent
            assert most is not None
            self._add("power_at_most", "electrical power", "power", "W", most, "at most")
        if apparent is not None:
            self._add("apparent_power", "apparent power", "apparent power", "VA", apparent)
        self._factor(power, apparent)
        if "standby" in self.read:
            self._add("standby", "power, switched off", "power", "W", self.read["standby"])
        known = self.part.quantities.get("power") or self.part.quantities["power_at_most"]
        self._likely(known)
        if not any(f.meaning in (IMPOSSIBLE, OFF_ABOVE_ON, NOT_TOLD) for f in self.part.findings):
            self._air_for_each_watt(known)
        self.part.sentences += state_said(self.section)
        self.part.findings += [*self._findings(known), *state_unsaid(self.section)]
        self.part.findings.sort(key=lambda f: SEVERITIES.index(f.severity))
        return self.part

    def _findings(self, known: Quantity) -> Iterator[Finding]:
        if known.bound:
            said = {PRODUCT: "the meter shows volts times amperes", UNSURE: "what the meter shows is not known"}
            words = said[self.power_is] if "power" in self.read else "volt-amperes without a power factor"
            yield Finding(UPPER_BOUND, words)
        elif self.section["power_is"].assumed and not {"apparent", "power_factor"} & set(self.read):
            yield Finding(reading_flags.ASSUMED, "the watt meter tells true watts from volts times amperes")
        if self.section.value("speed_control") == DIMMER:
            yield Finding(ON_DIMMER, "switch it off, and let a licensed electrician look at it")

    def _likely(self, known: Quantity) -> None:
        if not known.bound and float(known.low) <= 0.0:
            said = f"{known.value:.4g} {known.unit}, from {known.low:.4g} {known.unit}"
            self.part.findings.append(Finding(NOT_TOLD, said))
        standby = self.read.get("standby")
        if standby is not None and _above(standby, known.estimate):
            words = [f"{as_written(self.section['standby'])} switched off", f"{known.value:.4g} {known.unit} running"]
            self.part.findings.append(Finding(OFF_ABOVE_ON, ", ".join(words)))

    @property
    def power_is(self) -> str:
        return str(self.section.value("power_is"))

    def _apparent(self) -> Estimate | None:
        """Volt-amperes: as shown, else what a meter shows that cannot tell them, else volts times amperes."""
        product = None
        if "current" in self.read:
            product = _of(_times, x=self.read["voltage"], y=self.read["current"])
        shown = self.read.get("apparent")
        if shown is None and self.power_is == PRODUCT:
            shown = self.read.get("power")
        elif shown is not None and self.power_is == PRODUCT and "power" in self.read:
            self._agree(shown, self.read["power"], "VA", "volt-amperes shown", "the power that is said to be the same")
        if shown is not None and product is not None:
            self._agree(shown, product, "VA", "volt-amperes shown", "volts times amperes")
        return shown if shown is not None else product

    def _true(self, apparent: Estimate | None) -> Estimate | None:
        """True watts; None where all that is known is that they are no more than something."""
        by_factor = None
        if apparent is not None and "power_factor" in self.read:
            by_factor = _of(_times, x=apparent, y=self.read["power_factor"])
        if "power" not in self.read or self.power_is != TRUE_POWER:
            return by_factor
        if by_factor is not None:
            self._agree(self.read["power"], by_factor, "W", "watts shown", "volt-amperes times the power factor")
        return self.read["power"]

    def _factor(self, power: Estimate | None, apparent: Estimate | None) -> None:
        """Watts over volt-amperes where both were read, else the factor that was shown; above 1 its lower limit."""
        shown = self.read.get("power")
        if shown is not None and apparent is not None and self.power_is != PRODUCT and _above(shown, apparent):
            said = f"{float(shown.value):.4g} W of {float(apparent.value):.4g} VA"
            self.part.findings.append(Finding(IMPOSSIBLE, said))
            return
        factor = self.read.get("power_factor")
        if power is not None and power is shown and apparent is not None:
            factor = _of(_over, x=power, y=apparent)
        if factor is None:
            return
        bound: Bound = "at least" if float(factor.value) > 1.0 else ""
        name = "power_factor_at_least" if bound else "power_factor"
        self._add(name, "power factor", "power factor", "", factor, bound)
        if not bound and self.part.quantities[name].high < LOW_FACTOR:
            self.part.findings.append(Finding(FACTOR_LOW, f"{float(factor.value):.2g}"))

    def _agree(self, one: Estimate, other: Estimate, unit: str, named: str, other_named: str) -> None:
        apart = _of(lambda x, y: {"x": x - y}, x=one, y=other)
        if abs(float(apart.value)) > APART * float(apart.u) + 1e-9:
            shown = [f"{float(x.value):.4g} {unit}" for x in (one, other)]
            self.part.findings.append(Finding(AT_ODDS, f"{named} {shown[0]}, {other_named} {shown[1]}"))

    def _air_for_each_watt(self, power: Quantity) -> None:
        """Of the flow, and of the clean air that an earlier part tells and has not divided itself."""
        flows = list(self._flows())
        several = len(flows) > 1
        for i, (name, flow) in enumerate(flows):
            words = f"flow for each watt, {flow.label.rpartition(', ')[2]}" + (f", {name}" if several else "")
            self._per_watt("flow_per_power" + (f"_{i + 1}" if i else ""), words, flow, power)
        for part in list(self.result.parts.values()):
            if any(q.kind == "flow per power" for q in part.quantities.values()):
                continue
            for name, q in part.quantities.items():
                if q.kind == "flow" and name.startswith("clean_air") and not q.bound:
                    self._per_watt(f"{name}_per_power", f"{q.label}, for each watt", q, power)

    def _per_watt(self, name: str, label: str, air: Quantity, power: Quantity) -> None:
        unit = f"{air.unit}/W" if f"{air.unit}/W" in units.accepted("flow per power") else "m3/h/W"
        bound: Bound = "at least" if power.bound else ""
        self._add(name, label, "flow per power", unit, _of(_over, x=air.estimate, y=power.estimate), bound)

    def _flows(self) -> Iterator[Measured]:
        """The flow that the power was read at, and each of several that were not combined.

        Of the air that a clean-air rate is told of too, so that the two for each watt may be held side by side.
        """
        if not self.result.flows:
            return
        known = list(dict.fromkeys(flow.of for flow in self.result.flows))
        of = self.section.value("of")
        if of is None and len(known) > 1:
            self.part.findings.append(Finding(WHICH_FLOW, ", ".join(quoted(word) for word in known)))
            return
        told = {flow.name: flow.quantities for flow in self.result.flows}
        told |= {group.combined.name: group.combined.quantities for group in self.result.together if group.combined}
        yield from ((name, delivered(told[name])) for name, _ in flows_of(self.result, of))

    def _add(self, name: str, label: str, kind: str, unit: str, x: Estimate, bound: Bound = "") -> None:
        result = self.result
        drawn: dict[str, Any] = {"samples": result.samples, "seed": result.seed}
        bar = one_sided(x, bound, result.coverage, **drawn) if bound else interval(x, result.coverage, **drawn)
        item = self.section.items.get(name.removesuffix("_at_most").removesuffix("_at_least"))
        shown = item.unit if item is not None and item.unit in units.accepted(kind) else unit
        self.part.quantities[name] = Quantity(name, label, kind, shown, x, bar, bound=bound)


def _above(one: Estimate, other: Estimate) -> bool:
    """More than the other, by more than their error bars explain."""
    apart = _of(lambda x, y: {"x": x - y}, x=one, y=other)
    return float(apart.value) > APART * float(apart.u) + 1e-9


def _of(kernel: Callable[..., dict[str, Array]], **inputs: Estimate) -> Estimate:
    return linear(kernel, inputs, (), {"x": ()})["x"]


def _times(*, x: Array, y: Array) -> dict[str, Array]:
    return {"x": x * y}


def _over(*, x: Array, y: Array) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        return {"x": np.where(np.asarray(y) > 0.0, x / y, np.nan)}
