"""What a record holds beside its flows, reduced part by part: each may lean on the flows and on those before it."""

from __future__ import annotations

from importlib import import_module

from flowrig.errors import CalculationError
from flowrig.progress import doing
from flowrig.studies.result import PartResult, Result

# The study of each part, in the order in which they lean on each other: module and function, from the result so far to
# that of the part. Imported when a record holds the part.
STUDIES: dict[str, tuple[str, str]] = {
    "electrical": ("electrical", "electrical"),
    "sound": ("sound", "sound"),
    "particles": ("particles", "reduce_counts"),
    "decay": ("room_decay", "decayed"),
}


def reduced_beside(result: Result) -> dict[str, PartResult]:
    """Every part of the record that `reduce` is for; each is in the result before the next is looked at.

    Raises
    ------
    CalculationError
        If neither the flows nor any part come to a number.
    """
    for name, (module, function) in STUDIES.items():
        if name in result.record.parts:
            with doing(name):
                result.parts[name] = getattr(import_module(f"flowrig.studies.{module}"), function)(result)
    if result.parts and not result.flows and not any(part.quantities for part in result.parts.values()):
        found = [f for part in result.parts.values() for f in part.findings if f.severity != "note"]
        raise CalculationError(
            f"No number follows from this record. {'; '.join(f'{f.code}: {f.message}' for f in found)}"
        )
    return result.parts
