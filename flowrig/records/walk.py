"""One walker over the declarations: raw TOML (or a Python mapping) in, checked sections out, every fault collected."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import cast

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records.declare import (
    CALIBRATIONS,
    DESCRIBED,
    Calibration,
    Choice,
    Count,
    Date,
    Described,
    Field,
    File,
    Flag,
    Given,
    Names,
    Pairs,
    Reading,
    Series,
    Statement,
    Table,
    Text,
    Words,
)
from flowrig.records.describe import OPEN, form, line
from flowrig.records.files import is_bare, near_name
from flowrig.records.in_python import is_number
from flowrig.records.items import Item, Section, as_read, path_name
from flowrig.records.quantities import Path_, QuantityReader
from flowrig.records.schema import MEASURED_KIND, MEASURED_STEP, USUAL_ACCURACY
from flowrig.records.words import (
    OF_LIMITS,
    a,
    bounds_in_words,
    opening,
    shown,
)
from flowrig.uncertainty.statement import Component

# Categories of Unicode: controls, marks such as those that turn the direction of writing, halves of signs.
HIDDEN = {"Cc", "Cf", "Cs"}
JOINERS = "\u200c\u200d"  # of which some letters and signs are made
LONGEST, LONGEST_NAME = 2000, 120  # letters
SHORT = 24  # readings of a field that are remembered as they were written
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass
class Walker(QuantityReader):
    """Reads sections against their declarations.

    Attributes
    ----------
    sections : list of Section
        All that were read, in their order.
    """

    sections: list[Section] = field(default_factory=list)

    def section(self, table: Table, raw: object, path: Path_, given: Mapping[str, Item] | None = None) -> Section:
        """Read one table.

        Parameters
        ----------
        given : mapping of str to Item, optional
            Fields that were read elsewhere, from a column of a log.
        """
        section = Section(table, path, self.where(*path), dict(given or {}))
        self.sections.append(section)
        if not isinstance(raw, Mapping):
            read, remedy = shown(raw), "Write its fields on lines of their own below it."
            if isinstance(raw, list) and raw and all(isinstance(one, Mapping) for one in raw):
                read, remedy = f"[[{path_name(path)}]], in double brackets", "Write it once, in single brackets."
            self.miss(path, read, f"a table [{path_name(path)}]", remedy)
            self.spoiled |= {path_name((*path, f.name)) for f in table.fields}  # what is not there is said once
            return section
        known = {f.name: f for f in table.fields}
        for key in raw:
            if key not in known:
                self._unknown(key, raw, known, path)
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
                if item is None:
                    self.spoiled.add(path_name((*path, name)))
                else:
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

    def complete(self, section: Section, elsewhere: Collection[str] = ()) -> None:
        """What must be there is there, alternatives are met once, and the fields agree with one another.

        Parameters
        ----------
        elsewhere : collection of str
            Fields that are not looked for here: what keeps them away is said where they are read.
        """
        start = len(self.faults)
        spoiled = {f.name for f in section.table.fields if self.is_spoiled(*section.path, f.name)}
        broken = spoiled.union(name for name in elsewhere if name not in section)
        for declared in section.table.fields:
            if declared.required and declared.name not in section and declared.name not in broken:
                self._absent(section, declared)
        for choice in section.table.alternatives:
            present = [names for names in choice.sets if any(n in section for n in names)]
            words = " or ".join(" with ".join(names) for names in choice.sets)
            if len(present) > 1:
                read = " and ".join(n for names in present for n in names if n in section)
                self.faults.append(Fault(section.where, read, f"only one of: {words}", "Remove the others."))
            elif any(n in broken for names in choice.sets for n in names):
                continue  # said already; which of them was meant is not known
            elif present:
                for name in present[0]:
                    if name not in section:
                        self._absent(section, section.table.field(name), f"{' with '.join(present[0])}")
            elif choice.required:
                none = "neither " + " nor ".join(" with ".join(names) for names in choice.sets)
                first = line(section.table.field(choice.sets[0][0]))
                self.faults.append(Fault(section.where, none, words, f"Add {first}, for instance."))
        if spoiled or len(self.faults) > start:
            return  # a check of fields against one another needs all of them
        for check in section.table.checks:
            for wrong in check(section):
                item = section.items.get(wrong.field)
                read = f"no {wrong.field}" if item is None or item.assumed else as_read(item)
                place = section.where if item is None or not item.where else item.where
                self.faults.append(Fault(place, read, wrong.expected, wrong.remedy))

    def _absent(self, section: Section, declared: Field, expected: str = "") -> None:
        help_ = form(declared) if isinstance(declared, Choice) else opening(declared.help)
        written = line(declared, section.value("measures"))
        remedy = f"Add {written}" if written.endswith(OPEN) else f"Add {written}, for instance."
        self.faults.append(Fault(section.where, f"no {declared.name}", expected or f"{declared.name}, {help_}", remedy))

    def _unknown(self, key: str, raw: Mapping[str, object], known: Mapping[str, Field], path: Path_) -> None:
        near = near_name(key, [name for name in known if name not in raw])
        if near:
            self.spoiled.add(path_name((*path, near)))  # it is missing because it stands here under another name
        remedy = "Remove the line, or check in which table it belongs."
        there = near_name(key, list(known))
        if near:
            remedy = f"Did you mean {near}?"
        elif there:
            remedy = f"Did you mean {there}? It stands here already: remove one of the two."
        self.fault((*path, key), key, f"one of: {', '.join(known)}", remedy)

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
            case Series():
                return self._series(declared, raw, path)
            case Choice():
                return self._choice(declared, raw, path)
            case Names():
                names = [raw] if isinstance(raw, str) else raw
                if not isinstance(names, list) or not names or not all(isinstance(n, str) for n in names):
                    self.fault(path, raw, f"names of [{declared.table}.…] tables", f"Write {line(declared)}.")
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
                    usual = USUAL_ACCURACY.get(measured, "0.5 % of reading")
                    said = f'words of a datasheet or certificate, such as "{usual}"'
                    self.fault(path, raw, said, "Write number, unit and words between quotes.")
                    return None
                return Item(declared, tuple(texts), self.where(*path))
            case Words():
                if not isinstance(raw, list) or not all(w in declared.choices for w in raw):
                    self.fault(path, raw, f"a list of: {', '.join(declared.choices)}", "Check the spelling.")
                    return None
                return Item(declared, list(raw), self.where(*path))
            case Pairs():
                if isinstance(raw, str) and declared.alone:
                    return Item(declared, raw, self.where(*path))
                if not isinstance(raw, Mapping):
                    usual = line(declared) if declared.example else f'{declared.name} = "{OPEN}", a name in quotes'
                    self.fault(path, raw, form(declared), f"Write {usual}.")
                    return None
                odd = {key: value for key, value in raw.items() if not isinstance(value, str)}
                for key, value in odd.items():
                    self.fault((*path, key), value, "a name in quotes", "Put the name between double quotes.")
                if odd:
                    return None
                return Item(declared, dict(raw), self.where(*path))
            case Calibration() | Described():
                return self._elsewhere(declared, raw, path)
            case Count():
                said = f"a whole number from {declared.low} to {declared.high}"
                if isinstance(raw, bool) or not isinstance(raw, int):
                    self.fault(path, raw, said, "Write digits alone, without quotes, unit or decimal point.")
                    return None
                if not declared.low <= raw <= declared.high:
                    self.fault(path, raw, said, "Correct the number.")
                    return None
                return Item(declared, raw, self.where(*path))
        return self._plain(declared, raw, path)

    def _elsewhere(self, declared: Calibration | Described, raw: object, path: Path_) -> Item | None:
        """Files of their own; a mapping or a path may stand in a Python record."""
        several = isinstance(declared, Described) and declared.several
        sort, folder = "calibration file", CALIBRATIONS
        if isinstance(declared, Described):
            sort, folder = "record", DESCRIBED[declared.table].shelf
        for one in raw if several and isinstance(raw, list) else [raw]:
            if not isinstance(one, (str, Mapping, os.PathLike)) or (several and not isinstance(raw, list)):
                self.fault(path, raw, form(declared), f"Write {line(declared)}.")
                return None
            if isinstance(one, str) and not is_bare(one):
                remedy = f"Put the file beside the record or into a folder {folder}, and write its name alone."
                self.fault(path, raw, f"the name of a {sort}, without a folder", remedy)
                return None
        return Item(declared, raw, self.where(*path))

    def _plain(self, declared: Field, raw: object, path: Path_) -> Item | None:
        wanted: dict[type[Field], tuple[type, str, str]] = {
            Flag: (bool, "true or false", "Write it without quotes."),
            Text: (str, "words in quotes", "Put the words between double quotes."),
            File: (str, "the name of a file beside the record", "Put the name between double quotes."),
            Date: (dt.date, "a date", "Write it as year-month-day: 2026-08-21."),
        }
        type_, expected, remedy = wanted[type(declared)]
        if type_ is dt.date and isinstance(raw, str) and _ISO_DATE.fullmatch(raw.strip()):
            with contextlib.suppress(ValueError):  # 2026-02-30 is told below
                raw = dt.date.fromisoformat(raw.strip())
        if not isinstance(raw, type_):
            if type_ is dt.date and isinstance(raw, str):
                remedy = f"Write it without quotes, as year-month-day: {path[-1]} = 2026-08-21."
            self.fault(path, raw, expected, remedy)
            return None
        if isinstance(raw, dt.datetime):
            raw = raw.date()
        if isinstance(declared, Text) and not self._readable(str(raw), path):
            return None
        return Item(declared, raw, self.where(*path))

    def _readable(self, text: str, path: Path_) -> bool:
        """Whether words can be seen, and set in a line: what cannot would reach terminals, figures and pages."""
        hidden = sorted({c for c in text if (unicodedata.category(c) in HIDDEN and c not in f"\n\t{JOINERS}")})
        most = LONGEST_NAME if path[-1] == "name" else LONGEST
        if hidden:
            read = f"{shown(text)[:60]}, with {', '.join(f'U+{ord(c):04X}' for c in hidden)}"
            self.miss(path, read, "words without signs that cannot be seen", "Type it anew.")
        elif text and not text.strip():
            self.miss(path, "blanks alone", "words", "Write them, or remove the line.")
        elif len(text) > most:
            self.miss(path, f"{len(text)} letters", f"{most} letters at most", "Shorten it; notes may be longer.")
        return not self.is_spoiled(*path)

    def _choice(self, declared: Choice, raw: object, path: Path_) -> Item | None:
        if isinstance(raw, str) and raw in declared.choices:
            return Item(declared, raw, self.where(*path))
        near = near_name(raw, list(declared.choices)) if isinstance(raw, str) else None
        remedy = f'Did you mean "{near}"?' if near else "Choose one of them, in quotes."
        self.fault(path, raw, form(declared), remedy)
        return None

    def _given(self, declared: Given, raw: object, path: Path_, kind: str) -> Item | None:
        read = self.quantity(raw, kind, path, declared.example if kind == declared.kind else "")
        if read is None:
            return None
        value, unit, components = read
        if not value > declared.above or not declared.low <= value <= declared.high:
            self.fault(path, raw, bounds_in_words(declared, kind, unit), "Check the value and its unit.")
            return None
        if declared.limits != "may" and bool(components) != (declared.limits == "must"):
            said, remedy = OF_LIMITS[declared.limits]
            self.fault(path, raw, f"{a(kind)} {said}", remedy)
            return None
        lowest = min((value - float(c.half_width(value)) for c in components), default=value)
        if not lowest > declared.above or lowest < declared.low:
            said = f"{bounds_in_words(declared, kind, unit)}, the lower end of its ± too"
            self.fault(path, raw, said, "Check the value, the ± and their units.")
            return None
        text = raw if isinstance(raw, str) else repr(raw) if is_number(raw) else ""
        return Item(declared, value, self.where(*path), unit=unit, text=text, components=components)

    def _series(self, declared: Series, raw: object, path: Path_) -> Item | None:
        texts = raw if isinstance(raw, list) else [raw]
        if len(texts) < max(declared.least, 1):
            said = (
                f"{a(declared.kind)}, or a list"
                if declared.least == 1
                else f"a list of at least {declared.least} values"
            )
            self.fault(path, raw, said, f"Write {line(declared)}.")
            return None
        values: list[float] = []
        unit = ""
        for i, text in enumerate(texts):
            place = (*path, i) if isinstance(raw, list) else path
            read = self.quantity(
                text, declared.kind, place, "" if declared.example.startswith("[") else declared.example
            )
            if read is None:
                continue
            value, unit, components = read
            if components:
                self.fault(place, text, f"{a(declared.kind)} without a ±", "Its error is stated elsewhere.")
            elif not declared.low <= value <= declared.high:
                self.fault(place, text, bounds_in_words(declared, declared.kind, unit), "Check the value and its unit.")
            else:
                values.append(value)
        return Item(declared, np.array(values), self.where(*path), unit=unit) if len(values) == len(texts) else None

    def _reading(self, declared: Reading, raw: object, path: Path_, kind: str) -> Item | None:
        """One value, a list of values, or `{ values = [..], unit = ".." }`."""
        texts: list[object]
        if isinstance(raw, Mapping):
            unit, values = raw.get("unit"), raw.get("values")
            if set(raw) != {"unit", "values"} or not isinstance(unit, str) or not isinstance(values, list):
                usual = f'Write {{ values = [{OPEN}, {OPEN}], unit = "{units.default_display(kind)}" }}.'
                self.fault(path, raw, "values, a list of numbers, and their unit", usual)
                return None
            texts = [f"{v!r} {unit}" if is_number(v) else v for v in values]
        else:
            texts = raw if isinstance(raw, list) else [raw]
        if len(texts) == 1 and np.ndim(getattr(raw, "magnitude", 0.0)):
            texts = list(iter(cast("Iterable[object]", raw)))  # a pint quantity that holds an array
        if not texts:
            self.fault(path, raw, "at least one reading", "Write the readings, or remove the line.")
            return None
        if len(texts) > 1 and not units.bare(kind) and all(map(is_number, texts)):
            remedy = (
                f'Write {{ values = {shown(raw)}, unit = "{units.default_display(kind)}" }}, whichever the unit is.'
            )
            if all(isinstance(v, int) for v in texts):
                remedy += " A comma parts two values: 23,4 is 23 and 4, where 23.4 is one value."
            self.fault(path, raw, f"{a(kind)} with its unit, or several", remedy)
            return None
        values_si: list[float] = []
        unit_shown = ""
        stated: set[tuple[Component, ...]] = set()
        for i, text in enumerate(texts):
            place = (*path, i) if isinstance(raw, (list, Mapping)) else path
            read = self.quantity(text, kind, place, declared.example if kind == declared.kind else "")
            if read is None:
                continue
            value, unit_shown, components = read
            stated.add(components)
            if declared.low <= value <= declared.high:
                values_si.append(value)
            else:
                said = bounds_in_words(declared, kind, unit_shown)
                self.fault(place, text, said, "Check the value and its unit.")
        if len(values_si) < len(texts):
            return None
        if len(stated) > 1:
            self.fault(
                path, raw, "the same ± beside each of the readings, or beside none", "Write it with all of them."
            )
            return None
        [components] = stated
        run = path_name(path) if len(values_si) > 1 else ""
        text = ", ".join(str(t) for t in texts) if len(texts) <= SHORT and not isinstance(raw, Mapping) else ""
        where = self.where(*path)
        return Item(declared, np.array(values_si), where, unit=unit_shown, components=components, run=run, text=text)
