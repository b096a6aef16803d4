"""What a fault says: values as a person wrote them, and whole sentences, however the words reach us."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping

from flowrig import units
from flowrig.errors import Fault
from flowrig.records.declare import Given, Reading, Series
from flowrig.records.files import quoted
from flowrig.uncertainty.statement import StatementError
from flowrig.unit_table import CURRENCIES

NEAR = 1e-3  # of a value: an interval this narrow would call for more digits than anybody reads
LONG = 200  # characters of one value; more would bury the rest of the report


# what is said of a ± that is missing, or that has no place; and what to do
OF_LIMITS = {
    "must": ("with its ±: an uncertainty that is not stated is not zero", 'Write both, as in "0.97 ± 0.02 (k=2)".'),
    "never": ("without a ±", "Take the ± away; its error is stated elsewhere, as a cause, or does not count here."),
}


def three_digits(x: float) -> str:
    """A number to three digits, without an exponent."""
    return f"{float(f'{x:.3g}'):.10g}"


def rounded(u: float, *values: float) -> list[str]:
    """Values to the place of the second digit of their standard uncertainty (JCGM 100:2008 7.2.6, from memory)."""
    if not math.isfinite(u) or u <= 0:
        return [f"{x:.6g}" for x in values]
    exponent = math.floor(math.log10(float(f"{u:.1e}")))
    decimals = 1 - exponent
    return [f"{round(x, decimals) + 0.0:.{max(decimals, 0)}f}" for x in values]  # + 0: no nought has a sign


def to_its_bar(value: float, u: float) -> str:
    """A number in a sentence: no more digits than its standard uncertainty leaves, and never more than four."""
    return f"{float(f'{float(rounded(u, value)[0]):.4g}'):.10g}"


def ends_rounded(value: float, low: float, high: float) -> list[str]:
    """A value and the ends of its interval to the digits of their distance; where they lie very near, to four."""
    finite = [x for x in (value, low, high) if math.isfinite(x)]
    width = max(finite) - min(finite) if finite else 0.0
    if len(finite) < 2:
        return [three_digits(x) if math.isfinite(x) else f"{x}" for x in (value, low, high)]
    if not width > NEAR * max(map(abs, finite), default=0.0):
        return [f"{x:.4g}" for x in (value, low, high)]
    return rounded(width / 4, *finite) if len(finite) == 3 else _some_rounded(width / 4, value, low, high)


def _some_rounded(u: float, *values: float) -> list[str]:
    return [rounded(u, x)[0] if math.isfinite(x) else f"{x}" for x in values]


def shown(value: object) -> str:
    """A value as TOML has it: ``true``, ``2026-08-21``, ``[23, 4]``; a table by its keys."""
    if isinstance(value, str):
        return quoted(value, LONG)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, Mapping):
        text = f"a table of {', '.join(map(str, value))}" if value else "an empty table"
    elif isinstance(value, (list, tuple)):
        text = f"[{', '.join(shown(v) for v in value[:LONG])}]"
    else:
        text = " ".join(f"{value}".split())
    return text if len(text) <= LONG else text[:LONG] + "…"


def no_value(raw: object, bare: bool) -> str:
    """What to do about something that is neither a number nor words, where one value with its unit is expected."""
    write = "the number" if bare else "number and unit in quotes"
    if raw is None:
        return "A value that is missing cannot be used: leave its line out."
    if isinstance(raw, bool):
        return f"{shown(raw)} is no number: write {write}."
    if isinstance(raw, (list, tuple)):
        return f"No list: write {write}, of one value alone."
    if isinstance(raw, Mapping):
        return f"No table: write {write}, of one value alone."
    return f"Write {write}."


def sentence(text: str) -> str:
    """With a capital letter at the start and one full stop at the end."""
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?", "!", "…")) or not text else f"{text}."


def opening(text: str) -> str:
    """The first sentence of a help text, fit to stand inside another."""
    first = text.split(". ")[0].rstrip(".")
    return first if first[:2].isupper() else first[:1].lower() + first[1:]


def a(noun: str) -> str:
    """With its article: a pressure, an angle; money and prices with their currency behind an 'in'."""
    what, _, last = noun.rpartition(" ")
    if last in CURRENCIES:
        return f"money in {last}" if what == "money" else f"{a(what)} in {last}"
    return f"{'an' if noun[:1] in 'aeiou' else 'a'} {noun}"


def usual_units(kind: str, most: int = 8) -> str:
    """One spelling of each unit of a kind, as a choice: ``m/s, m/min or fpm``."""
    names = [unit for unit in units.usual(kind) if unit != "1" and not unit.startswith("(") and "@" not in unit][:most]
    return " or ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def unreadable(where: str, text: str, expected: str, problem: ValueError) -> Fault:
    """The fault of a text that was to hold a quantity or a limit of error, from what its reader says of it."""
    if isinstance(problem, StatementError):
        whole = "" if problem.part == text else f" in {quoted(text, LONG)}"
        return Fault(where, quoted(problem.part, LONG) + whole, problem.expected, sentence(problem.remedy))
    hint = problem.hint if isinstance(problem, units.NumberFormatError) else str(problem)
    return Fault(where, quoted(text, LONG), expected, sentence(hint))


def bounds_in_words(declared: Reading | Given | Series, kind: str, unit: str) -> str:
    """Between which values a number has a meaning, in the unit it was written in."""
    unit = unit or (units.KINDS[kind] if units.KINDS[kind] != "1" else "")

    def show(value: float) -> str:
        number = float(f"{float(units.from_si(value, unit or '1', kind)):.4g}")  # then without an exponent
        return f"{number:.10g} {unit}".strip()

    above = getattr(declared, "above", -math.inf)
    low, high = show(max(declared.low, above)), show(declared.high)
    start = "above" if above >= declared.low else "from"
    if declared.high == math.inf:
        return f"{a(kind)} {'of at least' if start == 'from' else start} {low}"
    if max(declared.low, above) == -math.inf:
        return f"{a(kind)} of at most {high}"
    return f"{a(kind)} {start} {low} {'to' if start == 'from' else 'and of at most'} {high}"


def folded(words: str) -> str:
    """Words that a person chose, whatever their case and spaces: the same in two places if this is the same."""
    return " ".join(words.split()).casefold()
