"""From the result of each command to what its page is about: the sentence it opens with, and its numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from flowrig.methods import cautions, decay_cautions, room_cautions
from flowrig.records.declare import Finding
from flowrig.report.lines import numbers, quantity_line
from flowrig.report.page.content import Subject
from flowrig.report.page.methods_said import methods_said, zeros
from flowrig.studies.calibrate import Calibrated
from flowrig.studies.life import Life
from flowrig.studies.outlook import Plan
from flowrig.studies.own import Owned
from flowrig.studies.predict import Predicted
from flowrig.studies.result import Quantity, Result
from flowrig.studies.room import RoomResult
from flowrig.studies.verify import Verified

UNIT_AT_WORK = (cautions.GUARD, cautions.UNPLUG, cautions.LOADED, cautions.THROTTLED, cautions.CORD, cautions.LICENSED)


def subject_of(result: Any) -> Subject:
    """What a page has to tell of a result.

    Raises
    ------
    KeyError
        Of what is no result of a command.
    """
    subject = SUBJECTS[type(result).__name__](result)
    alarms = list(dict.fromkeys(f"{f.code}: {f.message}" for f in subject.leading))
    if alarms:
        more = f", and {len(alarms) - 1} more" if len(alarms) > 1 else ""
        subject.answer = f"ALARM, {alarms[0]}{more}. Without regard to it: {subject.answer}"
    return subject


def _alarms(findings: Iterable[Finding]) -> list[Finding]:
    """Those that are of the whole, and not of single rows."""
    return [f for f in findings if f.severity == "alarm" and f.rows is None]


def _told(q: Quantity, coverage: float) -> str:
    """A number in a sentence."""
    if q.bound:
        return f"{quantity_line(q)} ({_level(coverage)} confidence)"
    value, low, high = numbers(q)
    return f"{value} {q.unit} ({low} to {high}, {_level(coverage)} interval)"


def _level(coverage: float) -> str:
    return f"{100.0 * coverage:.6g} %"


def _texts(found: Iterable[Any]) -> list[str]:
    return list(dict.fromkeys(each.text for each in found))


def _settings(coverage: float, seed: int | None = None, samples: int | None = None) -> dict[str, str]:
    told = {"coverage of the intervals": _level(coverage)}
    if seed is not None:
        told["seed of the draws"] = str(seed)
        told["draws"] = str(samples) if samples is not None else "as many as an honest interval takes"
    return told


def _reduced(result: Result) -> Subject:
    taken = [caution for flow in result.flows for caution in flow.method.cautions]
    if "decay" in result.parts or "particles" in result.parts:
        taken += decay_cautions.DECAY
    if set(result.parts) & {"electrical", "sound"}:
        taken += UNIT_AT_WORK
    quantities = [q for flow in result.flows for q in flow.quantities.values()]
    if result.combined is not None:
        quantities = [*result.combined.quantities.values(), *quantities]
    # efficiencies stand with their counts in the result in full: of some only a limit is known
    told = [q for part in result.parts.values() for q in part.quantities.values()]
    quantities += [q for q in told if not q.name.startswith("efficiency")]
    budgets = [flow.main for flow in result.flows] if result.rows is None else []
    for part in result.parts.values():
        clean = _clean_air(part)
        budgets += list(part.quantities.values())[:1] + ([clean[0]] if clean is not None else [])
        budgets += [part.quantities["bypass"]] if "bypass" in part.quantities else []
    return Subject(
        "Measurement", result.record, _reduced_answer(result), quantities if result.rows is None else [],
        result.all_findings, _texts(taken), list(dict.fromkeys(methods_said(result))),
        leading=_alarms(result.all_findings), settings=_settings(result.coverage, result.seed, result.samples),
        budgets=budgets,
    )  # fmt: skip


def _reduced_answer(result: Result) -> str:
    said = []
    if result.rows is not None and result.flows:
        value = np.atleast_1d(result.flow.value)
        unit, half = result.flow.unit, 0.5 * (np.atleast_1d(result.flow.high) - np.atleast_1d(result.flow.low))
        middle, sure = np.nanmedian(value), 100.0 * np.nanmedian(half / np.abs(value))
        raised = [f for flow in result.flows for f in flow.findings if f.rows is not None and f.severity != "note"]
        wrong = int(np.sum(np.any([f.rows for f in raised], axis=0))) if raised else 0
        return (
            f"{len(value)} tests come to flows of {middle:.4g} {unit} in the middle, each known to about {sure:.2g} % "
            f"({_level(result.coverage)} interval); {wrong} of them have an alarm or a warning."
        )
    if result.combined is not None:
        main = result.combined.main
        said.append(f"The flow is {_told(main, result.coverage)}, {main.label}, from {len(result.flows)} measurements")
    elif len(result.flows) == 1:
        said.append(f"The flow is {_told(result.flow, result.coverage)}, {result.flow.label}")
    elif result.flows:
        each = "; ".join(f"{flow.name} {_told(flow.main, result.coverage)}" for flow in result.flows)
        said.append(f"The flows are {each}")
    for part in result.parts.values():
        clean = _clean_air(part)
        if clean is not None:
            rate, words, flow = clean
            of = f", made of a flow of {_value(flow)}, {flow.label}" if flow is not None else ""
            said.append(f"the clean-air rate is {_told(rate, result.coverage)}, {words}{of}")
        elif part.quantities and not said:
            q = next(iter(part.quantities.values()))
            said.append(f"{q.label[:1].upper()}{q.label[1:]} is {_told(q, result.coverage)}")
    return f"{'; '.join(said)}."


def _clean_air(part: Any) -> tuple[Quantity, str, Quantity | None] | None:
    """The first clean-air rate that is told, for which particles, and the flow it was made of."""
    found = getattr(part, "clean_air", None)
    if found is None:
        return None
    for rate in found.ranges.values():
        if rate.clean_air is not None:
            return rate.clean_air.quantity, rate.words, found.flow.quantity
    return None


def _value(q: Quantity) -> str:
    return f"{numbers(q)[0]} {q.unit}"


def _predicted(predicted: Predicted) -> Subject:
    several = (predicted, predicted.swept, predicted.life, predicted.noise, predicted.heat)
    found = [f for part in several if part is not None for f in part.findings]
    quantities = [*predicted.main.quantities.values(), *(q for entry in predicted.entries for q in entry.values())]
    answer = f"Predicted, not measured: a flow of {_told(predicted.flow, predicted.coverage)}"
    if "share" in predicted.main.quantities:
        answer += f", {_told(predicted['share'], predicted.coverage)} of the fan's free-air flow"
    if "clean_air" in predicted.main.quantities:
        answer += f", and a clean-air rate of {_told(predicted['clean_air'], predicted.coverage)}"
    if predicted.swept is not None:
        answer += f"; {len(predicted.swept)} designs stand beside it"
    if predicted.life is not None:
        answer += f"; {_first_change(predicted.life)}"
    conventions = [
        "Static pressure of the fan against the whole drop of bank and losses; the air's density is that at the unit "
        "throughout."
    ]
    budgets = [predicted.main.quantities[name] for name in ("flow", "clean_air") if name in predicted.main.quantities]
    return Subject(
        "Prediction", predicted.record, f"{answer}.", quantities, found, _texts(UNIT_AT_WORK), conventions,
        ahead=True, leading=_alarms(found),
        settings=_settings(predicted.coverage, predicted.seed, predicted.samples), budgets=budgets,
    )  # fmt: skip


def _first_change(life: Life) -> str:
    ruled = life.ruled
    if ruled is None or ruled.time is None:
        return "no limit is reached within the run"
    after = [None if t is None else float(life.shown(t)) for t in (ruled.time, ruled.earliest, ruled.latest)]
    bar = f" ({after[1]:.3g} to {after[2]:.3g})" if after[1] is not None and after[2] is not None else ""
    return f"filters are to be changed after {after[0]:.3g}{bar} {life.unit}: {ruled.name}"


def _calibrated(done: Calibrated) -> Subject:
    from flowrig.report.calibration_text import headline

    said = f"{headline(done, done.coverage)}, from {len(done.residuals)} points against {done.pairs.reference}."
    conventions = [f"Formula: {done.formula.name}.", *zeros(done.record)]
    return Subject(
        "Calibration", done.record, said, [], done.findings, _texts(cautions.COMMON), conventions,
        leading=_alarms(done.findings), settings=_settings(done.coverage),
    )  # fmt: skip


def _verified(verified: Verified) -> Subject:
    last = verified.checks[-1]
    heading = verified.calibration.heading
    verdict = {"holds": "holds", "fails": "does not hold any more", "cannot tell": "cannot be told to hold or not"}
    said = (
        f"The calibration of {heading.value('serial')} of {heading.value('date')} {verdict[last.verdict]}: check of "
        f"{last.date}, {len(last.held)} points against {last.pairs.reference}."
    )
    records = [check.pairs.record for check in reversed(verified.checks)]
    return Subject(
        "Check of a calibration", records[0], said, [], verified.findings, _texts(cautions.COMMON), [], records[1:],
        settings=_settings(0.95) | {
            "calibration that is checked": verified.calibration.name,
            "its SHA-256": verified.calibration.digest,
            "calibrated on": str(heading.value("date")),
            "due on": str(heading.value("due") or "not told"),
        },
    )  # fmt: skip


def _planned(plan: Plan) -> Subject:
    said = []
    for outlook in plan.outlooks:
        shares = outlook.expected.main.estimate.budget()
        most = f"; {shares[0].cause.name} limits it most" if shares else ""
        said.append(f"{outlook.name}: to within {100.0 * outlook.half:.2g} % of the flow{most}")
        if plan.target is not None and outlook.half > plan.target and outlook.route:
            steps = ", then ".join(line.change.words for line in outlook.route)
            far = "reaches the target" if outlook.end <= plan.target else "leads furthest"
            said[-1] += f"; {steps}: {100.0 * outlook.end:.3g} %, which {far}"
    target = ""
    if plan.target is not None:
        reached = [o.name for o in plan.outlooks if o.half <= plan.target]
        met = "is reached" if len(reached) == len(plan.outlooks) else "is not reached"
        target = f" The target of {100.0 * plan.target:.3g} % {met} as planned."
    found = [f for o in plan.outlooks for f in (*o.expected.findings, *o.findings)] + plan.findings
    taken = [caution for o in plan.outlooks for caution in o.method.cautions]
    return Subject(
        "Plan", plan.record, f"To be expected, nothing of it measured: {'; '.join(said)}.{target}",
        [o.expected.main for o in plan.outlooks], found, _texts(taken),
        list(dict.fromkeys(f"{c}." for o in plan.outlooks for c in o.expected.conventions)),
        ahead=True, settings=_settings(plan.coverage), budgets=[o.expected.main for o in plan.outlooks],
    )  # fmt: skip


def _room(result: RoomResult) -> Subject:
    from flowrig.studies.room_verdict import answers

    both = any(target.kind == "larger of two" for target in result.targets)
    wanted = [t for t in result.targets if not (both and t.kind in ("air changes", "per person"))]
    told = [f"{about}{f' ({state})' if state else ''}: {words}" for about, state, words in answers(wanted)]
    needed = [
        replace(case.needed, label=f"{target.title}, {case.state.name}: {case.needed.label}")
        for target in result.targets
        for case in target.cases
    ]
    asked = result.asked
    return Subject(
        "Advice for a room", result.record, f"{'; '.join(told)}." if told else "No target is stated.", needed,
        result.all_findings, _texts(room_cautions.ROOM),
        settings=_settings(result.coverage, asked.seed, asked.samples), budgets=needed,
    )  # fmt: skip


def _owned(owned: Owned) -> Subject:
    first = owned.ranked[0]
    lead = first[owned.leads]
    years = owned.terms.value("years")
    of = "Of what gives the clean air that is needed, " if any(option.short for option in owned) else ""
    answer = f"{of}{first.name} comes cheapest: {lead.label} {_told(lead, owned.coverage)} over {years} years"
    others = [option for option in owned.ranked[1:] if not option.short]
    if others:
        pair = owned.pair(first.name, others[0].name)
        odds = pair.cheaper if owned.leads == "present_value" else pair.cheaper_by_air
        sure = max(odds.share, 1.0 - odds.share)
        if sure < 0.5 * (1.0 + owned.coverage):
            answer += f"; that it is cheaper than {others[0].name} is not sure ({100.0 * sure:.0f} %)"
    if first.short:
        answer = f"No option gives the clean air that is needed: {answer.removeprefix(of)}"
    named = [
        replace(option[name], label=f"{option.name}: {option[name].label}")
        for option in owned.ranked
        for name in dict.fromkeys((owned.leads, "levelised", "present_value", "delivered"))
    ]
    return Subject(
        "Costs over years", owned.record, f"{answer}.", named, owned.findings, [], [
            "Stated prices and ranges carried through: no offers and no forecast.",
            "Nothing is said about health; a clean-air rate holds for the particles it was found with.",
        ], settings=_settings(owned.coverage, owned.seed, owned.samples),
    )  # fmt: skip


SUBJECTS: dict[str, Callable[[Any], Subject]] = {
    "Result": _reduced,
    "Predicted": _predicted,
    "Calibrated": _calibrated,
    "Verified": _verified,
    "Plan": _planned,
    "RoomResult": _room,
    "Owned": _owned,
}
