"""Which instrument showed each reading: the one named beside it, or the only one that measures its kind."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from flowrig.errors import Fault
from flowrig.records.declare import Reading
from flowrig.records.files import near_name, quoted
from flowrig.records.instruments import Instrument
from flowrig.records.items import Item, Section, as_written
from flowrig.records.schema import USUAL_ACCURACY, USUAL_NAMES
from flowrig.records.words import a


def attach(
    section: Section, instruments: Mapping[str, Instrument], unread: Collection[str] | None, faults: list[Fault]
) -> None:
    """Give each reading of a section its instrument.

    Parameters
    ----------
    unread : collection of str or None
        Instruments that are written down but could not be read, so that a reading may well be theirs; None where not
        even their names are known.
    """
    readings = {name: item for name, item in section.items.items() if isinstance(item.field, Reading)}
    named = section.value("with", {})
    if not _names_hold(section, readings, instruments, unread, faults):
        return
    for name, item in readings.items():
        assert isinstance(item.field, Reading)
        kind = item.field.kind
        choice = named.get(name) if isinstance(named, dict) else named
        if choice is not None and (isinstance(named, dict) or choice not in instruments):
            fitting = [choice] if choice in instruments else []
        else:
            # one name for the section stands for the readings it can measure
            fitting = [i.name for i in instruments.values() if i.kind == kind and choice in (None, i.name)]
            fitting = fitting or [i.name for i in instruments.values() if i.kind == kind]
        if len(fitting) > 1:
            read = f"nothing that says which of {len(fitting)} instruments for {kind} showed it"
            remedy = f'Add with = {{ {name} = "{fitting[0]}" }} to {section.name}, if that is the one.'
            faults.append(Fault(item.where, read, f"one of: {', '.join(fitting)}", remedy))
        elif fitting:
            item.instrument = fitting[0]
        elif not item.components and not unread and unread is not None:
            usual = f'[instruments.{USUAL_NAMES.get(kind, "some_name")}] with measures = "{kind}" and its accuracy'
            remedy = f'Add {usual}, such as "{USUAL_ACCURACY.get(kind, "1 % of reading")}".'
            expected = f"an instrument that measures {kind}, or a ± beside the value"
            faults.append(Fault(item.where, "a reading without an instrument", expected, remedy))
        if item.field.positive:
            _above_zero(item, instruments.get(item.instrument), faults)


def _names_hold(
    section: Section,
    readings: Mapping[str, Item],
    instruments: Mapping[str, Instrument],
    unread: Collection[str] | None,
    faults: list[Fault],
) -> bool:
    """Whether every instrument that `with` names is there and measures what it is named for."""
    named = section.value("with", {})
    before = len(faults)
    where = section["with"].where if "with" in section else ""
    known = {f.name for f in section.table.fields if isinstance(f, Reading)}
    pairs = named.items() if isinstance(named, dict) else [("", named)]
    for field, name in pairs:
        if field and field not in known:
            near = near_name(field, sorted(known))
            remedy = f"Did you mean {near}?" if near else "Name a reading of this section."
            faults.append(Fault(where, quoted(field), f"one of: {', '.join(sorted(known))}", remedy))
        elif name not in instruments:
            if unread is None or name in unread:
                continue
            near = near_name(name, list(instruments))
            remedy = f"Did you mean {near}?" if near else f"Describe it in a table [instruments.{name}]."
            said = f"one of: {', '.join(instruments) or 'none is described'}"
            faults.append(Fault(where, f"instrument {quoted(name)}", said, remedy))
        else:
            kinds = {i.field.kind for n, i in readings.items() if isinstance(i.field, Reading) and field in ("", n)}
            if kinds and instruments[name].kind not in kinds:
                read = f"instrument {quoted(name)}, which measures {instruments[name].kind}"
                fit = [i.name for i in instruments.values() if i.kind in kinds]
                remedy = f"Perhaps {fit[0]} is meant." if len(fit) == 1 else "Name the right instrument."
                faults.append(Fault(where, read, f"one that measures {' or '.join(sorted(kinds))}", remedy))
    return len(faults) == before


def _above_zero(item: Item, instrument: Instrument | None, faults: list[Fault]) -> None:
    """A reading that must be positive may lie below zero by no more than its own limits could explain."""
    mean = float(np.mean(item.value))
    components = (*(instrument.components if instrument else ()), *item.components)
    limit = sum(float(c.half_width(mean)) for c in components if c.holds(mean))
    if mean < -3.0 * limit:
        read = f"{'a mean of ' if np.size(item.value) > 1 else ''}{as_written(item)}"
        expected = f"{a(getattr(item.field, 'kind', ''))} above zero, give or take the instrument's limit"
        faults.append(Fault(item.where, read, expected, "Check whether the hoses are swapped."))
