"""What a calibration file may hold, as declarations: its heading, the numbers of its formula, range, causes, points.

A formula is found by what is calibrated and by its name, as the file writes them. Another curve is another entry of
`FORMULAS`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from flowrig import units
from flowrig.physics.leakage import leakage_flow
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, Count, Date, Flag, Given, OneOf, Series, Table, Text, Wrong
from flowrig.records.items import Array, Section
from flowrig.records.schema import CORRECTED

FORMAT = 2  # written today; every older one stays readable. 2 adds instruments, chambers, other curves and the digest
FORMATS = (1, 2)
BOX, CHAMBER = "box", "chamber"  # flow over a pressure drop
CORRELATION = "correlation"
MOUNTINGS = "mountings"  # name of the cause that holds the error of the mountings that were calibrated
ROUNDING = 1e-9  # of a variance: two errors that are one, correlation 1, leave no less
CALIBRATES = (BOX, CHAMBER, *CORRECTED)


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
    powers : tuple of int
        Of a polynomial in argument over pivot: its powers. Empty for a power law.
    """

    name: str
    help: str
    numbers: tuple[Given, ...]
    exact: tuple[str, ...]
    argument: Given
    result: Given
    curve: Callable[[Mapping[str, Floats], Floats], Floats]
    powers: tuple[int, ...] = ()

    @property
    def pivot(self) -> str:
        """The number that the argument is divided by: of the argument's own name."""
        return self.argument.name

    @property
    def found(self) -> tuple[str, ...]:
        """The numbers that a fit finds, in the order of its coefficients."""
        return tuple(f.name for f in self.numbers if f.name not in (*self.exact, *AIR_NAMES))

    @property
    def relative(self) -> bool:
        """Residuals are shares of the result: a flow goes over decades, and never through zero."""
        return self.argument.name == "drop"

    def residuals(self, numbers: Mapping[str, Floats], argument: Array, result: Array) -> Array:
        """Of points against the curve: as a share of it, or in the unit of the result."""
        curve = self.curve(numbers, argument)
        return np.asarray(np.divide(result, curve) - 1.0 if self.relative else np.subtract(result, curve))

    @property
    def coefficients(self) -> Table:
        said = f"Numbers of the formula {self.name!r}: {self.help}"
        return Table("calibration_file.coefficients", said, self.numbers)

    @property
    def range(self) -> Table:
        kind, above = self.argument.kind, self.argument.above
        ends = ('"10 Pa"', '"300 Pa"') if self.relative else ("", "")
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
            for name, word, example in (("lowest", "Lowest", ends[0]), ("highest", "Highest", ends[1]))
        )
        said = f"Where the calibration holds: no {self.argument.name} outside it gives a value."
        return Table("calibration_file.range", said, fields, checks=(_range_checks,))

    @property
    def cause(self) -> Table:
        loads = tuple(
            Series(
                f.name,
                f"How far one standard deviation moves {f.name}, signed; a list for a cause of several directions.",
                kind=units.as_difference(f.kind),
            )
            for f in self.numbers
            if f.name not in self.exact
        )
        return Table("calibration_file.cause", CAUSE.help, (*CAUSE.fields, *loads), checks=(_cause_checks,))

    @property
    def point(self) -> Table:
        residual = RESIDUAL
        if not self.relative:
            said = f"{self.result.name} of the point less that of the curve."
            kind = units.as_difference(self.result.kind)
            residual = Given("residual", said.capitalize(), required=True, kind=kind, limits="never")
        return Table("calibration_file.point", POINT_HELP, (self.argument, self.result, residual))


def _heading_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if section.value("due") < section.value("date"):
        wrong.append(Wrong("due", f"a day after the calibration, {section.value('date')}", "Check both dates."))
    for name in ("record", "readings", "content"):
        if name in section and not re.fullmatch(r"[0-9a-f]{64}", section.value(name)):
            remedy = "Copy it whole: 64 digits and letters a to f."
            wrong.append(Wrong(name, "a SHA-256", remedy))
    return wrong


def _range_checks(section: Section) -> Sequence[Wrong]:
    if section.value("highest") > section.value("lowest"):
        return []
    return [Wrong("highest", "more than the lowest", "Check whether the two were swapped.")]


