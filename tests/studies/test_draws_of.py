"""Draws beside the linear evaluation: against distributions whose ends are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm, t

from flowrig.studies.draws_of import draws_of
from flowrig.studies.result import Quantity
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear


def quantity(estimate: Estimate, unit: str = "m3/h", coverage: float = 0.95) -> Quantity:
    return Quantity("flow", "flow", "flow", unit, estimate, interval(estimate, coverage))


def test_a_normal_number_is_its_linear_evaluation() -> None:
    q = quantity(Estimate(0.5, (), {Cause("a"): [0.01]}))
    found = draws_of(q)
    assert found is not None
    assert found.told == "linear"
    assert math.isinf(found.dof)
    assert found.u == pytest.approx(36.0)
    assert found.spread == pytest.approx(36.0, rel=0.03)
    expected = [1800 - 1.959964 * 36, 1800 + 1.959964 * 36]
    assert found.linear_ends == pytest.approx(expected, rel=1e-6)
    assert found.drawn_ends == pytest.approx(expected, abs=0.06 * 36)
    middles = 0.5 * (found.edges[1:] + found.edges[:-1])
    assert found.density == pytest.approx(norm.pdf(middles, 1800, 36), abs=0.08 * norm.pdf(0) / 36)
    assert found.linear == pytest.approx(norm.pdf(found.places, 1800, 36), rel=1e-9)


def test_the_histogram_holds_what_is_not_said_to_lie_beyond() -> None:
    for dof in (math.inf, 2.0):
        found = draws_of(quantity(Estimate(0.5, (), {Cause("a", dof=dof): [0.01]})))
        assert found is not None
        assert float(np.sum(found.density * np.diff(found.edges))) == pytest.approx(1.0 - found.beyond, abs=1e-12)
        assert found.beyond < 0.02


@pytest.mark.library
def test_few_degrees_of_freedom_have_the_density_of_student() -> None:
    found = draws_of(quantity(Estimate(0.5, (), {Cause("a", dof=6.0): [0.01]})))
    assert found is not None
    assert found.dof == 6.0
    assert found.linear == pytest.approx(t.pdf((found.places - 1800) / 36, 6.0) / 36, rel=1e-9)


@pytest.mark.recomputed
def test_a_rectangular_cause_ends_where_its_limits_do() -> None:
    """Half-width 0.1: the central 95 % of a rectangle is 0.095 either way; linear, 1.96/sqrt(3) of it."""
    found = draws_of(quantity(Estimate(1.0, (), {Cause("a", shape="rectangular"): [0.1 / 3**0.5]}), "m3/s"))
    assert found is not None
    assert found.told == "drawn"
    assert found.drawn_ends == pytest.approx([0.905, 1.095], abs=1e-3)
    assert found.linear_ends == pytest.approx([1 - 0.1 * 1.959964 / 3**0.5, 1 + 0.1 * 1.959964 / 3**0.5], rel=1e-6)
    assert found.edges[0] > 0.9 - 1e-9
    assert found.edges[-1] < 1.1 + 1e-9


def test_what_bends_is_drawn_bent_and_lost_draws_are_told() -> None:
    def root(*, x: np.ndarray) -> dict[str, np.ndarray]:
        return {"y": np.sqrt(np.where(x < 0.0, np.nan, x))}

    square = linear(root, {"x": Estimate(0.02, (), {Cause("x"): [0.01]})}, outputs={"y": ()})["y"]
    found = draws_of(quantity(square, "m3/s"), seed=4)
    assert found is not None
    assert found.told == "drawn"
    assert found.lost == pytest.approx(norm.cdf(-2.0), abs=0.004)
    assert np.all(found.edges >= 0.0)


def test_the_same_seed_gives_the_same_draws_and_another_others() -> None:
    q = quantity(Estimate(0.5, (), {Cause("a"): [0.01]}))
    one, same, other = (draws_of(q, draws=500, seed=seed) for seed in (1, 1, 2))
    assert one is not None
    assert same is not None
    assert other is not None
    assert np.array_equal(one.density, same.density)
    assert not np.array_equal(one.density, other.density)


def test_nothing_to_draw_gives_none() -> None:
    exact = Estimate(1.0)
    assert draws_of(quantity(exact)) is None
    bound = quantity(Estimate(1.0, (), {Cause("a"): [0.1]}))
    bound.bound = "at most"
    assert draws_of(bound) is None


def test_rows_and_single_draws_are_refused() -> None:
    row = Estimate([1.0, 2.0], ("row",), {Cause("a"): [[0.1, 0.1]]})
    whole = quantity(Estimate(1.0, (), {Cause("a"): [0.1]}))
    with pytest.raises(ValueError, match="one at a time"):
        draws_of(Quantity("flow", "flow", "flow", "m3/h", row, whole.interval))
    with pytest.raises(ValueError, match="at least 2"):
        draws_of(whole, draws=1)
