"""What speaks against the rates of a room: counter, mixing, window, sampling, and what this room cannot tell."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from statistics import NormalDist

import numpy as np

from flowrig.records import room_decay_facts as facts
from flowrig.records.declare import Finding
from flowrig.records.room_decay import RoomDecay
from flowrig.studies import room_decay_flags as flags
from flowrig.studies.counter import Counter
from flowrig.studies.room_decay_rates import Rate, Room
from flowrig.studies.room_decay_run import Fall
from flowrig.uncertainty.significance import f_tail

ENOUGH, HARDLY = 8.0, 4.0  # readings while the signal falls to a tenth; own judgement, no source
OFF = 3.0
STRONGEST = 450 * 0.3048**3 * 60 / (1008 * 0.3048**3) / 3600  # AHAM AC-3-2009, 450 cfm in 1008 ft3 [1/s]
ROUGH = {True: 0.48 / 3600, False: 0.12 / 3600}  # IEC 63086-2-1 [1/s]
KNOWN = 1e9  # degrees of freedom of an error that is known in size
CHANCE = 0.01  # that one of all runs and sizes is flagged by chance


def checked(
    room: Room, rates: Sequence[Rate], content: RoomDecay, counters: Mapping[str, Counter]
) -> Iterator[Finding]:
    """Every finding, alike ones one after the other."""
    section = content.section
    if section.value("windows_and_doors") == facts.CHANGED:
        yield Finding(flags.WINDOWS_CHANGED, "as the record says")
    if room.natural is not None:
        yield Finding(flags.NATURAL_STATED, section["natural_rate"].text)
    elif section.value("natural_run") != facts.FAN_ON or section.value("windows_and_doors") == facts.NOT_SAID:
        said = []
        if section.value("natural_run") != facts.FAN_ON:
            said.append(f"natural_run: {section.value('natural_run')}")
        if section.value("windows_and_doors") == facts.NOT_SAID:
            said.append("windows_and_doors: not said")
        yield Finding(flags.NATURAL_UNLIKE, ", ".join(said))
    for run in (run for run in content.runs if run.counted is None):
        yield Finding(flags.HALF_LIFE, f"{run.name}: {run.section['half_life'].text}")
    yield from _beginnings(rates, counters)
    tests = max(sum(len(rate.falls) for rate in rates), 1)
    for rate in rates:
        for fall in rate.falls:
            yield from _of_fall(fall, f"{fall.run.name}, {rate.sizes}", tests)
        yield from _of_rate(room, rate, max(len(rates), 1))


def _beginnings(rates: Sequence[Rate], counters: Mapping[str, Counter]) -> Iterator[Finding]:
    """Particles of all channels where the window of a run begins."""
    runs: dict[str, tuple[Fall, float]] = {}
    for fall in (fall for rate in rates for fall in rate.falls):
        first = runs.get(fall.run.name, (fall, math.inf))[1]
        runs[fall.run.name] = (fall, min(first, fall.span[0]))
    for name, (fall, begins) in runs.items():
        counter = counters.get(fall.run.counter)
        if counter is None or not math.isfinite(counter.most):
            continue
        at = int(np.searchsorted(fall.run.time, begins))
        share = float(fall.run.total[at]) / counter.most
        said = f"{name} begins at {share:.2g} of it"
        if share > 1.0 or not math.isfinite(share):
            yield Finding(flags.ABOVE_COUNTER, said)
        elif share > 0.5:
            yield Finding(flags.NEAR_COUNTER, said)


def _of_fall(fall: Fall, name: str, tests: int) -> Iterator[Finding]:
    fit = fall.fit
    if not fall.run.raw:
        yield Finding(flags.NOT_COUNTED, fall.run.name)
    surprise = NormalDist().inv_cdf(1.0 - CHANCE / tests / 2.0)
    if fall.curved < CHANCE / tests:
        yield Finding(flags.NOT_ONE_DECAY, f"{name} (chance: {fall.curved:.1g})")
    if fit.memory > surprise * fit.u_memory:
        yield Finding(flags.FOLLOWING, f"{name} (correlation {fit.memory:.2f})")
    for words, (by, u) in fall.moves.items():
        if abs(by) > max(fall.bar, surprise * u):
            yield Finding(flags.WINDOW_MATTERS, f"{name}: {by * 3600:+.2g} 1/h {words}, bar {fall.bar * 3600:.2g}")
    if fall.assumed:
        yield Finding(flags.FLOOR_ASSUMED, name)
    elif fall.known is not None and fall.known.value > fall.begins:
        yield Finding(flags.FLOOR_ABOVE, f"{name}: {fall.known.value / fall.begins:.2g} times")
    elif abs(fit.off_floor) > OFF:
        flag = flags.FLOOR_OFF if fall.known is not None and fall.known.value > 0.0 else flags.FLOOR_NONE
        yield Finding(flag, f"{name}: {fit.off_floor:+.1f} standard errors")
    if fit.rate + fall.bar < 0.0:
        yield Finding(flags.RISES, f"{name}: {fit.rate * 3600:.2g} 1/h")
    if fall.points < HARDLY:
        yield Finding(flags.HARDLY_ROWS, f"{name}: {fall.points:.1f}")
    elif fall.points < ENOUGH:
        yield Finding(flags.FEW_ROWS, f"{name}: {fall.points:.1f}")


def _of_run(fall: Fall) -> str:
    """A run with where it was counted and its rate."""
    where = f" ({fall.run.place})" if fall.run.place else ""
    return f"{fall.run.name}{where} {fall.fit.rate * 3600:.3g} 1/h"


def _of_rate(room: Room, rate: Rate, sizes: int) -> Iterator[Finding]:
    for on, differ in rate.differ.items():
        n = sum(1 for fall in rate.falls if fall.run.on == on)
        if n > 1 and f_tail(differ, n - 1, KNOWN) < CHANCE / sizes:
            each = ", ".join(_of_run(fall) for fall in rate.falls if fall.run.on == on)
            yield Finding(flags.RUNS_DIFFER, f"{'with' if on else 'without'} the cleaner, {rate.sizes}: {each}")
    for fall in rate.falls:
        own = math.hypot(fall.fit.u_counting, fall.fit.u_scatter)
        if own > ROUGH[fall.run.on]:
            yield Finding(flags.ROUGH, f"{fall.run.name}, {rate.sizes}: {own * 3600:.2g} 1/h")
    changes = float(rate.clean_air.value / room.volume.value)
    if changes > STRONGEST:
        yield Finding(flags.STRONG, f"{changes * 3600:.1f} volumes an hour, {rate.sizes}")
