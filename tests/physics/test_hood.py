"""Two hood readings taken back to no hood, against fan curves whose flow without it is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics.hood import hood_free_flow

pressures = st.floats(1.0, 50.0)
apart = st.floats(1.5, 5.0)
flows = st.floats(0.05, 1.0)


def meet(curve, most, resistance):
    """Where a curve q(P) that falls to 0 at `most` meets a hood of P = resistance q^2, by halving."""
    low, high = 0.0, most
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle < resistance * curve(middle) ** 2 else (low, middle)
    return curve(low), low


# Source: analytic curve; the line is its own extrapolation.
@given(free=flows, slope=st.floats(1e-4, 2e-3), resistance=st.floats(20.0, 200.0), ratio=apart)
def test_exact_for_a_flow_that_falls_linearly(free, slope, resistance, ratio):
    line = (lambda pressure: free - slope * pressure), free / slope
    first, second = (meet(*line, r) for r in (resistance, ratio * resistance))
    assert hood_free_flow(*first, *second) == pytest.approx(free, rel=1e-8)


# Source: remainder of linear interpolation: high by b P1 P2 for Q0 - a P - b P^2, either sign of b.
@given(free=flows, slope=st.floats(0.0, 1e-3), bend=st.floats(-1e-5, 1e-5), first=pressures, ratio=apart)
def test_error_for_a_flow_that_falls_quadratically(free, slope, bend, first, ratio):
    second = first * ratio
    readings = [(free - slope * p - bend * p**2, p) for p in (first, second)]
    error = hood_free_flow(*readings[0], *readings[1]) - free
    assert error == pytest.approx(bend * first * second, rel=1e-9, abs=1e-13)


# Source: fan of P = Pmax (1 - (Q/Qmax)^2), bent so that the line is high; worked here in closed form.
@pytest.mark.recomputed
def test_a_parabolic_fan_reads_high_by_what_its_bend_says():
    free, most, low, high = 0.3, 100.0, 10.0, 25.0
    first, second = ((free * np.sqrt(1.0 - p / most), p) for p in (low, high))
    error = hood_free_flow(*first, *second) / free - 1.0
    # sqrt(1 - x) = 1 - x/2 - x^2/8 - ...: leading error x1 x2/8 = 0.31 %, the next term x1 x2 (x1 + x2)/16 = 0.055 %
    assert error == pytest.approx(0.1 * 0.25 / 8.0 + 0.1 * 0.25 * 0.35 / 16.0, rel=0.05)


@given(flow=flows, throttled=flows, first=pressures, ratio=apart)
def test_sense_and_order_do_not_matter(flow, throttled, first, ratio):
    free = hood_free_flow(flow, first, throttled, first * ratio)
    tolerance = 1e-12 * (flow + throttled) * ratio / (ratio - 1.0)
    assert hood_free_flow(-flow, -first, -throttled, -first * ratio) == pytest.approx(-free, abs=tolerance)
    assert hood_free_flow(throttled, first * ratio, flow, first) == pytest.approx(free, abs=tolerance)
    # the errors of both readings reach the answer as the notes say
    assert free == pytest.approx(flow * ratio / (ratio - 1.0) - throttled / (ratio - 1.0), abs=tolerance)


def test_no_pressure_is_no_correction_and_equal_pressures_say_nothing():
    assert hood_free_flow(0.2, 0.0, 0.15, 20.0) == 0.2
    answers = hood_free_flow(np.array([0.2, 0.2]), 5.0, 0.15, np.array([5.0, 10.0]))
    assert np.isnan(answers[0])
    assert answers[1] == pytest.approx(0.25, rel=1e-12)
    assert np.isnan(hood_free_flow(0.2, 0.0, 0.2, 0.0))
