"""Quantities as people write them, to SI with the ± beside them; and the faults of a file, collected."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from flowrig import units
from flowrig.errors import Fault
from flowrig.records.in_python import is_finite, is_number
from flowrig.records.items import path_name, unit_written
from flowrig.records.largest_error import too_large
from flowrig.records.words import a, no_value, sentence, shown, unreadable, usual_units
from flowrig.uncertainty.statement import Component, parse_value

Path_ = tuple[str | int, ...]


@dataclass
class QuantityReader:
    """Reads quantities, and remembers what was wrong where.

    Attributes
    ----------
    where : callable
        Path of keys to the words that name the place in the file.
    faults : list of Fault
        Everything found wrong so far.
    spoiled : set of str
        Paths of fields whose absence has been explained already, by a fault of the file they stand in.
    """

    where: Callable[..., str]
    faults: list[Fault] = field(default_factory=list)
    spoiled: set[str] = field(default_factory=set)

    def fault(self, path: Path_, read: object, expected: str, remedy: str) -> None:
        """A value at `path` that cannot be used; what hangs on it is then not looked for again."""
        self.faults.append(Fault(self.where(*path), shown(read), expected, remedy))
        self.spoiled.add(path_name(path))

    def miss(self, path: Path_, read: str, expected: str, remedy: str) -> None:
        """The same with words of our own for what was read, where there is no value to show."""
        self.faults.append(Fault(self.where(*path), read, expected, remedy))
        self.spoiled.add(path_name(path))

    def unreadable(self, path: Path_, text: str, expected: str, problem: ValueError) -> None:
        self.faults.append(unreadable(self.where(*path), text, expected, problem))
        self.spoiled.add(path_name(path))

    def is_spoiled(self, *path: str | int) -> bool:
        return bool(self.spoiled) and path_name(path) in self.spoiled

    def quantity(
        self, raw: object, kind: str, path: Path_, example: str
    ) -> tuple[float, str, tuple[Component, ...]] | None:
        """Value in SI, spelling of its unit, and the ± beside it."""
        shape = f"{a(kind)}, such as {example or (repr('1 ' + units.usual(kind)[0]) if kind != 'count' else '4')}"
        if hasattr(raw, "m_as"):
            try:
                return float(units.magnitude(raw, kind)), units.default_display(kind), ()
            except TypeError:
                self.fault(path, raw, shape, 'Give a plain quantity; its ± is written in words: "150 mm ± 0.15 mm".')
                return None
            except ValueError as error:
                self.fault(path, raw, shape, sentence(str(error)))
                return None
        if is_number(raw):
            if not is_finite(raw):
                self.fault(path, raw, shape, "A value that is missing or without bound cannot be used.")
                return None
            if units.bare(kind):
                return float(raw), "", ()
            bare = f"A bare number does not say its unit: write it in quotes with {usual_units(kind)}."
            self.fault(path, raw, shape, bare)
            return None
        if not isinstance(raw, str):
            self.fault(path, raw, shape, no_value(raw, units.bare(kind)))
            return None

        def read(text: str) -> float:
            return units.read(text, kind)

        def convert(number: float, unit: str) -> float:
            return float(units.to_si(number, unit, units.as_difference(kind)))

        try:
            percent = "%RH" if kind == "relative humidity" else "%"
            value, components = parse_value(raw, read, convert, relative_unit=percent)
        except ValueError as error:
            self.unreadable(path, raw, shape, error)
            return None
        beyond = too_large(kind, value, components)
        if beyond:
            self.fault(path, raw, beyond, "Check the digits behind the ±.")
            return None
        return value, unit_written(raw), components
