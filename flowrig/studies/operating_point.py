"""A fan's curve against a bank of filters: every flow at which they agree, and what holds there, with error bars."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import CalculationError
from flowrig.progress import doing
from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.items import Array
from flowrig.records.record import Record
from flowrig.studies.balance import FILTER, at_the_ends
from flowrig.studies.bank import Entry
from flowrig.studies.cleaner import Setup, setup
from flowrig.studies.efficiency import Held, held_back
from flowrig.studies.fan_curve import NAMEPLATE
from flowrig.studies.filter_law import FAR
from flowrig.studies.reference_flow import told_once
from flowrig.studies.result import Quantity
from flowrig.uncertainty.alongside import one_of
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import intervals
from flowrig.uncertainty.propagate import linear

SLOW = 5.0  # times below the lowest velocity that was tested
SETTLED = 0.05  # of u: the ends of a drawn interval need be no better, beside what is assumed of fans and filters
SEVERAL = FlagMeaning(
    "several crossings",
    "warning",
    "The curve of the fan and that of the bank cross more than once. At an unstable crossing a fan does not stay; of "
    "two stable ones it may run at either, depending on how it was started, and jump. What is told is the one of the "
    "greatest flow. Take a bank of less resistance, or another fan.",
)
EITHER = FlagMeaning(
    "either of two flows",
    "alarm",
    "Another stable crossing lies within the error bar: with such a bank the fan may run at either flow, and jump from "
    "one to the other with a little dust or a gust. No single number describes it. Take a bank of less resistance.",
)
UNSTABLE = FlagMeaning(
    "unstable crossing",
    "alarm",
    "The only crossing is one at which the fan does not stay: beyond it the bank asks for less than the fan gives. The "
    "flow will run away from it, to a place that the curve does not reach.",
)
BEYOND_TESTED = FlagMeaning(
    "filter beyond its tested velocity",
    "alarm",
    "The face velocity is more than a quarter above the highest at which the filter was tested: its drop there is a "
    "guess, and its frame and pleats may not hold. Use more filters, or larger ones.",
    "a quarter: own judgement, no source",
)
BELOW_TESTED = FlagMeaning(
    "filter far below its tested velocity",
    "warning",
    "The face velocity is less than a fifth of the lowest at which the filter was tested: its drop there is taken from "
    "the law alone. Where no such bank is meant, look for a slipped unit in the size of the filter or in its number.",
    "a fifth: own judgement, no source",
)
NEAR_END = FlagMeaning(
    "crossing near the end of the curve",
    "warning",
    "Within the error bars the crossing may lie beyond the last point of the fan's curve, where it was continued "
    "straight. Measure the fan further.",
)
LOST_DRAWS = FlagMeaning(
    "crossing may not exist",
    "alarm",
    "In more than one of a hundred draws of the errors the curves do not cross there any more: the interval covers "
    "only those where they do.",
)
FLAGS = (SEVERAL, EITHER, UNSTABLE, BEYOND_TESTED, BELOW_TESTED, NEAR_END, LOST_DRAWS)


@dataclass
class Crossing:
    """A flow at which fan and bank agree.

    Attributes
    ----------
    stable : bool
    place : float
        Along the curve of the fan. [m3/s]
    quantities : dict of str to Quantity
    """

    stable: bool
    place: float
    quantities: dict[str, Quantity]


@dataclass
class OperatingPoint:
    """A cleaner where fan and bank agree.

    Attributes
    ----------
    record : Record
    setup : Setup
    crossings : list of Crossing
        The one that is told first in front, then by falling flow.
    held, conditioned : Held or None
        What the filters hold back, with their charge and without.
    entries : list of dict of str to Quantity
        Drop, face velocity, share of the flow in gaps and efficiency of each sort of filter.
    findings : list of Finding
    coverage : float
    """

    record: Record
    setup: Setup
    crossings: list[Crossing]
    held: Held | None
    conditioned: Held | None
    entries: list[dict[str, Quantity]]
    findings: list[Finding]
    coverage: float

    @property
    def main(self) -> Crossing:
        return self.crossings[0]

    @property
    def flow(self) -> Quantity:
        return self.main.quantities["flow"]

    def __getitem__(self, name: str) -> Quantity:
        return self.main.quantities[name]


@doing("fan against filters")
def operating_point(
    record: Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
) -> OperatingPoint:
    """Where a fan meets a bank of filters, and what the cleaner does there.

    Raises
    ------
    InputError
        If fan, filters or air cannot be put together.
    CalculationError
        If fan and bank do not meet inside the fan's curve.
    """
    found = setup(record)
    [places] = found.crossings()
    if not places:
        raise CalculationError(_why_none(found))
    stable = [t for t, falls in places if falls]
    first = (stable[-1], True) if stable else places[-1]
    order = [first, *(place for place in reversed(places) if place != first)]
    findings = list(found.findings)
    if not stable:
        findings.append(Finding(UNSTABLE, f"{len(places)} crossing{'s'[: len(places) - 1]}, none of them stable"))
    flow_unit = unit or record.heading.value("flow_unit") or "m3/h"
    solved = [found.solved(np.asarray(place), falls) for place, falls in order]
    out = solved[0]
    held, more = held_back(found.entries, out, ())
    conditioned, _ = held_back(found.entries, out, (), conditioned=True)
    findings += more
    # all that is told in one go, so that draws are shared
    groups = [_of_main(found, out, held, conditioned), *({n: x[n] for n in ("flow", "pressure")} for x in solved[1:])]
    told = len(groups)
    groups += [_of_entry(found, out, held, i) for i in range(len(found.entries))]
    bars = intervals(
        {f"{i}:{name}": x for i, group in enumerate(groups) for name, x in group.items()},
        coverage,
        samples=samples,
        seed=seed,
        tolerance=SETTLED,
    )
    listed = [
        {name: quantity(name, x, bars[f"{i}:{name}"], flow_unit) for name, x in group.items()}
        for i, group in enumerate(groups)
    ]
    crossings = [
        Crossing(falls, place, quantities) for (place, falls), quantities in zip(order, listed[:told], strict=True)
    ]
    entries = listed[told:]
    if len(places) > 1:
        said = ", ".join(f"{c.quantities['flow'].value:.4g}" for c in sorted(crossings, key=lambda c: c.place))
        findings.append(Finding(SEVERAL, f"{said} {flow_unit}"))
        main, *others = [c.quantities["flow"] for c in crossings if c.stable or c is crossings[0]]
        near = [q for q in others if main.low <= q.value <= main.high]
        if near:
            findings.append(Finding(EITHER, f"{near[0].value:.4g} or {main.value:.4g} {flow_unit}"))
    findings += _of_point(found, crossings[0], out)
    findings = told_once(sorted(findings, key=lambda f: SEVERITIES.index(f.severity)))
    return OperatingPoint(record, found, crossings, held, conditioned, entries, findings, coverage)


LABELS = {  # name: words, kind, unit to show; an empty unit is that of the flow
    "flow": ("flow through the filters, air at the unit", "flow", ""),
    "free_air": ("free-air flow, nothing in front of the fan", "flow", ""),
    "share": ("flow left of free air", "ratio", "%"),
    "pressure": ("pressure over the bank", "pressure difference", "Pa"),
    "shut_off": ("pressure of the fan without flow", "pressure difference", "Pa"),
    "lost": ("of it in grilles, ducts and shrouds", "pressure difference", "Pa"),
    "back": ("flow back at the fan's corners", "flow", ""),
    "power": ("power", "power", "W"),
    "motor_temperature": ("temperature of the motor", "temperature", "degC"),
    "efficiency": ("efficiency of the bank", "ratio", "%"),
    "clean_air": ("clean-air rate", "flow", ""),
    "clean_air_per_power": ("clean air per power", "flow per power", ""),
    "efficiency_conditioned": ("efficiency, charge lost", "ratio", "%"),
    "clean_air_conditioned": ("clean-air rate, charge lost", "flow", ""),
    "drop": ("drop", "pressure difference", "Pa"),
    "velocity": ("face velocity", "velocity", "m/s"),
    "media_efficiency": ("efficiency of the medium", "ratio", "%"),
    "beside_share": ("flow beside the medium", "ratio", "%"),
}


def quantity(name: str, x: Estimate, interval: Any, flow_unit: str) -> Quantity:
    label, kind, unit = LABELS[name]
    shown = unit or (flow_unit if kind == "flow" else units.default_display(kind))
    return Quantity(name, label, kind, shown, x, interval)


def _of_main(
    found: Setup, out: Mapping[str, Estimate], held: Held | None, conditioned: Held | None
) -> dict[str, Estimate]:
    """What is told of a crossing; a free-air flow outside the points, or losses that there are none of, are not."""
    curve = found.curve
    dropped = {
        "free_air": not curve.free_air_inside,
        "share": not curve.free_air_inside,
        "shut_off": not curve.shut_off_inside,
        "lost": not np.any(found.inputs["loss"].value),
        "back": not np.any(found.inputs["backflow"].value),
    }
    wanted = {n: out[n] for n in LABELS if n in out and not out[n].axes and not dropped.get(n, False)}
    if held is not None:
        wanted |= {"efficiency": held.whole, "clean_air": held.clean}
        if "power" in out and curve.electrical:
            inputs = {"clean": held.clean, "power": out["power"]}
            wanted["clean_air_per_power"] = linear(_per_power, inputs, (), {"x": ()})["x"]
    if conditioned is not None:
        wanted |= {"efficiency_conditioned": conditioned.whole, "clean_air_conditioned": conditioned.clean}
    return wanted


def _per_power(*, clean: Array, power: Array) -> dict[str, Array]:
    return {"x": clean / power}


def _of_entry(found: Setup, out: Mapping[str, Estimate], held: Held | None, i: int) -> dict[str, Estimate]:
    """What is told of one sort of filter."""
    one = {name: one_of(out[name], FILTER, i) for name in ("velocity", "drop")}
    if np.any(found.entries[i].members["gap"].value):
        both = {"through": out["through"], "beside": out["beside"]}
        share = linear(_share_beside, both, (FILTER,), {"beside_share": (FILTER,)})["beside_share"]
        one["beside_share"] = one_of(share, FILTER, i)
    if held is not None:
        one["media_efficiency"] = one_of(held.each, FILTER, i)
    return one


def _share_beside(*, through: Array, beside: Array) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        return {"beside_share": beside / (through + beside)}


def _of_point(found: Setup, main: Crossing, out: Mapping[str, Estimate]) -> list[Finding]:
    findings = beyond_tested(found.entries, out["velocity"].value)
    ends = found.curve.nodes[[0, -1]]
    bar = main.quantities["flow"].interval
    reach = float(bar.high - bar.low) / 2 / float(found.inputs["abreast"].value * found.inputs["speed_ratio"].value)
    for end in ends:
        if abs(main.place - end) < reach and not (end == ends[-1] and found.curve.free_air_inside):
            shown = units.from_si(end, "m3/h", "flow")
            findings.append(Finding(NEAR_END, f"the curve ends at {shown:.4g} m3/h"))
    lost = float(main.quantities["flow"].interval.lost)
    if lost > 0.01:
        findings.append(Finding(LOST_DRAWS, f"{lost:.1%} of the draws".replace("%", " %")))
    claim = found.curve.section.value("claimed_free_air")
    if claim is not None and found.curve.free_air_inside:
        # of one fan at the speed of its curve
        own = float(found.inputs["abreast"].value * found.inputs["speed_ratio"].value)
        free, u = (float(x) / own for x in (out["free_air"].value, out["free_air"].u))
        off = claim / free - 1.0
        if abs(off) * free > 2 * u:
            unit = found.curve.section["claimed_free_air"].unit
            said = f"{units.from_si(claim, unit, 'flow'):.4g} {unit} claimed, "
            said += f"{units.from_si(free, unit, 'flow'):.4g} {unit} by the curve ({off:+.0%})"
            findings.append(Finding(NAMEPLATE, said.replace("%)", " %)")))
    return findings


def beyond_tested(entries: list[Entry], velocity: Array) -> list[Finding]:
    """Filters that are to run far from what they were tested at; velocity with the entries along the last axis."""
    findings = []
    for i, entry in enumerate(entries):
        for k, law in enumerate(entry.laws):
            if law.tested is None:
                continue
            own = np.atleast_1d(velocity[..., i])
            here = np.ones(len(own), dtype=bool) if entry.order is None else np.asarray(entry.order) == k
            with np.errstate(invalid="ignore"):
                over = here & (own > FAR * law.tested[1])
                under = here & (own > 0.0) & (own < law.tested[0] / SLOW)
            if np.any(over):
                said = f"{law.title}: {np.max(own[over]):.3g} m/s, tested up to {law.tested[1]:.3g} m/s"
                findings.append(Finding(BEYOND_TESTED, said, over if velocity.ndim > 1 else None))
            if np.any(under):
                said = f"{law.title}: {np.min(own[under]):.3g} m/s, tested from {law.tested[0]:.3g} m/s on"
                findings.append(Finding(BELOW_TESTED, said, under if velocity.ndim > 1 else None))
    return findings


def _why_none(found: Setup) -> str:
    """Why fan and bank do not meet, and what to do."""
    (low, apart_low), (high, apart_high) = at_the_ends(found.options, found.nominal())
    shown = [f"{units.from_si(x, 'm3/h', 'flow'):.4g} m3/h" for x in (low, high)]
    if apart_high > 0:
        return (
            f"{found.curve.title} and the bank do not meet on the fan's curve: at its last point, {shown[1]}, the fan "
            f"still gives {apart_high:.3g} Pa more than the bank takes. The flow is greater than that. Measure the fan "
            "nearer to free air; a curve is not continued beyond its points."
        )
    if apart_low <= 0:
        return (
            f"{found.curve.title} and the bank do not meet on the fan's curve: already at its first point, {shown[0]}, "
            f"the bank takes {-apart_low:.3g} Pa more than the fan gives. The flow is less than that, if there is any. "
            "Measure the fan nearer to shut-off, or take more or larger filters."
        )
    return f"{found.curve.title} and the bank meet only outside the points of the fan's curve."
