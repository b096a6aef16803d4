"""By which methods and equations numbers came about, and what was put right on the way, for who has the page alone."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from flowrig.records.record import Record
from flowrig.report.page.record_says import shown
from flowrig.studies.result import Result

PARTS = {
    "particles": (
        "Efficiency by size is 1 less what was counted behind the filter over what is expected there from the counts "
        "before it, at the same time and for the same volume. Particles that a counter missed as two came at once are "
        "put back where its dead time, or its loss at its maximum concentration, is stated; false counts are taken off "
        "where a zero filter was counted. Of two counters that changed places the root of the product of both ratios "
        "is taken, of few counts the ratio of sums.",
        "A clean-air rate is the flow, air at the station named beside it, times the efficiency averaged over the "
        "logarithm of size; what passes beside the filters is in it where the filter was sampled as it is used.",
    ),
    "decay": (
        "A clean-air rate by decay is the net volume of the room times the difference of two rates, with the cleaner "
        "on and off: each a single fall to its own floor, A exp(-k t) + C, fitted to the raw counts with the weights "
        "of counting, or to logarithms with equal weights where the number of particles is not known; a rate from a "
        "half-life is ln 2 over it.",
    ),
    "electrical": ("Watts as read; a power factor is true watts over volt-amperes.",),
    "sound": (
        "Levels are averaged by energy; the background is taken off by energy, by no more than the cap of the method.",
    ),
}


def methods_said(result: Result) -> Iterator[str]:
    """Of each flow its method, source and corrections; of each part its equations; of each instrument its zero."""
    for flow in result.flows:
        yield f"{flow.name}: {flow.method.title}, by {flow.method.source}."
        yield from (f"{text}." for text in flow.conventions)
        for label, by in flow.corrections.items():
            yield f"{flow.name}: corrected for {label}, {100.0 * float(np.mean(by)):+.2g} %."
    for name in result.parts:
        yield from PARTS.get(name, ())
    yield from zeros(result.record)


def zeros(record: Record) -> Iterator[str]:
    """What was taken off the readings of an instrument before anything was made of them."""
    for instrument in record.instruments.values():
        section = instrument.section
        told = [f"{shown(section[f'zero_{when}'])} {when}" for when in ("before", "after") if f"zero_{when}" in section]
        if told:
            taken = "their mean" if len(told) > 1 else "it"
            yield f"Zero of {instrument.label}: {', '.join(told)}; {taken} was taken off its readings."
