"""Declarations in words: what a field takes, in which units, between which bounds. The blank sheet, `flowrig explain`
and the tables of the documentation all say it in these."""

from __future__ import annotations

import math

from flowrig import units
from flowrig.records.declare import (
    DESCRIBED,
    Calibration,
    Choice,
    Count,
    Date,
    Described,
    Field,
    File,
    Flag,
    Given,
    Names,
    OneOf,
    Pairs,
    Reading,
    Series,
    Statement,
    Table,
    Words,
)
from flowrig.records.items import unit_written
from flowrig.records.schema import MEASURED_KIND, MEASURED_STEP, USUAL_ACCURACY
from flowrig.unit_table import CURRENCIES

EMPTY = '""'  # the example of a field that declares none
OPEN = "..."  # stands for what only the person can know


def table_name(table: Table) -> str:
    """The heading of a record has no name of its own in the file."""
    return table.name or "heading"


def kind_of(field: Field, measured: str = "") -> str:
    """Kind of unit of a field, empty where it has none; that of an instrument's fields follows from `measured`."""
    kind = getattr(field, "kind", "")
    if isinstance(field, Statement):
        kind = MEASURED_STEP
    if kind in (MEASURED_KIND, MEASURED_STEP):
        if not measured:
            return ""
        return measured if kind == MEASURED_KIND else units.as_difference(measured)
    return str(kind)


def unit_words(kind: str, most: int = 10) -> str:
    """One spelling of each unit of a kind, the one that results are shown in first: 'Pa, hPa, kPa'.

    Variants of a unit at another temperature (inH2O@60degF) are left to `flowrig explain KIND`.
    """
    usual = [unit for unit in units.usual(kind) if "@" not in unit]
    display = units.default_display(kind)
    # the shown one first, a bare number (said in words) last; otherwise as the table of units has them
    order = sorted(usual, key=lambda unit: (unit != display, unit.startswith("(")))
    order = [unit.replace("(a bare number)", "a bare number") for unit in order]
    return ", ".join(order if len(order) <= most else [*order[:most], "and others"])


def unit_line(field: Field, measured: str = "") -> str:
    """The units a field may be written in; empty where it has none, or they depend on the instrument."""
    kind = kind_of(field, measured)
    if not kind:
        return ""
    if isinstance(field, Statement):
        # a bare % would not say whether it is of the reading or of the humidity itself
        return "%RH" if kind == "relative humidity" else f"% of reading, % of full scale, {unit_words(kind)}"
    currency = next((code for code in CURRENCIES if kind.endswith(f" {code}")), "")
    if currency:  # the table is declared in one of them; the record names its own
        others = ", ".join(code for code in CURRENCIES if code != currency)
        return f"{unit_words(kind)}; {others} alike"
    return unit_words(kind)


def form(field: Field, measured: str = "") -> str:
    """What may be written for a field, beside its units."""
    match field:
        case Statement():
            return "words of the datasheet or certificate, or a list of them"
        case Series():
            return f"list of {kind_of(field)}" if field.least > 1 else f"{kind_of(field)}, or a list of them"
        case Reading() | Given():
            return kind_of(field, measured) or "in units of what the instrument measures"
        case Choice():
            return f"one of: {', '.join(field.choices)}"
        case Count():
            return f"whole number from {field.low} to {field.high}, without quotes"
        case Flag():
            return "true or false, without quotes"
        case Date():
            return "date, without quotes: 2026-08-21"
        case Words():
            return f"list of: {', '.join(field.choices)}"
        case Names():
            return f"names of [{field.table}.…] tables" if field.axis else f"name of a [{field.table}.…] table"
        case File():
            return "name of a CSV file beside the record"
        case Calibration():
            return "name of a calibration file beside the record, or in a folder calibrations there or further up"
        case Described():
            what = field.table if field.table in ("fan", "filter") else "cleaner"
            folder = DESCRIBED[field.table].shelf
            one = f"name of the record of a {what}, beside the record or in a folder {folder} there or further up"
            return f"a list of such: {one}" if field.several else one
        case Pairs():
            return "a name, or a table of field = name" if field.alone else "a table of field = name"
    return "words"


def ways(field: Field) -> str:
    """How often a reading may be written."""
    if not isinstance(field, Reading):
        return ""
    return "a column of the grid file" if field.grid else "one reading, a list of repeats, or a column of the log"


def default(field: Field) -> str:
    """What stands in where nothing is written; empty where nothing does."""
    match field:
        case Given():
            return field.default
        case Choice(required=False):
            return field.choices[0]
        case Flag():
            return "false"
    return ""


def bounds(field: Field) -> str:
    """Between which values a number has a meaning, in the unit of the example or else of the kind's results."""
    if not isinstance(field, (Reading, Given, Series)):
        return ""
    kind = kind_of(field)

    def show(value: float) -> str:
        if not kind:
            return f"{value:g}"
        shown = field.example.strip('["]').split('"')[0].split(", ")[0]  # of a list, the first
        unit = unit_written(shown) or units.default_display(kind)
        number = float(f"{units.from_si(value, unit, kind):.4g}")  # then without an exponent
        return f"{number:.10g}" if unit == "1" else f"{number:.10g} {unit}"

    words = []
    if getattr(field, "above", -math.inf) > -math.inf:
        words.append(f"above {show(field.above)}")  # type: ignore[union-attr]
    if field.low > -math.inf:
        words.append(f"at least {show(field.low)}")
    if field.high < math.inf:
        words.append(f"at most {show(field.high)}")
    return ", ".join(words)


def example(field: Field) -> str:
    """A value as it would be written in TOML; empty quotes where the declaration shows none."""
    if field.example:
        return field.example
    match field:
        case Choice():
            return f'"{field.choices[-1]}"'
        case Words():
            return f'["{field.choices[0]}"]'
        case Flag():
            return "true"
        case Date():
            return "2026-08-21"
        case Count():
            return str(field.low)
    return EMPTY


def alternative(choice: OneOf) -> str:
    """'one of: width with height, or diameter'."""
    sets = ", or ".join(" with ".join(names) for names in choice.sets)
    if len(choice.sets) == 1:
        return f"together or not at all: {sets}"
    return f"{'exactly one' if choice.required else 'at most one'} of: {sets}"


def line(declared: Field, measures: str | None = None) -> str:
    """A line as it might be written."""
    value = example(declared)
    if isinstance(declared, Statement) and measures in USUAL_ACCURACY and not declared.yearly:
        value = f'"{USUAL_ACCURACY[measures]}"'
    elif value == EMPTY or (isinstance(declared, Choice) and not declared.example):
        value = OPEN  # which one of them is for the person to say
    return f"{declared.name} = {value}"
