"""What is read of a unit beside its flow: one value each, and what is missing beside it."""

from __future__ import annotations

from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import mean_estimate, reading_estimate
from flowrig.records.items import Item, Section
from flowrig.records.record import Record
from flowrig.studies.odd import odd_readings
from flowrig.uncertainty.estimate import Estimate

STATE_UNSAID = FlagMeaning(
    "setting or filters not said",
    "note",
    "Watts and sound belong to one setting of the speed and one state of the filters: with other filters, or later in "
    "their life, both differ. Say setting and filter_state.",
)
FLAGS = (STATE_UNSAID,)
STATE = (("setting", "setting:"), ("filter_state", "filters:"))  # fields and words


def value_of(item: Item, record: Record, findings: list[Finding]) -> Estimate:
    """Mean of what was read, with its instrument's limits and the scatter of repeats."""
    read = reading_estimate(item, record.instruments.get(item.instrument), record)
    findings += [*read.findings, *odd_readings(item, None)]
    return mean_estimate(read, item, record).estimate


def state_said(section: Section, first: str = "") -> list[str]:
    """At what it was read, as a sentence; none where nothing is told."""
    said = [first] if first else []
    said += [f"{words} {section.value(name)}" for name, words in STATE if name in section]
    words = "; ".join(said)
    return [f"{words[:1].upper()}{words[1:].rstrip('.')}."] if words else []


def state_unsaid(section: Section) -> list[Finding]:
    missing = [name for name in ("setting", "filter_state") if name not in section]
    return [Finding(STATE_UNSAID, f"{section.name}: no {' and no '.join(missing)}")] if missing else []
