"""Filters as they stand in a cleaner: how many, how far covered, with which gaps, how far loaded, in which air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from flowrig.errors import Fault, InputError
from flowrig.physics.resistance import power_law_in_air
from flowrig.records.estimates import given_estimate
from flowrig.records.fan_facts import MEASURED
from flowrig.records.items import Array, Section, as_written
from flowrig.records.record import Record
from flowrig.studies.balance import FILTER, MEMBER, ROW
from flowrig.studies.filter_law import FilterLaw, drop_by_law
from flowrig.uncertainty.alongside import side_by_side
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

Batch = tuple[str, ...]
OF_LAW = ("linear", "quadratic", "factor", "exponent")


@dataclass
class Entry:
    """Filters of one sort, or in a sweep of one sort a design.

    Attributes
    ----------
    section : Section
        Their [[filters]] section.
    laws : list of FilterLaw
        The filters that occur.
    order : array of int, or None
        Which of them stands in each design; None where it is one for all.
    count, gap_width : array or None
        Values a design, in place of those of the section.
    loaded : Estimate or None
        How far on the way from new to the final drop, in place of what the section says; 1 is there.
    grown : Estimate or None
        By how much the drop at the final velocity has grown, where that is known in its place. [Pa]
    charge : Estimate or None
        Share of the efficiency that is left of the new filter's.
    """

    section: Section
    laws: list[FilterLaw]
    order: Array | None = None
    count: Array | None = None
    gap_width: Array | None = None
    loaded: Estimate | None = None
    grown: Estimate | None = None
    charge: Estimate | None = None
    members: dict[str, Estimate] = field(default_factory=dict)

    @property
    def stage(self) -> int:
        return int(self.section.value("stage", 1))

    @property
    def law(self) -> FilterLaw:
        return self.laws[0]

    @property
    def name(self) -> str:
        return str(self.section.value("name") or self.law.section.value("class") or self.law.title)

    @property
    def counts(self) -> Array:
        return np.asarray(self.count if self.count is not None else self.section.value("count", 1), dtype=float)

    def of_each(self, estimates: Sequence[Estimate]) -> Estimate:
        """One estimate a filter that occurs, to one a design."""
        if self.order is None:
            return estimates[0]
        return side_by_side(estimates, ROW, [int(i) for i in self.order])


def in_place(entry: Entry, record: Record, air: dict[str, Estimate], batch: Batch) -> dict[str, Estimate]:
    """Inputs of the balance for one entry, without the axis ``filter``.

    Parameters
    ----------
    entry : Entry
    record : Record
        Of the cleaner.
    air : dict of str to Estimate
        density and viscosity at the unit.
    batch : tuple of str
        ``('row',)`` for a sweep.

    Raises
    ------
    InputError
        If a gap is told by its width and the filter has no frame, or a load is told and no final drop.
    """
    section = entry.section
    place = f"{record.id}:{section.name}"
    inputs = {name: entry.of_each([law.numbers[name] for law in entry.laws]) for name in OF_LAW}
    inputs["face"] = entry.of_each([law.area for law in entry.laws])
    inputs["covered"] = given_estimate(section["covered"], place, "covered share of the face")
    inputs["count"] = Estimate(entry.counts, batch if entry.count is not None else ())
    inputs |= {
        f"own_{n}": entry.of_each([Estimate(getattr(x, n)) for x in entry.laws]) for n in ("density", "viscosity")
    }
    inputs |= {name: air[name] for name in ("density", "viscosity")}
    inputs["spread"] = _spread(entry, record, batch)
    inputs |= _gap(entry, place, batch)
    inputs |= _load(entry, place)
    return linear(_member, inputs, batch, dict.fromkeys(MEMBER, batch))


def put_together(entries: Sequence[Entry]) -> dict[str, Estimate]:
    """Members of all entries along the axis ``filter``."""
    return {name: side_by_side([entry.members[name] for entry in entries], FILTER) for name in MEMBER}


def _spread(entry: Entry, record: Record, batch: Batch) -> Estimate:
    """How far pieces differ from their sort, which averages over pieces side by side; a measured piece differs too."""
    limits = np.array([law.section.value("piece_spread") for law in entry.laws]) / math.sqrt(3)
    order = np.zeros(1, dtype=int) if entry.order is None else np.asarray(entry.order, dtype=int)
    own = limits[order] / np.sqrt(np.maximum(entry.counts, 1.0))
    label = f"spread from piece to piece, {entry.name}"
    parts = {
        Cause(f"{record.id}:{entry.section.name}:pieces", shape="rectangular", scope="setup", label=label): own,
    }
    for k, law in enumerate(entry.laws):
        if law.tested is not None and law.section.value("figures") == MEASURED:
            id_, label = f"{law.record.id}:piece", f"measured piece against its sort, {law.title}"
            cause = Cause(id_, shape="rectangular", scope="calibration", label=label)
            parts[cause] = np.where(order == k, limits[k], 0.0) + 0.0 * own
    alone = entry.order is None and entry.count is None
    zero = np.zeros(()) if alone else 0.0 * own
    return Estimate(zero, () if alone else batch, {c: u.reshape(1, *zero.shape) for c, u in parts.items() if np.any(u)})


def _gap(entry: Entry, place: str, batch: Batch) -> dict[str, Estimate]:
    section = entry.section
    coefficient = given_estimate(section["gap_coefficient"], place, "discharge coefficient of the gap")
    if entry.gap_width is None and "gap_width" not in section:
        area = given_estimate(section["gap_area"], place, "gap beside the filter") if "gap_area" in section else None
        return {"gap_area": area or Estimate(0.0), "gap_coefficient": coefficient}
    frames = []
    for law in entry.laws:
        if "width" not in law.section:
            where = section["gap_width"].where if "gap_width" in section else section.where
            said = "a filter whose width and height are told, or the area of the gap"
            raise InputError(
                Fault(where, f"a width of the gap beside {law.title}", said, "Write gap_area in its place.")
            )
        frames.append(Estimate(2.0 * (law.section.value("width") + law.section.value("height"))))
    if entry.gap_width is not None:
        width = Estimate(entry.gap_width, batch)
    else:
        width = given_estimate(section["gap_width"], place, "gap beside the filter")
    return {"gap_width": width, "frame": entry.of_each(frames), "gap_coefficient": coefficient}


def _load(entry: Entry, place: str) -> dict[str, Estimate]:
    """How far the filters are loaded, and what that means; nothing where they are new."""
    if entry.grown is not None:
        return {"grown": entry.grown, "final_velocity": _final(entry, "final_velocity")}
    item = entry.section["loaded"]
    loaded = entry.loaded if entry.loaded is not None else given_estimate(item, place, "load of the filters")
    if not np.any(loaded.value) and not loaded.parts:
        return {}
    for law in entry.laws:
        if "final_drop" not in law.section or "final_velocity" not in law.section:
            where = item.where or entry.section.where
            said = f"final_drop and final_velocity in {law.record.name}"
            raise InputError(Fault(where, "a load without a final drop", said, "Add them to the record of the filter."))
        final_above_new(law)
    return {"loaded": loaded, **{name: _final(entry, name) for name in ("final_drop", "final_velocity")}}


def _final(entry: Entry, name: str) -> Estimate:
    return entry.of_each([Estimate(float(law.section.value(name))) for law in entry.laws])


def final_above_new(law: FilterLaw) -> None:
    """A filter's final drop is more than its drop when new.

    Raises
    ------
    InputError
        If it is not: nothing would then be told by how far it is loaded.
    """
    velocity = float(law.section.value("final_velocity"))
    new = float(law.drop(np.array([velocity])).value[0])
    if not law.section.value("final_drop") > new:
        item = law.section["final_drop"]
        said = f"more than the new filter's drop at final_velocity, {new:.3g} Pa"
        raise InputError(Fault(item.where, as_written(item), said, "Check both, and the velocity they are told at."))


def _member(
    *,
    face: Array,
    covered: Array,
    count: Array,
    linear: Array,
    quadratic: Array,
    factor: Array,
    exponent: Array,
    own_density: Array,
    own_viscosity: Array,
    density: Array,
    viscosity: Array,
    spread: Array,
    gap_coefficient: Array,
    gap_area: Array | None = None,
    gap_width: Array | None = None,
    frame: Array | float = 0.0,
    loaded: Array | float = 0.0,
    grown: Array | float = 0.0,
    final_drop: Array | float = 0.0,
    final_velocity: Array | float = 1.0,
) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        new = drop_by_law(final_velocity, linear, quadratic, factor, exponent)
        more = np.maximum(loaded, 0.0) * np.maximum(final_drop - new, 0.0) + grown
        of_power = np.asarray(factor) > 0.0
        linear = linear + np.where(of_power, 0.0, more / final_velocity)
        factor = factor + np.where(of_power, more / np.power(final_velocity, exponent), 0.0)
    thick, dense = viscosity / own_viscosity, density / own_density
    a, b, c = linear * thick, quadratic * dense, power_law_in_air(factor, exponent, thick, dense)
    gap = gap_area if gap_area is not None else (gap_width * frame if gap_width is not None else 0.0 * face)
    found = {
        "area": count * face * (1.0 - covered),
        "linear": np.maximum(a * (1.0 + spread), 0.0),
        "quadratic": np.maximum(b * (1.0 + spread), 0.0),
        "factor": np.maximum(c * (1.0 + spread), 0.0),
        "exponent": exponent,
        "gap": np.maximum(count * gap * gap_coefficient, 0.0),
    }
    shape = sum(0.0 * np.asarray(x) for x in found.values())
    return {name: np.asarray(x + shape) for name, x in found.items()}
