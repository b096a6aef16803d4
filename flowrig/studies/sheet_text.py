"""A plan of a blank record as text: the TOML file, the grid, and where the probe goes."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
import textwrap
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from flowrig import units
from flowrig.records import describe, electrical_facts, schema, sound_readings, unit_facts
from flowrig.records.declare import Field, Names, Reading, Table, Text
from flowrig.records.points import DIRECTIONS, task_table

if TYPE_CHECKING:
    from flowrig.studies.sheet import Plan

WIDTH = 80
BESIDE = (electrical_facts.PART, sound_readings.PART)  # what is read of a unit while its flow is measured
POINTS_A_RUN = 8  # up and down make sixteen: fifteen or so are usual
HOW_TO = (
    'Fill what stands between empty quotes, with its unit: "23.4 degC". A decimal point, not a comma.',
    "Lines that begin with # are comments. To use an optional line, take its # away.",
    'Other units of a kind: `flowrig explain "pressure difference"`. What a field means: `flowrig explain drop`.',
)


def record_text(plan: Plan) -> str:
    """The record, one table after the other."""
    method = plan.method
    lines = [*comment(f"{method.title}: {method.help}"), "#"]
    for text in HOW_TO:
        lines += comment(text)
    lines += ["#", "# Take care. Local codes and licensed practice come first."]
    for caution in method.cautions:
        lines += comment(f"- {caution.text}", "  ")
    lines += ["", *_table(plan, schema.HEADING, {"": plan.heading})]
    lines += ["", *_table(plan, schema.AIR, {"[air.meter]": {}})]
    named = {
        f"[instruments.{schema.USUAL_NAMES.get(kind, kind.replace(' ', '_'))}]": {"measures": kind}
        for kind in plan.instruments
    }
    lines += ["", *_table(plan, schema.INSTRUMENT, named)]
    for table in (*method.hardware, schema.CHAMBERS):
        tables = {f"[{table.name}.{name}]": given for name, given in plan.hardware.get(table.name, {}).items()}
        lines += ["", *(_table(plan, table, tables) if tables else _optional_hardware(plan, table))]
    flow = {"method": method.name, **({"name": "reference"} if plan.calibrates else {}), **plan.flow}
    lines += ["", *_table(plan, plan.flow_table, {"[[flow]]": flow}, position_lines(plan))]
    if plan.calibrates:
        given = {"calibrates": plan.calibrates, "points": "points.csv", "indication": None}
        lines += ["", *_table(plan, task_table(plan.calibrates), {"[calibration]": given})]
        return "\n".join(lines) + "\n"
    for part in BESIDE:
        for table in part.all_tables:
            lines += ["", *in_comments(table, part.heading(table), "Optional; take the # away from its name too:")]
    lines += ["", *_table(plan, unit_facts.CLAIMS, {"[claims]": {}})]
    return "\n".join(lines) + "\n"


def _table(
    plan: Plan, table: Table, headers: Mapping[str, dict[str, Any]], first: list[str] | None = None
) -> Iterator[str]:
    """One table, or several alike. What holds for all of them is said once, before the first."""
    several = len(headers) > 1
    yield from rule(table)
    optional = list(_optional(plan, table, next(iter(headers.values()))))
    if several and optional:
        yield "#"
        yield from comment("Optional lines; copy what is needed into the table it is for:")
        yield from optional
    for i, (header, given) in enumerate(headers.items()):
        if i or several:
            yield ""
        if header:
            yield header
        yield from (f"# {line}".rstrip() for line in first or ())
        yield from _live(plan, table, given, with_help=i == 0)
    if optional and not several:
        yield "#"
        yield from comment("Optional:")
        yield from optional


def _optional_hardware(plan: Plan, table: Table) -> Iterator[str]:
    """Hardware that the method can do without."""
    referring = next(f for f in plan.flow_table.fields if isinstance(f, Names) and f.table == table.name)
    name = re.sub(r"\W", "", referring.example)
    said = f"Optional, for {referring.name} in [[flow]]; take the # away from its name too:"
    return in_comments(table, f"[{table.name}.{name}]", said)


def in_comments(table: Table, header: str, said: str) -> Iterator[str]:
    yield from rule(table)
    yield "#"
    yield from comment(said)
    yield f"# {header}"
    for declared in table.fields:
        yield from comment(f"{declared.help}{form_in_words(declared)}")
        yield f"# {declared.name} = {describe.example(declared)}"


def rule(table: Table) -> Iterator[str]:
    rule = f"# ---- {describe.table_name(table)} "
    yield rule + "-" * (WIDTH - len(rule))
    yield from comment(table.help)


def _live(plan: Plan, table: Table, given: dict[str, Any], with_help: bool) -> Iterator[str]:
    """Lines to fill, or filled from what is known."""
    measured = str(given.get("measures", ""))
    needed = plan.live(table, given)
    for declared in table.fields:
        name = declared.name
        if name not in needed or getattr(declared, "grid", False):
            continue
        if given.get(name) is not None:
            yield from comment(declared.help) if with_help and name != "method" else ()
            yield f"{name} = {toml(given[name])}"
            continue
        repeated = table.name == "flow" and isinstance(declared, Reading) and declared.required
        may = "" if needed[name] else " May stay empty."
        example = f" Example: {declared.example}" if declared.example else ""
        words = (
            f"{declared.help}{form_in_words(declared, measured)}{may}{example}"
            if with_help
            else _units(declared, measured)
        )
        yield from comment(words)
        if repeated and plan.passes > 1:
            yield from comment(f"{plan.passes} readings; take away the quotes that are not needed.")
            yield f"{name} = {toml([''] * plan.passes)}"
        else:
            yield f'{name} = ""'


def _optional(plan: Plan, table: Table, given: dict[str, Any]) -> Iterator[str]:
    """Lines a person may bring to life: those not asked for, unless something else was chosen in their place."""
    needed = plan.live(table, given)
    passed = {
        name
        for choice in table.alternatives
        for names in choice.sets
        for name in names
        if any(n in given for n in plan.chosen(choice, given))
    }
    for declared in table.fields:
        left_out = declared.name in given and given[declared.name] is None
        if declared.name in needed or declared.name in passed or left_out or getattr(declared, "grid", False):
            continue
        instead = [
            " with ".join(plan.chosen(choice, given))
            for choice in table.alternatives
            if any(declared.name in names for names in choice.sets)
        ]
        words = f"Instead of {instead[0]}: " if instead else ""
        yield from comment(f"{words}{declared.help}{form_in_words(declared)}")
        yield f"# {declared.name} = {describe.example(declared)}"


def _units(declared: Field, measured: str = "") -> str:
    line = describe.unit_line(declared, measured)
    return f" In {line}." if line else ""


def form_in_words(declared: Field, measured: str = "") -> str:
    """What may be written, as a sentence behind the help; nothing where that says it all."""
    if isinstance(declared, (Text, Names)):
        return ""
    form = describe.form(declared, measured)
    return _units(declared, measured) or f" {form[:1].upper()}{form[1:]}."


def comment(text: str, further: str = "") -> list[str]:
    start, then = "# ", f"# {further}"
    return textwrap.wrap(text.strip(), WIDTH, initial_indent=start, subsequent_indent=then, break_on_hyphens=False)


def toml(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, dt.date)):
        return str(value)
    if isinstance(value, list):
        return f"[{', '.join(toml(v) for v in value)}]"
    return json.dumps(value, ensure_ascii=False)  # a JSON string is a TOML string


def grid_text(plan: Plan) -> str:
    """The grid as CSV: pass by pass, point by point, the readings blank."""
    layout = plan.layout
    assert layout is not None
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    places = [f"{name} [mm]" for name in layout.positions]
    readings = [f"{f.name} [{units.default_display(f.kind)}]" for f in plan.grid]
    writer.writerow(["pass", *layout.keys, *places, *readings])
    for pass_ in range(1, plan.passes + 1):
        for i, point in enumerate(layout.points):
            at = [f"{1000 * distances[i]:.1f}" for distances in layout.positions.values()]
            writer.writerow([pass_, *point, *at, *("" for _ in readings)])
    return stream.getvalue()


def points_text(plan: Plan) -> str:
    """The table of points as CSV: two runs, up and down, the readings blank."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    task = task_table(plan.calibrates)
    readings = [task.field("indication"), *plan.in_points]
    heads = [f"{f.name} [{units.default_display(describe.kind_of(f))}]" for f in readings]
    writer.writerow(["section", *heads, "run", "direction", "mounting"])
    for run, direction in enumerate(DIRECTIONS, start=1):
        for _ in range(POINTS_A_RUN):
            writer.writerow(["reference", *("" for _ in readings), run, direction, 1])
    return stream.getvalue()


