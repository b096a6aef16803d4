"""A blank record drawn up from the declarations: what a person said about it, checked, and the plan that follows."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.methods import NAMES, find_method
from flowrig.methods.method import Method
from flowrig.records import schema
from flowrig.records.declare import Count, Date, Field, File, Flag, Names, OneOf, Pairs, Reading, Table
from flowrig.records.formulas import BOX, CHAMBER
from flowrig.records.items import Layout, Section, path_name
from flowrig.records.walk import Walker
from flowrig.studies import sheet_text
from flowrig.studies.sheet_tables import SHEETS

RECORD, POINTS = "record.toml", "points.csv"
PASSES = 3  # of a grid: fewer leave the scatter to be pooled
REPEATS = 5  # of a reading: fewer say little about their scatter
MOST = 30


@dataclass
class Sheet:
    """A blank record.

    Attributes
    ----------
    files : dict of str to str
        Name and content of each file.
    positions : str
        Where the probe goes, in mm and inches; empty where the method has no grid.
    method : Method
    calibrates : str
        What is calibrated with it; empty for a test.
    """

    files: dict[str, str]
    positions: str
    method: Method
    calibrates: str = ""


@dataclass
class Plan:
    """What is to be written on a sheet.

    Attributes
    ----------
    method : Method
    heading, flow : dict
        Values a person gave or the method's usual ones, as TOML has them; None leaves the line out.
    hardware : dict of str to dict of str to dict
        By table and name.
    readings : set of str
        Readings asked for by name, beside those that are always needed.
    passes : int
        How many times every reading is taken.
    layout : Layout or None
    calibrates : str
        What is calibrated or checked against the flow, with its readings in a table of points; empty for a test.
    """

    method: Method
    heading: dict[str, Any] = field(default_factory=dict)
    flow: dict[str, Any] = field(default_factory=dict)
    hardware: dict[str, dict[str, dict[str, Any]]] = field(default_factory=dict)
    readings: set[str] = field(default_factory=set)
    passes: int = 1
    layout: Layout | None = None
    calibrates: str = ""

    def live(self, table: Table, given: dict[str, Any] | None = None) -> dict[str, bool]:
        """Fields of a table that get a line of their own, and whether that line has to be filled.

        They are those required, asked for or given, and of alternatives the set that was named, or else the first.
        """
        given = {} if given is None else given
        lines = {f.name: f.required for f in table.fields if f.required or f.asked}
        for choice in table.alternatives:
            names = self.chosen(choice, given)
            lines |= dict.fromkeys(names, choice.required or any(name in given for name in names))
        lines |= {name: False for name in (*given, *self.readings) if name not in lines}
        return {f.name: lines[f.name] for f in table.fields if f.name in lines and given.get(f.name, "") is not None}

    def chosen(self, choice: OneOf, given: dict[str, Any]) -> tuple[str, ...]:
        named = [names for names in choice.sets if any(n in given or n in self.readings for n in names)]
        return named[0] if named else choice.sets[0]

    @property
    def flow_table(self) -> Table:
        """All that a flow section of this method holds."""
        method = self.method
        return Table("flow", method.help, (*schema.FLOW.fields, *method.fields), method.alternatives)

    @property
    def grid(self) -> list[Reading]:
        """Readings with a column in the grid file."""
        lines = self.live(self.flow_table, self.flow)
        return [f for f in self.method.fields if isinstance(f, Reading) and f.grid and f.name in lines]

    @property
    def in_points(self) -> list[Reading]:
        """Readings of the method that have a column in the table of points."""
        lines = self.live(self.flow_table)
        return [
            f for f in self.method.fields if isinstance(f, Reading) and f.required and not f.grid and f.name in lines
        ]

    @property
    def instruments(self) -> list[str]:
        """Kinds that the readings of the sheet need an instrument for."""
        kinds = [] if self.calibrates in ("", BOX, CHAMBER) else [self.calibrates]
        kinds += [f.kind for f in self.in_points] if self.calibrates else []
        for table, given in ((self.flow_table, self.flow), (schema.AIR, {})):
            lines = self.live(table, given)
            kinds += [f.kind for f in table.fields if isinstance(f, Reading) and f.name in lines]
        return list(dict.fromkeys(kinds))


def sheet(method: str, arguments: Sequence[str] = ()) -> Sheet:
    """Draw up a blank record of a method.

    Parameters
    ----------
    method : str
        Name of the method.
    arguments : sequence of str
        ``KEY=VALUE``: a field of the method, its hardware or the heading; the names of the hardware
        (``nozzles=A,B``) and the first dimension that each of them needs (``A=150 mm``); ``reading=velocity`` for
        one of several readings that would do; ``passes=3`` for how often every reading is taken; ``calibrates=box`` for
        paired readings of a box, a chamber or an instrument beside the flow.

    Raises
    ------
    InputError
        With everything that is wrong with the arguments, or if no such plan exists.
    """
    if method not in NAMES:
        near = difflib.get_close_matches(method, NAMES, n=1, cutoff=0.4)
        raise InputError(
            Fault(
                "flowrig sheet",
                repr(method),
                f"a method: {', '.join(NAMES)}; or {', '.join(SHEETS)}",
                f"Did you mean {near[0]}?" if near else "Choose one of them.",
            )
        )
    plan = _Arguments(find_method(method), arguments).plan()
    files = {RECORD: sheet_text.record_text(plan)}
    if plan.layout is not None:
        files[plan.flow["grid"]] = sheet_text.grid_text(plan)
    if plan.calibrates:
        files[POINTS] = sheet_text.points_text(plan)
    return Sheet(files, "\n".join(sheet_text.position_lines(plan)), plan.method, plan.calibrates)


class _Arguments:
    """KEY=VALUE words on their way to a plan, every fault collected."""

    def __init__(self, method: Method, arguments: Sequence[str]) -> None:
        self.method = method
        self.faults: list[Fault] = []
        self.words: dict[str, str] = {}
        for argument in arguments:
            key, equals, value = (part.strip() for part in argument.partition("="))
            if not equals or not key or not value:
                self.fault(repr(argument), "KEY=VALUE", 'Write, for instance, title="Box-fan cleaner 3".')
            elif key in self.words:
                self.fault(repr(argument), f"{key} once", "Remove one of the two.")
            else:
                self.words[key] = value
        self.result = Plan(method)
        self.walker = Walker(lambda *path: f"flowrig sheet {method.name}, {path_name(path)}", self.faults)

    def fault(self, read: str, expected: str, remedy: str) -> None:
        self.faults.append(Fault(f"flowrig sheet {self.method.name}", read, expected, remedy))

    def plan(self) -> Plan:
        plan = self.result
        self._calibrates()
        self._passes()
        self._readings()
        self._hardware()
        self._fields()
        flow, hardware = self._walk()
        if self.method.layout is None:
            self._raise()
            return plan
        for section in (s for named in hardware.values() for s in named):
            self.walker.complete(section)
        self._raise()
        usual = self.method.sheet_defaults(flow, hardware) if self.method.sheet_defaults is not None else {}
        for name in [name for name, value in usual.items() if value is None and name in plan.flow]:
            self.fault(f"{name}={plan.flow[name]}", "only what belongs to this hardware", f"Leave {name} out.")
        plan.flow = {**usual, **plan.flow}
        plan.flow.setdefault("grid", tomllib.loads(f"x = {self._field('grid').example}")["x"])
        flow, hardware = self._walk()
        self._raise()
        for wrong in (w for check in self.method.checks for w in check(flow)):
            self.fault(wrong.field, wrong.expected, wrong.remedy)
        self._raise()
        try:
            plan.layout = self.method.layout(flow, hardware)
        except ValueError as error:
            self.fault("the plan of this traverse", "one that exists", str(error))
        self._raise()
        return plan

    def _raise(self) -> None:
        if self.faults:
            raise InputError(self.faults)

    def _field(self, name: str) -> Field:
        return self.result.flow_table.field(name)

    def _calibrates(self) -> None:
        """What is held against the flow; the readings that differ from point to point then stand in a table."""
        said = self.words.pop("calibrates", "")
        known = (BOX, CHAMBER, "velocity", "flow")
        if said and said not in known:
            near = difflib.get_close_matches(said, known, n=1)
            remedy = f"Did you mean {near[0]}?" if near else "Choose one."
            self.fault(f"calibrates={said}", f"one of: {', '.join(known)}", remedy)
        elif said:
            self.result.calibrates = said
            self.result.flow |= dict.fromkeys(f.name for f in self.result.in_points)
            self.result.heading["by"] = ""  # a calibration says who made it

    def _passes(self) -> None:
        raw = self.words.pop("passes", None)
        self.result.passes = PASSES if self.method.layout is not None else REPEATS
        if raw is None:
            return
        if not raw.isdecimal() or not 1 <= int(raw) <= MOST:
            self.fault(f"passes={raw}", f"a whole number from 1 to {MOST}", "Say how often every reading is taken.")
            return
        self.result.passes = int(raw)

    def _readings(self) -> None:
        names = _listed(self.words.pop("reading", ""))
        tables = (self.result.flow_table, schema.AIR)
        known = [f.name for table in tables for f in table.fields if isinstance(f, Reading)]
        for name in names:
            if name not in known:
                near = difflib.get_close_matches(name, known, n=1)
                self.fault(
                    f"reading={name}",
                    f"one of: {', '.join(known)}",
                    f"Did you mean {near[0]}?" if near else "Choose one.",
                )
        for choice in (c for table in tables for c in table.alternatives):
            named = [n for names_ in choice.sets for n in names_ if n in names]
            sets = [names_ for names_ in choice.sets if set(names_) & set(names)]
            if len(sets) > 1:
                self.fault(f"reading={','.join(named)}", f"only one of: {', '.join(named)}", "Choose one.")
        self.result.readings = set(names)

    def _hardware(self) -> None:
        """Names of hardware, and the first dimension each cannot do without, said by its name: A=150 mm.

        What the method can do without is drawn only if it is asked for.
        """
        for table in self.method.hardware:
            referring = next(f for f in self.method.fields if isinstance(f, Names) and f.table == table.name)
            example = tomllib.loads(f"x = {referring.example}")["x"]
            said = self.words.pop(table.name, None)
            if said is None and not referring.required and referring.name not in self.words:
                self.result.hardware[table.name] = {}  # stands in a comment
                continue
            usual = example if isinstance(example, str) else example[0]
            names = [usual] if said is None else _listed(said)
            if len(set(names)) < len(names) or not names or not all(re.fullmatch(r"[A-Za-z0-9_-]+", n) for n in names):
                self.fault(
                    f"{table.name}={said}",
                    "names of letters and digits, each once, separated by commas",
                    f"Write, for instance, {table.name}=A,B.",
                )
            names = list(dict.fromkeys(names)) or [usual]
            if len(names) > 1 and not referring.axis:
                self.fault(f"{table.name}={said}", "one name", "Name only one.")
            self.result.hardware[table.name] = {name: {} for name in names}
            self.result.flow[referring.name] = names if referring.axis else names[0]
            needed = [f for f in table.fields if f.required]
            own = {f.name for f in table.fields}
            for name in names if needed else ():
                if name in self.words:
                    self.result.hardware[table.name][name][needed[0].name] = self.words.pop(name)
            for key in [key for key in self.words if key in own and key not in self._flow_keys()]:
                value = _toml(table.field(key), self.words.pop(key))
                for name in names:
                    self.result.hardware[table.name][name].setdefault(key, value)

    def _flow_keys(self) -> list[str]:
        return [
            f.name
            for f in self.result.flow_table.fields
            if f.name != "method" and not isinstance(f, (Pairs, Names)) and not getattr(f, "grid", False)
        ]

    def _fields(self) -> None:
        """Fields of the flow and the heading; what is left is not known."""
        heading = [f.name for f in schema.HEADING.fields]
        for key, word in self.words.items():
            if key in self._flow_keys():
                value = _toml(self._field(key), word)
                if isinstance(self._field(key), File) and not re.fullmatch(r"[^/\\:]+\.csv", word):
                    self.fault(
                        f"{key}={word}", "the name of a CSV file beside the record", f"Write {key}=traverse.csv."
                    )
                self.result.flow[key] = value
            elif key in heading:
                self.result.heading[key] = _toml(schema.HEADING.field(key), word)
            else:
                known = self._known()
                near = difflib.get_close_matches(key, known, n=1)
                self.fault(
                    f"{key}={word}",
                    f"one of the keys {', '.join(known)}",
                    f"Did you mean {near[0]}?" if near else "Correct the key.",
                )

    def _known(self) -> list[str]:
        tables = self.method.hardware
        named = [n for t in tables for n in self.result.hardware[t.name] if any(f.required for f in t.fields)]
        return list(
            dict.fromkeys(
                [
                    "calibrates",
                    "passes",
                    "reading",
                    *(t.name for t in tables),
                    *named,
                    *(f.name for t in tables for f in t.fields),
                    *self._flow_keys(),
                    *(f.name for f in schema.HEADING.fields),
                ]
            )
        )

    def _walk(self) -> tuple[Section, dict[str, list[Section]]]:
        """The same checks that the record will meet."""
        plan = self.result
        self.walker.section(schema.HEADING, plan.heading, ())
        hardware = {
            table.name: [
                self.walker.section(table, raw, (table.name, n)) for n, raw in plan.hardware[table.name].items()
            ]
            for table in self.method.hardware
        }
        written = {name: value for name, value in plan.flow.items() if value is not None}
        return self.walker.section(plan.flow_table, written, ("flow",)), hardware


def _listed(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _toml(declared: Field, word: str) -> Any:
    """A word of the command line as TOML has it: numbers, dates and true or false without quotes, all else text."""
    if isinstance(declared, (Count, Date, Flag)):
        try:
            return tomllib.loads(f"x = {word}")["x"]
        except tomllib.TOMLDecodeError:
            return word
    return word
