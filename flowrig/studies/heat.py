"""How far the motor of a cleaner warmed up, from resistances of its winding; nothing of that is told from a flow."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.physics.winding import winding_rise
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import mean_estimate, reading_estimate
from flowrig.records.instruments import all_findings
from flowrig.records.items import Array, as_written
from flowrig.records.record import Record
from flowrig.studies.cleaner import task_of
from flowrig.studies.result import Quantity
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear

READINGS = ("cold", "hot", "room_cold", "room_hot")
BELOW, ABOVE, OPEN, NO_LIMIT = "below the limit", "above the limit", "cannot be told", "no limit given"

COPPER_TAKEN = FlagMeaning(
    "winding taken as copper",
    "note",
    "The rise is the mean over the winding, which was taken as copper; its hottest place is warmer. Of aluminium the "
    "rise would be some 4 % less. A winding cools as soon as it is switched off: read late, it seems cooler.",
    "IEC 60335-1, clause 11 (from memory)",
)
TOO_HOT = FlagMeaning(
    "winding too hot",
    "alarm",
    "The measured rise of the winding is above the limit, its error bar included. Do not run the fan like this: unplug "
    "it, take filters of less resistance or more of them, and measure again.",
)
MAYBE_TOO_HOT = FlagMeaning(
    "winding may be too hot",
    "warning",
    "The limit lies within the error bar of the measured rise: whether the winding stays below it cannot be told. Take "
    "it as above, or measure it more exactly.",
)
FLAGS = (COPPER_TAKEN, TOO_HOT, MAYBE_TOO_HOT)


@dataclass
class Heat:
    """How far a winding warmed up.

    Attributes
    ----------
    record : Record
    rise : Quantity
        Above the room. [K]
    limit : float or None
        The highest rise allowed, in the unit of `rise`.
    verdict : str
        ``below the limit``, ``above the limit``, ``cannot be told``, or ``no limit given``.
    findings : list of Finding
    """

    record: Record
    rise: Quantity
    limit: float | None
    verdict: str
    findings: list[Finding] = field(default_factory=list)


def heat(record: Record, *, coverage: float = 0.95, samples: int | None = None, seed: int = 1) -> Heat | None:
    """Rise of a winding, from a record's table [winding]; None where there is none.

    Parameters
    ----------
    record : Record
        With a table [predict].
    coverage : float
    samples : int, optional
        Take a Monte Carlo interval from so many draws.
    seed : int

    Raises
    ------
    InputError
        If the hot winding has less resistance than the cold one.
    """
    section = task_of(record).winding
    if section is None:
        return None
    findings = [*all_findings(record.instruments)]
    inputs = {}
    for name in READINGS:
        item = section[name]
        read = reading_estimate(item, record.instruments.get(item.instrument), record)
        findings += read.findings
        inputs[name] = _of_its_own(mean_estimate(read, item, record).estimate, name)
    if not inputs["hot"].value > inputs["cold"].value:
        said = f"more than the cold winding has, {as_written(section['cold'])}"
        remedy = "Check which of the two is which: copper conducts worse when it is warm."
        raise InputError(Fault(section["hot"].where, as_written(section["hot"]), said, remedy))
    found = linear(_kernel, inputs, (), {"rise": ()})["rise"]
    limit = section.items.get("limit")
    unit = limit.unit if limit is not None and limit.unit else "K"
    bar = interval(found, coverage, samples=samples, seed=seed)
    rise = Quantity("winding_rise", "rise of the winding above the room", "temperature difference", unit, found, bar)
    findings.append(Finding(COPPER_TAKEN, f"{float(found.value):.3g} K on average over the winding"))
    if limit is None:
        return Heat(record, rise, None, NO_LIMIT, findings)
    verdict = BELOW if bar.high < limit.value else ABOVE if bar.low > limit.value else OPEN
    if verdict != BELOW:
        meaning = TOO_HOT if verdict == ABOVE else MAYBE_TOO_HOT
        said = f"{float(rise.value):.3g} {unit}, limit {as_written(limit)}"
        findings.insert(0, Finding(meaning, said))
    shown = float(units.from_si(limit.value, unit, "temperature difference"))
    return Heat(record, rise, shown, verdict, findings)


def _of_its_own(read: Estimate, name: str) -> Estimate:
    """The same reading, its instrument's error free of what the instrument errs by at another level.

    Cold and hot lie far apart on the scale. A limit says how large the error may be at each, not that it is the same
    at both, so the rise may not lose it as a difference of two errors that are one.
    """
    parts = {
        replace(cause, id=f"{cause.id}:{name}") if cause.scope in ("calibration", "setup") else cause: part
        for cause, part in read.parts.items()
    }
    return Estimate(read.value, read.axes, parts)


def _kernel(**readings: Array) -> dict[str, Array]:
    return {"rise": np.asarray(winding_rise(**readings))}
