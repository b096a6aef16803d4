"""Several measurements of one flow: every two held against each other, and combined where all of them agree."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from itertools import combinations

import numpy as np

from flowrig.errors import CalculationError
from flowrig.methods import flags
from flowrig.progress import doing
from flowrig.records.declare import Finding, FlagMeaning, Reading
from flowrig.records.items import as_written
from flowrig.records.record import Flow
from flowrig.records.words import folded
from flowrig.studies import checks
from flowrig.studies.at_flow import ALIKE, AtFlow
from flowrig.studies.quantities import station_flows, through_unit
from flowrig.studies.result import FlowResult, Quantity, Result, unused
from flowrig.studies.together import CombinedFlow, Pair, Together
from flowrig.uncertainty.combine import Combined, Comparison, combine, compare
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.interval import intervals
from flowrig.uncertainty.propagate import linear

DISAGREE = FlagMeaning(
    "disagree",
    "alarm",
    "Two measurements of one flow differ by more than their error bars explain (E_n beyond 1), whether what they share "
    "cancels or not: at least one has an error that its bar does not know of. Nothing is combined. Look for a leak "
    "between the two, a wrong nozzle or size, swapped hoses, a speed that was changed, air of another temperature at "
    "one of the two meters; measure again.",
)
CANNOT_TELL = FlagMeaning(
    "cannot tell",
    "warning",
    "Whether two measurements of one flow agree depends on how far an error that both share (one manometer's limit, "
    "one method's equation) moves both alike, and that is not known. Nothing is combined. A certificate in place of "
    "the maker's limit, or another instrument for one of the two, would tell. (E_n is within 1 one way, beyond it the "
    "other.)",
)
SAME_READINGS = FlagMeaning(
    "same readings twice",
    "warning",
    "Two sections hold the very same repeated readings, so that they are one measurement and not two: that they "
    "agree says nothing, and nothing is combined, since their scatter would be counted as independent. Remove one.",
)
RESTS_ON_ALARM = FlagMeaning(
    "rests on an alarm",
    "alarm",
    "A measurement that carries an alarm is part of the combined flow. Deal with the alarm, or take the section out.",
)
ADDS_NOTHING = FlagMeaning(
    "adds nothing",
    "note",
    "A measurement was left out of the combined flow: its error holds all that the others may be wrong by, and more. "
    "By the equations it would have a weight below zero, to correct the others through an error they share; that would "
    "rest on the sharing being exact.",
)
NOT_HELD_BY_ROW = FlagMeaning(
    "not held against each other",
    "note",
    "Measurements of one flow are compared and combined, and claims held against what was measured, in a single record "
    "only; the rows of a table are reduced measurement by measurement. Reduce the record of a row by itself.",
)
LEAKS_APART = FlagMeaning(
    "leaks stated for some only",
    "warning",
    "Of measurements held against each other some have what leaks put back, so that they are of the unit, and others "
    "do not. Where the same chamber leaks, state it for all of them.",
)
FLAGS = (DISAGREE, CANNOT_TELL, LEAKS_APART, SAME_READINGS, RESTS_ON_ALARM, ADDS_NOTHING, NOT_HELD_BY_ROW)

AtOtherReadings = Callable[[int, float], Estimate]


@doing("holding measurements against each other")
def hold_together(result: Result, at_other_readings: AtOtherReadings) -> list[Together]:
    """Measurements of a record, flow by flow, held against each other and combined.

    Parameters
    ----------
    result : Result
        With all its flows reduced.
    at_other_readings : callable
        (number of the measurement, factor) to its mass flow, had its readings of the flow been so many times what
        they were.

    Returns
    -------
    list of Together
        One a flow that was measured, in the order of the record; empty where there is a single measurement in all.

    Notes
    -----
    Mass flows are compared: metering planes differ in the density of their air, but the mass that passes the unit is
    the same. How an error grows with the flow is not guessed from its kind: for the covariance of the combination
    every measurement is reduced again with the readings it would have shown at the combined flow. A share of the
    reading then stays a share, a zero offset an offset, and what the fixed part of a limit does to a root is its own.
    """
    if len(result.flows) < 2:
        return []
    groups: dict[str, list[int]] = {}
    for i, flow in enumerate(result.flows):
        groups.setdefault(folded(flow.of), []).append(i)
    return [_Group(result, numbers, at_other_readings).held() for numbers in groups.values()]


class _Group:
    """The measurements of one flow on their way to a comparison."""

    def __init__(self, result: Result, numbers: Sequence[int], at_other_readings: AtOtherReadings) -> None:
        self.result, self.numbers = result, numbers
        self.flows: list[FlowResult] = [result.flows[i] for i in numbers]
        self.sections: list[Flow] = [result.record.flows[i] for i in numbers]
        self.masses = [flow["mass_flow"].estimate for flow in self.flows]
        self.unit = self.flows[0].main.unit
        # air of one state for all: where none was read at the unit, that of the meter without its static pressure
        self.station = "unit" if "unit" in self.flows[0].air else "meter"
        self.scaled = [
            AtFlow(float(mass.value), partial(at_other_readings, number), lambda found: float(found.value))
            for number, mass in zip(numbers, self.masses, strict=True)
        ]
        self.density = float(self.flows[0].air[self.station]["density"].value)

    def held(self) -> Together:
        names = [flow.name for flow in self.flows]
        together = Together(self.flows[0].of, names)
        if len(self.flows) < 2:
            together.why_not = "one measurement of this flow: nothing to hold it against"
            return together
        together.basis = (
            f"mass flows compared, shown as flow of the air at the {self.station}, {self.density:.4f} kg/m3"
        )
        if self.station == "meter":
            together.basis += " without static pressure"
        self._hold(together)
        together.findings += [
            Finding(DISAGREE if pair.verdict == "disagree" else CANNOT_TELL, pair.sentence)
            for pair in together.pairs
            if pair.verdict != "agree"
        ]
        stated = ["chambers" in section.hardware for section in self.sections]
        if any(stated) and not all(stated):
            silent = [name for name, said in zip(names, stated, strict=True) if not said]
            together.findings.append(Finding(LEAKS_APART, f"none for {', '.join(silent)}"))
        for one, other in combinations(range(len(self.flows)), 2):
            if _same_readings(self.sections[one], self.sections[other]):
                together.findings.append(Finding(SAME_READINGS, f"{names[one]} and {names[other]}"))
        together.why_not = self._why_not(together)
        if not together.why_not:
            try:
                together.combined = self._combined()
            except ValueError as error:
                together.why_not = f"nothing combined: {error}"
        return together

    def _hold(self, together: Together) -> None:
        """Every flow as volume of the same air, and every two of them against each other."""
        names, coverage = together.names, self.result.coverage
        held = {
            f"{names[i]} - {names[j]}": (i, j, compare(self.masses[i], self.masses[j], coverage))
            for i, j in combinations(range(len(names)), 2)
        }
        masses = dict(zip(names, self.masses, strict=True)) | {label: c.difference for label, (_, _, c) in held.items()}
        volumes = {
            label: linear(_as_volume, {"mass": mass}, outputs={"flow": ()}, density=self.density)["flow"]
            for label, mass in masses.items()
        }
        bars = intervals(volumes, coverage, samples=self.result.samples, seed=self.result.seed)
        shown = {
            label: Quantity("difference" if label in held else "flow", label, "flow", self.unit, x, bars[label])
            for label, x in volumes.items()
        }
        together.flows = [shown[name] for name in names]
        for label, (i, j, comparison) in held.items():
            middle = 0.5 * (abs(float(self.masses[i].value)) + abs(float(self.masses[j].value)))
            share = float(comparison.difference.value) / middle if middle else math.nan
            sentence = _in_words(names[i], names[j], comparison, self.masses[i], self.masses[j])
            if bool(bars[label].curved):
                said = f"the difference {label} bends within its error bar, while E_n is from the linear one"
                together.findings.append(Finding(flags.CURVED, said))
            together.pairs.append(
                Pair(names[i], names[j], comparison, shown[label], self.density, share, sentence)
            )  # fmt: skip

    def _why_not(self, together: Together) -> str:
        """Why nothing is combined; empty where everything agrees."""
        apart = [pair for pair in together.pairs if pair.verdict != "agree"]
        if apart:
            said = [f"{p.first} and {p.second} {_VERB[p.verdict]}" for p in apart]
            return f"nothing combined, since {'; '.join(said)}"
        same = [f.message for f in together.findings if f.meaning is SAME_READINGS]
        return f"nothing combined, since the same readings stand in {'; '.join(same)}" if same else ""

    def _combined(self) -> CombinedFlow:
        mass_flow, weights, found = self._by_least_squares()
        record = self.result.record
        standard = record.heading["standard_density"]
        densities = {name: state["density"] for name, state in self.flows[0].air.items()}
        labels = {f"actual_flow_{name}": f"actual flow, air at the {name}" for name in densities}
        labels |= {"standard_flow": f"standard flow, {as_written(standard)}", "mass_flow": "mass flow"}
        if any("chambers" in section.hardware for section in self.sections):
            labels = through_unit(labels)
        try:
            quantities = station_flows(
                mass_flow, densities, standard.value, labels, self.unit, (), self.result.coverage, "no value",
                samples=self.result.samples, seed=self.result.seed,
            )  # fmt: skip
        except CalculationError as error:
            raise ValueError(str(error)) from None
        by_name = dict(zip((flow.name for flow in self.flows), weights, strict=True))
        words = "combined flow" + (f", {self.flows[0].of}" if self.flows[0].of else "")
        name = unused(words, [flow.name for flow in self.result.flows])
        combined = CombinedFlow(name, quantities, by_name, found.chi_square, len(self.flows) - 1)
        combined.findings += [
            Finding(RESTS_ON_ALARM, f"{flow.name}: {f.code}")
            for flow in self.flows
            for f in flow.findings
            if f.severity == "alarm" and by_name[flow.name] > 0.0
        ]
        combined.findings += checks.of_quantities(quantities)
        combined.findings += [Finding(ADDS_NOTHING, f"{name} has no weight") for name in combined.adds_nothing]
        return combined

    def _by_least_squares(self) -> tuple[Estimate, list[float], Combined]:
        """Combined mass flow, weights, and the chi-square of all; what would have a weight below zero is left out."""
        whole = found = combine(self.masses, at=self._at)
        kept = list(range(len(self.masses)))
        while found.adds_nothing and len(kept) - len(found.adds_nothing) > 1:
            kept = [i for place, i in enumerate(kept) if place not in found.adds_nothing]
            some = tuple(kept)
            found = combine([self.masses[i] for i in some], at=lambda value, some=some: self._at(value, some))  # type: ignore[misc]
        weights = [0.0] * len(self.masses)
        if found.adds_nothing:  # one is left
            [alone] = [i for place, i in enumerate(kept) if place not in found.adds_nothing]
            weights[alone] = 1.0
            return self.masses[alone], weights, whole
        for i, weight in zip(kept, found.weights, strict=True):
            weights[i] = float(weight)
        return found.estimate, weights, whole

    def _at(self, value: float, some: Sequence[int] | None = None) -> list[Estimate]:
        return [self._at_flow(i, value) for i in (some if some is not None else range(len(self.masses)))]

    def _at_flow(self, i: int, wanted: float) -> Estimate:
        """A measurement with the readings it would have shown at another mass flow."""
        own = float(self.masses[i].value)
        if not (own > 0.0 and wanted > 0.0):
            raise ValueError("a flow that is not above zero has no error in common with others to be weighed by")
        if abs(wanted / own - 1.0) <= ALIKE:
            return self.masses[i]
        try:
            return self.scaled[i].find(wanted)[1]
        except ValueError:
            raise ValueError(f"{self.flows[i].name} does not follow its readings to another flow") from None


_VERB = {"disagree": "disagree", "cannot tell": "may or may not agree"}


def _as_volume(*, mass: Array, density: float) -> dict[str, Array]:
    return {"flow": mass / density}


def _same_readings(one: Flow, other: Flow) -> bool:
    """Whether two sections share a run of readings value by value, which chance does not do."""
    runs = [
        {
            name: item.value
            for name, item in flow.section.items.items()
            if isinstance(item.field, Reading) and np.size(item.value) > 2 and np.ptp(item.value) > 0.0
        }
        for flow in (one, other)
    ]
    return any(
        name in runs[1] and np.array_equal(value, runs[1][name], equal_nan=True) for name, value in runs[0].items()
    )


def _in_words(first: str, second: str, held: Comparison, one: Estimate, other: Estimate) -> str:
    if not (math.isfinite(float(one.value)) and math.isfinite(float(other.value))):
        return f"{first} and {second}: no value to compare"
    if held.verdict == "agree":
        return f"{first} and {second} agree: they differ by no more than their error bars explain"
    if held.verdict == "disagree":
        return f"{first} and {second} disagree: they differ by more than their error bars explain"
    shared = _shared(one, other) or "what both share"
    if abs(held.e_n) > abs(held.e_n_unshared):
        return (
            f"{first} and {second} differ by more than their error bars explain if {shared} moves both alike, by less "
            f"if it does not"
        )
    return (
        f"{first} and {second} agree only if {shared} moves one up where it moves the other down, which is not known "
        f"to be so"
    )


def _shared(one: Estimate, other: Estimate, most: int = 2) -> str:
    """The causes that two results share, by how much they bear on the difference, in words."""
    both = {
        cause.name: float(np.abs(np.sum(part * other.parts[cause])))
        for cause, part in one.parts.items()
        if cause in other.parts
    }
    total = sum(both.values())
    names = [name for name in sorted(both, key=lambda n: -both[n]) if both[name] > 0.1 * total]
    return " with ".join(names[:most])
