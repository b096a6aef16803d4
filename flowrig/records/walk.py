"""One walker over the declarations: raw TOML (or a Python mapping) in, checked sections out, every fault collected."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records.declare import (
    Choice,
    Count,
    Date,
    Field,
    File,
    Flag,
    Given,
    Names,
    Pairs,
    Reading,
    Statement,
    Table,
    Text,
    Words,
)
from flowrig.records.items import Item, Section, as_written, path_name
from flowrig.records.schema import MEASURED_KIND, MEASURED_STEP
from flowrig.uncertainty.statement import Component, parse_value

Path_ = tuple[str | int, ...]


@dataclass
class Walker:
    """Reads sections against their declarations.

    Attributes
    ----------
    where : callable
        Path of keys to the words that name the place in the file.
    faults : list of Fault
        Everything found wrong so far.
    spoiled : set of str
        Paths of fields whose absence has been explained already, by a fault of the file they stand in.
    """

    where: Callable[..., str]
    faults: list[Fault] = field(default_factory=list)
    spoiled: set[str] = field(default_factory=set)

    def fault(self, path: Path_, read: object, expected: str, remedy: str) -> None:
        shown = read if isinstance(read, str) and read in ("nothing", "a table", "a list") else repr(read)
        self.faults.append(Fault(self.where(*path), str(shown)[:200], expected, remedy))

    def section(self, table: Table, raw: object, path: Path_, given: Mapping[str, Item] | None = None) -> Section:
        """Read one table.

        Parameters
        ----------
        given : mapping of str to Item, optional
            Fields that were read elsewhere, from a column of a log.
        """
        section = Section(table, path, self.where(*path), dict(given or {}))
        if not isinstance(raw, Mapping):
            self.fault(path, raw, f"a table [{path_name(path)}]", "Write its fields on lines of their own below it.")
            return section
        known = {f.name: f for f in table.fields}
        for key in raw:
            if key not in known:
                self._unknown(key, known, path)
        kind = raw.get("measures")
        for name, declared in known.items():
            if name in section:
                if name in raw:
                    self.fault(
                        (*path, name),
                        raw[name],
                        "either a value here or a column of the log, not both",
                        "Remove one of the two.",
                    )
                continue
            if name in raw:
                item = self._item(declared, raw[name], (*path, name), kind if isinstance(kind, str) else "")
                if item is not None:
                    item.path = path_name((*path, name))
                    section.items[name] = item
            elif isinstance(declared, Given) and declared.default:
                item = self._item(declared, declared.default, (*path, name), "")
                if item is not None:
                    item.assumed, item.path = True, path_name((*path, name))
                    section.items[name] = item
            elif isinstance(declared, Choice) and not declared.required:
                section.items[name] = Item(declared, declared.choices[0], section.where, assumed=True)
        return section

    def complete(self, section: Section) -> None:
        """What must be there is there, alternatives are met once, and the fields agree with one another."""
        start = len(self.faults)
        places = {f.where for f in self.faults}
        broken = {
            f.name
            for f in section.table.fields
            if self.where(*section.path, f.name) in places or path_name((*section.path, f.name)) in self.spoiled
        }
        for declared in section.table.fields:
            if declared.required and declared.name not in section and declared.name not in broken:
                self.faults.append(
                    Fault(
                        section.where,
                        f"no {declared.name!r}",
                        declared.help.rstrip("."),
                        f"Add {declared.name} = {declared.example or '...'}",
                    )
                )
        for choice in section.table.alternatives:
            present = [names for names in choice.sets if any(n in section for n in names)]
            words = " or ".join(" with ".join(names) for names in choice.sets)
            if len(present) > 1:
                self.faults.append(
                    Fault(
                        section.where,
                        " and ".join(n for names in present for n in names if n in section),
                        f"only one of: {words}",
                        "Remove the others.",
                    )
                )
            elif not present and choice.required:
                if not any(n in broken for names in choice.sets for n in names):
                    none = "neither " + " nor ".join(" with ".join(names) for names in choice.sets)
                    self.faults.append(Fault(section.where, none, words, f"Add {choice.sets[0][0]} = ..."))
            elif present:
                for name in present[0]:
                    if name not in section and name not in broken:
                        self.faults.append(
                            Fault(section.where, f"no {name!r}", f"{' with '.join(present[0])}", f"Add {name} = ...")
                        )
        if len(self.faults) > start:
            return
        for check in section.table.checks:
            for wrong in check(section):
                item = section.items.get(wrong.field)
                read = f"no {wrong.field!r}" if item is None else as_written(item)
                place = section.where if item is None or not item.where else item.where
                self.faults.append(Fault(place, read, wrong.expected, wrong.remedy))

    def _unknown(self, key: str, known: Mapping[str, Field], path: Path_) -> None:
        near = difflib.get_close_matches(key, known, n=1, cutoff=0.6)
        names = ", ".join(known)
        self.fault(
            (*path, key),
            key,
            f"one of: {names}",
            f"Did you mean {near[0]}?" if near else "Remove the line, or check in which table it belongs.",
        )

    def _item(self, declared: Field, raw: object, path: Path_, measured: str) -> Item | None:
        kind = getattr(declared, "kind", "")
        if kind in (MEASURED_KIND, MEASURED_STEP):
            if measured not in units.KINDS:
                return None  # the unreadable `measures` is a fault of its own
            kind = measured if kind == MEASURED_KIND else units.as_difference(measured)
        match declared:
            case Reading():
                return self._reading(declared, raw, path, kind)
            case Given():
                return self._given(declared, raw, path, kind)
            case Choice():
                return self._choice(declared, raw, path)
            case Names():
                names = [raw] if isinstance(raw, str) else raw
                if not isinstance(names, list) or not names or not all(isinstance(n, str) for n in names):
                    self.fault(path, raw, f"names of [{declared.table}.…] tables", f"Write {declared.example or '...'}")
                    return None
                if len(names) > 1 and not declared.axis:
                    self.fault(path, raw, "one name", "Name only one.")
                    return None
                if len(set(names)) < len(names):
                    self.fault(path, raw, "each name once", "Remove the repeated name.")
                    return None
                return Item(declared, list(names), self.where(*path))
            case Statement():
                texts = raw if isinstance(raw, list) else [raw]
                if not all(isinstance(text, str) for text in texts) or not texts:
                    self.fault(path, raw, 'words such as "0.5 % of reading + 0.25 Pa"', "Put them in quotes.")
                    return None
                return Item(declared, tuple(texts), self.where(*path))
            case Words():
                if not isinstance(raw, list) or not all(w in declared.choices for w in raw):
                    self.fault(path, raw, f"a list of: {', '.join(declared.choices)}", "Check the spelling.")
                    return None
                return Item(declared, list(raw), self.where(*path))
            case Pairs():
                if not isinstance(raw, str) and not (
                    isinstance(raw, Mapping) and all(isinstance(v, str) for v in raw.values())
                ):
                    self.fault(path, raw, "a name, or a table of field = name", f"Write {declared.example or '...'}")
                    return None
                return Item(declared, raw if isinstance(raw, str) else dict(raw), self.where(*path))
            case Count():
                if isinstance(raw, bool) or not isinstance(raw, int) or not declared.low <= raw <= declared.high:
                    self.fault(
                        path,
                        raw,
                        f"a whole number from {declared.low} to {declared.high}",
                        "Write it without quotes or unit.",
                    )
                    return None
                return Item(declared, raw, self.where(*path))
        return self._plain(declared, raw, path)

    def _plain(self, declared: Field, raw: object, path: Path_) -> Item | None:
        wanted: dict[type[Field], tuple[type, str, str]] = {
            Flag: (bool, "true or false", "Write it without quotes."),
            Text: (str, "words in quotes", "Put the words between double quotes."),
            File: (str, "the name of a file beside the record", "Put the name between double quotes."),
            Date: (dt.date, "a date", "Write it as 2026-08-21, without quotes."),
        }
        type_, expected, remedy = wanted[type(declared)]
        if not isinstance(raw, type_):
            self.fault(path, raw, expected, remedy)
            return None
        if isinstance(raw, dt.datetime):
            raw = raw.date()
        return Item(declared, raw, self.where(*path))

    def _choice(self, declared: Choice, raw: object, path: Path_) -> Item | None:
        if raw in declared.choices:
            return Item(declared, raw, self.where(*path))
        near = difflib.get_close_matches(str(raw), declared.choices, n=1, cutoff=0.5)
        self.fault(
            path, raw, f"one of: {', '.join(declared.choices)}", f"Did you mean {near[0]!r}?" if near else "Choose one."
        )
        return None

    def _given(self, declared: Given, raw: object, path: Path_, kind: str) -> Item | None:
        read = self.quantity(raw, kind, path, declared.example)
        if read is None:
            return None
        value, unit, components = read
        if not value > declared.above or not declared.low <= value <= declared.high:
            self.fault(path, raw, bounds_in_words(declared, kind, unit), "Check the value and its unit.")
            return None
        return Item(declared, value, self.where(*path), unit=unit, components=components)

    def _reading(self, declared: Reading, raw: object, path: Path_, kind: str) -> Item | None:
        """One value, a list of values, or `{ values = [..], unit = ".." }`."""
        texts: list[object]
        if isinstance(raw, Mapping):
            unit, values = raw.get("unit"), raw.get("values")
            if set(raw) != {"unit", "values"} or not isinstance(unit, str) or not isinstance(values, list):
                self.fault(path, dict(raw), "values and their unit", 'Write { values = [250.1, 249.8], unit = "Pa" }')
                return None
            texts = [f"{v!r} {unit}" if isinstance(v, (int, float)) else v for v in values]
        else:
            texts = raw if isinstance(raw, list) else [raw]
        many = isinstance(raw, (list, Mapping))
        if not texts:
            self.fault(path, raw, "at least one reading", "Write the readings, or remove the line.")
            return None
        values_si: list[float] = []
        unit_shown = ""
        components: tuple[Component, ...] = ()
        for i, text in enumerate(texts):
            read = self.quantity(text, kind, (*path, i) if many else path, declared.example)
            if read is None:
                continue
            value, unit_shown, components = read
            if not declared.low <= value <= declared.high:
                self.fault(
                    (*path, i) if many else path,
                    text,
                    bounds_in_words(declared, kind, unit_shown),
                    "Check the value and its unit.",
                )
                continue
            values_si.append(value)
        if len(values_si) < len(texts):
            return None
        run = path_name(path) if len(values_si) > 1 else ""
        return Item(declared, np.array(values_si), self.where(*path), unit=unit_shown, components=components, run=run)

    def quantity(
        self, raw: object, kind: str, path: Path_, example: str
    ) -> tuple[float, str, tuple[Component, ...]] | None:
        """Value in SI, spelling of its unit, and the ± beside it."""
        shape = f"a {kind}, such as {example or repr('1 ' + units.accepted(kind)[0])}"
        if hasattr(raw, "m_as"):
            try:
                return float(units.magnitude(raw, kind)), units.default_display(kind), ()
            except ValueError as error:
                self.fault(path, raw, shape, str(error))
                return None
        if isinstance(raw, (int, float)) and not isinstance(raw, bool):
            if kind in ("ratio", "count"):
                if math.isfinite(raw):
                    return float(raw), "", ()
                self.fault(path, raw, shape, "Write a number.")
                return None
            some = ", ".join(units.accepted(kind)[:8])
            self.fault(path, raw, shape, f"A bare number does not say its unit: write it in quotes with one of {some}.")
            return None
        if not isinstance(raw, str):
            self.fault(path, raw, shape, "Write number and unit in quotes.")
            return None

        def read(text: str) -> float:
            return units.read(text, kind)

        def convert(number: float, unit: str) -> float:
            return float(units.to_si(number, unit, units.as_difference(kind)))

        try:
            value, components = parse_value(raw, read, convert)
        except ValueError as error:
            self.fault(path, raw, shape, str(error))
            return None
        head = raw.replace("+/-", "±").split("±")[0].split("(")[0].strip()
        try:
            unit = units.split(head)[1]
        except ValueError:
            unit = ""
        return value, unit, components


def written(raw: Any) -> Any:
    """A record without what was left blank: a line that holds ``""``, or a list of nothing else, is not written."""
    if isinstance(raw, Mapping):
        return {key: written(value) for key, value in raw.items() if not _blank(value)}
    return [written(value) for value in raw] if isinstance(raw, list) else raw


def _blank(value: object) -> bool:
    return (isinstance(value, str) and not value) or (
        isinstance(value, list) and bool(value) and all(isinstance(v, str) and not v for v in value)
    )


def bounds_in_words(declared: Reading | Given, kind: str, unit: str) -> str:
    def show(value: float) -> str:
        if unit:
            return f"{float(units.from_si(value, unit, kind)):.4g} {unit}"
        return f"{value:.4g} {units.KINDS[kind] if units.KINDS[kind] != '1' else ''}".strip()

    words = []
    above = getattr(declared, "above", -math.inf)
    if above > -math.inf:
        words.append(f"above {show(above)}")
    if declared.low > -math.inf:
        words.append(f"at least {show(declared.low)}")
    if declared.high < math.inf:
        words.append(f"at most {show(declared.high)}")
    return f"a {kind} " + " and ".join(words)
