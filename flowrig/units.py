"""The units door: text and foreign quantities to SI floats, and back. The only module that imports pint.

Units exist at the first and at the last border; between them everything is SI, kelvin and absolute pascal. Only the
spellings of `flowrig.unit_table` are taken: a stock registry reads ``cfm`` as a centifemtometre and ``C`` as a coulomb.
The registry is private, holds only our own definitions and is built on first use, so that importing this module costs
neither pint nor numpy.
"""

from __future__ import annotations

import difflib
import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any

from flowrig.unit_table import DEFINITIONS, DIFFERENCES, REFUSED, TABLE, Kind

if TYPE_CHECKING:
    import pint

KINDS: dict[str, str] = {name: kind.si for name, kind in TABLE.items()}
"""Every kind and the label of the SI unit its values have inside flowrig."""


class UnitError(ValueError):
    """A unit cannot be used for what it stands beside.

    Attributes
    ----------
    spelling : str
        The unit as written; empty where none was.
    kind : str
        What was wanted, a key of `KINDS`.
    reason : {"unknown", "wrong kind", "missing"}
        What is wrong with it.
    nearest : str or None
        The accepted spelling most like it, where one is alike.
    """

    def __init__(self, spelling: str, kind: str, reason: str, nearest: str | None = None, advice: str = "") -> None:
        self.spelling, self.kind, self.reason, self.nearest = spelling, kind, reason, nearest
        sentence = {
            "missing": f"a unit of {kind} is missing",
            "wrong kind": f"'{spelling}' is not a unit of {kind}",
            "unknown": f"'{spelling}' is not a known unit of {kind}",
        }[reason]
        hints = (advice, f"nearest is '{nearest}'" if nearest else "", f"accepted: {', '.join(_usual(kind))}")
        super().__init__("; ".join([sentence, *filter(None, hints)]))


class NumberFormatError(ValueError):
    """A text does not start with, or is not, a plain number.

    Attributes
    ----------
    read : str
        The text as written.
    hint : str
        What is probably wrong with it.
    """

    def __init__(self, read: str, hint: str) -> None:
        self.read, self.hint = read, hint
        super().__init__(f"'{read}' cannot be read as a number; {hint}")


# ---- spellings ----

_WAYS = (
    ("µ", ("u", "\N{MICRO SIGN}", "\N{GREEK SMALL LETTER MU}")),
    ("°", ("deg", "\N{DEGREE SIGN}", "\N{MASCULINE ORDINAL INDICATOR}", "deg ", "\N{DEGREE SIGN} ")),
    ("*", (" ", "\N{MIDDLE DOT}", "\N{DOT OPERATOR}", "*")),
    ("H2O", ("H2O", "H₂O")),
)
_EXPONENT = re.compile(r"(?<=[A-Za-z])(-?[1-4])(?![\w@.])")
_SUPERSCRIPT = str.maketrans("-1234", "⁻¹²³⁴")


def _tidy(spelling: str) -> str:
    """White space does not tell units apart, save that there is some."""
    return re.sub(r"\s*/\s*", "/", " ".join(spelling.split()))


def _write_out(spelling: str) -> list[str]:
    """Every way of writing one spelling of the table, the plain one first."""
    forms = [spelling]
    for mark, ways in _WAYS:
        if mark in spelling:
            forms = [form.replace(mark, way) for way in ways for form in forms]
    carets = [_EXPONENT.sub(r"^\1", form) for form in forms]
    superscripts = [_EXPONENT.sub(lambda found: found[1].translate(_SUPERSCRIPT), form) for form in forms]
    return [_tidy(form) for form in dict.fromkeys((*forms, *carets, *superscripts))]


def _kind(name: str) -> Kind:
    if name not in TABLE:
        alike = difflib.get_close_matches(name, TABLE) or [other for other in TABLE if name and name in other]
        raise KeyError(f"there is no kind of unit named {name!r}; alike: {', '.join(alike) or 'none'}")
    return TABLE[name]


@cache
def _spellings(kind: str) -> dict[str, str]:
    """Every accepted spelling of a kind and the expression it stands for."""
    written = [(text, unit) for unit, texts in _kind(kind).units.items() for text in texts.split("|")]
    return {form: unit for text, unit in written for form in _write_out(text)}


@cache
def _folded(kind: str) -> dict[str, str]:
    """Spellings without regard to case, leaving out those in which case alone tells two units apart."""
    units: dict[str, set[str]] = {}
    for spelling, unit in _spellings(kind).items():
        units.setdefault(spelling.casefold(), set()).add(unit)
    return {spelling: only for spelling, (only, *others) in units.items() if not others}


@cache
def usual(kind: str) -> tuple[str, ...]:
    """One spelling of each unit of a kind, for people to choose from; a bare number is said in words."""
    return tuple(_write_out(texts.split("|")[0])[0] or "(a bare number)" for texts in _kind(kind).units.values())


