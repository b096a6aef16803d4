"""One target in one state of the ducts: the clean air it takes, how many units give it, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from flowrig import units
from flowrig.progress import doing
from flowrig.records.declare import Finding
from flowrig.records.words import three_digits
from flowrig.studies import room_flags
from flowrig.studies.building import State, rate_of
from flowrig.studies.cleaner_source import Source
from flowrig.studies.result import Quantity
from flowrig.studies.room_inputs import Asked, Facts
from flowrig.studies.room_targets import AIR_CHANGES, BOTH, LEVEL, PER_PERSON, Case, Target
from flowrig.studies.room_units import DRAWS, Limits, UnitsFor, tell, units_for
from flowrig.studies.room_verdict import FASTEST, percent
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import intervals
from flowrig.uncertainty.montecarlo import sample
from flowrig.uncertainty.propagate import linear

REACHED = {AIR_CHANGES: "air_changes", PER_PERSON: "per_person", BOTH: "added", LEVEL: "level"}
SETTLED = 0.05  # of u: the ends of drawn intervals


@doing("numbers of units")
def case_of(
    target: Target,
    rate: Estimate,
    facts: Facts,
    state: State,
    sorts: Mapping[str, Source],
    counts: Mapping[str, int],
    limits: Limits,
    why: str,
    asked: Asked,
) -> Case:
    """One target in one state of the ducts: the rate it takes, and how many units of each sort.

    Parameters
    ----------
    target : Target
    rate : Estimate
        Clean-air rate of units that it takes. [m3/s]
    facts : Facts
    state : State
    sorts : mapping of str to Source
    counts : mapping of str to int
        Of the sorts whose number the record states.
    limits : Limits
        Of a number that is looked for.
    why : str
        What makes the target take so much.
    asked : Asked
    """
    bar = intervals({"": rate}, **asked.drawn, tolerance=SETTLED)[""]
    label = "clean-air rate that units have to give"
    case = Case(state, Quantity("needed", label, "flow", asked.flow_unit, rate, bar), why=why)
    case.changes = float(rate.value) / float(facts.inputs["volume"].value)
    mixing = facts.inputs["mixing"]
    for name, sort in sorts.items():
        others = [(sorts[n].clean_air, float(k)) for n, k in counts.items() if n != name]
        base, unit = rate_of(others, mixing), rate_of([(sort.clean_air, 1.0)], mixing)
        found = units_for(name, rate, base, unit, asked, limits)
        found.beside = ", ".join(f"{k} × {n}" for n, k in counts.items() if k and n != name)
        inputs = {
            "unit": unit, "base": base, "volume": facts.inputs["volume"], "counted": state.counted,
            "gain": state.gain, "loss": state.loss,
        }  # fmt: skip
        if "persons" in facts.inputs:
            inputs["persons"] = facts.inputs["persons"]
        shown = _labels(facts, asked.flow_unit, target)
        wanted = REACHED[target.kind]
        case.units.append(tell(found, wanted, shown, inputs, sort.power, sort.sound, asked))
        case.findings += _judged(target, case, found)
    if any(counts.values()):
        there = [(sorts[n].clean_air, float(k)) for n, k in counts.items()]
        case.there = _probability(rate, rate_of(there, mixing), asked)
    case.without = _probability(rate, Estimate(0.0), asked)
    if case.changes > FASTEST:
        said = f"{three_digits(float(units.from_si(case.changes, '1/h', 'rate')))} air changes an hour from the units"
        case.findings.append(Finding(room_flags.TOO_FAST, said))
    if not target.infection and float(rate.value) == 0.0:
        case.findings.append(Finding(room_flags.INDOORS_ALREADY, f"{target.said}; {state.name}"))
    return case


def _probability(rate: Estimate, given: Estimate, asked: Asked) -> float:
    """That units which are counted meet a target."""
    inputs = {"one": given, "other": rate}
    spare = sample(
        linear(lambda one, other: {"x": one - other}, inputs, (), {"x": ()})["x"], asked.samples or DRAWS, asked.seed
    )
    return float(np.mean(spare >= 0.0))


def _judged(target: Target, case: Case, found: UnitsFor) -> list[Finding]:
    """Why a number of units is none that may be told, or hardly."""
    findings = []
    who = f"{found.name}, {case.state.name}"
    sure = f"{100 * found.confidence:g} %"
    if case.changes > FASTEST:
        pass  # said of all sorts together
    elif found.adds_nothing or found.never > 1.0 - found.confidence:
        said = f"{who}: no number meets {target.said} with {sure} confidence; one may add no clean air"
        findings.append(Finding(room_flags.NOT_ACHIEVABLE, said))
    elif not found.allowed and found.number_is_short:
        most = int(found.most or 0)
        chance = percent(found.probability_of(most))
        told = found.told(found.sure)
        more = f"{told} would be needed" if told is not None else "far more would be needed"
        basis = f"a room of this size has place for {most}" if found.assumed else f"at most {most} are allowed"
        said = f"{who}: {more} with {sure} confidence, {basis}; these meet it with a probability of {chance}"
        findings.append(Finding(room_flags.TOO_MANY, said))
    elif found.too_fast:
        said = f"{who}: with {sure} confidence more than 30 air changes an hour would be needed from the units"
        findings.append(Finding(room_flags.TOO_FAST, said))
    elif found.on_edge:
        assert found.sure is not None
        said = f"{found.sure} meet it with a probability of {100 * found.of_sure:.2f} %"
        fewer = 100 * found.probability_of(found.sure - 1) if found.sure else 0.0
        findings.append(Finding(room_flags.ON_EDGE, f"{who}: {said}, one fewer with {fewer:.2f} %"))
    if found.lost > 0.0:
        findings.append(Finding(room_flags.LOST, f"{who}: {100 * found.lost:.2g} % of the draws"))
    return findings


def _labels(facts: Facts, flow_unit: str, target: Target) -> dict[str, tuple[str, str, str]]:
    return {
        "air_changes": ("air changes of clean air", "rate", "1/h"),
        "per_person": ("clean air for each person", "flow", target.unit if target.kind == PER_PERSON else flow_unit),
        "added": ("clean-air rate of all units", "flow", flow_unit),
        "level": ("level, once steady", facts.kind, facts.unit),
        "power": ("power of these units", "power", "W"),
        "sound": ("sound level of these units", "sound level", "dB"),
    }
