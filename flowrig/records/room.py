"""The tables of a room with its cleaners, and the ducts of its building."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flowrig.errors import Fault
from flowrig.records import room_facts as facts
from flowrig.records.cleaner_facts import CLEANERS
from flowrig.records.files import quoted
from flowrig.records.items import Section
from flowrig.records.part import Part, PartReader
from flowrig.records.words import folded

TARGETS = (facts.AIR_CHANGE_TARGET, facts.PER_PERSON_TARGET, facts.CONCENTRATION_TARGET)


@dataclass
class Room:
    """A room. In place of a file's name stands the record that was read from it.

    Attributes
    ----------
    task : Section
        The table [room].
    targets : dict of str to Section
        By the names of their tables.
    duct : Section or None
    cleaners : list of Section
    """

    task: Section
    targets: dict[str, Section] = field(default_factory=dict)
    duct: Section | None = None
    cleaners: list[Section] = field(default_factory=list)

    @property
    def sections(self) -> list[Section]:
        ducts = [self.duct] if self.duct is not None else []
        return [self.task, *self.targets.values(), *ducts, *self.cleaners]


def read_room(reader: PartReader) -> Room:
    """The tables of a room, its concentrations as masses or as numbers of particles."""
    raw = reader.data["room"]
    told_by = str(raw.get("concentrations", facts.MASS)) if isinstance(raw, Mapping) else facts.MASS
    tables = {table.name: facts.told_by(table, told_by) for table in (facts.ROOM, *TARGETS, facts.DUCT)}
    task = reader.section(tables.pop("room"), raw, ("room",))
    duct = reader.one(tables.pop("duct"))
    targets = {name: section for name, table in tables.items() if (section := reader.one(table)) is not None}
    found = Room(task, targets, duct, reader.several(CLEANERS))
    _names_apart(found.cleaners, reader)
    spoiled = any(reader.walker.is_spoiled(table.name) for table in (*TARGETS, facts.DUCT, CLEANERS))
    if not targets and not found.cleaners and duct is None and not spoiled:
        remedy = 'Add [concentration_target] with level = "25 ug/m3" and particles = "smoke", for instance.'
        said = f"a target, {', '.join(f'[{t.name}]' for t in TARGETS)}, or [[cleaners]], or [duct]"
        reader.walker.miss((), "a room alone", said, remedy)
    return found


def _names_apart(cleaners: list[Section], reader: PartReader) -> None:
    """Sorts of cleaners are told by their names."""
    known: dict[str, Section] = {}
    for section in cleaners:
        name = section.value("name")
        if name is not None and known.setdefault(folded(name), section) is not section:
            said = f"a name of its own; {known[folded(name)].name} has this one"
            remedy = "Write count for several of one sort, or tell the sorts apart."
            reader.faults.append(Fault(section["name"].where, quoted(name), said, remedy))


ROOM = Part("room", read_room, (facts.ROOM, *TARGETS, facts.DUCT), (CLEANERS,))
