"""What was read of the unit beside its flow: electrical power, sound level. One value each, with its error bar."""

from __future__ import annotations

from flowrig import units
from flowrig.records.declare import Reading
from flowrig.records.estimates import mean_estimate, reading_estimate
from flowrig.records.items import Item
from flowrig.studies.odd import odd_readings
from flowrig.studies.result import Quantity, Result
from flowrig.uncertainty.interval import interval


def measured_beside(result: Result) -> dict[str, Quantity]:
    """Every reading of the tables beside the flow, by its path; what is found about them goes to the result."""
    return {
        f"{table}.{item.field.name}": _quantity(item, f"{table} {item.field.name}", result)
        for table, section in result.record.beside.items()
        for item in section.items.values()
        if isinstance(item.field, Reading)
    }


def _quantity(item: Item, label: str, result: Result) -> Quantity:
    assert isinstance(item.field, Reading)
    record = result.record
    read = reading_estimate(item, record.instruments.get(item.instrument), record)
    result.findings += [*read.findings, *odd_readings(item, None)]
    estimate = mean_estimate(read, item, record).estimate
    bar = interval(estimate, result.coverage, samples=result.samples, seed=result.seed)
    unit = item.unit or units.default_display(item.field.kind)
    return Quantity(item.field.name, label, item.field.kind, unit, estimate, bar)
