"""Why a target takes so much clean air, in words: what enters the room, or what the target asks of its size."""

from __future__ import annotations

from flowrig import units
from flowrig.physics.duct_filter import duct_gain
from flowrig.physics.room import room_gain
from flowrig.records.words import three_digits
from flowrig.studies.building import BETTER, State
from flowrig.studies.room_balance import DUCT
from flowrig.studies.room_inputs import Facts
from flowrig.studies.room_targets import AIR_CHANGES, LEVEL, PER_PERSON, Target

BLOWN_IN = "the outdoor air that a fan blows in"
LITTLE = 0.05  # of what enters: less is not named


def entering(facts: Facts, state: State) -> dict[str, float]:
    """What enters for each volume, with every value as it is stated, by where it comes from.

    Parameters
    ----------
    facts : Facts
    state : State
        Of the ducts.

    Returns
    -------
    gains : dict of str to float
        In words; together the gain of the state. [1/s times a concentration]
    """
    x = {name: float(estimate.value) for name, estimate in facts.inputs.items()}
    outdoors, volume = x["outdoor_concentration"], x["volume"]
    found = {
        "infiltration": room_gain(outdoors, x["penetration"], x["infiltration"], 0.0, volume),
        BLOWN_IN: room_gain(outdoors, 0.0, 0.0, 0.0, volume, x["outdoor_air"], x["outdoor_air_efficiency"]),
        "the source in the room": room_gain(0.0, 0.0, 0.0, x["indoor_source"], volume),
    }
    if facts.ducts:
        ducts = facts.ducts["better" if state.name == BETTER else "now"]
        runtime, flow, efficiency, out, into, dirty = (float(ducts[name].value) for name in DUCT)
        leaks = duct_gain(runtime, flow, efficiency, out, into, volume, dirty, outdoors, x["penetration"])
        found["leaks of the ducts"] = leaks
    return {name: float(gain) for name, gain in found.items()}


def why_so_much(target: Target, facts: Facts, state: State) -> str:
    """What makes a target take much clean air, as a sentence.

    Parameters
    ----------
    target : Target
        Of the larger of two, the one that takes more.
    facts : Facts
    state : State
    """
    volume = float(facts.inputs["volume"].value)
    size = f"{three_digits(volume)} m3"
    if target.kind == AIR_CHANGES:
        return f"The target itself asks for {_hourly(float(target.number.value))} air changes an hour."
    if target.kind == PER_PERSON:
        asked = float(facts.inputs["persons"].value) * float(target.number.value) / volume
        persons = three_digits(float(facts.inputs["persons"].value))
        return f"What {persons} persons are to have comes to {_hourly(asked)} air changes an hour of {size}."
    assert target.kind == LEVEL
    gains = entering(facts, state)
    whole = sum(gains.values())
    if not whole > 0.0:
        return ""
    named = sorted(((gain / whole, name) for name, gain in gains.items() if gain >= LITTLE * whole), reverse=True)
    shares = ", ".join(f"{100 * share:.0f} % of it by {name}" for share, name in named)
    loss = float(state.loss.value)
    level = units.from_si(whole / loss, facts.unit, facts.kind) if loss > 0.0 else float("inf")
    held = f"What enters would hold the room at some {float(f'{float(level):.2g}'):.10g} {facts.unit} without units"
    return f"{held if loss > 0.0 else 'Much enters'}: {shares}."


def _hourly(rate: float) -> str:
    return three_digits(float(units.from_si(rate, "1/h", "rate")))
