"""What a nameplate or label states, held against what was measured: a ratio with its error bar, and a sentence."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from flowrig import units
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Item, Section, as_written
from flowrig.records.words import folded
from flowrig.studies.claimed_particles import measured_particles
from flowrig.studies.counted import Sized, carried, with_bars
from flowrig.studies.one_sided import one_sided
from flowrig.studies.result import NOT_MEASURED, Quantity, Result
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear

NO_PRODUCT = FlagMeaning(
    "claims do not multiply",
    "warning",
    "A clean-air rate is the flow times the share of particles held back. The stated one is not the product of the "
    "stated flow and the stated efficiency, by more than the rounding of the three explains: they may be for different "
    "speeds, filters or particle sizes, or the flow may be that of the fan without filters. A measured clean-air rate "
    "below the product is usual, for the room mixes imperfectly.",
    "definition of the clean-air delivery rate; rounding: half a unit of the last digit written",
)
NOT_HELD = FlagMeaning(
    "claim not held",
    "note",
    "A stated efficiency or clean-air rate cannot be held against what was measured: it is one of a size of particles, "
    "and the sizes are not told, or not covered by the counter.",
)
FLAGS = (NO_PRODUCT, NOT_HELD)

FREE_AIR = (
    "A nameplate flow is usually for free air, with nothing before or behind the fan; for a household box fan "
    "that pulls through four MERV 13 filters about half of it is an ordinary result (common practice, no source)."
)

Measured = tuple[str, Quantity]  # what it is called, and what it came to
Counted = tuple[str, Sized]  # the same of particles
Of = str | None


@dataclass(frozen=True)
class Claim:
    """A field of [claims] and where its measured value is found.

    Attributes
    ----------
    name : str
        Field of the table.
    words : str
    measured : callable or None
        (result, which flow or None) to what was measured, one or several; None while no section of a record
        measures it.
    below : str
        What to say where the measured value is clearly below the stated one.
    level : bool
        Held as a difference: a level in decibels has no ratio.
    why_not : callable, optional
        What keeps a claim from being held although a record measures such things; empty where nothing was measured.
    same : str
        What has to be the same for both, to ask where the measured value is more.
    """

    name: str
    words: str
    measured: Callable[[Result, Of], Iterator[Measured | Counted]] | None = None
    below: str = ""
    level: bool = False
    why_not: Callable[[Result], str] | None = None
    same: str = "the same speed and the same air"


@dataclass
class HeldClaim:
    """A claim held against what was measured.

    Attributes
    ----------
    name : str
        Field of [claims].
    stated : str
        As written, its ± too.
    value : float
        SI.
    unit : str
        As written.
    ratios : list of Quantity
        Measured over stated, or measured minus stated for a level; empty where nothing was measured.
    sentences : list of str
    findings : list of Finding
        About the claim itself.
    """

    name: str
    stated: str
    value: float
    unit: str
    ratios: list[Quantity] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"<HeldClaim {self.name} {self.stated}: {self.ratios or NOT_MEASURED}>"


def flows_of(result: Result, of: Of) -> Iterator[Measured]:
    """The combined flow where there is one, else every measurement of it; an actual flow, as a fan is rated."""
    if not result.together and result.flows:
        yield result.flows[0].name, result.flows[0].main
    by_name = {flow.name: flow for flow in result.flows}
    for group in result.together:
        if of is not None and folded(of) != folded(group.of):
            continue
        if group.combined is not None:
            yield group.combined.name, group.combined.main
        else:
            yield from ((name, by_name[name].main) for name in group.names)


def _beside(path: str) -> Callable[[Result, Of], Iterator[Measured]]:
    """What was read beside the flow, if it was; where only a limit of it is known, that."""
    name, _, quantity = path.partition(".")

    def found(result: Result, of: Of) -> Iterator[Measured]:
        read = result.parts[name].quantities if name in result.parts else {}
        for known in (quantity, f"{quantity}_at_most"):
            if known in read:
                yield "as read", read[known]
                return

    return found


def _particles(name: str) -> Callable[[Result, Of], Iterator[Counted]]:
    """What was measured of the particles that the claims are of, if it was."""

    def found(result: Result, of: Of) -> Iterator[Counted]:
        assert result.record.claims is not None
        measured, _ = measured_particles(result, result.record.claims, name)
        if measured is not None:
            yield "by counts", measured

    return found


def _why_not(name: str) -> Callable[[Result], str]:
    def why(result: Result) -> str:
        assert result.record.claims is not None
        return measured_particles(result, result.record.claims, name)[1]

    return why


# What a section of the record measures is named here, beside its claim.
CLAIMS = (
    Claim("flow", "flow", flows_of, FREE_AIR),
    Claim("efficiency", "efficiency", _particles("efficiency"), why_not=_why_not("efficiency")),
    Claim("clean_air_rate", "clean-air rate", _particles("clean_air_rate"), why_not=_why_not("clean_air_rate")),
    Claim("power", "electrical power", _beside("electrical.power"), same="the same speed and the same filters"),
    Claim("sound", "sound level", _beside("sound.level"), level=True, same="the same speed and the same distance"),
)


def hold_claims(result: Result) -> list[HeldClaim]:
    """Every claim of the record, in the order of `CLAIMS`."""
    section = result.record.claims
    if section is None:
        return []
    held = [_held(result, claim, section[claim.name], section) for claim in CLAIMS if claim.name in section]
    for claim in held:
        if claim.name == "clean_air_rate":
            claim.findings += _products(section)
    return held


def _held(result: Result, claim: Claim, item: Item, section: Section) -> HeldClaim:
    held = HeldClaim(claim.name, item.text or as_written(item), float(item.value), item.unit or "1")
    measured = list(claim.measured(result, section.value("of"))) if claim.measured is not None else []
    why = claim.why_not(result) if claim.why_not is not None and not measured else ""
    if why:
        held.sentences.append(f"The stated {claim.words}, {held.stated}, cannot be held against anything: {why}.")
        held.findings.append(Finding(NOT_HELD, f"{claim.words}: {why}"))
    elif not measured:
        held.sentences.append(f"The stated {claim.words}, {held.stated}: {NOT_MEASURED}.")
    for name, found in measured:
        ratio = _against(result, claim, item, name, found)
        quantity = found.quantity if isinstance(found, Sized) else found
        held.ratios.append(ratio)
        held.sentences += [s for s in _sentences(claim, held.stated, name, quantity, ratio) if s not in held.sentences]
    return held


def _against(result: Result, claim: Claim, item: Item, name: str, quantity: Quantity | Sized) -> Quantity:
    stated = given_estimate(item, f"{result.record.id}:claims", f"stated {claim.words}")
    if isinstance(quantity, Sized):
        return _counted_against(result, claim, stated, name, quantity)
    inputs = {"measured": quantity.estimate, "stated": stated}
    kernel = _difference if claim.level else _ratio
    estimate = linear(kernel, inputs, outputs={"against": ()})["against"]
    drawn: dict[str, Any] = {"samples": result.samples, "seed": result.seed}
    if quantity.bound:
        bar = one_sided(estimate, quantity.bound, result.coverage, **drawn)
    else:
        bar = interval(estimate, result.coverage, **drawn)
    how, kind, unit = (
        ("minus", units.as_difference(quantity.kind), quantity.unit) if claim.level else ("over", "ratio", "%")
    )
    label = f"{name} {how} stated {claim.words}"
    return Quantity(f"{claim.name}_{how}_claim", label, kind, unit, estimate, bar, bound=quantity.bound)


def _counted_against(result: Result, claim: Claim, stated: Estimate, name: str, found: Sized) -> Quantity:
    """The same of what was counted: true to few counts."""
    ways = carried(found.ways, _ratio, {"stated": stated}, "against", as_="measured")
    wanted = replace(found.wanted, ways=ways, kind="ratio", unit="%", label=f"{name} over stated {claim.words}")
    own = f"{claim.name}_over_claim"
    return with_bars({own: wanted}, result.coverage, result.samples, result.seed)[own].quantity


def _ratio(*, measured: Array, stated: Array) -> dict[str, Array]:
    return {"against": measured / stated}


def _difference(*, measured: Array, stated: Array) -> dict[str, Array]:
    return {"against": measured - stated}


def _sentences(claim: Claim, stated: str, name: str, quantity: Quantity, ratio: Quantity) -> Iterator[str]:
    least, even, most = float(ratio.interval.low), 0.0 if claim.level else 1.0, float(ratio.interval.high)
    first = f"The measured {claim.words} ({name}; {quantity.label})"
    if ratio.bound:
        limit = _shown(claim, ratio.limit, ratio.unit)
        yield f"{first} is {ratio.bound} {limit} {'above' if claim.level else 'of'} the stated {stated}."
        more = ratio.bound == "at least"
        if most < even or least > even:
            yield f"That is {'more' if more else 'less'} than is stated."
        else:
            yield f"Whether it is {'less' if more else 'more'} than is stated cannot be told."
        return
    shown = [_shown(claim, x, ratio.unit) for x in (ratio.value, ratio.low, ratio.high)]
    said = f"is {shown[0]} above" if claim.level else f"is {shown[0]}"
    yield first + f" {said} ({shown[1]} to {shown[2]})" + ("" if claim.level else " of") + f" the stated {stated}."
    if most < even:
        yield from filter(None, [claim.below])
    elif least > even:
        yield f"That is more than is stated: is it for {claim.same}?"
    else:
        yield "The stated one lies within the error bar."


def _shown(claim: Claim, value: Any, unit: str) -> str:
    return f"{float(value):.1f} {unit}" if claim.level else f"{float(value):.3g} {unit}"


def _products(section: Section) -> list[Finding]:
    """Whether the stated clean-air rate is the stated flow times the stated efficiency, as far as they are rounded."""
    if not all(name in section for name in ("flow", "efficiency", "clean_air_rate")):
        return []
    flow, efficiency, clean = (section[name] for name in ("flow", "efficiency", "clean_air_rate"))
    product = flow.value * efficiency.value
    room = _slack(flow) * efficiency.value + flow.value * _slack(efficiency) + _slack(clean)
    if abs(clean.value - product) <= room + 1e-9 * product:
        return []
    unit = clean.unit or "m3/h"
    said = f"{float(units.from_si(product, unit, 'flow')):.5g} {unit}"
    stated = [item.text or as_written(item) for item in (flow, efficiency, clean)]
    return [Finding(NO_PRODUCT, f"{stated[0]} times {stated[1]} is {said}, while {stated[2]} is stated")]


def _slack(item: Item) -> float:
    """Half a unit of the last digit as written, or the ± beside it where that is more. SI."""
    found = re.match(r"\s*[-+]?\d*\.?(\d*)(?:[eE]([-+]?\d+))?", item.text)
    kind = getattr(item.field, "kind", "")
    scale = units.factor(item.unit, units.as_difference(kind))[0] if item.unit else 1.0
    half = 0.5 * 10.0 ** (int(found[2] or 0) - len(found[1])) * scale if item.text and found is not None else 0.0
    return max([half, *(float(c.half_width(item.value)) for c in item.components)])