def _cause_checks(section: Section) -> Sequence[Wrong]:
    """A cause moves something, all of it in as many directions, and few degrees of freedom go with a bell."""
    wrong = []
    loads = loads_of(section)
    if not loads:
        names = [f.name for f in section.table.fields if isinstance(f, Series) and f.name != CORRELATION]
        said = f"a number it moves: {', '.join(names)}"
        wrong.append(Wrong(names[0], said, "Write how far, or remove the cause and lower the count of causes."))
    if len({len(x) for x in loads.values()}) > 1:
        said = ", ".join(f"{len(x)} of {n}" for n, x in loads.items())
        remedy = "One number for each direction; write a 0 with its unit where a direction does not move it."
        wrong.append(Wrong(next(iter(loads)), f"as many directions of each ({said})", remedy))
    if not wrong and CORRELATION in section:
        wrong += _correlation_checks(section, loads)
    if "dof" in section and section.value("shape") != "normal":
        remedy = "A limit with hard ends has no degrees of freedom: remove the line, or the shape."
        wrong.append(Wrong("dof", "degrees of freedom beside the shape normal only", remedy))
    return wrong


def _correlation_checks(section: Section, loads: Mapping[str, Sequence[float]]) -> list[Wrong]:
    """Standard deviations and correlations make a covariance that some errors could have."""
    wanted = len(loads) * (len(loads) - 1) // 2
    stated = len(section.value(CORRELATION))
    if any(len(x) > 1 for x in loads.values()) or stated != wanted:
        expected = f"one standard deviation of each of {', '.join(loads)}, and {wanted} correlations between them"
        return [Wrong(CORRELATION, expected, "Leave correlation out where each direction is stated by itself.")]
    if section.value("shape") != "normal":
        return [Wrong(CORRELATION, "a correlation beside the shape normal only", "Remove one of the two.")]
    if np.linalg.eigvalsh(correlation_matrix(section.value(CORRELATION), len(loads)))[0] < -ROUNDING:
        expected = "correlations that go together (a covariance without negative variances)"
        remedy = "No errors can go together like that: copy the correlations anew, in their order."
        return [Wrong(CORRELATION, expected, remedy)]
    return []


def loads_of(section: Section) -> dict[str, Sequence[float]]:
    """What a cause moves, by number: a movement for each of its directions."""
    items = {n: i.value for n, i in section.items.items() if isinstance(i.field, Series) and n != CORRELATION}
    return {f.name: items[f.name] for f in section.table.fields if f.name in items}


def correlation_matrix(stated: Sequence[float], n: int) -> Array:
    """Square and symmetric, from its upper half row by row."""
    found = np.eye(n)
    found[np.triu_indices(n, 1)] = stated
    return np.asarray(np.triu(found) + np.triu(found, 1).T)


def correlation_root(stated: Sequence[float], n: int) -> Array:
    """Directions (n, n) of which the correlations are made: root @ root.T; one that says nothing is zero."""
    values, vectors = np.linalg.eigh(correlation_matrix(stated, n))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