def _usual(kind: str, most: int = 8) -> list[str]:
    """The same for a message, the first few."""
    return [*usual(kind)[:most], *(["…"] if len(usual(kind)) > most else [])]


def _nearest(text: str, kind: str) -> str | None:
    """The accepted spelling most like a text; of several equally alike the one that comes first in the table."""
    likeness = {
        known: difflib.SequenceMatcher(None, text.casefold(), known.casefold()).ratio() for known in accepted(kind)
    }
    best = max(likeness, key=likeness.__getitem__)
    return best if likeness[best] >= 0.5 else None


def _find(spelling: str, kind: str) -> str | None:
    text = _tidy(spelling)
    return _spellings(kind).get(text) or _folded(kind).get(text.casefold())


def accepted(kind: str) -> tuple[str, ...]:
    """Every spelling taken for a kind; a difference of case alone is forgiven where it leaves no doubt.

    Raises
    ------
    KeyError
        If there is no such kind.
    """
    return tuple(_spellings(kind))


def kinds_of(spelling: str) -> tuple[str, ...]:
    """The kinds a spelling is a unit of: ``kinds_of("€") == ("money EUR",)``; empty where it is unknown."""
    return tuple(kind for kind in TABLE if _find(spelling, kind))


def bare(kind: str) -> bool:
    """Whether a number without a unit will do for a kind."""
    return "" in _spellings(kind)


def as_difference(kind: str) -> str:
    """The kind in which an uncertainty of a value of this kind is expressed."""
    _kind(kind)
    return DIFFERENCES.get(kind, kind)


def default_display(kind: str) -> str:
    """The spelling in which results of a kind are shown unless another is asked for."""
    return _kind(kind).display


def _expression(spelling: str, kind: str) -> str:
    """What a spelling stands for in our registry, or the reason why it cannot be used."""
    _kind(kind)
    found = _find(spelling, kind)
    if found:
        return found
    text = _tidy(spelling)
    if not text:
        raise UnitError(spelling, kind, "missing")
    others = kinds_of(text)
    if others:
        raise UnitError(spelling, kind, "wrong kind", advice=f"it is one of {' or '.join(others)}")
    refusals = {form.casefold(): reason for refused, reason in REFUSED.items() for form in _write_out(refused)}
    if text.casefold() in refusals:
        raise UnitError(spelling, kind, "unknown", advice=refusals[text.casefold()])
    raise UnitError(spelling, kind, "unknown", nearest=_nearest(text, kind))


# ---- conversion ----


@cache
def registry() -> pint.UnitRegistry[Any]:
    """Our private pint registry: the definitions of `flowrig.unit_table` and nothing else."""
    import pint

    ours: pint.UnitRegistry[Any] = pint.UnitRegistry(None)
    ours.load_definitions(DEFINITIONS.splitlines())
    return ours


@cache
def factor(spelling: str, kind: str) -> tuple[float, float]:
    """Scale and offset of a unit, ``SI = scale * x + offset``.

    Raises
    ------
    UnitError
        If the spelling is not one of this kind.
    KeyError
        If there is no such kind.
    """
    unit, si = _expression(spelling, kind), _kind(kind).unit
    zero, one = (registry().Quantity(x, unit) for x in (0.0, 1.0))
    return (one - zero).m_as(si), zero.m_as(si)


def to_si(value: Any, spelling: str, kind: str) -> Any:
    """A number or an array in the unit spelled, as SI. Raises as `factor` does.

    Examples
    --------
    >>> to_si(250, "hPa", "pressure")
    25000.0
    >>> round(to_si(68, "degF", "temperature"), 6)
    293.15
    """
    scale, offset = factor(spelling, kind)
    return scale * value + offset


def from_si(value: Any, spelling: str, kind: str) -> Any:
    """An SI number or array in the unit spelled. Raises as `factor` does.

    Examples
    --------
    >>> round(from_si(0.25, "cfm", "flow"), 2)
    529.72
    """
    scale, offset = factor(spelling, kind)
    return (value - offset) / scale


def quantity(value_si: Any, spelling: str, kind: str) -> pint.Quantity[Any]:
    """An SI number or array as a quantity of our registry, in the unit spelled. Raises as `factor` does."""
    return registry().Quantity(from_si(value_si, spelling, kind), _expression(spelling, kind))


