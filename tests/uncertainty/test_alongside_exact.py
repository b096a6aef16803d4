"""Estimates put side by side along a new axis."""

from __future__ import annotations

import numpy as np

from flowrig.uncertainty.alongside import side_by_side
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate


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
