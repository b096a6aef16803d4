"""Everything that is declared, found by the names people know it by."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from flowrig import units
from flowrig.methods import NAMES, air, find_method, leakage, reference_density
from flowrig.methods import flags as run_flags
from flowrig.methods.method import Method
from flowrig.records import (
    beside,
    calibration,
    describe,
    fan_facts,
    filter_facts,
    flow_reader,
    formulas,
    parts,
    plan_facts,
    points,
    schema,
    tables,
    unit_facts,
)
from flowrig.records import flags as reading_flags
from flowrig.records.causes import CAUSES
from flowrig.records.declare import Field, FlagMeaning, Table
from flowrig.report import glossary_numbers
from flowrig.report.glossary import WORDS
from flowrig.studies import (
    beside_reading,
    claims,
    clean_air_flow,
    clean_air_rate,
    cleaner,
    cleaner_source,
    compare,
    decay,
    efficiency,
    electrical,
    equal_noise,
    fan_curve,
    filter_law,
    heat,
    invent,
    left_out,
    life,
    loading,
    operating_point,
    option_flags,
    own_flags,
    particle_flags,
    rates,
    room_decay_flags,
    room_effect,
    room_flags,
    scrutiny,
    size_classes,
    sound_flags,
    sweep,
    verify,
)

SORTS = {
    "method": "Methods",
    "table": "Tables of a record or a calibration",
    "field": "Fields",
    "flag": "Flags",
    "cause": "Causes of error",
    "unit kind": "Kinds of unit",
    "word": "Words of a result",
}


@dataclass
class Topic:
    """One declaration.

    Attributes
    ----------
    sort : str
        Key of `SORTS`.
    name : str
    line : str
        What it is, in a line.
    declared : Method, Table, Field, FlagMeaning, Effect, CauseMeaning or str
    owners : list of str
        Methods and tables it belongs to; empty where it belongs to all.
    other_names : list of str
    """

    sort: str
    name: str
    line: str
    declared: Any
    owners: list[str] = field(default_factory=list)
    other_names: list[str] = field(default_factory=list)

    @property
    def keys(self) -> set[str]:
        names = [self.name, *self.other_names, *(f"{owner}.{self.name}" for owner in self.owners)]
        return {folded(name) for name in names}


def folded(name: str) -> str:
    """Names without regard to case, hyphens and underscores."""
    return " ".join(re.sub(r"[-_\s]+", " ", name).casefold().split())


def methods() -> Iterator[Method]:
    """Every method, in the order of their names' table."""
    return (find_method(name) for name in NAMES)


def record_tables() -> list[Table]:
    """Every table of a record: those all records share, then the methods' hardware."""
    shared = (
        schema.HEADING,
        schema.AIR,
        schema.INSTRUMENT,
        schema.CHAMBERS,
        schema.FLOW,
        unit_facts.CLAIMS,
        points.CALIBRATION,
        plan_facts.PLAN,
        fan_facts.FAN,
        filter_facts.FILTER,
        *parts.TABLES.values(),
    )
    return list(dict.fromkeys((*shared, *(table for method in methods() for table in method.hardware))))


@cache
def topics() -> tuple[Topic, ...]:
    """Every topic, sort by sort."""
    return (*_methods(), *_tables(), *_fields(), *_flags(), *_causes(), *_kinds(), *_words())


def _methods() -> Iterator[Topic]:
    for method in methods():
        yield Topic("method", method.name, method.title, method, other_names=[method.title])


def _tables() -> Iterator[Topic]:
    for table in (*record_tables(), *formulas.tables()):
        yield Topic("table", describe.table_name(table), table.help, table)


def _fields() -> Iterator[Topic]:
    """A field that several methods share is one topic."""
    tables_ = (*record_tables(), *formulas.tables())
    owned = [(describe.table_name(table), f) for table in tables_ for f in table.fields]
    owned += [(method.name, f) for method in methods() for f in method.fields]
    found: dict[Field, Topic] = {}
    for owner, declared in owned:
        topic = found.setdefault(declared, Topic("field", declared.name, declared.help, declared))
        topic.owners.append(owner)
    yield from found.values()


