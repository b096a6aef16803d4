"""A prediction as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.report.life_text import heat_text, life_text
from flowrig.report.lines import (
    WIDTH,
    air_line,
    budget_text,
    findings_text,
    first_lines,
    heading_text,
    linear_holds,
    numbers,
    quantities_text,
    quantity_line,
    rounded,
    wrapped,
)
from flowrig.report.noise_text import noise_text
from flowrig.studies.cleaner import Setup
from flowrig.studies.filter_law import FilterLaw
from flowrig.studies.predict import Predicted
from flowrig.studies.result import Quantity
from flowrig.studies.sweep import Swept

MOST = 40  # designs told one by one
HEADS = {  # of the table of a sweep
    "flow": "flow",
    "share": "left",
    "velocity": "face v.",
    "pressure": "Δp",
    "power": "power",
    "efficiency": "eff.",
    "clean_air": "clean air",
    "clean_air_conditioned": "charge lost",
}


def predict_text(predicted: Predicted) -> str:
    """Everything a person at the terminal is shown."""
    lines = [*heading_text(predicted.record), "", *_point(predicted)]
    if predicted.swept is not None:
        lines += ["", *sweep_text(predicted.swept, predicted.coverage, predicted.setup.findings)]
    if predicted.life is not None:
        lines += ["", *life_text(predicted.life)]
    if predicted.noise is not None:
        lines += ["", *noise_text(predicted.noise, predicted.findings)]
    if predicted.heat is not None:
        lines += ["", *heat_text(predicted.heat)]
    return "\n".join(lines)


def alarms(predicted: Predicted) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    parts = (predicted, predicted.swept, predicted.life, predicted.noise, predicted.heat)
    found = [f for part in parts if part is not None for f in part.findings]
    return list(dict.fromkeys(f"ALARM, {f.code}: {f.message}" for f in found if f.severity == "alarm"))


def bank_in_words(setup: Setup) -> str:
    """The fans, and the filters in the order the air meets them."""
    task = setup.record.prediction
    assert task is not None
    fans = int(task.task.value("fans", 1))
    words = f"{fans} × {setup.curve.title}, {task.task.value('arrangement')}" if fans > 1 else setup.curve.title
    stages = sorted({entry.stage for entry in setup.entries})
    banks = [
        " beside ".join(f"{entry.counts:.0f} × {entry.name}" for entry in setup.entries if entry.stage == stage)
        for stage in stages
    ]
    return f"{words}; {', then '.join(banks)}"


def _point(predicted: Predicted) -> Iterator[str]:
    setup, main = predicted.setup, predicted.main
    yield from textwrap.wrap(bank_in_words(setup), WIDTH)
    yield from first_lines(predicted, predicted.flow)
    if "share" in main.quantities:
        left = main.quantities["share"]
        value, low, high = numbers(left)
        yield from wrapped(f"The filters leave {value} % [{low} to {high}] of the free-air flow.")
    yield from ("", *quantities_text(main.quantities))
    for entry, quantities in zip(setup.entries, predicted.entries, strict=True):
        where = f", stage {entry.stage}" if len({e.stage for e in setup.entries}) > 1 else ""
        yield ""
        yield from wrapped(f"{entry.counts:.0f} × {entry.name}{where}: {_resistance(entry.law)}", further=4)
        width = max(len(q.label) for q in quantities.values())
        yield from (f"    {q.label:<{width}}  {quantity_line(q)}" for q in quantities.values())
    if len(predicted.crossings) > 1:
        yield from ("", "  Fan and bank agree at")
        for crossing in sorted(predicted.crossings, key=lambda c: c.place):
            kind = "stable" if crossing.stable else "unstable"
            told = ", told above" if crossing is main else ""
            yield f"    {quantity_line(crossing.quantities['flow'])}, {kind}{told}"
    yield from ("", f"  Air at the unit: {air_line(setup.air)}")
    if linear_holds(predicted.flow):
        yield from ("", *budget_text(predicted.flow))
    yield from wrapped(
        "Convention: static pressure of the fan against the whole drop of bank and losses; the air's density is that "
        "at the unit throughout.",
        further=4,
    )
    if predicted.findings:
        yield from ("", *findings_text(predicted.findings))


def _resistance(law: FilterLaw) -> str:
    number = {name: float(x.value) for name, x in law.numbers.items()}
    if number["factor"] > 0.0:
        words = f"Δp = {number['factor']:.4g} v^{number['exponent']:.3g}"
    else:
        words = f"Δp = {number['linear']:.4g} v + {number['quadratic']:.4g} v²"
    face = units.from_si(float(law.area.value), "m2", "area")
    return f"{words} Pa, v in m/s, in air of {law.density:.4g} kg/m3; face {face:.4g} m2"


def sweep_text(swept: Swept, coverage: float, told: Sequence[Finding] = ()) -> Iterator[str]:
    """A line a design, and what a further filter gains; of what was found only what is not told already."""
    yield from textwrap.wrap(f"Tried: {', '.join(f'{n} of {name}' for name, n in _numbers(swept))}", WIDTH)
    names = [name for name in HEADS if name in swept.quantities]
    heads = {name: (HEADS[name], swept.quantities[name].unit) for name in names}
    design = [max(len(name), *map(len, words)) for name, words in swept.varied.items()]
    shown = range(min(len(swept), MOST))
    for part in _parts(names, WIDTH - 2 - sum(w + 2 for w in design)):
        widths = [_width(swept.quantities[name], heads[name]) for name in part]
        yield ""
        yield "  " + "  ".join(
            [f"{name:<{w}}" for name, w in zip(swept.varied, design, strict=True)]
            + [f"{heads[name][0]:>{w}}" for name, w in zip(part, widths, strict=True)]
        )
        yield "  " + "  ".join(
            [" " * w for w in design] + [f"{f'[{heads[name][1]}]':>{w}}" for name, w in zip(part, widths, strict=True)]
        )
        for row in shown:
            words = swept.design(row)
            cells = [f"{words[name]:<{w}}" for name, w in zip(swept.varied, design, strict=True)]
            cells += [f"{_cell(swept.quantities[name], row):>{w}}" for name, w in zip(part, widths, strict=True)]
            yield "  " + "  ".join(cells)
    if len(swept) > MOST:
        yield f"  and {len(swept) - MOST} more; --csv FILE writes them all"
    yield from wrapped(f"± is half of the {100 * coverage:.6g} % interval.")
    yield from _gains(swept)
    findings = [f for f in swept.findings if f not in told]
    if findings:
        yield from ("", *findings_text(findings))


def _numbers(swept: Swept) -> list[tuple[str, int]]:
    return [(name.replace("_", " "), len(words)) for name, words in swept.varied.items()]


def _parts(names: list[str], room: int) -> Iterator[list[str]]:
    """As many columns beside each other as there is room for."""
    each = max(1, room // 16)
    for start in range(0, len(names), each):
        yield names[start : start + each]


def _cell(q: Quantity, row: int) -> str:
    value, low, high = (float(np.broadcast_to(x, q.estimate.value.shape)[row]) for x in (q.value, q.low, q.high))
    if not math.isfinite(value):
        return "none"
    if high - low < 1e-6 * abs(value) or high == low:
        return f"{value:.4g}"  # known exactly, give or take rounding
    shown, half = rounded((high - low) / 4, value, (high - low) / 2)
    return f"{shown} ± {half}"


def _width(q: Quantity, head: tuple[str, str]) -> int:
    return max(len(head[0]), len(head[1]) + 2, *(len(_cell(q, row)) for row in range(len(q.estimate.value))))


def _gains(swept: Swept) -> Iterator[str]:
    """What a further filter adds, while that is more than its error bar."""
    q = swept.gained
    if q is None:
        return
    others = [name for name in swept.varied if name != "count"]
    counts = swept.setup.entries[0].counts
    groups: dict[tuple[str, ...], list[str]] = {}
    for row in range(len(swept)):
        value, low = float(q.value[row]), float(q.low[row])
        if not math.isfinite(value):
            continue
        design = swept.design(row)
        shown, half = rounded(float(q.u[row]), value, float(q.high[row]) - value)
        sure = "" if low > 0 else ", not more than its error bar"
        before = f"{counts[counts < counts[row]].max():g}"
        groups.setdefault(tuple(design[n] for n in others), []).append(
            f"{before} to {design['count']}: {shown} ± {half} {q.unit}{sure}"
        )
    what = "clean air" if "clean_air" in swept.quantities else "flow"
    for key, told in list(groups.items())[:MOST]:
        at = f" at {', '.join(key)}" if key else ""
        yield from ("", *wrapped(f"Gained in {what} by more filters{at}"))
        yield from (f"    {line}" for line in told)
