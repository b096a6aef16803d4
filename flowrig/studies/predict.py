"""A cleaner that is not built yet: where fan and filters agree, and what else is to be tried of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flowrig.records.record import Record
from flowrig.studies.arguments import checked
from flowrig.studies.cleaner import task_of
from flowrig.studies.equal_noise import EqualNoise, equal_noise
from flowrig.studies.heat import Heat, heat
from flowrig.studies.life import Life, life
from flowrig.studies.operating_point import OperatingPoint, operating_point
from flowrig.studies.reduce import load
from flowrig.studies.sweep import Swept, sweep


@dataclass
class Predicted(OperatingPoint):
    """A cleaner predicted.

    Attributes
    ----------
    swept : Swept or None
        The designs of the table [sweep].
    life : Life or None
        What becomes of it in use, by the table [life].
    heat : Heat or None
        What the resistances in the table [winding] say.
    noise : EqualNoise or None
        What several slower ones come to, by the table [noise].
    seed : int
    samples : int or None
    """

    swept: Swept | None = None
    life: Life | None = None
    heat: Heat | None = None
    noise: EqualNoise | None = None
    seed: int = 1
    samples: int | None = None

    def __repr__(self) -> str:
        more = f", {len(self.swept)} designs" if self.swept is not None else ""
        return f"<Predicted {self.record.name}: {self.flow!r}{more}>"


@checked
def predict(
    source: str | Path | Mapping[str, Any] | Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
) -> Predicted:
    """Predict a cleaner.

    Parameters
    ----------
    source : path, mapping or Record
        With a table [predict], which names a fan, and with [[filters]].
    coverage : float
        Probability of the intervals.
    samples : int, optional
        Take Monte Carlo intervals from so many draws; by default they are taken only where the linear ones would not
        be honest.
    seed : int
        Of the draws.
    unit : str, optional
        Unit to print flows in, before the record's own.

    Raises
    ------
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the records.
    CalculationError
        If fan and bank do not meet inside the fan's curve.
    """
    record = source if isinstance(source, Record) else load(source)
    task = task_of(record)
    drawn: dict[str, Any] = {"coverage": coverage, "seed": seed}
    # the sweep first: what is wrong with its list is soon said
    swept = sweep(record, unit=unit, **drawn) if task.sweep is not None else None
    point = operating_point(record, samples=samples, unit=unit, **drawn)
    return Predicted(
        **vars(point),
        swept=swept,
        life=life(record, unit=unit, **drawn) if task.life is not None else None,
        heat=heat(record, samples=samples, **drawn),
        noise=equal_noise(record, samples=samples, unit=unit, **drawn),
        seed=seed,
        samples=samples,
    )
