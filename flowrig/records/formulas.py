"""What a calibration file may hold, as declarations: its heading, the numbers of its formula, range, causes, points.

A formula is found by its name, as the file writes it. Another kind of calibration is another entry of `FORMULAS`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from flowrig.physics.leakage import leakage_flow
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, Count, Date, Flag, Given, OneOf, Series, Table, Text, Wrong
from flowrig.records.items import Section

FORMAT = 1  # written today; every older one stays readable
FORMATS = (1,)


@dataclass(frozen=True)
class Formula:
    """A curve that a calibration may follow.

    Attributes
    ----------
    name, help : str
    numbers : tuple of Given
        What the curve is made of, and the air it holds for, where it depends on that.
    exact : tuple of str
        Those of them that are chosen rather than found, and carry no error.
    argument, result : Given
        What the instrument shows and what is made of it: columns of the residual table.
    curve : callable
        ``curve(numbers, argument)`` gives the result in the air of the calibration. SI.
    """

    name: str
    help: str
    numbers: tuple[Given, ...]
    exact: tuple[str, ...]
    argument: Given
    result: Given
    curve: Callable[[Mapping[str, float], Floats], Floats]

    @property
    def coefficients(self) -> Table:
        said = f"Numbers of the formula {self.name!r}: {self.help}"
        return Table("calibration.coefficients", said, self.numbers)

    @property
    def range(self) -> Table:
        kind, above = self.argument.kind, self.argument.above
        fields = tuple(
            Given(
                name,
                f"{word} {self.argument.name} that was calibrated.",
                required=True,
                kind=kind,
                above=above,
                limits="never",
                example=example,
            )
            for name, word, example in (("lowest", "Lowest", '"10 Pa"'), ("highest", "Highest", '"300 Pa"'))
        )
        said = f"Where the calibration holds: no {self.argument.name} outside it gives a value."
        return Table("calibration.range", said, fields, checks=(_range_checks,))

    @property
    def cause(self) -> Table:
        loads = tuple(
            Series(
                f.name,
                f"How far one standard deviation moves {f.name}, signed; a list for a cause of several directions.",
                kind=f.kind,
            )
            for f in self.numbers
            if f.name not in self.exact
        )
        return Table("calibration.cause", CAUSE.help, (*CAUSE.fields, *loads), checks=(_cause_checks,))

    @property
    def point(self) -> Table:
        return Table("calibration.point", POINT_HELP, (self.argument, self.result, RESIDUAL))


def _heading_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if section.value("due") < section.value("date"):
        wrong.append(Wrong("due", f"a day after the calibration, {section.value('date')}", "Check both dates."))
    digest = section.value("record")
    if digest is not None and not re.fullmatch(r"[0-9a-f]{64}", digest):
        remedy = "Copy it whole: 64 digits and letters a to f."
        wrong.append(Wrong("record", "the SHA-256 of a file", remedy))
    return wrong


def _range_checks(section: Section) -> Sequence[Wrong]:
    if section.value("highest") > section.value("lowest"):
        return []
    return [Wrong("highest", "more than the lowest", "Check whether the two were swapped.")]


def _cause_checks(section: Section) -> Sequence[Wrong]:
    """A cause moves something, all of it in as many directions, and few degrees of freedom go with a bell."""
    wrong = []
    loads = {n: item.value for n, item in section.items.items() if isinstance(item.field, Series)}
    if not loads:
        names = [f.name for f in section.table.fields if isinstance(f, Series)]
        said = f"a number it moves: {', '.join(names)}"
        wrong.append(Wrong(names[0], said, "Write how far, or remove the cause and lower the count of causes."))
    if len({len(x) for x in loads.values()}) > 1:
        said = ", ".join(f"{len(x)} of {n}" for n, x in loads.items())
        remedy = "One number for each direction; write a 0 with its unit where a direction does not move it."
        wrong.append(Wrong(next(iter(loads)), f"as many directions of each ({said})", remedy))
    if "dof" in section and section.value("shape") != "normal":
        remedy = "A limit with hard ends has no degrees of freedom: remove the line, or the shape."
        wrong.append(Wrong("dof", "degrees of freedom beside the shape normal only", remedy))
    return wrong


DROP = Given(
    "drop",
    "Pressure drop of the point, brought to the air of the calibration.",
    required=True,
    kind="pressure difference",
    above=0.0,
    limits="never",
    example='"50 Pa"',
)
POWER_LAW = Formula(
    "power law",
    "flow(dp) = flow · (dp/drop)^exponent in air of this density and viscosity. With a drop of 1 Pa the flow is the "
    "coefficient C of C · dp^n as a number.",
    (
        Given(
            "drop",
            "Drop at which the flow is stated: any, best in the middle of the range.",
            required=True,
            kind="pressure difference",
            above=0.0,
            limits="never",
            example='"50 Pa"',
        ),
        Given(
            "flow", "Flow at that drop.", required=True, kind="flow", above=0.0, limits="never", example='"480 m3/h"'
        ),
        Given(
            "exponent", "Exponent.", required=True, kind="ratio", above=0.0, high=2.0, limits="never", example="0.52"
        ),
        Given(
            "density",
            "Density of the air in the box that the flow is stated for.",
            required=True,
            kind="density",
            above=0.0,
            limits="never",
            example='"0.97 kg/m3"',
        ),
        Given(
            "viscosity",
            "Dynamic viscosity of that air.",
            required=True,
            kind="viscosity",
            above=0.0,
            limits="never",
            example='"18.2 uPa s"',
        ),
    ),
    exact=("drop",),
    argument=DROP,
    result=Given(
        "flow",
        "Flow of the point by the reference, brought to the air of the calibration.",
        required=True,
        kind="flow",
        above=0.0,
        limits="never",
        example='"480 m3/h"',
    ),
    curve=lambda numbers, drop: leakage_flow(drop, numbers["flow"], numbers["exponent"], numbers["drop"]),
)
FORMULAS = {formula.name: formula for formula in (POWER_LAW,)}

HEADING = Table(
    "calibration",
    "What was calibrated, when, by whom and against what. A calibration is never edited: a new one is a new file.",
    (
        Count("format", f"Version of this format: {FORMAT}.", required=True, high=9999, example=str(FORMAT)),
        Choice("formula", "Curve that the coefficients belong to.", required=True, choices=tuple(FORMULAS)),
        Text("title", "What was calibrated.", required=True, example='"Plywood box 2 with its inlet hood"'),
        Text("serial", "What it is known by: errors are shared wherever it is used.", required=True, example='"BOX-2"'),
        Date("date", "Day of the calibration.", required=True),
        Date("due", "Day on which the next falls due.", required=True, example="2027-05-20"),
        Text("by", "Who calibrated it.", required=True),
        Text("reference", "What it was calibrated against.", required=True, example='"nozzle chamber, LF-N150"'),
        Text("certificate", "Certificate of the reference: its number and who issued it."),
        Text("record", "SHA-256 of the record of readings that it was made from."),
        Text("follows", "File name of the calibration that this one replaces.", example='"box-2-2025.toml"'),
        Flag("invented", "true for demonstration data: a result from real readings is then marked with an alarm."),
        Count("causes", "How many [[cause]] tables the file has: fewer, and it was cut short.", required=True),
        Count("points", "How many [[point]] tables the file has.", required=True, low=2, example="8"),
        Given(
            "remount_scatter",
            "How far the flow scatters when it is taken down and put up again: one standard deviation of a single "
            "remounting.",
            kind="ratio",
            above=0.0,
            high=0.5,
            limits="never",
            example='"1.1 %"',
        ),
        Count("remounts", "How many mountings that was found from.", low=2, example="6"),
        Text("notes", "Anything else."),
    ),
    alternatives=(OneOf((("remount_scatter", "remounts"),), required=False),),
    checks=(_heading_checks,),
)
CAUSE = Table(
    "calibration.cause",
    "One physical reason why the coefficients may be wrong, with how far one standard deviation of it moves each of "
    "them, signed. What moves several of them at once is one cause: so it is known how they go together. A fit's own "
    "scatter moves them in several directions: each is then a list.",
    (
        Text("name", "What it is, for the budget of a result.", required=True, example='"scatter of the fit"'),
        Text(
            "id",
            "Identity of the error where it is known elsewhere too, as results write it: of the reference's "
            "coefficient, of a manometer. Left out, it belongs to this calibration.",
            example='"method:nozzle:coefficient"',
        ),
        Choice("scope", "How widely it is shared.", choices=("calibration", "setup", "reading", "method")),
        Choice("shape", "How it is distributed.", choices=("normal", "rectangular", "triangular")),
        Given(
            "dof", "Degrees of freedom, where few readings tell its size.", kind="ratio", above=0.0, limits="never",
            example="6",
        ),
    ),
)  # fmt: skip
POINT_HELP = (
    "One point of the residual table. The curve is held against every point: a coefficient with a slipped digit or in "
    "a wrong unit does not pass."
)
RESIDUAL = Given(
    "residual",
    "Flow of the point over that of the curve, less 1.",
    required=True,
    kind="ratio",
    low=-0.5,
    high=0.5,
    limits="never",
    example='"-0.4 %"',
)


def tables() -> list[Table]:
    """Every table of a calibration file, those of all formulas."""
    found = [HEADING]
    for formula in FORMULAS.values():
        found += [formula.coefficients, formula.range, formula.cause, formula.point]
    return found