DROP = Given(
    "drop",
    "Pressure drop of the point, brought to the air of the calibration.",
    required=True,
    kind="pressure difference",
    above=0.0,
    limits="never",
    example='"50 Pa"',
)
FLOW_RESULT = Given(
    "flow",
    "Flow of the point by the reference, brought to the air of the calibration.",
    required=True,
    kind="flow",
    above=0.0,
    limits="never",
    example='"480 m3/h"',
)
PIVOT = replace(DROP, help="Drop that the others are divided by: any, best in the middle of the range.")
AIR = (
    Given(
        "density",
        "Density of the air that the flow is stated for.",
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
)
AIR_NAMES = tuple(field.name for field in AIR)
POWER_LAW = Formula(
    "power law",
    "flow(dp) = flow · (dp/drop)^exponent in air of this density and viscosity. With a drop of 1 Pa the flow is the "
    "coefficient C of C · dp^n as a number.",
    (
        replace(PIVOT, help="Drop at which the flow is stated: any, best in the middle of the range."),
        replace(FLOW_RESULT, help="Flow at that drop."),
        Given(
            "exponent", "Exponent.", required=True, kind="ratio", above=0.0, high=2.0, limits="never", example="0.52"
        ),
        *AIR,
    ),
    exact=("drop",),
    argument=DROP,
    result=FLOW_RESULT,
    curve=lambda numbers, drop: leakage_flow(drop, numbers["flow"], numbers["exponent"], numbers["drop"]),
)
TERMS = ("constant", "linear", "square", "cube")
POLYNOMIALS = {"line": (0, 1), "line through zero": (1,), "parabola": (0, 1, 2), "cubic": (0, 1, 2, 3)}


def _polynomial(name: str, powers: tuple[int, ...], argument: Given, pivot: Given, result: Given, air: bool) -> Formula:
    """A polynomial in argument over pivot: every coefficient has the unit of the result."""
    by = f"{argument.name}/pivot"
    terms = [TERMS[k] + {0: "", 1: f" · {by}"}.get(k, f" · ({by})^{k}") for k in powers]
    where = " in air of this density and viscosity" if air else ""
    numbers = tuple(
        Given(TERMS[k], f"Coefficient of power {k}.", required=True, kind=result.kind, limits="never") for k in powers
    )

    def curve(numbers: Mapping[str, Floats], at: Floats) -> Floats:
        over = np.divide(at, numbers[pivot.name])
        return np.asarray(sum(np.multiply(numbers[TERMS[k]], over**k) for k in powers))

    help_ = f"{result.name} = {' + '.join(terms)}{where}, the pivot being the {pivot.name} stated with them."
    return Formula(
        name, help_, (pivot, *numbers, *(AIR if air else ())), (pivot.name,), argument, result, curve, powers
    )


@cache
def formulas_of(calibrates: str) -> dict[str, Formula]:
    """The curves that the calibration of something may follow, by name.

    Parameters
    ----------
    calibrates : str
        One of `CALIBRATES`.
    """
    if calibrates == CHAMBER:
        return {POWER_LAW.name: POWER_LAW}
    if calibrates == BOX:
        made = (_polynomial(name, powers, DROP, PIVOT, FLOW_RESULT, True) for name, powers in POLYNOMIALS.items())
        return {POWER_LAW.name: POWER_LAW, **{formula.name: formula for formula in made}}
    shown = Given("reading", "What the instrument showed.", required=True, kind=calibrates, limits="never")
    pivot = Given(
        "reading",
        "Reading that the others are divided by: any, best the highest.",
        required=True,
        kind=calibrates,
        above=0.0,
        limits="never",
    )
    truth = Given("reference", "What the reference showed.", required=True, kind=calibrates, limits="never")
    made = (_polynomial(name, powers, shown, pivot, truth, False) for name, powers in POLYNOMIALS.items())
    return {formula.name: formula for formula in made}


FORMULA_NAMES = (POWER_LAW.name, *POLYNOMIALS)

HEADING = Table(
    "calibration_file",
    "What was calibrated, when, by whom and against what. A calibration is never edited: a new one is a new file.",
    (
        Count("format", f"Version of this format: {FORMAT}.", required=True, high=9999, example=str(FORMAT)),
        Choice(
            "calibrates",
            "What is calibrated: a box as a meter, the leakage of a chamber, or the reading of an instrument for one "
            "kind of quantity.",
            choices=CALIBRATES,
        ),
        Choice("formula", "Curve that the coefficients belong to.", required=True, choices=FORMULA_NAMES),
        Text("title", "What was calibrated.", required=True, example='"Plywood box 2 with its inlet hood"'),
        Text("serial", "What it is known by: errors are shared wherever it is used.", required=True, example='"BOX-2"'),
        Date("date", "Day of the calibration.", required=True),
        Date("due", "Day on which the next falls due.", required=True, example="2027-05-20"),
        Text("by", "Who calibrated it.", required=True),
        Text("reference", "What it was calibrated against.", required=True, example='"nozzle chamber, LF-N150"'),
        Text("certificate", "Certificate of the reference: its number and who issued it."),
        Text("record", "SHA-256 of the record that it was made from."),
        Text("readings", "SHA-256 of the table of points beside that record."),
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
        Given(
            "remount_limit",
            "How far the flow may lie off after a remounting, where fewer than three mountings were tried: a limit of "
            "2 to 5 %.",
            kind="ratio",
            low=0.02,
            high=0.05,
            limits="never",
            example='"3 %"',
        ),
        Given(
            "point_scatter",
            "How far a single point scatters about the curve by more than its known errors: one standard deviation, as "
            "a share of the flow; for a polynomial as a share of its value at the pivot.",
            kind="ratio",
            above=0.0,
            high=0.5,
            limits="never",
            example='"0.35 %"',
        ),
        Count("point_scatter_dof", "Degrees of freedom that it is known by.", example="35"),
        Text("content", "SHA-256 of all that the file states but this: a number changed by hand is noticed."),
        Text("notes", "Anything else."),
    ),
    alternatives=(
        OneOf((("remount_scatter", "remounts"), ("remount_limit",)), required=False),
        OneOf((("point_scatter", "point_scatter_dof"),), required=False),
    ),
    checks=(_heading_checks,),
)
CAUSE = Table(
    "calibration_file.cause",
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
        Series(
            CORRELATION,
            "How the numbers below, given one standard deviation each, go together: the correlation of the first with "
            "the second, then with the third, the second with the third. For a fit of which a certificate states no "
            "more.",
            kind="ratio",
            low=-1.0,
            high=1.0,
            example="-0.93",
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
    """Every table of a calibration file; of a further curve or an instrument those that differ."""
    box, corrected = formulas_of(BOX)["cubic"], formulas_of("velocity")["cubic"]
    found = [HEADING, POWER_LAW.coefficients, POWER_LAW.range, POWER_LAW.cause, POWER_LAW.point]
    return [*found, box.coefficients, corrected.coefficients, corrected.point]
