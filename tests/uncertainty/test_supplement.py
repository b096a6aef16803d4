"""Intervals by draws against the worked examples of the Guide's first supplement."""

import math

import numpy as np
import pytest

from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval, linear_interval
from flowrig.uncertainty.montecarlo import sample
from flowrig.uncertainty.propagate import linear
from tests.reference.load import rows

SUPPLEMENT = {(row["example_JCGM101"], row["quantity"]): row for row in rows("unc_jcgm101.csv")}


def exact(example, quantity):
    [row] = [row for (name, what), row in SUPPLEMENT.items() if name.startswith(example) and what.startswith(quantity)]
    return float(row["recomputed"])


def half_width(result):
    return float(result.high - result.low) / 2


def end_error(draws, coverage=0.95):
    """Standard error of the upper end of the interval of these draws, from the order statistics around it."""
    tail = 0.5 * (1 - coverage)
    step = math.sqrt(tail * (1 - tail) / len(draws))
    low, high = np.quantile(draws, [1 - tail - step, 1 - tail + step])
    return float(high - low) / 2


def add(**terms):
    return {"y": sum(terms.values())}


def total(us, shape):
    inputs = {f"x{i}": Estimate(0.0, (), {Cause(f"x{i}", shape=shape): [u]}) for i, u in enumerate(us)}
    return linear(add, inputs, (), {"y": ()})["y"]


# JCGM 101:2008, clause 9


# Source: JCGM 101:2008 9.2.2: four normal terms; 3.92 from memory, exact.
@pytest.mark.from_memory
def test_sum_of_normals():
    y = total([1, 1, 1, 1], "normal")
    assert float(y.u) == pytest.approx(2.0)
    auto = interval(y)
    assert (auto.source, bool(auto.curved), bool(auto.shape)) == ("linear", False, False)
    assert half_width(auto) == pytest.approx(exact("9.2.2", "95 % interval half-width"), rel=1e-6)
    drawn = interval(y, samples=400_000)
    assert drawn.source == "monte carlo"
    assert drawn.draws == 400_000
    error = end_error(sample(y, 400_000))
    assert half_width(drawn) == pytest.approx(exact("9.2.2", "95 % interval half-width"), abs=3 * error)


# Source: JCGM 101:2008 9.2.3: four rectangular terms of equal u; 3.88 from memory, closed form.
@pytest.mark.from_memory
def test_sum_of_equal_rectangles():
    y = total([1, 1, 1, 1], "rectangular")
    auto = interval(y)
    assert auto.source == "linear"
    assert half_width(auto) == pytest.approx(exact("9.2.3", "GUF half-width"), rel=1e-6)
    closed = 2 * math.sqrt(3) * (2 - (3 / 5) ** 0.25)
    assert closed == pytest.approx(exact("9.2.3", "exact half-width"), rel=1e-6)
    error = end_error(sample(y, 1_000_000))
    assert half_width(interval(y, samples=1_000_000)) == pytest.approx(closed, abs=3 * error)
    assert 3 * error < half_width(auto) - closed  # fine enough to tell it from the normal figure


# Source: JCGM 101:2008 9.2.4: one rectangle ten times the others; 17.0 and 19.9 from memory, exact.
@pytest.mark.from_memory
def test_a_dominating_rectangle_is_a_matter_of_shape_not_of_curvature():
    y = total([1, 1, 1, 10], "rectangular")
    assert float(y.u) == pytest.approx(exact("9.2.4", "u(y)"), rel=1e-5)
    low, high, _ = linear_interval(y)
    assert float(high - low) / 2 == pytest.approx(exact("9.2.4", "GUF half-width"), rel=1e-6)
    auto = interval(y)
    assert (auto.source, bool(auto.curved), bool(auto.shape), auto.stable) == ("monte carlo", False, True, True)
    assert half_width(auto) == pytest.approx(exact("9.2.4", "MCM half-width"), abs=3 * end_error(sample(y, auto.draws)))


def mass(reference, difference, air, weight, density):
    return {"mass": (reference + difference) * (1 + (air - 1.2) * (1 / weight - 1 / density)) - 100_000.0}


def mass_calibration():
    def box(low, high, name):
        return Estimate((low + high) / 2, (), {Cause(name, shape="rectangular"): [(high - low) / math.sqrt(12)]})

    inputs = {
        "reference": Estimate(100_000.0, (), {Cause("reference"): [0.050]}),
        "difference": Estimate(1.234, (), {Cause("difference"): [0.020]}),
        "air": box(1.10, 1.30, "air"),
        "weight": box(7000.0, 9000.0, "weight"),
        "density": box(7950.0, 8050.0, "density of reference"),
    }
    return linear(mass, inputs, (), {"mass": ()})["mass"]


# Source: JCGM 101:2008 9.3; printed Monte Carlo figures from memory; exact moments and quadrature in the table.
@pytest.mark.from_memory
def test_mass_calibration_is_found_curved_and_drawn():
    y = mass_calibration()
    assert float(y.value) == pytest.approx(exact("9.3", "estimate mg"), abs=1e-9)
    assert float(y.u) == pytest.approx(exact("9.3", "GUF1 u mg"), rel=1e-6)
    low, high, _ = linear_interval(y)
    assert (float(low), float(high)) == pytest.approx((1.1285, 1.3395), abs=0.5e-4)
    auto = interval(y)
    assert (auto.source, bool(auto.curved), auto.stable) == ("monte carlo", True, True)
    drawn = sample(y, 400_000)
    many = interval(y, samples=400_000)
    text = next(row["recomputed"] for row in SUPPLEMENT.values() if row["quantity"].startswith("MCM shortest"))
    for result, n in ((auto, auto.draws), (many, 400_000)):
        error = end_error(drawn[:n])
        for end, figure in zip((result.low, result.high), text.strip("[]").split(), strict=True):
            assert float(end) == pytest.approx(float(figure), abs=3 * error)
    error = np.std((drawn - drawn.mean()) ** 2) / (2 * drawn.std() * math.sqrt(len(drawn)))
    assert drawn.std() == pytest.approx(exact("9.3", "MCM u mg"), abs=3 * error)
