"""From the fitted runs of a room to its clean-air rate, with every cause of error signed and known by its identity."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from flowrig.errors import CalculationError
from flowrig.physics.clean_air import clean_air_from_decay
from flowrig.records.sizes import Sizes
from flowrig.studies.counter import MOST_HIDDEN
from flowrig.studies.room_decay_run import Fall, Rule, Run, fall
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.propagate import linear

UNLIKE, ALIKE = 0.5, 0.1  # of the natural rate, by which it may differ in the run with the cleaner; own judgement
LEAST_UNLIKE = 0.1 / 3600.0  # and no less, where the runs were not alike [1/s]; own judgement
TELLS_NOTHING = 3.0  # standard uncertainty of a rate times the duration of its window: any fall could be there
WALLS = ("decay with the cleaner", "natural decay")


@dataclass(frozen=True)
class Timepiece:
    """What a counter may get wrong of a rate: how far its clock is off, and the dead time that its counts are corrected
    by. What share of the particles it sees, and its sample flow, cancel.

    Attributes
    ----------
    identity, label : str
    clock_limit : float
        A share.
    dead_time : float
        [s]
    dead_time_limit : float
        A share of it.
    """

    identity: str
    label: str
    clock_limit: float = 0.0
    dead_time: float = 0.0
    dead_time_limit: float = 0.0


@dataclass(frozen=True)
class Room:
    """What holds for all sizes.

    Attributes
    ----------
    place : str
        By which causes that are local to the record are known.
    volume : Estimate
        Net. [m3]
    rule : Rule
    counters : mapping of name to Timepiece
    mixing_limit : float
        A share of the clean-air rate.
    natural_limit : float or None
        By which the natural rate may differ in the run with the cleaner; None: a share of it. [1/s]
    alike : bool
        The natural decay was made as the other one.
    natural : Estimate or None
        Stated in place of runs. [1/s]
    stated : mapping of (name, on) to Estimate
        Rates that are known without counts. [1/s]
    """

    place: str
    volume: Estimate
    rule: Rule = field(default_factory=Rule)
    counters: Mapping[str, Timepiece] = field(default_factory=dict)
    mixing_limit: float = 0.0
    natural_limit: float | None = 0.0
    alike: bool = True
    natural: Estimate | None = None
    stated: Mapping[tuple[str, bool], Estimate] = field(default_factory=dict)


@dataclass
class Rate:
    """Rates and clean air of one range of size.

    Attributes
    ----------
    sizes : Sizes or None
        None for rates that are stated without counts.
    on, off : Estimate
        Mean rates with the cleaner and without. [1/s]
    clean_air : Estimate
        [m3/s]
    falls : list of Fall
    each : dict of str to Estimate
        Rate of each run by its name. [1/s]
    differ : dict of bool to float
        Of runs with the cleaner, and without: chi square of how they differ, over its degrees of freedom.
    natural_limit : float
        As it was used. [1/s]
    """

    sizes: Sizes | None
    on: Estimate
    off: Estimate
    clean_air: Estimate
    falls: list[Fall]
    each: dict[str, Estimate]
    differ: dict[bool, float]
    natural_limit: float


def rate_of(room: Room, runs: Sequence[Run], channel: int, sizes: Sizes | None) -> Rate:
    """Clean-air rate of one range of size.

    Parameters
    ----------
    room : Room
    runs : sequence of Run
    channel : int
        Of their counts.
    sizes : Sizes or None

    Raises
    ------
    CalculationError
        If a run tells no rate.
    """
    falls = [fall(run, channel, room.rule) for run in runs]
    each: dict[bool, dict[str, Estimate]] = {True: {}, False: {}}
    for fitted in falls:
        each[fitted.run.on][fitted.run.name] = _rate(room, fitted, str(sizes))
    for (name, on), rate in room.stated.items():
        each[on][name] = rate
    differ: dict[bool, float] = {}
    means: dict[bool, Estimate] = {}
    for on in (True, False):
        if not on and room.natural is not None:
            means[on] = room.natural
            continue
        if not each[on]:
            raise CalculationError(f"no run {'with' if on else 'without'} the cleaner tells a rate")
        means[on], differ[on] = _mean(room, list(each[on].values()), on, str(sizes))
    limit = room.natural_limit
    if limit is None:
        off = abs(float(means[False].value))
        limit = ALIKE * off if room.alike else max(UNLIKE * off, LEAST_UNLIKE)
    return Rate(
        sizes, means[True], means[False], _clean_air(room, means, limit), falls, each[True] | each[False], differ, limit
    )


def _rate(room: Room, fitted: Fall, sizes: str) -> Estimate:
    """Rate of a run with its causes."""
    run, fit = fitted.run, fitted.fit
    own = f"{room.place}:{run.name}:{sizes}"
    kind = WALLS[not run.on]
    used = run.time[fitted.used]
    if fit.u * float(used[-1] - used[0]) > TELLS_NOTHING:
        went = f"they end at {100.0 * fitted.ends / fitted.begins:.0f} % of where they begin"
        raise CalculationError(f"the readings of {run.name} tell no rate: {went}")
    parts: dict[Cause, Array] = {}
    if fit.u_scatter > 0.0:
        # one error of each reading: a scatter that is a small part of it, known by few, must not be drawn by itself
        noise = math.hypot(fit.u_counting, fit.u_scatter)
        dof = fit.dof * (noise / fit.u_scatter) ** 4  # Welch-Satterthwaite of the two
        parts[Cause(f"{own}:scatter", dof=dof, label=f"scatter of readings, {kind}")] = np.array([noise])
    else:
        parts[Cause(f"{own}:counting", label=f"counting in a run, {kind}")] = np.array([fit.u_counting])
    if fitted.known is not None and fit.by_floor:
        parts |= _floor_parts(fitted, own, sizes, kind)
    counter = room.counters.get(run.counter)
    if counter is not None:
        root = math.sqrt(3.0)
        clock = Cause(
            f"{counter.identity}|clock ±{counter.clock_limit:.6g}",
            shape="rectangular",
            scope="calibration",
            label=f"clock of {counter.label}",
        )
        dead = Cause(
            f"{counter.identity}|dead time {counter.dead_time:.6g} s ±{counter.dead_time_limit:.6g}",
            shape="rectangular", scope="calibration", label=f"{counter.label} dead time",
        )  # fmt: skip
        hidden = run.hidden[fitted.used]
        by_time = float(fit.leads @ (hidden / (1.0 - np.minimum(hidden, MOST_HIDDEN))))  # the count stands still
        parts[clock] = np.array([-fit.rate * counter.clock_limit / root])
        parts[dead] = np.array([by_time * counter.dead_time_limit / root])
    return Estimate(fit.rate, (), {cause: part for cause, part in parts.items() if np.any(part)})


def _floor_parts(fitted: Fall, own: str, sizes: str, kind: str) -> dict[Cause, Array]:
    known, by_floor, floor = fitted.known, fitted.fit.by_floor, fitted.run.floor
    assert known is not None
    if floor is None:
        cause = Cause(f"{own}:floor", shape="rectangular", label=f"floor assumed, {kind}")
        return {cause: np.array([by_floor])}
    limit = by_floor * floor.by_limit(fitted.channel) / known.u
    counting = math.copysign(math.sqrt(max(by_floor**2 - limit**2, 0.0)), by_floor)
    return {
        Cause(f"{floor.identity}:{sizes}:counting", label=f"counting of the background, {kind}"): np.array([counting]),
        Cause(f"{floor.identity}:{sizes}:limit", shape="rectangular", label=f"background, {kind}"): np.array([limit]),
    }


def _mean(room: Room, rates: list[Estimate], on: bool, sizes: str) -> tuple[Estimate, float]:
    """Mean of runs of one kind; what they differ by beyond their own errors is one more error of it."""
    names = {f"k{i}": rate for i, rate in enumerate(rates)}
    n, differ = len(rates), 0.0
    inputs = dict(names)
    if n > 1:
        values = np.array([float(rate.value) for rate in rates])
        own = np.array([_own(rate) for rate in rates])
        between = float(np.var(values, ddof=1))
        differ = between / float(np.mean(own**2)) if np.any(own) else math.inf
        further = max(between - float(np.mean(own**2)), 0.0) / n
        words = f"what runs differ by, {WALLS[not on]}"
        cause = Cause(f"{room.place}:{on}:{sizes}:between runs", dof=n - 1.0, label=words)
        inputs["between"] = Estimate(0.0, (), {cause: [math.sqrt(further)]} if further else {})
    return linear(_averaged, inputs, outputs={"rate": ()}, n=n)["rate"], differ


def _own(rate: Estimate) -> float:
    """Standard uncertainty of a rate by what no other run shares."""
    return math.sqrt(sum(float(np.sum(p**2)) for c, p in rate.parts.items() if c.scope == "reading"))


def _averaged(*, n: int, **inputs: Array) -> dict[str, Array]:
    total = sum(inputs[f"k{i}"] for i in range(n)) / n
    return {"rate": np.asarray(total + inputs.get("between", 0.0))}


def _clean_air(room: Room, means: Mapping[bool, Estimate], limit: float) -> Estimate:
    root = math.sqrt(3.0)
    other = Cause(
        f"{room.place}:other losses", shape="rectangular", scope="setup",
        label="air exchange and settling unlike in the two runs",
    )  # fmt: skip
    mixing = Cause(f"{room.place}:mixing", shape="rectangular", scope="setup", label="imperfect mixing")
    inputs = {
        "volume": room.volume,
        "on": means[True],
        "off": means[False],
        "other": Estimate(0.0, (), {other: [limit / root]} if limit else {}),
        "mixing": Estimate(0.0, (), {mixing: [room.mixing_limit / root]} if room.mixing_limit else {}),
    }
    return linear(_cleaned, inputs, outputs={"clean_air": ()})["clean_air"]


def _cleaned(*, volume: Array, on: Array, off: Array, other: Array, mixing: Array) -> dict[str, Array]:
    return {"clean_air": np.asarray(clean_air_from_decay(volume, on, off + other) * (1.0 + mixing))}
