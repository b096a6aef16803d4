"""Every figure of a prediction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from flowrig import units
from flowrig.records.items import Array
from flowrig.report.figures.equal_noise import noise_picture
from flowrig.report.figures.fan_and_bank import fan_and_bank
from flowrig.report.figures.in_use import in_use
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar, table_along
from flowrig.report.figures.swept import Drawn, swept_drawn, words_of
from flowrig.report.figures.winding import winding_picture
from flowrig.report.lines import numbers
from flowrig.report.table import Table
from flowrig.studies.filter_change import Change
from flowrig.studies.life import IN_USE, KEPT, LOST, Life
from flowrig.studies.picture import Band, Curves, curves
from flowrig.studies.predict import Predicted
from flowrig.studies.result import Quantity
from flowrig.studies.sweep import Swept

PLACES = 12  # of a curve, in a table
CLEAN = ("clean_air", "flow")  # of a design: the first that is known is told
RATES = (IN_USE, KEPT, LOST, "flow")  # over the running time


def predict_pictures(predicted: Predicted) -> list[Picture]:
    """Fan and bank, then the sweep, the life, the noise and the winding where they are."""
    return [
        _fan_and_bank(predicted),
        *(swept_pictures(predicted.swept) if predicted.swept is not None else ()),
        *([_life(predicted.life)] if predicted.life is not None else ()),
        *([noise_picture(predicted, predicted.noise)] if predicted.noise is not None else ()),
        *([winding_picture(predicted.heat)] if predicted.heat is not None else ()),
    ]


def _line(q: Quantity) -> str:
    value, low, high = numbers(q)
    return f"{value} {q.unit} [{low} to {high}]"


def _fan_and_bank(predicted: Predicted) -> Picture:
    found = curves(predicted.setup, coverage=predicted.coverage, seed=predicted.seed)
    several = len(predicted.crossings) > 1
    each = [
        f"{'stable' if c.stable else 'unstable'} at {_line(c.quantities['flow'])}"
        for c in sorted(predicted.crossings, key=lambda c: c.place)
    ]
    alt = "The fan's pressure and the bank's drop against the flow. They cross at "
    alt += f"{_line(predicted.flow)} and {_line(predicted['pressure'])}, {100 * predicted.coverage:.6g} %."
    alt += f" They cross {len(each)} times: {'; '.join(each)}." if several else ""
    if "free_air" in predicted.main.quantities:
        alt += f" Free air: {_line(predicted['free_air'])}."
    figure = fan_and_bank(predicted, seed=predicted.seed, found=found)
    return Picture("fan-and-bank", "Fan and bank", alt, _curves_table(predicted, found), figure)


def _curves_table(predicted: Predicted, found: Curves) -> Table:
    """The crossings, the fan's points, and both curves at some flows; each with its bars."""
    flow, pressure = predicted.flow, predicted["pressure"]

    def shown(x: Array, q: Quantity) -> Array:
        return np.asarray(units.from_si(x, q.unit, q.kind))

    def barred(band: Band, q: Quantity, k: int) -> str:
        return bar(*(float(shown(x, q)[k]) for x in (band.value, band.low, band.high)))

    def exact(x: float) -> str:
        return f"{float(f'{x:.4g}'):.10g}"

    rows = [
        (
            f"{'stable' if c.stable else 'unstable'} crossing",
            *(
                bar(*(float(x) for x in (q.value, q.low, q.high)))
                for q in (c.quantities["flow"], c.quantities["pressure"])
            ),
        )
        for c in sorted(predicted.crossings, key=lambda c: c.place)
    ]
    if "free_air" in predicted.main.quantities:
        rows.append(("free air", bar(*(float(x) for x in (predicted["free_air"].value, predicted["free_air"].low,
                                                          predicted["free_air"].high))), "0"))  # fmt: skip
    rows += [
        ("point of the fan", barred(found.point_flow, flow, k), barred(found.point_pressure, pressure, k))
        for k in range(len(found.point_flow.value))
    ]
    for words, places, band in (("fan", found.fan_flow, found.fan), ("bank", found.flow, found.bank)):
        some = np.unique(np.linspace(0, len(places) - 1, PLACES).round().astype(int))
        rows += [(words, exact(float(shown(places, flow)[k])), barred(band, pressure, k)) for k in some]
    heads = ("what", f"flow [{flow.unit}]", f"pressure [{pressure.unit}]")
    return Table(heads, tuple(rows), (0,), f"Fan and bank at {PLACES} of the flows at which they are drawn.")


