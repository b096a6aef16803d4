"""The tables of a cleaner that is to be predicted, and the records of the fan and filters that they name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from flowrig.records import predict_facts
from flowrig.records.declare import Described, Table
from flowrig.records.items import Section, path_name
from flowrig.records.walk import Walker


@dataclass
class Prediction:
    """What is to be predicted. In place of a file's name stands the record that was read from it.

    Attributes
    ----------
    task : Section
        The table [predict].
    filters, losses : list of Section
    sweep, life, winding : Section or None
    """

    task: Section
    filters: list[Section] = field(default_factory=list)
    losses: list[Section] = field(default_factory=list)
    sweep: Section | None = None
    life: Section | None = None
    winding: Section | None = None

    @property
    def sections(self) -> list[Section]:
        alone = [s for s in (self.task, self.sweep, self.life, self.winding) if s is not None]
        return [*alone, *self.filters, *self.losses]


def read_prediction(
    data: Mapping[str, Any], walker: Walker, look_up: Callable[[Described, Any, tuple[str | int, ...]], Any]
) -> Prediction:
    """Read the tables of a prediction.

    Parameters
    ----------
    data : mapping
        The record as TOML has it, with a table [predict].
    walker : Walker
    look_up : callable
        From what a field holds to the record it names, or None after a fault; called with the field, what it holds
        and its path.
    """

    def section(table: Table, raw: object, path: tuple[str | int, ...]) -> Section:
        read = walker.section(table, raw, path)
        for name, item in list(read.items.items()):
            if not isinstance(item.field, Described):
                continue
            item.value = _looked_up(item.field, item.value, (*path, name), look_up)
            if item.value is None:
                del read.items[name]
                walker.spoiled.add(path_name((*path, name)))
        walker.complete(read)
        return read

    def several(table: Table) -> list[Section]:
        raw = data.get(table.name, [])
        if isinstance(raw, list):
            return [section(table, one, (table.name, i)) for i, one in enumerate(raw)]
        remedy = f"Write [[{table.name}]]: there may be several."
        walker.miss((table.name,), f"[{table.name}], a single table", f"[[{table.name}]], in double brackets", remedy)
        return []

    def one(table: Table) -> Section | None:
        return section(table, data[table.name], (table.name,)) if table.name in data else None

    life = data.get("life")
    prices = predict_facts.life_table(str(life.get("currency", "USD")) if isinstance(life, Mapping) else "")
    task = section(predict_facts.PREDICT, data["predict"], ("predict",))
    found = Prediction(
        task,
        several(predict_facts.FILTERS),
        several(predict_facts.LOSSES),
        one(predict_facts.SWEEP),
        section(prices, life, ("life",)) if life is not None else None,
        one(predict_facts.WINDING),
    )
    if not found.filters and not walker.is_spoiled("filters"):
        remedy = 'Add [[filters]] with filter = "…" and count; losses alone are no cleaner.'
        walker.miss((), "no [[filters]]", "what is in front of the fan", remedy)
    return found


def _looked_up(declared: Described, raw: Any, path: tuple[str | int, ...], look_up: Callable[..., Any]) -> Any:
    if not declared.several:
        return look_up(declared, raw, path)
    found = [look_up(declared, one, (*path, i)) for i, one in enumerate(raw)]
    return None if any(one is None for one in found) else found
