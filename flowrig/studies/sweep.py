"""Designs beside each other: every combination of what is to be tried, all in one call, each with its error bars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.progress import doing
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.items import Array, Section
from flowrig.records.record import Record
from flowrig.studies.balance import FILTER, ROW
from flowrig.studies.bank import Entry
from flowrig.studies.cleaner import Setup, setup, task_of
from flowrig.studies.efficiency import held_back
from flowrig.studies.filter_law import filter_law
from flowrig.studies.operating_point import beyond_tested, quantity
from flowrig.studies.result import Quantity, unused
from flowrig.uncertainty.alongside import one_of
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

DRAWN = 200  # designs up to which every interval is drawn
DRAWS = 4000  # a design: its ends are then good to about 0.05 u
MOST = 100_000
VARIED = ("count", "filter", "speed_ratio", "gap_width", "loaded")

NOWHERE = FlagMeaning(
    "no crossing in some designs",
    "warning",
    "In some designs the bank and the fan do not meet on the fan's curve: they have no value. Either the bank takes "
    "more than the fan gives at its first point, or less than it gives at its last.",
)
SEVERAL_HERE = FlagMeaning(
    "several crossings in some designs",
    "warning",
    "In some designs the curves of fan and bank cross more than once; the stable crossing of the greatest flow is "
    "told. The fan may run at another.",
)
BANDS_LINEAR = FlagMeaning(
    "linear bands",
    "note",
    f"There are more than {DRAWN} designs: their bands are linear and none was drawn. Where a crossing lies near a dip "
    "or an end of the fan's curve they are too narrow; predict such a design by itself.",
)
FLAGS = (NOWHERE, SEVERAL_HERE, BANDS_LINEAR)


@dataclass
class Swept:
    """Designs predicted.

    Attributes
    ----------
    setup : Setup
    varied : dict of str to list of str
        What was tried, in words, in the order of the record.
    places : dict of str to array of int
        Of each design, which of these it has.
    quantities : dict of str to Quantity
        With the axis ``row``, one value a design.
    gained : Quantity or None
        What each design has more than the one of the next lower number of filters, all else alike: of clean air where
        that is known, else of flow. NaN for the first.
    findings : list of Finding
    """

    setup: Setup
    varied: dict[str, list[str]]
    places: dict[str, Array]
    quantities: dict[str, Quantity]
    gained: Quantity | None
    findings: list[Finding] = field(default_factory=list)

    def __len__(self) -> int:
        return len(next(iter(self.places.values())))

    def design(self, row: int) -> dict[str, str]:
        """What a design has, in words."""
        return {name: words[int(self.places[name][row])] for name, words in self.varied.items()}


@doing("the sweep")
def sweep(record: Record, *, coverage: float = 0.95, seed: int = 1, unit: str | None = None) -> Swept:
    """Predict every combination of what a record's table [sweep] lists.

    Raises
    ------
    InputError
        If there is no such table, or it lists nothing or too much.
    """
    task = task_of(record)
    section = task.sweep
    if section is None:
        said = "a table [sweep] with what is to be tried"
        raise InputError(Fault(record.name, "no [sweep]", said, "Add it, with count = [1, 2, 3, 4] for instance."))
    names = [name for name in VARIED if name in section]
    if not names:
        raise InputError(Fault(section.where, "an empty [sweep]", f"one of: {', '.join(VARIED)}", "List what to try."))
    values = {name: list(section.value(name)) for name in names}
    number = int(np.prod([len(v) for v in values.values()]))
    if number > MOST:
        read = f"{number} designs"
        raise InputError(Fault(section.where, read, f"at most {MOST}", "Try fewer values at a time."))
    for name in ("speed", "speed_ratio"):
        if "speed_ratio" in names and name in task.task:
            remedy = "Remove one of the two."
            where = task.task[name].where
            raise InputError(Fault(where, f"{name} beside a sweep of speed_ratio", "one of the two", remedy))
    grid = np.array(list(product(*(range(len(v)) for v in values.values()))))
    places = {name: grid[:, i] for i, name in enumerate(names)}
    varied = {name: _words(section, name) for name in names}
    _each_once(section, names, values, varied)
    entries, speed = _entries(task.filters, values, places)
    found = setup(record, entries, speed, (ROW,))
    findings = list(found.findings)
    crossings = found.crossings()
    near = np.array([max((t for t, falls in own if falls), default=np.nan) for own in crossings])
    for meaning, rows in ((NOWHERE, ~np.isfinite(near)), (SEVERAL_HERE, np.array([len(c) > 1 for c in crossings]))):
        if np.any(rows):
            findings.append(Finding(meaning, _which(varied, places, rows), rows))
    out = found.solved(near)
    quantities, more = _quantities(found, out, coverage, seed, unit or record.heading.value("flow_unit") or "m3/h")
    findings += more
    swept = Swept(found, varied, places, quantities, None, findings)
    swept.gained = _gained(swept, coverage)
    findings += beyond_tested(found.entries, out["velocity"].value)
    if number > DRAWN:
        findings.append(Finding(BANDS_LINEAR, f"{number} designs"))
    return swept


def _entries(
    sections: Sequence[Section], values: dict[str, list[object]], places: dict[str, Array]
) -> tuple[list[Entry], Array | None]:
    """The bank with what varies in its first section, and the speeds."""
    first, *others = sections
    known: dict[str, int] = {}
    records = values.get("filter") or [first.value("filter")]
    for each in records:
        known.setdefault(each.id, len(known))  # type: ignore[attr-defined]
    laws = [filter_law(next(r for r in records if r.id == id_)) for id_ in known]  # type: ignore[attr-defined, arg-type]
    order = np.array([known[r.id] for r in records])[places["filter"]] if "filter" in places else None  # type: ignore[attr-defined]
    chosen = {n: np.asarray(values[n], dtype=float)[places[n]] for n in places if n != "filter"}
    loaded = Estimate(chosen["loaded"], (ROW,)) if "loaded" in chosen else None
    entry = Entry(first, laws, order, chosen.get("count"), chosen.get("gap_width"), loaded)
    return [entry, *(Entry(s, [filter_law(s.value("filter"))]) for s in others)], chosen.get("speed_ratio")


def _words(section: Section, name: str) -> list[str]:
    item = section[name]
    if name == "filter":
        titles = [str(record.heading.value("title")) for record in item.value]
        classes = [str(record.curve.value("class") or title) for record, title in zip(item.value, titles, strict=True)]
        told: list[str] = []
        for words in titles if len(set(classes)) < len(classes) else classes:
            told.append(unused(words, told))  # no two of one name: a row of a table has to say which it is
        return told
    kind = str(getattr(item.field, "kind", ""))
    unit = item.unit or ("%" if kind == "ratio" else "")
    numbers = units.from_si(np.asarray(item.value), unit or "1", kind)
    return [f"{float(x):.4g} {unit}".strip() for x in np.atleast_1d(numbers)]


def _each_once(
    section: Section, names: list[str], values: dict[str, list[object]], varied: dict[str, list[str]]
) -> None:
    """No value is listed twice: the same design would stand there twice, and nothing be gained between the two."""
    faults = []
    for name in names:
        known = [getattr(value, "id", value) for value in values[name]]
        twice = [words for k, words in enumerate(varied[name]) if known[k] in known[:k]]
        if twice:
            where = section[name].where
            faults.append(Fault(where, f"{twice[0]} more than once", "each value once", "Leave out all but one."))
    if faults:
        raise InputError(faults)


def _which(varied: dict[str, list[str]], places: dict[str, Array], rows: Array) -> str:
    at = np.flatnonzero(rows)
    said = [", ".join(varied[name][int(places[name][k])] for name in varied) for k in at[:3]]
    return f"{len(at)} of {len(rows)}: {'; '.join(said)}{'; ...' if len(at) > 3 else ''}"


def _quantities(
    found: Setup, out: dict[str, Estimate], coverage: float, seed: int, unit: str
) -> tuple[dict[str, Quantity], list[Finding]]:
    wanted: dict[str, Estimate] = {name: out[name] for name in ("flow", "pressure", "power") if name in out}
    if found.curve.free_air_inside:
        wanted["share"] = out["share"]
    wanted["velocity"] = one_of(out["velocity"], FILTER, 0)
    held, findings = held_back(found.entries, out, (ROW,))
    conditioned, _ = held_back(found.entries, out, (ROW,), conditioned=True)
    if held is not None:
        wanted |= {"efficiency": held.whole, "clean_air": held.clean}
    if conditioned is not None:
        wanted["clean_air_conditioned"] = conditioned.clean
    drawn = DRAWS if len(out["flow"].value) <= DRAWN else None
    bars = batch_intervals(wanted, coverage, samples=drawn, seed=seed, most=0)
    made = {}
    for name, x in wanted.items():
        made[name] = quantity(name, x, bars[name][0], unit)
        made[name].drawn = bars[name][1]
    return made, findings


def _gained(swept: Swept, coverage: float) -> Quantity | None:
    """Each design against the one with the next lower number of filters, all else alike."""
    if "count" not in swept.varied or len(swept.varied["count"]) < 2:
        return None
    source = swept.quantities.get("clean_air", swept.quantities["flow"])
    counts = swept.setup.entries[0].counts
    others = [swept.places[name] for name in swept.varied if name != "count"]
    keys = list(zip(np.unique(counts, return_inverse=True)[1].tolist(), *(x.tolist() for x in others), strict=True))
    index = {key: k for k, key in enumerate(keys)}
    before = np.array([index.get((rank - 1, *own), -1) for rank, *own in keys])

    # row by row: the engine hands over a part of the rows at a time
    inputs = {
        "x": source.estimate,
        "earlier": source.estimate.take(ROW, np.maximum(before, 0)),
        "known": Estimate(before >= 0, (ROW,)),
    }
    gained = linear(_more, inputs, (ROW,), {"x": (ROW,)})["x"]
    bar = batch_intervals({"x": gained}, coverage, most=0)["x"][0]
    return Quantity("gained", f"gained by more filters: {source.label}", "flow", source.unit, gained, bar)


def _more(*, x: Array, earlier: Array, known: Array) -> dict[str, Array]:
    return {"x": np.where(known > 0, x - earlier, np.nan)}
