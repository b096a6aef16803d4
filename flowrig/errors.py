"""What can go wrong, said so that a tired person can act on it: fields first, sentence last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class FlowrigError(Exception):
    """Everything flowrig raises on purpose. The command line exits 1 for it."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    Attributes
    ----------
    where : str
        File, then line, table path, column or row: ``record.toml, line 12, air.meter.temperature``.
    read : str
        What stood there, as written.
    expected : str
        What would have been right.
    remedy : str
        What to do, as one sentence.
    """

    where: str
    read: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.where}: read {self.read}; expected {self.expected}. {self.remedy}".rstrip()


class InputError(FlowrigError):
    """A file, a record or an argument cannot be used. Holds every fault found; exit code 2.

    Attributes
    ----------
    faults : tuple of Fault
        At least one, in the order in which they were met.
    """

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class CalculationError(FlowrigError):
    """The input was readable but no honest number follows from it; exit code 1."""
