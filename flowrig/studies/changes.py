"""What could be changed of a planned measurement, drawn up from what its record, its method and its tables declare."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.methods.air import HUMIDITY_UNKNOWN
from flowrig.records import schema
from flowrig.records.declare import Choice, Count, Given, Names, Reading, Table
from flowrig.records.instruments import Instrument, read_instrument
from flowrig.records.items import Item, Section, path_name
from flowrig.records.walk import Walker
from flowrig.studies.invent import LEAST_SCATTER, Setup, chosen, with_profile
from flowrig.studies.result import FlowResult
from flowrig.uncertainty.component import Component

READINGS = (3, 5, 10, 20, 60)
READINGS_OF_LOG = (10, 40, 60, 120, 360)
MOST_PIECES = 5  # of which every combination is tried; of more, one and two at a time
MOST_POINTS = 400
EFFORT = (
    "less",
    "readings",
    "zero",
    "air",
    "points",
    "stated",
    "choice",
    "hardware",
    "dimension",
    "instrument",
)  # rising

Apply = Callable[[Setup], Setup]


@dataclass(frozen=True)
class Change:
    """One thing that could be done otherwise.

    Attributes
    ----------
    sort : str
        One of `EFFORT`.
    group : str
        Of one group only one is done: a number of readings, a set of nozzles, an instrument.
    words : str
        What to do.
    apply : callable
        From a setup to the changed one.
    """

    sort: str
    group: str
    words: str
    apply: Apply


def changes(setup: Setup, base: FlowResult) -> Iterator[Change]:
    """Everything that could be changed of a setup, whether it pays or not.

    Parameters
    ----------
    setup : Setup
    base : FlowResult
        What is expected of it as it is.
    """
    yield from _instruments(setup)
    yield from _limits(setup)
    yield from _readings(setup)
    yield from _points(setup)
    yield from _pieces(setup)
    yield from _choices(setup)
    yield from _unstated(setup)
    yield from _air(setup, base)


def perfect(setup: Setup) -> Setup:
    """The same with every reading, every ± that is stated and every run without error: what is left is the floor."""
    for name in setup.record.instruments:
        setup = _bettered(setup, name, 0.0)
    for place, item in list(_stated(setup)):
        setup = _narrowed(setup, place, item.field.name, 0.0)
    return replace(setup, scatter=LEAST_SCATTER, readings=max(setup.readings, 2))


# where things stand in a setup


@dataclass(frozen=True)
class _Place:
    """A section of a setup: of the air, of an instrument, of a piece of hardware, or that of the flow."""

    sort: str
    name: str
    number: int = 0


def _places(setup: Setup) -> Iterator[tuple[_Place, Section]]:
    yield _Place("flow", ""), setup.flow.section
    for table, pieces in setup.flow.hardware.items():
        for i, piece in enumerate(pieces):
            yield _Place("hardware", table, i), piece
    for station, section in setup.record.air.items():
        yield _Place("air", station), section
    for name in used(setup):
        yield _Place("instrument", name), setup.record.instruments[name].section


def _section(setup: Setup, place: _Place) -> Section:
    return next(section for at, section in _places(setup) if at == place)


def _with_section(setup: Setup, place: _Place, section: Section) -> Setup:
    record, flow = setup.record, setup.flow
    match place.sort:
        case "flow":
            return replace(setup, flow=replace(flow, section=section))
        case "hardware":
            pieces = list(flow.hardware[place.name])
            pieces[place.number] = section
            return replace(setup, flow=replace(flow, hardware={**flow.hardware, place.name: pieces}))
        case "air":
            return replace(setup, record=replace(record, air={**record.air, place.name: section}))
    return _with_instrument(setup, replace(record.instruments[place.name], section=section))


def _with_item(setup: Setup, place: _Place, item: Item) -> Setup:
    section = _section(setup, place)
    return _with_section(setup, place, replace(section, items={**section.items, item.field.name: item}))


def _with_instrument(setup: Setup, instrument: Instrument) -> Setup:
    instruments = {**setup.record.instruments, instrument.name: instrument}
    return replace(setup, record=replace(setup.record, instruments=instruments))


# instruments


def used(setup: Setup) -> dict[str, list[Item]]:
    """Instruments in use, in the order of the record, with the readings that each of them shows."""
    sections = [setup.flow.section, *setup.flow.pieces, *setup.record.air.values()]
    readings = [i for s in sections for i in s.items.values() if isinstance(i.field, Reading) and i.instrument]
    shown = {name: [i for i in readings if i.instrument == name] for name in setup.record.instruments}
    return {name: items for name, items in shown.items() if items}


def _shrunk(components: tuple[Component, ...], share: float) -> tuple[Component, ...]:
    return tuple(
        replace(c, terms=tuple(replace(t, relative=t.relative * share, absolute=t.absolute * share) for t in c.terms))
        for c in components
    )


def _instruments(setup: Setup) -> Iterator[Change]:
    for name, items in used(setup).items():
        instrument = setup.record.instruments[name]
        words = f"{instrument.label} with half its limits"
        yield Change("instrument", f"instrument {name}", words, partial(_bettered, name=name, share=0.5))
        if instrument.kind == "pressure difference" and instrument.zero is None:
            shown = ", ".join(item.field.name for item in items)
            words = f"zero of {instrument.label} read before and after the {shown}"
            yield Change("zero", f"zero {name}", words, partial(_zero_read, name=name))


def _bettered(setup: Setup, name: str, share: float) -> Setup:
    """With another instrument of the kind in its place, of so many times the limits and the resolution."""
    instrument = setup.record.instruments[name]
    better = replace(
        instrument,
        identity=f"{instrument.identity}|better",
        components=_shrunk(instrument.components, share),
        resolution=None if instrument.resolution is None else instrument.resolution * share,
        zero=instrument.zero if share else None,
    )
    return _with_instrument(setup, better)


def _zero_read(setup: Setup, name: str) -> Setup:
    return _with_instrument(setup, replace(setup.record.instruments[name], zero=(0.0, 0.0)))


# what stands with a ± of its own


def _stated(setup: Setup) -> Iterator[tuple[_Place, Item]]:
    for place, section in _places(setup):
        for item in section.items.values():
            if item.components and isinstance(item.field, (Given, Reading)):
                yield place, item


def _limits(setup: Setup) -> Iterator[Change]:
    for place, item in _stated(setup):
        name = item.field.name
        words = f"{name}{_owner(place, _section(setup, place))} with half its ±"
        yield Change("dimension", f"± {place} {name}", words, partial(_narrowed, place=place, name=name, share=0.5))
    for place, section in _places(setup):
        for item in section.items.values():
            if isinstance(item.field, Given) and item.field.of_error and item.value > 0.0:
                halved = replace(item, value=item.value / 2, assumed=False)
                words = f"{item.field.name}{_owner(place, section)} halved, by a comparison"
                yield Change(
                    "dimension", f"± {place} {item.field.name}", words, partial(_with_item, place=place, item=halved)
                )


def _narrowed(setup: Setup, place: _Place, name: str, share: float) -> Setup:
    item = _section(setup, place)[name]
    return _with_item(setup, place, replace(item, components=_shrunk(item.components, share)))


def _owner(place: _Place, section: Section) -> str:
    return "" if place.sort == "flow" else f" of {section.name if place.sort == 'air' else section.path[-1]}"


# how often, and where


def _readings(setup: Setup) -> Iterator[Change]:
    for n in READINGS_OF_LOG if setup.logged else READINGS:
        if n != setup.readings:
            yield at_readings(setup, n)


def at_readings(setup: Setup, n: int) -> Change:
    return Change("readings", "readings", counted(setup, n), partial(replace, readings=n))


def counted(setup: Setup, n: int) -> str:
    """So many readings in the words of the method."""
    turns = setup.flow.method.turns(setup.flow.section)
    if setup.flow.layout is not None:
        return f"{n} pass{'es' if n > 1 else ''}"
    if turns > 1:
        return f"{n} round{'s' if n > 1 else ''} of {turns} places"
    return f"{n} independent stretches" if setup.logged else f"{n} reading{'s' if n > 1 else ''}"


def _points(setup: Setup) -> Iterator[Change]:
    """More points than planned, where the rule of the method has them."""
    method, section = setup.flow.method, setup.flow.section
    if setup.flow.layout is None or "grid" not in setup.flow.to_come:
        return
    counts = {n: i.value for n, i in section.items.items() if isinstance(i.field, Count) and i.field in method.fields}
    tried = [{n: x + more for n, x in counts.items()} for more in (1, 2)] + [{n: 2 * x for n, x in counts.items()}]
    for wanted in tried:
        try:
            points = len(_at_counts(setup, wanted).flow.layout or ())
        except ValueError:
            continue  # the rule has no such plan
        if points <= MOST_POINTS:
            words = ", ".join(f"{name} {n}" for name, n in wanted.items())
            said = f"{points} points in place of {len(setup.flow.layout)}: {words}"
            yield Change("points", "points", said, partial(_at_counts, counts=wanted))


def _at_counts(setup: Setup, counts: dict[str, int]) -> Setup:
    """With another number of points. Raises ValueError where the rule has no such plan."""
    flow, section = setup.flow, setup.flow.section
    items = dict(section.items)
    for name, n in counts.items():
        declared = section[name].field
        if not isinstance(declared, Count) or not declared.low <= n <= declared.high:
            raise ValueError(f"{name} cannot be {n}")
        items[name] = replace(section[name], value=n)
    layout = flow.method.layout(replace(section, items=items), flow.hardware)
    changed = replace(flow, section=replace(section, items=items), layout=layout)
    return replace(setup, flow=with_profile(changed, flow))


# hardware


def _pieces(setup: Setup) -> Iterator[Change]:
    """Other pieces of the record, one by one and together where several may be used at once."""
    method, flow = setup.flow.method, setup.flow
    for declared in chosen(method):
        pieces = setup.record.pieces.get(declared.table, {})
        for names in choices(declared, list(pieces)):
            if set(names) == set(flow.section.value(declared.name)):
                continue
            yield Change(
                "hardware",
                f"hardware {declared.name}",
                f"{declared.name}: {', '.join(names)}",
                partial(with_pieces, declared=declared, names=names),
            )


def choices(declared: Names, pieces: list[str]) -> Iterator[tuple[str, ...]]:
    most = 1 if not declared.axis else len(pieces) if len(pieces) <= MOST_PIECES else 2
    for n in range(1, most + 1):
        yield from combinations(pieces, n)


def with_pieces(setup: Setup, declared: Names, names: tuple[str, ...]) -> Setup:
    """The setup on other hardware of the record."""
    pieces = [setup.record.pieces[declared.table][name] for name in names]
    flow = replace(setup.flow, hardware={**setup.flow.hardware, declared.table: pieces})
    item = setup.flow.section[declared.name]
    return _with_item(replace(setup, flow=flow), _Place("flow", ""), replace(item, value=list(names)))


# what a person can bring about, or find out


def _choices(setup: Setup) -> Iterator[Change]:
    for place, section in _places(setup):
        for item in section.items.values():
            if isinstance(item.field, Choice) and item.field.aim not in ("", item.value):
                better = replace(item, value=item.field.aim, assumed=False)
                said = f"{item.field.name}{_owner(place, section)}: {item.field.aim}"
                yield Change(
                    "choice",
                    f"choice {place} {item.field.name}",
                    f"{said}, not {item.value}",
                    partial(_with_item, place=place, item=better),
                )


def _unstated(setup: Setup) -> Iterator[Change]:
    """Values that nobody was asked for and something is assumed for; each as its declaration shows it."""
    for place, section in _places(setup):
        if place.sort not in ("flow", "hardware"):
            continue
        held = setup.flow.method.fields if place.sort == "flow" else section.table.fields
        for declared in held:
            if not isinstance(declared, Given) or declared.required or not declared.example:
                continue
            if declared.name in section and not section[declared.name].assumed:
                continue
            item = _example(declared, section)
            if item is None:
                continue
            changed = replace(section, items={**section.items, declared.name: item})
            if not _holds_together(changed):
                continue
            yield Change(
                "stated",
                f"stated {place} {declared.name}",
                f"{declared.name}{_owner(place, section)} found out: {item.text}, say",
                partial(_with_item, place=place, item=item),
            )


def _example(declared: Given | Reading, section: Section) -> Item | None:
    faults: list[Fault] = []
    raw = tomllib.loads(f"x = {declared.example}")["x"]
    walker = Walker(lambda *path: section.where, faults)
    read = walker.section(Table(section.table.name, "", (declared,)), {declared.name: raw}, section.path)
    return None if faults else read.items.get(declared.name)


def _holds_together(section: Section) -> bool:
    """Whether the section would be accepted: alternatives met once, its fields in agreement."""
    faults: list[Fault] = []
    Walker(lambda *path: section.where, faults).complete(section)
    return not faults


def _air(setup: Setup, base: FlowResult) -> Iterator[Change]:
    """Readings of the air that are not taken, each with a usual instrument; and those that could be left out."""
    for station, section in setup.record.air.items():
        place = _Place("air", station)
        state = {name: float(np.mean(x.value)) for name, x in base.air[station].items()}
        humidity = [n for n in ("relative_humidity", "wet_bulb", "dew_point") if n in section]
        unread = {} if "pressure" in section else {"pressure": state["pressure"]}
        unread |= {} if humidity else {"relative_humidity": sum(HUMIDITY_UNKNOWN) / 2}
        unread |= {} if "temperature" in section else {"temperature": state["temperature"]}
        for name, value in unread.items():
            yield Change(
                "air",
                f"air {station} {name}",
                f"{section.name}.{name} read{_by_what(setup, section, name)}",
                partial(_read, place=place, name=name, value=value),
            )
        for name in ("pressure", *humidity):
            left = replace(section, items={n: i for n, i in section.items.items() if n != name})
            if name in section and _holds_together(left):
                yield Change(
                    "less",
                    f"air {station} {name}",
                    f"{section.name}.{name} not read",
                    partial(_with_section, place=place, section=left),
                )


def _by_what(setup: Setup, section: Section, name: str) -> str:
    """The usual instrument in words, where the record has none of the kind."""
    kind = getattr(section.table.field(name), "kind", "")
    if any(instrument.kind == kind for instrument in setup.record.instruments.values()):
        return ""
    return f", with a {schema.USUAL_NAMES[kind]} good for {schema.USUAL_ACCURACY[kind]}, say"


def _read(setup: Setup, place: _Place, name: str, value: float) -> Setup:
    """A station with one more reading, by the record's own instrument of the kind, or else by a usual one."""
    section = _section(setup, place)
    declared = section.table.field(name)
    assert isinstance(declared, Reading)
    kind, record = declared.kind, setup.record
    own = [n for n, i in record.instruments.items() if i.kind == kind]
    usual = schema.USUAL_NAMES[kind]
    if not own:
        raw = {"measures": kind, "accuracy": schema.USUAL_ACCURACY[kind]}
        faults: list[Fault] = []
        read = Walker(lambda *path: path_name(path), faults).section(schema.INSTRUMENT, raw, ("instruments", usual))
        instrument = read_instrument(read, record.id, None, faults)
        assert instrument is not None
        record = replace(record, instruments={**record.instruments, usual: instrument})
    path = f"{section.name}.{name}"
    item = Item(declared, np.array([value]), section.where, path, units.default_display(kind))
    item.instrument = own[0] if own else usual
    gone = ("fan_power", "side") if name == "temperature" else ()
    items = {n: i for n, i in section.items.items() if n not in gone} | {name: item}
    return _with_section(replace(setup, record=record), place, replace(section, items=items))
