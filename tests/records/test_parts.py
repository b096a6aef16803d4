"""Tables beside the flows of a record, or in their place."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from flowrig.records.sizes import read_sizes
from tests.cli.rig import RECORD, Rig

STRAY = RECORD + '\n[[filters]]\nfilter = "panel.toml"\ncount = 4\n'


def test_a_table_without_the_one_it_belongs_to_is_a_fault(tmp_path: Path) -> None:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=STRAY)
    says = ("record.toml, line 39, filters", "[[filters]] without [predict]", "[predict] beside it")
    rig.refuses("record.toml", says=(says,))


@pytest.mark.parametrize(
    ("words", "lower", "upper"),
    [
        ("0.3 to 1 um", 0.3e-6, 1e-6),
        ("0.3-1 um", 0.3e-6, 1e-6),
        ("300 nm to 1 um", 0.3e-6, 1e-6),
        ("from 0.3 um", 0.3e-6, math.inf),
        ("> 10 um", 10e-6, math.inf),
    ],
)
def test_sizes_as_people_write_them(words: str, lower: float, upper: float) -> None:
    sizes = read_sizes(words)
    assert (sizes.lower, sizes.upper) == pytest.approx((lower, upper), rel=1e-12)
    assert read_sizes(str(sizes)).same(sizes)


@pytest.mark.parametrize("words", ["PM2.5", "1 to 0.3 um", "0.3", "0.3 to 1", "0 to 1 um", "0.3 to 1 degC", ""])
def test_no_range_of_sizes(words: str) -> None:
    with pytest.raises(ValueError, match=r"\S"):
        read_sizes(words)


def test_a_range_holds_what_lies_inside_it() -> None:
    wide, narrow = read_sizes("0.3 to 3 um"), read_sizes("1 to 3 um")
    assert wide.holds(narrow)
    assert not narrow.holds(wide)
    assert read_sizes("from 0.3 um").holds(wide)
