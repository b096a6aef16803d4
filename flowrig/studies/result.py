"""The result of a reduction: numbers with error bars, what shares their error, and every finding."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.studies.scatter import Scatter
from flowrig.uncertainty.combine import Combined, Comparison
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval

if TYPE_CHECKING:
    import pandas as pd

CONTRACT = 2  # version of the JSON result; 2 has methods held against each other


@dataclass
class Quantity:
    """One number of a result (or one a row) with its error bar.

    Attributes
    ----------
    name : str
        ``actual_flow_meter``, ``actual_flow_unit``, ``actual_flow_room``, ``standard_flow``, ``mass_flow``.
    label : str
        In words, the station or standard density named.
    kind : str
        Key of `flowrig.units.KINDS`.
    unit : str
        Unit it is printed in.
    estimate : Estimate
        SI.
    interval : Interval
        SI.
    drawn : array of bool, or None
        Rows of a batch whose interval is Monte Carlo.
    """

    name: str
    label: str
    kind: str
    unit: str
    estimate: Estimate
    interval: Interval
    drawn: Any = None

    def __repr__(self) -> str:
        if self.estimate.axes:
            return f"<{self.name}: {self.estimate.value.size} rows [{self.unit}]>"
        return f"<{self.name}: {self.value:.6g} {self.unit}, {self.low:.6g} to {self.high:.6g}>"

    @property
    def value(self) -> Any:
        """In `unit`."""
        return units.from_si(self.estimate.value, self.unit, self.kind)

    @property
    def low(self) -> Any:
        return units.from_si(self.interval.low, self.unit, self.kind)

    @property
    def high(self) -> Any:
        return units.from_si(self.interval.high, self.unit, self.kind)

    @property
    def u(self) -> Any:
        return units.from_si(self.estimate.u, self.unit, units.as_difference(self.kind))

    def to(self, unit: str) -> Quantity:
        """The same in another unit.

        Raises
        ------
        flowrig.units.UnitError
            If the unit is not one of this kind.
        """
        units.factor(unit, self.kind)
        return Quantity(self.name, self.label, self.kind, unit, self.estimate, self.interval, self.drawn)

    def quantity(self, unit: str | None = None) -> Any:
        """Value as a pint quantity of flowrig's own registry."""
        return units.quantity(self.estimate.value, unit or self.unit, self.kind)

    def to_ufloat(self) -> Any:
        """SI value as a number of the `uncertainties` package, correlated with every other result."""
        return self.estimate.to_ufloat()


@dataclass
class FlowResult:
    """One measurement reduced.

    Attributes
    ----------
    name : str
    method : Method
    quantities : dict of str to Quantity
        The first is the one the measurement is about.
    air : dict of str to dict of str to Estimate
        State at each station.
    findings : list of Finding
        Every flag, alarms first.
    summary : str
        What the flow was computed from, in a line: enough to check it by hand.
    corrections : dict of str to array
        What was added to the flow of the summary, as a share of it, by what for; negative where it was taken off.
    scatter : Scatter or None
        What repeats, passes or a log said about their own mean.
    inputs : dict of str to array
        What the kernel was given: readings with their zero taken out, means of runs, dimensions, air. SI.
    diagnostics : dict of str to array
        Whatever else the kernel returned: Reynolds numbers, throat velocities, a profile.
    densities : dict of str to Estimate
        At the metering plane (``meter``) and at the other stations. [kg/m3]
    """

    name: str
    method: Any
    quantities: dict[str, Quantity]
    air: dict[str, dict[str, Estimate]]
    findings: list[Finding] = field(default_factory=list)
    summary: str = ""
    corrections: dict[str, Any] = field(default_factory=dict)
    scatter: Scatter | None = None
    inputs: dict[str, Any] = field(default_factory=dict)
    diagnostics: dict[str, Any] = field(default_factory=dict)
    densities: dict[str, Estimate] = field(default_factory=dict)

    @property
    def conventions(self) -> tuple[str, ...]:
        """Choices a sceptical reader would ask about."""
        conventions: tuple[str, ...] = self.method.conventions
        return conventions

    def __repr__(self) -> str:
        return f"<FlowResult {self.name!r}: {self.main!r}, {len(self.findings)} flags>"

    @property
    def main(self) -> Quantity:
        return next(iter(self.quantities.values()))

    def __getitem__(self, name: str) -> Quantity:
        return self.quantities[name]


