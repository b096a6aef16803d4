"""TOML text: read whole, every statement that does not parse explained, every key traced to its line."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import zip_longest
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records.files import LISTED, encoding_faults, listed, quoted, read_bytes

TOML_LIMIT = 4 * 1024 * 1024  # bytes; a record of one test is a few kilobytes
RECORD = "a record"

_Path = tuple[str | int, ...]

# ---------------------------------------------------------------- the document


@dataclass(frozen=True)
class Document:
    """A TOML file that parsed.

    Attributes
    ----------
    data : dict
        What `tomllib` made of it.
    name : str
        The file name to show.
    path : Path or None
        Where it was read from; None for text in memory.
    digest : str
        SHA-256 of the bytes, in hexadecimal.
    text : str
        The text itself, without a byte order mark.
    """

    data: dict[str, Any]
    name: str
    path: Path | None
    digest: str
    text: str

    @cached_property
    def _lines(self) -> dict[_Path, int]:
        return dict(reversed(list(_paths(self.text))))  # of several lines the first stays

    def line(self, *path: str | int) -> int | None:
        """Line of the statement that sets ``path``, or of its nearest ancestor in the file. Indices count from 0."""
        return next((self._lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._lines), None)

    def where(self, *path: str | int) -> str:
        """``record.toml, line 12, flow[1].drop`` for the path ``"flow", 0, "drop"``; shown indices count from 1."""
        shown = ""
        for step in path:
            if isinstance(step, int):
                shown += f"[{step + 1}]"
            else:
                key = step if re.fullmatch(r"[A-Za-z0-9_-]+", step) else json.dumps(step, ensure_ascii=False)
                shown += f".{key}" if shown else key
        line = self.line(*path)
        return ", ".join([self.name, *([f"line {line}"] if line else []), *([shown] if shown else [])])


def load(path: str | Path, name: str | None = None, sort: str = RECORD) -> Document:
    """Read a TOML file.

    Parameters
    ----------
    path : str or Path
        The file.
    name : str, optional
        The name to show in faults; the file's own name, without its folder, when left out.
    sort : str
        What it should be, in words.

    Raises
    ------
    InputError
        The file cannot be read, is not UTF-8, is empty, or has statements that do not parse: every one of them.
    """
    path = Path(path)
    name = name or path.name or str(path)
    return _document(read_bytes(path, name, TOML_LIMIT, str(path)), name, path, sort)


def loads(text: str, name: str = "text") -> Document:
    """`load` for text in memory."""
    return _document(text.encode("utf-8", "surrogatepass"), name, None)


def _document(data: bytes, name: str, path: Path | None, sort: str = RECORD) -> Document:
    try:
        if b"\0" in data:
            raise InputError(encoding_faults(data, name))
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise InputError(encoding_faults(data, name)) from None
    tree, problem = _parse(text)
    if problem is not None and text.strip().count("\n") and not _LIKENESS.search(text):
        first = next(line for line in text.split("\n") if line.strip())
        remedy = "Check that this is the right file."
        if sort == RECORD:
            remedy = "Name the record; a CSV table is named in it as log or grid, or given with --rows."
        raise InputError(Fault(name, f"text of another kind, {quoted(first.strip())}", f"{sort}, in TOML", remedy))
    if problem is not None:
        raise InputError(listed(_faults(text, name), name, rest="and more"))
    if not tree:
        read = "an empty file" if not text.strip() else "nothing but blank lines and comments"
        raise InputError(Fault(name, read, "key = value lines", "Check that the file was saved."))
    return Document(tree, name, path, hashlib.sha256(data).hexdigest(), text)


# ---------------------------------------------------------------- statements and their lines

# what even a broken record has: a heading, or an = or : behind a word that opens a line
_LIKENESS = re.compile(r"^[ \t]*(?:\[\[?[\w.\"' -]+\]|[\w.-]+[ \t]*(?:=|:))", re.MULTILINE)


@dataclass(frozen=True)
class _Statement:
    line: int
    text: str


def _parse(text: str) -> tuple[dict[str, Any], Exception | None]:
    # The line end makes tomllib say "end of document" only where a statement is truly unfinished.
    try:
        return tomllib.loads(text + "\n"), None
    except (ValueError, RecursionError) as problem:  # ValueError also covers an integer of 5000 digits
        return {}, problem


_PIECE = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"""|' + r"'''"  # opened and never closed
    r'|"(?:\\[^\n]|[^"\\\n])*"' + r"|'[^'\n]*'"
    r"|\#[^\n]*|[\[\]{}\n]",
    re.DOTALL,
)
_STARTS = re.compile(r"\n(?=[ \t]*(?:\[\[?[\w.\"' -]+\]\]?[ \t]*(?:#.*)?$|[\w.\"'-]+[ \t]*=))", re.MULTILINE)


