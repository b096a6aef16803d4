"""What becomes of the filters of a cleaner as it runs: how far they are loaded, and what is left of their charge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.in_use import DUST, Course
from flowrig.records.items import Array, Section, as_written
from flowrig.records.record import Record
from flowrig.studies.balance import ROW
from flowrig.studies.bank import Entry, final_above_new
from flowrig.studies.filter_law import FilterLaw, drop_by_law, filter_law
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

HALF = 0.5  # of life_to_final, where it has no ±: own judgement, no source
SHORTEST = 0.02  # of life_to_final: no draw is shorter
BACK = 0.05  # of the drop: a fall beyond this is more than a reading's scatter; own judgement, no source
FURTHEST = 1.5  # of the way to the final drop: further an even growth is not carried; own judgement, no source

NO_LOADING = FlagMeaning(
    "loading not known",
    "warning",
    "The record of a filter says nothing of how its drop grows in use (loading, or life_to_final): it stays here as it "
    "begins, and flow and clean air come out too high for a filter in use.",
)
LIFE_ASSUMED = FlagMeaning(
    "life with an assumed limit",
    "note",
    "A life to the final drop has no ± beside it, and half of it was taken as its limit: dust differs that much from "
    "place to place. The drop was taken to grow evenly; it mostly grows slower at first and faster towards the end.",
    "own judgement, no source",
)
LOADING_LIMIT = FlagMeaning(
    "loading with an assumed limit",
    "note",
    "The growth of the drop stands in a table, and how far it may be off where the filter is used does not: a quarter "
    "of the growth was taken. Write loading_limit.",
    "own judgement, no source",
)
LOADING_ENDS = FlagMeaning(
    "loading told no further",
    "warning",
    "The run goes on beyond the last row of a filter's loading, or far beyond its final drop: nothing is told of that, "
    "and no growth is carried there.",
)
CHARGE_ENDS = FlagMeaning(
    "charge told no further",
    "warning",
    "The run goes on beyond the last row of a filter's charge: beyond it the clean air in use is not told, only the "
    "bracket of charge kept and charge lost.",
)
BEGINS_ELSEWHERE = FlagMeaning(
    "use begins at another filter",
    "warning",
    "The first row of a filter's loading or charge is the new filter, at final_velocity or at the first of the "
    "efficiency's velocities, and lies further off what the record says of the new filter than its limit. The growth "
    "of the drop and the share of the efficiency were taken from the table all the same: it may be of another filter, "
    "velocity or particle size, or in another unit.",
)
TURNS_BACK = FlagMeaning(
    "loading turns back",
    "warning",
    "The drop of a filter falls again in the table of its loading, by more than a twentieth: dust does not leave a "
    "filter by itself. A row is wrong, or the filter was changed, shaken or torn.",
    "own judgement, no source",
)
FLAGS = (BEGINS_ELSEWHERE, TURNS_BACK, NO_LOADING, LIFE_ASSUMED, LOADING_LIMIT, LOADING_ENDS, CHARGE_ENDS)


@dataclass
class Worn:
    """Filters of one [[filters]] section along the run.

    Attributes
    ----------
    entry : Entry
        With its load and charge at each time, axis ``row``.
    progress : Estimate or None
        How far they are on the way to the final drop, 1 being there; None where that is not known.
    loading_end, charge_end : float
        Up to when their loading and their charge are told. [s]
    findings : list of Finding
    """

    entry: Entry
    progress: Estimate | None
    loading_end: float
    charge_end: float
    findings: list[Finding]


def entries_of(record: Record) -> list[Entry]:
    """The bank of a record, new.

    Raises
    ------
    InputError
        If filters whose loading is followed are to begin loaded, or a loading is told by dust and [life] tells none.
    """
    task = record.prediction
    assert task is not None
    assert task.life is not None
    entries = [Entry(own, [filter_law(own.value("filter"))]) for own in task.filters]
    for entry in entries:
        item, own = entry.section["loaded"], entry.law.record
        known = "loading" in own.in_use or "life_to_final" in entry.law.section
        if known and item.value > 0.0:
            remedy = "Remove loaded for the look at the life."
            raise InputError(Fault(item.where, as_written(item), "new filters: the life begins with them", remedy))
        course = own.in_use.get("loading")
        if course is not None and course.along == DUST and "dust" not in task.life:
            said = f"the dust that reaches each filter in an hour, by which {own.name} tells its loading"
            remedy = 'Add dust = "0.05 g" to [life], for instance, or tell the loading by time.'
            raise InputError(Fault(task.life.where, "no dust", said, remedy))
    return entries


def knots(entries: Sequence[Entry], life: Section) -> Array:
    """Times at which something changes its course: rows of the tables, the final drop reached. [s]"""
    found: list[float] = []
    for law in (entry.law for entry in entries):
        for course in law.record.in_use.values():
            found += [float(x) for x in course.at * (_seconds_a_kilogram(life) if course.along == DUST else 1.0)]
        if "life_to_final" in law.section:
            found += [float(law.section.value("life_to_final")) * x for x in (1.0, FURTHEST)]
    return np.unique(found)


def _seconds_a_kilogram(life: Section) -> float:
    """Seconds of running in which a kilogram of dust reaches a filter."""
    return 3600.0 / float(life.value("dust"))


def worn(entry: Entry, record: Record, times: Array) -> Worn:
    """Filters as they are at times of running.

    Parameters
    ----------
    entry : Entry
        New.
    record : Record
        Of the cleaner, with a table [life].
    times : array
        [s]
    """
    task = record.prediction
    assert task is not None
    assert task.life is not None
    law = entry.law
    findings: list[Finding] = []
    loaded: Estimate | None = None
    grown: Estimate | None = None
    progress: Estimate | None = None
    charge: Estimate | None = None
    loading_end = charge_end = math.inf
    if "life_to_final" in law.section:
        final_above_new(law)
        loaded = progress = _evenly(law, times, findings)
        loading_end = FURTHEST * float(law.section.value("life_to_final"))
    elif "loading" in law.record.in_use:
        course = law.record.in_use["loading"]
        grown = _by_table(law, course, record, task.life, times)
        findings += _doubts_of_loading(law, course)
        loading_end = float(course.at[-1]) * (_seconds_a_kilogram(task.life) if course.along == DUST else 1.0)
        limit = law.section["loading_limit"]
        if limit.assumed:
            findings.append(Finding(LOADING_LIMIT, f"{law.title}: {limit.value:.0%}".replace("%", " %")))
        if "final_drop" in law.section:
            final_above_new(law)
            progress = _progress(law, grown)
    else:
        findings.append(Finding(NO_LOADING, law.title))
    progress = _told(progress, times, loading_end) if progress is not None else None
    if "charge" in law.record.in_use:
        course = law.record.in_use["charge"]
        charge, charge_end = _charge(law, course, times), float(course.at[-1])
        new = float(law.section.value("efficiency")[0])
        if abs(course.value[0] - new) > law.section.value("efficiency_limit"):
            said = f"{100 * course.value[0]:.3g} % in the first row, {100 * new:.3g} % by the record"
            findings.append(Finding(BEGINS_ELSEWHERE, f"{law.title}, charge: {said}"))
    run, unit = float(times[-1]), task.life["run"].unit or "h"
    for end, meaning in ((loading_end, LOADING_ENDS), (charge_end, CHARGE_ENDS)):
        if end < run:
            shown = float(units.from_si(end, unit, "time"))
            findings.append(Finding(meaning, f"{law.title}: told up to {shown:.4g} {unit}", times > end))
    return Worn(replace(entry, loaded=loaded, grown=grown, charge=charge), progress, loading_end, charge_end, findings)


def _doubts_of_loading(law: FilterLaw, course: Course) -> list[Finding]:
    """What speaks against a table of the loading: it begins at another filter, or its drop falls again."""
    found = []
    new = law.drop(np.array([float(law.section.value("final_velocity"))]))
    at, first = float(new.value[0]), float(course.value[0])
    if abs(first - at) > float(law.section.value("drop_limit")) * at + 2.0 * float(new.u[0]):
        said = f"{first:.3g} Pa in the first row, {at:.3g} Pa by the record"
        found.append(Finding(BEGINS_ELSEWHERE, f"{law.title}, loading: {said}"))
    highest = np.maximum.accumulate(course.value)
    back = np.flatnonzero(course.value < (1.0 - BACK) * highest)
    if back.size:
        k = int(back[0])
        found.append(Finding(TURNS_BACK, f"{law.title}: from {highest[k]:.3g} to {course.value[k]:.3g} Pa"))
    return found


def _told(x: Estimate, times: Array, end: float) -> Estimate:
    """A course up to an end, NaN beyond."""

    def kernel(x: Array, times: Array) -> dict[str, Array]:
        return {"x": np.where(times > end, np.nan, x)}

    return linear(kernel, {"x": x, "times": Estimate(times, (ROW,))}, (ROW,), {"x": (ROW,)})["x"]


def _evenly(law: FilterLaw, times: Array, findings: list[Finding]) -> Estimate:
    """The drop grows to the final drop in a life, by the same amount in each hour."""
    item = law.section["life_to_final"]
    name = f"life to the final drop, {law.title}"
    life = given_estimate(item, law.record.id, name, "method")
    if not life.parts:
        cause = Cause(f"{law.record.id}:life_to_final", shape="rectangular", scope="method", label=name)
        life = Estimate(item.value, (), {cause: [HALF * float(item.value) / math.sqrt(3)]})
        findings.append(Finding(LIFE_ASSUMED, f"{law.title}: {as_written(item)}, half of it either way"))
    shortest = SHORTEST * float(item.value)

    def kernel(times: Array, life: Array) -> dict[str, Array]:
        return {"loaded": times / np.maximum(life, shortest)}

    return linear(kernel, {"times": Estimate(times, (ROW,)), "life": life}, (ROW,), {"loaded": (ROW,)})["loaded"]


def _by_table(law: FilterLaw, course: Course, record: Record, life: Section, times: Array) -> Estimate:
    """Growth of the drop at the final velocity, between the rows of the table on straight lines."""
    name = f"growth of the drop, {law.title}"
    cause = Cause(f"{law.record.id}:loading", shape="rectangular", scope="method", label=name)
    off = Estimate(0.0, (), {cause: [float(law.section.value("loading_limit")) / math.sqrt(3)]})
    inputs = {"times": Estimate(times, (ROW,)), "off": off}
    if course.along == DUST:
        inputs["dust"] = given_estimate(life["dust"], f"{record.id}:life", "dust that reaches a filter")
    slope = (course.value[-1] - course.value[-2]) / (course.at[-1] - course.at[-2])

    def kernel(times: Array, off: Array, dust: Array | float = 3600.0) -> dict[str, Array]:
        at = np.maximum(times * dust / 3600.0, 0.0)
        drop = np.interp(at, course.at, course.value) + slope * np.maximum(at - course.at[-1], 0.0)  # for draws alone
        return {"grown": (drop - course.value[0]) * (1.0 + off)}

    return linear(kernel, inputs, (ROW,), {"grown": (ROW,)})["grown"]


def _progress(law: FilterLaw, grown: Estimate) -> Estimate:
    velocity, final = (float(law.section.value(name)) for name in ("final_velocity", "final_drop"))

    def kernel(grown: Array, **numbers: Array) -> dict[str, Array]:
        with np.errstate(all="ignore"):
            new = drop_by_law(velocity, **numbers)
            return {"progress": np.where(final > new, grown / (final - new), np.nan)}

    return linear(kernel, {**law.numbers, "grown": grown}, (ROW,), {"progress": (ROW,)})["progress"]


def _charge(law: FilterLaw, course: Course, times: Array) -> Estimate:
    """Share of the new filter's efficiency that is left; NaN beyond the last row.

    The limit of the efficiency stays what it is: what the new filter's error no longer brings, an error of the
    efficiency in use does.
    """
    left = np.interp(times, course.at, course.value) / course.value[0]
    limit = float(law.section.value("efficiency_limit")) / float(course.value[0])
    cause = Cause(
        f"{law.record.id}:charge", shape="rectangular", scope="calibration", label=f"efficiency in use of {law.title}"
    )
    own = limit / math.sqrt(3) * np.sqrt(np.maximum(1.0 - np.square(left), 0.0))
    return Estimate(np.where(times > course.at[-1], np.nan, left), (ROW,), {cause: own[np.newaxis]})
