"""The grammar of one limit: its width, as sums and the greater of sums, and the words that say how it spreads."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import cast

from flowrig.uncertainty.component import SHAPE_DIVISORS, Component, Shape, Term
from flowrig.uncertainty.statement_words import (
    DIGITS,
    DOF,
    EXAMPLES,
    FORMS,
    FULL_SCALE,
    QUALIFIERS,
    READING,
    SHAPES,
    Cursor,
    StatementError,
)

Convert = Callable[[float, str], float]


@dataclass(frozen=True)
class Width:
    """The width of a limit in the making: the greatest of ``options``, each a sum of terms; ``rated`` once per year."""

    options: tuple[tuple[Term, ...], ...]
    rated: bool = False

    def plus(self, other: Width) -> Width:
        """Add a width; (a or b) + c is (a + c) or (b + c)."""
        return Width(tuple(a + b for a in self.options for b in other.options), self.rated)

    def times(self, factor: float) -> Width:
        """Turn a width into a rate, or a rate into what has come of it."""
        scaled = (tuple(Term(t.relative * factor, t.absolute * factor) for t in option) for option in self.options)
        return Width(tuple(scaled), rated=True)

    def terms(self) -> tuple[Term, ...]:
        """Return the addends of the one option, or one term for each of several."""
        if len(self.options) == 1:
            return self.options[0]
        return tuple(Term(sum(t.relative for t in o), sum(t.absolute for t in o)) for o in self.options)


class LimitParser(Cursor):
    """Recursive descent over one limit; each method reads one phrase of the grammar::

    limit    = [ U = | u = | s = ] envelope { qualifier }
    envelope = sum { or sum } , whichever is greater  |  the greater of sum and sum
    sum      = atom { + atom }
    atom     = ( addend | ( envelope ) | max( sum , sum ) ) [ per year ]
    addend   = number unit  |  number % [ of reading | of full scale [ ( number unit ) ] ]  |  number digits
    """

    def __init__(
        self,
        text: str,
        convert: Convert,
        *,
        name: str,
        full_scale: float | None = None,
        resolution: float | None = None,
        relative_unit: str = "%",
        point: Convert | None = None,
        years: float | None = None,
    ) -> None:
        super().__init__(text)
        self.convert, self.point, self.name, self.years = convert, point, name, years
        self.full_scale, self.resolution, self.relative_unit = full_scale, resolution, relative_unit
        self.suffix = relative_unit.replace("%", "").strip().casefold()  # 'rh' where percent is itself the unit
        self.said: dict[str, float | str] = {}  # qualifiers of the piece being read
        self.assumed: list[str] = []
        self.units: list[str] = []
        self.shared_unit = ""  # of '(150 ± 0.1) mm', for numbers without one
        self.whole = "reading"  # what a bare percentage is of
        self.bare_percent = False

    def envelope(self) -> Width:
        """Read a sum, or the greater of several."""
        start = self.place
        self.accept("±")
        self.accept("the")
        word = "" if self.peek(1).fold == "(" else self.comparison()  # 'max(' is an atom
        if word:
            self.accept("of")
            options = self.options(start, "or", "and")
        else:
            options = self.options(start, "or")
            place = self.place
            self.accept(",")
            bracket = self.accept("(")
            if self.accept("whichever"):
                self.accept("is")
                self.accept("the")
                word = self.comparison()
                if bracket:
                    self.expect(")", "Close the bracket.")
            else:
                self.place = place
        return self.greater(options, bool(word), start)

    def greater(self, options: list[Width], compared: bool, start: int) -> Width:
        """Join several options, of which the text must say that the greater holds."""
        if compared != (len(options) > 1):
            remedy = "Write '2 % or 0.05 m/s, whichever is greater'; a sum is written with +."
            self.refuse("two widths and which of them holds", remedy, part=self.since(start))
        return Width(tuple(o for option in options for o in option.options), options[0].rated)

    def comparison(self) -> str:
        """Read 'greater' or its like; refuse 'smaller'."""
        if self.at("smaller", "less", "lesser", "lower", "least", "min", "minimum", "smallest"):
            reason = "The smaller of two limits is too good to be true of every reading: state the greater."
            self.refuse("the greater of the two", reason)
        return self.accept("greater", "larger", "higher", "greatest", "largest", "max", "maximum")

    def options(self, start: int, *separators: str) -> list[Width]:
        """Read one or several sums of which one will hold."""
        options = [self.sum()]
        while self.accept(*separators):
            options.append(self.same_rate(options[0], self.sum(), start))
        return options

    def sum(self) -> Width:
        """Read parts joined by + or ±."""
        start = self.place
        total = self.atom()
        while self.accept("+", "±", "plus"):
            total = total.plus(self.same_rate(total, self.atom(), start))
        if self.at("-"):
            self.refuse("+ between the parts of a limit", "Parts of a limit add: write + in place of the minus.")
        return total

    def same_rate(self, one: Width, other: Width, start: int) -> Width:
        """Return ``other`` if both are rates or neither is."""
        if one.rated != other.rated:
            remedy = "Say it of each part, or bracket them: '(0.5 % of reading + 0.2 Pa) per year'."
            self.refuse("'per year' with every part", remedy, part=self.since(start))
        return other

    def atom(self) -> Width:
        """Read one part, or a bracket, and the 'per year' behind it."""
        start = self.place
        self.accept("±")
        if self.accept("("):
            limit = self.envelope()
            self.expect(")", f"Close the bracket; accepted are, for example, {EXAMPLES}.")
        elif self.peek(1).fold == "(" and self.comparison():
            self.accept("(")
            options = self.options(start, ",", "or", "and")
            self.expect(")", "Close the bracket.")
            limit = self.greater(options, True, start)
        else:
            limit = Width(((self.addend(),),))
        if self.period_follows():
            self.place += 1
            years = self.period()
            if limit.rated or self.years is None:
                self.refuse("a limit, not a rate", "State a rate per year as the drift.", part=self.since(start))
            return limit.times(1.0 / years)
        return limit

    def addend(self) -> Term:
        """Read a number with its unit, a percentage, or digits."""
        start = self.place
        number = self.number("a width such as '0.25 Pa', '0.5 % of reading' or '2 digits'")
        if self.peek().kind == "percent":
            self.place += 1
            return self.percentage(number, start)
        unit = self.unit() or self.shared_unit
        if unit.casefold() in DIGITS:
            if self.resolution is None or not self.resolution > 0.0:
                self.refuse("a resolution above zero", "Digits need it: give the resolution.", part=self.since(start))
            return Term(absolute=number * self.resolution)
        return Term(absolute=self.si(number, unit, self.convert))

    def percentage(self, number: float, start: int) -> Term:
        """Read what a percentage is of."""
        of = self.accept("of", "×", "*")
        self.accept("the")
        if self.take(READING):
            return self.share(number, start)
        if base := self.take(FULL_SCALE):
            return Term(absolute=number / 100.0 * self.base(" ".join(base), start))
        if of and self.peek().kind == "number":
            return Term(absolute=number / 100.0 * self.si(self.number("a full scale"), self.unit(), self.convert))
        if of:
            self.refuse("what the percentage is of", "Write 'of reading' or 'of full scale (1000 Pa)'.")
        if self.suffix:
            if not self.accept(self.suffix):
                self.assumed.append(f"a bare {number:g} % taken as percentage points ({self.relative_unit})")
            return Term(absolute=self.si(number, self.relative_unit, self.convert))
        self.bare_percent = True
        self.assumed.append(f"a bare {number:g} % taken as of {self.whole}")
        return self.share(number, start)

    def share(self, number: float, start: int) -> Term:
        """Return a percentage of reading, where that has a meaning."""
        if self.point is not None:
            remedy = "On a scale whose zero is a convention a share of the reading means nothing: state a width."
            self.refuse("a width with its unit", remedy, part=self.since(start))
        return Term(relative=number / 100.0)

    def base(self, word: str, start: int) -> float:
        """Read the full scale in brackets, or use the one given with the instrument. [SI]"""
        level = self.peek(2).kind == "percent" and self.peek(3).fold != self.suffix  # '(95 %)', but not '(100 %RH)'
        if self.at("(") and self.peek(1).kind == "number" and not level and not self.time_follows(1):
            self.place += 1
            scale = self.si(self.number("a full scale"), self.unit(), self.convert)
            self.expect(")", "Give the full scale as one number with its unit: '0.25 % of full scale (1000 Pa)'.")
            if self.full_scale is not None and not math.isclose(scale, self.full_scale, rel_tol=1e-9):
                remedy = f"The instrument's full scale is given as {self.full_scale:g} (SI): mend one of the two."
                self.refuse("the instrument's full scale", remedy, part=self.since(start))
        elif self.full_scale is None:
            remedy = f"Write '0.25 % of {word} (1000 Pa)', or give the full scale with the instrument."
            self.refuse(f"the {word} itself", remedy, part=self.since(start))
        else:
            scale = self.full_scale
            if word in ("range", "span"):
                self.assumed.append(f"the {word} taken as the instrument's full scale")
        if not scale > 0.0:
            self.refuse("a full scale above zero", "Correct the full scale.", part=self.since(start))
        return scale

    def si(self, number: float, unit: str, convert: Convert) -> float:
        """Convert with the caller's ``convert``, and refuse what it refuses."""
        part = f"{number:g} {unit}".strip()
        if unit.casefold().replace("percent", "%").replace(" ", "").replace(".", "") in ("%", f"%{self.suffix}"):
            unit = self.relative_unit
        try:
            value = float(convert(number, unit))
        except ValueError as error:
            remedy = str(error) if unit else "Give the number its unit."
            raise StatementError(self.text, part, "a number with a unit of this instrument", remedy) from error
        if not math.isfinite(value):
            self.refuse("a finite width", "Correct the number or its unit.", part=part)
        self.units.append(unit)
        return value

    def limit(self) -> Component:
        """Read one limit, or U, u or s, with the qualifiers behind it."""
        start = self.place
        form = "limit"
        # U and u differ only in case, so the text as written decides.
        if self.at("u", "s") and self.peek(1).fold == "=":
            form = self.peek().text if self.at("u") else "s"
            self.place += 1
        elif phrase := self.take(FORMS):
            form = FORMS[phrase]
        if form != "limit":
            self.accept("=", "of", ":")
        limit = self.envelope()
        written = self.since(start)
        if not any(term.relative or term.absolute for term in limit.terms()):
            self.refuse("a width above zero", "No measurement is exact: state what is known of it.", part=written)
        if self.years is not None:
            if not limit.rated:
                self.refuse("a rate", "Say '0.5 % of reading per year'.", part=written)
            limit = limit.times(self.years)
        self.qualifiers()
        shape, divisor, dof = self.spread(form, written)
        return Component(
            name=self.name,
            terms=limit.terms(),
            combine="sum" if len(limit.options) == 1 else "greater",
            shape=shape,
            divisor=divisor,
            dof=dof,
            assumed=tuple(dict.fromkeys(self.assumed)),
            valid_years=cast("float | None", self.said.get("validity")),
        )

    def spread(self, form: str, written: str) -> tuple[Shape, float, float]:
        """Turn the form and the qualifiers into shape, divisor and degrees of freedom."""
        k, level, shape = self.said.get("k"), self.said.get("level"), self.said.get("shape")
        dof, n = float(self.said.get("dof", math.inf)), self.said.get("n")
        if form in ("u", "s") and (k or level):
            self.refuse("no k and no level after u or s", "With a k or a level it is expanded: write U.", part=written)
        if (n is None) != (form != "s") or (n is not None and math.isfinite(dof)):
            self.refuse("s with n and no dof", "Write 's = 0.2 Pa, n = 10'; a known u is 'u = 0.2 Pa'.", part=written)
        divisor = 1.0
        if n is not None:
            dof = float(n) - 1.0
            self.assumed.append("the standard deviation is taken to be that of one reading, not of the mean")
        elif form in ("limit", "U"):
            if k or level:
                divisor = float(k or self.coverage_factor(float(level or 0.0), dof))
            elif form == "U":
                remedy = "U without k says nothing: write 'U = 0.8 Pa (k=2)'."
                self.refuse("U with its k or its level", remedy, part=written)
            elif shape == "normal":
                self.refuse("a k or a level with 'normal'", "Write '0.8 Pa (k=2)'.", part=written)
            else:
                if shape is None:
                    shape = "rectangular"
                    self.assumed.append("maker's limits taken as rectangular")
                divisor = SHAPE_DIVISORS[str(shape)]
            if (k or level) and shape not in (None, "normal"):
                self.refuse("either a k or a shape", "A k belongs to a normal spread: leave one out.", part=written)
        shape = shape or "normal"
        if shape != "normal" and math.isfinite(dof):
            self.refuse("degrees of freedom only with u, s, a k or a level", "Leave one of the two out.", part=written)
        return cast("Shape", shape), divisor, dof

    def coverage_factor(self, level: float, dof: float) -> float:
        """Return k for a two-sided level [%]: normal, or Student's t where degrees of freedom are stated."""
        tail = (1.0 + level / 100.0) / 2.0
        if math.isfinite(dof):
            from scipy.special import stdtrit  # imported where needed: most statements name k

            k, law = float(stdtrit(dof, tail)), f"Student's t at {dof:g} degrees of freedom"
        else:
            k, law = NormalDist().inv_cdf(tail), "normal"
        self.assumed.append(f"a level of {level:g} % taken as {law}: k = {k:.3f}")
        return k

    def qualifiers(self) -> None:
        """Read what follows a width, in brackets, behind commas or bare."""
        while True:
            if self.accept("("):
                self.qualifier(required=True)
                while self.accept(",", ";", "and"):
                    self.qualifier(required=True)
                self.expect(")", "Close the bracket.")
            elif not self.qualifier(required=bool(self.accept(","))):
                return

    def qualifier(self, *, required: bool) -> bool:
        """Read one qualifier into ``said``; tell whether there was one."""
        start = self.place
        while self.accept("with", "at", "for", "within", "valid", "a"):
            required = True
        if self.take((("k",), ("coverage", "factor"))):
            self.accept("of")
            self.accept("k")
            self.accept("=")
            self.say("k", self.number("a coverage factor"), start)
        elif self.take(DOF):
            self.accept("=", "of")
            self.say("dof", self.number("degrees of freedom"), start)
        elif self.at("n") and self.peek(1).fold == "=":
            self.place += 2
            self.say("n", self.number("how many readings"), start)
        elif self.peek().fold in SHAPES:
            self.say("shape", SHAPES[self.accept(*SHAPES)], start)
            self.accept("distribution")
        elif self.at("typical", "typ"):
            remedy = "A typical value is no limit: ask for the maximum, or state what you believe as 'u = 0.3 Pa'."
            self.refuse("a limit", remedy)
        elif self.accept("max", "maximum"):
            pass  # a limit is what we take it for anyway
        elif self.peek().kind == "number":
            self.numbered_qualifier(start)
        elif required:
            self.refuse(f"one of {QUALIFIERS}", f"Accepted are, for example, {EXAMPLES}.")
        else:
            return False
        return True

    def numbered_qualifier(self, start: int) -> None:
        """Read '95 %', '2 sigma' or '1 year'."""
        if self.peek(1).kind == "percent":
            level = self.number("a level of confidence")
            self.place += 1
            while self.accept("level", "of", "confidence", "coverage", "probability"):
                pass
            self.say("level", level, start)
        elif self.peek(1).fold in ("sigma", "σ"):
            self.say("k", self.number("a coverage factor"), start)
            self.place += 1
        elif self.time_follows():
            self.say("validity", self.period(), start)
        else:
            self.finish()

    def say(self, key: str, value: float | str, start: int = 0) -> None:
        """Note a qualifier, once and in bounds."""
        part = self.since(start)
        if key in self.said:
            self.refuse(f"one {key}", "It is said twice: leave one out.", part=part)
        least = {"k": 0.0, "dof": 0.0, "n": 1.0, "level": 50.0}.get(key)
        if least is not None and not least < float(value):
            self.refuse(f"{key} above {least:g}", "Correct the number.", part=part)
        if (key == "level" and float(value) >= 100.0) or (key == "n" and float(value) % 1.0):
            self.refuse("a level below 100 %, or a whole number of readings", "Correct the number.", part=part)
        self.said[key] = value

    def finish(self) -> None:
        """Refuse whatever is left."""
        if self.peek().kind == "comma":
            self.number("a number")  # refuses it with the hint on decimal points
        if self.peek().kind != "end":
            remedy = f"Parts add with +, ranges go in front: '0..250 Pa: 1 % of reading'. Accepted are also {EXAMPLES}."
            self.refuse(f"the end, or one of {QUALIFIERS}", remedy)
