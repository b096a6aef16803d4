"""A page as HTML: one file, nothing fetched, nothing run; it reads, prints and is checked as it stands."""

from __future__ import annotations

import base64
import csv
import datetime as dt
import hashlib
import io
import platform
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from importlib import metadata
from typing import TYPE_CHECKING, Any

from flowrig.report.as_csv import result_csv
from flowrig.report.blocks import Block as Reported
from flowrig.report.blocks import Heading, Paragraph, Raised
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import table_of
from flowrig.report.figures.style import CONTROLS, drawn
from flowrig.report.page import record_says as says
from flowrig.report.page.content import Below, Block, Found, Part, Points, Subject, Words
from flowrig.report.page.subjects import subject_of
from flowrig.report.table import Table, thinned
from flowrig.studies.result import Quantity, interval_source

if TYPE_CHECKING:
    from jinja2 import Environment

SEVERITIES = {"alarm": "ALARM", "warning": "Warning", "note": "Note"}
MOST = 960_000  # bytes of a page
AROUND = 24  # of them round a cell
MOST_LISTED = 400  # values of one sort


def page_html(result: Any, pictures: Sequence[Picture], blocks: Sequence[Reported]) -> str:
    """The page of a result.

    Parameters
    ----------
    result : Any
        Of any command that has a page (`subjects.SUBJECTS`).
    pictures : sequence of Picture
    blocks : sequence of str and Table
        The report as the terminal has it (`flowrig.report.blocks`).

    Returns
    -------
    str
        HTML of well below 1 MB, the same for the same result but for the day of issue.
    """
    subject = subject_of(result)
    figures = Part("figures", "Figures")
    parts = [
        _numbers(subject),
        figures,
        Part("full", "The result in full", _in_full(blocks)),
        _budgets(subject),
        _flags(subject),
        Part("conventions", "Conventions, corrections and deviations", _conventions(subject)),
        _instruments(subject),
        *_rows(result),
        *_readings(subject),
        *_origins(subject),
        Part("cautions", "Cautions", _cautions(subject)),
        _provenance(subject),
    ]
    taken = len(_html(subject, parts, [], {}).encode("utf-8", "replace"))
    taken += sum(len(cell) + AROUND for p in pictures for row in p.table.rows for cell in row)
    images, beyond = _images(pictures, MOST - taken)
    kept = [picture for picture in pictures if picture.name in images]
    figures.blocks += kept
    if beyond:
        left = f"Not shown, to keep the page small: {'; '.join(beyond)}. --figures DIR writes them."
        figures.blocks.append(left)
    html = _html(subject, parts, kept, images)
    # a file's name may be no UTF-8, and cells of a table may hold what no page may
    return html.encode("utf-8", "replace").translate(None, CONTROLS).decode("utf-8")


def _html(subject: Subject, parts: Sequence[Part], pictures: Sequence[Picture], images: dict[str, str]) -> str:
    worst = next((name for name in SEVERITIES if any(f.severity == name for f in subject.findings)), "")
    alarms = [f for f in subject.findings if f.severity == "alarm"]
    return (
        _environment()
        .get_template("page.html")
        .render(
            subject=subject,
            title=subject.record.heading.value("title") or subject.record.name,
            about=list(says.heading_rows(subject.record)),
            invented=[r.name for r in subject.records if r.heading.value("invented")],
            alarms=list(dict.fromkeys((f.code, f.message) for f in alarms)),
            worst=worst,
            parts=[part for part in parts if part.blocks],
            images=images,
            figures=[(number, picture) for number, picture in enumerate(pictures, 1)],
            issued=dt.date.today().isoformat(),
            version=metadata.version("flowrig"),
            report=_number(subject),
        )
    )


def _number(subject: Subject) -> str:
    """Of the report: the same for the same files and settings."""
    told = "".join(d for record in subject.records for d in record.digests.values()) + repr(subject.settings)
    return hashlib.sha256(f"{subject.kind}{metadata.version('flowrig')}{told}".encode()).hexdigest()[:10]


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("flowrig.report.page", "."),
        autoescape=True,  # titles and notes are other people's words
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.tests |= {
        "table": lambda block: isinstance(block, Table),
        "words": lambda block: isinstance(block, Words),
        "found": lambda block: isinstance(block, Found),
        "below": lambda block: isinstance(block, Below),
        "points": lambda block: isinstance(block, Points),
        "picture": lambda block: isinstance(block, Picture),
    }
    return environment


def _images(pictures: Sequence[Picture], room: int) -> tuple[dict[str, str], list[str]]:
    """Each as an image by its name, and the titles of those that would make the page too heavy."""
    images: dict[str, str] = {}
    beyond: list[str] = []
    for picture in pictures:
        content = base64.b64encode(drawn(picture.figure)).decode("ascii")
        if len(content) > room:
            beyond.append(picture.title)
            continue
        room -= len(content)
        images[picture.name] = f"data:image/svg+xml;base64,{content}"
    return images, beyond


def _in_full(blocks: Sequence[Reported]) -> list[Block]:
    """The report as the terminal has it: its headings, paragraphs, findings and tables."""
    found: list[Block] = []
    for block in blocks:
        if isinstance(block, Table):
            found.append(replace(block, heads=tuple(head.replace("\n", " ") for head in block.heads)))
        elif isinstance(block, Heading):
            found += [Below(block.words, block.level)] if block.level > 1 else []
        elif isinstance(block, Raised):
            found.append(Found(block.severity, block.head, block.words.removeprefix(block.head).strip()))
        elif isinstance(block, Paragraph):
            found.append(f"{block.first.strip()} {block.words}".strip())
        elif block.strip():
            found.append(Words(tuple(block.split("\n"))))
    return found