def swept_pictures(swept: Swept) -> Iterator[Picture]:
    """Each with the table of its own designs."""
    figures = swept_drawn(swept)
    for number, (name, drawn) in enumerate(figures.items(), 1):
        title = "What was tried" if len(figures) == 1 else f"What was tried, {number} of {len(figures)}"
        yield Picture(name, title, _swept_alt(swept, drawn), _swept_table(swept, drawn), drawn.figure)


def _swept_table(swept: Swept, drawn: Drawn) -> Table:
    """The designs of one figure, and no others."""
    rows = [int(k) for k in np.flatnonzero(drawn.rows)]
    first = {
        name.replace("_", " "): [words[int(swept.places[name][k])] for k in rows]
        for name, words in words_of(swept).items()
    }
    told = [*swept.quantities.values(), *([swept.gained] if swept.gained is not None else [])]
    return table_along(first, told, rows=rows)


def _swept_alt(swept: Swept, drawn: Drawn) -> str:
    rows = np.flatnonzero(drawn.rows)
    name = next(name for name in CLEAN if name in swept.quantities)
    q = swept.quantities[name]
    value, low, high = (np.asarray(x, dtype=float) for x in (q.value, q.low, q.high))
    known = [int(k) for k in rows if np.isfinite(value[k])]
    tried = " and ".join(name.replace("_", " ") for name in swept.varied)
    alt = f"{len(rows)} designs that differ by {tried}{f', all with {drawn.told}' if drawn.told else ''}. "
    if not known:
        return f"{alt}None of them has a crossing."
    ends = sorted(known, key=lambda k: float(value[k]))
    each = [
        f"{words} {q.label} {bar(float(value[k]), float(low[k]), float(high[k]))} {q.unit} with {_design(swept, k)}"
        for words, k in (("least", ends[0]), ("most", ends[-1]))
    ]
    alt += f"{'; '.join(each)[:1].upper()}{'; '.join(each)[1:]}."
    if swept.gained is not None and name in CLEAN:
        unsure = [k for k in known if float(swept.gained.low[k]) <= 0.0 <= float(swept.gained.high[k])]
        alt += f" In {len(unsure)} of them no gain by a further filter is shown." if unsure else ""
    lost = len(rows) - len(known)
    return alt + (f" {lost} have no crossing." if lost else "")


def _design(swept: Swept, row: int) -> str:
    told = {name: words[int(swept.places[name][row])] for name, words in words_of(swept).items()}
    return ", ".join(f"{name.replace('_', ' ')} {words}" for name, words in told.items())


def _life(life: Life) -> Picture:
    times = [f"{float(life.shown(t)):.5g}" for t in life.times]
    table = table_along({f"running time [{life.unit}]": times}, life.quantities.values())
    told = [f"{change.name}: {_when(life, change)}" for change in life.changes]
    caption = " ".join(x for x in (table.caption, "When to change: " + "; ".join(told) + "." if told else "") if x)
    ruled = life.ruled
    said = "no limit is reached within the run"
    if ruled is not None and ruled.time is not None:
        said = f"the first limit is {ruled.name}, after {_when(life, ruled)}"
    alt = f"Over {times[-1]} {life.unit} of running, with bands: "
    each = []
    for name in RATES:
        q = life.quantities.get(name)
        if q is not None and np.all(np.isfinite(np.asarray(q.value, dtype=float)[[0, -1]])):
            ends = [bar(*(float(np.asarray(x, dtype=float)[k]) for x in (q.value, q.low, q.high))) for k in (0, -1)]
            each.append(f"{q.label} from {ends[0]} to {ends[1]} {q.unit}")
    alt += f"{'; '.join(each) or 'flow, pressure and clean air as far as they are known'}; {said}."
    return Picture("life", "The filters in use", alt, replace(table, caption=caption), in_use(life))


def _when(life: Life, change: Change) -> str:
    if change.time is None:
        return str(change.status)
    between = ""
    if change.earliest is not None or change.latest is not None:
        first = "the start" if change.earliest is None else f"{float(life.shown(change.earliest)):.3g}"
        last = "beyond the run" if change.latest is None else f"{float(life.shown(change.latest)):.3g}"
        between = f" [{first} to {last}]"
    return f"{float(life.shown(change.time)):.3g}{between} {life.unit}"