@dataclass(frozen=True)
class Pair:
    """Two measurements of one flow held against each other, as standard flow.

    Attributes
    ----------
    first, second : str
        Names of the measurements.
    comparison : Comparison
        First minus second.
    difference : Quantity
    share : float
        Difference over the mean of the two.
    """

    first: str
    second: str
    comparison: Comparison
    difference: Quantity
    share: float


@dataclass(frozen=True)
class Together:
    """Several measurements of one flow: each pair, and all combined where every pair agrees.

    Attributes
    ----------
    of : str
        What was measured, where a record holds measurements of several things.
    pairs : list of Pair
    names : list of str
        Of the measurements, in the order of the weights.
    quantities : dict of str to Quantity
        Of the combined flow, as of a measurement; empty where nothing is combined.
    combined : Combined or None
    why_not : str
        Why nothing is combined.
    """

    of: str
    names: list[str]
    pairs: list[Pair]
    quantities: dict[str, Quantity] = field(default_factory=dict)
    combined: Combined | None = None
    why_not: str = ""

    @property
    def name(self) -> str:
        return f"combined, {self.of}" if self.of else "combined"

    @property
    def main(self) -> Quantity:
        return next(iter(self.quantities.values()))


@dataclass
class Result:
    """A record reduced.

    Attributes
    ----------
    record : Record
    flows : list of FlowResult
    findings : list of Finding
        About the record as a whole (instruments, heading).
    coverage : float
    seed : int
    samples : int or None
    rows : dict of str to list, or None
        For a batch, the columns of its table as read.
    together : list of Together
        Measurements of one flow held against each other.
    """

    record: Record
    flows: list[FlowResult]
    findings: list[Finding]
    coverage: float
    seed: int
    samples: int | None = None
    rows: dict[str, list[str]] | None = None
    together: list[Together] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"<Result of {self.record.name}: {self.flows!r}>"

    @property
    def flow(self) -> Quantity:
        """The first measurement's own flow."""
        return self.flows[0].main

    def __iter__(self) -> Iterator[FlowResult]:
        return iter(self.flows)

    def to_frame(self) -> pd.DataFrame:
        """Every quantity of every measurement as a pandas frame, one line each (or one a row of the batch)."""
        from flowrig.records.frames import frame

        return frame(list(self.lines()))

    def _every_quantity(self) -> Iterator[tuple[str, Quantity, list[Finding]]]:
        for flow in self.flows:
            yield from ((flow.name, q, flow.findings) for q in flow.quantities.values())
        for held in self.together:
            yield from ((f"{pair.first} - {pair.second}", pair.difference, []) for pair in held.pairs)
            yield from ((held.name, q, []) for q in held.quantities.values())

    def lines(self) -> Iterator[dict[str, Any]]:
        """The frame's lines, without pandas."""
        for name, q, findings in self._every_quantity():
            columns = [np.atleast_1d(a) for a in (q.value, q.u, q.low, q.high, q.estimate.dof)]
            for i, (value, u, low, high, dof) in enumerate(zip(*np.broadcast_arrays(*columns), strict=True)):
                said = codes([*findings, *self.findings], i if self.rows is not None else None)
                yield {
                    **({"row": i + 1} if self.rows is not None else {}),
                    "measurement": name,
                    "quantity": q.name,
                    "unit": q.unit,
                    "value": float(value),
                    "standard_uncertainty": float(u),
                    "low": float(low),
                    "high": float(high),
                    "coverage": self.coverage,
                    "dof": float(dof),
                    "interval_from": interval_source(q, i),
                    "flags": "; ".join(said),
                }


def interval_source(q: Quantity, row: int = 0) -> str:
    if q.drawn is not None:
        return "monte carlo" if q.drawn[row] else "linear"
    return q.interval.source


def marked(finding: Finding) -> str:
    """The code, an alarm marked as such."""
    return f"ALARM {finding.code}" if finding.severity == "alarm" else finding.code


def codes(findings: list[Finding], row: int | None = None) -> list[str]:
    """Flag codes, each once; those of one row where `row` is given."""
    chosen = [f for f in findings if row is None or f.rows is None or bool(f.rows[row])]
    return list(dict.fromkeys(marked(f) for f in chosen))
