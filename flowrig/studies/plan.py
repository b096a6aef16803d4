"""Before measuring: what uncertainty to expect of a measurement still to come, what is in it, and what would better it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from flowrig.errors import CalculationError, Fault, InputError
from flowrig.methods.method import Method
from flowrig.records import flags
from flowrig.records.declare import Finding, Reading
from flowrig.records.items import Section, as_written
from flowrig.records.plan_facts import PLAN
from flowrig.records.record import Flow, Record
from flowrig.records.walk import Walker
from flowrig.studies.changes import (
    EFFORT,
    Change,
    at_readings,
    changes,
    choices,
    perfect,
    with_pieces,
)
from flowrig.studies.invent import Setup, chooses, shown, still, to_come
from flowrig.studies.reduce import empty_result, load
from flowrig.studies.result import FlowResult, unused
from flowrig.studies.sheet import PASSES, REPEATS
from flowrig.uncertainty.series import LOG_FROM

PAYS, LITTLE, NOTHING = 0.05, 0.01, 0.002  # of the half-width: own judgement, no source
MOST_READINGS = 10_000


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
        Alarms and warnings that come with it and did not stand before.
    """

    change: Change
    half: float
    gain: float
    verdict: str
    reason: str
    reaches: bool = False
    readings: dict[str, str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    @property
    def pays(self) -> bool:
        return self.gain > 0.0 and not any(f.severity == "alarm" for f in self.findings)


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
    """

    record: Record
    outlooks: list[Outlook]
    target: float | None
    coverage: float
    stretch: float
    findings: list[Finding]

    def __repr__(self) -> str:
        return f"<Plan of {self.record.name}: {self.outlooks!r}>"

    def __iter__(self) -> Any:
        return iter(self.outlooks)


def plan(
    source: str | Path | Mapping[str, Any],
    *,
    target: str | None = None,
    coverage: float = 0.95,
    unit: str | None = None,
) -> Plan:
    """Plan a measurement.

    Parameters
    ----------
    source : path or mapping
        A record with a table ``[plan]``. Readings of the flow may be left out, and the hardware where a choice of it is
        left open.
    target : str, optional
        Half of the interval as a share of the flow, ``"3 %"``, in place of the record's own.
    coverage : float
        Probability of the intervals.
    unit : str, optional
        Unit to print flows in, before the record's own.

    Raises
    ------
    InputError
        With every fault of the record and its files, and where a measurement cannot give the expected flow.
    CalculationError
        If no finite flow follows.

    Notes
    -----
    Readings are invented such that the method's own kernel gives the expected flow, and are reduced as if they had been
    taken. Every change is the same again with one thing altered: no uncertainty is reckoned here.
    """
    record = load(source, to_come)
    told = record.plan
    assert told is not None
    wanted = _target(target) if target is not None else told.value("target")
    faults: list[Fault] = []
    outlooks = []
    for flow in record.flows:
        try:
            outlooks.append(_Planner(record, flow, told, wanted, coverage, unit).outlook())
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    for i, outlook in enumerate(outlooks):
        outlook.name = unused(outlook.name, [o.name for o in outlooks[:i]])
    about = empty_result(record, coverage, None, 1).findings
    return Plan(record, outlooks, wanted, coverage, told.value("stretch"), about)


def _target(text: str) -> float:
    """The target as an option gives it."""
    faults: list[Fault] = []
    section = Walker(lambda *path: "--target", faults).section(PLAN, {"target": text}, ())
    if faults:
        raise InputError(faults)
    return float(section.value("target"))


def half_width(result: FlowResult) -> float:
    """Half of the interval as a share of the flow."""
    interval, value = result.main.interval, float(result.main.estimate.value)
    return (float(interval.high) - float(interval.low)) / 2.0 / abs(value)


class _Planner:
    """One measurement on its way from a section to an outlook."""

    def __init__(
        self, record: Record, flow: Flow, told: Section, target: float | None, coverage: float, unit: str | None
    ) -> None:
        self.told, self.target = told, target
        self.findings: list[Finding] = []
        self.alarms: set[str] = set()
        quiet = _without_log(record, flow)
        self.setup = Setup(quiet, still(flow), told.value("flow"), 2, 1e-3, coverage=coverage, unit=unit)
        self._how_often(quiet, flow)
        if "grid" in flow.to_come:
            said = "profile over the points: "
            said += "a power law of 1/7 to the walls" if flow.hardware.get("ducts") else "a tenth less at each edge"
            self.findings.append(Finding(flags.ASSUMED, said))

    def _how_often(self, record: Record, flow: Flow) -> None:
        """How many readings are to be taken and how they scatter: as stated, as in the record's own run, or assumed."""
        told, setup = self.told, self.setup
        run = Setup(record, flow, setup.wanted, 2, 1e-3).as_read()
        own = max(int(run.stretches), 2) if run is not None else None
        within = 1 if flow.layout is None else len(flow.layout)
        scatter = told.value("scatter")
        if told["scatter"].assumed:
            if run is not None and run.size:
                scatter = run.u / abs(run.size) * math.sqrt(run.stretches * within)
                self.findings.append(Finding(flags.ASSUMED, f"scatter of {100 * scatter:.2g} %, as the record's own"))
            else:
                self.findings.append(Finding(flags.ASSUMED, f"scatter of a single reading: {as_written(told['scatter'])} of the flow"))
        usual = own or (PASSES if flow.layout is not None else REPEATS)
        logged = run is not None and run.n >= LOG_FROM
        if "log" in told:
            usual, logged = int(told.value("log") / told.value("stretch")), True
            if told["stretch"].assumed:
                said = f"readings of a log forget one another in {as_written(told['stretch'])}"
                self.findings.append(Finding(flags.ASSUMED, said))
        logged = logged and flow.layout is None and "readings" not in told
        readings = told.value("readings", usual)
        self.setup = replace(setup, readings=readings, scatter=max(float(scatter), 1e-9), logged=logged)

    def outlook(self) -> Outlook:
        setup = self._best_pieces()
        expected = self._expected(setup)
        setup = setup.brought
        self.alarms = {f.code for f in expected.findings if f.severity == "alarm"}
        half = half_width(expected)
        lines = [self._line(setup, expected, change) for change in changes(setup, expected)]
        # what is only shown with an example must better something to be worth a line
        lines = [line for line in lines if line.change.sort != "stated" or line.gain >= LITTLE * half]
        lines.sort(key=lambda line: (-math.inf if math.isnan(line.gain) else line.gain), reverse=True)
        outlook = Outlook(
            expected.name, setup, expected, half, shown(setup), lines, perfect(setup).expected(), findings=self.findings
        )
        if self.target is not None:
            outlook.least = self._least(setup, half)
            self._find_route(outlook)
        return outlook

    def _expected(self, setup: Setup) -> FlowResult:
        """What is expected of the measurement as planned; where nothing can be, a fault of the flow to be expected."""
        item, name = self.told["flow"], setup.flow.section.value("name") or setup.flow.method.title
        try:
            return setup.expected()
        except InputError as error:
            raise InputError(
                replace(fault, where=item.where, read=f"{item.text or as_written(item)}, for which {name} would show {fault.read}")
                for fault in error.faults
            ) from None
        except ValueError:
            remedy = "Check the flow and its unit; else the hardware is too small or too large for it."
            read = f"{item.text or as_written(item)}, for which no readings of {name} can be found"
            raise InputError(Fault(item.where, read, "a flow that the measurement can show", remedy)) from None

    # hardware left open

    def _best_pieces(self) -> Setup:
        """Where the choice of hardware was left open, the one with the fewest alarms and warnings and the least bar."""
        setup = self.setup
        for declared in setup.flow.method.fields:
            if not chooses(setup.flow.method, declared) or declared.name not in setup.flow.to_come:
                continue
            pieces = setup.record.pieces.get(declared.table, {})
            tried = [with_pieces(setup, declared, names) for names in choices(declared, list(pieces))]
            ranked = [(rank, i) for i, one in enumerate(tried) if (rank := self._rank(one)) is not None]
            if ranked:
                setup = tried[min(ranked)[1]]
                chosen = ", ".join(setup.flow.section.value(declared.name))
                self.findings.append(Finding(flags.ASSUMED, f"{declared.name}: {chosen}, the best of {len(tried)}"))
        return setup

    def _rank(self, setup: Setup) -> tuple[int, int, float] | None:
        try:
            result = setup.expected()
        except (InputError, CalculationError, ValueError):
            return None
        grave = [sum(f.severity == severity for f in result.findings) for severity in ("alarm", "warning")]
        return grave[0], grave[1], half_width(result)

    # what comes of a change

    def _line(self, setup: Setup, before: FlowResult, change: Change) -> Line:
        try:
            changed = change.apply(setup)
            after = changed.expected()
        except InputError as error:
            fault = error.faults[0]
            return Line(change, math.nan, math.nan, "not possible", f"{fault.read}; expected {fault.expected}")
        except (CalculationError, ValueError):
            return Line(change, math.nan, math.nan, "not possible", "cannot show the expected flow")
        half, old = half_width(after), half_width(before)
        gain = old - half
        known = {f.code for f in before.findings}
        still_there = {f.code for f in after.findings}
        new = [f for f in after.findings if f.code not in known and f.severity != "note"]
        gone = [f for f in before.findings if f.code not in still_there and f.severity != "note"]
        reaches = self.target is not None and half <= self.target
        verdict = _verdict(change.sort, gain / old, new, gone)
        reason = _reason(before, after, new, gone)
        readings = shown(changed) if change.sort == "hardware" else {}
        return Line(change, half, gain, verdict, reason, reaches, readings, new)

    # the target

    def _reached(self, half: float) -> bool:
        assert self.target is not None
        return half <= self.target

    def _half(self, setup: Setup) -> float:
        """Half-width of another setup; without bound where it has none, or an alarm that the planned one does not."""
        try:
            found = setup.expected()
        except (InputError, CalculationError, ValueError):
            return math.inf
        if any(f.severity == "alarm" and f.code not in self.alarms for f in found.findings):
            return math.inf
        return half_width(found)

    def _least(self, setup: Setup, half: float) -> int | None:
        """Fewest readings that reach the target, nothing else changed."""
        low, high = 1, setup.readings
        if not self._reached(half):
            low = high
            while not self._reached(self._half(replace(setup, readings=high))):
                if high >= MOST_READINGS:
                    return None
                low, high = high, min(4 * high, MOST_READINGS)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self._reached(self._half(replace(setup, readings=middle))) else (middle, high)
        return high

    def _find_route(self, outlook: Outlook) -> None:
        """Changes taken one after another, each the one that gains most, until the target is reached; then without
        those that are not needed."""
        steps: list[Change] = []
        half = outlook.half
        left = [line.change for line in outlook.lines if line.pays and line.gain > NOTHING * outlook.half]
        while left and not self._reached(half):
            tried = [(self._half(self._after(outlook.setup, [*steps, change])), change) for change in left]
            enough = [(EFFORT.index(c.sort), -h, i) for i, (h, c) in enumerate(tried) if self._reached(h)]
            best = min(enough)[2] if enough else min(range(len(tried)), key=lambda i: tried[i][0])
            if half - tried[best][0] < NOTHING * half:
                break
            half, change = tried[best]
            steps.append(change)
            left = [other for other in left if other.group != change.group]
        steps, half = self._spared(outlook, steps, half)
        before, setup = outlook.expected, outlook.setup
        for change in steps:
            outlook.route.append(self._line(setup, before, change))
            setup = change.apply(setup)
            before = setup.expected()
        outlook.end, outlook.last_floor = half, half_width(perfect(setup).expected())

    def _after(self, setup: Setup, steps: Sequence[Change]) -> Setup:
        for change in steps:
            setup = change.apply(setup)
        return setup

    def _spared(self, outlook: Outlook, steps: list[Change], half: float) -> tuple[list[Change], float]:
        """The steps without what is not needed: the greatest effort is looked at first, and readings come down."""
        if not self._reached(half):
            return steps, half
        for change in sorted(steps, key=lambda c: -EFFORT.index(c.sort)):
            fewer = [other for other in steps if other is not change]
            if self._reached(self._half(self._after(outlook.setup, fewer))):
                steps = fewer
        kept = [change for change in steps if change.sort != "readings"]
        if len(kept) < len(steps):
            rest = self._after(outlook.setup, kept)
            least = self._least(rest, self._half(rest))
            if least is not None:
                steps = [*kept, at_readings(outlook.setup, least)]
        return steps, self._half(self._after(outlook.setup, steps))


def _without_log(record: Record, flow: Flow) -> Record:
    """The record with the air of a log as means: a log still to come has none."""
    run = flow.section.name
    air = {
        station: replace(
            section,
            items={
                name: replace(item, value=item.value.mean(keepdims=True), run="")
                if isinstance(item.field, Reading) and item.run == run
                else item
                for name, item in section.items.items()
            },
        )
        for station, section in record.air.items()
    }
    return replace(record, air=air)


def _verdict(sort: str, gain: float, new: Sequence[Finding], gone: Sequence[Finding]) -> str:
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


def _reason(before: FlowResult, after: FlowResult, new: Sequence[Finding], gone: Sequence[Finding]) -> str:
    """Why: the cause of the budget that moves most, and the flags that come and go."""
    said = []
    shares = {name: share for name, share in budget(before).items()}
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
