"""Several slower cleaners in place of one: how much air they give without more noise, and how quiet they may be."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from flowrig.physics.fan import fan_level_at_speed, fan_speed_at_level
from flowrig.physics.sound import equal_sources_level
from flowrig.progress import doing
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array, Section, as_written
from flowrig.records.noise_facts import MOST_UNITS
from flowrig.records.record import Record
from flowrig.studies.balance import ROW
from flowrig.studies.cleaner import POWER_AT_SPEED, Setup, setup, task_of
from flowrig.studies.efficiency import held_back
from flowrig.studies.noise_source import Heard, level_of_one
from flowrig.studies.operating_point import beyond_tested
from flowrig.studies.reference_flow import told_once
from flowrig.studies.result import Quantity
from flowrig.studies.speed_for_flow import speed_for_flow
from flowrig.studies.sweep import SEVERAL_HERE
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Bools, Estimate
from flowrig.uncertainty.propagate import linear

DRAWS = 4000  # a number of cleaners: its ends are then good to about 0.05 u
SLOW = 0.5  # of the speed of the curve: below it the laws are carried far
NEAR = 1e-6  # of a clean-air rate: found
ROUNDS = 30

LEVEL_BY_SPEED = FlagMeaning(
    "level by the speed alone",
    "warning",
    "The level at another speed follows the rule of fans, so many decibels for ten times the speed. It is for the "
    "noise of the blades at one and the same point of the curve: a motor's hum, a rattle, a filter that whistles "
    "follow no such law, and through a bank of filters the point moves a little towards shut-off as the fan slows "
    "down. Read the level at the speed that is meant, before it is relied upon.",
    "fan laws, as on public engineering pages (50 dB for ten times the speed); the limit of 5 dB is own judgement",
)
MUCH_SLOWER = FlagMeaning(
    "far below the speed of the curve",
    "warning",
    f"Some of these speeds are below {SLOW:.0%}".replace("%", " %") + " of that of the fan's curve. Whether the motor "
    "runs there at all, and keeps cool, is for its maker to say, and the fan laws are carried far. Never slow a motor "
    "with a lamp dimmer that it was not made for: speed controls are work for a licensed electrician and the local "
    "code.",
    "half: own judgement, no source; controls: local codes (from memory)",
)
NO_CROSSING = FlagMeaning(
    "no balance at some speeds",
    "warning",
    "At some of these speeds fan and bank do not meet on the fan's curve, or no speed gives the flow that is wanted of "
    "each: there is no value.",
)
BEYOND_FULL_SPEED = FlagMeaning(
    "beyond the fan's full speed",
    "warning",
    "So few cleaners would have to turn faster than the fan was when its curve was taken, or than [predict] has it "
    "turn, to give what is required: no speed and no level are told of them, for a fan does not turn faster than it "
    "can. Take more cleaners, a larger fan, or a bank with less resistance; and look at the unit of what is required.",
)
NOT_CLEAN = FlagMeaning(
    "required clean air not looked at",
    "warning",
    "required_clean_air is stated, and no clean-air rate is known of these filters: how many cleaners give it cannot "
    "be told. Write efficiency and particles into the records of the filters, or required_flow into [noise].",
)
FLAGS = (LEVEL_BY_SPEED, MUCH_SLOWER, NO_CROSSING, BEYOND_FULL_SPEED, NOT_CLEAN)

Crossings = list[list[tuple[float, bool]]]  # of each row, place along the curve and whether it is stable
SURE, MIDDLE, NONE = "error bars included", "in the middle of the error bars only", "not achievable"


@dataclass(frozen=True)
class Need:
    """What is required of all cleaners together.

    Attributes
    ----------
    total : Estimate
        [m3/s]
    of_clean_air : bool
        Else of flow.
    stated : bool
        Else it is what one cleaner gives at the speed of [predict].
    """

    total: Estimate
    of_clean_air: bool
    stated: bool


@dataclass
class EqualNoise:
    """Cleaners side by side, each slower than one alone.

    Attributes
    ----------
    section : Section
        The table [noise].
    heard : Heard
        How loud one was.
    number : array
        How many cleaners, one a row.
        In front stands one as it is, at the speed of [predict].
    quiet : dict of str to Quantity
        With the axis ``row``: of so many at the greatest speed at which all together are no louder than the limit:
        speed, flow (of each), total_flow, total_level, and total_clean_air where the efficiency is known.
    enough : dict of str to Quantity
        Of so many that together give just what is required: speed, total_level, quieter (against one).
    need : Need
        What is required of all together.
    beyond : array of bool
        So many cannot give what is required at the full speed of their fans, whatever the noise.
    findings : list of Finding
    coverage : float
    answer : int or None
        The smallest number that meets both; None where none does, or neither was stated.
    verdict : str
        ``error bars included``, ``in the middle of the error bars only``, ``not achievable``, or empty where neither
        a limit nor a requirement was stated: one cleaner is then the measure of both.
    """

    section: Section
    heard: Heard
    number: Array
    quiet: dict[str, Quantity]
    enough: dict[str, Quantity]
    need: Need
    beyond: Bools
    findings: list[Finding] = field(default_factory=list)
    coverage: float = 0.95
    answer: int | None = None
    verdict: str = ""

    @property
    def tried(self) -> int:
        """The first row of a number that is held against a limit; the row before it is one as it is."""
        return int("limit" in self.section)

    def __len__(self) -> int:
        return len(self.number)

    @property
    def together(self) -> Quantity:
        """What all give together at the limit of noise: of clean air, or of flow."""
        return self.quiet["total_clean_air" if self.need.of_clean_air else "total_flow"]


@doing("more and slower cleaners")
def equal_noise(
    record: Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
) -> EqualNoise | None:
    """Numbers of cleaners at equal noise, by a record's table [noise]; None where there is none.

    Parameters
    ----------
    record : Record
        With a table [predict].
    coverage : float
    samples : int, optional
        Draws behind every interval.
    seed : int
    unit : str, optional
        Unit of flow, before the record's own.

    Raises
    ------
    InputError
        If fan, filters or air cannot be put together.
    """
    task = task_of(record)
    section = task.noise
    if section is None:
        return None
    heard = level_of_one(record, section, {"coverage": coverage, "samples": samples, "seed": seed})
    slope = given_estimate(section["slope"], f"{record.id}:noise", "rise of the level with the speed")
    given = {"level": heard.level, "slope": slope}
    given |= {"read_at": Estimate(float(section.value("speed_ratio"))), "top": setup(record).inputs["speed_ratio"]}
    limit = section.value("limit")
    counts = np.arange(1.0, section.value("most", MOST_UNITS) + 1.0)
    counts = counts if limit is None else np.array([1.0, *counts])  # in front always one as it is
    given["number"] = Estimate(counts, (ROW,))
    given["as_it_is"] = Estimate(np.arange(len(counts)) == 0, (ROW,))

    speed = _of_rows(_at_limit, given, limit=limit)
    found = setup(record, None, speed.value, (ROW,))
    found = replace(found, inputs={**found.inputs, "speed_ratio": speed})
    crossings = found.crossings()
    out = _solved(found, crossings)
    held, more = held_back(found.entries, out, (ROW,))
    quiet = {"speed": speed, "flow": out["flow"], "total_flow": _times(out["flow"], given)}
    if held is not None:
        quiet["total_clean_air"] = _times(held.clean, given)
    quiet["total_level"] = _of_rows(_level_of_all, {**given, "speed": speed})

    need = _need(task.task, section, quiet)
    turned = speed_for_flow(found, _of_each(found, given["number"], need))
    full = max(1.0, float(np.max(given["top"].value)))
    beyond = np.nan_to_num(turned.speed.value) > (1.0 + NEAR) * full
    turning = _of_rows(_as_far, {"speed": turned.speed, "beyond": Estimate(beyond, (ROW,))})
    at = {**given, "speed": turning}
    enough = {"speed": turning}
    enough |= {"total_level": _of_rows(_level_of_all, at), "against": _of_rows(_against_one, at)}
    both = {"x": quiet["total_clean_air" if need.of_clean_air else "total_flow"], "need": need.total}
    groups = {"quiet": quiet, "enough": enough, "": {"margin": _of_rows(lambda x, need: {"x": x - need}, both)}}
    flow_unit = str(unit or record.heading.value("flow_unit") or "m3/h")
    made = _quantities(groups, coverage, samples or DRAWS, seed, flow_unit)
    result = EqualNoise(section, heard, counts, made["quiet"], made["enough"], need, beyond, coverage=coverage)
    result.answer, result.verdict = _answer(result, made[""]["margin"])
    untold = [f for f in (*found.findings, *more) if f.meaning != POWER_AT_SPEED]  # of what is not told here
    result.findings = told_once([*_findings(result, found, out), *_several(result, crossings), *untold])
    return result


def _of_rows(kernel: Any, inputs: dict[str, Estimate], **options: Any) -> Estimate:
    return linear(kernel, inputs, (ROW,), {"x": (ROW,)}, **options)["x"]


def _solved(found: Setup, crossings: Crossings) -> dict[str, Estimate]:
    """Where fan and bank agree, at the stable crossing of the greatest flow; no value where there is none."""
    near = [max((t for t, falls in own if falls), default=np.nan) for own in crossings]
    return found.solved(np.array(near))


def _as_far(*, speed: Array, beyond: Array) -> dict[str, Array]:
    """No speed where a fan would have to turn faster than it can."""
    return {"x": np.where(beyond > 0, np.nan, speed)}


def _at_limit(
    *, level: Array, slope: Array, read_at: Array, top: Array, number: Array, as_it_is: Array, limit: float | None
) -> dict[str, Array]:
    """The greatest speed at which so many together stay within the limit, none faster than one alone is meant to run.

    Without a limit one at its own speed is it, whatever its level is.
    """
    own = fan_level_at_speed(level, top / read_at, slope)
    ratio = fan_speed_at_level(equal_sources_level(own, number), own if limit is None else limit, slope)
    return {"x": top * np.where(as_it_is > 0, 1.0, np.minimum(ratio, 1.0))}


def _level_of_all(
    *, level: Array, slope: Array, read_at: Array, number: Array, speed: Array, **_: Array
) -> dict[str, Array]:
    return {"x": np.asarray(equal_sources_level(fan_level_at_speed(level, speed / read_at, slope), number))}


def _against_one(*, slope: Array, top: Array, number: Array, speed: Array, **_: Array) -> dict[str, Array]:
    return {"x": np.asarray(equal_sources_level(fan_level_at_speed(0.0, speed / top, slope), number))}


def _times(x: Estimate, given: dict[str, Estimate]) -> Estimate:
    return _of_rows(lambda x, number: {"x": x * number}, {"x": x, "number": given["number"]})


def _need(task: Section, section: Section, quiet: dict[str, Estimate]) -> Need:
    """What is required of all together; where nothing is stated, what one gives as it is, in the first row."""
    of_clean_air = "total_clean_air" in quiet
    if "required_clean_air" in task and of_clean_air:
        return Need(Estimate(task.value("required_clean_air")), True, True)
    if "required_flow" in section:
        return Need(Estimate(section.value("required_flow")), False, True)
    one = quiet["total_clean_air" if of_clean_air else "total_flow"]
    return Need(one.take(ROW, np.zeros(len(one.value), dtype=int)), of_clean_air, False)


def _of_each(found: Setup, number: Estimate, need: Need) -> Estimate:
    """Flow wanted of each cleaner. Of clean air it depends on the efficiency at that flow, which is found by rounds.

    That the efficiency itself moves a little with its own error, as the flow that is wanted does, is left out: it is
    some hundredths of that error.
    """
    if not need.of_clean_air:
        return _of_rows(lambda total, number: {"x": total / number}, {"total": need.total, "number": number})
    bare = replace(found, inputs={n: Estimate(x.value, x.axes) for n, x in found.inputs.items()})
    efficiency = held_back(bare.entries, _solved(bare, bare.crossings()), (ROW,))[0]
    for _ in range(ROUNDS):
        assert efficiency is not None
        each = need.total.value / (number.value * efficiency.whole.value)
        there = speed_for_flow(bare, Estimate(each, (ROW,)))
        here = {"speed_ratio": Estimate(there.speed.value, (ROW,))}
        before = efficiency.whole.value
        efficiency = held_back(bare.entries, replace(bare, inputs=bare.inputs | here).solved(there.place), (ROW,))[0]
        assert efficiency is not None
        with np.errstate(invalid="ignore"):
            if not np.any(np.abs(efficiency.whole.value - before) > NEAR * before):
                break
    full = replace(found, inputs=found.inputs | here).solved(there.place)
    held, _ = held_back(found.entries, full, (ROW,))
    assert held is not None
    inputs = {"total": need.total, "number": number, "efficiency": held.whole}
    return _of_rows(lambda total, number, efficiency: {"x": total / (number * efficiency)}, inputs)


def _answer(result: EqualNoise, margin: Quantity) -> tuple[int | None, str]:
    """The smallest number that gives what is required within the limit, and how sure that is."""
    if not (result.need.stated or result.tried):
        return None, ""  # one cleaner is held against itself
    tried = np.arange(len(result)) >= result.tried
    slack = NEAR * np.abs(result.need.total.value)
    for ends, verdict in ((margin.interval.low, SURE), (margin.estimate.value, MIDDLE)):
        with np.errstate(invalid="ignore"):
            enough = np.flatnonzero(tried & (ends >= -slack))
        if enough.size:
            return int(result.number[enough[0]]), verdict
    return None, NONE


def _findings(result: EqualNoise, found: Setup, out: dict[str, Estimate]) -> list[Finding]:
    section = result.section
    findings = [Finding(LEVEL_BY_SPEED, f"{as_written(section['slope'])} for ten times the speed")]
    speeds = np.concatenate([group["speed"].estimate.value for group in (result.quiet, result.enough)])
    slowest = float(np.nanmin(speeds)) if np.any(np.isfinite(speeds)) else 1.0
    if slowest < SLOW:
        findings.append(Finding(MUCH_SLOWER, f"down to {100 * slowest:.0f} % of it"))
    if np.any(result.beyond):
        said = ", ".join(f"{n:.0f}" for n in np.unique(result.number[result.beyond]))
        findings.append(Finding(BEYOND_FULL_SPEED, f"{said} of them", result.beyond))
    lost = ~(np.isfinite(out["flow"].value) & (np.isfinite(result.enough["speed"].estimate.value) | result.beyond))
    if np.any(lost):
        findings.append(Finding(NO_CROSSING, f"of {', '.join(f'{n:.0f}' for n in result.number[lost])} cleaners", lost))
    if "required_clean_air" in task_of(found.record).task and not result.need.of_clean_air:
        findings.append(Finding(NOT_CLEAN, "the flow is looked at in its place"))
    return [*findings, *result.heard.findings, *beyond_tested(found.entries, out["velocity"].value)]


def _several(result: EqualNoise, crossings: Crossings) -> list[Finding]:
    rows = np.array([len(own) > 1 for own in crossings])
    said = f"at the speeds of {', '.join(f'{n:.0f}' for n in result.number[rows])} cleaners"
    return [Finding(SEVERAL_HERE, said, rows)] if np.any(rows) else []


LABELS = {  # name: words, kind, unit to show; an empty unit is that of the flow
    "flow": ("flow of each", "flow", ""),
    "speed": ("speed, over that of the fan's curve", "ratio", "%"),
    "total_flow": ("flow of all together", "flow", ""),
    "total_clean_air": ("clean air of all together", "flow", ""),
    "total_level": ("level of all together", "sound level", "dB"),
    "against": ("level of all together against one", "sound level", "dB"),
    "margin": ("more than is required", "flow", ""),
}


def _quantities(
    groups: dict[str, dict[str, Estimate]], coverage: float, samples: int, seed: int, flow_unit: str
) -> dict[str, dict[str, Quantity]]:
    """All in one go, so that draws are shared."""
    every = {(g, n): x for g, group in groups.items() for n, x in group.items()}
    named = {f"{g}:{n}": x for (g, n), x in every.items()}
    bars = batch_intervals(named, coverage, samples=samples, seed=seed, most=0)
    made: dict[str, dict[str, Quantity]] = {}
    for (g, n), x in every.items():
        label, kind, unit = LABELS[n]
        made.setdefault(g, {})[n] = Quantity(n, label, kind, unit or flow_unit, x, *bars[f"{g}:{n}"])
    return made
