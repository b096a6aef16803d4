"""Tables of methods, fields and flags in Markdown, from the declarations, for the documentation."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from flowrig.records import describe
from flowrig.records.declare import Field, FlagMeaning, OneOf
from flowrig.records.formulas import tables as tables_of_calibrations
from flowrig.report.topics import methods, record_tables, topics


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table; bars within cells are escaped."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join(f"| {' | '.join(_cell(cell) for cell in line)} |" for line in lines)


def _cell(text: str) -> str:
    return " ".join(text.replace("|", "\\|").split())


def method_table() -> str:
    """Every method: what it is, what it needs, where it is from."""
    rows = []
    for method in methods():
        needed = [f"`{f.name}`" for f in method.fields if f.required]
        needed += [describe.alternative(choice) for choice in method.alternatives if choice.required]
        rows.append((f"`{method.name}`", f"{method.title}. {method.help}", ", ".join(needed), method.source))
    return table(("method", "what it is", "needs", "source"), rows)


def field_tables() -> str:
    """Every field of every table of a record and of every method, a table each under its heading."""
    parts = []
    for owner in record_tables():
        title = f"`[{owner.name}]`" if owner.name else "Heading"
        parts.append(_fields(title, owner.help, owner.fields, owner.alternatives))
    for method in methods():
        parts.append(_fields(f"`[[flow]]` of `{method.name}`", method.help, method.fields, method.alternatives))
    return "\n\n".join(parts)


def _fields(title: str, help_: str, fields: Sequence[Field], alternatives: Sequence[OneOf]) -> str:
    rows = []
    for declared in sorted(fields, key=lambda f: not f.required):
        units = describe.unit_line(declared)
        takes = ". ".join(filter(None, (describe.form(declared), units, describe.bounds(declared))))
        left_out = "required" if declared.required else describe.default(declared)
        example = f"`{declared.name} = {declared.example}`" if declared.example else ""
        rows.append((f"`{declared.name}`", declared.help, takes, left_out, example))
    said = [f"{help_}\n"] + [f"{describe.alternative(choice).capitalize()}.\n" for choice in alternatives]
    return "\n".join([f"### {title}\n", *said, table(("field", "meaning", "takes", "if left out", "example"), rows)])


def calibration_tables() -> str:
    """Every field of a calibration file, a table each."""
    several = {"calibration_file.cause", "calibration_file.point"}
    parts = []
    for owner in tables_of_calibrations():
        name = owner.name.partition(".")[2]
        title = "Heading" if not name else f"`[[{name}]]`" if owner.name in several else f"`[{name}]`"
        parts.append(_fields(title, owner.help, owner.fields, owner.alternatives))
    return "\n\n".join(parts)


def flag_table() -> str:
    """Every flag: how serious, what it means and what to do, and where the limit is from."""
    rows = []
    for topic in topics():
        if isinstance(topic.declared, FlagMeaning):
            flag = topic.declared
            of = ", ".join(f"`{name}`" for name in topic.owners) or "any record"
            rows.append((flag.code, flag.severity, of, flag.meaning, flag.source))
    return table(("flag", "severity", "raised by", "meaning", "source"), rows)
