"""The lines of a budget that is short enough to be drawn."""

from __future__ import annotations

import pytest

from flowrig.studies.largest import largest
from flowrig.studies.result import Quantity
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval


def quantity(*parts: float, kind: str = "flow", unit: str = "m3/h") -> Quantity:
    causes = {Cause(f"c{i}", scope="setup", label=f"cause {i}"): [part] for i, part in enumerate(parts)}
    estimate = Estimate(0.5, (), causes)
    return Quantity("flow", "flow", kind, unit, estimate, interval(estimate))


def test_largest_first_and_the_others_last() -> None:
    lines = largest(quantity(0.001, -0.004, 0.002, 0.00003, 0.00004))
    assert [line.words for line in lines] == ["cause 1", "cause 2", "cause 0", "all others"]
    assert lines[-1].causes == 2
    assert lines[-1].scope == ""
    assert sum(line.share for line in lines) == pytest.approx(1.0)
    assert [line.u for line in lines[:3]] == pytest.approx([14.4, 7.2, 3.6])
    assert sum(line.u**2 for line in lines) == pytest.approx(float(quantity(0.001, -0.004, 0.002, 3e-5, 4e-5).u) ** 2)


def test_more_causes_than_lines() -> None:
    lines = largest(quantity(*[0.01 - 0.0001 * i for i in range(20)]), most=4)
    assert len(lines) == 5
    assert lines[-1].causes == 16
    assert lines[-1].share > lines[0].share  # last, though it is the largest of all
    assert sum(line.share for line in lines) == pytest.approx(1.0)


def test_one_small_cause_keeps_its_name() -> None:
    assert [line.words for line in largest(quantity(0.01, 0.00001))] == ["cause 0", "cause 1"]


def test_causes_that_move_nothing_are_left_out() -> None:
    assert [line.words for line in largest(quantity(0.01, 0.0))] == ["cause 0"]
    assert largest(quantity(0.0)) == []
    assert largest(quantity()) == []


def test_a_row_of_numbers_is_refused() -> None:
    row = Estimate([1.0, 2.0], ("row",), {Cause("a"): [[0.1, 0.1]]})
    with pytest.raises(ValueError, match="one at a time"):
        largest(Quantity("flow", "flow", "flow", "m3/h", row, interval(Estimate(1.0))))
