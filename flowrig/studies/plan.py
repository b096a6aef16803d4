"""Before measuring: what uncertainty to expect of a measurement still to come, and what would better it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from flowrig.errors import CalculationError, Fault, InputError
from flowrig.progress import doing, each
from flowrig.records import flags
from flowrig.records.declare import Finding, Reading
from flowrig.records.items import Section, as_written
from flowrig.records.plan_facts import PLAN
from flowrig.records.record import Flow, Record
from flowrig.records.walk import Walker
from flowrig.studies.arguments import checked
from flowrig.studies.changes import (
    EFFORT,
    Change,
    at_readings,
    changes,
    choices,
    counted,
    perfect,
    with_pieces,
)
from flowrig.studies.gather import grows
from flowrig.studies.invent import LEAST_SCATTER, Setup, chosen, shown, still, to_come
from flowrig.studies.outlook import LITTLE, Line, Outlook, Plan, grave, half_width, reason_of, verdict_of
from flowrig.studies.reduce import empty_result, load, reduce
from flowrig.studies.result import FlowResult, unused
from flowrig.studies.sheet import PASSES, REPEATS
from flowrig.studies.together import Together
from flowrig.uncertainty.series import LOG_FROM

NOTHING = 0.002  # of the half-width: a step that gains less ends the search
MOST_READINGS = 3_000  # more are not to be had
MOST_ROUNDS = 60  # of a grid, or of the places of a hood


@checked
def plan(
    source: str | Path | Mapping[str, Any] | Record,
    *,
    target: str | None = None,
    coverage: float = 0.95,
    unit: str | None = None,
) -> Plan:
    """Plan a measurement.

    Parameters
    ----------
    source : path, mapping or Record
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
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the record and its files, and where a measurement cannot give the expected flow.
    CalculationError
        If no finite flow follows.

    Notes
    -----
    Readings are invented such that the method's own kernel gives the expected flow, and are reduced as if they had been
    taken. Every change is the same again with one thing altered: no uncertainty is reckoned here.
    """
    record = source if isinstance(source, Record) else load(source, to_come)
    told = record.plan
    assert told is not None
    wanted = _target(target) if target is not None else told.value("target")
    faults: list[Fault] = []
    outlooks = []
    for flow in each("flow", record.flows):
        try:
            outlooks.append(_Planner(record, flow, told, wanted, coverage, unit).outlook())
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    for i, outlook in enumerate(outlooks):
        outlook.name = unused(outlook.name, [o.name for o in outlooks[:i]])
    about = empty_result(record, coverage, None, 1).findings
    return Plan(record, outlooks, wanted, coverage, told.value("stretch"), about, _together(record, outlooks, coverage))


def _together(record: Record, outlooks: Sequence[Outlook], coverage: float) -> list[Together]:
    """Several measurements of one flow as a reduction would combine them."""
    if len(outlooks) < 2:
        return []
    flows = [replace(outlook.setup.run(), findings=[]) for outlook in outlooks]
    return reduce(replace(record, flows=flows, claims=None, parts={}), coverage=coverage).together


def _target(text: str) -> float:
    """The target as an option gives it."""
    faults: list[Fault] = []
    section = Walker(lambda *path: "--target", faults).section(PLAN, {"target": text}, ())
    if faults:
        raise InputError(faults)
    return float(section.value("target"))


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
            self._assume(f"profile over the points: {flow.method.usual_profile.words}")

    def _how_often(self, record: Record, flow: Flow) -> None:
        """How many readings are to be taken and how they scatter: as stated, as in the record's own run, or assumed."""
        told, setup = self.told, self.setup
        run = Setup(record, flow, setup.wanted, 2, 1e-3).as_read()
        within = 1 if flow.layout is None else len(flow.layout)
        turns = flow.method.turns(flow.section)
        can_log = flow.layout is None and turns == 1
        usual = PASSES if flow.layout is not None else REPEATS
        scatter, said = told.value("scatter"), f"{as_written(told['scatter'])} of the flow"
        logged = False
        if run is not None and run.size:
            rows = max(len(item.value) for item in flow.section.items.values() if grows(item.field))
            usual = max(int(run.stretches), 2) if turns == 1 else rows // turns
            logged = run.n >= LOG_FROM
            if told["scatter"].assumed:
                scatter = run.u / abs(run.size) * math.sqrt(run.stretches * within)
                said = f"{100 * scatter:.2g} % of the flow, as the record's own"
        if told["scatter"].assumed:
            self._assume(f"scatter of a single reading: {said}")
        if "log" in told and can_log:
            usual, logged = int(told.value("log") / told.value("stretch")), True
            if told["stretch"].assumed:
                self._assume(f"readings of a log forget one another in {as_written(told['stretch'])}")
        elif "log" in told:
            self._assume(f"no log of readings that go from place to place: {counted(setup, usual)} in its stead")
        self.setup = replace(
            setup,
            readings=told.value("readings", usual),
            scatter=max(float(scatter), LEAST_SCATTER),
            logged=logged and can_log and "readings" not in told,
        )

    def _assume(self, said: str) -> None:
        self.findings.append(Finding(flags.ASSUMED, said))

    def outlook(self) -> Outlook:
        setup = self._best_pieces()
        expected = self._expected(setup)
        setup = setup.brought
        self.alarms = {f.code for f in expected.findings if f.severity == "alarm"}
        half = half_width(expected)
        lines = [self._line(setup, expected, change) for change in each("change", list(changes(setup, expected)))]
        # what is only shown with an example must better something to be worth a line
        lines = [line for line in lines if line.change.sort != "stated" or line.gain >= LITTLE * half]
        lines.sort(key=lambda line: -math.inf if math.isnan(line.gain) else line.gain, reverse=True)
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
        wanted = item.text or as_written(item)
        try:
            return setup.expected()
        except InputError as error:
            raise InputError(
                replace(
                    fault,
                    where=item.where,
                    read=f"{wanted}, for which {name} would show {fault.read}",
                )
                for fault in error.faults
            ) from None
        except ValueError:
            remedy = "Check the flow and its unit; else the hardware is too small or too large for it."
            read = f"{wanted}, for which no readings of {name} can be found"
            raise InputError(Fault(item.where, read, "a flow that the measurement can show", remedy)) from None

    # hardware left open

    def _best_pieces(self) -> Setup:
        """Where the choice of hardware was left open, the one with the fewest alarms and warnings and the least bar."""
        setup = self.setup
        for declared in (f for f in chosen(setup.flow.method) if f.name in setup.flow.to_come):
            pieces = setup.record.pieces.get(declared.table, {})
            tried = [with_pieces(setup, declared, names) for names in choices(declared, list(pieces))]
            ranked = [(rank, i) for i, one in enumerate(tried) if (rank := self._rank(one)) is not None]
            if ranked:
                setup = tried[min(ranked)[1]]
                names = ", ".join(setup.flow.section.value(declared.name))
                self._assume(f"{declared.name}: {names}, the best of {len(tried)}")
        return setup

    def _rank(self, setup: Setup) -> tuple[int, int, float] | None:
        try:
            result = setup.expected()
        except (InputError, CalculationError, ValueError):
            return None
        alarms = sum(f.severity == "alarm" for f in result.findings)
        return alarms, len(grave(result)), half_width(result)

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
        then = grave(after)
        new = [f for f in then if f.code not in {known.code for known in before.findings}]
        gone = [f for f in grave(before) if f.code not in {left.code for left in after.findings}]
        reaches = self.target is not None and half <= self.target
        verdict = verdict_of(change.sort, gain / old, new, gone)
        reason = reason_of(before, after, new, gone)
        readings = shown(changed) if change.sort == "hardware" else {}
        return Line(change, half, gain, verdict, reason, reaches, readings, then, new)

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
            alone = setup.flow.layout is None and setup.flow.method.turns(setup.flow.section) == 1
            low, high = high, MOST_READINGS if alone else MOST_ROUNDS
            if high <= low or not self._reached(self._half(replace(setup, readings=high))):
                return None
        while high - low > 1:
            middle = round(math.sqrt(low * high)) if high > 2 * low else (low + high) // 2
            low, high = (low, middle) if self._reached(self._half(replace(setup, readings=middle))) else (middle, high)
        return high

    @doing("the way to the target")
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
