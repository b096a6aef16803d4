"""What several commands read and check in the same way."""

from __future__ import annotations

import os
from collections.abc import Iterable

from flowrig.errors import Fault, InputError

LEAST_SURE = 0.5
MOST_SURE = 0.9999  # what lies beyond is known of no instrument
FEWEST, MOST = 1_000, 10_000_000  # draws


def probability(text: str) -> float:
    """95 %, 95% or 0.95. A bare number above 1 is read as per cent."""
    words = text.strip().rstrip("%").strip()
    try:
        number = float(words)
    except ValueError:
        number = float("nan")
    if text.strip().endswith("%") or number > 1:
        number /= 100
    if not LEAST_SURE <= number <= MOST_SURE:
        expected = f"a probability such as 95 % or 0.95, from {100 * LEAST_SURE:g} to {100 * MOST_SURE:g} %"
        remedy = "Write a number, with a decimal point. It is a probability, not a coverage factor: k = 2 is 95.45 %."
        raise InputError(Fault("--coverage", f"{text!r}", expected, remedy))
    return number


def check_samples(samples: int | None) -> None:
    """Raises `InputError` where --samples is no number of draws to make an interval of."""
    if samples is not None and not FEWEST <= samples <= MOST:
        remedy = "Fewer draws do not make an interval; more are held in memory and add no digit."
        raise InputError(Fault("--samples", str(samples), f"a number from {FEWEST} to {MOST}", remedy))


def unit_of_flow(unit: str | None) -> None:
    """Raises `InputError` where --unit is none of a flow."""
    if unit is None:
        return
    from flowrig import units
    from flowrig.records.words import unreadable

    try:
        units.factor(unit, "flow")
    except ValueError as error:
        raise InputError(unreadable("--unit", unit, "a unit of flow", error)) from None


def files_apart(record: str, outputs: Iterable[str | None], inputs: Iterable[str]) -> None:
    """Each output is a file of its own that can be written, and none of the inputs: readings cannot be taken again.

    Parameters
    ----------
    record : str
    outputs : iterable of str or None
        None for one that is not wanted.
    inputs : iterable of str
        Other files that were read, by their names beside the record.
    """
    beside = (os.path.join(os.path.dirname(record), name) for name in inputs)
    taken = {os.path.realpath(name) for name in (record, *beside)}
    faults = []
    wanted = [name for name in outputs if name is not None]
    for name in wanted:
        path = os.path.realpath(name)
        if path in taken:
            read = "a file that this very command reads or writes already"
            faults.append(Fault(name, read, "a file of its own for each result", "Name another file."))
        taken.add(path)
    if faults:
        raise InputError(faults)
    if wanted:
        from flowrig.records.write import targets_of

        targets_of(wanted)
