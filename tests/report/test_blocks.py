"""Blocks of a report: what a pipe gets of them, and what a terminal or a page needs to know about each."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import flowrig
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.report.blocks import Block, Heading, Paragraph, Raised, labelled, lines_of, plain, raised, wrapped
from flowrig.report.calibration_text import calibration_blocks, calibration_text
from flowrig.report.lines import numbers, quantity_line, quantity_table
from flowrig.report.plan_text import plan_blocks, plan_text
from flowrig.report.table import Table
from flowrig.report.text import batch_blocks, batch_text, result_blocks, result_text
from flowrig.report.verify_text import verified_blocks, verified_text

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
WORDS = st.lists(st.sampled_from(["air", "12 %", "5 ± 3", "efficiency", "1405", "[1380", "over-long-word-here"]))


@given(words=WORDS, width=st.integers(24, 200))
def test_a_paragraph_is_set_to_any_width_and_a_number_keeps_its_sign(words: list[str], width: int) -> None:
    text = " ".join(words)
    lines = Paragraph(text, "  ", "    ").lines(width)
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(words).replace(" ", "")
    assert not [line for line in lines if line.strip().startswith("%") or line.strip().split(" ")[0] == "3"]


def test_a_paragraph_is_its_lines_within_80_columns() -> None:
    made = Paragraph("word " * 40, "  ", "    ")
    assert made == "\n".join(made.lines(80))
    assert made.count("\n") == 2
    assert wrapped("") == []


def test_a_label_leaves_its_words_room_where_there_is_little() -> None:
    made = labelled("     minutes to the target level, if it is reached  ", "never: what enters holds it there")
    assert made.lines(80)[1].startswith(" " * 50)
    assert made.lines(60)[1].startswith(" " * 9)
    assert not made.lines(60)[1].startswith(" " * 10)


def test_headings_and_findings_are_known_without_reading_them() -> None:
    [made] = raised([Finding(FlagMeaning("too odd", "alarm", "It is."), "by far")])
    assert isinstance(made, Raised)
    assert (made.severity, made.head, made) == ("alarm", "ALARM, too odd:", "  ALARM, too odd: by far")
    assert [Heading("Air", level).level for level in (1, 2, 3)] == [1, 2, 3]
    assert (Heading("Air", 2), Heading("Air", 3)) == ("Air", "  Air")


cells = st.text("0123456789", min_size=1, max_size=12)


@given(data=st.data(), room=st.integers(10, 90), keys=st.integers(1, 2))
def test_a_table_that_is_too_wide_stands_below_itself(data: st.DataObject, room: int, keys: int) -> None:
    n = data.draw(st.integers(keys + 1, 8))
    heads = tuple(f"c{k}" for k in range(n))
    rows = tuple(tuple(data.draw(cells) for _ in heads) for _ in range(data.draw(st.integers(1, 3))))
    table = Table(heads, rows, tuple(range(keys)), keys=keys)
    parts = list(table.parts(room))
    assert [head for part in parts for head in part.heads[keys:]] == list(heads[keys:])
    for part in parts:
        assert part.heads[:keys] == heads[:keys]
        assert [row[:keys] for row in part.rows] == [row[:keys] for row in rows]
        assert part.taken(2) <= room or len(part.heads) == keys + 1
    for i, row in enumerate(rows):
        assert [cell for part in parts for cell in part.rows[i][keys:]] == list(row[keys:])


def test_a_table_stands_closer_where_that_saves_a_second() -> None:
    table = Table(("a" * 9, "b" * 9, "c" * 9), (("1", "2", "3"),), closest=1)
    assert len(list(table.lines(0, 31))) == len(list(table.lines(0, 29))) == 2
    assert "  " in next(iter(table.lines(0, 31)))
    assert next(iter(table.lines(0, 29))) == f"{'a' * 9} {'b' * 9} {'c' * 9}"
    assert len(list(table.lines(0, 28))) == 5


def test_heads_on_two_lines() -> None:
    table = Table(("min", "flow\n[m3/h]"), (("0", "1405"),), ())
    assert list(table.lines()) == ["  min    flow", "       [m3/h]", "    0    1405"]


@cache
def reports() -> dict[str, tuple[list[Block], str]]:
    """Blocks and text of reports of every sort that is quickly reckoned."""
    one = flowrig.reduce(EXAMPLES / "01-nozzle-bank" / "record.toml")
    two = flowrig.reduce(EXAMPLES / "14-two-methods" / "record.toml")
    counts = flowrig.reduce(EXAMPLES / "25-working-week" / "counters.toml")
    batch = flowrig.reduce_rows(EXAMPLES / "06-batch" / "record.toml", EXAMPLES / "06-batch" / "tests.csv")
    box = flowrig.calibrate(EXAMPLES / "17-box-calibration" / "record.toml")
    checked = flowrig.verify(
        ROOT / "calibrations" / "box-2-2026-10.toml", [EXAMPLES / "19-later-checks" / "record.toml"]
    )
    planned = flowrig.plan(EXAMPLES / "18-plan" / "record.toml")
    return {
        "one": (list(result_blocks(one)), result_text(one)),
        "two": (list(result_blocks(two)), result_text(two)),
        "counts": (list(result_blocks(counts)), result_text(counts)),
        "batch": (list(batch_blocks(batch)), batch_text(batch)),
        "box": (list(calibration_blocks(box)), calibration_text(box)),
        "checked": (list(verified_blocks(checked)), verified_text(checked)),
        "planned": (list(plan_blocks(planned)), plan_text(planned)),
    }


each = pytest.mark.parametrize("name", ["one", "two", "counts", "batch", "box", "checked", "planned"])


def kept(blocks: Iterable[Block]) -> list[str]:
    return [block for block in blocks if not isinstance(block, Table)]


@each
def test_text_is_the_blocks_within_80_columns(name: str) -> None:
    blocks, text = reports()[name]
    assert plain(blocks) == text
    assert all(len(line) <= 80 for line in lines_of(blocks))
    assert isinstance(blocks[0], Heading)
    assert blocks[0].level == 1


@each
def test_what_stands_in_columns_is_a_table(name: str) -> None:
    """Three blanks between words are columns laid out by hand."""
    blocks, _ = reports()[name]
    columns = re.compile(r"\S {3,}[^\s\[]")  # a bracket after three blanks is an interval in a sentence
    by_hand = [line for block in kept(blocks) for line in block.split("\n") if columns.search(line)]
    assert by_hand == []


@each
def test_no_finding_is_left_to_be_told_by_its_text(name: str) -> None:
    blocks, _ = reports()[name]
    told = [b for b in kept(blocks) if re.match(r" *(ALARM|Warning|Note), ", b)]
    assert told
    assert all(isinstance(b, Raised) for b in told)


def test_a_table_of_quantities_holds_its_numbers_apart() -> None:
    result = flowrig.reduce(EXAMPLES / "01-nozzle-bank" / "record.toml")
    quantities = result.flows[0].quantities
    table = quantity_table(quantities.values())
    for row, q in zip(table.rows, quantities.values(), strict=True):
        value, low, high = numbers(q)
        assert row == (q.label, value, q.unit, low, high)
    lines = list(table.lines())
    for line, q in zip(lines, quantities.values(), strict=True):
        assert line.startswith(f"  {q.label} ")
        assert line.endswith(f"  {quantity_line(q)}")