def _statements(text: str) -> Iterator[_Statement]:
    """Split at line ends outside brackets and strings; an unclosed one ends before what looks like the next start.

    Trying `tomllib` on ever more lines would do the same and take a time that grows with the square of a long list.
    """
    position, line = 0, 1
    while position < len(text):
        depth, end, closed = 0, len(text), False
        for piece in _PIECE.finditer(text, position):
            token = piece.group()
            if token in ('"""', "'''"):
                break
            depth += (token in "[{") - (token in "]}")
            if token == "\n" and depth <= 0:
                end, closed = piece.start(), True
                break
        statement = text[position:end]
        if not closed and (cut := _STARTS.search(statement)):
            statement = statement[: cut.start()]
        if statement.strip() and not statement.lstrip().startswith("#"):
            yield _Statement(line, statement)
        position += len(statement) + 1
        line += statement.count("\n") + 1


def _paths(text: str) -> Iterator[tuple[_Path, int]]:
    """Every path that a statement sets or opens, outermost first, with the statement's line."""
    counts: dict[_Path, int] = {}  # array of tables -> how many so far
    table: _Path = ()
    for statement in _statements(text):
        node: Any = _parse(statement.text)[0]
        header = statement.text.lstrip().startswith("[")
        path = () if header else table
        while isinstance(node, dict) and len(node) == 1:
            ((key, node),) = node.items()
            path += (key,)
            yield path, statement.line
            if header and isinstance(node, list):
                counts[path] = counts.get(path, 0) + 1
            if path in counts:
                path += (counts[path] - 1,)
                yield path, statement.line
        if header:
            table = path


# ---------------------------------------------------------------- what does not parse, and what was meant


def _faults(text: str, name: str) -> list[Fault]:
    """Every statement broken in itself, then every one that clashes with an earlier one."""
    statements: list[_Statement] = []
    rest = text.split("\n")
    found: list[tuple[int, Fault]] = []

    def strike(statement: _Statement) -> None:
        # A broken header still opens a table of its own, or its keys would seem to repeat those of the table above.
        first = statement.line - 1
        for number in range(first, first + statement.text.count("\n") + 1):
            rest[number] = ""
        if statement.text.lstrip().startswith("["):
            rest[first] = f'["unreadable header on line {statement.line}"]'

    for statement in _statements(text):
        statements.append(statement)
        if (problem := _parse(statement.text)[1]) is not None:
            found.append((statement.line, _broken(statement, problem, name)))
            strike(statement)
        if len(found) > LISTED:  # splitting a long file of unclosed brackets takes time with the square of its length
            break
    placed = list(_paths("\n".join(rest))) if len(found) <= LISTED else []
    while len(found) <= LISTED and (problem := _parse("\n".join(rest))[1]) is not None:
        line = _place(problem)[0]
        held = next((s for s in statements if s.line <= line <= s.line + s.text.count("\n")), None)
        if held is None:
            found.append((line, Fault(name, "text that is not TOML", "TOML", f"The TOML reader says: {problem}.")))
            break
        found.append((held.line, _clash(held, problem, name, placed)))
        strike(held)
    return [fault for _, fault in sorted(found, key=lambda pair: pair[0])]


def _place(problem: Exception) -> tuple[int, int | None]:
    match = re.search(r"\(at line (\d+), column (\d+)\)", str(problem))
    return (int(match[1]), int(match[2])) if match else (1, None)


