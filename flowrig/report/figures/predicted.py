"""Every figure of a prediction."""

from __future__ import annotations

from collections.abc import Iterator

from flowrig.report.figures.fan_and_bank import fan_and_bank
from flowrig.report.figures.in_use import in_use
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import table_along, table_of
from flowrig.report.figures.swept import swept_figures
from flowrig.report.lines import quantity_line
from flowrig.studies.life import Life
from flowrig.studies.predict import Predicted
from flowrig.studies.sweep import Swept


def predict_pictures(predicted: Predicted) -> list[Picture]:
    """Fan and bank, the sweep and the life where there is one."""
    return [
        _fan_and_bank(predicted),
        *(_swept(predicted.swept) if predicted.swept is not None else ()),
        *([_life(predicted.life)] if predicted.life is not None else ()),
    ]


def _fan_and_bank(predicted: Predicted) -> Picture:
    stable = sum(c.stable for c in predicted.crossings)
    others = len(predicted.crossings) - 1
    more = f" {others} more crossings, {stable} of all stable." if others else ""
    alt = (
        "The fan's curve falls and the bank's rises with the flow; they cross at "
        f"{quantity_line(predicted.flow)} and {quantity_line(predicted['pressure'])}.{more}"
    )
    told = [c.quantities[name] for c in predicted.crossings for name in ("flow", "pressure")]
    if "free_air" in predicted.main.quantities:
        told.append(predicted["free_air"])
    figure = fan_and_bank(predicted, seed=predicted.seed)
    return Picture("fan-and-bank", "Fan and bank", alt, table_of(told), figure)


def _swept(swept: Swept) -> Iterator[Picture]:
    designs = [swept.design(row) for row in range(len(swept))]
    first = {name: [design[name] for design in designs] for name in swept.varied}
    told = [*swept.quantities.values(), *([swept.gained] if swept.gained is not None else [])]
    table = table_along(first, told)
    tried = " and ".join(name.replace("_", " ") for name in swept.varied)
    alt = f"{len(swept)} designs that differ by {tried}, each with its bars; the table has the numbers."
    figures = swept_figures(swept)
    for number, (name, figure) in enumerate(figures.items(), 1):
        title = "What was tried" if len(figures) == 1 else f"What was tried, {number} of {len(figures)}"
        yield Picture(name, title, alt, table, figure)


def _life(life: Life) -> Picture:
    times = [f"{float(life.shown(t)):.5g}" for t in life.times]
    table = table_along({f"running time [{life.unit}]": times}, life.quantities.values())
    ruled = life.ruled
    said = "no limit is reached within the run"
    if ruled is not None and ruled.time is not None:
        said = f"the first limit is reached after {float(life.shown(ruled.time)):.4g} {life.unit}: {ruled.name}"
    alt = f"Flow, clean air, pressure and cost over the running time of the filters, with bands; {said}."
    return Picture("life", "The filters in use", alt, table, in_use(life))
