"""Instruments as sources of error: identity, limits, resolution, zero and drift of each."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records import flags
from flowrig.records.calibration import CalibrationFile
from flowrig.records.declare import Finding
from flowrig.records.items import Section
from flowrig.records.largest_error import LARGEST, no_more, too_large
from flowrig.records.schema import USUAL_ACCURACY
from flowrig.records.words import unreadable
from flowrig.uncertainty.statement import Component, parse, parse_drift

USUAL_READING = {"sound level": 60.0}  # SI: where the limits of an instrument are looked at


@dataclass
class Instrument:
    """An instrument of a record.

    Attributes
    ----------
    name : str
        As the record calls it.
    kind : str
        What it measures.
    identity : str
        What its errors are known by: serial number and certificate date, or the record alone where there is none.
    components : tuple of Component
        Its limits, each an independent cause.
    resolution : float or None
    zero : tuple of float, or None
        Zero before and after, SI; equal where only one was read.
    section : Section
    findings : list of Finding
    assumed : list of str
        What its statements left open, in words.
    calibration : CalibrationFile or None
        By which its readings are corrected.
    """

    name: str
    kind: str
    identity: str
    section: Section
    components: tuple[Component, ...] = ()
    resolution: float | None = None
    zero: tuple[float, float] | None = None
    findings: list[Finding] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    calibration: CalibrationFile | None = None

    @property
    def label(self) -> str:
        serial = self.section.value("serial")
        return f"{self.name} ({serial})" if serial else self.name


def read_instrument(
    section: Section, record_id: str, tested: dt.date | None, faults: list[Fault], broken: Collection[str] = ()
) -> Instrument | None:
    """Turn a section of declared words into an instrument; what cannot be understood is added to `faults`.

    Fields that are `broken`, the test's `date` among them, have had a fault of their own.
    """
    kind = section.value("measures")
    if kind is None:
        return None
    name = str(section.path[-1])
    serial, calibrated = section.value("serial"), section.value("calibrated")
    dated = f"instrument:{serial}|{kind}|{calibrated or 'no date'}"
    identity = dated if serial else f"{record_id}:instruments.{name}"
    instrument = Instrument(name, kind, identity, section, resolution=section.value("resolution"))
    convert, words = _words(kind, section.value("full_scale"), instrument.resolution)
    needed = {"accuracy": {"full_scale", "resolution"}, "drift": {"full_scale", "accuracy", "calibrated", "date"}}
    components: list[Component] = []
    for part, example in (("accuracy", USUAL_ACCURACY[kind]), ("drift", "0.2 % of reading per year")):
        texts = section.value(part, ())
        for number, text in enumerate(texts, start=1):
            # several statements are several causes, each with an identity of its own
            words["name"] = part if len(texts) == 1 else f"{part} {number}"
            try:
                if part == "accuracy":
                    components += _parsed(text, kind, words["name"], words["full_scale"], words["resolution"])
                else:
                    components += _drift(text, convert, words, instrument, tested, components)
            except ValueError as error:
                if not needed[part] & set(broken):  # else the word it lacks is there, but unreadable
                    expected = f'words of a datasheet or certificate, such as "{example}"'
                    faults.append(unreadable(section[part].where, text, expected, error))
    if len({c.content for c in components}) < len(components):
        remedy = "Write it once; two independent errors of one size are one of 1.41 times the size."
        faults.append(Fault(section["accuracy"].where, "the same statement twice", "each statement once", remedy))
    middle = USUAL_READING.get(kind, 0.0)
    if too_large(kind, middle, components):
        wrong = next(name for name in ("accuracy", "drift") if name in section)
        read = " and ".join(repr(text) for text in section.value(wrong))
        faults.append(Fault(section[wrong].where, read, no_more(kind), "Check the digits."))
    if instrument.resolution is not None and instrument.resolution > LARGEST.get(kind, math.inf):
        read = section["resolution"].text or f"{instrument.resolution:g}"
        faults.append(Fault(section["resolution"].where, read, no_more(kind), "Check the digits."))
    instrument.components = tuple(components)
    _read_calibration(instrument, tested, faults)
    instrument.assumed += dict.fromkeys(said for component in components for said in component.assumed)
    due = section.value("due")
    if due and tested and tested > due:
        instrument.findings.append(Finding(flags.OVERDUE, f"{name}: calibration fell due on {due}, test on {tested}"))
    valid = [c.valid_years for c in components if c.valid_years is not None]
    age = _age(instrument, tested)
    if valid and age is not None and age > min(valid) and "drift" not in section:
        instrument.findings.append(
            Finding(
                flags.OVERDUE, f"{name}: accuracy stated for {min(valid):g} year(s), calibrated {age:.1f} years ago"
            )
        )
    _read_zero(instrument)
    return instrument


def _words(
    kind: str, full_scale: float | None, resolution: float | None
) -> tuple[Callable[[float, str], float], dict[str, Any]]:
    """What a statement about an instrument is read by."""
    difference = units.as_difference(kind)

    def convert(number: float, unit: str) -> float:
        return float(units.to_si(number, unit, difference))

    def point(number: float, unit: str) -> float:
        return float(units.to_si(number, unit, kind))

    return convert, {
        "full_scale": full_scale,
        "resolution": resolution,
        "relative_unit": "%RH" if kind == "relative humidity" else "%",
        "point": point if difference != kind else None,
    }


@lru_cache(maxsize=256)
def _parsed(
    text: str, kind: str, name: str, full_scale: float | None, resolution: float | None
) -> tuple[Component, ...]:
    """A statement of accuracy; the same words of the same instrument are read once, in however many records."""
    convert, words = _words(kind, full_scale, resolution)
    return parse(text, convert, name=name, **words)


def _read_calibration(instrument: Instrument, tested: dt.date | None, faults: list[Fault]) -> None:
    """The file that corrects its readings: of this very instrument, and of what it measures."""
    section = instrument.section
    found: CalibrationFile | None = section.value("calibration")
    if found is None:
        return
    serial = section.value("serial")
    if found.calibrates != instrument.kind:
        said = f"one of an instrument for {instrument.kind}"
        read = f"{found.name}, the calibration of an instrument for {found.calibrates}"
        faults.append(Fault(section["calibration"].where, read, said, "Name another file."))
    elif serial != found.heading.value("serial"):
        read = f"{found.name}, of serial number {found.heading.value('serial')!r}"
        said = "the calibration of this very instrument" + (f", {serial!r}" if serial else "")
        remedy = "Name the file of this instrument." if serial else "Add its serial to the instrument."
        faults.append(Fault(section["calibration"].where, read, said, remedy))
    instrument.calibration = found
    instrument.findings += found.findings(tested)
    if not instrument.components:
        instrument.findings.append(Finding(flags.NOTHING_BESIDE, instrument.name))


def _drift(
    text: str,
    convert: Callable[[float, str], float],
    words: dict[str, Any],
    instrument: Instrument,
    tested: dt.date | None,
    accuracy: list[Component],
) -> tuple[Component, ...]:
    """Change since the certificate; nothing within the time for which the accuracy already contains it."""
    years = _age(instrument, tested)
    if years is None:
        raise ValueError("give the date of calibration: a drift per year needs to know how long ago it was")
    if years < 0:
        raise ValueError("calibrated after the test: check both dates")
    valid = max((c.valid_years or 0.0 for c in accuracy), default=0.0)
    if years <= valid:
        instrument.assumed.append(f"the accuracy is stated for {valid:g} year(s) and already contains the drift")
        return ()
    return tuple(parse_drift(text, convert, years, **words))


def _age(instrument: Instrument, tested: dt.date | None) -> float | None:
    calibrated = instrument.section.value("calibrated")
    return None if calibrated is None or tested is None else float((tested - calibrated).days / 365.25)


def _read_zero(instrument: Instrument) -> None:
    before, after = (
        None if (value := instrument.section.value(name)) is None else float(np.mean(value))
        for name in ("zero_before", "zero_after")
    )
    if before is None and after is None:
        return
    if before is None or after is None:
        known = before if before is not None else after
        assert known is not None
        instrument.zero = (known, known)
        instrument.findings.append(
            Finding(flags.ZERO_ONCE, f"{instrument.name}: zero read only {'before' if after is None else 'after'}")
        )
    else:
        instrument.zero = (before, after)
    limit = sum(float(c.half_width(0.0)) for c in instrument.components if c.holds(0.0))
    worst = max(abs(z) for z in instrument.zero)
    if worst > limit:
        unit = instrument.section["zero_before" if before is not None else "zero_after"].unit
        shown = [
            f"{float(units.from_si(v, unit, units.as_difference(instrument.kind))):.3g} {unit}" for v in (worst, limit)
        ]
        instrument.findings.append(
            Finding(flags.ZERO_BEYOND, f"{instrument.name}: zero of {shown[0]}, limit at zero {shown[1]}")
        )


def all_findings(instruments: dict[str, Instrument]) -> Iterator[Finding]:
    """Findings about the instruments; what several statements leave open in the same way is said once."""
    said: dict[str, list[str]] = {}
    for instrument in instruments.values():
        for words in instrument.assumed:
            said.setdefault(words, []).append(instrument.name)
        yield from instrument.findings
    nameless = [i.name for i in instruments.values() if "serial" not in i.section]
    unread = [i.name for i in instruments.values() if i.kind == "pressure difference" and i.zero is None]
    if unread:
        yield Finding(flags.ZERO_UNREAD, ", ".join(unread))
    if nameless:
        yield Finding(flags.NO_SERIAL, f"{', '.join(nameless)}: error known as the same in this record only")
    for words, names in said.items():
        yield Finding(flags.ASSUMED, f"{words} ({', '.join(names)})")
