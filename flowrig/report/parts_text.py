"""What stands beside the flows of a record, for people."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module

from flowrig.report.blocks import Block, Heading, raised, wrapped
from flowrig.report.lines import budget_blocks, capital, quantity_table
from flowrig.studies.result import PartResult, Result

# Parts that are shown in a way of their own: module and function, from result and part to blocks.
TEXTS: dict[str, tuple[str, str]] = {
    "particles": ("particles_text", "particles_blocks"),
    "decay": ("room_decay_text", "decay_blocks"),
}


def parts_blocks(result: Result) -> Iterator[Block]:
    """Every part, each after an empty line."""
    for name, part in result.parts.items():
        yield ""
        if name in TEXTS:
            module, function = TEXTS[name]
            yield from getattr(import_module(f"flowrig.report.{module}"), function)(result, part)
        else:
            yield from part_blocks(part)


def part_blocks(part: PartResult) -> Iterator[Block]:
    """Title, what follows in words, numbers with their bars, what dominates the first, and what was found."""
    yield Heading(part.title)
    for sentence in part.sentences:
        yield from wrapped(sentence, further=4)
    yield from numbers_blocks(part)
    if part.findings:
        yield from ("", *raised(part.findings))


def numbers_blocks(part: PartResult) -> Iterator[Block]:
    """A line a number, and the largest causes of the first."""
    if not part.quantities:
        return
    yield quantity_table(part.quantities.values(), name=capital)
    first = next(iter(part.quantities.values()))
    yield from budget_blocks(first, first.label)