def _reason(problem: Exception) -> str:
    if isinstance(problem, RecursionError):
        return "brackets are nested too deep"
    if not isinstance(problem, tomllib.TOMLDecodeError):
        return "a number has too many digits"
    return re.sub(r" \(at .*\)$", "", str(problem))


def _clash(statement: _Statement, problem: Exception, name: str, placed: list[tuple[_Path, int]]) -> Fault:
    own = [path for path, line in placed if line == statement.line]
    first = next((line for path, line in placed if own and path == own[-1]), statement.line)
    remedy = f"It already stands on line {first}: remove or rename one of them."
    if first == statement.line:  # not the same key, but one that cannot stand beside another
        remedy = f"The TOML reader says: {_reason(problem)}."
    if statement.text.lstrip().startswith("["):
        remedy += " Several tables of a kind are written [[name]]."
    read = f"{quoted(statement.text.strip())} a second time"
    return Fault(f"{name}, line {statement.line}", read, "each key and each table once", remedy)


def _broken(statement: _Statement, problem: Exception, name: str) -> Fault:
    offset, column = _place(problem)
    lines = statement.text.split("\n")
    line = lines[min(offset, len(lines)) - 1]
    where = f"{name}, line {statement.line + offset - 1}" + (f", column {column}" if column else "")
    expected, candidate = _meant(statement.text)
    if not expected:
        remedy = f"The TOML reader says: {_reason(problem)}."
        return Fault(where, quoted(line.strip()), "key = value, with text and quantities in quotes", remedy)
    if candidate is None:
        return Fault(where, quoted(line.strip()), expected, "What was meant cannot be guessed: write it out.")
    changed = [new for old, new in zip_longest(lines, candidate.split("\n")) if old != new and new is not None]
    return Fault(where, quoted(line.strip()), expected, f"Write: {changed[0].strip()}")


def _quote_bare(match: re.Match[str]) -> str:
    return match[0] if _parse(f"x = {match['value']}")[1] is None else f'{match[1]}"{match["value"]}"{match[3]}'


def _date(match: re.Match[str]) -> str:
    return f"{match[1]}{match['year']}-{int(match['month']):02d}-{int(match['day']):02d}"


def _points(match: re.Match[str]) -> str:
    return re.sub(r"(\d),(\d)", r"\1.\2", match[0]).replace(";", ",")


def _one_line(match: re.Match[str]) -> str:
    return re.sub(r",?\s*\}$", " }", re.sub(r"\s*\n\s*", " ", match[0]))