def magnitude(quantity: Any, kind: str) -> Any:
    """The SI magnitude of a pint quantity of any registry, asked of that registry in its own words.

    Dimension alone does not settle every kind. A temperature difference is not taken for a temperature, a volt ampere
    for a watt, or turns for a plain rate; and of a rotational speed the turn or the radian must be named, as a stock
    registry holds 1 Hz to be one radian per second.

    Parameters
    ----------
    quantity : object with ``m_as`` and ``unit_items``
    kind : str

    Returns
    -------
    magnitude : float or array

    Raises
    ------
    UnitError
        If the quantity is not of this kind, its registry does not know the unit, or it has none at all.
    KeyError
        If there is no such kind.
    """
    import pint

    wanted = _kind(kind)
    if not hasattr(quantity, "m_as"):
        raise UnitError("", kind, "missing")
    names = {name for name, _ in quantity.unit_items()}
    fits = (not wanted.needs or names & wanted.needs) and not names & wanted.bars
    if fits:
        try:
            return quantity.m_as(wanted.unit)
        except pint.errors.PintError:
            pass
    raise UnitError(str(quantity.units), kind, "wrong kind")


# ---- numbers in text ----

_MINUS = "\N{MINUS SIGN}"
_NUMBER = re.compile(rf"[+\-{_MINUS}]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+\-{_MINUS}]?[0-9]+)?")
_COMMA = re.compile(rf"[+\-{_MINUS}]?[0-9.]*,[0-9][0-9.,]*")
_LETTER = re.compile(rf"[+\-{_MINUS}]?[0-9.,]*(?:[OolI|]+[0-9.]|[OoI|]+(?=\s|$))[0-9OolI|.]*")
_RECIPROCAL = re.compile(r"1\s*/\s*[^\W\d_]")
_STRAY = re.compile(rf"[0-9.,_+\-{_MINUS}\N{{EN DASH}}\N{{EM DASH}}]|[/'’]\s*[0-9]|[eE][+\-]?[0-9]|[x×·*]\s*10")


def _without_comma(text: str) -> str:
    """What a number with commas most likely is, as advice: the tool itself never guesses."""
    if text.count(",") == 1 and "." not in text:
        plain = text.replace(",", ".")
        thousands = re.fullmatch(r"\D?[1-9][0-9]{0,2},[0-9]{3}", text)
        return f"{plain}, or {text.replace(',', '')} if the comma separates thousands" if thousands else plain
    if text.rfind(",") > text.rfind(".") and text.count(",") == 1:
        return text.replace(".", "").replace(",", ".")
    return text.replace(",", "")


def _hint(text: str) -> str:
    """Why a text does not start with a plain number."""
    if comma := _COMMA.match(text):
        return f"decimal point, not a comma: {_without_comma(comma[0])}"
    if letter := _LETTER.match(text):
        digits = letter[0].translate(str.maketrans("OolI|", "00111"))
        return f"check for a letter O in place of a zero, or l or I in place of a one: {digits}"
    if re.match(r"[+-]?\s*(nan|inf|infinity)\b", text, re.IGNORECASE):
        return "a value that is missing or without bound cannot be used"
    if text[:1] in ("\N{EN DASH}", "\N{EM DASH}"):
        return f"a minus sign, not a dash: -{text[1:].lstrip()}"
    if _NUMBER.match(text):
        return "one number is expected, without spaces, fractions or separators of thousands; powers of ten like 1.2e-3"
    return "a number with a decimal point is expected, such as 23.4" if text else "nothing is there"


def split(text: str) -> tuple[str, str]:
    """Number and unit of a text, apart: ``"23.4 degC"`` gives ``("23.4", "degC")``.

    Returns
    -------
    number : str
        With a plain minus sign; fit for `float`.
    unit : str
        As written, unchecked; empty for a bare number.

    Raises
    ------
    NumberFormatError
        If the text does not start with a plain number, or the number seems to go on in the unit.
    """
    text = text.strip()
    found = _NUMBER.match(text)
    rest = text[found.end() :] if found else ""
    unit = rest.strip()
    stray = _STRAY.match(unit) and not (_RECIPROCAL.match(unit) and unit != rest)
    if not found or stray or _COMMA.match(text) or _LETTER.match(text):
        raise NumberFormatError(text, _hint(text))
    return found[0].replace(_MINUS, "-"), unit


def number(text: str) -> float:
    """A plain finite number: optional sign, digits with a decimal point, exponent.

    Raises
    ------
    NumberFormatError
        With a hint, for anything else; also for ``nan`` and ``inf``.
    """
    digits, unit = split(text)
    if unit:
        raise NumberFormatError(text, f"a number alone is expected, without '{unit}'")
    return _held(digits)


def _held(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise NumberFormatError(digits, "it is too large to be held")
    return value


def read(text: str, kind: str) -> float:
    """The SI value of a number with its unit, such as ``"23.4 degC"``.

    Raises
    ------
    NumberFormatError
        If the number is not plain.
    UnitError
        If the unit is unknown, of another kind, or missing.

    Examples
    --------
    >>> read("1003.2 hPa", "pressure")
    100320.0
    """
    digits, unit = split(text)
    return float(to_si(_held(digits), unit, kind))
