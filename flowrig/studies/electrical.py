"""Watts of a unit at its socket: true ones, volt-amperes and the factor between them, and the air for each watt."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Literal

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records import flags as reading_flags
from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.electrical_facts import DIMMER, PRODUCT, TRUE_POWER, UNSURE
from flowrig.records.files import quoted
from flowrig.records.items import Array, Section
from flowrig.records.words import folded
from flowrig.studies.beside_reading import state_unsaid, value_of
from flowrig.studies.claims import Measured, flows_of
from flowrig.studies.one_sided import one_sided
from flowrig.studies.result import PartResult, Quantity, Result
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear

APART = 2.0  # times the standard uncertainty of a difference: chance alone does that once in 20

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
    "not read at one time and setting, or were exchanged, or a digit has slipped.",
    "definition of the power factor",
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
FLAGS = (UPPER_BOUND, IMPOSSIBLE, AT_ODDS, ON_DIMMER, WHICH_FLOW)

Bound = Literal["", "at most", "at least"]


def electrical(result: Result) -> PartResult:
    """What the table [electrical] says.

    Raises
    ------
    InputError
        If it names a flow that the record does not hold.
    """
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
        if known.value > 0.0:
            self._air_for_each_watt(known)
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
        """Watts over volt-amperes where both were read, else the factor that was shown."""
        both = power is self.read.get("power") and power is not None and apparent is not None
        if both and power is not None and apparent is not None and float(apparent.value) > 0.0:
            self._add("power_factor", "power factor", "power factor", "", _of(_over, x=power, y=apparent))
            if self.part.quantities["power_factor"].low > 1.0:
                said = f"{float(power.value):.4g} W of {float(apparent.value):.4g} VA"
                self.part.findings.append(Finding(IMPOSSIBLE, said))
        elif "power_factor" in self.read:
            self._add("power_factor", "power factor", "power factor", "", self.read["power_factor"])

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
            words = f"flow for each watt, {name}" if several else "flow for each watt"
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
        """The flow that the power was read at, and each of several that were not combined."""
        if not self.result.flows:
            return
        known = list(dict.fromkeys(flow.of for flow in self.result.flows))
        of = self.section.value("of")
        if of is not None and folded(of) not in map(folded, known):
            words = ", ".join(quoted(word) for word in known if word) or "the words of a flow, and none has any"
            where = self.section["of"].where
            raise InputError(
                Fault(where, quoted(of), f"one of: {words}", 'Write of = "…" in its [[flow]] sections too.')
            )
        if of is None and len(known) > 1:
            self.part.findings.append(Finding(WHICH_FLOW, ", ".join(quoted(word) for word in known)))
            return
        yield from flows_of(self.result, of)

    def _add(self, name: str, label: str, kind: str, unit: str, x: Estimate, bound: Bound = "") -> None:
        result = self.result
        drawn: dict[str, Any] = {"samples": result.samples, "seed": result.seed}
        bar = one_sided(x, bound, result.coverage, **drawn) if bound else interval(x, result.coverage, **drawn)
        item = self.section.items.get(name.removesuffix("_at_most"))
        shown = item.unit if item is not None and item.unit in units.accepted(kind) else unit
        self.part.quantities[name] = Quantity(name, label, kind, shown, x, bar, bound=bound)


def _of(kernel: Callable[..., dict[str, Array]], **inputs: Estimate) -> Estimate:
    return linear(kernel, inputs, (), {"x": ()})["x"]


def _times(*, x: Array, y: Array) -> dict[str, Array]:
    return {"x": x * y}


def _over(*, x: Array, y: Array) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        return {"x": np.where(np.asarray(y) > 0.0, x / y, np.nan)}
