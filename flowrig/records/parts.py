"""Every part that a record may hold beside its flows, or in their place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flowrig.records import electrical_facts, sound_readings
from flowrig.records.count_record import PARTICLE_COUNTS
from flowrig.records.declare import Table
from flowrig.records.own_facts import OWNING
from flowrig.records.part import Content, Part, PartReader
from flowrig.records.prediction import PREDICTION
from flowrig.records.room import ROOM
from flowrig.records.room_decay import ROOM_DECAY

PARTS: tuple[Part, ...] = (
    electrical_facts.PART,
    sound_readings.PART,
    PARTICLE_COUNTS,
    ROOM_DECAY,
    PREDICTION,
    ROOM,
    OWNING,
)
TABLES: dict[str, Table] = {table.name: table for part in PARTS for table in part.all_tables}
HEADINGS: dict[str, str] = {table.name: part.heading(table) for part in PARTS for table in part.all_tables}


def read_parts(reader: PartReader) -> dict[str, Content]:
    """Every part that the record holds, by its name; a table that belongs to none of them is a fault."""
    held = [part for part in PARTS if part.name in reader.data]
    found = {part.name: part.read(reader) for part in held}
    known = {table.name for part in held for table in part.all_tables}
    for name in (name for name in TABLES if name in reader.data and name not in known):
        owners = [part for part in PARTS if TABLES[name] in part.all_tables]
        if any(reader.walker.is_spoiled(part.name) for part in owners):
            continue  # it stands there under another name
        heads = " or ".join(HEADINGS[part.name] for part in owners)
        remedy = f"Add {heads}, or remove {HEADINGS[name]}."
        reader.walker.miss((name,), f"{HEADINGS[name]} without {heads}", f"{heads} beside it", remedy)
    return found


def stands_alone(data: Mapping[str, Any]) -> bool:
    """Whether a record holds what needs no flow."""
    return any(name in data for name in TABLES)
