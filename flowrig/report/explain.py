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
from flowrig.report.topics import SORTS, Topic, find, folded, topics
from flowrig.report.word import Word

WIDTH = 80
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
    text, faults = told(names)
    if faults:
        raise InputError(faults)
    return text


def told(names: list[str]) -> tuple[str, list[Fault]]:
    """What is known of several names, in their order, and a fault for each that is not known."""
    if not names:
        return overview(), []
    found = {name: find(name) for name in names}
    matches = {id(topic): topic for named in found.values() for topic in named}
    text = "\n\n".join("\n".join(_topic(topic)) for topic in matches.values())
    return text, [_unknown(name) for name, named in found.items() if not named]


def overview() -> str:
    """Everything but the fields, a line each."""
    lines = ["flowrig explain NAME says more; a field is found by its name, such as drop.", ""]
    for sort, title in SORTS.items():
        listed = [topic for topic in topics() if topic.sort == sort]
        if sort == "field":
            continue
        lines.append(title)
        width = max(len(topic.name) for topic in listed)
        for topic in listed:
            room = WIDTH - width - 4
            severity = f"{topic.declared.severity}: " if isinstance(topic.declared, FlagMeaning) else ""
            said = textwrap.shorten(severity + topic.line, room, placeholder=" ...")
            lines.append(f"{_INDENT}{topic.name:<{width}}  {said}")
        lines.append("")
    return "\n".join(lines).rstrip()


def _unknown(name: str) -> Fault:
    keys = {key: topic.name for topic in topics() for key in topic.keys}
    wanted = folded(name)
    near = difflib.get_close_matches(wanted, keys, n=5, cutoff=0.6)
    near += [key for key in keys if wanted and (wanted in key.split() or key.startswith(wanted))]
    names = list(dict.fromkeys(keys[key] for key in near))[:5]
    remedy = f"Nearest: {', '.join(names)}." if names else "flowrig explain, without a name, lists everything."
    expected = "the name of a method, table, field, flag, cause or kind of unit"
    return Fault("flowrig explain", repr(name), expected, remedy)


def _topic(topic: Topic) -> Iterator[str]:
    of = f" of {', '.join(topic.owners)}" if topic.owners else ""
    head = f"{topic.name}: {topic.sort}{of}"
    yield from textwrap.wrap(head, WIDTH)
    yield "-" * min(len(head), WIDTH)
    writers: dict[type, Callable[[Topic], Iterator[str]]] = {
        Method: _method,
        Table: _table,
        FlagMeaning: _flag,
        Effect: _effect,
        CauseMeaning: _cause,
        Word: lambda word: iter(_paragraph(word.line)),
        str: _kind,
    }
    yield from writers.get(type(topic.declared), _field)(topic)


def _paragraph(text: str, indent: str = _INDENT) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _labelled(label: str, text: str) -> list[str]:
    """A label and what belongs to it, hanging; nothing where nothing belongs to it."""
    head = f"{_INDENT}{label:<{_LABEL}}"
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head), break_on_hyphens=False)


def _item(name: str, text: str) -> list[str]:
    """A name on a line, what it means below it."""
    return [f"{_INDENT * 2}{name}", *_paragraph(text, _INDENT * 4)]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", ":")) else ".")


def _with_source(text: str, source: str) -> str:
    return f"{text} Source: {source}." if source else text


def _method(topic: Topic) -> Iterator[str]:
    method: Method = topic.declared
    yield from _paragraph(_sentence(method.title))
    yield from _paragraph(method.help)
    yield from _labelled("Source", method.source)
    fields = sorted(method.fields, key=lambda f: not f.required)
    yield from ("", f"{_INDENT}Fields of its [[flow]] section, required first")
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
    yield from ("", f"{_INDENT}Conventions")
    for text in method.conventions:
        yield from _paragraph(_sentence(text), _INDENT * 2)
    yield from ("", f"{_INDENT}Corrections and model errors")
    for effect in method.effects:
        yield from _item(effect.label, _with_source(effect.help, effect.source))
    yield from ("", f"{_INDENT}Limits of use")
    for flag in method.flags:
        yield from _item(f"{flag.code} ({flag.severity})", _with_source(flag.meaning, flag.source))
    yield from ("", f"{_INDENT}Take care; local codes and licensed practice come first")
    for caution in method.cautions:
        yield from _paragraph(_with_source(caution.text, caution.source), _INDENT * 2)


def _headed(declared: Field) -> str:
    said = ["required" if declared.required else "", describe.form(declared)]
    if describe.default(declared):
        said.insert(1, f"{describe.default(declared)} if left out")
    head = f"{declared.name} ({'; '.join(filter(None, said))})"
    # the choices of a long list are told by `flowrig explain FIELD`
    return textwrap.shorten(head, WIDTH - 4, placeholder=" ...)")


def _table(topic: Topic) -> Iterator[str]:
    table: Table = topic.declared
    yield from _paragraph(table.help)
    yield ""
    for declared in sorted(table.fields, key=lambda f: not f.required):
        yield from _item(_headed(declared), declared.help)
    for alternative in table.alternatives:
        yield from _paragraph(_sentence(describe.alternative(alternative)), _INDENT * 2)


def _field(topic: Topic) -> Iterator[str]:
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


def _flag(topic: Topic) -> Iterator[str]:
    flag: FlagMeaning = topic.declared
    yield from _labelled("Severity", f"{flag.severity}: {SEVERITIES[flag.severity]}")
    yield from _paragraph(flag.meaning)
    yield from _labelled("Source", flag.source)


SEVERITIES = {
    "note": "an assumption to know",
    "warning": "may move the result by as much as its error bar",
    "alarm": "the number should not be used before this is dealt with",
}


def _effect(topic: Topic) -> Iterator[str]:
    effect: Effect = topic.declared
    yield from _paragraph(effect.help)
    shared = (
        "the same error in every use of the method" if effect.scope == "method" else "an error of this set-up alone"
    )
    yield from _labelled("Shape", f"{effect.shape}; standard uncertainty is the limit over {effect.divisor:.3g}")
    yield from _labelled("Shared", shared)
    yield from _labelled("Known as", effect.id)
    yield from _labelled("Source", effect.source)


def _cause(topic: Topic) -> Iterator[str]:
    cause: CauseMeaning = topic.declared
    yield from _paragraph(cause.meaning)
    yield from _labelled("Source", cause.source)


def _kind(topic: Topic) -> Iterator[str]:
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