_WORDS = r"[\w-]+(?: +[\w-]+)+"
_BARE = r"(?!\d+[./-]\d+[./-]\d)[^\s\"'\[\]{},=#][^\"'\[\]{},=#\n]*?"  # not a date: that has a hint of its own
_END = r"[ \t]*(?:\#.*)?$"
_TEXT = "text and quantities in quotes"
_DATE = "a date as year-month-day, such as 2026-08-21"
_NAME = "quotes round a name with spaces or letters beyond A-Z"
# What was expected, the slip, and its repair, believed only if the statement then parses. Without a repair the slip is
# known, but what was meant is not: 8/7/2026 has two readings.
_REPAIRS: list[tuple[str, str, str | Callable[[re.Match[str]], str] | None]] = [
    ("straight quotes instead of typographic ones", "[“”„‟«»]", '"'),
    ("straight quotes instead of typographic ones", "[‘’‚‛]", "'"),
    ("no invisible characters", "[\ufeff\u200b\u200e\u200f\u2060]", ""),
    ("ordinary spaces", "[\u00a0\u2007\u202f\u2009]", " "),
    ("= between key and value", r"^([ \t]*[\w.\"'-]+)[ \t]*:=?[ \t]*", r"\1 = "),
    ("= between key and value", r"^([ \t]*[\w.-]+)[ \t]+(?=[\"'\[{\d+-])", r"\1 = "),
    ("single quotes round text with a backslash", r'"([^"\n]*\\[^"\n]*)"', r"'\1'"),
    (_DATE, rf"(=[ \t]*)(?P<day>\d\d?)\.(?P<month>\d\d?)\.(?P<year>\d{{4}})(?={_END})", _date),
    (_DATE, rf"(=[ \t]*)(?P<year>\d{{4}})[-/.](?P<month>\d\d?)[-/.](?P<day>\d\d?)(?={_END})", _date),
    (_DATE, rf"=[ \t]*\d\d?[/.-]\d\d?[/.-](?:\d{{4}}|\d\d){_END}", None),
    ("a value after =", rf"={_END}", None),
    ("a comment after #", r"(?:^|(?<=[ \t]))//(.*)$", r"#\1"),
    ("nothing after the value", rf"(?<=\S)[ \t]*[;,]({_END})", r"\1"),
    ("a decimal point", r"(=[ \t]*[-+]?\d+),(?=\d)", r"\1."),
    ("a decimal point, and commas between the values", r"\[[^\[\]\n\"']*;[^\[\]\n\"']*\]", _points),
    ("a digit on both sides of the decimal point", r"(?<![\w.])\.(?=\d)", "0."),
    ("a digit on both sides of the decimal point", r"(?<=\d)\.(?![\w.])", ".0"),
    ("true or false in small letters", r"(?i)\b(?:true|false)\b", lambda match: match[0].lower()),
    ("a closing quote", r"^([^\"\n]*=[ \t]*\"[^\"\n]*?)[ \t]*$", r'\1"'),
    ("a closing quote", r"^([^'\n]*=[ \t]*'[^'\n]*?)[ \t]*$", r"\1'"),
    ("an opening quote", r"^([^\"=\n]*=[ \t]*)(?=[^\"\s][^\"\n]*\"[ \t]*$)", r'\1"'),
    ("three closing quotes", r"\"\"\"([^\"]*?)\s*\Z", r'"""\1"""'),
    ("a closing bracket", r"^([ \t]*\[[^\[\]\n]+?)[ \t]*$", r"\1]"),
    ("two closing brackets", r"^([ \t]*\[\[[^\[\]\n]+?)\]?[ \t]*$", r"\1]]"),
    ("a closing bracket", r"(=[ \t]*\[[^\]]*?),?\s*\Z", r"\1]"),
    ("a closing brace", r"(=[ \t]*\{[^}]*?),?\s*\Z", r"\1}"),
    ("an inline table on one line", r"\{[^{}]*\n[^{}]*\}", _one_line),
    ("_ in place of spaces in a key", rf"^[ \t]*{_WORDS}(?=[ \t]*=)", lambda match: match[0].replace(" ", "_")),
    (_NAME, r"^([ \t]*\[\[?(?:[\w.-]*\.)?)([\w-]*[^\w.\[\]\"'\n-][^.\[\]\"'\n]*)(?=\])", r'\1"\2"'),
    (_NAME, r"(?<![\w\"])[\w-]*[^\W\d_a-zA-Z][\w-]*(?=[ \t]*[=.\]])", r'"\g<0>"'),
    (_TEXT, rf"(?<=[=\[,])(\s*)(?P<value>{_BARE})([ \t]*)(?=[,\]}}#]|$)", _quote_bare),
]


def _meant(statement: str) -> tuple[str, str | None]:
    """What was expected and the statement mended, with as few repairs as will do; an empty text if none will."""
    if len(statement) > 2000:
        return "", None

    def mend(steps: list[int]) -> tuple[list[int], str]:
        text = statement
        used: list[int] = []
        for step in steps:
            _, slip, repair = _REPAIRS[step]
            if repair is not None and (mended := re.sub(slip, repair, text, flags=re.MULTILINE)) != text:
                text, used = mended, [*used, step]
            if _parse(text)[1] is None:
                break
        return used, text

    every = list(range(len(_REPAIRS)))
    for trial in [*([step] for step in every), every]:
        used, text = mend(trial)
        if _parse(text)[1] is None:
            for step in used:  # a repair that was not needed is taken back
                fewer = [other for other in used if other != step]
                if _parse(mend(fewer)[1])[1] is None:
                    used, text = mend(fewer)
            return ", and ".join(dict.fromkeys(_REPAIRS[step][0] for step in used)), text
    known = [what for what, slip, repair in _REPAIRS if repair is None and re.search(slip, statement, re.MULTILINE)]
    return (known[0] if known else ""), None
