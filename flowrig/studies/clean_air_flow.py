"""Which flow an efficiency is multiplied by: a record's combined flow, its only one, or one stated beside counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.files import near_name, quoted
from flowrig.records.items import Section, as_written
from flowrig.records.words import folded
from flowrig.studies.result import Quantity, Result
from flowrig.uncertainty.interval import interval

NO_FLOW = FlagMeaning(
    "no flow to multiply by",
    "note",
    "A clean-air rate is flow times efficiency, and no flow of the unit is known from this record: only efficiencies "
    "are told. Measure the flow in a [[flow]] of the same record, or write flow with its ± in [particles].",
)
FLOW_IN_DOUBT = FlagMeaning(
    "flow in doubt",
    "warning",
    "The measurements of the flow do not agree, or cannot be told to, and none of them is taken for the clean-air "
    "rate. Find out which is wrong; a [[flow]] left out of the record leaves the other to multiply by.",
)
METER_AIR = FlagMeaning(
    "clean-air rate of the meter's air",
    "note",
    "The flow that the clean-air rate is made of is that of the air at the meter. Where that is warmer or thinner than "
    "the room's, the room gets less clean air by the ratio of densities: give [air.unit] or [air.room].",
)
FLOW_STATED = FlagMeaning(
    "flow of the clean-air rate stated",
    "note",
    "The flow that the clean-air rate is made of was not measured in this record but is stated beside the counts. It "
    "has to be the flow with these filters, at this speed.",
)
FLAGS = (NO_FLOW, FLOW_IN_DOUBT, METER_AIR, FLOW_STATED)


@dataclass
class CleanAirFlow:
    """The flow that goes with counts of particles.

    Attributes
    ----------
    quantity : Quantity or None
        None where there is none to be had.
    words : str
        What it is; or why there is none.
    of : str
        Which flow of the record, in its words.
    findings : list of Finding
    """

    quantity: Quantity | None
    words: str
    of: str = ""
    findings: list[Finding] = field(default_factory=list)


def clean_air_flow(result: Result, section: Section) -> CleanAirFlow:
    """The flow for a clean-air rate.

    Parameters
    ----------
    result : Result
        With its flows reduced and held together.
    section : Section
        [particles], with its fields ``of`` and ``flow``, where they are.

    Raises
    ------
    InputError
        If ``of`` names no flow, is needed and not there, or a flow stands beside those that were measured.
    """
    if "flow" in section:
        return _stated(result, section)
    if not result.flows:
        return _none("the record holds no flow")
    if result.rows is not None:
        return _none("the flows are the rows of a table")
    of = _which(result, section)
    group = next((g for g in result.together if folded(g.of) == folded(of)), None)
    if group is not None and group.combined is not None:
        return _of(group.combined.quantities, group.combined.name, of)
    measured = [flow for flow in result.flows if folded(flow.of) == folded(of)]
    if len(measured) > 1:
        why = group.why_not if group is not None else ""
        names = " and ".join(quoted(flow.name) for flow in measured)
        said = why or f"{names} are not combined"
        return CleanAirFlow(None, said, of, [Finding(FLOW_IN_DOUBT, said)])
    return _of(measured[0].quantities, measured[0].name, of)


def _which(result: Result, section: Section) -> str:
    """Of which flow, in the record's words."""
    known = list(dict.fromkeys(flow.of for flow in result.flows))
    said = section.value("of")
    if said is not None:
        found = next((word for word in known if folded(word) == folded(said)), None)
        if found is not None:
            return found
        words = [word for word in known if word]
        expected = f"one of: {', '.join(map(quoted, words))}" if words else "the words of a flow, and none has any"
        near = near_name(said, words)
        remedy = f"Did you mean {quoted(near)}?" if near else 'Write of = "…" in its [[flow]] sections too.'
        raise InputError(Fault(section["of"].where, quoted(said), expected, remedy))
    if len({folded(word) for word in known}) > 1:
        listed = ", ".join(quoted(word) if word else "one without words" for word in known)
        expected = "which flow the particles were counted at, in a field of"
        remedy = f'Add of = "{next(word for word in known if word)}" to [particles], for instance.'
        raise InputError(Fault(section.where, f"nothing of it, and flows of: {listed}", expected, remedy))
    return known[0]


def delivered(quantities: Mapping[str, Quantity]) -> Quantity:
    """Of a measurement's flows the one that a room gets: of the air at the unit, else the room's, else the meter's."""
    names = ("actual_flow_unit", "actual_flow_room", "actual_flow_meter")
    return next((quantities[name] for name in names if name in quantities), next(iter(quantities.values())))


def _of(quantities: Mapping[str, Quantity], name: str, of: str) -> CleanAirFlow:
    found = delivered(quantities)
    alone = found.name not in ("actual_flow_unit", "actual_flow_room")
    return CleanAirFlow(found, f"{name}, {found.label}", of, [Finding(METER_AIR, name)] if alone else [])


def _stated(result: Result, section: Section) -> CleanAirFlow:
    item = section["flow"]
    stated = item.text or as_written(item)
    if result.flows:
        remedy = "Remove one of the two; a second measurement of the flow is a [[flow]] of its own."
        raise InputError(
            Fault(item.where, quoted(stated), "either a [[flow]] in the record or a flow here, not both", remedy)
        )
    estimate = given_estimate(item, f"{result.record.id}:{section.name}", "stated flow through the unit")
    bar = interval(estimate, result.coverage, samples=result.samples, seed=result.seed)
    quantity = Quantity("flow", "stated flow through the unit", "flow", item.unit or "m3/h", estimate, bar)
    return CleanAirFlow(quantity, quantity.label, section.value("of", ""), [Finding(FLOW_STATED, stated)])


def _none(why: str) -> CleanAirFlow:
    return CleanAirFlow(None, why, "", [Finding(NO_FLOW, why)])
