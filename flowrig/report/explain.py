"""What a method, table, field, flag, cause or kind of unit means, from the declarations themselves."""

from __future__ import annotations

import difflib
import textwrap
from collections.abc import Callable, Iterator

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.methods.method import Effect, Method
from flowrig.records import describe
from flowrig.records.causes import CauseMeaning
from flowrig.records.declare import Field, FlagMeaning, Table
from flowrig.report.blocks import Block, Heading, Paragraph, labelled, plain
from flowrig.report.table import WIDTH
from flowrig.report.table import Table as Cells
from flowrig.report.topics import SORTS, Topic, find, folded, topics
from flowrig.report.word import Word

_INDENT = "  "
_LABEL = 12


def explain(name: str = "") -> str:
    """Say what a name means.

    Parameters
    ----------
    name : str
        A method, table, field (``drop``, ``nozzle.drop``, ``air.relative_humidity``), flag, cause of error or kind of
        unit, in any case, with hyphens or underscores for spaces; a path in a record or a line of a budget will do.
        Empty for a list of everything.

    Returns
    -------
    text : str
        Within 80 columns; everything of that name, each under what it is.

    Raises
    ------
    TypeError
        If it is no word.
    InputError
        If nothing has that name; the nearest names are given.
    """
    if not isinstance(name, str):
        raise TypeError(f"name is {name!r}; a word is expected, such as 'drop'")
    return explain_all([name] if name.strip() else [])


def explain_all(names: list[str]) -> str:
    """Say what several names mean; raises `InputError` with all that are not known. See `explain`."""
    blocks, faults = told(names)
    if faults:
        raise InputError(faults)
    return plain(blocks)


def told(names: list[str]) -> tuple[list[Block], list[Fault]]:
    """What is known of several names, in their order, and a fault for each that is not known."""
    if not names:
        return overview(), []
    found = {name: find(name) for name in names}
    matches = {id(topic): topic for named in found.values() for topic in named}
    blocks: list[Block] = []
    for topic in matches.values():
        blocks += ["", *_topic(topic)] if blocks else _topic(topic)
    return blocks, [_unknown(name) for name, named in found.items() if not named]


def overview() -> list[Block]:
    """Everything but the fields, a line each."""
    blocks: list[Block] = [Paragraph("flowrig explain NAME says more; a field is found by its name, such as drop.")]
    for sort, title in SORTS.items():
        if sort == "field":
            continue
        rows = []
        for topic in topics():
            if topic.sort == sort:
                severity = f"{topic.declared.severity}: " if isinstance(topic.declared, FlagMeaning) else ""
                rows.append((topic.name, severity + topic.line))
        blocks += ["", Heading(title), Cells(("name", "what it is"), tuple(rows), (0, 1), reads=_listed)]
    return blocks


def _listed(rows: tuple[tuple[str, ...], ...], room: int) -> Iterator[str]:
    """A line each, cut where it is longer."""
    width = max(len(name) for name, _ in rows)
    for name, line in rows:
        yield f"{_INDENT}{name:<{width}}  {textwrap.shorten(line, room - width - 4, placeholder=' ...')}"


def _unknown(name: str) -> Fault:
    keys = {key: topic.name for topic in topics() for key in topic.keys}
    wanted = folded(name)
    near = difflib.get_close_matches(wanted, keys, n=5, cutoff=0.6)
    near += [key for key in keys if wanted and (wanted in key.split() or key.startswith(wanted))]
    names = list(dict.fromkeys(keys[key] for key in near))[:5]
    remedy = f"Nearest: {', '.join(names)}." if names else "flowrig explain, without a name, lists everything."
    expected = "the name of a method, table, field, flag, cause or kind of unit"
    return Fault("flowrig explain", repr(name), expected, remedy)


def _topic(topic: Topic) -> Iterator[Block]:
    of = f" of {', '.join(topic.owners)}" if topic.owners else ""
    head = f"{topic.name}: {topic.sort}{of}"
    yield Heading(head)
    yield "-" * min(len(head), WIDTH)
    writers: dict[type, Callable[[Topic], Iterator[Block]]] = {
        Method: _method,
        Table: _table,
        FlagMeaning: _flag,
        Effect: _effect,
        CauseMeaning: _cause,
        Word: lambda word: iter(_paragraph(word.line)),
        str: _kind,
    }
    yield from writers.get(type(topic.declared), _field)(topic)


def _paragraph(text: str, indent: str = _INDENT) -> list[Block]:
    return [Paragraph(text, indent, indent, hyphens=False)] if text else []


def _labelled(label: str, text: str) -> list[Block]:
    """A label and what belongs to it, hanging; nothing where nothing belongs to it."""
    return [labelled(f"{_INDENT}{label:<{_LABEL}}", text, hyphens=False)] if text else []


def _item(name: str, text: str) -> list[Block]:
    """A name on a line, what it means below it."""
    return [f"{_INDENT * 2}{name}", *_paragraph(text, _INDENT * 4)]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", ":")) else ".")


def _with_source(text: str, source: str) -> str:
    return f"{text} Source: {source}." if source else text


