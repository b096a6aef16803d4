"""What a measuring method declares: its fields, kernel, corrections with their errors, limits of use, and source."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flowrig.methods import cautions
from flowrig.records.declare import Check, Field, Finding, FlagMeaning, OneOf, Table
from flowrig.records.instruments import Instrument
from flowrig.records.items import Array, Layout, Section
from flowrig.records.record import Record
from flowrig.uncertainty.cause import Scope, Shape
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import Kernel


@dataclass
class Situation:
    """All that is known about one measurement while it is reduced; handed to `prepare`, effects and limits.

    Attributes
    ----------
    section : Section
        The flow section of the record.
    hardware : dict of str to list of Section
        Sections the measurement names, by table.
    air : dict of str to Estimate
        State of the air at the meter: density, viscosity, pressure, temperature, vapour_fraction.
    inputs : dict of str to Estimate
        Inputs of the kernel.
    options : dict
        Options of the kernel.
    nominal : dict of str to array
        Everything the kernel returned at the nominal point, the axes of the method last, rows of a batch before them.
    layout : Layout or None
    passes : int
        How many times the grid was gone through.
    instruments : dict of str to Instrument
        The instrument of each reading.
    record : Record
        For the identity of causes that are local to it.
    assumed : list of str
        What had to be assumed, in words; `prepare` adds to it.
    findings : list of Finding
        What `prepare` found.
    """

    section: Section
    hardware: dict[str, list[Section]]
    air: dict[str, Estimate]
    record: Record
    inputs: dict[str, Estimate] = field(default_factory=dict)
    options: dict[str, Any] = field(default_factory=dict)
    nominal: dict[str, Array] = field(default_factory=dict)
    layout: Layout | None = None
    passes: int = 1
    instruments: dict[str, Instrument] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def value(self, name: str, default: Any = None) -> Any:
        return self.section.value(name, default)

    def at_rows(self, rows: NDArray[np.bool_]) -> Situation:
        """The same with the kernel's returns at some rows of a batch only."""
        some = {n: a[rows] if a.ndim and len(a) == len(rows) else a for n, a in self.nominal.items()}
        return replace(self, nominal=some)


@dataclass(frozen=True)
class Size:
    """How large an effect is, as a share of the flow: a correction, and the half-width of what stays unknown.

    `dof` says how well that is known; finite only for an effect of normal shape. `sized_with` is the id of a cause
    whose size was found from the same readings.
    """

    shift: ArrayLike = 0.0
    limit: ArrayLike = 0.0
    assumed: str = ""
    dof: float = math.inf
    sized_with: str = ""


@dataclass(frozen=True)
class Effect:
    """A correction or model error of a method, applied as q·(1 + shift)·(1 + e).

    Attributes
    ----------
    id : str
        Identity of the error where it is the same in every use of the method (``scope='method'``); local otherwise.
    label : str
        For the budget.
    help : str
        What it is, for `flowrig explain`.
    size : callable
        From the situation to a `Size`, or None where the effect does not apply.
    shape : {'normal', 'rectangular', 'triangular'}
    divisor : float
        From the limit to a standard uncertainty.
    scope : str
    hardware : str
        Table of the hardware the error belongs to: two measurements with the same piece, laid out alike, share it.
    source : str
    """

    id: str
    label: str
    help: str
    size: Callable[[Situation], Size | None]
    shape: Shape = "rectangular"
    divisor: float = math.sqrt(3)
    scope: Scope = "setup"
    hardware: str = ""
    source: str = ""


@dataclass(frozen=True)
class Refusal:
    """Why nothing is said beyond a limit: a record is refused as bad input, a row of a batch gets no value.

    Attributes
    ----------
    field : str
        Field of the flow section to point at.
    expected : callable
        From the situation to what would have been right.
    remedy : str
    band : Effect, optional
        What is added where a value beyond the limit is asked for all the same; without it none is given.
    """

    field: str
    expected: Callable[[Situation], str]
    remedy: str
    band: Effect | None = None


End = ArrayLike | Callable[[Situation], ArrayLike]


@dataclass(frozen=True)
class Window:
    """What a number has to lie between, where a limit of use is no more than that: so that it can be drawn.

    Attributes
    ----------
    of : str
        What the kernel returns, or what it is given.
    words : str
        What it is.
    low, high : array, or callable from the situation to one
        SI, infinite where open; one for each element of the number, or one for all.
    kind : str
        Key of `flowrig.units.KINDS`.
    unit : str or callable
        In which it is shown.
    wide : bool
        Spans powers of ten.
    """

    of: str
    words: str
    low: End = -math.inf
    high: End = math.inf
    kind: str = "ratio"
    unit: str | Callable[[Situation], str] = "1"
    wide: bool = False

    def ends(self, situation: Situation) -> tuple[Array, Array]:
        low, high = (end(situation) if callable(end) else end for end in (self.low, self.high))
        return np.asarray(low, dtype=float), np.asarray(high, dtype=float)


