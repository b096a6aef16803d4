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
SETTLED = 0.05  # of u: to what share the ends of a drawn interval are to settle, as in a prediction
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
    """Why some rates, or all, are not held against flow times efficiency; empty where each is, or nothing could be."""
    part: Any = result.parts.get("particles")
    sizes = [rate.sizes for rate in rates if rate.sizes is not None]
    if part is None or not sizes:
        return ""
    alone = [s for s in sizes if _of_channel(part, s) is not None]
    begun = "Not held against flow times efficiency:"
    if not alone:
        return f"{begun} no channel of the counts has just the sizes of the decay ({', '.join(map(str, sizes))})."
    if all(part.rate(s.lower, s.upper) is None for s in alone):
        return f"{begun} no flow is known that goes with the efficiency."
    several = [str(s) for s in sizes if s not in alone]
    if not several:
        return ""
    return (
        f"{begun} {', '.join(several)}, of several channels. The decay of several follows their most numerous "
        "particles, the efficiency of a range counts each size alike."
    )


def _of_channel(part: Any, sizes: Sizes) -> Any:
    """Efficiency and clean-air rate of the one channel with just these sizes, where the part tells them."""
    clean_air = getattr(part, "clean_air", None)
    channels = clean_air.channels if clean_air is not None else ()
    return next((rate for rate in channels if rate.sizes.same(sizes)), None)


def held_against_flow(result: Result, rates: Sequence[Rate], names: Sequence[str]) -> list[Effect | None]:
    """Clean air by decay against flow times efficiency of the same channel; None where that is not known.

    Parameters
    ----------
    result : Result
    rates : sequence of Rate
    names : sequence of str
        Of the quantity of each.

    Notes
    -----
    Effectiveness = CADR/(Q eta); share drawn back: `short_circuit_share`. What the two share (one counter) cancels as
    far as its causes say. A decay over several channels follows the most numerous particles, where flow times
    efficiency counts each size alike: the same words, and another number.
    """
    part: Any = result.parts.get("particles")
    found: list[Effect | None] = []
    wanted: dict[tuple[int, str], Estimate] = {}
    for i, rate in enumerate(rates):
        known = _of_channel(part, rate.sizes) if rate.sizes is not None else None
        if known is None or known.clean_air is None or not float(known.clean_air.quantity.estimate.value) > 0.0:
            found.append(None)
            continue
        by_flow = known.clean_air.quantity
        inputs = {"clean_air": rate.clean_air, "by_flow": by_flow.estimate}
        wanted[i, "effectiveness"] = linear(_effectiveness, inputs, outputs={"x": ()})["x"]
        inputs["efficiency"] = known.efficiency.quantity.estimate
        wanted[i, "share"] = linear(_drawn_back, inputs, outputs={"x": ()})["x"]
        found.append(Effect(by_flow, compare(rate.clean_air, by_flow.estimate, result.coverage)))
    told = {f"{i} {name}": x for (i, name), x in wanted.items() if math.isfinite(float(x.value))}
    bars = intervals(told, result.coverage, samples=result.samples, seed=result.seed, tolerance=SETTLED)
    for i, held in enumerate(found):
        if held is None:
            continue
        for name, words in LABELS.items():
            if f"{i} {name}" in told:
                own = f"{name}_{names[i].removeprefix('clean_air_')}"
                x, bar = told[f"{i} {name}"], bars[f"{i} {name}"]
                held.quantities[own] = Quantity(own, f"{words}, {rates[i].sizes}", "ratio", "%", x, bar)
        held.sentence = _in_words(held, rates[i])
        if held.comparison.verdict == "disagree" and held.comparison.e_n > 0.0:
            held.findings.append(Finding(MORE_THAN_FLOW, f"{rates[i].sizes}: E_n {held.comparison.e_n:.2f}"))
    return found


def _effectiveness(*, clean_air: Array, by_flow: Array) -> dict[str, Array]:
    return {"x": clean_air / by_flow}


def _drawn_back(*, clean_air: Array, by_flow: Array, efficiency: Array) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        return {"x": np.asarray(short_circuit_share(by_flow / efficiency, efficiency, clean_air))}


def _in_words(held: Effect, rate: Rate) -> str:
    e_n = held.comparison.e_n
    verdict = {
        "agree": "agree within their error bars: no air drawn straight back in can be told from none",
        "disagree": "differ by more than their error bars explain",
        "cannot tell": "may or may not agree: it hangs on how far what both share moves both alike",
    }[held.comparison.verdict]
    return f"{rate.sizes}: clean air by decay and flow times efficiency {verdict} (E_n {e_n:.2f})."
