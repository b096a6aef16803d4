"""Estimates put side by side keep their causes, and what is made of them is drawn as they are."""

from __future__ import annotations

import numpy as np
import pytest

from flowrig.uncertainty.alongside import averaged, side_by_side
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import chunks
from flowrig.uncertainty.propagate import linear

A, B = Cause("a"), Cause("b")


def two(axes=()):
    value = np.ones((3,) * len(axes))
    return [
        Estimate(value, axes, {A: value[np.newaxis], B: 0.5 * value[np.newaxis]}),
        Estimate(2 * value, axes, {A: -value[np.newaxis]}),
    ]


@pytest.mark.parametrize("axes", [(), ("row",)])
@pytest.mark.parametrize("number", [1, 2])
def test_each_at_its_place_with_its_signs(axes, number):
    made = [linear(lambda x: {"y": x + 0.0}, {"x": x}, axes, {"y": axes})["y"] for x in two(axes)[:number]]
    joined = side_by_side(made, "filter")
    assert joined.axes == (*axes, "filter")
    assert joined.value.shape == (*(3 for _ in axes), number)
    assert np.all(joined.value == np.arange(1, number + 1))
    assert np.allclose(joined.parts[A], np.array([1.0, -1.0])[:number])
    assert np.allclose(joined.parts[B][..., 0], 0.5)


def test_in_an_order_with_one_twice():
    joined = side_by_side(two(), "row", [1, 0, 1])
    assert joined.value.tolist() == [2.0, 1.0, 2.0]
    assert joined.parts[A].tolist() == [pytest.approx([-1.0, 1.0, -1.0])]


def test_draws_know_what_they_share():
    made = [linear(lambda x: {"y": x + 0.0}, {"x": x}, (), {"y": ()})["y"] for x in two()]
    joined = side_by_side(made, "filter")
    total = linear(lambda x: {"s": x.sum(axis=-1, keepdims=True)}, {"x": joined}, ("filter",), {"s": ()})["s"]
    [draws] = next(chunks([total], 4000, 1))
    assert np.std(draws) == pytest.approx(0.5, rel=0.05)  # what is shared cancels; the rest is b's


def test_nothing_and_an_axis_that_is_there():
    with pytest.raises(ValueError, match="nothing"):
        side_by_side([], "filter")
    with pytest.raises(ValueError, match="already"):
        side_by_side(two(("row",)), "row")


def test_exact_values_stand_side_by_side() -> None:
    """Two sorts of filter, both without a gap: nothing there has an error, and there are still two."""
    assert side_by_side([Estimate(1.0), Estimate(2.0)], "filter").value.tolist() == [1.0, 2.0]


def test_an_order_longer_than_a_part_of_the_rows() -> None:
    """The engine hands over a part of a long batch at a time."""
    cause = Cause("scale", label="scale")
    pieces = [Estimate(1.0, (), {cause: [0.1]}), Estimate(2.0, (), {cause: [0.3]})]
    order = np.arange(200_000) % 2
    joined = side_by_side(pieces, "row", order.tolist())
    assert np.array_equal(joined.value, 1.0 + order)
    assert np.allclose(joined.parts[cause][0], 0.1 + 0.2 * order)


def test_means_of_groups():
    noise, gain = Cause("noise", each="point"), Cause("gain")
    x = Estimate([1.0, 3.0, 10.0], ("point",), {noise: [[1.0, 1.0, 1.0]], gain: [[0.1, 0.3, 1.0]]})
    mean = averaged(x, "point", [0, 0, 1])
    assert mean.value.tolist() == [2.0, 10.0]
    assert mean.variance == pytest.approx([0.5 + 0.2**2, 1.0 + 1.0])
    with pytest.raises(ValueError, match="without a position"):
        averaged(x, "point", [0, 0, 2])