@dataclass(frozen=True)
class Limit:
    """A limit of use: a flag, when it is raised, and in what words.

    Attributes
    ----------
    flag : FlagMeaning
    test : callable
        From the situation to a bool, or an array with rows first and the method's axes last.
    message : callable
        From the situation to a sentence.
    refusal : Refusal, optional
        Given where no number may be stated beyond the limit.
    window : Window, optional
        The same limit as a range of one number.
    """

    flag: FlagMeaning
    test: Callable[[Situation], ArrayLike]
    message: Callable[[Situation], str]
    refusal: Refusal | None = None
    window: Window | None = None


@dataclass(frozen=True)
class Coefficient:
    """The coefficient of a meter along its Reynolds number, which the kernel returns as ``reynolds``.

    Attributes
    ----------
    words : str
        What it is.
    value : callable
        (situation, Reynolds numbers (m, 1) or (m, openings)) -> coefficients of the same shape, one column for all
        openings or one for each; None where there is no curve to draw.
    effects : tuple of str
        Ids of the method's effects that are errors of it.
    factor : str
        Input of the kernel that carries further errors of it; empty for none.
    """

    words: str
    value: Callable[[Situation, Array], Array | None]
    effects: tuple[str, ...]
    factor: str = ""


@dataclass(frozen=True)
class Profile:
    """Velocities over a grid that a plan assumes where none were read yet.

    Attributes
    ----------
    words : str
        What it is.
    shape : callable
        Layout -> velocities over their mean, array (points,).
    """

    words: str
    shape: Callable[[Layout], Array]


@dataclass(frozen=True)
class Method:
    """A way of measuring a flow.

    Attributes
    ----------
    name, title, help, source : str
    fields : tuple of Field
        Beside those every flow section has.
    kernel : callable
        Returns ``mass_flow`` [kg/s], ``density`` at the metering plane [kg/m3] and any diagnostics.
    air : tuple of str
        What the kernel takes of the air at the meter.
    axes : tuple of str
        Axes of the kernel.
    options : tuple of str
        Choices and flags handed to the kernel.
    hardware : tuple of Table
        Tables of the record the method can name.
    effects, limits : tuples
    prepare : callable, optional
        From readings to kernel inputs, where that takes more than handing them over; edits the situation.
    layout : callable, optional
        (section, hardware) -> Layout. Raises ValueError with a sentence where no such layout exists.
    usual_profile : Profile, optional
        Of a grid that was not read yet.
    coefficient : Coefficient, optional
        That depends on the flow.
    summary : callable
        What the flow was computed from, in a line: enough to check it by hand.
    conventions : tuple of str
        Choices a sceptical reader would ask about.
    turns : callable, optional
        From the section to a number of places between which its repeated readings go round in turn: what scatters is
        then the means of the places. 1 where each reading stands for itself.
    sheet_defaults : callable, optional
        (section, hardware) -> field name to value, as written in a record: what the blank sheet puts where the person
        did not say. None leaves the field's line out: it does not belong to this hardware.
    cautions : tuple of Caution
        Printed at the top of the blank sheet.
    """

    name: str
    title: str
    help: str
    source: str
    fields: tuple[Field, ...]
    kernel: Kernel
    air: tuple[str, ...] = ("density",)
    axes: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    alternatives: tuple[OneOf, ...] = ()
    checks: tuple[Check, ...] = ()
    hardware: tuple[Table, ...] = ()
    effects: tuple[Effect, ...] = ()
    limits: tuple[Limit, ...] = ()
    prepare: Callable[[Situation], None] | None = None
    layout: Callable[[Section, Mapping[str, list[Section]]], Layout] | None = None
    usual_profile: Profile | None = None
    coefficient: Coefficient | None = None
    summary: Callable[[Situation], str] = lambda situation: ""
    conventions: tuple[str, ...] = ()
    turns: Callable[[Section], int] = lambda section: 1
    sheet_defaults: Callable[[Section, Mapping[str, list[Section]]], Mapping[str, Any]] | None = None
    cautions: tuple[cautions.Caution, ...] = cautions.COMMON

    @property
    def flags(self) -> tuple[FlagMeaning, ...]:
        return tuple(dict.fromkeys(limit.flag for limit in self.limits))


def stacked(estimates: list[Estimate], axis: str) -> Estimate:
    """Scalars side by side along a new axis, each keeping its own causes."""
    parts: dict[Any, Array] = {}
    for i, estimate in enumerate(estimates):
        for cause, part in estimate.parts.items():
            parts.setdefault(cause, np.zeros((cause.n, len(estimates))))[:, i] = part
    return Estimate([float(e.value) for e in estimates], (axis,), parts)


def span(array: ArrayLike, unit: str, digits: int = 3) -> str:
    """Least and greatest of some values in words, once where they print alike."""
    low, high = float(np.nanmin(array)), float(np.nanmax(array))
    ends = [f"{x:.0f}" if abs(x) >= 1000 else f"{x:.{digits}g}" for x in (low, high)]
    return f"{' to '.join(dict.fromkeys(ends))} {unit}".strip()
