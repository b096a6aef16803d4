"""The tables of a cleaner that is to be predicted, and the records of the fan and filters that they name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flowrig.records import predict_facts
from flowrig.records.items import Section
from flowrig.records.noise_facts import NOISE
from flowrig.records.part import Part, PartReader


@dataclass
class Prediction:
    """What is to be predicted. In place of a file's name stands the record that was read from it.

    Attributes
    ----------
    task : Section
        The table [predict].
    filters, losses : list of Section
    sweep, life, winding, noise : Section or None
    """

    task: Section
    filters: list[Section] = field(default_factory=list)
    losses: list[Section] = field(default_factory=list)
    sweep: Section | None = None
    life: Section | None = None
    winding: Section | None = None
    noise: Section | None = None

    @property
    def sections(self) -> list[Section]:
        alone = [s for s in (self.task, self.sweep, self.life, self.winding, self.noise) if s is not None]
        return [*alone, *self.filters, *self.losses]


def read_prediction(reader: PartReader) -> Prediction:
    """The tables of a prediction, its prices in the currency that [life] names."""
    life = reader.data.get("life")
    prices = predict_facts.life_table(str(life.get("currency", "USD")) if isinstance(life, Mapping) else "")
    found = Prediction(
        reader.section(predict_facts.PREDICT, reader.data["predict"], ("predict",)),
        reader.several(predict_facts.FILTERS),
        reader.several(predict_facts.LOSSES),
        reader.one(predict_facts.SWEEP),
        reader.one(prices),
        reader.one(predict_facts.WINDING),
        reader.one(NOISE),
    )
    if not found.filters and not reader.walker.is_spoiled("filters"):
        remedy = 'Add [[filters]] with filter = "…" and count; losses alone are no cleaner.'
        reader.walker.miss((), "no [[filters]]", "what is in front of the fan", remedy)
    return found


PREDICTION = Part(
    predict_facts.PREDICT.name,
    read_prediction,
    (predict_facts.PREDICT, predict_facts.SWEEP, predict_facts.LIFE, predict_facts.WINDING, NOISE),
    (predict_facts.FILTERS, predict_facts.LOSSES),
)
