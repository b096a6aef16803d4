"""How a part that counts particles comes to hold classes and clean-air rates beside its own numbers."""

from __future__ import annotations

from dataclasses import dataclass

from flowrig.records.items import Section
from flowrig.studies.by_size import BySize
from flowrig.studies.clean_air_rate import CleanAir, clean_air_of
from flowrig.studies.result import PartResult, Quantity, Result


@dataclass(repr=False)
class CleanAirPart(PartResult):
    """A part with clean-air rates.

    Attributes
    ----------
    clean_air : CleanAir or None
        None where no filter was counted.
    """

    clean_air: CleanAir | None = None

    def rate(self, lower: float, upper: float) -> Quantity | None:
        """Clean-air rate of the particles between two sizes (m); None where it cannot be told."""
        return self.clean_air.rate(lower, upper) if self.clean_air is not None else None

    def add_clean_air(self, result: Result, by_size: BySize | None, section: Section) -> None:
        """What follows from the efficiencies, added to the numbers, words and findings of the part.

        Raises
        ------
        InputError
            As `clean_air_of`.
        """
        if by_size is None:
            return
        self.clean_air = found = clean_air_of(result, by_size, section)
        self.quantities |= found.quantities
        self.sentences += found.sentences
        self.findings += found.findings
