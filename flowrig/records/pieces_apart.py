"""Pieces of hardware and instruments that a record holds apart must be things of their own."""

from __future__ import annotations

from collections.abc import Mapping

from flowrig.errors import Fault
from flowrig.records.instruments import Instrument
from flowrig.records.items import Section


def same_serial(hardware: Mapping[str, Mapping[str, Section]], faults: list[Fault]) -> None:
    """Two pieces of hardware cannot be one."""
    for table, sections in hardware.items():
        known: dict[str, str] = {}
        for name, section in sections.items():
            serial = section.value("serial")
            if serial is not None and known.setdefault(serial, name) != name:
                said = f"a serial number of its own; {table}.{known[serial]} has this one"
                faults.append(Fault(section["serial"].where, repr(serial), said, "Correct one of the two."))


def same_instrument(instruments: Mapping[str, Instrument], faults: list[Fault]) -> None:
    """Two instruments of one kind, serial number and date could not be told apart."""
    known: dict[str, str] = {}
    for name, instrument in instruments.items():
        if known.setdefault(instrument.identity, name) != name:
            where, read = instrument.section["serial"].where, repr(instrument.section.value("serial"))
            said = f"a serial number or date of its own; {known[instrument.identity]} has these"
            remedy = "Name the same instrument in both places, or give each sensor its own number."
            faults.append(Fault(where, read, said, remedy))
