"""What stands beside the flows of a record, as plain text."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module

from flowrig.report.lines import budget_lines, findings_text, quantity_line, wrapped
from flowrig.studies.result import PartResult, Result

# Parts that are shown in a way of their own: module and function, from result and part to lines.
TEXTS: dict[str, tuple[str, str]] = {
    "particles": ("particles_text", "particles_text"),
    "decay": ("room_decay_text", "decay_text"),
}


def parts_text(result: Result) -> Iterator[str]:
    """Every part, each after an empty line."""
    for name, part in result.parts.items():
        yield ""
        if name in TEXTS:
            module, function = TEXTS[name]
            yield from getattr(import_module(f"flowrig.report.{module}"), function)(result, part)
        else:
            yield from part_text(part)


def part_text(part: PartResult) -> Iterator[str]:
    """Title, what follows in words, numbers with their bars, what dominates the first, and what was found."""
    yield part.title
    for sentence in part.sentences:
        yield from wrapped(sentence, further=4)
    yield from numbers_text(part)
    if part.findings:
        yield from ("", *findings_text(part.findings))


def numbers_text(part: PartResult) -> Iterator[str]:
    """A line a number, and the largest causes of the first."""
    if not part.quantities:
        return
    width = max(len(q.label) for q in part.quantities.values())
    for q in part.quantities.values():
        yield f"  {q.label[:1].upper()}{q.label[1:]:<{width - 1}}  {quantity_line(q)}"
    first = next(iter(part.quantities.values()))
    yield f"  Largest causes of error: {first.label} (share of the variance)"
    yield from budget_lines(first.estimate, first.unit, first.kind)
