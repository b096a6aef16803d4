"""Readings still to come: stand-ins that a method's own kernel brings to the expected flow, and a run that scatters."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist
from typing import Any

import numpy as np

from flowrig.methods.method import Method
from flowrig.records import flags as reading_flags
from flowrig.records.declare import File, Finding, FlagMeaning, Names, Reading
from flowrig.records.estimates import zero_of
from flowrig.records.items import Array, Item, Section, as_shown
from flowrig.records.record import Flow, Hardware, Record
from flowrig.studies.at_flow import AtFlow
from flowrig.studies.gather import grows, scaled
from flowrig.studies.quantities import first_station
from flowrig.studies.reduce import Reduction, empty_result
from flowrig.studies.result import FlowResult
from flowrig.studies.scatter import Scatter
from flowrig.uncertainty.component import Component, Term
from flowrig.uncertainty.search import values_alone
from flowrig.uncertainty.series import mean_of

POWER = {"pressure difference": 2.0, "velocity": 1.0}  # of a velocity, by which a reading of a grid grows
START = {"pressure difference": 50.0, "velocity": 3.0, "flow": 0.15}  # any will do: they are brought to the flow
LEAST_SCATTER = 1e-9  # none at all would be no run
ROWS_HELD = 6
ORDERS = 40
DRIFTS = 0.01  # how much a standard error between the halves counts against a hundredth of the stretches
STEP = 1.01  # of the readings, to see by how much the flow follows

STATED_SCATTER = FlagMeaning(
    "scatter stated beside one reading",
    "note",
    "A single reading does not tell its own scatter, and a reduction leaves out what it is not told. The plan counts "
    "it as if it were written beside the reading: do so, or the bar of the result is narrower than it should be.",
)
FLAGS = (STATED_SCATTER,)


def to_come(
    method: Method, section: Section, pieces: Mapping[str, Hardware], measured: Collection[str]
) -> dict[str, Any]:
    """Stand-ins for the readings of the flow and, where a choice is left open, for the hardware. See `ToCome`."""
    gridded = "grid" in section
    level = {f.name: f for f in method.fields if isinstance(f, Reading) and grows(f) and not (f.grid and gridded)}
    wanted = [name for name, f in level.items() if f.required and name not in section]
    for choice in method.alternatives:
        sets = [names for names in choice.sets if all(name in level for name in names)]
        if choice.required and sets and not any(name in section for names in choice.sets for name in names):
            told = section.value("with", {})
            named = [names for names in sets if isinstance(told, dict) and any(name in told for name in names)]
            can = [names for names in sets if all(level[name].kind in measured for name in names)]
            wanted += (named or can or sets)[0]
    beside = [len(section[name].value) for name in level if name in section]
    rows = max([method.turns(section), *beside])  # taken together with what is there, and in every place in turn
    found: dict[str, Any] = {name: np.full(rows, START[level[name].kind]) for name in wanted}
    found |= {f.name: "" for f in method.fields if isinstance(f, File) and f.required and f.name not in section}
    for declared in chosen(method):
        if declared.name not in section and pieces.get(declared.table):
            found[declared.name] = [next(iter(pieces[declared.table]))]
    return found


def chosen(method: Method) -> list[Names]:
    """Fields that name hardware among which a person may choose: openings, but not the duct that is there."""
    return [f for f in method.fields if isinstance(f, Names) and f.required and method.layout is None]


@dataclass(frozen=True)
class Setup:
    """A measurement as it is planned. Every change of it is another one.

    Attributes
    ----------
    record : Record
    flow : Flow
        Its readings of the flow a pattern, one run long.
    wanted : float
        Flow to be expected. [m3/s]
    readings : int
        Repeats, passes of the grid, or rounds of the places in turn.
        Of a log, the independent stretches that it is worth.
    scatter : float
        Standard deviation of a single reading, as a share of the flow.
    logged : bool
        The readings are those of a log.
    coverage : float
    unit : str or None
    """

    record: Record
    flow: Flow
    wanted: float
    readings: int
    scatter: float
    logged: bool = False
    coverage: float = 0.95
    unit: str | None = None

    @cached_property
    def brought(self) -> Setup:
        """The same with its readings at the expected flow. Raises ValueError if they cannot be brought there."""
        if self._follow.there(self.wanted):
            return self
        return replace(self, flow=scaled(self.flow, self._follow.find(self.wanted)[0], self.names))

    @property
    def names(self) -> tuple[str, ...]:
        """Readings that are brought to the flow: those still to come, or all of them where none is."""
        readings = [name for name, item in self.flow.section.items.items() if grows(item.field)]
        return tuple(name for name in readings if name in self.flow.to_come) or tuple(readings)

    @cached_property
    def _follow(self) -> AtFlow[float]:
        return AtFlow(self._flow_at(1.0), self._flow_at, lambda flow: flow)

    def _flow_at(self, factor: float) -> float:
        """Volume flow of the first quantity, had the readings been so many times what they are. [m3/s]"""
        with values_alone():
            reduction = self._reduction(scaled(self.flow, factor, self.names))
            mass, densities, *_ = reduction.measured(refusing=False)
        return float(mass.value) / float(densities[first_station(densities)].value)

    def _reduction(self, flow: Flow) -> Reduction:
        return Reduction(
            self.record, flow, empty_result(self.record, self.coverage, None, 1), self.unit, main_only=True
        )

    @cached_property
    def power(self) -> float:
        """By which power of the flow the readings grow: 2 for a pressure under a root."""
        return float(np.log(STEP) / np.log(self._flow_at(STEP) / self._follow.own))

    def expected(self) -> FlowResult:
        """The measurement reduced with readings that scatter as expected about the expected ones.

        Raises
        ------
        InputError
            Where no number is given beyond a limit of the method.
        ValueError
            If no readings give the expected flow.
        """
        brought = self.brought
        done = brought._reduction(brought.run()).run()
        if self._single:
            said = ", ".join(self.names)
            done.findings.append(Finding(STATED_SCATTER, f"{said}: {100 * self.power * self.scatter:.2g} % beside it"))
            done.findings = [f for f in done.findings if f.meaning is not reading_flags.SINGLE]
        return done

    @property
    def _single(self) -> bool:
        """Whether a single reading is all that there is to be."""
        turns = self.flow.method.turns(self.flow.section)
        return self.readings == 1 and self.flow.layout is None and turns == 1

    def as_read(self) -> Scatter | None:
        """What the readings that the record holds say about their own scatter; None where none is repeated."""
        if any(name in self.flow.to_come for name in self.names):
            return None
        reduction = self._reduction(self.flow)
        reduction.measured(refusing=False)
        return reduction.scatter

    def run(self) -> Flow:
        """The flow section with a run in the place of each reading that is to be taken."""
        section, method = self.flow.section, self.flow.method
        turns = method.turns(section)
        items = dict(section.items)
        for name in self.names:
            item = items[name]
            instrument = self.record.instruments.get(item.instrument)
            if isinstance(item.field, Reading) and item.field.grid:
                z = deviates(self.readings, item.value.shape[-1])
            elif turns > 1:
                z = np.tile(deviates(turns, 1)[:, 0], self.readings)  # what differs between places stays in every round
            elif self._single:
                said = Component("scatter", (Term(self.power * self.scatter),), "sum", "normal", 1.0)
                items[name] = replace(item, components=(*item.components, said))
                continue
            else:
                z = held(self.readings) if self.logged else deviates(self.readings, 1)[:, 0]
            values = item.value[:1] * np.maximum(1.0 + self.scatter * z, 0.01) ** self.power
            if instrument is not None and instrument.zero is not None:  # the display drifts with its zero
                zero = zero_of(instrument, len(values), values.ndim)
                values = values + zero - np.mean(zero)
            items[name] = replace(item, value=values, run=section.name if len(values) > 1 else "")
        return replace(self.flow, section=replace(section, items=items))


def deviates(groups: int, within: int) -> Array:
    """Readings that scatter like independent ones, without chance in it.

    Returns
    -------
    array, shape (groups, within)
        Of mean zero and standard deviation one; the means of the groups scatter by exactly 1/√within, in an order in
        which none follows the one before.

    Notes
    -----
    Means at the middles of equal shares of the normal distribution; within the groups orthogonal random directions,
    always the same, so that two groups differ place by place as two independent ones do. The mean at each place is that
    of its group.
    """
    between = np.zeros(groups)
    if groups > 1:
        scores = np.array([NormalDist().inv_cdf((i + 0.5) / groups) for i in range(groups)])
        half = (groups + 1) // 2
        between[0::2], between[1::2] = scores[:half], scores[half:][::-1]
        between /= np.std(between, ddof=1)
    z = np.repeat(between[:, np.newaxis] / np.sqrt(within), within, axis=1)
    if min(groups, within) > 1:
        inside = np.random.default_rng(1).standard_normal((within, groups))
        inside -= inside.mean(axis=0)
        if groups < within:
            inside = np.linalg.qr(inside)[0]
        inside *= np.sqrt((within - 1.0) / np.sum(inside**2, axis=0))
        z = z + (inside - inside.mean(axis=1, keepdims=True)).T
    return z


def held(stretches: int) -> Array:
    """The same for a log: each of so many independent readings is held for a few rows.

    Returns
    -------
    array, shape (rows,)
        In the order, of some random ones that are always the same, in which its autocorrelation tells the number of
        stretches best and its halves differ least.
    """
    scores = deviates(stretches, 1)[:, 0]
    random = np.random.default_rng(1)
    tried = [np.repeat(random.permutation(scores), ROWS_HELD) for _ in range(ORDERS if stretches > 2 else 1)]
    told = [mean_of(z) for z in tried]
    off = [abs(series.stretches / stretches - 1.0) + DRIFTS * series.drift for series in told]
    return tried[int(np.argmin(off))]


def still(flow: Flow) -> Flow:
    """The measurement with each reading of the flow the mean of what was read, and no monitor; grids keep one pass."""
    items: dict[str, Item] = {}
    for name, item in flow.section.items.items():
        if name == "monitor":
            continue
        if isinstance(item.field, Reading):
            item = replace(item, value=np.mean(item.value, axis=0, keepdims=True), run="")
        items[name] = item
    return with_profile(replace(flow, section=replace(flow.section, items=items), findings=[]))


def with_profile(flow: Flow, before: Flow | None = None) -> Flow:
    """The measurement with the profile that its method assumes over a grid still to come, at the level of its first
    point: of a flat one, or of what stood `before` on another layout."""
    if flow.method.usual_profile is None or flow.layout is None:
        return flow
    shape = flow.method.usual_profile.shape
    items = dict(flow.section.items)
    for name in flow.to_come:
        item = items[name]
        if not isinstance(item.field, Reading) or not item.field.grid:
            continue
        power = POWER[item.field.kind]
        level = item.value[:, :1]
        if before is not None:
            level = level / shape(before.layout)[0] ** power
        items[name] = replace(item, value=level * shape(flow.layout) ** power)
    return replace(flow, section=replace(flow.section, items=items))


def shown(setup: Setup) -> dict[str, str]:
    """The readings to expect, by field, in words; the least and greatest of a grid."""
    found = {}
    brought = setup.brought
    for name in setup.names:
        item = brought.flow.section[name]
        ends = as_shown(item, np.array([np.min(item.value), np.max(item.value)]))
        found[name] = " to ".join(dict.fromkeys(ends))
    return found
