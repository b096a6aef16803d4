"""A prediction for people."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.report.blocks import Block, Heading, plain, raised, wrapped
from flowrig.report.life_text import heat_blocks, life_blocks
from flowrig.report.lines import (
    Cells,
    air_line,
    budget_blocks,
    first_lines,
    heading_blocks,
    linear_holds,
    numbers,
    quantities_blocks,
    quantity_cells,
    quantity_table,
    quantity_words,
    rounded,
)
from flowrig.report.noise_text import noise_blocks
from flowrig.report.table import Table
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
    """Everything a person is shown, as plain text within 80 columns."""
    return plain(predict_blocks(predicted))


def predict_blocks(predicted: Predicted) -> Iterator[Block]:
    """Everything a person is shown."""
    yield from (*heading_blocks(predicted.record), "", *_point(predicted))
    if predicted.swept is not None:
        yield from ("", *sweep_blocks(predicted.swept, predicted.coverage, predicted.setup.findings))
    if predicted.life is not None:
        yield from ("", *life_blocks(predicted.life))
    if predicted.noise is not None:
        yield from ("", *noise_blocks(predicted.noise, predicted.findings))
    if predicted.heat is not None:
        yield from ("", *heat_blocks(predicted.heat))


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


def _point(predicted: Predicted) -> Iterator[Block]:
    setup, main = predicted.setup, predicted.main
    yield Heading(bank_in_words(setup))
    yield from first_lines(predicted, predicted.flow)
    if "share" in main.quantities:
        left = main.quantities["share"]
        value, low, high = numbers(left)
        yield from wrapped(f"The filters leave {value} % [{low} to {high}] of the free-air flow.")
    yield from ("", *quantities_blocks(main.quantities))
    for entry, quantities in zip(setup.entries, predicted.entries, strict=True):
        where = f", stage {entry.stage}" if len({e.stage for e in setup.entries}) > 1 else ""
        yield ""
        yield from wrapped(f"{entry.counts:.0f} × {entry.name}{where}: {_resistance(entry.law)}", further=4)
        yield quantity_table(quantities.values(), 4)
    if len(predicted.crossings) > 1:
        yield from ("", Heading("Fan and bank agree at", 3))
        rows = []
        for crossing in sorted(predicted.crossings, key=lambda c: c.place):
            kind = "stable" if crossing.stable else "unstable"
            told = ", told above" if crossing is main else ""
            rows.append((*quantity_cells(crossing.quantities["flow"]), f"{kind}{told}"))
        yield Table(("flow", "unit", "from", "to", "which"), tuple(rows), (1, 4), indent=4, reads=_crossings_read)
    yield ""
    yield from wrapped(f"Air at the unit: {air_line(setup.air)}", 4)
    if linear_holds(predicted.flow):
        yield from ("", *budget_blocks(predicted.flow))
    yield from wrapped(
        "Convention: static pressure of the fan against the whole drop of bank and losses; the air's density is that "
        "at the unit throughout.",
        further=4,
    )
    if predicted.findings:
        yield from ("", *raised(predicted.findings))


def _crossings_read(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
    for *cells, kind in rows:
        yield f"    {quantity_words(tuple(cells))}, {kind}"


def _resistance(law: FilterLaw) -> str:
    number = {name: float(x.value) for name, x in law.numbers.items()}
    if number["factor"] > 0.0:
        words = f"Δp = {number['factor']:.4g} v^{number['exponent']:.3g}"
    else:
        words = f"Δp = {number['linear']:.4g} v + {number['quadratic']:.4g} v²"
    face = units.from_si(float(law.area.value), "m2", "area")
    return f"{words} Pa, v in m/s, in air of {law.density:.4g} kg/m3; face {face:.4g} m2"


def sweep_blocks(swept: Swept, coverage: float, told: Sequence[Finding] = ()) -> Iterator[Block]:
    """A line a design, and what a further filter gains; of what was found only what is not told already."""
    yield Heading(f"Tried: {', '.join(f'{n} of {name}' for name, n in _numbers(swept))}")
    shown = {name: swept.quantities[name] for name in HEADS if name in swept.quantities}
    rows = []
    for row in range(min(len(swept), MOST)):
        words = swept.design(row)
        rows.append((*(words[name] for name in swept.varied), *(_cell(q, row) for q in shown.values())))
    keys = len(swept.varied)
    heads = (*swept.varied, *(f"{HEADS[name]}\n[{q.unit}]" for name, q in shown.items()))
    yield from ("", Table(heads, tuple(rows), tuple(range(keys)), keys=keys))
    if len(swept) > MOST:
        yield from wrapped(f"and {len(swept) - MOST} more; --csv FILE writes them all")
    yield from wrapped(f"± is half of the {100 * coverage:.6g} % interval.")
    yield from _gains(swept)
    findings = [f for f in swept.findings if f not in told]
    if findings:
        yield from ("", *raised(findings))


def _numbers(swept: Swept) -> list[tuple[str, int]]:
    return [(name.replace("_", " "), len(words)) for name, words in swept.varied.items()]


def _cell(q: Quantity, row: int) -> str:
    value, low, high = (float(np.broadcast_to(x, q.estimate.value.shape)[row]) for x in (q.value, q.low, q.high))
    if not math.isfinite(value):
        return "none"
    if high - low < 1e-6 * abs(value) or high == low:
        return f"{value:.4g}"  # known exactly, give or take rounding
    shown, half = rounded((high - low) / 4, value, (high - low) / 2)
    return f"{shown} ± {half}"


def _gains(swept: Swept) -> Iterator[Block]:
    """What a further filter adds, while that is more than its error bar."""
    q = swept.gained
    if q is None:
        return
    others = [name for name in swept.varied if name != "count"]
    counts = swept.setup.entries[0].counts
    groups: dict[tuple[str, ...], list[Cells]] = {}
    for row in range(len(swept)):
        value, low = float(q.value[row]), float(q.low[row])
        if not math.isfinite(value):
            continue
        design = swept.design(row)
        shown, half = rounded(float(q.u[row]), value, float(q.high[row]) - value)
        sure = "" if low > 0 else "not more than its error bar"
        before = f"{counts[counts < counts[row]].max():g}"
        groups.setdefault(tuple(design[n] for n in others), []).append(
            (f"{before} to {design['count']}", f"{shown} ± {half}", q.unit, sure)
        )
    what = "clean air" if "clean_air" in swept.quantities else "flow"
    for key, told in list(groups.items())[:MOST]:
        at = f" at {', '.join(key)}" if key else ""
        yield from ("", Heading(f"Gained in {what} by more filters{at}", 3))
        yield Table(("filters", "gained", "unit", "remark"), tuple(told), (0, 2, 3), indent=4, reads=_gains_read)


def _gains_read(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
    for filters, gained, unit, sure in rows:
        yield f"    {filters}: {gained} {unit}" + (f", {sure}" if sure else "")
