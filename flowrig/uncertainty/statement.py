"""Accuracy statements, as datasheets and certificates word them, read into components of an instrument's error."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

from flowrig.uncertainty.component import SHAPE_DIVISORS, Component, Term, covers, resolution
from flowrig.uncertainty.statement_limit import Convert, LimitParser
from flowrig.uncertainty.statement_words import FORMS, Phrase, StatementError, tokenize

__all__ = ["Component", "StatementError", "Term", "covers", "parse", "parse_drift", "parse_value", "resolution"]

_NAMES = (("accuracy",), ("drift",), ("tolerance",), ("maximum", "permissible", "error"), ("limits", "of", "error"))
# The words before one end of a range, and whether the end itself belongs to it.
_BELOW: dict[Phrase, bool] = {("up", "to"): True, ("<=",): True, ("below",): False, ("under",): False, ("<",): False}
_ABOVE: dict[Phrase, bool] = {("from",): True, (">=",): True, ("above",): False, ("over",): False, (">",): False}
# A sign, a number and a short unit: without a second sign and without a word as long as 'uncertainty'.
PLAIN = re.compile(r"[+-]?[\d.]+ ?[^\W_]{0,8}(?:/[^\W_]{1,8})?")
_RANGE_STARTS = ("-", *(phrase[0] for phrase in (*_BELOW, *_ABOVE)))


class _StatementParser(LimitParser):
    """A whole statement: limits, each with the range in which it holds."""

    def statement(self) -> tuple[Component, ...]:
        """Read the whole text."""
        self.prefix()
        shared = dict(self.said)  # '1-year accuracy: ...' is said of every range that follows
        pieces: list[Component] = []
        while not pieces or (self.accept(";") and self.peek().kind != "end"):
            self.said, self.assumed = dict(shared), []
            pieces.append(self.piece())
        self.finish()
        return self.joined(pieces)

    def prefix(self) -> None:
        """Read what may stand before a limit: '1-year accuracy'."""
        if self.time_follows():
            self.say("validity", self.period())
        if self.take(_NAMES) or self.said:
            self.accept("of", "=", ":")

    def piece(self) -> Component:
        """Read a limit and the range before it."""
        low, high, label = -math.inf, math.inf, ""
        ahead = (token.fold for token in self.tokens[self.place :])
        colon = next((fold for fold in ahead if fold in (":", ";")), "") == ":"
        if colon and (self.peek().kind == "number" or self.at(*_RANGE_STARTS)):
            low, high, label = self.range()
            self.prefix()
        return replace(self.limit(), low=low, high=high, range_label=label)

    def range(self) -> tuple[float, float, str]:
        """Read 'low..high unit:', 'up to high unit:' or 'above low unit:'; an end left open is infinite. [SI]"""
        start, low, high = self.place, -math.inf, math.inf
        if below := self.take(_BELOW):
            high = self.on_scale(*self.bound())
            if not _BELOW[below]:
                high = math.nextafter(high, -math.inf)
        else:
            above = self.take(_ABOVE)
            number, unit = self.bound()
            if self.accept("..", "-", "to") or self.take((("up", "to"),)):
                last, last_unit = self.bound()
                high, unit = self.on_scale(last, last_unit), unit or last_unit
            elif not above:
                self.refuse("a range such as '0..250 Pa', 'up to 250 Pa' or 'above 250 Pa'", "Give both ends.")
            low = self.on_scale(number, unit)
            if above and not _ABOVE[above]:
                low = math.nextafter(low, math.inf)
        label = self.since(start)
        if not low < high:
            self.refuse("a range from a lower to a higher reading", "Put the lower end first.", part=label)
        self.expect(":", "Write a range as '0..250 Pa: 0.5 % of reading'.")
        return low, high, label

    def bound(self) -> tuple[float, str]:
        """Read one end of a range: number and unit, which may stand with the other end only."""
        sign = -1.0 if self.accept("-") else 1.0
        return sign * self.number("a reading at the end of a range, as in '0..250 Pa: 0.5 % of reading'"), self.unit()

    def on_scale(self, number: float, unit: str) -> float:
        """Return a point on the scale of readings. [SI]"""
        return self.si(number, unit, self.point or self.convert)

    def joined(self, pieces: list[Component]) -> tuple[Component, ...]:
        """Put the ranges in order and see that they meet end to end."""
        if len(pieces) > 1 and not all(piece.range_label for piece in pieces):
            self.refuse("a range before each part", "Write '0..250 Pa: ...; 250..1000 Pa: ...'.", part=self.text)
        pieces = sorted(pieces, key=lambda piece: piece.low)
        for place, (below, above) in enumerate(pairwise(pieces)):
            if not math.isclose(below.high, above.low, rel_tol=1e-9, abs_tol=1e-300):
                fault = "overlap" if above.low < below.high else "leave a gap"
                part = f"{below.range_label}; {above.range_label}"
                self.refuse("ranges that meet end to end", f"These {fault}: let each start where one ends.", part=part)
            # The reading at which two ranges meet belongs to one of them only, or its error would count twice.
            pieces[place + 1] = replace(above, low=math.nextafter(below.high, math.inf))
        return tuple(pieces)


class ValueParser(LimitParser):
    """A value with, perhaps, its tolerance."""

    def value(self, read: Callable[[str], float]) -> tuple[float, tuple[Component, ...]]:
        """Read the whole text; the value itself is left to ``read``."""
        split = self.split()
        if split is None:
            return read(self.text), ()
        if not split:
            self.refuse("a value before its tolerance", "Write '150 mm ± 0.1 mm'.")
        self.whole = "value"
        first = 0
        if self.tokens[0].fold == "(":
            first = self.gather_bracket(split)
        head = self.tokens[first:split]
        nominal = self.text[head[0].start : self.tokens[split].start].strip().rstrip(",").strip()
        bare = [token.kind for token in head if token.fold != "-"] == ["number"]
        self.place = split
        bracket = self.accept("(")
        component = self.limit()
        if bracket:
            self.expect(")", "Close the bracket.")
        self.finish()
        if self.bare_percent and (bare or any(token.kind == "percent" for token in head)):
            remedy = "Write '0.98 ± 2 % of value' for a share of it, '(85 ± 2) %' for percentage points."
            self.refuse("what the percentage is of", remedy, part=self.text)
        if bare and self.tokens[split].fold == "±" and self.units:
            nominal = f"{nominal} {self.units[0]}".strip()  # '150 ± 0.1 mm': one unit for both
        value = read(nominal)
        if any(term.relative for term in component.terms):
            self.check_zero(value, nominal)
        if not component.half_width(value) > 0.0:
            self.refuse("a tolerance above zero", "A share of nothing is nothing: state a width.", part=self.text)
        return value, (component,)

    def split(self) -> int | None:
        """Find the token at which the tolerance starts; None where there is none."""
        for place, token in enumerate(self.tokens):
            self.place = place
            self.accept("(")
            if self.at("±") or (self.at("u", "s") and self.peek(1).fold == "=") or self.take(FORMS):
                return place
            self.place = place
            signed = token.fold in ("+", "-") and self.peek(1).kind == "number"
            if place and signed and self.peek(-1).fold != "^" and not (place == 1 and self.tokens[0].fold == "("):
                other = "-" if token.fold == "+" else "+"
                if token.fold == "+" or any(t.fold == other for t in self.tokens[place:]):
                    remedy = "State the middle: '150.05 mm ± 0.15 mm' for '150 mm +0.2/-0.1 mm'."
                    self.refuse("a tolerance of the same width to both sides", remedy)
        return None

    def gather_bracket(self, split: int) -> int:
        """Undo the bracket of '(150 ± 0.1) mm', keeping its unit for both numbers; return where the value starts."""
        close = next((p for p, token in enumerate(self.tokens) if p > split and token.fold == ")"), len(self.tokens))
        self.place = close
        self.expect(")", "Close the bracket.")
        self.shared_unit = self.unit()
        del self.tokens[close : self.place]
        return 1

    def check_zero(self, value: float, nominal: str) -> None:
        """Refuse a share of a value whose zero is a convention: 0.5 % of 20 °C is not 0.5 % of 293 K."""
        inner = LimitParser(nominal, self.convert, name=self.name, relative_unit=self.relative_unit)
        sign = -1.0 if inner.accept("-") else 1.0
        size = inner.si(sign * inner.number("a number with its unit"), inner.unit(), self.convert)
        if not math.isclose(size, value, rel_tol=1e-9):
            remedy = "On a scale whose zero is a convention a share of the value means nothing: state a width."
            self.refuse("a width with its unit", remedy, part=self.text)


def _ends(text: str) -> tuple[str, str] | None:
    """Both ends of 'from 4 to 6 h', each with its unit, which may stand with the last alone; None for other words."""
    tokens = tokenize(text)
    to = next((place for place, token in enumerate(tokens) if token.fold == "to"), 0)
    if not (tokens and tokens[0].fold == "from" and 1 < to < len(tokens) - 1):
        return None
    low, high = (text[part[0].start : part[-1].end] for part in (tokens[1:to], tokens[to + 1 :]))
    if [token.kind for token in tokens[1:to] if token.fold != "-"] == ["number"]:
        unit = tokens[to + (3 if tokens[to + 1].fold == "-" else 2) :]
        low = f"{low} {text[unit[0].start :]}" if unit else low
    return low, high


def _between(text: str, low: float, high: float, name: str) -> tuple[float, tuple[Component, ...]]:
    """Anywhere between two ends: the middle, and half the width as a limit."""
    if not low < high:
        raise StatementError(text, text, "a range from a lower to a higher value", "Put the lower end first.")
    term = Term(absolute=(high - low) / 2.0)
    limit = Component(name, (term,), "sum", "rectangular", SHAPE_DIVISORS["rectangular"])
    return (low + high) / 2.0, (limit,)


def parse(
    text: str,
    convert: Convert,
    *,
    name: str = "accuracy",
    full_scale: float | None = None,
    resolution: float | None = None,
    relative_unit: str = "%",
    point: Convert | None = None,
) -> tuple[Component, ...]:
    """Read an accuracy statement.

    Parameters
    ----------
    text : str
        One limit, or several as ``range: limit; range: limit``.
    convert : callable (number, unit) -> float
        SI size of a *difference* in the instrument's dimension; ValueError on a unit it does not know. The unit is
        empty where the text gives none.
    name : str
        Name given to the components.
    full_scale, resolution : float, optional
        What ``% FS`` and ``digits`` stand for. [SI]
    relative_unit : str
        ``%RH`` where percent is itself the unit: ``2 %RH`` and a bare ``2 %`` are then widths in that unit.
    point : callable (number, unit) -> float, optional
        SI value of a *point* on a scale whose zero is a convention (temperature): used for the ends of ranges, and a
        percentage of reading is then refused. Left out, ``convert`` serves for both.

    Returns
    -------
    components : tuple of Component
        One for each range, in order, of one cause: ``standard`` is NaN outside a component's own range, and a reading
        where two ranges meet belongs to the lower one only. ``covers`` tells which readings lie in any.

    Raises
    ------
    StatementError
        For anything not understood; its fields name the piece and what to do.

    Notes
    -----
    Assumed, and then listed in ``assumed``: a limit without k, level or shape is rectangular; a bare percentage is of
    reading; a level without k is normal, or Student's t where degrees of freedom are stated. A stated k is taken as
    normal.

    Source
    ------
    JCGM 100:2008, 4.3.7 (limits taken as rectangular), 4.3.9 (triangular), 4.3.3 and 4.3.4 (k, level), G.3.2 (t for
    finite degrees of freedom). Numbers of clauses from memory.

    Examples
    --------
    >>> pascal = lambda number, unit: number * {"Pa": 1.0, "kPa": 1000.0}[unit]
    >>> (limit,) = parse("0.5 % of reading + 0.25 Pa", pascal)
    >>> float(limit.half_width(100.0))
    0.75
    >>> limit.assumed
    ("maker's limits taken as rectangular",)
    >>> float(parse("U = 0.8 Pa (k=2)", pascal)[0].standard(100.0))
    0.4
    """
    return _StatementParser(
        text,
        convert,
        name=name,
        full_scale=full_scale,
        resolution=resolution,
        relative_unit=relative_unit,
        point=point,
    ).statement()


def parse_drift(
    text: str,
    convert: Convert,
    years: float,
    *,
    name: str = "drift",
    full_scale: float | None = None,
    resolution: float | None = None,
    relative_unit: str = "%",
    point: Convert | None = None,
) -> tuple[Component, ...]:
    """Read a rate such as ``0.5 % of reading per year`` into the drift after ``years`` since calibration. [year]

    Everything is as in ``parse``; every part of the limit has to be a rate. Drift is taken to grow in proportion to
    time, its direction unknown. A yearly accuracy (``valid_years`` of ``parse``) already contains it within that time.

    Raises
    ------
    StatementError
        For anything not understood, and for a time below zero.

    Source
    ------
    Common practice, no source; shape as in ``parse``.

    Examples
    --------
    >>> pascal = lambda number, unit: number * {"Pa": 1.0}[unit]
    >>> float(parse_drift("0.2 Pa/year", pascal, 1.5)[0].half_width(100.0).round(9))
    0.3
    """
    if not 0.0 <= years < math.inf:
        remedy = "Check the dates of calibration and of the test."
        raise StatementError(text, f"{years:g} years", "a time since calibration, not below zero", remedy)
    return _StatementParser(
        text,
        convert,
        name=name,
        full_scale=full_scale,
        resolution=resolution,
        relative_unit=relative_unit,
        point=point,
        years=years,
    ).statement()


def parse_value(
    text: str,
    read: Callable[[str], float],
    convert: Convert,
    *,
    name: str = "tolerance",
    relative_unit: str = "%",
) -> tuple[float, tuple[Component, ...]]:
    """Read a value with, perhaps, its tolerance: ``150 mm ± 0.1 mm``, ``150 mm (U = 0.2 mm, k=2)``, ``0.98 ± 0.02``.

    Parameters
    ----------
    text : str
        The value, then ``±`` or ``+/-`` and a limit as in ``parse``, or such a limit as ``U =``, ``u =`` or ``s =``. Or
        ``from 4 to 6 h``: the middle, and half the width as a plain limit.
    read : callable (text) -> float
        SI value of a number with its unit; its ValueError is passed on.
    convert, name, relative_unit
        As in ``parse``.

    Returns
    -------
    value : float
        [SI]
    components : tuple of Component
        One, or none where the text states no tolerance.

    Raises
    ------
    StatementError
        For a tolerance not understood: one-sided, a share of a temperature, a percentage to be read in two ways.
    ValueError
        From ``read``.

    Source
    ------
    JCGM 100:2008, as in ``parse``; clauses from memory.

    Examples
    --------
    >>> convert = lambda number, unit: number * {"mm": 1e-3}[unit]
    >>> read = lambda text: convert(float(text.split()[0]), text.split()[1])
    >>> value, (tolerance,) = parse_value("150 ± 0.1 mm", read, convert)
    >>> value, float(tolerance.half_width(value))
    (0.15, 0.0001)
    """
    if PLAIN.fullmatch(text):
        return read(text), ()  # most readings of a record: no tolerance to look for
    ends = _ends(text)
    if ends is not None:
        return _between(text, read(ends[0]), read(ends[1]), name)
    return ValueParser(text, convert, name=name, relative_unit=relative_unit).value(read)
