"""What a plan comes to: what to expect of each measurement, what every change would do, and whether it pays."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from flowrig.methods.method import Method
from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.studies.changes import Change
from flowrig.studies.invent import Setup
from flowrig.studies.result import FlowResult, Quantity
from flowrig.studies.together import Together

PAYS, LITTLE = 0.05, 0.01  # of the half-width: own judgement, no source


@dataclass
class Line:
    """One change and what would come of it.

    Attributes
    ----------
    change : Change
    half : float
        Half of the interval after it, as a share of the flow; NaN where nothing comes of it.
    gain : float
        By how much the half-width shrinks, as a share of the flow.
    verdict : str
    reason : str
    reaches : bool
        The target, by itself.
    readings : dict of str to str
        Expected readings, by field.
    findings : list of Finding
        Every alarm and warning that stands after it.
    new : list of Finding
        Those that did not stand before.
    """

    change: Change
    half: float
    gain: float
    verdict: str
    reason: str
    reaches: bool = False
    readings: dict[str, str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    new: list[Finding] = field(default_factory=list)

    @property
    def pays(self) -> bool:
        return self.gain > 0.0 and not any(f.severity == "alarm" for f in self.new)


@dataclass
class Outlook:
    """What to expect of one measurement.

    Attributes
    ----------
    name : str
    setup : Setup
        As planned, its readings at the expected flow.
    expected : FlowResult
        What a reduction would say.
    half : float
        Half of its interval, as a share of the flow.
    readings : dict of str to str
        Expected readings, by field.
    lines : list of Line
        Largest gain first.
    floor : FlowResult
        What is left if every reading, every stated ± and every run were perfect.
    least : int or None
        Fewest readings that reach the target, nothing else changed; None where none do, or there is no target.
    route : list of Line
        Changes that together reach the target, or as far as any of them lead.
    end : float
        Half-width at the end of the route.
    last_floor : float
        Half-width that would be left at the end of the route if every reading, every stated ± and every run were
        perfect.
    findings : list of Finding
        What the plan itself assumed.
    """

    name: str
    setup: Setup
    expected: FlowResult
    half: float
    readings: dict[str, str]
    lines: list[Line]
    floor: FlowResult
    least: int | None = None
    route: list[Line] = field(default_factory=list)
    end: float = math.nan
    last_floor: float = math.nan
    findings: list[Finding] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"<Outlook {self.name!r}: {self.expected.main!r}, half-width {100 * self.half:.3g} %>"

    @property
    def method(self) -> Method:
        method: Method = self.expected.method
        return method

    def of(self, sort: str) -> list[Line]:
        """Lines of one sort, in the order of the effort or else of the gain."""
        return [line for line in self.lines if line.change.sort == sort]


@dataclass
class Plan:
    """A measurement planned.

    Attributes
    ----------
    record : Record
    outlooks : list of Outlook
        One a [[flow]] section.
    target : float or None
        Half-width to be reached, as a share of the flow.
    coverage : float
    stretch : float
        How long an independent stretch of a log lasts. [s]
    findings : list of Finding
        About the record as a whole.
    together : list of Together
        Several measurements of one flow, combined as a reduction would; empty for a single one.
    """

    record: Record
    outlooks: list[Outlook]
    target: float | None
    coverage: float
    stretch: float
    findings: list[Finding]
    together: list[Together] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"<Plan of {self.record.name}: {self.outlooks!r}>"

    def __iter__(self) -> Iterator[Outlook]:
        return iter(self.outlooks)


def half_width(result: FlowResult) -> float:
    """Half of the interval as a share of the flow."""
    return half_of(result.main)


def half_of(quantity: Quantity) -> float:
    """The same of one quantity."""
    interval, value = quantity.interval, float(quantity.estimate.value)
    return (float(interval.high) - float(interval.low)) / 2.0 / abs(value)


def grave(result: FlowResult) -> list[Finding]:
    """Its alarms and warnings."""
    return [f for f in result.findings if f.severity != "note"]


def verdict_of(sort: str, gain: float, new: Sequence[Finding], gone: Sequence[Finding]) -> str:
    """In a few words: whether a change is worth while, by its gain as a share of the half-width."""
    if any(f.severity == "alarm" for f in new):
        return "not usable"
    if sort == "less":
        return "needed" if gain < -LITTLE else "could be left out"
    if gain < -LITTLE:
        return "costs"
    if gain >= PAYS:
        return "pays"
    if gone:
        return "takes a warning away"
    return "pays little" if gain >= LITTLE else "does not pay"


def reason_of(before: FlowResult, after: FlowResult, new: Sequence[Finding], gone: Sequence[Finding]) -> str:
    """Why: the cause of the budget that moves most, and the flags that come and go."""
    said = []
    shares = budget(before)
    scale = (float(after.main.estimate.u) / abs(float(after.main.estimate.value))) ** 2
    scale /= (float(before.main.estimate.u) / abs(float(before.main.estimate.value))) ** 2
    later = {name: share * scale for name, share in budget(after).items()}  # of the variance before
    moved = {name: shares.get(name, 0.0) - later.get(name, 0.0) for name in {*shares, *later}}
    if moved:
        name = max(moved, key=lambda n: abs(moved[n]))
        if abs(moved[name]) >= 5e-4:
            was, will = (f"{100 * x.get(name, 0.0):.1f}" for x in (shares, later))
            said.append(f"{name}: {was} % of the variance now, {will} % of it then")
        else:
            said.append("no cause of error moves by a thousandth of the variance")
    said += [f"ALARM {f.code}: {f.message}" if f.severity == "alarm" else f"{f.code}: {f.message}" for f in new]
    said += [f"no longer {f.code}" for f in gone]
    return "; ".join(said)


def budget(result: FlowResult) -> dict[str, float]:
    """Share of the variance by the name of the cause, largest first."""
    found: dict[str, float] = {}
    for line in result.main.estimate.budget():
        found[line.cause.name] = found.get(line.cause.name, 0.0) + float(line.share)
    return found