def _flags() -> Iterator[Topic]:
    """Flags of any record first, then those of the methods."""
    found: dict[FlagMeaning, Topic] = {}
    for meaning in (
        *reading_flags.FLAGS,
        *tables.FLAGS,
        *beside.FLAGS,
        *flow_reader.FLAGS,
        *calibration.FLAGS,
        *air.FLAGS,
        *reference_density.FLAGS,
        *leakage.FLAGS,
        *run_flags.FLAGS,
        *compare.FLAGS,
        *points.FLAGS,
        *scrutiny.FLAGS,
        *verify.FLAGS,
        *decay.FLAGS,
        *claims.FLAGS,
        *invent.FLAGS,
        *fan_curve.FLAGS,
        *filter_law.FLAGS,
        *cleaner.FLAGS,
        *cleaner_source.FLAGS,
        *efficiency.FLAGS,
        *equal_noise.FLAGS,
        *beside_reading.FLAGS,
        *electrical.FLAGS,
        *sound_flags.FLAGS,
        *operating_point.FLAGS,
        *room_decay_flags.FLAGS,
        *room_effect.FLAGS,
        *sweep.FLAGS,
        *loading.FLAGS,
        *life.FLAGS,
        *heat.FLAGS,
        *rates.FLAGS,
        *option_flags.FLAGS,
        *own_flags.FLAGS,
        *left_out.FLAGS,
        *room_flags.FLAGS,
        *clean_air_flow.FLAGS,
        *clean_air_rate.FLAGS,
        *size_classes.FLAGS,
        *particle_flags.FLAGS,
    ):
        found[meaning] = Topic("flag", meaning.code, meaning.meaning, meaning)
    for method in methods():
        for meaning in method.flags:
            found.setdefault(meaning, Topic("flag", meaning.code, meaning.meaning, meaning)).owners.append(method.name)
    yield from found.values()


def _causes() -> Iterator[Topic]:
    for cause in (*CAUSES, *air.CAUSES, *particle_flags.CAUSES, *room_decay_flags.CAUSES):
        yield Topic("cause", cause.name, cause.meaning, cause, other_names=[cause.label] if cause.label else [])
    found: dict[str, Topic] = {}
    for method in methods():
        for effect in method.effects:
            topic = Topic("cause", effect.label, effect.help, effect, other_names=[effect.id])
            found.setdefault(effect.id, topic).owners.append(method.name)
    yield from found.values()


def _kinds() -> Iterator[Topic]:
    for kind in units.KINDS:
        yield Topic("unit kind", kind, describe.unit_words(kind), kind)


def _words() -> Iterator[Topic]:
    for word in (*WORDS, *glossary_numbers.WORDS):
        yield Topic("word", word.name, word.meaning, word, other_names=list(word.others))


def find(name: str) -> list[Topic]:
    """Topics of a name: exactly, as a path in a record, as the end of a budget's line, as a unit, or as a number of a
    report that says more behind its name: of which size, which place, which air."""
    wanted = folded(name)
    exact = [topic for topic in topics() if wanted in topic.keys]
    if exact:
        return exact
    return _path(wanted) or _budget_line(wanted) or _unit(name) or _number(wanted)


def _path(wanted: str) -> list[Topic]:
    """air.meter.temperature, nozzles.A.diameter, flow[1].drop: what stands between is known to the record alone."""
    first, *between = re.sub(r"\[\d+\]", "", wanted).split(".")
    if not between:
        return []
    last = between[-1]
    if first == "flow":
        return [t for t in topics() if t.sort == "field" and folded(t.name) == last]
    return [t for t in topics() if f"{first}.{last}" in t.keys]


def _unit(name: str) -> list[Topic]:
    return [t for t in topics() if t.sort == "unit kind" and t.name in units.kinds_of(name)]


def _budget_line(wanted: str) -> list[Topic]:
    """A budget says "manometer (DM-0417) zero drift", "scatter of drop", "diameter of A"."""
    words = f" {wanted.replace(',', '')} "
    generic = [t for t in topics() if t.sort == "cause" and not t.owners]
    said = {key: t for t in generic for key in t.keys if f" {key} " in words}
    if said:
        return [said[max(said, key=len)]]
    first = wanted.partition(" of ")
    return [t for t in topics() if t.sort == "field" and folded(t.name) == first[0]] if first[1] else []


# What may stand behind the name of a number: "bypass, 0.3 to 0.5 um", "actual flow through the unit", "level_at_1"
_BEHIND = "[0-9(]|at |of |from |up to |per |by |over |through |re |in |does |meter|unit|room"
_MORE = re.compile(rf",| ?\[| ?:| (?:{_BEHIND})")


def _number(wanted: str) -> list[Topic]:
    said = {key: t for t in topics() if t.sort == "word" for key in t.keys if wanted.startswith(key)}
    fits = [key for key in said if _MORE.match(wanted[len(key) :])]
    if fits:
        return [said[max(fits, key=len)]]
    title = wanted.rpartition(": ")[2]  # a measurement by its own name, and the title of its method
    return [t for t in topics() if t.sort == "method" and title != wanted and title in t.keys]
