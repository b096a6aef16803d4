"""One component of an instrument's error: how wide it is at a reading, and what standard uncertainty that means."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flowrig.uncertainty.statement_words import StatementError

Shape = Literal["normal", "rectangular", "triangular"]
SHAPE_DIVISORS = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0)}


@dataclass(frozen=True)
class Term:
    """One addend of a limit: ``relative * |reading| + absolute``, in SI.

    Attributes
    ----------
    relative : float
        Share of the reading's magnitude. [1]
    absolute : float
        Fixed part; full scale and digits are already worked into it. [SI unit of the dimension]
    """

    relative: float = 0.0
    absolute: float = 0.0


@dataclass(frozen=True)
class Component:
    """One independent cause of an instrument's error, as its maker or a laboratory states it.

    Attributes
    ----------
    name : str
        ``accuracy``, ``resolution``, ``drift``, ``tolerance``, ...
    terms : tuple of Term
        Combined by ``combine``: their sum is one limit, or the greatest of them is.
    combine : {"sum", "greater"}
        '0.5 % of reading + 0.25 Pa' is one limit whose half-width is the sum, not two causes.
    shape : {"normal", "rectangular", "triangular"}
        Distribution of the error within the limit.
    divisor : float
        Half-width (or U) over standard uncertainty. [1]
    dof : float
        Degrees of freedom of the standard uncertainty; finite only with a normal shape. [1]
    low, high : float
        Range of reading in which the component holds, both ends included. [SI]
    range_label : str
        The range as written; empty where none was.
    assumed : tuple of str
        What the text did not say and was assumed, in words.
    valid_years : float or None
        Time since calibration for which the statement already contains drift. [year]

    Source
    ------
    JCGM 100:2008, 4.3.7 (rectangular, a / sqrt 3), 4.3.9 (triangular, a / sqrt 6), 4.3.3 (U over a stated k), 4.3.4
    (a stated level, taken as normal). Numbers of clauses from memory.
    """

    name: str
    terms: tuple[Term, ...]
    combine: Literal["sum", "greater"]
    shape: Shape
    divisor: float
    dof: float = math.inf
    low: float = -math.inf
    high: float = math.inf
    range_label: str = ""
    assumed: tuple[str, ...] = ()
    valid_years: float | None = None

    @property
    def content(self) -> str:
        """What is stated, in a few characters: the same statement is the same cause wherever it stands in a list.

        A drift is known by its name alone: what it amounts to grows with time, what it is stays the same.
        """
        if self.name.startswith("drift"):
            return self.name
        said = (self.terms, self.combine, self.shape, self.divisor, self.dof, self.low)
        return f"{self.name.split()[0]} {hashlib.sha256(repr(said).encode()).hexdigest()[:8]}"

    def holds(self, reading: ArrayLike) -> NDArray[np.bool_]:
        """Tell, for each reading [SI], whether it lies in this component's range; same shape as ``reading``."""
        at = np.asarray(reading, dtype=float)
        return np.asarray((at >= self.low) & (at <= self.high))

    def half_width(self, reading: ArrayLike) -> NDArray[np.float64]:
        """Half-width of the limit, or U, at each reading [SI]; same shape as ``reading``, NaN outside the range."""
        at = np.asarray(reading, dtype=float)
        widths = np.stack([term.relative * np.abs(at) + term.absolute for term in self.terms])
        width = widths.sum(axis=0) if self.combine == "sum" else widths.max(axis=0)
        return np.where(self.holds(at), width, np.nan)

    def standard(self, reading: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty at each reading [SI]: half-width over divisor; NaN outside the range."""
        return np.asarray(self.half_width(reading) / self.divisor)


def covers(components: Sequence[Component], reading: ArrayLike) -> NDArray[np.bool_]:
    """Tell, for each reading [SI], whether every named component is stated there; same shape as ``reading``.

    Components of one name are the ranges of one statement: one of them must hold. Different names are different causes:
    each must hold somewhere. No components cover nothing.
    """
    covered = np.full(np.shape(reading), len(components) > 0)
    for name in {component.name for component in components}:
        covered &= np.any([c.holds(reading) for c in components if c.name == name], axis=0)
    return np.asarray(covered)


def resolution(value: float, *, name: str = "resolution") -> Component:
    """Error of rounding to a step of ``value`` [SI]: rectangular, half a step to each side.

    Raises
    ------
    StatementError
        If the step is not above zero.

    Source
    ------
    JCGM 100:2008, F.2.2.1. Number of clause from memory.
    """
    if not 0.0 < value < math.inf:
        remedy = "Give the size of the last digit's step."
        raise StatementError(f"{value}", f"{value}", "a resolution above zero", remedy)
    return Component(name, (Term(absolute=value / 2.0),), "sum", "rectangular", SHAPE_DIVISORS["rectangular"])
