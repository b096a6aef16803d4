"""What lies behind one flow of a record: its readings in order, the plane of a traverse, the ranges of its meter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from flowrig import units
from flowrig.methods.method import Situation
from flowrig.records.declare import Finding, Names, Reading
from flowrig.records.items import Array, Layout
from flowrig.studies.coefficient import Curve, curves, of_reynolds
from flowrig.studies.quantities import first_station
from flowrig.studies.reduce import Reduction
from flowrig.studies.result import FlowResult, Quantity, Result
from flowrig.studies.scatter import Scatter
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear


@dataclass(frozen=True)
class Read:
    """What was read of one field, in order.

    Attributes
    ----------
    words, unit : str
    values : array, shape (n,)
        In the unit it was written in, the instrument's zero not taken out; of a grid, the mean of each pass.
    """

    words: str
    unit: str
    values: Array


@dataclass(frozen=True)
class Run:
    """Readings of one flow in the order in which they were taken.

    Attributes
    ----------
    flows : array, shape (n,)
        What each reading alone would have made the flow: the flow told plus the distance of the reading's own from
        the mean of all, corrections included. In the unit of the flow told.
    told : Quantity
    mean_low, mean_high : float
        The flow told, give or take the part that the scatter of its readings has in its uncertainty, times the
        coverage factor of the flow told.
    times : array, shape (n,), or None
        From the first. [s]
    what : str
        Plural: readings, rows of the log, passes, places in turn.
    scatter : Scatter
    read : tuple of Read
    """

    flows: Array
    told: Quantity
    mean_low: float
    mean_high: float
    times: Array | None
    what: str
    scatter: Scatter
    read: tuple[Read, ...]


@dataclass(frozen=True)
class Plane:
    """Velocities in the plane of a traverse.

    Attributes
    ----------
    layout : Layout
    velocity : Quantity
        At each point, the mean of its passes; its bar is what instruments and probe leave open there, and the scatter
        between passes.
    passes : array, shape (passes, points), or None
        As the flow was computed from, in the same unit; None where there was one.
    mean : Quantity
        Of the plane, with all corrections and errors of the flow.
    unevenness : float
        Standard deviation of the velocities over the plane, over their mean.
    """

    layout: Layout
    velocity: Quantity
    passes: Array | None
    mean: Quantity
    unevenness: float


@dataclass(frozen=True)
class Placed:
    """A number of a method beside the range that a limit of use wants it in.

    Attributes
    ----------
    quantity : Quantity
        With an axis where there are several: nozzles, holes.
    names : tuple of str
        Of the several; empty for one.
    low, high : array
        Of the range, in the unit of the quantity, one for each element; infinite where open.
    each : array, shape (readings, n), or None
        At every reading of a run.
    flag, severity : str
        What is raised beyond.
    beyond : array of bool, shape (n,)
    wide : bool
        The range spans powers of ten.
    """

    quantity: Quantity
    names: tuple[str, ...]
    low: Array
    high: Array
    each: Array | None
    flag: str
    severity: str
    beyond: Array
    wide: bool


@dataclass(frozen=True)
class Behind:
    """Whatever of them a measurement has: `coefficient` where its meter has one that depends on the flow."""

    run: Run | None
    plane: Plane | None
    ranges: tuple[Placed, ...]
    coefficient: tuple[Curve, ...] = ()


def behind(result: Result, number: int) -> Behind:
    """Go through one measurement again, keeping what its result does not.

    Parameters
    ----------
    result : Result
        Of one record; not of a table of tests.
    number : int
        Of the flow, from 0.

    Raises
    ------
    ValueError
        For the result of a table of tests.
    """
    if result.rows is not None:
        raise ValueError("a table of tests has no readings behind a row; give the result of one record")
    flow, read = result.flows[number], result.record.flows[number]
    again = Reduction(result.record, read, result, result.unit)
    _, densities, _, situation = again.measured(refusing=False)
    density = float(densities[first_station(densities)].value)
    ranges = tuple(_placed(result, again, situation))
    return Behind(
        _run(flow, again, density),
        _plane(result, again, situation, densities["meter"]),
        ranges,
        tuple(_coefficient(result, again, situation, ranges)),
    )


def _run(flow: FlowResult, again: Reduction, density: float) -> Run | None:
    scatter = flow.scatter
    if scatter is None or "flows" not in again.each:
        return None
    told, flows = flow.main, again.each["flows"]
    away = (flows - scatter.size) * again.gain / density
    own = float(told.interval.factor) * scatter.u * again.gain / density
    scale = float(units.factor(told.unit, told.kind)[0])
    value = float(told.value)
    runs = {name: item for name, item in again.flow.section.items.items() if name in again.gathered.runs}
    grid = again.method.layout is not None
    turns = len(flows) < scatter_rows(again)
    times = again.flow.times
    what = "places in turn" if turns else "passes" if grid else "rows of the log" if _logged(again) else "readings"
    return Run(
        value + away / scale,
        told,
        value - own / scale,
        value + own / scale,
        times if times is not None and len(times) == len(flows) else None,
        what,
        scatter,
        tuple(
            Read(
                name.replace("_", " "),
                item.unit or units.KINDS[item.field.kind],
                np.asarray(units.from_si(item.value, item.unit, item.field.kind)).reshape(len(item.value), -1).mean(1),
            )
            for name, item in runs.items()
            if isinstance(item.field, Reading)
        ),
    )


def scatter_rows(again: Reduction) -> int:
    """Readings in the run, before any were taken together."""
    return len(again.each["mass_flow"])


def _logged(again: Reduction) -> bool:
    return "log" in again.flow.section


def _plane(result: Result, again: Reduction, situation: Situation, density: Estimate) -> Plane | None:
    layout, method = again.flow.layout, again.method
    if layout is None or "velocity" not in situation.nominal or again.through is None:
        return None
    axes = method.axes
    found = linear(method.kernel, situation.inputs, axes, {"velocity": axes}, **situation.options)["velocity"]
    passes = again.each["velocity"].reshape(-1, len(layout)) if "velocity" in again.each else None
    parts = {}
    if passes is not None:
        free = len(layout) * (len(passes) - 1)
        pooled = np.sqrt(np.sum((passes - passes.mean(axis=0)) ** 2) / free / len(passes))
        noise = Cause(f"{result.record.id}:{again.flow.section.name}:passes", dof=free, each=axes[0], label="passes")
        parts[noise] = np.full((1, len(layout)), pooled)
    scattered = Estimate(np.zeros(len(layout)), axes, parts)
    own = linear(_sum, {"velocity": found, "scatter": scattered}, axes, {"velocity": axes})["velocity"]
    [(bars, drawn)] = batch_intervals({"": own}, result.coverage, seed=result.seed).values()
    inputs = {"mass_flow": again.through, "density": density, "area": situation.inputs["area"]}
    mean = linear(_mean_velocity, inputs, outputs={"mean": ()})["mean"]
    over = float(np.std(own.value) / abs(np.mean(own.value))) if np.mean(own.value) else np.inf
    unit = _velocity_unit(again)
    return Plane(
        layout,
        Quantity("velocity", "velocity at the point", "velocity", unit, own, bars, drawn),
        None if passes is None else np.asarray(units.from_si(passes, unit, "velocity")),
        Quantity(
            "mean_velocity", "mean velocity of the plane", "velocity", unit, mean,
            interval(mean, result.coverage, samples=result.samples, seed=result.seed),
        ),
        over,
    )  # fmt: skip


def _velocity_unit(again: Reduction) -> str:
    """As the points were read, where they were read as velocities."""
    item = again.flow.section.items.get("velocity")
    return item.unit if item is not None and item.unit else "m/s"


def _sum(*, velocity: Array, scatter: Array) -> dict[str, Array]:
    return {"velocity": velocity + scatter}


def _mean_velocity(*, mass_flow: Array, density: Array, area: Array) -> dict[str, Array]:
    return {"mean": mass_flow / (density * area)}


def _placed(result: Result, again: Reduction, situation: Situation) -> Iterator[Placed]:
    """Every limit that is a range, in the order of the method's declaration."""
    method = again.method
    several = [x.table for x in method.fields if isinstance(x, Names) and x.axis]
    names = tuple(str(piece.path[-1]) for table in several for piece in again.flow.hardware[table])
    for limit in method.limits:
        window = limit.window
        if window is None:
            continue
        if window.of in situation.nominal:
            many = situation.nominal[window.of].size > 1
            axes = method.axes if many else ()
            given = (situation.inputs, method.axes, {window.of: axes})
            estimate = linear(method.kernel, *given, **situation.options)[window.of]
        elif window.of in situation.inputs:
            estimate = situation.inputs[window.of]
        else:
            continue
        unit = window.unit(situation) if callable(window.unit) else window.unit
        low, high = (np.broadcast_to(end.reshape(-1), (estimate.value.size,)) for end in window.ends(situation))
        values = estimate.value.reshape(-1)
        if not np.all(np.isfinite(values)) or not np.any(np.isfinite(low) | np.isfinite(high)):
            continue
        if estimate.axes:
            bars, drawn = batch_intervals({"": estimate}, result.coverage, seed=result.seed)[""]
        else:
            bars, drawn = interval(estimate, result.coverage, seed=result.seed), None
        each = again.each.get(window.of)
        shown = None
        if each is not None and each.size % estimate.value.size == 0:
            shown = np.asarray(units.from_si(each.reshape(-1, estimate.value.size), unit, window.kind))
        raised = np.asarray(limit.test(situation), dtype=bool).reshape(-1)
        yield Placed(
            Quantity(window.of, window.words, window.kind, unit, estimate, bars, drawn),
            names if len(names) == estimate.value.size > 1 else (),
            np.asarray(units.from_si(low, unit, window.kind)),
            np.asarray(units.from_si(high, unit, window.kind)),
            shown,
            limit.flag.code,
            limit.flag.severity,
            np.broadcast_to(raised, values.shape),
            window.wide,
        )


def _coefficient(result: Result, again: Reduction, situation: Situation, ranges: tuple[Placed, ...]) -> Iterable[Curve]:
    own = [placed for placed in ranges if placed.quantity.name == "reynolds"]
    if not own:
        return []
    q, n = own[0].quantity, own[0].low.size
    low, value, high = (np.array(np.broadcast_to(np.ravel(x), (n,))) for x in (q.low, q.value, q.high))
    limits = of_reynolds([float(x) for placed in own for ends in (placed.low, placed.high) for x in ends])
    return curves(again.method, situation, own[0].names, (value, low, high), limits, result.coverage)


def rows_raised(findings: list[Finding], n: int) -> Array:
    """Rows of a table of tests that a warning or an alarm was raised for."""
    raised = np.zeros(n, dtype=bool)
    for finding in findings:
        if finding.rows is not None and finding.severity != "note":
            raised |= np.broadcast_to(np.asarray(finding.rows, dtype=bool), (n,))
    return raised
