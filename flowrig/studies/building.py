"""A room with the ducts of its building: as they are and with a better filter, against units in the room and with them.

Without a table [duct] there is one state alone, the room as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from flowrig.physics.sound import energy_sum
from flowrig.progress import doing
from flowrig.records.declare import Finding
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array
from flowrig.studies import room_flags, sound_flags
from flowrig.studies.cleaner_source import Source
from flowrig.studies.result import Quantity
from flowrig.studies.room_balance import (
    of_units,
    power_of_runtime,
    steady,
    sum_of,
    times,
    with_units,
    without_units,
)
from flowrig.studies.room_inputs import BALANCE, Asked, Facts
from flowrig.studies.room_over_time import SHARE_LEFT, Minutes, minutes, over_time
from flowrig.studies.sound import LOUD
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import intervals
from flowrig.uncertainty.propagate import linear

NOW, BETTER = "as it is", "with the duct filter"
NOTHING, DUCT, UNITS, ALL = "nothing added", "duct filter", "units", "duct filter and units"
DAY = 86_400.0
SETTLED = 0.05  # of u: the ends of drawn intervals, beside what is assumed of a room


@dataclass(frozen=True)
class Chosen:
    """Units to be looked at.

    Attributes
    ----------
    units : dict of str to int
        How many of each sort.
    why : str
        Where the numbers are from.
    """

    units: dict[str, int]
    why: str


@dataclass
class State:
    """The room and its building without units.

    Attributes
    ----------
    name : {'as it is', 'with the duct filter'}
    gain, loss : Estimate
        What enters for each volume, and the rate of loss. The gain has no meaning where the concentration outdoors is
        not known.
    counted : Estimate
        Clean air that counts towards a target of infection. [m3/s]
    cleaned : Estimate
        Of it what the filter in the ducts cleans.
    power : Estimate or None
        Mean power for the added runtime; none as it is. [W]
    """

    name: str
    gain: Estimate
    loss: Estimate
    counted: Estimate
    cleaned: Estimate
    power: Estimate | None = None


@dataclass
class Option:
    """One way to go about it, and what it does.

    Attributes
    ----------
    name : {'nothing added', 'duct filter', 'units', 'duct filter and units'}
    units : dict of str to int
        How many of each sort.
    state : State
    why : str
        Where these numbers are from.
    quantities : dict of str to Quantity
        ``added`` (clean-air rate beyond the building as it is), ``air_changes`` (clean air that counts against
        infection), ``level`` where it is known, ``power`` and ``energy`` (over a day, or the season) where they are,
        and ``sound``.
    unknown : dict of str to str
        Why ``power`` or ``sound`` of the units is not known.
    cleared : list of Minutes
        To 90, 99 and 99.9 %, while nothing enters.
    come_down : list of Minutes
        The same while more enters; empty where the concentration outdoors is not known.
    to_target : Minutes or None
        To the target of a concentration.
    curve : Quantity
        Level over time, or the share that is left; axis ``along``.
    """

    name: str
    units: dict[str, int]
    state: State
    why: str = ""
    quantities: dict[str, Quantity] = field(default_factory=dict)
    unknown: dict[str, str] = field(default_factory=dict)
    cleared: list[Minutes] = field(default_factory=list)
    come_down: list[Minutes] = field(default_factory=list)
    to_target: Minutes | None = None
    curve: Quantity | None = None

    def __repr__(self) -> str:
        return f"<Option {self.title!r}: {self.quantities!r}>"

    @property
    def title(self) -> str:
        said = ", ".join(f"{n} × {name}" for name, n in self.units.items())
        if self.name == UNITS:
            return said
        return f"duct filter, {said}" if self.name == ALL else self.name


def states_of(facts: Facts) -> list[State]:
    """The building as it is, and with the better filter where there is one."""
    own = {name: facts.inputs[name] for name in ("volume", *BALANCE)}
    kept: dict[str, tuple[str, ...]] = dict.fromkeys(("gain", "loss", "counted", "cleaned"), ())
    if not facts.ducts:
        return [State(NOW, **linear(without_units, own, (), kept))]
    now, better = (linear(without_units, own | facts.ducts[name], (), kept) for name in ("now", "better"))
    power = None
    if facts.duct is not None and "power" in facts.duct:
        drawn = {
            "power": given_estimate(facts.duct["power"], f"{facts.record.id}:room", "power of the ducts"),
            "runtime": facts.ducts["better"]["runtime"],
            "runtime_now": facts.ducts["now"]["runtime"],
        }
        power = linear(power_of_runtime, drawn, (), {"power": ()})["power"]
    return [State(NOW, **now), State(BETTER, **better, power=power)]


def rate_of(units: Sequence[tuple[Estimate, float]], mixing: Estimate) -> Estimate:
    """Clean-air rate that a room has of some units, each with its number. [m3/s]"""
    if not units:
        return Estimate(0.0)
    inputs = {"mixing": mixing}
    for i, (rate, count) in enumerate(units):
        inputs |= {f"rate{i}": rate, f"count{i}": Estimate(float(count))}
    return linear(of_units, inputs, (), {"rate": ()})["rate"]


@doing("options over time")
def options_of(
    facts: Facts,
    states: Sequence[State],
    sets: Sequence[Sequence[Chosen]],
    sorts: Mapping[str, Source],
    target: Estimate | None,
    instants: Array,
    asked: Asked,
) -> list[Option]:
    """Every state of the ducts without units and with the sets that belong to it.

    Parameters
    ----------
    sets : sequence of sequences of Chosen
        Of each state.
    target : Estimate or None
        Concentration.
    instants : array
        Times of the curve. [s]
    """
    found = [Option((NOTHING, DUCT)[i], {}, state) for i, state in enumerate(states)]
    with_them = [
        Option((UNITS, ALL)[i], {n: k for n, k in chosen.units.items() if k}, state, _why(chosen, i, len(states)))
        for i, state in enumerate(states)
        for chosen in sets[i]
        if any(chosen.units.values())
    ]
    order = list(sorts)  # a sort without and with the ducts, then the next
    found += sorted(with_them, key=lambda option: [order.index(name) for name in option.units])
    initial = _initial(facts, states[0])
    for option in found:
        _tell(option, facts, states[0], sorts, target, initial, instants, asked)
    return found


def _initial(facts: Facts, now: State) -> Estimate:
    """Level when the cleaners are switched on: stated, or what it has become; 1 where none is known."""
    if "initial_concentration" in facts.inputs:
        return facts.inputs["initial_concentration"]
    if not facts.known:
        return Estimate(1.0)
    return linear(steady, {"gain": now.gain, "loss": now.loss}, (), {"level": ()})["level"]


def _tell(
    option: Option,
    facts: Facts,
    now: State,
    sorts: Mapping[str, Source],
    target: Estimate | None,
    initial: Estimate,
    instants: Array,
    asked: Asked,
) -> None:
    state = option.state
    units = rate_of([(sorts[name].clean_air, n) for name, n in option.units.items()], facts.inputs["mixing"])
    given = {"loss": state.loss, "added": units, "volume": facts.inputs["volume"], "counted": state.counted}
    kept: dict[str, tuple[str, ...]] = dict.fromkeys(("loss", "level", "air_changes"), ())
    gain = state.gain if facts.known else Estimate(0.0)
    out = linear(with_units, {**given, "gain": gain}, (), kept)
    told = {"added": _added(state, now, units), "air_changes": out["air_changes"]}
    if facts.known:
        told["level"] = out["level"]
    told |= _electrical(option, facts, sorts)
    told |= _heard(option, sorts)
    option.unknown = _unknown(option, sorts)
    bars = intervals(told, asked.coverage, samples=asked.samples, seed=asked.seed, tolerance=SETTLED)
    option.quantities = {
        name: Quantity(name, *_shown(name, facts, asked.flow_unit), x, bars[name]) for name, x in told.items()
    }
    if "sound" in option.quantities:
        far = sorts[next(iter(option.units))].sound_distance
        option.quantities["sound"].label += f", each at {far:.4g} m" if far is not None else ""
    balance = {"initial": initial, "gain": gain, "loss": out["loss"]} if facts.known else None
    option.cleared, option.come_down, option.to_target = minutes(out["loss"], balance, target, asked)
    shown = ("level", "level in the room", facts.kind, facts.unit) if facts.known else SHARE_LEFT
    option.curve = over_time(instants, initial if facts.known else Estimate(1.0), gain, out["loss"], shown, asked)


def _added(state: State, now: State, units: Estimate) -> Estimate:
    """Clean-air rate beyond the building as it is."""
    if state is now:
        return units
    inputs = {"units": units, "cleaned": state.cleaned, "before": now.cleaned}
    return linear(_beyond, inputs, (), {"x": ()})["x"]


def _beyond(*, units: Array, cleaned: Array, before: Array) -> dict[str, Array]:
    return {"x": units + cleaned - before}


def _electrical(option: Option, facts: Facts, sorts: Mapping[str, Source]) -> dict[str, Estimate]:
    """Mean power and energy, where the power of all that runs is known; units run all the time."""
    pieces = {}
    for i, (name, n) in enumerate(option.units.items()):
        power = sorts[name].power
        if power is None:
            return {}
        pieces[f"x{i}"] = linear(times, {"one": power, "other": Estimate(float(n))}, (), {"x": ()})["x"]
    if option.name in (DUCT, ALL):
        if option.state.power is None:
            return {}
        pieces["duct"] = option.state.power
    if not pieces:
        return {}
    power = linear(sum_of, pieces, (), {"x": ()})["x"]
    length = Estimate(season_of(facts))
    return {"power": power, "energy": linear(times, {"one": power, "other": length}, (), {"x": ()})["x"]}


def _heard(option: Option, sorts: Mapping[str, Source]) -> dict[str, Estimate]:
    """Level of all units, each as far away as it was measured at: where that is the same of all."""
    heard = {f"x{i}": sorts[name].sound for i, name in enumerate(option.units)}
    known = {name: x for name, x in heard.items() if x is not None}
    if not known or len(known) < len(heard) or len({sorts[name].sound_distance for name in option.units}) > 1:
        return {}
    counts = tuple(option.units.values())
    return {"sound": linear(_together, known, (), {"x": ()}, counts=counts)["x"]}


def season_of(facts: Facts) -> float:
    """Time over which energy is told: a day, or the season of [duct]. [s]"""
    return DAY if facts.duct is None else float(facts.duct.value("season", DAY))


def _together(*, counts: tuple[int, ...], **levels: Array) -> dict[str, Array]:
    each = [levels[f"x{i}"] + 10.0 * np.log10(n) for i, n in enumerate(counts)]
    return {"x": np.asarray(energy_sum(np.stack(np.broadcast_arrays(*each), axis=-1)))[..., 0]}


def _shown(name: str, facts: Facts, flow_unit: str) -> tuple[str, str, str]:
    """Label, kind and unit."""
    return {
        "added": ("clean-air rate added", "flow", flow_unit),
        "air_changes": ("air changes of clean air (infection)", "rate", "1/h"),
        "level": ("level, once steady", facts.kind, facts.unit),
        "power": ("mean power", "power", "W"),
        "energy": ("energy", "energy", "kWh"),
        "sound": ("sound level of all units", "sound level", "dB"),
    }[name]


def _why(chosen: Chosen, state: int, states: int) -> str:
    """Where the numbers are from, the state of the ducts beside it where there are two."""
    if states == 1:
        return chosen.why
    return f"{chosen.why}, {('without', 'beside')[state]} the duct filter"


def _unknown(option: Option, sorts: Mapping[str, Source]) -> dict[str, str]:
    """Why watts or decibels of the units are not known."""
    found = {}
    silent = [name for name in option.units if sorts[name].sound is None]
    places = sorted({f"{far:.4g} m" for name in option.units if (far := sorts[name].sound_distance) is not None})
    if silent:
        found["sound"] = f"no level of {', '.join(silent)} is stated or measured"
    elif len(places) > 1:
        found["sound"] = f"levels of one unit are at different distances, {' and '.join(places)}"
    dark = [name for name in option.units if sorts[name].power is None]
    if dark:
        found["power"] = f"no power of {', '.join(dark)} is stated or measured"
    elif option.units and option.name == ALL and option.state.power is None:
        found["power"] = "no power of the ducts' fan is stated"
    return found


def sound_findings(facts: Facts, options: Sequence[Option]) -> list[Finding]:
    """What is louder than the room may have it, or of which that cannot be said."""
    limit = facts.room.value("most_sound")
    found = []
    for option in options:
        heard = option.quantities.get("sound")
        if limit is None:
            if heard is not None and float(heard.low) > LOUD:
                said = f"{option.title}: {float(heard.value):.1f} dB together; no most_sound is stated in [room]"
                found.append(Finding(sound_flags.LOUD, said))
        elif "sound" in option.unknown:
            found.append(Finding(room_flags.SOUND_UNKNOWN, f"{option.title}: {option.unknown['sound']}"))
        elif heard is not None and float(heard.high) > limit:
            level, low, high = (f"{float(x):.1f}" for x in (heard.value, heard.low, heard.high))
            above = "is above" if float(heard.value) > limit else "may be above"
            said = f"{option.title}: {level} dB ({low} to {high}) {above} most_sound, {limit:.4g} dB"
            found.append(Finding(room_flags.TOO_LOUD, said))
    return found


def leak_findings(facts: Facts, options: Sequence[Option]) -> list[Finding]:
    """A better filter that makes the building dirtier, for what its fan draws in."""
    by_name = {option.name: option for option in options if not option.units}
    if DUCT not in by_name or "level" not in by_name[DUCT].quantities:
        return []
    now, then = (by_name[name].quantities["level"] for name in (NOTHING, DUCT))
    if not float(then.estimate.value) > float(now.estimate.value):
        return []
    return [Finding(room_flags.RETURN_LEAKS, f"{float(now.value):.3g} {now.unit} becomes {float(then.value):.3g}")]
