"""A cleaner over its running time: flow, clean air, pressure, cost, and when to change its filters."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flowrig import units
from flowrig.report.figures import style
from flowrig.report.figures.over_time import Mark, Series, over_time
from flowrig.studies.filter_change import NOT_KNOWN, Change
from flowrig.studies.life import IN_USE, KEPT, LOST, Life

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DEAR = 4.0  # times the least cost
PANELS = {  # quantity: panel, what the line is beside others of its panel
    "flow": ("flow", "flow"),
    KEPT: ("clean-air rate", "charge kept"),
    IN_USE: ("clean-air rate", "charge as told"),
    LOST: ("clean-air rate", "charge lost"),
    "pressure": ("pressure over the bank", "pressure"),
    "motor_temperature": ("temperature of the motor", "motor"),
    "cost": ("cost of clean air", "cost, were the filters changed then"),
}


def in_use(life: Life) -> Figure:
    """Bands over the running time, and the times at which filters are to be changed.

    Raises
    ------
    Nothing.
    """
    series = []
    for name, (panel, words) in PANELS.items():
        q = life.quantities.get(name)
        if q is not None and np.any(np.isfinite(q.estimate.value)):
            value, low, high = (np.broadcast_to(x, life.times.shape) for x in (q.value, q.low, q.high))
            if name == "cost":  # right after a change it has no bound
                shown = value <= DEAR * np.nanmin(value)
                value, low, high = (np.where(shown, x, np.nan) for x in (value, low, high))
            series.append(Series(words, panel, q.unit, value, low, high))
    task = life.setup.record.prediction.task if life.setup.record.prediction is not None else None
    if task is not None and "required_clean_air" in task and life.lower is not None:
        unit = life[life.lower].unit
        needed = np.full(life.times.shape, float(units.from_si(task.value("required_clean_air"), unit, "flow")))
        series.append(Series("required", PANELS[life.lower][0], unit, needed, needed, needed))
    title = str(life.record.heading.value("title"))
    ruled = life.ruled
    caption = (
        f"Predicted over the running time; bands hold {100 * life.coverage:.6g} %, each by itself. Bars of the times "
        "are where a limit may be reached within the error bars, of the cheapest where the cost is within 2 % of the "
        "least. "
        + (f"First: {ruled.name}." if ruled is not None else "No limit is reached within the run.")
        + style.invented(life.record, *(r for e in life.setup.entries for r in (law.record for law in e.laws)))
    )
    unknown = [change.name for change in life.changes if change.status == NOT_KNOWN]
    if unknown:
        caption += f" Not known: {', '.join(unknown)}."
    if "cost" in life.quantities:
        caption += f" The cost is drawn up to {DEAR:g} times its least."
    marks = [_mark(life, change) for change in life.changes if change.status != NOT_KNOWN]
    return over_time(np.asarray(life.shown(life.times)), life.unit, series, marks, title=title, caption=caption)


def _mark(life: Life, change: Change) -> Mark:
    time, low, high = (
        math.nan if t is None else float(life.shown(t)) for t in (change.time, change.earliest, change.latest)
    )
    return Mark(change.name, time, low, high, f"{float(f'{time:.3g}'):.10g}" if math.isfinite(time) else change.status)
