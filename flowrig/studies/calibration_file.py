"""A calibration as found, as the text of the file that keeps it."""

from __future__ import annotations

import math
from typing import Any

from flowrig.records.calibration_text import calibration_text
from flowrig.records.formulas import CHAMBER
from flowrig.studies.calibrate import Calibrated
from flowrig.studies.paired import mapping_of
from flowrig.studies.scrutiny import ENOUGH_MOUNTINGS
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.condense import condensed


def file_text(done: Calibrated) -> str:
    """Text of the calibration file of what was found.

    Raises
    ------
    InputError
        If what the record says does not make a calibration file.
    """
    record, section, pairs = done.record, done.record.calibration, done.pairs
    assert section is not None

    def own(cause: Cause) -> bool:
        return cause.id.startswith(record.id)

    rest = Cause("readings", scope="calibration", label="readings of the calibration")
    loads = condensed({name: x for name, x in done.numbers.items() if x.parts}, own, rest)
    numbers = mapping_of(done.numbers)
    points = zip(pairs.shown.value, pairs.truth.value, done.residuals, strict=True)
    return calibration_text(
        _heading(done),
        done.formula,
        numbers,
        loads,
        [cause for cause in loads if cause is not rest and not own(cause) and cause.id != rest.id],
        [(float(a), float(b), float(c)) for a, b, c in points],
        units_of(done),
    )


def _heading(done: Calibrated) -> dict[str, Any]:
    record, section, scrutiny = done.record, done.record.calibration, done.scrutiny
    assert section is not None
    digests = iter(record.digests.items())
    _, own = next(digests)
    instrument = done.pairs.instrument
    serial = section.value("serial")
    if serial is None and instrument is not None:
        serial = instrument.section.value("serial")
    found: dict[str, Any] = {
        "calibrates": done.pairs.calibrates,
        "title": record.heading.value("title"),
        "serial": serial,
        "date": record.heading.value("date"),
        "due": section.value("due"),
        "by": record.heading.value("by"),
        "reference": done.pairs.reference,
        "certificate": section.value("certificate"),
        "record": own,
        "readings": record.digests.get(record.points.table.name),
        "follows": section.value("follows"),
        "invented": True if record.heading.value("invented") else None,
        "notes": section.value("notes"),
    }
    if scrutiny.mountings >= ENOUGH_MOUNTINGS and not math.isnan(scrutiny.remount_scatter):
        found["remount_scatter"] = f"{100 * max(scrutiny.remount_scatter, 1e-4):.3g} %"
        found["remounts"] = scrutiny.mountings
    if done.found.excess:
        size = abs(float(done.number.value)) if done.formula.powers else 1.0
        found["point_scatter"] = f"{100 * done.found.excess / size:.3g} %"
        found["point_scatter_dof"] = done.found.dof
    if "remount_scatter" not in found and "remount_limit" in section and done.pairs.calibrates != CHAMBER:
        found["remount_limit"] = f"{100 * section.value('remount_limit'):.3g} %"
    return found


def units_of(done: Calibrated) -> dict[str, str]:
    """Drops and readings as they were read, flows as the record wants them."""
    section = done.record.calibration
    assert section is not None
    found = {done.formula.argument.kind: section["indication"].unit}
    if "reference" in section:
        found[done.formula.result.kind] = section["indication"].unit
    elif done.pairs.of_flow:
        found["flow"] = done.record.heading.value("flow_unit") or "m3/h"
    return {kind: unit for kind, unit in found.items() if unit}