def position_lines(plan: Plan) -> list[str]:
    """Where the probe goes, in mm and inches from the wall; each distance once, beside the number it goes with."""
    layout = plan.layout
    if layout is None:
        return []
    size = " x ".join(f"{1000 * extent:.4g}" for extent in layout.extent.values())
    inches = " x ".join(f"{extent / INCH:.4g}" for extent in layout.extent.values())
    lines = [
        f"Where the probe goes: {plan.flow['rule']}, {len(layout)} points.",
        f"Inside size {size} mm ({inches} in).",
        "Distances are from the inside of the wall on the side where counting starts.",
    ]
    for name, distances in layout.positions.items():
        key = next(
            i
            for i in range(len(layout.keys))
            if len({(point[i], float(at)) for point, at in zip(layout.points, distances, strict=True)})
            == len({point[i] for point in layout.points})
        )
        at = {point[key]: float(d) for point, d in zip(layout.points, distances, strict=True)}
        lines += ["", f"  {layout.keys[key]:>8}  {name + ' [mm]':>10}  {name + ' [in]':>10}"]
        lines += [f"  {number:>8}  {1000 * d:>10.1f}  {d / INCH:>10.2f}" for number, d in at.items()]
    return [*lines, ""]


INCH = float(units.to_si(1.0, "in", "length"))
