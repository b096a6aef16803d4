"""A clean-air rate by decay held against flow times efficiency: what the room has of the cleaner."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig.physics.clean_air import short_circuit_share
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.sizes import Sizes
from flowrig.studies.result import Quantity, Result
from flowrig.studies.room_decay_rates import Rate
from flowrig.uncertainty.combine import Comparison, compare
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.interval import intervals
from flowrig.uncertainty.propagate import linear

MORE_THAN_FLOW = FlagMeaning(
    "more clean air than flow times efficiency",
    "warning",
    "The room cleared faster than the flow through the cleaner times its efficiency explains, by more than both error "
    "bars: the volume may be too large, the natural decay too small (fan not running in it), counts upstream too high "
    "for the counter, or the flow was not that of this speed and these filters.",
)
FLAGS = (MORE_THAN_FLOW,)
LABELS = {"effectiveness": "room effectiveness", "share": "share of outlet air drawn back in"}


@dataclass
class Effect:
    """One range of size.

    Attributes
    ----------
    by_flow : Quantity
        Flow times efficiency.
    comparison : Comparison
        Clean air by decay against it.
    quantities : dict of str to Quantity
        Room effectiveness, and the share of the outlet air that is drawn back in if all of the shortfall is that.
    sentence : str
    findings : list of Finding
    """

    by_flow: Quantity
    comparison: Comparison
    quantities: dict[str, Quantity] = field(default_factory=dict)
    sentence: str = ""
    findings: list[Finding] = field(default_factory=list)


def why_not_held(result: Result, rates: Sequence[Rate]) -> str:
    """Why none of the rates is held against flow times efficiency; empty where one is, or nothing could be."""
    part: Any = result.parts.get("particles")
    sizes = [rate.sizes for rate in rates if rate.sizes is not None]
    if part is None or not sizes or any(part.rate(s.lower, s.upper) is not None for s in sizes):
        return ""
    if any(_efficiency(part, s) is not None for s in sizes):
        return "Not held against flow times efficiency: no flow is known that goes with the efficiency."
    said = ", ".join(map(str, sizes))
    return (
        f"Not held against flow times efficiency: no efficiency is known for just the sizes of the decay ({said}). "
        "Ranges of both, over the same channels, would do."
    )


def _efficiency(part: Any, sizes: Sizes) -> Estimate | None:
    """Efficiency of just these sizes, where the part tells it."""
    clean_air = getattr(part, "clean_air", None)
    found = clean_air.over(sizes.lower, sizes.upper) if clean_air is not None else None
    return found.efficiency.quantity.estimate if found is not None else None


def held_against_flow(result: Result, rate: Rate, clean_air: Quantity) -> Effect | None:
    """Clean air by decay against flow times efficiency of the same sizes; None where that is not known.

    Notes
    -----
    Effectiveness = CADR/(Q eta); share drawn back: `short_circuit_share`. What the two share (one counter) cancels as
    far as its causes say.
    """
    part: Any = result.parts.get("particles")
    if part is None or rate.sizes is None:
        return None
    by_flow: Quantity | None = part.rate(rate.sizes.lower, rate.sizes.upper)
    if by_flow is None or not float(by_flow.estimate.value) > 0.0:
        return None
    inputs = {"clean_air": rate.clean_air, "by_flow": by_flow.estimate}
    out = linear(_effectiveness, inputs, outputs={"effectiveness": ()})
    efficiency = _efficiency(part, rate.sizes)
    if efficiency is not None:
        out |= linear(_drawn_back, {**inputs, "efficiency": efficiency}, outputs={"share": ()})
    out = {name: x for name, x in out.items() if math.isfinite(float(x.value))}
    bars = intervals(out, result.coverage, samples=result.samples, seed=result.seed)
    key = clean_air.name.removeprefix("clean_air_")
    held = Effect(by_flow, compare(rate.clean_air, by_flow.estimate, result.coverage))
    for name, estimate in out.items():
        label = f"{LABELS[name]}, {rate.sizes}"
        held.quantities[f"{name}_{key}"] = Quantity(f"{name}_{key}", label, "ratio", "%", estimate, bars[name])
    held.sentence = _in_words(held, rate)
    if held.comparison.verdict == "disagree" and held.comparison.e_n > 0.0:
        held.findings.append(Finding(MORE_THAN_FLOW, f"{rate.sizes}: E_n {held.comparison.e_n:.2f}"))
    return held


def _effectiveness(*, clean_air: Array, by_flow: Array) -> dict[str, Array]:
    return {"effectiveness": clean_air / by_flow}


def _drawn_back(*, clean_air: Array, by_flow: Array, efficiency: Array) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        return {"share": np.asarray(short_circuit_share(by_flow / efficiency, efficiency, clean_air))}


def _in_words(held: Effect, rate: Rate) -> str:
    e_n = held.comparison.e_n
    verdict = {
        "agree": "agree within their error bars: no air drawn straight back in can be told from none",
        "disagree": "differ by more than their error bars explain",
        "cannot tell": "may or may not agree: it hangs on how far what both share moves both alike",
    }[held.comparison.verdict]
    return f"{rate.sizes}: clean air by decay and flow times efficiency {verdict} (E_n {e_n:.2f})."
