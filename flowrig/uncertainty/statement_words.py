"""The words of an accuracy statement: cutting it into tokens, walking along them, saying what was not understood."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NoReturn

from flowrig.errors import FlowrigError

Phrase = tuple[str, ...]

EXAMPLES = "'0.5 % of reading + 0.25 Pa', '2 % or 0.05 m/s, whichever is greater', 'U = 0.8 Pa (k=2)'"

READING: tuple[Phrase, ...] = (
    ("reading",),
    ("readings",),
    ("rdg",),
    ("value",),
    ("measured", "value"),
    ("indicated", "value"),
    ("mv",),
)
FULL_SCALE: tuple[Phrase, ...] = (("full", "scale"), ("fullscale",), ("fs",), ("fsd",), ("range",), ("span",))
DIGITS = frozenset({"digit", "digits", "dgt", "dgts", "count", "counts"})
SHAPES = {
    "rectangular": "rectangular",
    "uniform": "rectangular",
    "triangular": "triangular",
    "normal": "normal",
    "gaussian": "normal",
}
DOF: tuple[Phrase, ...] = (("dof",), ("ν",), ("nu",), ("νeff",), ("ν_eff",), ("degrees", "of", "freedom"))
FORMS: dict[Phrase, str] = {
    ("expanded", "uncertainty"): "U",
    ("uncertainty",): "U",
    ("standard", "uncertainty"): "u",
    ("standard", "deviation"): "s",
}
QUALIFIERS = "k=2, 95 %, rectangular, triangular, dof = 9, n = 10, 1 year"
PERIODS = {
    "year": 1.0,
    "years": 1.0,
    "yr": 1.0,
    "annum": 1.0,
    "month": 1 / 12,
    "months": 1 / 12,
    "day": 1 / 365.25,
    "days": 1 / 365.25,
}
# Words that never belong to a unit, so that a unit of several words ('in of water') knows where it ends.
_UNIT_ENDS = frozenset(
    {
        "or",
        "and",
        "plus",
        "to",
        "up",
        "with",
        "at",
        "for",
        "within",
        "valid",
        "whichever",
        "typical",
        "typ",
        "max",
        "maximum",
        "coverage",
        *SHAPES,
    }
)

# Replaced one character for one, so that a token's place in the cleaned text is its place in the text as written.
_LOOKALIKES = str.maketrans({"−": "-", "–": "-", "—": "-", "‑": "-", "＋": "+", "％": "%"})
_TOKEN = re.compile(
    r"""
    (?P<comma>  \d+(?:\.\d+)?,\d[\d.,]*)                                    # 0,5: refused where it is reached
  | (?P<number> (?:\d+(?:\.(?!\.)\d*)? | \.\d+) (?:[eE][+-]?\d+)?)          # '0..250' is 0, '..', 250
  | (?P<symbol> ± | \+\s*/\s*- | \+- | \.{2,3} | … | <= | >= | [-≤≥<>+/,;:=()^*·×])
  | (?P<percent> % | (?:percent | per\s?cent | pct)\b)
  | (?P<word>   (?:[^\W\d_] | [°"″'′]) (?:[\w⁻°] | \.(?!\.))* (?:-\d(?!\d))?)   # m3, H2O, w.c., s-1
  | (?P<other>  \S)
    """,
    re.VERBOSE | re.IGNORECASE,
)
_SAME = {"…": "..", "...": "..", "≤": "<=", "≥": ">=", "+-": "±"}


class StatementError(FlowrigError, ValueError):
    """An accuracy statement that cannot be understood, or should not be believed as it stands.

    Attributes
    ----------
    text : str
        The whole statement as written.
    part : str
        The offending piece.
    expected : str
        What would have been understood in its place.
    remedy : str
        What to do, as one sentence.
    """

    def __init__(self, text: str, part: str, expected: str, remedy: str) -> None:
        self.text, self.part, self.expected, self.remedy = text, part, expected, remedy
        super().__init__(f"accuracy statement '{text}': read '{part}'; expected {expected}. {remedy}".rstrip())


@dataclass(frozen=True)
class Token:
    """One word, number or symbol; ``fold`` is the form it is compared in: small letters, no dots, one sign for each."""

    kind: str
    text: str
    fold: str
    start: int
    end: int


def tokenize(text: str) -> list[Token]:
    """Cut a statement into tokens; what is no token becomes one of kind ``other``, refused by whoever meets it."""
    tokens = []
    for match in _TOKEN.finditer(text.translate(_LOOKALIKES)):
        kind, fold = match.lastgroup or "other", match.group().casefold()
        if kind == "word":
            fold = fold.replace(".", "")
        elif kind == "symbol":
            fold = "".join(fold.split())
            fold = _SAME.get(fold, "±" if fold == "+/-" else fold)
        tokens.append(Token(kind, text[match.start() : match.end()], fold, match.start(), match.end()))
    return tokens


class Cursor:
    """A place in a tokenized statement, and the small steps a parser takes from it."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens = tokenize(text)
        self.place = 0

    def peek(self, ahead: int = 0) -> Token:
        """Return the token ``ahead`` places on; past the last one, a token of kind ``end``."""
        place = self.place + ahead
        return self.tokens[place] if place < len(self.tokens) else Token("end", "", "", len(self.text), len(self.text))

    def at(self, *folds: str) -> bool:
        """Tell whether the next token is one of these."""
        return self.peek().kind != "end" and self.peek().fold in folds

    def accept(self, *folds: str) -> str:
        """Step over the next token if it is one of these and return it, else return an empty text."""
        if not self.at(*folds):
            return ""
        self.place += 1
        return self.tokens[self.place - 1].fold

    def take(self, phrases: Iterable[Phrase]) -> Phrase:
        """Step over the longest of these phrases if one stands here ('full-scale' is 'full scale'), else return ()."""
        for phrase in sorted(phrases, key=len, reverse=True):
            start = self.place
            for count, word in enumerate(phrase):
                if count and self.at("-"):
                    self.place += 1
                if not self.accept(word):
                    break
            else:
                return phrase
            self.place = start
        return ()

    def expect(self, fold: str, remedy: str) -> None:
        """Step over this token or refuse what stands in its place."""
        if not self.accept(fold):
            self.refuse(f"'{fold}'", remedy)

    def number(self, expected: str) -> float:
        """Read an unsigned number."""
        token = self.peek()
        if token.kind == "comma":
            self.refuse("a decimal point", "Write 0.5, not 0,5; leave out marks between thousands.", part=token.text)
        if token.fold == "-":
            self.refuse(expected, "A width has no sign: write it without the minus.")
        if token.fold == "+":
            self.refuse(expected, "A one-sided limit is not understood: state the middle, and ± half the width.")
        if token.kind != "number":
            self.refuse(expected, f"Accepted are, for example, {EXAMPLES}.")
        value = float(token.text)
        if value == float("inf"):
            self.refuse("a finite number", "Correct the exponent.", part=token.text)
        self.place += 1
        return value

    def unit(self) -> str:
        """Read the words of a unit, as written; empty where none stands here."""
        first = self.place
        if self.peek().kind == "percent":
            self.place += 1
        elif self.peek().text == "1" and self.peek(1).fold == "/" and self.peek(2).kind == "word":
            self.place += 2  # 1/h, where '0.5 1 year' is no unit
        elif self.at("/") and self.peek(1).kind == "word" and not self.period_follows():
            self.place += 1  # /h
        while self._unit_goes_on(first):
            self.place += 1
        return self.text[self.tokens[first].start : self.peek(-1).end] if self.place > first else ""

    def _unit_goes_on(self, first: int) -> bool:
        token, before = self.peek(), self.peek(-1).fold if self.place > first else ""
        if self.period_follows():
            return False
        if token.kind == "word":
            return token.fold not in _UNIT_ENDS and self.peek(1).fold != "="
        if token.kind == "number" or token.fold == "-":
            return before == "^" or (before == "-" and token.kind == "number")
        return bool(before) and token.fold in ("/", "^", "*", "·", "×")

    def period_follows(self) -> bool:
        """Tell whether 'per year', '/year' or 'per 12 months' stands here."""
        ahead = 2 if self.peek(1).kind == "number" else 1
        return self.at("/", "per") and self.peek(ahead).fold in PERIODS

    def time_follows(self, ahead: int = 0) -> bool:
        """Tell whether '1 year', '1-year' or '12 months' stands ``ahead`` tokens on."""
        hyphen = int(self.peek(ahead + 1).fold == "-")
        return self.peek(ahead).kind == "number" and self.peek(ahead + 1 + hyphen).fold in PERIODS

    def period(self) -> float:
        """Read 'year', '1 year', '1-year' or '12 months'. [years]"""
        count = self.number("a time") if self.peek().kind == "number" else 1.0
        self.accept("-")
        word = self.peek().fold
        if word not in PERIODS or count == 0.0:
            self.refuse("a time such as '1 year' or '12 months'", "Give a time longer than nothing.")
        self.place += 1
        return count * PERIODS[word]

    def since(self, place: int) -> str:
        """Return the text from the token at ``place`` up to here, as written."""
        return self.text[self.tokens[place].start : self.peek(-1).end] if self.place > place else ""

    def refuse(self, expected: str, remedy: str, *, part: str | None = None) -> NoReturn:
        """Raise StatementError; the offending piece is ``part``, or all that is left of the text."""
        rest = self.text[self.peek().start :].strip() or "nothing more"
        raise StatementError(self.text, rest if part is None else part, expected, remedy)