def _numbers(subject: Subject) -> Part:
    blocks: list[Block] = []
    if subject.quantities:
        level = subject.settings.get("coverage of the intervals", "")
        blocks.append(
            f"Intervals hold {level} each. u is the standard uncertainty; where k stands, the interval is k u to "
            "either side, else it is from draws or from counts. Numbers that share a cause of error move together."
        )
        blocks.append(_with_factors(subject.quantities))
    return Part("numbers", "The numbers", blocks)


def _with_factors(quantities: Sequence[Quantity]) -> Table:
    """A line a number, with its standard uncertainty, and k where the interval is that multiple of it."""
    plain = table_of(quantities)
    rows = []
    for row, q in zip(plain.rows, quantities, strict=True):
        k = f"{float(q.interval.factor):.3g}" if interval_source(q) == "linear" and not q.bound else "–"
        rows.append((*row, f"{float(q.u):.2g}", k))
    return replace(plain, heads=(*plain.heads, "u", "k"), rows=tuple(rows))


def _budgets(subject: Subject) -> Part:
    tables = [says.budget_table(q) for q in subject.budgets if q.estimate.parts]
    tables = [table for table in tables if len(table)]
    said = "What each cause alone would leave as standard uncertainty u, and its share of the whole variance."
    return Part("budget", "Uncertainty budget", [said, *tables] if tables else [])


def _flags(subject: Subject) -> Part:
    rows = dict.fromkeys(
        (SEVERITIES[f.severity], f.code, f.message, f.meaning.meaning)
        for f in sorted(subject.findings, key=lambda f: list(SEVERITIES).index(f.severity))
    )
    if not rows:
        return Part("flags", "Flags", ["Nothing was found that speaks against the result."])
    return Part("flags", "Flags", [Table(("how grave", "flag", "where", "what it means"), tuple(rows), (0, 1, 2, 3))])


def _conventions(subject: Subject) -> list[Block]:
    warned = [f"{f.code}: {f.message}" for f in subject.findings if f.severity in ("alarm", "warning")]
    told = list(dict.fromkeys(warned))
    blocks: list[Block] = []
    if subject.conventions:
        blocks.append(Points(tuple(subject.conventions)))
    if told:
        blocks += [Below("Deviations from what the methods ask for, and what was missing"), Points(tuple(told))]
    return blocks or ["None that is not told above."]


def _instruments(subject: Subject) -> Part:
    table = says.instrument_table(subject.records)
    return Part("instruments", "Instruments and their calibration", [table] if table is not None else [])


def _readings(subject: Subject) -> list[Part]:
    parts = []
    for number, record in enumerate(subject.records, 1):
        blocks: list[Block] = []
        air = says.air_table(record)
        if air is not None:
            blocks += [Below("Air"), air]
        blocks += says.field_tables(record, subject.ahead and record is subject.record)
        files = list(says.file_tables(record))
        for table in files:
            told = f"From the file {table.caption}, by its line numbers; the digest at the end is of the whole."
            blocks += [told, table]
        parts.append(Part(f"record-{number}", f"Every reading: {record.name}", blocks))
    return parts


def _rows(result: Any) -> list[Part]:
    """Of a batch, every test with its flow."""
    if getattr(result, "rows", None) is None:
        return []
    heads, *rows = csv.reader(io.StringIO(result_csv(result)))
    kept, said = thinned([tuple(row) for row in rows], MOST_LISTED)
    left = tuple(k for k in range(len(heads)) if not all(says.is_number(row[k]) for row in kept))
    blocks: list[Block] = [said] if said else []
    return [Part("tests", "Every test", [*blocks, Table(tuple(heads), kept, left)])]


def _origins(subject: Subject) -> list[Part]:
    told: list[Block] = []
    records = subject.records
    for sort, title, none in (
        (says.MEASURED, "Measured", "Nothing was measured for this."),
        (says.STATED, "Stated by a person, a maker or a certificate", "Nothing."),
        (says.ASSUMED, "Assumed, as nothing was written", "Nothing."),
        (says.EXPECTED, "Expected, not measured yet", "Nothing."),
    ):
        found = says.apart(records, sort, subject.ahead)
        if sort == says.EXPECTED and not found:
            continue
        more = [f"and {len(found) - MOST_LISTED} more"] if len(found) > MOST_LISTED else []
        told += [Below(title), Points(tuple(found[:MOST_LISTED] + more)) if found else none]
    invented = [r.name for r in records if r.heading.value("invented")]
    said = f"All of {', '.join(invented)}, for demonstration." if invented else "Nothing is said to be invented."
    return [Part("origins", "Measured, stated, assumed and invented, apart", [*told, Below("Invented"), said])]


def _cautions(subject: Subject) -> list[Block]:
    if not subject.cautions:
        return []
    return ["Local codes and licensed practice come first.", Points(tuple(subject.cautions))]


def _provenance(subject: Subject) -> Part:
    rows = [
        ("flowrig", metadata.version("flowrig")),
        ("Python", platform.python_version()),
        *((name, metadata.version(name)) for name in ("numpy", "scipy")),
        *subject.settings.items(),
    ]
    return Part(
        "provenance",
        "Software, settings and files",
        [Table(("what", "which"), tuple(rows), (0, 1)), says.digest_table(subject.records)],
    )