def _method(topic: Topic) -> Iterator[Block]:
    method: Method = topic.declared
    yield from _paragraph(_sentence(method.title))
    yield from _paragraph(method.help)
    yield from _labelled("Source", method.source)
    fields = sorted(method.fields, key=lambda f: not f.required)
    yield from ("", Heading("Fields of its [[flow]] section, required first", 3))
    for declared in fields:
        yield from _item(_headed(declared), declared.help)
    for alternative in method.alternatives:
        yield from _paragraph(_sentence(describe.alternative(alternative)), _INDENT * 2)
    for table in method.hardware:
        yield from ("", *_paragraph(f"Hardware, [{table.name}.…]: {table.help}"))
        for declared in table.fields:
            yield from _item(_headed(declared), declared.help)
        for alternative in table.alternatives:
            yield from _paragraph(_sentence(describe.alternative(alternative)), _INDENT * 2)
    yield from ("", Heading("Conventions", 3))
    for text in method.conventions:
        yield from _paragraph(_sentence(text), _INDENT * 2)
    yield from ("", Heading("Corrections and model errors", 3))
    for effect in method.effects:
        yield from _item(effect.label, _with_source(effect.help, effect.source))
    yield from ("", Heading("Limits of use", 3))
    for flag in method.flags:
        yield from _item(f"{flag.code} ({flag.severity})", _with_source(flag.meaning, flag.source))
    yield from ("", Heading("Take care; local codes and licensed practice come first", 3))
    for caution in method.cautions:
        yield from _paragraph(_with_source(caution.text, caution.source), _INDENT * 2)


def _headed(declared: Field) -> str:
    said = ["required" if declared.required else "", describe.form(declared)]
    if describe.default(declared):
        said.insert(1, f"{describe.default(declared)} if left out")
    head = f"{declared.name} ({'; '.join(filter(None, said))})"
    # the choices of a long list are told by `flowrig explain FIELD`
    return textwrap.shorten(head, WIDTH - 4, placeholder=" ...)")


def _table(topic: Topic) -> Iterator[Block]:
    table: Table = topic.declared
    yield from _paragraph(table.help)
    yield ""
    for declared in sorted(table.fields, key=lambda f: not f.required):
        yield from _item(_headed(declared), declared.help)
    for alternative in table.alternatives:
        yield from _paragraph(_sentence(describe.alternative(alternative)), _INDENT * 2)


def _field(topic: Topic) -> Iterator[Block]:
    declared: Field = topic.declared
    yield from _paragraph(declared.help)
    yield from _labelled("Takes", describe.form(declared))
    yield from _labelled("Units", describe.unit_line(declared))
    yield from _labelled("Written as", describe.ways(declared))
    yield from _labelled("Bounds", describe.bounds(declared))
    yield from _labelled("Required", "yes" if declared.required else "no")
    yield from _labelled("If left out", describe.default(declared))
    if declared.example:
        yield from _labelled("Example", f"{declared.name} = {declared.example}")


def _flag(topic: Topic) -> Iterator[Block]:
    flag: FlagMeaning = topic.declared
    yield from _labelled("Severity", f"{flag.severity}: {SEVERITIES[flag.severity]}")
    yield from _paragraph(flag.meaning)
    yield from _labelled("Source", flag.source)


SEVERITIES = {
    "note": "an assumption to know",
    "warning": "may move the result by as much as its error bar",
    "alarm": "the number should not be used before this is dealt with",
}


def _effect(topic: Topic) -> Iterator[Block]:
    effect: Effect = topic.declared
    yield from _paragraph(effect.help)
    shared = (
        "the same error in every use of the method" if effect.scope == "method" else "an error of this set-up alone"
    )
    yield from _labelled("Shape", f"{effect.shape}; standard uncertainty is the limit over {effect.divisor:.3g}")
    yield from _labelled("Shared", shared)
    yield from _labelled("Known as", effect.id)
    yield from _labelled("Source", effect.source)


def _cause(topic: Topic) -> Iterator[Block]:
    cause: CauseMeaning = topic.declared
    yield from _paragraph(cause.meaning)
    yield from _labelled("Source", cause.source)


def _kind(topic: Topic) -> Iterator[Block]:
    """Every accepted spelling, unit by unit, and what one of it is in SI."""
    kind: str = topic.declared
    si = units.KINDS[kind]
    yield from _labelled("Shown in", units.default_display(kind))
    yield from _labelled("Accepted", "the spellings below; a difference of case alone is forgiven where it is clear")
    spellings: dict[tuple[float, float], list[str]] = {}
    for spelling in units.accepted(kind):
        spellings.setdefault(units.factor(spelling, kind), []).append(spelling or "(a bare number)")
    for (scale, offset), alike in spellings.items():
        value = f"1 {alike[0]} = {scale:.10g} {si}" if not offset else f"0 {alike[0]} = {offset:.10g} {si}"
        yield from _paragraph(value, _INDENT * 2)
        yield from _paragraph(", ".join(alike), _INDENT * 4)
