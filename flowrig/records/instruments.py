"""Instruments as sources of error: identity, limits, resolution, zero and drift of each."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from dataclasses import replace as replace_
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records import flags
from flowrig.records.declare import Finding
from flowrig.records.items import Array, Item, Section
from flowrig.uncertainty.cause import Cause, Scope
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.statement import Component, covers, parse, parse_drift


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

    @property
    def label(self) -> str:
        serial = self.section.value("serial")
        return f"{self.name} ({serial})" if serial else self.name


def read_instrument(section: Section, record_id: str, tested: dt.date | None, faults: list[Fault]) -> Instrument | None:
    """Turn a section of declared words into an instrument; what cannot be understood is added to `faults`."""
    kind = section.value("measures")
    if kind is None:
        return None
    name = str(section.path[-1])
    serial, calibrated = section.value("serial"), section.value("calibrated")
    identity = f"instrument:{serial}|{calibrated or 'no date'}" if serial else f"{record_id}:instruments.{name}"
    instrument = Instrument(name, kind, identity, section, resolution=section.value("resolution"))
    difference = units.as_difference(kind)

    def convert(number: float, unit: str) -> float:
        return float(units.to_si(number, unit, difference))

    def point(number: float, unit: str) -> float:
        return float(units.to_si(number, unit, kind))

    words: dict[str, Any] = {
        "full_scale": section.value("full_scale"),
        "resolution": instrument.resolution,
        "relative_unit": "%RH" if kind == "relative humidity" else "%",
        "point": point if difference != kind else None,
    }
    components: list[Component] = []
    for part, example in (("accuracy", "0.5 % of reading + 0.25 Pa"), ("drift", "0.2 % of reading per year")):
        texts = section.value(part, ())
        for number, text in enumerate(texts, start=1):
            # several statements are several causes, each with an identity of its own
            words["name"] = part if len(texts) == 1 else f"{part} {number}"
            try:
                if part == "accuracy":
                    components += parse(text, convert, **words)
                else:
                    components += _drift(text, convert, words, instrument, tested, components)
            except ValueError as error:
                expected = f'words of a datasheet or certificate, such as "{example}"'
                faults.append(Fault(section[part].where, repr(text), expected, str(error)))
    instrument.components = tuple(components)
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


def backwards(item: Item, instrument: Instrument | None) -> bool:
    """Whether a reading that must be positive lies below zero by more than its own limits could explain."""
    mean = float(np.mean(item.value))
    components = (*(instrument.components if instrument else ()), *item.components)
    limit = sum(float(c.half_width(mean)) for c in components if c.holds(mean))
    return mean < -3.0 * limit


def find_instrument(
    kind: str, named: str | None, instruments: dict[str, Instrument], where: str, faults: list[Fault]
) -> Instrument | None:
    """The instrument of a reading: the one named, or the only one that measures the kind."""
    if named is not None:
        chosen = instruments.get(named)
        if chosen is None:
            known = ", ".join(instruments) or "none"
            faults.append(Fault(where, f"instrument {named!r}", f"one of: {known}", f"Add [instruments.{named}]."))
        elif chosen.kind != kind:
            faults.append(
                Fault(
                    where,
                    f"instrument {named!r}, which measures {chosen.kind}",
                    f"one that measures {kind}",
                    "Name the right instrument.",
                )
            )
            return None
        return chosen
    fitting = [i for i in instruments.values() if i.kind == kind]
    if len(fitting) > 1:
        names = ", ".join(i.name for i in fitting)
        faults.append(
            Fault(
                where,
                f"{len(fitting)} instruments that measure {kind}",
                f"the one used, of: {names}",
                f'Add with = "{fitting[0].name}".',
            )
        )
    return fitting[0] if len(fitting) == 1 else None


@dataclass
class ReadingEstimate:
    """A reading with its sources of error.

    Attributes
    ----------
    estimate : Estimate
        The mean of the run, its zero taken out.
    run : array or None
        Every reading of the run, zero taken out, runs along the first axis; None for a single value.
    findings : list of Finding
    """

    estimate: Estimate
    run: Array | None
    findings: list[Finding]


def reading_estimate(
    item: Item, instrument: Instrument | None, record_id: str, axes: tuple[str, ...] = ()
) -> ReadingEstimate:
    """Mean of a run of readings as an `Estimate` with every cause its instrument brings.

    Parameters
    ----------
    item : Item
        Readings along the first axis of `item.value`, the axes named by `axes` behind it. A batch has the axis
        ``row`` in place of the run.
    instrument : Instrument or None
        None where the ± stands beside the value.
    record_id : str
        Identity of the record, for causes that are local to it.
    axes : tuple of str

    Notes
    -----
    One maker's limit is one direction shared by all readings. The zero is interpolated between before and after;
    what is left, |z₂ − z₁|/√12, is one cause shared by all readings of the set-up. Resolution is independent from
    point to point of a grid and from row to row of a batch; for repeats nothing is added once they scatter by more
    than half a digit (the scatter holds it), else one shared q/√12.

    Source
    ------
    JCGM 100:2008 4.3.7 (rectangular limits), F.2.2.1 (resolution).
    """
    batch = item.run == ROWS
    values = item.value
    local = f"{record_id}:{item.path}"
    findings: list[Finding] = []
    parts: dict[Cause, Array] = {}

    if instrument is not None and instrument.zero is not None:
        before, after = instrument.zero
        along = 0.5 if batch else ((np.arange(len(values)) + 0.5) / len(values)).reshape(-1, *[1] * (values.ndim - 1))
        values = values - (before + (after - before) * along)
        if after != before:
            cause = Cause(
                f"{record_id}:instruments.{instrument.name}:zero",
                shape="rectangular",
                scope="setup",
                label=f"{instrument.label} zero drift",
            )
            parts[cause] = np.array([abs(after - before) / math.sqrt(12)])
    run = None if batch or len(values) == 1 else values
    mean = values if batch else np.mean(values, axis=0)
    axes = ("row", *axes) if batch else axes

    def add(cause: Cause, u: Array) -> None:
        parts[cause] = np.broadcast_to(u, (1, *mean.shape))

    if instrument is not None:
        for component in instrument.components:
            name = f"{component.name} {component.range_label}".strip()
            valid = component.holds(mean)
            add(
                _cause(f"{instrument.identity}|{name}", component, "calibration", f"{instrument.label} {name}"),
                np.where(valid, component.standard(mean), 0.0),
            )
        covered = covers(instrument.components, mean)
        if not np.all(covered):
            findings.append(
                Finding(
                    flags.OUTSIDE_RANGE,
                    f"{item.where}: outside the range {instrument.name} is stated for",
                    ~covered if batch else None,
                )
            )
        q = instrument.resolution
        if q and (run is None or "point" in axes or np.std(values, ddof=1) <= q / 2):
            each = "point" if "point" in axes else "row" if batch else None
            cause = Cause(
                f"{local}:resolution",
                shape="rectangular",
                each=each,
                scope="reading",
                label=f"{instrument.label} resolution",
            )
            add(cause, np.asarray(q / math.sqrt(12)))
    for component in item.components:
        add(
            _cause(f"{local}:stated", component, "reading", f"stated ± of {item.field.name}"),
            np.asarray(component.standard(mean)),
        )
    shaped = {cause: np.broadcast_to(part, (1, *mean.shape)) for cause, part in parts.items()}
    return ReadingEstimate(Estimate(mean, axes, {c: p for c, p in shaped.items() if np.any(p)}), run, findings)


def given_estimate(item: Item, identity: str, label: str = "", scope: Scope = "setup") -> Estimate:
    """A stated value with the ± written beside it; its identity is the hardware it belongs to."""
    parts = {
        _cause(f"{identity}:{item.field.name}:{i}", component, scope, label or f"{item.field.name}"): np.array(
            [float(component.standard(item.value))]
        )
        for i, component in enumerate(item.components)
    }
    return Estimate(item.value, (), parts)


ROWS = "rows"  # the run of readings that come one a row from a table of tests


def _cause(id_: str, component: Component, scope: Scope, label: str) -> Cause:
    return Cause(id_, dof=component.dof, shape=component.shape, scope=scope, label=label)


def mean_estimate(read: ReadingEstimate, item: Item, record_id: str) -> ReadingEstimate:
    """A run averaged on its own, its scatter as s/√n: for readings that do not belong to the flow's own run."""
    if read.run is None or read.run.ndim > 1:
        return read
    n = len(read.run)
    s = float(np.std(read.run, ddof=1))
    if s == 0.0:
        return replace_(read, run=None)
    cause = Cause(f"{record_id}:{item.path}:scatter", dof=n - 1, scope="reading", label=f"scatter of {item.field.name}")
    parts = {**read.estimate.parts, cause: np.array([s / math.sqrt(n)])}
    return ReadingEstimate(Estimate(read.estimate.value, (), parts), None, read.findings)


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
