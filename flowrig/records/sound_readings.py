"""The readings of a sound measurement: each by its place and its band, from the record or from a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig.errors import Fault
from flowrig.physics.weighting import band_frequency
from flowrig.records import tables
from flowrig.records.csv_text import Table as Csv
from flowrig.records.declare import Reading
from flowrig.records.files import quoted
from flowrig.records.items import Array, Item, Section
from flowrig.records.part import Part, PartReader
from flowrig.records.sound_facts import ELSEWHERE, SOUND
from flowrig.records.words import folded

READ = ("level", "background")
PLACE = Reading("place", "number of the place of the microphone", kind="count", low=1.0, high=1000.0)
FREQUENCY = Reading("frequency", "middle frequency of the band", kind="frequency", low=10.0, high=20e3)
WIDE = 0.0  # stands for the frequency of a level that is of no band


@dataclass
class Cells:
    """Readings of one field, sorted by place and band.

    Attributes
    ----------
    places : array, shape (p,)
    bands : array, shape (b,)
        Nominal middle frequencies, rising; a single 0 for levels of no band.
    rows : list of list of array of int
        ``rows[p][b]``: which readings of the item belong there, in the order they were taken.
    """

    places: Array
    bands: Array
    rows: list[list[Any]]


@dataclass
class Sound:
    """A sound measurement as read.

    Attributes
    ----------
    section : Section
        The table [sound]; its readings are those of the table of readings where there is one.
    cells : dict of str to Cells
        ``level`` and, where it was read, ``background``.
    elsewhere : list of Section
        The tables [[sound_at]].
    """

    section: Section
    cells: dict[str, Cells] = field(default_factory=dict)
    elsewhere: list[Section] = field(default_factory=list)

    @property
    def sections(self) -> list[Section]:
        return [self.section, *self.elsewhere]


def _read(reader: PartReader) -> Sound:
    raw = reader.data["sound"]
    before = len(reader.faults)
    given: dict[str, Item] = {}
    at: dict[str, tuple[Array, Array]] = {}
    name = raw.get("readings") if isinstance(raw, Mapping) else None
    if isinstance(name, str):
        table = reader.beside.table(name, reader.walker.where("sound", "readings"))
        if table is not None:
            given, at = _from_table(table, reader)
        if "level" not in given:
            reader.walker.spoiled |= {"sound.level", "sound.background"}
    section = reader.walker.section(SOUND, raw, ("sound",), given)
    reader.walker.complete(section)
    sound = Sound(section, elsewhere=reader.several(ELSEWHERE))
    _names_apart(sound.elsewhere, reader.faults)
    if len(reader.faults) > before:
        return sound
    if not at:
        bands = section.value("bands")
        for field_ in (f for f in READ if f in section):
            number = len(section.value(field_))
            of_level = section.value("place") if field_ == "level" else None
            place = np.ones(number) if of_level is None else np.asarray(of_level, dtype=float)
            at[field_] = place, np.full(number, WIDE) if bands is None else np.asarray(bands, dtype=float)
    for field_, (place, frequency) in at.items():
        cells = _cells(section[field_], place, frequency, reader.faults)
        if cells is not None:
            sound.cells[field_] = cells
    if set(sound.cells) == set(READ) and len(reader.faults) == before:
        _same_bands(sound, reader.faults)
    return sound


def _from_table(table: Csv, reader: PartReader) -> tuple[dict[str, Item], dict[str, tuple[Array, Array]]]:
    """Readings of a table, with the place and the band of each; nothing after a fault."""
    faults = reader.faults
    before = len(faults)
    headers = {name: tables.find_column(table, name) for name in (*READ, "place", "frequency")}
    if headers["level"] is None:
        faults.append(tables.missing_column(table, "level", "the level with the unit running"))
        return {}, {}
    used = [header for header in headers.values() if header is not None]
    for other in table.headers:
        if other not in used and other.name.casefold() != "note":
            said = "only the columns level, background, place, frequency and note"
            where = f"{table.name}, column {quoted(other.raw)}"
            remedy = "Remove the column, or name it 'note'."
            faults.append(Fault(where, "a column that is no field", said, remedy))
    known = {}
    for name, declared in (("place", PLACE), ("frequency", FREQUENCY)):
        header = headers[name]
        if header is None:
            known[name] = np.full(len(table), 1.0 if name == "place" else WIDE)
        else:
            item = tables.column_item(table, header, declared, "", "", faults)
            known[name] = item.value if item is not None else np.zeros(0)
    given, at = {}, {}
    for name in READ:
        header = headers[name]
        if header is None:
            continue
        reading = SOUND.field(name)
        assert isinstance(reading, Reading)
        read = tables.column_values(table, header, reading, faults)
        if read is None:
            continue
        there = np.isfinite(read[0])
        if not np.any(there):
            where = f"{table.name}, column {quoted(header.raw)}"
            faults.append(Fault(where, "no reading at all", f"the {name} in some rows", "Fill it in."))
        elif len(faults) == before:
            path = f"sound.{name}"
            where = f"{table.name}, column {quoted(header.raw)}"
            run = path if np.sum(there) > 1 else ""
            given[name] = Item(reading, read[0][there], where, path, header.unit or "", run=run)
            at[name] = known["place"][there], known["frequency"][there]
    return (given, at) if len(faults) == before else ({}, {})


def _cells(item: Item, place: Array, frequency: Array, faults: list[Fault]) -> Cells | None:
    """Every place with every band, each as often as the other bands of its place; else a fault."""
    places, bands = np.unique(place), np.unique(frequency)
    with np.errstate(all="ignore"):
        exact = np.where(bands == WIDE, 1.0, band_frequency(bands))
    if np.any(places % 1):
        odd = f"place {places[places % 1 != 0][0]:g}"
        faults.append(Fault(item.where, odd, "whole numbers of places", "Number the places 1, 2, 3 and so on."))
        return None
    remedy = "Write the usual middle frequencies, such as 63, 125, 250 Hz or 100, 125, 160 Hz."
    if np.any(np.isnan(exact)):
        odd = ", ".join(f"{x:g} Hz" for x in bands[np.isnan(exact)])
        faults.append(Fault(item.where, odd, "middle frequencies of octave or third-octave bands", remedy))
        return None
    if len(np.unique(np.round(exact, 6))) < len(exact):
        faults.append(Fault(item.where, "one band under two frequencies", "one name for each band", remedy))
        return None
    if len(bands) == 1 and bands[0] != WIDE:
        faults.append(Fault(item.where, f"{bands[0]:g} Hz alone", "two bands at least", "Write all bands."))
        return None
    rows = [[np.flatnonzero((place == p) & (frequency == b)) for b in bands] for p in places]
    uneven = [p for p, own in zip(places, rows, strict=True) if len({len(r) for r in own}) > 1]
    if uneven:
        said = f"at place {uneven[0]:g} some bands more often than others"
        faults.append(Fault(item.where, said, "every band as often at a place", "Add the readings that are missing."))
        return None
    return Cells(places, bands, rows)


def _names_apart(elsewhere: list[Section], faults: list[Fault]) -> None:
    """Places of one name could not be told apart in a result."""
    known: dict[tuple[str, int], str] = {}
    for section in (one for one in elsewhere if "name" in one):
        name, units = section.value("name"), section.value("units", 1)
        first = known.setdefault((folded(name), units), section.name)
        if first != section.name:
            said = f"a name of its own, or another number of units; {first} has these"
            faults.append(Fault(section["name"].where, quoted(name), said, "Rename one of the two, or remove it."))


def _same_bands(sound: Sound, faults: list[Fault]) -> None:
    """The background is of the same bands, and at all the places or at no particular one."""
    level, background = (sound.cells[name] for name in READ)
    where = sound.section["background"].where
    if not np.array_equal(level.bands, background.bands):
        said = "the background in the very bands of the level"
        faults.append(Fault(where, f"{len(background.bands)} bands, not the same", said, "Add what is missing."))
    elif len(background.places) > 1 and not np.array_equal(level.places, background.places):
        said = "the background at every place of the level, or at one alone"
        faults.append(Fault(where, f"{len(background.places)} places of {len(level.places)}", said,
                            "Add the places that are missing."))  # fmt: skip


PART = Part("sound", _read, (SOUND,), (ELSEWHERE,))
