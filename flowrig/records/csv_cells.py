"""One cell of a table: a number, a time or neither, and what to do about neither."""

from __future__ import annotations

import re
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

NUMBER = r"[-+]?(?:[0-9]+.?[0-9]*|.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_POINT_NUMBER = re.compile(NUMBER.replace(".", r"[.,]"))
_CLOCK = re.compile(r"([0-9]{1,4}):([0-5][0-9]):([0-5][0-9](?:[.,][0-9]+)?)")
_STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[T ].*)?|[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{4}(?:[T ].*)?")
_OFFSET = re.compile(r":[0-9.,]+ ?(?:Z|[+-][0-9:]+)$")
TIME_KINDS = {
    "number": "a number, as in the rest of the column",
    "clock": "HH:MM:SS, as in the rest of the column",
    "zoned": "year-month-day HH:MM:SS and an offset from UTC, as in the rest of the column",
    "stamp": "year-month-day HH:MM:SS without an offset from UTC, as in the rest of the column",
    "text": "a time: year-month-day HH:MM:SS, or HH:MM:SS, or seconds",
}
BACKWARDS = "Check the logger's clock (was it set, or put back an hour?) and correct the times."
SECONDS = {"s": 1.0, "sec": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "hr": 3600.0, "d": 86400.0}
THOUSANDS = "Write the number without a mark between the thousands."
NOT_READ = "What was not read is left blank in a grid, and its row removed from a log or table."
_CELL_REMEDIES = [
    (r"[-+]?[\d.,]+[eE][-+]?\d+", "Check the exponent."),
    (r"[-+]?[\dOo.,]*[Oo][\dOo.,]*", "Check for a letter O in place of a zero."),
    (r"[-+]?[\dIl|.,]*[Il|][\dIl|.,]*", "Check for a letter I or l in place of a one."),
    (r"(?i)[-+]?(?:nan|inf|infinity|n/?a|null|none|-+|err\w*|#.*)", NOT_READ),
    (r"(?i)o\.?l\.?|over\w*|under\w*|[<>].*", f"The meter was out of range: take it again. {NOT_READ}"),
    (r"[-+]?\d{1,3}(?:[ '’\u00a0\u202f]\d{3})+(?:[.,]\d*)?", THOUSANDS),
    (r"[-+]?\d{1,3}(?:,\d{3})+\.\d*|[-+]?\d{1,3}(?:\.\d{3})+,\d*", THOUSANDS),
    (r"[−–‒]\s*[\d.,]+", "Write the minus sign as a plain hyphen."),
    (r"[-+]?\d+[.,]\d+[.,][\d.,]*", "Check for a second decimal sign."),
    (r"[-+]?[\d.,]+\s*(?:[^\W\d_]|[%°]).*", "Write the unit in the heading, in square brackets, not here."),
    (r"\d{1,2}:\d{2}", "Write hours, minutes and seconds: 12:05:00."),
    (r"\d{1,2}[/-]\d{1,2}[/-]\d{2,4}.*", "Write the date as year-month-day: day and month cannot be told apart."),
]


def cell_remedy(cell: str, decimal: str) -> str:
    if re.fullmatch(r"[-+]?\d*,\d+", cell) and decimal == ".":
        return "Write a decimal point: a comma may be a decimal sign or a mark between thousands."
    if re.fullmatch(r"[-+]?\d*\.\d+", cell) and decimal == ",":
        return "Write a decimal comma: a point may be a decimal sign or a mark between thousands."
    return next((remedy for slip, remedy in _CELL_REMEDIES if re.fullmatch(slip, cell)), "Correct the cell.")


def floats(column: list[str], decimal: str) -> NDArray[np.float64] | None:
    """The whole column at once; None if any cell needs a closer look."""
    # float() alone would take '1_000', 'nan' and 'infinity', and a point among decimal commas.
    text = "\n".join(column)
    if not re.fullmatch(rf"[0-9eE+\-\{decimal}\n]*", text) or text.count("\n") >= max(len(column), 1):
        return None
    cells = text.replace(",", ".").split("\n")
    try:
        values = np.array([cell or "nan" for cell in cells] if "" in cells else cells, dtype=np.float64)
    except ValueError:
        return None
    return None if np.isinf(values).any() else values


def decimal_sign(columns: list[list[str]], delimiter: str) -> tuple[str, bool]:
    """The decimal sign, and whether every number that holds it could be one with a mark between thousands."""
    if delimiter == ",":
        return ".", False
    texts = ["\n".join(column) for column in columns]
    number = {sign: re.compile(rf"^[ \t]*[-+]?\d+\{sign}\d+(?:[eE][-+]?\d+)?[ \t]*$", re.M) for sign in ",."}
    held = [sign for sign in ",." if any(sign in text and number[sign].search(text) for text in texts)]
    if len(held) == 2:
        counts = {sign: sum(1 for text in texts for _ in number[sign].finditer(text)) for sign in held}
        held = ["," if counts[","] > counts["."] else "."]
    if not held:
        return ".", False
    plain = re.compile(rf"^[ \t]*[-+]?(?:0\d*|\d{{4,}}|\d+(?!\{held[0]}\d{{3}}[ \t]*$))\{held[0]}\d+[ \t]*$", re.M)
    return held[0], not any(plain.search(text) for text in texts)


def time_kind(cell: str) -> str:
    if _POINT_NUMBER.fullmatch(cell):
        return "number"
    if _CLOCK.fullmatch(cell):
        return "clock"
    return "text" if not _STAMP.fullmatch(cell) else "zoned" if _OFFSET.search(cell) else "stamp"


def clock(cell: str) -> float:
    hours, minutes, seconds = cell.replace(",", ".").split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds)


_EPOCH = datetime(2000, 1, 1)


def stamp(cell: str) -> float:
    day_first = re.match(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", cell)
    if day_first:
        day, month, year = day_first.groups()
        cell = f"{year}-{int(month):02d}-{int(day):02d}{cell[day_first.end() :]}"
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        return float("nan")
    offset = moment.utcoffset()
    moment = moment.replace(tzinfo=None) - offset if offset is not None else moment
    return (moment - _EPOCH).total_seconds()
