"""A room's record as estimates: what is stated with its ±, and what is assumed, never silently."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records import flags
from flowrig.records.declare import Finding, Given
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Section, as_written
from flowrig.records.record import Record
from flowrig.records.room_facts import BASIS, KINDS_OF, NONE, PRESENT
from flowrig.records.words import three_digits
from flowrig.studies import room_flags
from flowrig.studies.predict import predict
from flowrig.studies.room_balance import flow_left, lost_share, net_volume
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import tangent
from flowrig.uncertainty.propagate import linear

BALANCE = (
    "infiltration", "penetration", "deposition", "outdoor_concentration", "indoor_source", "outdoor_air",
    "outdoor_air_efficiency",
)  # fmt: skip
SIZES = ("volume", "floor_area", "ceiling_height", "displaced")
ONE_EACH = ("persons", "initial_concentration", "mixing")
CASES = (
    "outdoor_concentration",
    "initial_concentration",
    "persons",
    "runtime",
    "runtime_now",
    "leak_concentration",
)  # without a ± a case that is looked at: known, and no fault
WITH_OUTDOORS = ("penetration", "outdoor_air_efficiency")  # of no account where the air outdoors is clean
MUCH = 0.2  # of the flow
PLACE = (4, 10.0)  # units, and m3 of air for each: what there is room for where nothing is said; own judgement
FEW_CHANGES, MOST_CHANGES = 20.0 / 3600.0, 200.0 / 3600.0  # 1/s of a flow: odd beyond, and beyond what can be meant
MOST_COUNTED = 1000  # units, as of the field most_units
LEAST_AIR = 2.0  # m3 a person


@dataclass(frozen=True)
class Asked:
    """How results are to be told.

    Attributes
    ----------
    coverage : float
    seed : int
    samples : int or None
    flow_unit : str
    """

    coverage: float = 0.95
    seed: int = 1
    samples: int | None = None
    flow_unit: str = "m3/h"

    @property
    def drawn(self) -> dict[str, Any]:
        """For intervals, and for whatever else is drawn."""
        return {"coverage": self.coverage, "samples": self.samples, "seed": self.seed}


@dataclass
class Facts:
    """A room in SI.

    Attributes
    ----------
    record : Record
    room : Section
    duct : Section or None
    inputs : dict of str to Estimate
        Of `room_balance.without_units`, without the ducts; and ``mixing``, and ``persons`` and
        ``initial_concentration`` where they are known.
    ducts : dict of str to dict of str to Estimate
        By ``now`` and ``better``, what stands for the ducts; empty without [duct].
    known : bool
        The concentration outdoors is known, so that a level follows.
    kind : str
        Of concentrations.
    unit : str
        In which levels are shown.
    assumed : list of (str, str, str)
        Field, value and where its limits are from, of everything that was not stated.
    findings : list of Finding
    lost : Estimate or None
        Share of the flow of the ducts that the better filter takes.
    duct_particles : str
        Which particles the efficiency of the better filter is of.
    """

    record: Record
    room: Section
    duct: Section | None
    inputs: dict[str, Estimate]
    ducts: dict[str, dict[str, Estimate]] = field(default_factory=dict)
    known: bool = False
    kind: str = ""
    unit: str = ""
    assumed: list[tuple[str, str, str]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    lost: Estimate | None = None
    duct_particles: str = ""

    @property
    def mixed(self) -> bool:
        """Whether the mixing was measured."""
        return "mixing" in self.room

    @property
    def clean_outdoors(self) -> bool:
        """Whether nothing comes in from outdoors: a concentration that is stated to be none."""
        outdoors = self.inputs["outdoor_concentration"]
        return self.known and float(outdoors.value) == 0.0 and not outdoors.parts

    @property
    def place(self) -> int:
        """Units of one sort that there is room for, by the volume alone."""
        least, each = PLACE
        return min(max(least, int(float(self.inputs["volume"].value) / each)), MOST_COUNTED)

    @property
    def most_units(self) -> int:
        """Most units of one sort: stated, or what there is room for."""
        return int(self.room.value("most_units", self.place))

    def assume(self, name: str, value: str, basis: str) -> None:
        self.assumed.append((name, value, basis))


def facts_of(record: Record, room: Section, duct: Section | None, asked: Asked) -> Facts:
    """What is known of a room, and what is taken instead.

    Parameters
    ----------
    record : Record
    room : Section
    duct : Section or None
    asked : Asked
        Of a prediction that [duct] names.

    Raises
    ------
    InputError
        If that prediction tells no efficiency.
    """
    place = f"{record.id}:room"

    def stated(name: str) -> Estimate:
        return given_estimate(room[name], place, f"{name.replace('_', ' ')} of the room")

    sides = {name: stated(name) for name in SIZES if name in room}
    inputs = {"volume": linear(net_volume, sides, (), {"volume": ()})["volume"]}
    inputs |= {name: stated(name) if name in room else Estimate(0.0) for name in BALANCE}
    inputs |= {name: stated(name) for name in ONE_EACH if name in room}
    inputs.setdefault("mixing", Estimate(1.0))
    found = Facts(record, room, duct, inputs, known="outdoor_concentration" in room)
    found.kind = KINDS_OF[str(room.value("concentrations"))][0]
    shown = [
        room[name].unit
        for name in ("outdoor_concentration", "initial_concentration")
        if name in room and room[name].unit
    ]
    found.unit = shown[0] if shown else units.default_display(found.kind)
    _tell(found, room, used=[*sides, *BALANCE, *(n for n in ONE_EACH if n in room)])
    if duct is not None:
        _ducts(found, duct, place, asked)
    _odd_air(found)
    if found.assumed:
        said = ", ".join(f"{name} = {value}" for name, value, _ in found.assumed)
        found.findings.append(Finding(flags.ASSUMED, said))
    _flue(found)
    if not found.mixed:
        found.findings.append(Finding(room_flags.PERFECT_MIXING, "no mixing in [room]: taken as 1"))
    return found


def _tell(found: Facts, section: Section, used: list[str]) -> None:
    """What was assumed, and what was stated as if it were known exactly."""
    exact = []
    for name in (name for name in used if name in section):
        item = section[name]
        if not isinstance(item.field, Given):
            continue
        if item.assumed:
            if name == "outdoor_air_efficiency" and section.value("outdoor_air") == 0.0:
                continue  # of no air
            if name in WITH_OUTDOORS and found.clean_outdoors:
                continue  # of nothing
            found.assume(f"{section.name}.{name}", item.field.default, BASIS[name])
        elif name in WITH_OUTDOORS and found.clean_outdoors:
            continue
        elif not item.components and name not in CASES and item.value != 0.0:
            exact.append(f"{name} = {as_written(item)}")
    if exact:
        found.findings.append(Finding(room_flags.EXACT, f"{section.name}: {', '.join(exact)}"))


def _predicted(found: Facts, duct: Section, asked: Asked) -> tuple[Estimate, Estimate]:
    """Flow and efficiency behind the better filter, from the prediction that the record names."""
    predicted = predict(duct.value("prediction"), **asked.drawn)
    if predicted.held is None:
        said = "a prediction that tells an efficiency: that of every filter, for the same particles"
        remedy = "Give each filter's record its efficiency and particles, or write the two here."
        raise InputError(Fault(duct["prediction"].where, f"{predicted.record.name}, which tells none", said, remedy))
    found.duct_particles = predicted.held.particles
    found.findings += [Finding(f.meaning, f"duct: {f.message}") for f in predicted.findings if f.severity != "note"]
    return tangent(predicted.flow.estimate), tangent(predicted.held.whole)


def _ducts(found: Facts, duct: Section, place: str, asked: Asked) -> None:
    def stated(name: str) -> Estimate:
        return given_estimate(duct[name], place, f"{name.replace('_', ' ')} of the ducts")

    flow = stated("flow")
    efficiency = stated("efficiency") if "efficiency" in duct else Estimate(0.0)
    found.duct_particles = str(duct.value("particles", ""))
    if "prediction" in duct:
        better, efficiency = _predicted(found, duct, asked)
    elif "flow_with_filter" in duct:
        better = stated("flow_with_filter")
    else:
        better = linear(flow_left, {"flow": flow, "loss": stated("flow_loss")}, (), {"duct_flow": ()})["duct_flow"]
    found.lost = linear(lost_share, {"flow": flow, "duct_flow": better}, (), {"lost": ()})["lost"]
    leaks = {name: stated(name) for name in ("supply_leakage", "return_leakage")}
    dirty = stated("leak_concentration") if "leak_concentration" in duct else found.inputs["outdoor_concentration"]
    leaks["leak_concentration"] = dirty
    found.ducts = {
        "now": {"runtime": stated("runtime_now"), "duct_flow": flow, "duct_efficiency": stated("efficiency_now")}
        | leaks,
        "better": {"runtime": stated("runtime"), "duct_flow": better, "duct_efficiency": efficiency} | leaks,
    }
    used = ["flow", "flow_with_filter", "flow_loss", "efficiency", "efficiency_now", "runtime", "runtime_now"]
    _tell(found, duct, [*used, "supply_leakage", "return_leakage", "leak_concentration"])
    if "leak_concentration" not in duct and found.known and not found.clean_outdoors:
        found.assume("duct.leak_concentration", "that outdoors", BASIS["leak_concentration"])
    lost = float(found.lost.value)
    if lost > MUCH:
        found.findings.append(Finding(room_flags.LOSES_FLOW, f"{100 * lost:.2g} % of it"))


def _odd_air(found: Facts) -> None:
    """Flows that change the air of the room more often than rooms have it, and persons that have hardly any.

    Raises
    ------
    InputError
        Where a flow is beyond what can be meant.
    """
    volume = float(found.inputs["volume"].value)
    moved = [(found.room["outdoor_air"], float(found.inputs["outdoor_air"].value))]
    if found.duct is not None:
        each = (("flow", "now"), ("flow_with_filter", "better"), ("prediction", "better"))
        moved += [
            (found.duct[name], float(found.ducts[when]["duct_flow"].value)) for name, when in each if name in found.duct
        ]
    faults, odd = [], []
    for item, flow in moved:
        said = f"{three_digits(3600.0 * flow / volume)} air changes an hour of {three_digits(volume)} m3"
        if flow > MOST_CHANGES * volume:
            limit = f"no more than {3600.0 * MOST_CHANGES:g} air changes an hour, which no room has"
            remedy = "Correct the flow or the room; with [duct] the room is the whole building."
            faults.append(Fault(item.where, said, limit, remedy))
        elif flow > FEW_CHANGES * volume:
            odd.append(f"{item.path}: {said}")
    if faults:
        raise InputError(faults)
    found.findings += [Finding(room_flags.MUCH_AIR, said) for said in odd]
    if "persons" in found.inputs and volume < LEAST_AIR * float(found.inputs["persons"].value):
        share = volume / float(found.inputs["persons"].value)
        said = f"{float(found.inputs['persons'].value):.4g} persons, {share:.2g} m3 each"
        found.findings.append(Finding(room_flags.CROWDED, said))


def _flue(found: Facts) -> None:
    burns, out = str(found.room.value("combustion")), bool(found.room.value("blows_out", False))
    if out and burns != NONE:
        said = "an appliance is there" if burns == PRESENT else "whether an appliance is there was not said"
        found.findings.append(Finding(room_flags.FLUE, f"blows_out, and {said}"))
    elif burns != NONE and burns != PRESENT:
        found.findings.append(Finding(room_flags.FLUE_UNKNOWN, "combustion in [room] is not said"))
